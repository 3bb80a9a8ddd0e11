package server

import (
	"errors"
	"fmt"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// The fields for how something is worked are the same for a kind of machine, a
// machine, a circuit and a position. Cycles and temperatures are rows; a button
// adds one.

const (
	firstRows = 1  // rows of cycles and temperatures a form begins with
	mostRows  = 24 // it can have
)

// serviceValues are the fields of a form for how something is worked.
func serviceValues(style web.Style, v register.Service) []string {
	st := shownAs{style}
	pairs := []string{
		"fluid", st.celsius(v.FluidC), "surroundings", st.celsius(v.SurroundingsC), "always_hot", yes(isTrue(v.AlwaysHot)),
		"adapter", st.bar(v.AdapterBar), "working", st.bar(v.WorkingBar), "no_cycles", yes(isTrue(v.NoCycles)),
		"recorded", yes(isTrue(v.Recorded)), "assessed", st.day(v.AssessedOn),
	}
	for i, y := range v.Cycles {
		pairs = append(pairs, rowName("cycle_min", i), st.bar(&y.MinBar), rowName("cycle_max", i), st.bar(&y.MaxBar),
			rowName("cycle_count", i), numberText(&y.Count, 6), rowName("cycle_per", i), y.Per, rowName("cycle_per_hour", i), numberText(y.PerHour, 6))
	}
	for i, t := range v.Temperatures {
		share := t.Share * 100
		pairs = append(pairs, rowName("temp", i), st.celsius(&t.C), rowName("share", i), numberText(&share, 4))
	}
	return pairs
}

func isTrue(v *bool) bool { return v != nil && *v }

// rows is how many rows of a kind the form shows: those up to the last that
// holds something, and one more where its button was pressed.
func (f *form) rows(button, first string) int {
	n := firstRows
	for i := n; i < mostRows; i++ {
		if f.text(rowName(first, i)) != "" {
			n = i + 1
		}
	}
	if f.do() == button {
		n++
	}
	return min(n, mostRows)
}

// moreRows reports whether the form was sent for another row.
func (f *form) moreRows() bool { return f.do() == "cycle_rows" || f.do() == "temp_rows" }

// serviceGroups are the parts of a form for how something is worked.
func serviceGroups(f *form) []formGroup {
	cycles := f.rows("cycle_rows", "cycle_max")
	groups := []formGroup{{
		Title: "Pressure", Hint: f.style.HintPressure(), Ticks: []tick{
			f.tick("no_cycles", "It sees no pressure cycles").hint("Return and suction lines. Then give the working pressure."),
			f.tick("recorded", "The cycles come from a recorded pressure log").hint("Without it they count as assumed, with a factor for safety."),
		},
		Fields: []field{f.field("working", "Working pressure").hint("Where no cycles are known.")},
	}}
	for i := range cycles {
		groups = append(groups, cycleGroups(f, i)...)
	}
	groups = append(groups, formGroup{Button: &formButton{"cycle_rows", "One more row of cycles"}}, overRating(f))
	temps := f.rows("temp_rows", "temp")
	heat := formGroup{Title: "Temperature", Ticks: []tick{f.tick("always_hot", "The surroundings are hot around the clock").hint("Beside a furnace, an engine that never stops.")}, Fields: []field{
		f.field("fluid", "Fluid").hint(f.style.HintTemperature()),
		f.field("surroundings", "Surroundings").hint("The air around the hose."),
	}}
	spread := formGroup{Summary: "Fluid temperature by share of running time", Hint: "In place of one fluid temperature. The shares add to 100 %.", Button: &formButton{"temp_rows", "One more temperature"}}
	for i := range temps {
		spread.Fields = append(spread.Fields,
			f.field(rowName("temp", i), fmt.Sprintf("Temperature %d", i+1)), f.field(rowName("share", i), fmt.Sprintf("Share of running time %d, in %%", i+1)).decimal())
		spread.Open = spread.Open || f.text(rowName("temp", i)) != ""
	}
	spread.Open = spread.Open || f.do() == "temp_rows"
	return append(groups, heat, spread)
}

// overRating is folded unless it is filled in: it is rarely needed.
func overRating(f *form) formGroup {
	return formGroup{Summary: "An adapter, or working over the rating", Open: f.text("adapter") != "" || f.text("assessed") != "", Fields: []field{
		f.field("adapter", "Rating of an adapter here").hint("If hoses sit on an adapter that is rated lower."),
		f.field("assessed", "Working over its rating was assessed on").hint("Only if somebody assessed it in writing; the day."),
	}}
}

// cycleGroups are the fields of one row of cycles; what is rarely needed is
// folded.
func cycleGroups(f *form, i int) []formGroup {
	row := fmt.Sprintf("Cycles %d: ", i+1)
	other := formGroup{Summary: fmt.Sprintf("Cycles %d are counted by something else than running hours", i+1), Fields: []field{
		f.field(rowName("cycle_per", i), row+"in each").hint("What is counted, such as lift or km."),
		f.field(rowName("cycle_per_hour", i), row+"of these in a running hour").decimal(),
	}}
	other.Open = f.text(rowName("cycle_per", i)) != ""
	return []formGroup{{Fields: []field{
		f.field(rowName("cycle_min", i), row+"from").hint("The lowest pressure. Empty: zero."),
		f.field(rowName("cycle_max", i), row+"to").hint("The highest pressure."),
		f.field(rowName("cycle_count", i), row+"how many").decimal().hint("In each running hour."),
	}}, other}
}

// serviceNames are the fields of a form for the register's fields of how
// something is worked. Rows are added as they are read.
func serviceNames() map[string]string {
	return map[string]string{
		"fluid_c": "fluid", "surroundings_c": "surroundings", "adapter_bar": "adapter", "working_bar": "working", "assessed_on": "assessed",
		"cycles": rowName("cycle_max", 0), "temperatures": rowName("share", 0),
	}
}

// service reads how something is worked, old being what it was. Fields nobody
// touched keep their value. The names of rows are added to names. An
// assessment in writing that is still to come is none.
func (f *form) service(old register.Service, names map[string]string, today quantity.Date) register.Service {
	v := register.Service{
		FluidC:        kept(f, "fluid", old.FluidC, func() *float64 { return f.temperature("fluid") }),
		SurroundingsC: kept(f, "surroundings", old.SurroundingsC, func() *float64 { return f.temperature("surroundings") }),
		AdapterBar:    kept(f, "adapter", old.AdapterBar, func() *float64 { return f.pressure("adapter", "Rating of the adapter") }),
		WorkingBar:    kept(f, "working", old.WorkingBar, func() *float64 { return f.pressure("working", "Working pressure") }),
		AlwaysHot:     f.said3("always_hot", old.AlwaysHot), NoCycles: f.said3("no_cycles", old.NoCycles), Recorded: f.said3("recorded", old.Recorded),
		AssessedOn: kept(f, "assessed", old.AssessedOn, func() quantity.Date { return f.day("assessed") }),
	}
	f.notAhead("assessed", quantity.Day(v.AssessedOn), today)
	for i := range mostRows {
		if y, ok := f.cycle(i, old.Cycles); ok {
			at := fmt.Sprintf("cycles[%d].", len(v.Cycles))
			names[at+"min_bar"], names[at+"max_bar"], names[at+"count"] = rowName("cycle_min", i), rowName("cycle_max", i), rowName("cycle_count", i)
			names[at+"per"], names[at+"per_hour"] = rowName("cycle_per", i), rowName("cycle_per_hour", i)
			v.Cycles = append(v.Cycles, y)
		}
		if t, ok := f.share(i, old.Temperatures); ok {
			at := fmt.Sprintf("temperatures[%d].", len(v.Temperatures))
			names[at+"c"], names[at+"share"] = rowName("temp", i), rowName("share", i)
			v.Temperatures = append(v.Temperatures, t)
		}
	}
	if isTrue(v.NoCycles) && len(v.Cycles) > 0 {
		f.wrong("no_cycles", "You gave cycles too. Take the tick off, or empty their rows.")
	}
	return v
}

// said3 is a box to tick as a value that may also say nothing: not ticked says
// nothing, unless the row says no.
func (f *form) said3(name string, old *bool) *bool {
	on := f.ticked(name)
	switch {
	case f.untouched(name):
		return old
	case on:
		return &on
	}
	return nil
}

// cycle reads one row of cycles; ok is false where it is empty or wrong.
func (f *form) cycle(i int, old register.Cycles) (y life.Cycle, ok bool) {
	from, to, count := rowName("cycle_min", i), rowName("cycle_max", i), rowName("cycle_count", i)
	per, perHour := rowName("cycle_per", i), rowName("cycle_per_hour", i)
	if f.text(from)+f.text(to)+f.text(count)+f.text(per)+f.text(perHour) == "" {
		return y, false
	}
	if i < len(old) {
		y = old[i]
	}
	f.needed(to, "Give the highest pressure of these cycles, or empty the row.")
	f.needed(count, "Give how many there are in each running hour, or empty the row.")
	number := func(v *float64) float64 {
		if v == nil {
			return 0
		}
		return *v
	}
	label := fmt.Sprintf("Cycles %d", i+1)
	y.MinBar = kept(f, from, y.MinBar, func() float64 { return number(f.pressure(from, label)) })
	y.MaxBar = kept(f, to, y.MaxBar, func() float64 { return number(f.pressure(to, label)) })
	y.Count = kept(f, count, y.Count, func() float64 { return number(f.hours(count)) })
	y.PerHour = kept(f, perHour, y.PerHour, func() *float64 { return f.hours(perHour) })
	y.Per = f.text(per)
	if y.Per != "" {
		f.needed(perHour, "Say how many of these there are in a running hour.")
	}
	return y, true
}

// share reads one temperature and its share of running time.
func (f *form) share(i int, old register.Temperatures) (t life.TemperatureShare, ok bool) {
	c, share := rowName("temp", i), rowName("share", i)
	if f.text(c)+f.text(share) == "" {
		return t, false
	}
	if i < len(old) {
		t = old[i]
	}
	f.needed(c, "Give the temperature of this share, or empty both.")
	f.needed(share, "Give the share of running time, or empty both.")
	t.C = kept(f, c, t.C, func() float64 {
		if v := f.temperature(c); v != nil {
			return *v
		}
		return 0
	})
	t.Share = kept(f, share, t.Share, func() float64 {
		if v := parsed(f, share, parsePercent); v != nil {
			return *v / 100
		}
		return 0
	})
	return t, true
}

func parsePercent(s string) (float64, error) {
	v, err := quantity.ParseNumber(strings.TrimSpace(strings.TrimSuffix(s, "%")))
	if err != nil || v < 0 || v > 100 {
		return 0, errors.New("“" + s + "” is not a share from 0 to 100 %")
	}
	return v, nil
}
