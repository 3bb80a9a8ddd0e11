package server

import (
	"context"
	"fmt"
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// policyStore is what the pages to read ask of the register.
type policyStore interface {
	Policies(ctx context.Context) ([]register.Policy, error)
	Sites(ctx context.Context) ([]register.Site, error)
}

// policiesPage shows every policy with its source.
type policiesPage struct {
	Base
	Policies []policyView
	Findings []life.FindingKind
	Safety   []string
}

// policyView is one policy in words.
type policyView struct {
	ID                       int64
	Name, Source, Lengthened string
	Shipped                  bool
	Used, Edit               string // which sites use it; where to change it, empty for a shipped one
	Limits                   []limitRow
	Notes                    []string
}

// limitRow is one limit of a policy; Choice marks what is our own choice and
// no standard.
type limitRow struct {
	Name, Value string
	Choice      bool
}

func (s *Server) policies(c echo.Context) error {
	list, err := s.store(c).Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	page := policiesPage{Base: s.baseOfAll(c, "policies", "Policies"), Findings: life.FindingKinds(), Safety: safetyLines()}
	sites, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return wrap("list sites", err)
	}
	for _, p := range list {
		v := policyViewOf(p)
		v.Used = policyUsed(sites, p.ID)
		if !p.Shipped {
			v.Edit = web.Path("policies", strconv.FormatInt(p.ID, 10), "edit")
		}
		page.Policies = append(page.Policies, v)
	}
	return s.show(c, "policies", page)
}

func policyViewOf(p register.Policy) policyView {
	v := policyView{ID: p.ID, Name: p.Name, Source: p.Source, Lengthened: p.Lengthened, Shipped: p.Shipped}
	for _, shipped := range life.ShippedPolicies() {
		if p.Shipped && shipped.Policy.Name == p.Name {
			v.Notes = shipped.Notes
		}
	}
	months := func(n *int) string {
		if n == nil {
			return "no limit"
		}
		return web.Count(*n, "month", "months")
	}
	number := func(n *float64, unit, none string) string {
		if n == nil {
			return none
		}
		return web.Number(*n, 4) + unit
	}
	v.Limits = []limitRow{
		{"from assembly", months(p.MonthsFromAssembly), false},
		{"from first fitting", months(p.MonthsFromFitting), false},
		{"from make of the hose", months(p.MonthsFromMake), false},
		{"running hours from first fitting", number(p.HoursFromFitting, " h", "no limit"), false},
		{"cycles from first fitting", number(p.CyclesFromFitting, "", "no limit"), false},
		{"age of the hose when assembled", months(p.HoseAgeMonths), false},
		{"storage", months(p.StorageMonths), false},
		{"inspection every", months(p.InspectMonths), false},
		{"inspection at exposed positions every", exposedMonths(p), true},
		{"heat limit", months(p.HeatLimitMonths), true},
		{"heat reference", number(p.HeatReferenceC, " °C", "20 K below the hose's highest temperature"), true},
		{"activation energy", number(p.EaKJ, " kJ/mol", "by tube material; unknown: 92 kJ/mol"), false},
		{"damage limit", number(p.DamageLimit, "", web.Number(life.DefaultDamageLimit, 3)+", half of it where a burst can hurt someone, half again where the rating is unconfirmed"), true},
		{"factor for assumed cycles", number(p.AssumedFactor, "", strconv.Itoa(life.DefaultAssumedFactor)), true},
		{"cycles are counted", map[bool]string{false: "from their lowest to their highest pressure", true: "from zero to their highest pressure"}[p.PeakOnly], false},
		{"clocks together", map[bool]string{false: "the earliest date governs", true: "heat and pressure also add up"}[p.CombineSum], false},
	}
	return v
}

func exposedMonths(p register.Policy) string {
	if p.ExposedInspectMonths == nil {
		return "as elsewhere"
	}
	return web.Count(*p.ExposedInspectMonths, "month", "months")
}

// tablesPage shows the published ratings.
type tablesPage struct {
	Base
	Chosen      string
	Field       field
	Groups      []tableGroup
	Ends        []hose.End
	Confidences []confidence
}

// tableGroup is the rows of one designation in one edition.
type tableGroup struct {
	Title, Edition, Construction, Source, Remark, ID string
	Names                                            []string
	Confidence                                       hose.Confidence // the lowest of its rows
	Rows                                             []hose.Row
}

type confidence struct {
	Letter  hose.Confidence
	Meaning string
}

func (s *Server) tables(c echo.Context) error {
	page := tablesPage{Base: s.base(c, "tables", "Rating tables"), Ends: hose.Ends()}
	for _, letter := range []hose.Confidence{hose.TwoTables, hose.OneTable, hose.FromMemory} {
		page.Confidences = append(page.Confidences, confidence{letter, letter.Meaning()})
	}
	choice := []option{{"", "all designations"}}
	for _, d := range hose.Designations() {
		choice = append(choice, option{d.String(), d.String()})
	}
	page.Chosen = query(c, "designation")
	f := newForm("designation", page.Chosen)
	page.Groups = tableGroups(page.Chosen)
	if page.Chosen != "" && len(page.Groups) == 0 {
		f.wrong("designation", "There is no table for “"+page.Chosen+"”; all are shown.")
		page.Chosen = ""
		page.Groups = tableGroups("")
	}
	page.Field = f.field("designation", "Designation").choose(choice...)
	return s.show(c, "tables", page)
}

// tableGroups are the published rows by designation and edition, those of one
// designation if chosen is not empty.
func tableGroups(chosen string) []tableGroup {
	var groups []tableGroup
	for _, r := range hose.Rows() {
		if chosen != "" && !contains(r.Names, chosen) {
			continue
		}
		edition := r.Edition
		if r.Size.IsZero() { // ISO 18752: the edition is the class, the size any
			edition = ""
		}
		title := r.Designation.String()
		n := len(groups)
		if n == 0 || groups[n-1].Title != title || groups[n-1].Edition != edition {
			groups = append(groups, tableGroup{
				Title: title, Edition: edition, Construction: r.Construction, Source: r.Source, Remark: r.Remark,
				Names: r.Names, ID: fmt.Sprintf("table%d", n+1), Confidence: r.Confidence,
			})
			n++
		}
		g := &groups[n-1]
		g.Rows = append(g.Rows, r)
		g.Confidence = max(g.Confidence, r.Confidence)
	}
	return groups
}

func contains(list []string, s string) bool {
	for _, v := range list {
		if v == s {
			return true
		}
	}
	return false
}
