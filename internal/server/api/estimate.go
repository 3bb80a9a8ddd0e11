package api

import (
	"net/http"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Due is an installed assembly as the due list has it.
type Due struct {
	Assembly      string   `json:"assembly" doc:"Code of the assembly."`
	Site          string   `json:"site" doc:"Name of the site."`
	Machine       string   `json:"machine" doc:"Code of the machine."`
	MachineName   string   `json:"machine_name,omitzero" doc:"Name of the machine."`
	Circuit       string   `json:"circuit,omitzero" doc:"The circuit."`
	Position      string   `json:"position" doc:"The position."`
	Designation   string   `json:"designation,omitzero" doc:"Standard and type."`
	DN            int      `json:"dn,omitzero" doc:"Nominal bore, DN."`
	Dash          int      `json:"dash,omitzero" doc:"Dash size."`
	Fitted        string   `json:"fitted" format:"date" doc:"The day it was fitted."`
	Today         string   `json:"today" format:"date" doc:"The day it is at the site; the status goes by it."`
	Status        string   `json:"status" enum:"stop,overdue,soon,ahead,in service" doc:"stop: an open finding forbids working. overdue: past its day. soon: within 30 days. ahead: within 90. Visible damage beats any date."`
	ActBy         string   `json:"act_by,omitzero" format:"date" doc:"The day by which it is to be replaced: earliest where a burst can hurt someone, else due. Left out where none is known."`
	Due           string   `json:"due,omitzero" format:"date" doc:"When the first clock runs out, on the middle path of hours."`
	Earliest      string   `json:"earliest,omitzero" format:"date" doc:"Likewise on the fast path."`
	Latest        string   `json:"latest,omitzero" format:"date" doc:"Likewise on the slow path."`
	Incomplete    bool     `json:"incomplete" doc:"The date lacks a value and may be too late."`
	Missing       []string `json:"missing" doc:"What it lacks."`
	Governing     string   `json:"governing,omitzero" doc:"The clock that runs out first."`
	Used          *float64 `json:"used,omitzero" doc:"How much of that clock is spent, 0 to 1, over 1 when it ran out."`
	RatedBar      *float64 `json:"rated_bar,omitzero" doc:"Rating of the assembly: the lowest known of its parts, in bar."`
	CanHurt       bool     `json:"can_hurt" doc:"A burst there can hurt someone."`
	InspectionDue string   `json:"inspection_due,omitzero" format:"date" doc:"The day by which it is to be inspected."`
	LastInspected string   `json:"last_inspected,omitzero" format:"date" doc:"The day it was inspected last."`
	HoursNow      *float64 `json:"hours_now,omitzero" doc:"What the hour meter should show by now, in h."`
	HoursPerWeek  *float64 `json:"hours_per_week,omitzero" doc:"How much the machine runs, in h a week."`
	Warnings      []string `json:"warnings" doc:"Codes of what is to be looked at."`
	Problem       string   `json:"problem,omitzero" doc:"Why no full estimate could be made."`
	AsOf          string   `json:"as_of,omitzero" format:"date" doc:"The day it was worked out."`
	Stale         bool     `json:"stale" doc:"Something changed since; it is about to be worked out anew."`
}

type dueIn struct {
	Paging
	Site              string `query:"site" maxLength:"200" doc:"Only hoses at this site."`
	Machine           string `query:"machine" maxLength:"60" doc:"Only hoses on the machine of this code."`
	Kind              string `query:"kind" maxLength:"200" doc:"Only hoses on machines of this kind."`
	Status            string `query:"status" enum:"stop,overdue,soon,ahead,in service" doc:"Only hoses of this status."`
	WithinDays        int    `query:"within_days" minimum:"-1" maximum:"36525" default:"-1" doc:"Only hoses whose act_by is at most so many days from today; overdue, stopped and incomplete ones count. -1: all."`
	Incomplete        bool   `query:"incomplete" doc:"Only hoses whose date lacks a value."`
	InspectionOverdue bool   `query:"inspection_overdue" doc:"Only hoses whose inspection is overdue."`
	InspectionSoon    bool   `query:"inspection_soon" doc:"Only hoses to be inspected within 30 days."`
	OverRating        bool   `query:"over_rating" doc:"Only hoses that work above their rating."`
	CanHurt           bool   `query:"can_hurt" doc:"Only hoses whose burst can hurt someone."`
	Text              string `query:"text" maxLength:"200" doc:"Only hoses in whose texts this stands."`
}

// Estimate is when an assembly is due, and why.
type Estimate struct {
	Assembly        string         `json:"assembly" doc:"Code of the assembly."`
	AsOf            string         `json:"as_of,omitzero" format:"date" doc:"The day it was worked out for."`
	Status          string         `json:"status" doc:"Its status today."`
	Complete        bool           `json:"complete" doc:"No clock lacks a value."`
	Due             string         `json:"due,omitzero" format:"date" doc:"When the first clock runs out, on the middle path of hours; left out where none does within 100 years, or none can be computed."`
	Earliest        string         `json:"earliest,omitzero" format:"date" doc:"Likewise on the fast path."`
	Latest          string         `json:"latest,omitzero" format:"date" doc:"Likewise on the slow path."`
	Governing       string         `json:"governing,omitzero" doc:"The clock that runs out first."`
	InspectionDue   string         `json:"inspection_due,omitzero" format:"date" doc:"The day by which it is to be inspected."`
	RatedBar        *float64       `json:"rated_bar,omitzero" doc:"Rating of the assembly: the lowest known of its parts, in bar."`
	RatingConfirmed bool           `json:"rating_confirmed" doc:"Every part has a known rating that is not from a table."`
	HoursNow        *float64       `json:"hours_now,omitzero" doc:"What the hour meter should show by then, in h."`
	HoursPerWeek    *float64       `json:"hours_per_week,omitzero" doc:"How much the machine runs, in h a week."`
	HoursSince      *float64       `json:"hours_since_fitting,omitzero" doc:"Its own running hours, on all machines, in h."`
	StoreUntil      string         `json:"store_until,omitzero" format:"date" doc:"In store: the last day on which it may be fitted."`
	Policy          string         `json:"policy" doc:"The policy it is held to."`
	Clocks          []Clock        `json:"clocks" doc:"What wears it."`
	Warnings        []Warning      `json:"warnings" doc:"What is to be looked at."`
	Service         []ServiceValue `json:"service" doc:"How it is worked today, value by value."`
	Working         []Step         `json:"working" doc:"The arithmetic, step by step."`
	Problem         string         `json:"problem,omitzero" doc:"Why no estimate could be made; what is certain in spite of it is told all the same."`
}

// Clock is one thing that wears an assembly.
type Clock struct {
	Name    string   `json:"name" enum:"condition,rating,calendar,heat,hours,pressure,combined" doc:"What it is."`
	Used    *float64 `json:"used,omitzero" doc:"How much is spent, 0 to 1, over 1 when it ran out; left out if it cannot be computed."`
	Due     string   `json:"due,omitzero" format:"date" doc:"When it runs out."`
	Missing []string `json:"missing" doc:"What it lacks to be computed."`
	Rule    string   `json:"rule,omitzero" doc:"The rule that decides."`
	Note    string   `json:"note,omitzero" doc:"What is to be known of it."`
}

// Warning is something to be looked at.
type Warning struct {
	Code string `json:"code" doc:"From a closed list."`
	Text string `json:"text" doc:"In words."`
}

// Step is one step of the working.
type Step struct {
	Name    string `json:"name" doc:"What is worked out."`
	Formula string `json:"formula" doc:"How, with its numbers."`
	Value   string `json:"value" doc:"To what."`
	Source  string `json:"source" doc:"By which rule."`
}

// Preview is what a change would do to the dates.
type Preview struct {
	Touched int    `json:"touched" doc:"How many hoses' dates may move."`
	Seen    int    `json:"seen" doc:"How many of them were worked out for this; an even sample where they are many."`
	Earlier int    `json:"earlier" doc:"How many of those seen become due earlier."`
	Later   int    `json:"later" doc:"How many become due later."`
	Same    int    `json:"same" doc:"How many stay."`
	Gained  int    `json:"gained" doc:"How many had no date or were incomplete, and have one."`
	Lost    int    `json:"lost" doc:"How many become incomplete."`
	Overdue int    `json:"overdue" doc:"How many become overdue or stopped that were not."`
	Moves   []Move `json:"moves" doc:"The largest moves, at most 50."`
}

// Move is one date that would move.
type Move struct {
	Machine      string `json:"machine" doc:"Code of the machine."`
	Position     string `json:"position" doc:"The position."`
	Assembly     string `json:"assembly" doc:"Code of the assembly."`
	Before       string `json:"before,omitzero" format:"date" doc:"Its act_by now; left out if it has none."`
	After        string `json:"after,omitzero" format:"date" doc:"Its act_by then; left out if it would have none."`
	StatusBefore string `json:"status_before,omitzero" doc:"Its status now; left out if it sits nowhere yet."`
	StatusAfter  string `json:"status_after" doc:"Its status then."`
	ClockBefore  string `json:"clock_before,omitzero" doc:"The clock that governs now."`
	ClockAfter   string `json:"clock_after,omitzero" doc:"The clock that would govern."`
}

func (a *API) estimates() {
	const tag = "estimates"
	listed(a, op{"listDue", http.MethodGet, "/due", register.RightSee, tag, "List what is due", "Every installed hose: stop first, then overdue, then incomplete, then by act_by. Filters of days hide no incomplete one."}, (*call).listDue)
	read(a, op{"getEstimate", http.MethodGet, "/assemblies/{assembly}/estimate", register.RightSee, tag, "Get when an assembly is due, and why", "With its clocks, its warnings and the arithmetic."}, func(k *call, in *OfAssembly) (Estimate, error) {
		sheet, err := k.assembly(in.Assembly)
		return estimateOf(sheet), err
	})
	read(a, op{"getCounts", http.MethodGet, "/counts", register.RightSee, tag, "Count how hoses stand", ""}, func(k *call, in *struct {
		Site string `query:"site" maxLength:"200" doc:"Only hoses at this site."`
	},
	) (Counts, error) {
		c, err := k.Store.Counts(k.ctx, k.now, in.Site)
		return countsOf(c), err
	})
}

func (k *call) listDue(in *dueIn, after string, limit int) ([]Due, string, error) {
	f := register.LineFilter{
		Site: in.Site, Machine: in.Machine, Kind: in.Kind, Status: life.Status(in.Status), Incomplete: in.Incomplete, InspectionOverdue: in.InspectionOverdue,
		InspectionSoon: in.InspectionSoon, OverRating: in.OverRating, CanHurt: in.CanHurt, Text: in.Text, After: after, Limit: limit, Uncounted: true,
	}
	if in.WithinDays >= 0 {
		f.WithinDays = &in.WithinDays
	}
	page, err := k.Store.Lines(k.ctx, k.now, f)
	return mapped(page.Lines, dueOf), page.Next, err
}

func dueOf(l register.Line) Due {
	e := l.Estimate
	return Due{
		Assembly: l.AssemblyCode, Site: l.Site, Machine: l.MachineCode, MachineName: l.MachineName, Circuit: l.Circuit, Position: l.Position,
		Designation: l.Designation, DN: l.DN, Dash: l.Dash, Fitted: dayText(l.Fitted), Today: dayText(l.Today), Status: string(l.Status),
		ActBy: dayText(e.ActBy), Due: dayText(e.Due), Earliest: dayText(e.Earliest), Latest: dayText(e.Latest), Incomplete: l.Incomplete(), Missing: words(e.Missing),
		Governing: string(e.Governing), Used: e.Used, RatedBar: e.RatedBar, CanHurt: e.CanHurt, InspectionDue: dayText(e.InspectionDue), LastInspected: dayText(l.LastInspected),
		HoursNow: e.HoursNow, HoursPerWeek: e.HoursPerWeek, Warnings: words(e.Warnings), Problem: e.Problem, AsOf: dayText(e.AsOf), Stale: e.Stale,
	}
}

func estimateOf(sheet register.AssemblySheet) Estimate {
	out := Estimate{
		Assembly: sheet.Assembly.Code, Status: string(sheet.Status), Policy: sheet.Policy.Name, Service: serviceValues(sheet.Service), Problem: sheet.Problem,
		Clocks: []Clock{}, Warnings: mapped(sheet.Store, func(w life.Warning) Warning { return Warning{w.Code, w.Text} }),
		Working: mapped(sheet.Working, func(s life.Step) Step { return Step{s.Name, s.Formula, s.Value, s.Source} }),
	}
	e := sheet.Estimate
	if e == nil {
		return out
	}
	out.AsOf, out.Complete, out.Governing, out.RatedBar, out.RatingConfirmed = dayText(e.AsOf), e.Complete, string(e.Governing), e.RatedBar, e.RatingConfirmed
	out.Due, out.Earliest, out.Latest, out.InspectionDue, out.StoreUntil = dayText(e.Due), dayText(e.Earliest), dayText(e.Latest), dayText(e.InspectionDue), dayText(e.StoreUntil)
	out.HoursNow, out.HoursPerWeek, out.HoursSince = e.HoursNow, e.HoursPerWeek, e.HoursSinceFitting
	for _, w := range e.Warnings {
		out.Warnings = append(out.Warnings, Warning{w.Code, w.Text})
	}
	out.Clocks = mapped(e.Clocks, func(c life.Clock) Clock {
		return Clock{string(c.Name), c.Used, dayText(c.Due), words(c.Missing), c.Rule, c.Note}
	})
	return out
}

func previewOf(p register.Preview) *Preview {
	return &Preview{p.Touched, p.Seen, p.Earlier, p.Later, p.Same, p.Gained, p.Lost, p.Overdue, mapped(p.Moves, func(m register.Move) Move {
		return Move{
			m.Machine, m.Position, m.AssemblyCode, dayText(m.Before), dayText(m.After), string(m.StatusBefore), string(m.StatusAfter), string(m.GoverningBefore), string(m.GoverningAfter),
		}
	})}
}

// today is the day it is in UTC.
func (k *call) today() quantity.Date { return quantity.DateOf(k.now, time.UTC) }
