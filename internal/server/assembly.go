package server

import (
	"context"
	"html/template"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// assemblyStore is what the page of an assembly asks of the register.
type assemblyStore interface {
	AssemblySheet(ctx context.Context, now time.Time, code string) (register.AssemblySheet, error)
}

// assemblyPage is one assembly: its date and the working behind it.
type assemblyPage struct {
	Base
	Sheet   register.AssemblySheet
	Line    *line // nil where it does not sit anywhere
	ActBy   quantity.Date
	Strip   template.HTML
	Parts   []partRow
	Service []serviceRow
	Rating  string // in words: which part decides, confirmed or not
	Clocks  []clockRow
	Missing []string
	Open    []openFinding
	AsOf    quantity.Date // the day the estimate is of
	Safety  []string

	Corrections []correctRow
	Steps       []string // of fitting, right after one
}

// openFinding is a finding nobody has closed.
type openFinding struct {
	register.Finding
	What string
}

// partRow is one part that has a rating of its own.
type partRow struct {
	Name    string
	What    string
	Bar     *float64
	Source  string
	Decides bool
}

// clockRow is one clock as the page shows it.
type clockRow struct {
	life.Clock
	Governs bool
	Meaning string
	Says    []string
	Share   string // how much of it is used
	UsedBar template.HTML
}

func (s *Server) assembly(c echo.Context) error {
	code, err := param(c, "code")
	if err != nil {
		return err
	}
	sheet, err := s.store(c).AssemblySheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return wrap("show assembly", err)
	}
	page := assemblyPage{Base: s.base(c, "machines", "Assembly "+sheet.Assembly.Code), Sheet: sheet, Safety: safetyLines()}
	page.Site, page.Today, page.May = sheet.Site.Name, sheet.Today, s.mayAt(c, sheet.Site.ID)
	st := s.style(c)
	if sheet.Line != nil {
		v := lineOf(st, *sheet.Line)
		page.Line, page.Machine, page.ActBy = &v, sheet.Line.MachineCode, sheet.Line.Estimate.ActBy
		page.Strip = strip(st, stripID(0), axisOf(sheet.Today, *sheet.Line), *sheet.Line, inspectionDays(sheet))
	}
	page.Service = serviceRows(st, sheet.Service)
	worked, err := s.workedRows(c, st, sheet)
	if err != nil {
		return err
	}
	page.Corrections, page.Steps = append(correctRows(st, page.May, sheet), worked...), stepsAfter(c.QueryParam("done"))
	page.Parts, page.Rating = parts(sheet)
	for _, f := range sheet.Open {
		page.Open = append(page.Open, openFinding{f, findingWords(f)})
	}
	if e := sheet.Estimate; e != nil {
		page.AsOf = e.AsOf
		for _, k := range e.Clocks {
			page.Clocks = append(page.Clocks, clockRowOf(k, e.Governing, sheet.Today))
			for _, m := range k.Missing {
				page.Missing = append(page.Missing, string(k.Name)+": "+m)
			}
		}
	}
	return s.show(c, "assembly", page)
}

// findingWords says what a finding saw, and where.
func findingWords(f register.Finding) string {
	kinds := life.FindingKinds()
	var words []string
	if f.Number > 0 && f.Number <= len(kinds) {
		words = append(words, strings.TrimSuffix(kinds[f.Number-1].Sentence, "."))
	}
	if f.Note != "" {
		words = append(words, f.Note)
	}
	if f.Place != "" {
		words = append(words, f.Place)
	}
	return web.Or(strings.Join(words, " – "), "not described")
}

func inspectionDays(sheet register.AssemblySheet) []quantity.Date {
	var days []quantity.Date
	for _, e := range sheet.Story {
		if e.What == register.EventInspected {
			days = append(days, e.On)
		}
	}
	return days
}

// parts are the parts of an assembly with their ratings, and in words which of
// them decides.
func parts(sheet register.AssemblySheet) (rows []partRow, words string) {
	a := sheet.Assembly
	rows = []partRow{
		{Name: "hose", What: web.Or(a.Designation, "designation unknown") + ", " + web.Size(a.DN, a.Dash), Bar: a.RatedBar, Source: ratingSource(a)},
		{Name: "end A", What: web.Or(a.EndA, "kind unknown"), Bar: a.EndABar, Source: "as entered"},
		{Name: "end B", What: web.Or(a.EndB, "kind unknown"), Bar: a.EndBBar, Source: "as entered"},
	}
	if adapter := adapterBar(sheet.Input, sheet.Today); adapter != nil {
		rows = append(rows, partRow{Name: "adapter", What: "at the position", Bar: adapter, Source: "service conditions"})
	}
	named := make([]hose.Part, len(rows))
	for i, r := range rows {
		named[i] = hose.Part{Name: r.Name, Bar: r.Bar}
		if r.Bar == nil {
			rows[i].Source = web.None
		}
	}
	rating := hose.Rating(named...)
	for i := range rows {
		rows[i].Decides = rows[i].Name == rating.Decides
	}
	switch {
	case rating.Bar == nil:
		return rows, "No part has a known rating. Read it from the hose and its ends."
	case rating.Confirmed():
		return rows, "The " + rating.Decides + " decides; every part is known."
	}
	return rows, "The " + rating.Decides + " is the lowest known, but the rating is not confirmed: unknown for " + strings.Join(rating.Unknown, " and ") + ". The true rating may be lower, so half the damage is allowed."
}

func ratingSource(a register.Assembly) string {
	switch a.RatingSource {
	case register.RatingPrinted:
		return "printed on the hose"
	case register.RatingTable:
		return "from the rating table"
	case register.RatingTyped:
		return "as entered"
	}
	return web.None
}

// adapterBar is the rating of the adapter at its position today, nil if there
// is none.
func adapterBar(a *life.Assembly, today quantity.Date) *float64 {
	if a == nil {
		return nil
	}
	var now life.Conditions
	for _, c := range a.Conditions {
		if !c.From.After(today) && !c.From.Before(now.From) {
			now = c
		}
	}
	return now.AdapterBar
}

// clockRowOf puts a clock into words.
func clockRowOf(k life.Clock, governing life.ClockName, today quantity.Date) clockRow {
	row := clockRow{Clock: k, Governs: k.Name == governing, Meaning: web.ClockMeaning(k.Name), Share: usedText(k.Used, k.Due, today)}
	say := func(s string) { row.Says = append(row.Says, s) }
	if k.Rule != "" {
		say("Rule: " + k.Rule)
	}
	switch k.Class {
	case "":
	case life.Sound:
		say("No finding is open")
	default:
		say("Strictest open finding: " + string(k.Class))
	}
	if k.Percent != nil {
		say("Worked at up to " + web.Number(*k.Percent, 0) + " % of its rating")
	}
	switch {
	case k.Factor == nil:
	case *k.Factor > 1.0005:
		say("While running it ages " + web.Number(*k.Factor, 2) + " times as fast")
	default:
		say("It does not run hot enough to age faster")
	}
	if k.ExtraDays != nil {
		say("Heat has added " + web.Number(*k.ExtraDays, 0) + " days so far")
	}
	if k.Limit != nil && k.Name == life.HoursClock {
		say("Limit " + web.Hours(k.Limit))
	}
	if k.Limit != nil && k.Name == life.PressureClock {
		say("Damage allowed " + web.Number(*k.Limit, 4))
	}
	if k.Damage != nil {
		say("Damage so far " + significant(*k.Damage) + ", in which cycles that do not come from a recorded log are not yet multiplied by their factor")
	}
	if k.DamagePerHour != nil {
		say("Each running hour adds " + significant(*k.DamagePerHour))
	}
	if k.Note != "" {
		say(capital(k.Note))
	}
	if k.Used != nil {
		row.UsedBar = usedBar(*k.Used)
	}
	return row
}

// usedBar draws a used share as a bar; the number stands beside it.
func usedBar(used float64) template.HTML {
	w := quantity.FormatNumber(min(max(used, 0), 1)*100, 1)
	return template.HTML(`<svg class="used-share" width="100%" height="10" aria-hidden="true" fill="none" stroke="currentColor"><rect x="0.5" y="0.5" width="99%" height="9"/><rect x="0.5" y="0.5" width="` + w + `%" height="9" fill="currentColor"/></svg>`) //nolint:gosec // a number
}

// capital begins a text with a capital letter and ends it without a full stop.
func capital(s string) string {
	r := []rune(strings.TrimSuffix(s, "."))
	if len(r) > 0 {
		r[0] = unicode.ToUpper(r[0])
	}
	return string(r)
}

// significant prints a small number with three digits that matter.
func significant(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'g', 3, 64), "e-0", "e-", 1)
}
