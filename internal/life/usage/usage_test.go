package usage_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

func day(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

func instant(s string) float64 { return float64(day(s).DayNumber()) }

func reading(on string, hours float64) usage.Reading {
	return usage.Reading{On: day(on), Hours: hours}
}

func per(week float64) *float64 { return &week }

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want)) }

func mustNew(t testing.TB, s usage.Series, asOf string) *usage.Hours {
	t.Helper()
	x, err := usage.New(s, day(asOf))
	if err != nil {
		t.Fatal(err)
	}
	if x == nil {
		t.Fatal("hours are unknown")
	}
	return x
}

// example is a machine with a service meter change that shows the same hours
// and a winter lay-up of 18 days.
func example() usage.Series {
	return usage.Series{
		Readings:       []usage.Reading{reading("2025-07-01", 4870), reading("2026-11-20", 6844), reading("2024-07-02", 3120)},
		Events:         []usage.MeterEvent{{On: day("2025-07-01"), OldEnd: 4870, NewStart: 4870}},
		LaidUp:         []usage.LayUp{{From: day("2025-12-20"), To: day("2026-01-07")}},
		PlannedPerWeek: per(35),
	}
}

// TestNew_WorkedExample: every number worked by hand with a calendar.
func TestNew_WorkedExample(t *testing.T) {
	x := mustNew(t, example(), "2026-11-25")
	for _, row := range []struct {
		name string
		at   float64
		want float64
	}{
		{"at the first reading", instant("2024-07-02"), 3120},
		{"182 of 364 days on, half of 1750 h", instant("2024-12-31"), 3120 + 875},
		{"noon of a day counts half of it", instant("2024-07-02") + 0.5, 3120 + 1750.0/364/2},
		{"at the second", instant("2025-07-01"), 4870},
		{"172 of 507-18 days on", instant("2025-12-20"), 4870 + 1974*172/489.0},
		{"laid up: not an hour", instant("2026-01-02") + 0.5, 4870 + 1974*172/489.0},
		{"up again", instant("2026-01-07"), 4870 + 1974*172/489.0},
		{"at the last", instant("2026-11-20"), 6844},
		{"five days on at 35 h a week", instant("2026-11-25"), 6869},
		{"a year before the first: the larger of 35 h a week and 1750 h in 52 weeks", instant("2023-07-03"), 3120 - 365*35/7.0},
	} {
		if got := x.At(usage.Likely, row.at); !near(got, row.want) {
			t.Errorf("%s: %.9g, want %.9g", row.name, got, row.want)
		}
	}
	if got := [3]float64{x.PerWeek(usage.Fast), x.PerWeek(usage.Likely), x.PerWeek(usage.Slow)}; !near(got[0], 45.5) || !near(got[1], 35) || !near(got[2], 24.5) {
		t.Errorf("hours a week %v, want planned 35 -/+ 30 %%", got)
	}
	b := x.Basis()
	if b.Method != usage.Planned || b.Readings != 2 || b.WindowFrom != day("2025-07-01") || b.WindowTo != day("2026-11-20") || b.First != day("2024-07-02") || !b.BackKnown || b.Stale {
		t.Errorf("basis %+v", b)
	}
	if w := x.Warnings(); len(w) != 0 {
		t.Errorf("warnings %v", w)
	}
	// 100 h from the day of the estimate are 20 days at 5 h a day.
	if u, ok := x.When(usage.Likely, instant("2026-11-25"), 100); !ok || !near(u, instant("2026-12-15")) {
		t.Errorf("100 h on: %v, %v; want 2026-12-15", quantity.DayOfInstant(u), ok)
	}
}

func TestNew_MeterEvents(t *testing.T) {
	for _, row := range []struct {
		name   string
		series usage.Series
		// ran is the hours between the first and the last day.
		from, to string
		ran      float64
	}{
		{
			"replaced by a new one: 50 + 30",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 5000), reading("2026-03-01", 30)}, Events: []usage.MeterEvent{{day("2026-02-01"), 5050, 0}}},
			"2026-01-01", "2026-03-01", 80,
		},
		{
			"rolled over at 9999.9: 99.9 + 20",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 9900), reading("2026-03-01", 20)}, Events: []usage.MeterEvent{{day("2026-02-01"), 9999.9, 0}}},
			"2026-01-01", "2026-03-01", 119.9,
		},
		{
			"replaced by a used one that shows more",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 100), reading("2026-03-01", 8030)}, Events: []usage.MeterEvent{{day("2026-02-01"), 150, 8000}}},
			"2026-01-01", "2026-03-01", 80,
		},
		{
			"a reading of that day is the old end",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 5000), reading("2026-02-01", 5050), reading("2026-03-01", 30)}, Events: []usage.MeterEvent{{day("2026-02-01"), 5050, 0}}},
			"2026-01-01", "2026-03-01", 80,
		},
		{
			"or the new start, or both are noted",
			usage.Series{Readings: []usage.Reading{reading("2026-02-01", 0), reading("2026-01-01", 5000), reading("2026-02-01", 5050), reading("2026-03-01", 30)}, Events: []usage.MeterEvent{{day("2026-02-01"), 5050, 0}}},
			"2026-01-01", "2026-03-01", 80,
		},
		{
			"two in a row, the first noted twice",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 5000), reading("2026-03-01", 5)}, Events: []usage.MeterEvent{{day("2026-02-10"), 20, 3}, {day("2026-02-01"), 5050, 0}, {day("2026-02-01"), 5050, 0}}},
			"2026-01-01", "2026-03-01", 50 + 20 + 2,
		},
		{
			"before the first reading",
			usage.Series{Readings: []usage.Reading{reading("2026-03-01", 28)}, Events: []usage.MeterEvent{{day("2026-02-01"), 5050, 0}}},
			"2026-02-01", "2026-03-01", 28,
		},
		{
			"the same reading twice is one",
			usage.Series{Readings: []usage.Reading{reading("2026-03-01", 28), reading("2026-02-01", 0), reading("2026-03-01", 28)}},
			"2026-02-01", "2026-03-01", 28,
		},
	} {
		x := mustNew(t, row.series, "2026-03-05")
		for p := usage.Fast; p <= usage.Slow; p++ {
			if got := x.Between(p, instant(row.from), instant(row.to)); !near(got, row.ran) {
				t.Errorf("%s: %g h, want %g", row.name, got, row.ran)
			}
		}
	}
}

func TestNew_Refuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, row := range []struct {
		name   string
		series usage.Series
		kind   error
		at     string // how the message begins
		says   string // and what it says among others
	}{
		{
			"a falling meter, at the place it has in the input",
			usage.Series{Readings: []usage.Reading{reading("2026-03-01", 900), reading("2026-01-01", 1000)}},
			usage.ErrFalling, "readings[0]", "falls from 1000 h on 2026-01-01 to 900 h on 2026-03-01",
		},
		{
			"more than 24 h a day",
			usage.Series{Readings: every("2026-01-01", 10, 0, 240.5)},
			usage.ErrTooFast, "readings[1]", "more than 24 h a day",
		},
		{
			"two readings of a day that differ",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 900), reading("2026-01-01", 901)}},
			usage.ErrSameDay, "readings[1]", "900 h and 901 h",
		},
		{
			"a reading of the day of change that is neither",
			usage.Series{Readings: []usage.Reading{reading("2026-01-01", 3)}, Events: []usage.MeterEvent{{day("2026-01-01"), 900, 0}}},
			usage.ErrSameDay, "readings[0]", "must be one of the two",
		},
		{
			"two changes on a day",
			usage.Series{Events: []usage.MeterEvent{{day("2026-01-01"), 900, 0}, {day("2026-01-01"), 900, 1}}},
			usage.ErrSameDay, "meter_events[1]", "two different changes",
		},
		{
			"an old end below the reading before",
			usage.Series{Readings: every("2026-01-01", 1, 1000), Events: []usage.MeterEvent{{day("2026-02-01"), 900, 0}}},
			usage.ErrFalling, "meter_events[0]", "falls",
		},
		{
			"a reading below the new start",
			usage.Series{Readings: every("2026-02-02", 1, 5), Events: []usage.MeterEvent{{day("2026-02-01"), 900, 10}}},
			usage.ErrFalling, "readings[0]", "falls from 10 h",
		},
		{
			"more than 24 h a day after the change",
			usage.Series{Readings: every("2026-02-02", 1, 50), Events: []usage.MeterEvent{{day("2026-02-01"), 900, 10}}},
			usage.ErrTooFast, "readings[0]", "from 10 h on 2026-02-01 to 50 h",
		},
		{"below zero", usage.Series{Readings: every("2026-01-01", 1, -1)}, usage.ErrValue, "readings[0]", "below zero"},
		{"no number", usage.Series{Readings: every("2026-01-01", 1, nan)}, usage.ErrValue, "readings[0]", "not a number"},
		{"no end", usage.Series{Readings: every("2026-01-01", 1, inf)}, usage.ErrValue, "readings[0]", "not a number"},
		{"absurd", usage.Series{Readings: every("2026-01-01", 1, 2e6)}, usage.ErrValue, "readings[0]", "more than any meter"},
		{"absurd, though not counted yet", usage.Series{Readings: every("2027-01-01", 1, nan)}, usage.ErrValue, "readings[0]", "not a number"},
		{"an old end below zero", usage.Series{Events: []usage.MeterEvent{{day("2026-01-01"), -1, 0}}}, usage.ErrValue, "meter_events[0]", "below zero"},
		{"a new start that is no number", usage.Series{Events: []usage.MeterEvent{{day("2026-01-01"), 1, nan}}}, usage.ErrValue, "meter_events[0]", "not a number"},
		{"a reading without a date", usage.Series{Readings: []usage.Reading{{Hours: 1}}}, usage.ErrDate, "readings[0]", "no date"},
		{"a change without a date", usage.Series{Events: []usage.MeterEvent{{OldEnd: 1}}}, usage.ErrDate, "meter_events[0]", "no date"},
		{"a lay-up without a beginning", usage.Series{LaidUp: []usage.LayUp{{To: day("2026-01-01")}}}, usage.ErrDate, "laid_up[0]", "no first day"},
		{"a lay-up upside down", usage.Series{LaidUp: []usage.LayUp{{day("2026-01-02"), day("2026-01-01")}}}, usage.ErrDate, "laid_up[0]", "before it begins"},
		{"planned below zero", usage.Series{PlannedPerWeek: per(-1)}, usage.ErrValue, "planned_hours_per_week", "0 to 168"},
		{"planned more than a week has", usage.Series{PlannedPerWeek: per(169)}, usage.ErrValue, "planned_hours_per_week", "0 to 168"},
		{"planned that is no number", usage.Series{PlannedPerWeek: per(nan)}, usage.ErrValue, "planned_hours_per_week", "0 to 168"},
	} {
		x, err := usage.New(row.series, day("2026-06-01"))
		var at *usage.SeriesError
		if x != nil || !errors.As(err, &at) || !errors.Is(err, row.kind) || !strings.HasPrefix(err.Error(), row.at+": ") || !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: got %v, want %v at %s that says %q", row.name, err, row.kind, row.at, row.says)
		}
	}
	if _, err := usage.New(example(), quantity.Date{}); !errors.Is(err, usage.ErrDate) {
		t.Errorf("without a day of the estimate: %v", err)
	}
	if _, err := usage.New(usage.Series{Readings: every("2026-01-01", 10, 0, 240)}, day("2026-06-01")); err != nil {
		t.Errorf("24 h a day to the hour are possible: %v", err)
	}
}

func TestNew_LayUps(t *testing.T) {
	base := usage.Series{PlannedPerWeek: per(35), Readings: every("2026-05-01", 14, 0, 70, 140)}
	for _, row := range []struct {
		name     string
		laidUp   []usage.LayUp
		from, to string
		ran      float64
		warn     bool
	}{
		{"to come", []usage.LayUp{{day("2026-07-01"), day("2026-07-11")}}, "2026-06-21", "2026-07-21", 20 * 5, false},
		{"under way on the day of the estimate", []usage.LayUp{{day("2026-05-30"), day("2026-06-11")}}, "2026-05-29", "2026-06-21", 11 * 5, false},
		{"two that overlap and one that touches are one", []usage.LayUp{{day("2026-07-08"), day("2026-07-11")}, {day("2026-07-01"), day("2026-07-06")}, {day("2026-07-03"), day("2026-07-08")}}, "2026-06-21", "2026-07-21", 20 * 5, false},
		{"of no days", []usage.LayUp{{day("2026-07-08"), day("2026-07-08")}}, "2026-06-21", "2026-07-21", 30 * 5, false},
		{"without an end: to the day of the estimate and not counted on past it", []usage.LayUp{{From: day("2026-05-30")}}, "2026-05-29", "2026-06-11", 11 * 5, false},
		{"without an end, in the future: not counted on", []usage.LayUp{{From: day("2026-08-30")}}, "2026-08-20", "2026-09-09", 20 * 5, false},
		{"that the meter gives the lie: it ran, spread over all days", []usage.LayUp{{day("2026-05-01"), day("2026-05-15")}}, "2026-05-01", "2026-05-08", 35, true},
	} {
		s := base
		s.LaidUp = row.laidUp
		x := mustNew(t, s, "2026-06-01")
		if got := x.Between(usage.Likely, instant(row.from), instant(row.to)); !near(got, row.ran) {
			t.Errorf("%s: %g h, want %g", row.name, got, row.ran)
		}
		warned := slices.ContainsFunc(x.Warnings(), func(w usage.Warning) bool { return w.Code == usage.WarnRanLaidUp })
		if warned != row.warn {
			t.Errorf("%s: warnings %v", row.name, x.Warnings())
		}
	}
}

func TestWhen_FirstInstant(t *testing.T) {
	s := usage.Series{Readings: every("2026-05-01", 14, 0, 70, 140), LaidUp: []usage.LayUp{{day("2026-07-01"), day("2026-07-11")}}}
	x := mustNew(t, s, "2026-06-01")
	from := instant("2026-06-21")
	for _, row := range []struct {
		name  string
		t0    float64
		hours float64
		want  float64
		ok    bool
	}{
		{"none are there at once", from, 0, from, true},
		{"before the lay-up", from, 25, from + 5, true},
		{"on the day it begins: the first instant, not the end of the rest", from, 50, from + 10, true},
		{"past it", from, 50 + 5, from + 21, true},
		{"from within it", instant("2026-07-05"), 5, instant("2026-07-12"), true},
		{"in the past, between readings", instant("2026-05-02"), 35, instant("2026-05-09"), true},
		{"from before the first reading", instant("2026-04-29"), 20, instant("2026-05-03"), true},
		{"beyond 200 years", from, 5 * 365 * 201, 0, false},
		{"beyond all numbers", from, math.Inf(1), 0, false},
		{"no number", from, math.NaN(), 0, false},
		{"from no instant", math.NaN(), 5, 0, false},
	} {
		got, ok := x.When(usage.Likely, row.t0, row.hours)
		if ok != row.ok || ok && !near(got, row.want) {
			t.Errorf("%s: %v, %v; want %v, %v", row.name, got, ok, row.want, row.ok)
		}
	}
}

// TestFirst_TimeAndHours: 1 a day and 0.2 an hour make 2 a day at 5 h a day.
func TestFirst_TimeAndHours(t *testing.T) {
	s := usage.Series{Readings: every("2026-05-01", 14, 0, 70, 140), LaidUp: []usage.LayUp{{day("2026-07-01"), day("2026-07-11")}}}
	x := mustNew(t, s, "2026-06-01")
	from := instant("2026-06-21")
	for _, row := range []struct {
		name            string
		perDay, perHour float64
		target, days    float64
	}{
		{"2 a day to the lay-up", 1, 0.2, 20, 10},
		{"1 a day within it", 1, 0.2, 25, 15},
		{"2 a day after it", 1, 0.2, 34, 22},
		{"time alone", 1, 0, 34, 34},
	} {
		if got, ok := x.First(usage.Likely, from, row.perDay, row.perHour, row.target); !ok || !near(got, from+row.days) {
			t.Errorf("%s: %v days, %v; want %v", row.name, got-from, ok, row.days)
		}
	}
	for _, bad := range [][2]float64{{-1, 1}, {1, -1}, {math.NaN(), 1}, {0, 0}, {math.Inf(1), 0}, {0, math.Inf(1)}} {
		if got, ok := x.First(usage.Likely, from, bad[0], bad[1], 10); ok && (bad[0] < 0 || bad[1] < 0 || math.IsNaN(got) || bad == [2]float64{0, 0}) {
			t.Errorf("per day and hour %v: answered %v", bad, got)
		}
	}
}

func ExampleNew() {
	planned := 35.0
	x, err := usage.New(usage.Series{
		Readings:       []usage.Reading{{On: day("2026-10-01"), Hours: 1200}, {On: day("2026-11-20"), Hours: 1410}},
		PlannedPerWeek: &planned,
	}, day("2026-11-25"))
	if err != nil {
		fmt.Println(err)
		return
	}
	t, _ := x.When(usage.Likely, instant("2026-11-25"), 100)
	fmt.Println(x.At(usage.Likely, instant("2026-11-25")), quantity.DayOfInstant(t))
	// Output: 1435 2026-12-15
}
