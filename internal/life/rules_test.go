package life_test

import (
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

func TestOf_ConditionClock(t *testing.T) {
	const asOf = "2020-07-01"
	f := func(on string, class life.Class, by, closed string) life.Finding {
		n := life.Finding{On: day(on), Class: class}
		if by != "" {
			n.By = day(by)
		}
		if closed != "" {
			n.Closed = day(closed)
		}
		return n
	}
	for _, c := range []struct {
		promise  string
		findings []life.Finding
		due      string
		class    life.Class
		used     float64
		status   life.Status
	}{
		{"nothing found is sound", nil, "", life.Sound, 0, life.StatusInService},
		{"a sound finding opens nothing", []life.Finding{f("2020-06-01", life.Sound, "", "")}, "", life.Sound, 0, life.StatusInService},
		{"stop is due the day it was seen", []life.Finding{f("2020-06-01", life.Stop, "2020-09-01", "")}, "2020-06-01", life.Stop, 1, life.StatusStop},
		{"replace is due on its date", []life.Finding{f("2020-06-01", life.Replace, "2020-07-31", "")}, "2020-07-31", life.Replace, 0.5, life.StatusSoon},
		{"replace without a date is due after 30 days", []life.Finding{f("2020-06-16", life.Replace, "", "")}, "2020-07-16", life.Replace, 0.5, life.StatusSoon},
		{"replace to be done the same day is spent", []life.Finding{f("2020-06-30", life.Replace, "2020-06-30", "")}, "2020-06-30", life.Replace, 1, life.StatusOverdue},
		{"the earliest of several counts, the strictest names the class", []life.Finding{f("2020-06-01", life.Replace, "2020-08-31", ""), f("2020-05-01", life.Watch, "", ""), f("2020-06-01", life.Replace, "2020-08-15", "")}, "2020-08-15", life.Replace, 30.0 / 75, life.StatusAhead},
		{"correct and watch set no due date", []life.Finding{f("2020-06-01", life.Correct, "2020-06-10", ""), f("2020-06-01", life.Watch, "", "")}, "", life.Correct, 0, life.StatusInService},
		{"a later sound closes nothing", []life.Finding{f("2020-06-01", life.Stop, "", ""), f("2020-06-15", life.Sound, "", "")}, "2020-06-01", life.Stop, 1, life.StatusStop},
		{"closed is closed from 00:00 of the day", []life.Finding{f("2020-06-01", life.Stop, "", asOf)}, "", life.Sound, 0, life.StatusInService},
		{"closed tomorrow is open today", []life.Finding{f("2020-06-01", life.Stop, "", "2020-07-02")}, "2020-06-01", life.Stop, 1, life.StatusStop},
		{"seen today is open", []life.Finding{f(asOf, life.Stop, "", "")}, asOf, life.Stop, 1, life.StatusStop},
		{"seen tomorrow is not known", []life.Finding{f("2020-07-02", life.Stop, "", "")}, "", life.Sound, 0, life.StatusInService},
	} {
		a := plain(t)
		a.Findings = c.findings
		e := of(t, a, asOf)
		k := clockOf(e, life.ConditionClock)
		if k.Due.String() != c.due || k.Class != c.class || *k.Used != c.used || e.Status != c.status || e.StopOpen != (c.status == life.StatusStop) {
			t.Errorf("%s: due %v, class %s, used %v, status %s", c.promise, k.Due, k.Class, *k.Used, e.Status)
		}
		if c.due != "" && (e.Governing != life.ConditionClock || e.Due != k.Due) {
			t.Errorf("%s: %s governs on %v", c.promise, e.Governing, e.Due)
		}
	}
}

func TestOf_NextInspection(t *testing.T) {
	for _, c := range []struct {
		promise string
		edit    func(a *life.Assembly)
		due     string
	}{
		{"without one, 12 months from fitting", func(a *life.Assembly) {}, "2021-01-01"},
		{"12 months from the last", func(a *life.Assembly) { a.LastInspection = day("2020-06-15") }, "2021-06-15"},
		{"one that is still to come does not count", func(a *life.Assembly) { a.LastInspection = day("2020-07-02") }, "2021-01-01"},
		{"the date of a finding to watch comes first", func(a *life.Assembly) {
			a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Watch, By: day("2020-09-01")}}
		}, "2020-09-01"},
		{"a later date of one to correct does not", func(a *life.Assembly) {
			a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Correct, By: day("2023-09-01")}}
		}, "2021-01-01"},
		{"no interval, no inspection", func(a *life.Assembly) { a.Policy.InspectMonths = nil }, ""},
		{"hotter than the hose allows: at once, on the day that began", func(a *life.Assembly) { a.Conditions[0].FluidC = ptr(111.0) }, "2020-01-01"},
		{"inspected since, still too hot: every day again", func(a *life.Assembly) {
			a.Conditions[0].FluidC, a.LastInspection = ptr(111.0), day("2020-06-01")
		}, "2020-06-02"},
		{"over, not inspected since it ended: the day it ended", func(a *life.Assembly) {
			a.Conditions[0].FluidC, a.LastInspection = ptr(111.0), day("2020-03-01")
			cool := a.Conditions[0]
			cool.From, cool.FluidC = day("2020-05-01"), ptr(60.0)
			a.Conditions = append(a.Conditions, cool)
		}, "2020-05-01"},
		{"over and inspected since: the interval", func(a *life.Assembly) {
			a.Conditions[0].FluidC, a.LastInspection = ptr(111.0), day("2020-06-01")
			cool := a.Conditions[0]
			cool.From, cool.FluidC = day("2020-05-01"), ptr(60.0)
			a.Conditions = append(a.Conditions, cool)
		}, "2021-06-01"},
		{"a plan to run too hot asks for one on its day", func(a *life.Assembly) {
			hot := a.Conditions[0]
			hot.From, hot.FluidC = day("2020-09-01"), ptr(111.0)
			a.Conditions = append(a.Conditions, hot)
		}, "2020-09-01"},
		{"water allows 70 degrees only", func(a *life.Assembly) { a.Fluid, a.Conditions[0].FluidC = "water-based", ptr(71.0) }, "2020-01-01"},
		{"so does a class of fluid that holds water", func(a *life.Assembly) { a.Fluid, a.Conditions[0].FluidC = "HFC 46", ptr(71.0) }, "2020-01-01"},
		{"so does an emulsion", func(a *life.Assembly) { a.Fluid, a.Conditions[0].FluidC = "Emulsion", ptr(71.0) }, "2020-01-01"},
		{"other fluids do not", func(a *life.Assembly) { a.Fluid, a.Conditions[0].FluidC = "HEES 46", ptr(71.0) }, "2021-01-01"},
		{"a share of the time is enough", func(a *life.Assembly) {
			a.Conditions[0].Temperatures = []life.TemperatureShare{{C: 112, Share: 0.01}, {C: 50, Share: 0.99}}
		}, "2020-01-01"},
		{"a share of nothing is not", func(a *life.Assembly) {
			a.Conditions[0].Temperatures = []life.TemperatureShare{{C: 112, Share: 0}, {C: 50, Share: 1}}
		}, "2021-01-01"},
	} {
		a := plain(t)
		c.edit(&a)
		e := of(t, a, "2020-07-01")
		if e.InspectionDue.String() != c.due {
			t.Errorf("%s: %v, want %q", c.promise, e.InspectionDue, c.due)
		}
	}
}

func TestOf_RatingClock(t *testing.T) {
	cycles := func(max float64) func(a *life.Assembly) {
		return func(a *life.Assembly) {
			a.Conditions[0].Recorded, a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, false, []life.Cycle{{MaxBar: max, Count: 0.001}}
		}
	}
	for _, c := range []struct {
		promise string
		edit    func(a *life.Assembly)
		due     string
		percent float64
		warn    string
	}{
		{"at its rating nothing is wrong", cycles(275), "", 100, ""},
		{"above it it is due on the first day", cycles(276), "2020-01-01", 276.0 / 2.75, life.WarnOverRating},
		{"a recorded log lifts it", func(a *life.Assembly) { cycles(276)(a); a.Conditions[0].Recorded = true }, "", 276.0 / 2.75, life.WarnOverRating},
		{"an assessment lifts it", func(a *life.Assembly) { cycles(276)(a); a.Conditions[0].Assessed = day("2020-07-01") }, "", 276.0 / 2.75, life.WarnOverRating},
		{"one attached tomorrow does not yet", func(a *life.Assembly) { cycles(276)(a); a.Conditions[0].Assessed = day("2020-07-02") }, "2020-01-01", 276.0 / 2.75, life.WarnOverRating},
		{"at 200 % an assessment still lifts it", func(a *life.Assembly) { cycles(550)(a); a.Conditions[0].Assessed = day("2020-02-01") }, "", 200, life.WarnOverRating},
		{"above 200 % nothing lifts it", func(a *life.Assembly) {
			cycles(551)(a)
			a.Conditions[0].Recorded, a.Conditions[0].Assessed = true, day("2020-02-01")
		}, "2020-01-01", 551 / 2.75, life.WarnOver200},
		{"a rare peak of no count is a peak", func(a *life.Assembly) { cycles(300)(a); a.Conditions[0].Cycles[0].Count = 0 }, "2020-01-01", 300 / 2.75, life.WarnOverRating},
		{"working pressure counts where no cycles are known", func(a *life.Assembly) {
			a.Conditions[0].Recorded, a.Conditions[0].NoCycles, a.Conditions[0].WorkingBar = false, false, ptr(280.0)
		}, "2020-01-01", 280 / 2.75, life.WarnOverRating},
		{"the weaker end is the rating", func(a *life.Assembly) { cycles(275)(a); a.EndABar = ptr(250.0) }, "2020-01-01", 110, life.WarnOverRating},
		{"an adapter lowers it while it sits there", func(a *life.Assembly) {
			cycles(275)(a)
			with := a.Conditions[0]
			with.From, with.AdapterBar = day("2020-03-01"), ptr(200.0)
			after := a.Conditions[0]
			after.From = day("2020-05-01")
			a.Conditions = append(a.Conditions, after, with)
		}, "2020-03-01", 137.5, life.WarnOverRating},
		{"conditions before the fitting count from the fitting", func(a *life.Assembly) { cycles(276)(a); a.Conditions[0].From = day("2019-01-01") }, "2020-01-01", 276 / 2.75, life.WarnOverRating},
		{"conditions that only held in store do not", func(a *life.Assembly) {
			cycles(276)(a)
			h := a.Stints[0].Hours
			a.Stints = []life.Stint{{From: day("2020-01-01"), To: day("2020-02-01"), Hours: h}, {From: day("2020-04-01"), Hours: h}}
			a.Conditions[0].From = day("2020-02-01")
			ok := a.Conditions[0]
			ok.Cycles = []life.Cycle{{MaxBar: 100, Count: 1}}
			ok.From = day("2020-01-01")
			again := ok
			again.From = day("2020-03-01")
			a.Conditions = append(a.Conditions, ok, again)
		}, "", 100 / 2.75, ""},
		{"a plan to work above it shows on its day", func(a *life.Assembly) {
			cycles(100)(a)
			plan := a.Conditions[0]
			plan.From, plan.Cycles = day("2020-09-01"), []life.Cycle{{MaxBar: 300, Count: 1}}
			a.Conditions = append(a.Conditions, plan)
		}, "2020-09-01", 300 / 2.75, life.WarnOverRating},
	} {
		a := plain(t)
		c.edit(&a)
		e := of(t, a, "2020-07-01")
		k := clockOf(e, life.RatingClock)
		if k.Due.String() != c.due || k.Percent == nil || *k.Percent < c.percent-1e-9 || *k.Percent > c.percent+1e-9 || len(k.Missing) > 0 {
			t.Errorf("%s: due %v, percent %v, missing %v", c.promise, k.Due, k.Percent, k.Missing)
		}
		if (c.warn != "") != warned(e, c.warn) || c.warn == "" && warned(e, life.WarnOverRating) {
			t.Errorf("%s: warnings %v", c.promise, e.Warnings)
		}
		if used := *k.Used; (used == 1) != (c.due != "" && c.due <= "2020-07-01") {
			t.Errorf("%s: used %v", c.promise, used)
		}
	}
}

func warned(e life.Estimate, code string) bool {
	for _, w := range e.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// What is not known must not look good.
func TestOf_UnknownData(t *testing.T) {
	loaded := func(a *life.Assembly) {
		a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, []life.Cycle{{MaxBar: 200, Count: 10}}
	}
	for _, c := range []struct {
		promise string
		edit    func(a *life.Assembly)
		missing map[life.ClockName]string
		warn    string
		due     string // of the calendar
	}{
		{"nothing missing", loaded, nil, "", "2026-01-01"},
		{"no assembly date: the hose's make", func(a *life.Assembly) { a.Assembled, a.Hose.Made = noDate, day("2019-03-01") }, nil, life.WarnDataMissing, "2025-03-01"},
		{"no make date either: first fitting less 48 months", func(a *life.Assembly) { a.Assembled, a.Hose.Made = noDate, noDate }, nil, life.WarnDataMissing, "2022-01-01"},
		{"a hose too old when assembled gets no younger", func(a *life.Assembly) { a.Hose.Made = day("2015-06-01") }, nil, life.WarnHoseTooOld, "2025-06-01"},
		{"at the limit it is not too old", func(a *life.Assembly) { a.Hose.Made = day("2016-01-01") }, nil, "", "2026-01-01"},
		{"a limit from an unknown make counts from 48 months before", func(a *life.Assembly) { a.Hose.Made, a.Policy.MonthsFromMake = noDate, ptr(60) }, nil, life.WarnDataMissing, "2021-01-01"},
		{"fitted before it was assembled: the earlier day", func(a *life.Assembly) { a.Assembled, a.Hose.Made = day("2020-06-01"), noDate }, nil, life.WarnDateAmbiguous, "2026-01-01"},
		{"an end of unknown rating", func(a *life.Assembly) { loaded(a); a.EndABar = nil }, nil, life.WarnRatingUnconfirmed, "2026-01-01"},
		{
			"no rating at all", func(a *life.Assembly) { loaded(a); a.Hose.RatedBar, a.EndABar, a.EndBBar = nil, nil, nil },
			map[life.ClockName]string{life.RatingClock: life.MissingRating, life.PressureClock: life.MissingRating},
			life.WarnRatingUnconfirmed, "2026-01-01",
		},
		{
			"no hours", func(a *life.Assembly) { loaded(a); a.Stints[0].Hours = nil; a.Policy.HoursFromFitting = ptr(1000.0) },
			map[life.ClockName]string{life.HeatClock: life.MissingHours, life.HoursClock: life.MissingHours, life.PressureClock: life.MissingHours},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"no machine known", func(a *life.Assembly) { loaded(a); a.Stints = nil },
			map[life.ClockName]string{life.HeatClock: life.MissingHours, life.PressureClock: life.MissingHours},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"not known where it sat at first", func(a *life.Assembly) { loaded(a); a.Stints[0].From = day("2020-03-01") },
			map[life.ClockName]string{life.HeatClock: life.MissingHours, life.PressureClock: life.MissingHours},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"no cycles on a pressure line", func(a *life.Assembly) { a.Conditions[0].NoCycles = false; a.Conditions[0].WorkingBar = ptr(100.0) },
			map[life.ClockName]string{life.PressureClock: life.MissingCycles},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"no pressure of any kind", func(a *life.Assembly) { a.Conditions[0].NoCycles = false },
			map[life.ClockName]string{life.PressureClock: life.MissingCycles, life.RatingClock: life.MissingPressure},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"cycles per lift, lifts unknown", func(a *life.Assembly) { loaded(a); a.Conditions[0].Cycles[0].Per = "lift" },
			map[life.ClockName]string{life.PressureClock: life.MissingPer},
			life.WarnDataMissing, "2026-01-01",
		},
		{"a line without cycles is not worn by pressure", func(a *life.Assembly) {}, nil, "", "2026-01-01"},
		{"textile has no curve", func(a *life.Assembly) {
			a.Hose.Construction = "textile"
			a.Conditions[0].NoCycles = false
			a.Conditions[0].WorkingBar = ptr(50.0)
		}, nil, "", "2026-01-01"},
		{
			"no temperature", func(a *life.Assembly) { a.Conditions[0].FluidC = nil },
			map[life.ClockName]string{life.HeatClock: life.MissingFluidTemp},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"surroundings alone are not enough", func(a *life.Assembly) { a.Conditions[0].FluidC, a.Conditions[0].SurroundingsC = nil, ptr(20.0) },
			map[life.ClockName]string{life.HeatClock: life.MissingFluidTemp},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"no highest temperature", func(a *life.Assembly) { a.Hose.MaxC = nil },
			map[life.ClockName]string{life.HeatClock: life.MissingHoseTemp},
			life.WarnDataMissing, "2026-01-01",
		},
		{
			"no conditions", func(a *life.Assembly) { a.Conditions = nil },
			map[life.ClockName]string{life.RatingClock: life.MissingPressure, life.HeatClock: life.MissingFluidTemp, life.PressureClock: life.MissingCycles},
			life.WarnDataMissing, "2026-01-01",
		},
		{"unknown construction counts as wire", func(a *life.Assembly) { loaded(a); a.Hose.Construction = "" }, nil, life.WarnDataMissing, "2026-01-01"},
		{"conditions that begin late hold from the start", func(a *life.Assembly) { a.Conditions[0].From = day("2020-02-01") }, nil, life.WarnDataMissing, "2026-01-01"},
	} {
		a := plain(t)
		c.edit(&a)
		e := of(t, a, "2020-07-01")
		for _, k := range e.Clocks {
			want := c.missing[k.Name]
			if want == "" && len(k.Missing) > 0 || want != "" && !contains(k.Missing, want) {
				t.Errorf("%s: %s lacks %q, want %q", c.promise, k.Name, k.Missing, want)
			}
			if want != "" && (!k.Due.IsZero() || k.Used != nil) {
				t.Errorf("%s: %s has a date although it lacks data", c.promise, k.Name)
			}
		}
		if e.Complete != (len(c.missing) == 0) {
			t.Errorf("%s: complete %v", c.promise, e.Complete)
		}
		if c.warn == "" && len(e.Warnings) > 0 || c.warn != "" && !warned(e, c.warn) {
			t.Errorf("%s: warnings %v", c.promise, e.Warnings)
		}
		isDue(t, e, life.CalendarClock, c.due)
	}
}

func contains(list []string, want string) bool {
	for _, s := range list {
		if s == want {
			return true
		}
	}
	return false
}

// A meter that never moved, and no plan, says nothing of the time before it.
func TestOf_UnknownPastOfAMeter(t *testing.T) {
	var still usage.Series
	for i := range 6 {
		still.Readings = append(still.Readings, usage.Reading{On: day("2020-03-01").AddDays(20 * i), Hours: 100})
	}
	h, err := usage.New(still, day("2020-07-01"))
	if err != nil || h == nil {
		t.Fatal("no hours: ", err)
	}
	a := plain(t)
	a.Stints[0].Hours = h
	e := of(t, a, "2020-07-01")
	if k := clockOf(e, life.HeatClock); !contains(k.Missing, life.MissingEarlyHours) || !k.Due.IsZero() || e.HoursSinceFitting != nil {
		t.Errorf("heat lacks %v, due %v", k.Missing, k.Due)
	}
	a.Fitted, a.Stints[0].From = day("2020-03-01"), day("2020-03-01")
	if k := clockOf(of(t, a, "2020-07-01"), life.HeatClock); len(k.Missing) > 0 {
		t.Errorf("fitted on the day of the first reading, heat lacks %v", k.Missing)
	}
}

func TestOf_Constructions(t *testing.T) {
	for construction, curve := range map[string]bool{
		"wire braid": true, "wire spiral": true, "Steel wire braid": true, "": true, "textile": false, "textile braid": false,
		"thermoplastic": false, "Thermoplast": false,
		"suction, wire helix": false, "textile with helical wire": false, "aramid fibre": false, "wire braid, textile cover": true,
		// What does not say what bears the pressure takes no clock away.
		"rubber": true, "two braids": true, "Drahtgeflecht": true,
	} {
		a := plain(t)
		a.Hose.Construction = construction
		a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, []life.Cycle{{MaxBar: 200, Count: 10}}
		k := clockOf(of(t, a, "2020-07-01"), life.PressureClock)
		if (k.Used != nil) != curve || (k.Note == life.NoteNoCurve) == curve {
			t.Errorf("%q: used %v, note %q", construction, k.Used, k.Note)
		}
	}
	for construction, warn := range map[string]bool{"": true, "rubber": true, "wire braid": false, "textile": false, "suction": false} {
		a := plain(t)
		a.Hose.Construction = construction
		if e := of(t, a, "2020-07-01"); warned(e, life.WarnDataMissing) != warn {
			t.Errorf("%q: warnings %v", construction, e.Warnings)
		}
	}
	for _, tube := range []string{"PTFE", "thermoplastic"} {
		a := plain(t)
		a.Hose.Tube, a.Policy = tube, life.ThermoplasticOrPTFE()
		a.Conditions[0].FluidC = ptr(108.0)
		e := of(t, a, "2020-07-01")
		if k := clockOf(e, life.HeatClock); k.Used != nil || !k.Due.IsZero() || k.Note != life.NoteNoRubber || !e.Complete || !e.Due.IsZero() || e.Status != life.StatusInService {
			t.Errorf("%s: %+v, due %v", tube, k, e.Due)
		}
	}
}

// A rubber hose under a policy without months ages against 72 from assembly,
// and says so.
func TestOf_NoLimitInMonths(t *testing.T) {
	a := plain(t)
	a.Policy = life.Policy{Name: "none"}
	e := of(t, a, "2020-07-01")
	isDue(t, e, life.CalendarClock, "")
	isDue(t, e, life.HeatClock, "2026-01-01")
	if clockOf(e, life.HeatClock).Note != life.NoteSeventyTwo || e.Governing != life.HeatClock {
		t.Errorf("%+v", e)
	}
}

// No clock runs for more than 100 years, and one spent in the past keeps its
// day.
func TestOf_FarAndPast(t *testing.T) {
	a := plain(t)
	a.Policy.HoursFromFitting = ptr(84.0 / 7 * 36000)
	isDue(t, of(t, a, "2020-07-01"), life.HoursClock, "2118-07-26")
	a.Policy.HoursFromFitting = ptr(84.0 / 7 * 37000)
	isDue(t, of(t, a, "2020-07-01"), life.HoursClock, "")
	a.Policy.MonthsFromAssembly = ptr(3)
	e := of(t, a, "2020-07-01")
	if e.Due != day("2020-04-01") || e.Status != life.StatusOverdue || *clockOf(e, life.CalendarClock).Used != 182.0/91 {
		t.Errorf("due %v, status %s, used %v", e.Due, e.Status, *clockOf(e, life.CalendarClock).Used)
	}
}

// Where a burst can hurt someone the status follows the earliest date.
func TestOf_StatusUsesTheEarliestWhereABurstCanHurt(t *testing.T) {
	a := plain(t)
	h, err := usage.New(usage.Series{
		PlannedPerWeek: ptr(84.0), Readings: []usage.Reading{{On: day("2020-01-01"), Hours: 0}, {On: day("2020-07-01"), Hours: 2184}},
	}, day("2020-07-01"))
	if err != nil {
		t.Fatal(err)
	}
	a.Stints[0].Hours = h
	// 182 days x 12 h by then; 1092 h more are 91 days, at 15.6 h a day 70.
	a.Policy.HoursFromFitting = ptr(182*12 + 1092.0)
	e := of(t, a, "2020-07-01")
	if e.Status != life.StatusInService || e.Due != day("2020-09-30") || e.Earliest != day("2020-09-09") {
		t.Errorf("status %s, due %v, earliest %v", e.Status, e.Due, e.Earliest)
	}
	a.CanHurt = true
	if e = of(t, a, "2020-07-01"); e.Status != life.StatusAhead {
		t.Errorf("status %s", e.Status)
	}
}

func TestStatusOn(t *testing.T) {
	today := day("2020-07-01")
	for _, c := range []struct {
		days int
		want life.Status
	}{{-1, life.StatusOverdue}, {0, life.StatusSoon}, {30, life.StatusSoon}, {31, life.StatusAhead}, {90, life.StatusAhead}, {91, life.StatusInService}} {
		if got := life.StatusOn(false, today.AddDays(c.days), today); got != c.want {
			t.Errorf("%d days: %s, want %s", c.days, got, c.want)
		}
	}
	if life.StatusOn(false, quantity.Date{}, today) != life.StatusInService || life.StatusOn(true, today.AddDays(99), today) != life.StatusStop {
		t.Error("no date is in service, an open stop is a stop")
	}
}

func TestOf_Warnings(t *testing.T) {
	for _, c := range []struct {
		code, says string
		edit       func(a *life.Assembly)
	}{
		{life.WarnOverTemperature, "111 °C", func(a *life.Assembly) { a.Conditions[0].FluidC = ptr(111.0) }},
		{life.WarnTableDiffers, "250 bar", func(a *life.Assembly) { a.TableBar = ptr(250.0) }},
		{life.WarnBendTooTight, "180 mm", func(a *life.Assembly) { a.BendMM, a.Hose.MinBendMM = ptr(150.0), ptr(180.0) }},
		{life.WarnStraightTooShort, "36 mm", func(a *life.Assembly) { a.StraightMM, a.Hose.OutsideMM = ptr(35.0), ptr(24.0) }},
		{life.WarnHoseTooOld, "48 months", func(a *life.Assembly) { a.Hose.Made = day("2015-12-31") }},
		{life.WarnStoredTooLong, "24 months", func(a *life.Assembly) { a.Assembled, a.Hose.Made = day("2017-12-31"), day("2017-12-31") }},
		{life.WarnMixedMakers, "makers", func(a *life.Assembly) { a.MixedMakers = true }},
		{life.WarnTwisted, "twisted", func(a *life.Assembly) { a.Twisted = true }},
		{life.WarnDateAmbiguous, "more than one way", func(a *life.Assembly) { a.DateAmbiguous = true }},
		{life.WarnHeatMilder, "95 °C", func(a *life.Assembly) { a.Policy.HeatReferenceC = ptr(95.0) }},
		{life.WarnHeatMilder, "80 kJ/mol", func(a *life.Assembly) { a.Policy.EaKJ = ptr(80.0) }},
		{life.WarnLimitLengthened, "R. Maier: tested", func(a *life.Assembly) { a.Lengthened = "R. Maier: tested" }},
		{life.WarnLimitLengthened, "84 months is longer than the 72", func(a *life.Assembly) { a.Policy.MonthsFromAssembly = ptr(84) }},
		{life.WarnLimitLengthened, "18 months is longer than the 12", func(a *life.Assembly) { a.Policy.InspectMonths = ptr(18) }},
		{life.WarnLimitLengthened, "0.7", func(a *life.Assembly) { a.Policy.DamageLimit = ptr(0.7) }},
		{life.WarnLimitLengthened, "1.5", func(a *life.Assembly) { a.Policy.AssumedFactor = ptr(1.5) }},
		{life.WarnLimitLengthened, "tested by the maker", func(a *life.Assembly) {
			a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(133.0), ptr(1e6)
			a.Policy.OwnCurveAlone, a.Policy.OwnCurveReason = true, "tested by the maker"
		}},
	} {
		a := plain(t)
		c.edit(&a)
		e := of(t, a, "2020-07-01")
		if len(e.Warnings) != 1 || e.Warnings[0].Code != c.code || !strings.Contains(e.Warnings[0].Text, c.says) {
			t.Errorf("%s: %v", c.code, e.Warnings)
		}
	}
	a := plain(t)
	a.StraightMM, a.Hose.OutsideMM, a.BendMM, a.Hose.MinBendMM = ptr(36.0), ptr(24.0), ptr(180.0), ptr(180.0)
	a.Assembled, a.Hose.Made = day("2018-01-01"), day("2014-01-01")
	a.Policy.HeatReferenceC, a.Policy.EaKJ, a.Policy.DamageLimit, a.Policy.AssumedFactor = ptr(90.0), ptr(92.0), ptr(0.5), ptr(2.0)
	if e := of(t, a, "2020-07-01"); len(e.Warnings) > 0 {
		t.Errorf("at every limit: %v", e.Warnings)
	}
	stale, err := usage.New(usage.Series{Readings: []usage.Reading{{On: day("2019-06-01"), Hours: 1}, {On: day("2019-12-01"), Hours: 900}}}, day("2020-07-01"))
	if err != nil {
		t.Fatal(err)
	}
	a.Stints[0].Hours = stale
	if e := of(t, a, "2020-07-01"); !warned(e, life.WarnReadingsStale) {
		t.Errorf("stale readings: %v", e.Warnings)
	}
}
