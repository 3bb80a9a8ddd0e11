package server

import (
	"html/template"
	"strconv"
	"strings"

	"hoseward/internal/chart"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// line is one installed assembly as pages show it.
type line struct {
	Line       register.Line
	Status     life.Status
	Incomplete bool
	NoDate     string // what stands where no date is known
	Why        string // what the date is by: the governing clock and how much of it is used
	Used       string // how much of it is used; empty for clocks that are spent or not
	Early      bool   // the date is the earliest of the band, not the likely one
	Likely     string // the likely date, where the earliest one counts
	Band       string // from earliest to latest
	Missing    string // what incomplete clocks lack
	// InspectionDue is the day of the next inspection; InspectionLate says that
	// it has passed.
	InspectionDue  quantity.Date
	InspectionLate bool
	Strip          template.HTML
}

// lineOf puts an assembly into words, its dates in a style.
func lineOf(st web.Style, l register.Line) line {
	e := l.Estimate
	v := line{Line: l, Status: l.Status, Incomplete: l.Incomplete(), NoDate: noDate(l), Band: st.Band(e.Earliest, e.Latest), Early: early(e)}
	switch {
	case v.Early:
		v.Likely = likely(st, e)
		v.Why = "the earliest of the band; " + v.Likely
	case e.Governing != "":
		v.Why = string(e.Governing)
		if e.Used != nil && e.Governing != life.ConditionClock && e.Governing != life.RatingClock { // those are spent or not
			v.Used = usedText(e.Used, e.Due, l.Today) + " used"
			v.Why += ", " + v.Used
		}
	}
	v.Missing = missing(l)
	v.InspectionDue = e.InspectionDue
	v.InspectionLate = !v.InspectionDue.IsZero() && l.Today.After(v.InspectionDue)
	return v
}

// early reports whether the date that counts is the earliest of the band and
// not the likely one, which is the one a clock governs.
func early(e register.Estimate) bool { return !e.ActBy.IsZero() && e.ActBy != e.Due }

// likely says when the hose is likely due where an earlier date counts.
func likely(st web.Style, e register.Estimate) string {
	switch {
	case e.Due.IsZero():
		return "likely no limit within 100 years"
	case e.Governing == "":
		return "likely " + st.Date(e.Due)
	}
	return "likely " + st.Date(e.Due) + " by the " + string(e.Governing) + " clock"
}

// usedText is a used share; while its date is to come it is not all of it.
func usedText(used *float64, due, today quantity.Date) string {
	if used != nil && *used > 0.99 && due.After(today) {
		most := 0.99
		used = &most
	}
	return web.Percent(used)
}

// missing says what an incomplete line lacks.
func missing(l register.Line) string {
	switch {
	case !l.Estimated:
		return "not worked out yet"
	case l.Estimate.Problem != "":
		return l.Estimate.Problem
	}
	return strings.Join(l.Estimate.Missing, ", ")
}

func noDate(l register.Line) string {
	switch {
	case !l.Estimated, l.Estimate.Problem != "", !l.Estimate.Complete:
		return "no date"
	}
	return "no limit within 100 years"
}

// yearsAhead is how far beyond today the axis of life strips runs.
const yearsAhead = 8

// axisOf is the axis that strips of the lines share: from the earliest make
// date to today + 8 years.
func axisOf(today quantity.Date, lines ...register.Line) chart.Axis {
	from := today.AddMonths(-12)
	for _, l := range lines {
		if start := startOf(l); !start.IsZero() && start.Before(from) {
			from = start
		}
	}
	return chart.Axis{From: chartDay(from), To: chartDay(today.AddMonths(12 * yearsAhead)), Today: chartDay(today)}
}

// startOf is where the bar of a line begins: make, else assembly, else fitting.
func startOf(l register.Line) quantity.Date {
	return quantity.Earliest(l.Made.Start(), l.Assembled.Start(), l.Fitted)
}

func chartDay(d quantity.Date) chart.Day { return chart.Day(d.DayNumber()) }

// strip draws the life strip of a line; id begins all its ids.
func strip(st web.Style, id string, a chart.Axis, l register.Line, inspections []quantity.Date) template.HTML {
	e := l.Estimate
	s := chart.Strip{
		ID: id, Title: "Life of " + l.AssemblyCode + " at " + l.Position,
		Start: chartDay(startOf(l)), Fitted: chartDay(l.Fitted),
		Due: chartDay(e.ActBy), Earliest: chartDay(e.Earliest), Latest: chartDay(e.Latest),
		Label: string(e.Governing), DueText: st.Date(e.ActBy),
	}
	switch {
	case e.ActBy.IsZero():
		s.Label = noDate(l)
	case early(e):
		s.Label = "earliest"
	}
	for _, d := range inspections {
		s.Inspections = append(s.Inspections, chartDay(d))
	}
	s.Desc = stripText(st, l, len(inspections))
	return template.HTML(s.SVG(a)) //nolint:gosec // chart escapes every text
}

// stripText says in words what the strip shows.
func stripText(st web.Style, l register.Line, inspections int) string {
	e := l.Estimate
	var b strings.Builder
	b.WriteString("From " + dayOr(st, startOf(l), "an unknown day") + " on, fitted " + dayOr(st, l.Fitted, "on an unknown day"))
	if e.ActBy.IsZero() {
		b.WriteString(", " + noDate(l))
	} else {
		b.WriteString(", due " + st.Date(e.ActBy))
		if early(e) {
			b.WriteString(", the earliest of the band, " + likely(st, e))
		} else {
			b.WriteString(" by its " + string(e.Governing) + " clock")
		}
		if band := st.Band(e.Earliest, e.Latest); band != "" {
			b.WriteString(", between " + band)
		}
	}
	if inspections > 0 {
		b.WriteString(", " + web.Count(inspections, "inspection", "inspections"))
	}
	return b.String() + "."
}

// dayOr is a day, or other words where there is none.
func dayOr(st web.Style, d quantity.Date, other string) string {
	if d.IsZero() {
		return other
	}
	return st.Date(d)
}

// stripID is the prefix of the ids of the n-th strip of a page.
func stripID(n int) string { return "strip" + strconv.Itoa(n) }
