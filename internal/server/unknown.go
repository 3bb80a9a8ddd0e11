package server

import (
	"context"
	"html/template"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/chart"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// unknownStore is what the page of what is not known asks of the register.
type unknownStore interface {
	Gaps(ctx context.Context, f register.GapFilter, limit int) (groups []register.GapGroup, more bool, err error)
	Known(ctx context.Context, now time.Time, site string) ([]register.KnownShare, error)
	KnownDays(ctx context.Context, site string) ([]register.KnownDay, error)
	Sites(ctx context.Context) ([]register.Site, error)
}

// unknownPage says what the register does not know yet, what knowing it would
// change, and where to enter it.
type unknownPage struct {
	Base
	Filters  []field
	Errors   []problem
	Complete string // share of hoses whose estimate is complete
	Lacking  int
	Of       int
	Shares   []knownRow
	Rows     []gapRow
	More     bool
	Clear    string
	Keep     string // address to keep this list by
	Chart    template.HTML
	First    string // from when on the share is known
	Days     []knownDay
}

// knownRow is one kind of value and how many hoses lack it.
type knownRow struct {
	What    string
	Means   string
	URL     string
	Lacking int
	Known   string // the share that has it
}

// gapRow is one entry that would make something known.
type gapRow struct {
	What  string
	Where string
	Code  string // machine
	Hoses int
	Moves string
	Do    string
	URL   string
}

// knownDay is one day of the share over time, in words.
type knownDay struct {
	Day   quantity.Date
	Share string
}

func (s *Server) gapRoutes() []route {
	return []route{{get, "/unknown", register.RightSee, s.unknown}}
}

// gapsShown is how many rows the page has, daysShown how many days its table.
const (
	gapsShown = 100
	daysShown = 12
)

func (s *Server) unknown(c echo.Context) error {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	f := newForm("site", knownSite(sites, query(c, "site")), "what", query(c, "what"))
	page := unknownPage{Base: s.base(c, "unknown", "Not known yet")}
	page.Site = f.text("site")
	if what := register.GapKind(f.text("what")); what != "" && !slices.Contains(register.GapKinds(), what) {
		f.wrong("what", "There is no such kind of value; all are shown.")
		f.values.Set("what", "")
	}
	filter := register.GapFilter{Site: page.Site, What: register.GapKind(f.text("what"))}
	groups, more, err := s.store(c).Gaps(ctx, filter, gapsShown)
	if err != nil {
		return wrap("list what is not known", err)
	}
	page.More = more
	for _, g := range groups {
		page.Rows = append(page.Rows, gapRowOf(g, page.May))
	}
	if err := s.fillKnown(c, &page); err != nil {
		return err
	}
	choice := []option{{"", "everything"}}
	for _, k := range register.GapKinds() {
		choice = append(choice, option{string(k), string(k)})
	}
	if field := siteField(sites, page.Site); field != nil {
		page.Filters = append(page.Filters, *field)
	}
	page.Filters = append(page.Filters, f.field("what", "What is missing").choose(choice...))
	if page.Site != "" || filter.What != "" {
		page.Clear = "/unknown"
	}
	page.Errors, page.Keep = f.Problems, address("/unknown", "site", page.Site, "what", string(filter.What))
	return s.show(c, "unknown", page)
}

// fillKnown fills in how much is known, now and over time.
func (s *Server) fillKnown(c echo.Context, page *unknownPage) error {
	ctx := c.Request().Context()
	shares, err := s.store(c).Known(ctx, s.deps.Now(), page.Site)
	if err != nil {
		return wrap("count what is known", err)
	}
	for _, k := range shares {
		if k.What == "" {
			page.Lacking, page.Of, page.Complete = k.Lacking, k.Of, shareKnown(k.Lacking, k.Of)
			continue
		}
		if k.Lacking > 0 {
			page.Shares = append(page.Shares, knownRow{
				What: string(k.What), Means: gapMeaning(k.What), Lacking: k.Lacking, Known: shareKnown(k.Lacking, k.Of),
				URL: address("/unknown", "site", page.Site, "what", string(k.What)),
			})
		}
	}
	days, err := s.store(c).KnownDays(ctx, page.Site)
	if err != nil {
		return wrap("list how much was known", err)
	}
	page.Chart = knownChart(days)
	for i := len(days) - 1; i >= 0 && len(page.Days) < daysShown; i-- {
		page.Days = append(page.Days, knownDay{days[i].Day, shareKnown(days[i].Lacking, days[i].Of)})
	}
	return nil
}

// shareKnown is the share that is not lacking.
func shareKnown(lacking, of int) string {
	if of == 0 {
		return web.None
	}
	v := float64(of-lacking) / float64(of)
	return web.Percent(&v)
}

// knownChart draws the share of complete estimates over time.
func knownChart(days []register.KnownDay) template.HTML {
	var points []chart.SharePoint
	for _, d := range days {
		if d.Of > 0 {
			points = append(points, chart.SharePoint{Day: chartDay(d.Day), Share: float64(d.Of-d.Lacking) / float64(d.Of)})
		}
	}
	drawn := chart.Shares{
		ID: "known", Title: "Share of hoses with a complete date", Desc: "From 0 % at the bottom to 100 % at the top; the latest days stand in the table beside it.", Points: points,
	}.SVG()
	return template.HTML(drawn) //nolint:gosec // chart escapes every text
}

// gapMeaning says what lacking a value means.
func gapMeaning(what register.GapKind) string {
	switch what {
	case register.GapContradiction:
		return "What is noted contradicts itself; part of the date cannot be worked out."
	case register.GapRating:
		return "The rating of the hose or an end is unknown or was not read from it; only half the damage is allowed."
	case register.GapAssembled:
		return "The ferrule stamp was not read; the oldest the assembly may be is taken."
	case register.GapCycles:
		return "Nothing says how pressure works there; wear by pressure is not counted."
	case register.GapHours:
		return "Nothing says how much the machine runs."
	case register.GapReadings:
		return "Fewer than three readings, or none for half a year: the band of dates is wide."
	case register.GapFluidTemp:
		return "Nothing says how hot the fluid gets; ageing by heat is not counted."
	case register.GapHoseTemp:
		return "How hot the hose may get is unknown."
	}
	return ""
}

// gapRowOf says where a value is missing, what it would change and the
// shortest way to enter it.
func gapRowOf(g register.GapGroup, can may) gapRow {
	row := gapRow{What: string(g.What), Code: g.Machine, Hoses: g.Hoses, Moves: upTo(g.Days)}
	switch g.What {
	case register.GapRating, register.GapAssembled, register.GapHoseTemp:
		anchor := map[register.GapKind]string{register.GapRating: "#rated", register.GapAssembled: "#assembled", register.GapHoseTemp: "#max_c"}[g.What]
		row.Where, row.Do = g.Position+", "+g.Assembly, "Complete the hose"
		row.URL = ifMay(can.Fit, web.Path("assemblies", g.Assembly, "edit")+anchor)
	case register.GapContradiction:
		row.Where, row.Do, row.URL = g.Position+", "+g.Assembly, "Look at it", web.Path("assemblies", g.Assembly)
	case register.GapCycles, register.GapFluidTemp:
		row.Where, row.Do = "whole machine", "Say how it is worked"
		if g.Circuit != "" {
			row.Where = "circuit " + g.Circuit
		}
		row.URL = ifMay(can.Plan, address(web.Path("machines", g.Machine, "conditions", "new"), "circuit", g.Circuit))
	default:
		row.Where, row.Do, row.URL = "hour meter", "Note a reading", ifMay(can.Note, web.Path("machines", g.Machine, "readings", "new"))
	}
	return row
}

// ifMay is an address for whoever may go there, else none.
func ifMay(can bool, address string) string {
	if !can {
		return ""
	}
	return address
}

// upTo says in words how far a date may move.
func upTo(days int) string {
	today := quantity.MinDate
	switch {
	case days == 0:
		return "does not move the date"
	case days >= register.GapHorizonDays:
		return "10 years or more"
	}
	return "up to " + strings.TrimPrefix(web.Distance(today.AddDays(days), today), "in ")
}
