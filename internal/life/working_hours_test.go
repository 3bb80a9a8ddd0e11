package life_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
)

var (
	ofRate    = regexp.MustCompile(`, (\S+) days(?: out of lay-up)? x (\S+) / 7$`)
	ofTotals  = regexp.MustCompile(`^(\S+|\(.*?\)) - (\S+|\(.*?\)) h: `)
	within    = regexp.MustCompile(`^\((\S+) \+ \((\S+) - (\S+)\) x (\S+) / (\S+) days(?: out of lay-up)?$`)
	ofSlope   = regexp.MustCompile(`\((\S+) - (\S+)\) / (\S+) days(?: out of lay-up)?, readings of \S+ and [^,]+(, x 7)?`)
	ofParts   = regexp.MustCompile(`(\S+) h (?:carried back|by readings|after the last reading)`)
	perSeven  = regexp.MustCompile(`^(\S+) / 7, the rate`)
	ofShare   = regexp.MustCompile(`^(\S+) x (\S+?)(?:, at most 168)?$`)
	ofLarger  = regexp.MustCompile(`^the larger of (\S+) \(90 % quantile of the pairwise slopes\) and (\S+) x (\S+), at most 168$`)
	ofSmaller = regexp.MustCompile(`^the smaller of (\S+) \(10 % quantile of the pairwise slopes\) and (\S+) x (\S+?)(?:, and of (\S+) x (\S+))?$`)
	ofBefore  = regexp.MustCompile(`^the larger of (none|\S+)`)
	ofNow     = regexp.MustCompile(`^last reading \(\S+, (\S+) h\)(?: \+ (\S+) days(?: out of lay-up)? x (\S+) / 7)?`)
	ofMeter   = regexp.MustCompile(`that is (\S+) - (\S+) = (\S+) h$`)
)

// total is the hours at one end of a difference, from its text.
func total(t fataler, s string) float64 {
	m := within.FindStringSubmatch(strings.TrimSuffix(s, ")"))
	if m == nil {
		return figures(t, s)[0]
	}
	v := figures(t, m[1:]...)
	return v[0] + (v[1]-v[2])*v[3]/v[4]
}

// hoursBy works out the value of a step of hours from its text alone; ok is
// false where the text has no numbers to do so.
func hoursBy(t fataler, s *life.Step) (v float64, ok bool) {
	f := s.Formula
	switch {
	case strings.HasPrefix(s.Name, "running hours from "):
		if m := ofRate.FindStringSubmatch(f); m != nil {
			n := figures(t, m[1:]...)
			return n[0] * n[1] / 7, true
		}
		if m := ofTotals.FindStringSubmatch(f); m != nil {
			return total(t, m[1]) - total(t, m[2]), true
		}
		for _, m := range ofParts.FindAllStringSubmatch(f, -1) {
			v, ok = v+figures(t, m[1])[0], true
		}
		return v, ok
	case strings.HasPrefix(s.Name, "hours a day from "):
		if m := perSeven.FindStringSubmatch(f); m != nil {
			return figures(t, m[1])[0] / 7, true
		}
		if m := ofSlope.FindStringSubmatch(f); m != nil {
			n := figures(t, m[1:4]...)
			return (n[0] - n[1]) / n[2], true
		}
		return 0, f == "laid up"
	case strings.HasPrefix(s.Name, "rate before the first reading") && !strings.Contains(f, "nothing says"):
		if m := ofBefore.FindStringSubmatch(f); m[1] != "none" {
			v, ok = figures(t, m[1])[0], true
		}
		if m := ofSlope.FindStringSubmatch(f); m != nil {
			n := figures(t, m[1:4]...)
			v, ok = max(v, (n[0]-n[1])/n[2]*7), true
		}
		return v, ok
	case strings.HasPrefix(s.Name, "rate to come"):
		return rateBy(t, f)
	case strings.HasPrefix(s.Name, "machine hours on "):
		m := ofNow.FindStringSubmatch(f)
		v = figures(t, m[1])[0]
		if m[2] != "" {
			n := figures(t, m[2:4]...)
			v += n[0] * n[1] / 7
		}
		return v, true
	}
	return 0, false
}

func rateBy(t fataler, f string) (v float64, ok bool) {
	if m := ofLarger.FindStringSubmatch(f); m != nil {
		n := figures(t, m[1:]...)
		return min(168, max(n[0], n[1]*n[2])), true
	}
	if m := ofSmaller.FindStringSubmatch(f); m != nil {
		n := figures(t, m[1:4]...)
		v = min(n[0], n[1]*n[2])
		if m[4] != "" {
			n = figures(t, m[4:]...)
			v = min(v, n[0]*n[1])
		}
		return v, true
	}
	if m := ofShare.FindStringSubmatch(f); m != nil {
		n := figures(t, m[1:]...)
		return min(168, n[0]*n[1]), true
	}
	return 0, false
}

// checkHours holds every step of hours to its own text.
func checkHours(t fataler, steps []life.Step) {
	for i := range steps {
		s := &steps[i]
		for _, bad := range []string{"- -", "on the hour meter", "NaN", "Inf"} {
			if strings.HasPrefix(s.Name, "running hours") && strings.Contains(s.Formula, bad) {
				t.Fatalf("%+v says %q", *s, bad)
			}
		}
		v, ok := hoursBy(t, s)
		mustSay := strings.HasPrefix(s.Name, "hours a day from ") || strings.HasSuffix(s.Name, " path") && strings.HasPrefix(s.Name, "rate to come") ||
			strings.HasPrefix(s.Name, "running hours from ") && s.Source != life.SourceFact
		switch {
		case !ok && mustSay:
			t.Fatalf("%+v cannot be recalculated", *s)
		case !ok:
			continue
		}
		value, _, _ := strings.Cut(s.Value, " ")
		if got := figures(t, value)[0]; math.Abs(got-v) > 1e-8*math.Max(1, math.Abs(v)) {
			t.Fatalf("%+v: a calculator says %v", *s, v)
		}
	}
}

// Every number of hours that a step of the clocks uses has a line of its own,
// and every such line gives its value from what is printed in it.
func TestWorking_HoursCanBeFollowed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		steps := working(t, &a, asOfDay)
		checkHours(t, steps)
		ran, rates := map[string]bool{}, map[string]bool{}
		for _, s := range steps {
			if strings.HasPrefix(s.Name, "running hours from ") {
				ran[strings.TrimSuffix(s.Value, " h")] = true
			}
			if strings.HasPrefix(s.Name, "hours a day from ") {
				rates[strings.TrimSuffix(s.Value, " h a day")] = true
			}
			if m := stretch.FindStringSubmatch(s.Formula); m != nil && m[3] != "0" && m[4] != "0" && !ran[m[4]] {
				t.Fatalf("%+v: nothing says where its hours are from", s)
			}
			if m := lastStep.FindStringSubmatch(s.Formula); m != nil && m[7] != "0" && m[6] != "0" && !rates[m[6]] {
				t.Fatalf("%+v: nothing says where its hours a day are from", s)
			}
		}
	})
}

// onMachine is an assembly fitted on 2020-01-01 on the machine s, with cycles.
func onMachine(t *testing.T, s usage.Series, asOf string) *life.Assembly {
	t.Helper()
	h, err := usage.New(s, day(asOf))
	if err != nil || h == nil {
		t.Fatalf("hours: %v %v", h, err)
	}
	a := plain(t)
	a.Stints = []life.Stint{{From: day("2020-01-01"), Hours: h}}
	a.Conditions[0].Recorded, a.Conditions[0].NoCycles = false, false
	a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 275, Count: 40}}
	return &a
}

func step(t *testing.T, steps []life.Step, name string) life.Step {
	t.Helper()
	for _, s := range steps {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no step %q in %+v", name, steps)
	return life.Step{}
}

// The first reading is of day 366 (2020 is a leap year); 40 h a week are more
// than (1400 - 1234.5) / 59 x 7 = 19.6. Back 366 x 40 / 7 = 2091.43 h.
func TestWorking_HoursBeforeTheFirstReading(t *testing.T) {
	s := usage.Series{PlannedPerWeek: ptr(40.0), Readings: []usage.Reading{{On: day("2021-01-01"), Hours: 1234.5}, {On: day("2021-03-01"), Hours: 1400}}}
	steps := working(t, onMachine(t, s, "2021-03-01"), day("2021-03-01"))
	checkHours(t, steps)
	for name, want := range map[string][2]string{
		"running hours from 2020-01-01 to 2021-01-01, carried back": {
			"before the first reading (2021-01-01, 1234.5 h): back at 40 h a week, the larger of planned and first slope, 366 days x 40 / 7", "2091.42857143 h",
		},
		"running hours from 2021-01-01 to 2021-03-01, by readings": {"1400 - 1234.5 h: reading of 2021-03-01 less reading of 2021-01-01", "165.5 h"},
		"running hours from 2020-01-01 to 2021-03-01":              {"2091.42857143 h carried back + 165.5 h by readings", "2256.92857143 h"},
		"rate before the first reading":                            {"the larger of 40 h a week planned and first slope (1400 - 1234.5) / 59 days, readings of 2021-01-01 and 2021-03-01, x 7", "40 h a week"},
	} {
		if got := step(t, steps, name); got.Formula != want[0] || got.Value != want[1] {
			t.Errorf("%+v, want %v", got, want)
		}
	}
}

func TestWorking_RatesByMethod(t *testing.T) {
	at := func(on string, hours float64) usage.Reading { return usage.Reading{On: day(on), Hours: hours} }
	slopes := []usage.Reading{at("2021-01-01", 100), at("2021-01-29", 240), at("2021-02-26", 240), at("2021-03-26", 380)}
	for _, c := range []struct {
		why                string
		s                  usage.Series
		asOf               string
		formula, source    string
		fast, slow         string
		fastValue, slowVal string
	}{
		{
			"planned hours are no slope",
			usage.Series{PlannedPerWeek: ptr(35.0)},
			"2021-04-01",
			"planned 35 h a week, ends at -30 % / +30 %", "planned hours of the machine", "35 x 1.3, at most 168", "35 x 0.7", "45.5 h a week", "24.5 h a week",
		},
		{
			"too few readings are named",
			usage.Series{PlannedPerWeek: ptr(35.0), Readings: slopes[2:]},
			"2021-04-01",
			"planned 35 h a week as there are too few readings for a slope (under 3, or under 28 days out of lay-up): 2 readings from 2021-02-26 to 2021-03-26, ends at -30 % / +30 %",
			"planned hours of the machine", "35 x 1.3, at most 168", "35 x 0.7", "45.5 h a week", "24.5 h a week",
		},
		{
			"the plain slope names its readings",
			usage.Series{Readings: slopes[2:]},
			"2021-04-01",
			"last less first of 2 readings from 2021-02-26 to 2021-03-26: (380 - 240) / 28 days, readings of 2021-02-26 and 2021-03-26, x 7, ends at -30 % / +30 %",
			"hour-meter readings", "35 x 1.3, at most 168", "35 x 0.7", "45.5 h a week", "24.5 h a week",
		},
		{
			// Slopes a day 5, 2.5, 10/3, 0, 2.5, 5: sorted 0, 2.5, 2.5, 10/3, 5, 5;
			// quantiles 1.25, 35/12 and 5: a week 8.75, 20.4167 and 35.
			"slopes name the window",
			usage.Series{Readings: slopes},
			"2021-04-01",
			"median of the pairwise slopes of 4 readings from 2021-01-01 to 2021-03-26, 20.4166666667 h a week; ends at the 10 % and 90 % quantiles of the pairwise slopes, at least 15 % apart from it",
			"Theil-Sen slope", "the larger of 35 (90 % quantile of the pairwise slopes) and 20.4166666667 x 1.15, at most 168",
			"the smaller of 8.75 (10 % quantile of the pairwise slopes) and 20.4166666667 x 0.85", "35 h a week", "8.75 h a week",
		},
		{
			"old readings give way to the plan",
			usage.Series{PlannedPerWeek: ptr(40.0), Readings: slopes},
			"2022-01-01",
			"median of the pairwise slopes of 4 readings from 2021-01-01 to 2021-03-26, 20.4166666667 h a week; the last reading is older than 180 days: the larger of it and 40 h a week planned" +
				"; ends at the 10 % and 90 % quantiles of the pairwise slopes, at least 50 % apart from it",
			"readings older than 180 days", "the larger of 35 (90 % quantile of the pairwise slopes) and 40 x 1.5, at most 168",
			"the smaller of 8.75 (10 % quantile of the pairwise slopes) and 40 x 0.5, and of 20.4166666667 x 0.85", "60 h a week", "8.75 h a week",
		},
	} {
		t.Run(c.why, func(t *testing.T) {
			steps := working(t, onMachine(t, c.s, c.asOf), day(c.asOf))
			checkHours(t, steps)
			got, fast, slow := step(t, steps, "rate to come"), step(t, steps, "rate to come, fast path"), step(t, steps, "rate to come, slow path")
			if got.Formula != c.formula || !strings.Contains(got.Source, c.source) || strings.Contains(got.Source, "Theil-Sen") != strings.Contains(got.Formula, "median") {
				t.Errorf("%+v", got)
			}
			if fast.Formula != c.fast || fast.Value != c.fastValue || slow.Formula != c.slow || slow.Value != c.slowVal {
				t.Errorf("%+v and %+v", fast, slow)
			}
		})
	}
}

// 78 h in the 7 days between two readings are 11.142857 h a day; the limit of
// 130 h passes between them.
func TestWorking_PastHoursADayNameTheirReadings(t *testing.T) {
	s := usage.Series{PlannedPerWeek: ptr(40.0), Readings: []usage.Reading{{On: day("2020-01-01"), Hours: 1000}, {On: day("2020-01-15"), Hours: 1100}, {On: day("2020-01-22"), Hours: 1178}}}
	a := onMachine(t, s, "2020-01-22")
	a.Policy.HoursFromFitting = ptr(130.0)
	steps := working(t, a, day("2020-01-22"))
	checkHours(t, steps)
	if got := step(t, steps, "hours a day from 2020-01-15, middle path"); got.Formula != "(1178 - 1100) / 7 days, readings of 2020-01-15 and 2020-01-22" || got.Value != "11.1428571429 h a day" {
		t.Errorf("%+v", got)
	}
	if got := step(t, steps, "running hours from 2020-01-01 to 2020-01-15"); got.Value != "100 h" {
		t.Errorf("%+v", got)
	}
	if got := step(t, steps, "hours limit"); got.Value != "130 h" || got.Source != "policy" {
		t.Errorf("%+v", got)
	}
	// 100 + 2 x 11.14 < 130 < 100 + 3 x 11.14: on the 18th day.
	if got := step(t, steps, "hours due, middle path"); got.Value != "2020-01-17" {
		t.Errorf("%+v", got)
	}
}

// The old meter ends at 5000, the new one begins at 0 and shows 30: 5030 in
// all. The slopes are 100 / 31, 130 / 40 and 30 / 9, their median 3.25 a day;
// 5 more days make 5046.25 in all and 46.25 on the meter.
func TestWorking_SaysThatTotalsAreNotWhatTheMeterShows(t *testing.T) {
	s := usage.Series{
		PlannedPerWeek: ptr(42.0), Readings: []usage.Reading{{On: day("2020-01-01"), Hours: 4900}, {On: day("2020-02-10"), Hours: 30}},
		Events: []usage.MeterEvent{{On: day("2020-02-01"), OldEnd: 5000, NewStart: 0}},
	}
	a := onMachine(t, s, "2020-02-15")
	e := of(t, *a, "2020-02-15")
	steps := working(t, a, day("2020-02-15"))
	checkHours(t, steps)
	got := step(t, steps, "machine hours on 2020-02-15")
	m := ofMeter.FindStringSubmatch(got.Formula)
	if m == nil || !strings.Contains(got.Formula, "the running total over 1 change of meter, not what the meter shows") || got.Value != "5046.25 h" || *e.HoursNow != 5046.25 {
		t.Fatalf("%+v, hours now %v", got, *e.HoursNow)
	}
	if v := figures(t, m[1:]...); v[0]-v[1] != v[2] || v[2] != 46.25 {
		t.Errorf("%+v", got)
	}
	if by := step(t, steps, "running hours from 2020-01-01 to 2020-02-10, by readings"); !strings.HasSuffix(by.Formula, "; running totals over 1 change of meter, not what the meter shows after it") {
		t.Errorf("%+v", by)
	}
	s.Events, s.Readings = nil, s.Readings[:1]
	if got := step(t, working(t, onMachine(t, s, "2020-02-15"), day("2020-02-15")), "machine hours on 2020-02-15"); strings.Contains(got.Formula, "meter") {
		t.Errorf("no meter was changed: %+v", got)
	}
}

func TestWorking_SaysWhyTheFactorCountsAndWhereTheTemperatureIsFrom(t *testing.T) {
	s := usage.Series{PlannedPerWeek: ptr(42.0)}
	a := onMachine(t, s, "2020-02-15")
	steps := working(t, a, day("2020-02-15"))
	if got := step(t, steps, "damage per hour that counts from 2020-01-01"); !strings.HasSuffix(got.Formula, " x 2, not from a recorded log") || strings.Contains(got.Formula+got.Source, "assumed") {
		t.Errorf("%+v", got)
	}
	a.Hose.MaxC = ptr(100.0)
	for fluid, want := range map[string][2]string{
		"":            {"highest temperature of the hose, as known to the register", "100 °C"},
		"water-based": {"lower of 100 °C, highest temperature of the hose, as known to the register, and 70 °C for a fluid with water", "70 °C"},
	} {
		a.Fluid = fluid
		if got := step(t, working(t, a, day("2020-02-15")), "highest temperature"); got.Formula != want[0] || got.Value != want[1] {
			t.Errorf("%q: %+v", fluid, got)
		}
	}
	a.Hose.MaxC, a.Fluid = nil, ""
	if got := step(t, working(t, a, day("2020-02-15")), "highest temperature"); got.Value != "unknown" {
		t.Errorf("%+v", got)
	}
}
