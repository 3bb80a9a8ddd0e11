package usage_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"hoseward/internal/life/usage"
)

// TestSlopesOf_Published: slopes of Theil and Sen from
// testdata/reference/regression, whose README names the sources.
func TestSlopesOf_Published(t *testing.T) {
	b, err := os.ReadFile("../../../testdata/reference/regression/regression.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref map[string]struct {
		X, Y  []float64
		Theil struct {
			Slope float64
			Pairs int `json:"n_slopes"`
		}
	}
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name    string
		printed float64
		pairs   int
	}{
		{"R3_theil_hollander_wolfe", -0.05625, 10},
		{"R4_theil_statpsych", 0.5, 101},
	} {
		c := ref[row.name]
		got, err := usage.SlopesOf(c.X, c.Y)
		if err != nil || math.Abs(got.Median-row.printed) > 1e-15 || math.Abs(got.Median-c.Theil.Slope) > 1e-15 || got.Pairs != row.pairs {
			t.Errorf("%s: %+v, %v; want %g from %d pairs", row.name, got, err, row.printed, row.pairs)
		}
	}
}

// TestSlopesOf_Quantiles: the quantiles of 1, 2, ... 10 of type 7 are 1.9 and
// 9.1 (rank 1 + 9 p, worked by hand); points (0,0) and (1,k) give slopes k when
// the others share an x.
func TestSlopesOf_Quantiles(t *testing.T) {
	x, y := []float64{0}, []float64{0}
	for k := range 10 {
		x, y = append(x, 1), append(y, float64(10-k))
	}
	got, err := usage.SlopesOf(x, y)
	if err != nil || !near(got.Q10, 1.9) || !near(got.Median, 5.5) || !near(got.Q90, 9.1) || got.Pairs != 10 {
		t.Errorf("%+v, %v; want 1.9, 5.5, 9.1 of 10", got, err)
	}
}

func TestSlopesOf_Refuses(t *testing.T) {
	for _, row := range []struct {
		name string
		x, y []float64
	}{
		{"no point", nil, nil},
		{"one point", []float64{1}, []float64{1}},
		{"all at the same x", []float64{1, 1}, []float64{1, 2}},
		{"more x than y", []float64{1, 2}, []float64{1}},
		{"x that is no number", []float64{1, math.NaN()}, []float64{1, 2}},
		{"y without end", []float64{1, 2}, []float64{1, math.Inf(1)}},
		{"a slope without end", []float64{0, 1e-300}, []float64{0, 1e300}},
	} {
		if got, err := usage.SlopesOf(row.x, row.y); !errors.Is(err, usage.ErrPoints) {
			t.Errorf("%s: %+v, %v", row.name, got, err)
		}
	}
}

// every gives readings at equal steps of days.
func every(from string, step int, hours ...float64) []usage.Reading {
	var out []usage.Reading
	for i, h := range hours {
		out = append(out, usage.Reading{On: day(from).AddDays(step * i), Hours: h})
	}
	return out
}

// TestNew_Rate: the rate to come and its ends in hours a week; every row
// worked by hand.
func TestNew_Rate(t *testing.T) {
	for _, row := range []struct {
		name               string
		series             usage.Series
		asOf               string
		method             usage.Method
		fast, likely, slow float64
		warn               string
	}{
		{
			"no reading: planned -/+ 30 %",
			usage.Series{PlannedPerWeek: per(40)},
			"2026-06-01", usage.Planned, 52, 40, 28, "",
		},
		{
			"one reading: planned",
			usage.Series{Readings: every("2026-05-01", 7, 100), PlannedPerWeek: per(40)},
			"2026-06-01", usage.Planned, 52, 40, 28, "",
		},
		{
			"two readings a year apart are too few: planned",
			usage.Series{Readings: every("2025-05-01", 364, 0, 520), PlannedPerWeek: per(40)},
			"2026-06-01", usage.Planned, 52, 40, 28, "",
		},
		{
			"three readings in 27 days are too short: planned",
			usage.Series{Readings: []usage.Reading{reading("2026-05-01", 0), reading("2026-05-08", 10), reading("2026-05-28", 50)}, PlannedPerWeek: per(40)},
			"2026-06-01", usage.Planned, 52, 40, 28, "",
		},
		{
			"too few and none planned: the plain slope, 10 h a week",
			usage.Series{Readings: every("2025-05-01", 364, 0, 520)},
			"2026-06-01", usage.Plain, 13, 10, 7, "",
		},
		{
			"none planned may be written as 0",
			usage.Series{Readings: every("2025-05-01", 364, 0, 520), PlannedPerWeek: per(0)},
			"2026-06-01", usage.Plain, 13, 10, 7, "",
		},
		{
			"three readings over 28 days: slopes 30, 35, 40 a week, quantiles 31 and 39 within -/+ 15 %: 29.75, 40.25",
			usage.Series{Readings: every("2026-05-01", 14, 0, 60, 140), PlannedPerWeek: per(99)},
			"2026-06-01", usage.TheilSen, 40.25, 35, 29.75, "",
		},
		{
			"slopes 10, 35, 60 a week: quantiles 15 and 55",
			usage.Series{Readings: every("2026-05-01", 14, 0, 20, 140)},
			"2026-06-01", usage.TheilSen, 55, 35, 15, "",
		},
		{
			"only the window of 180 days and one reading counts: 70 a week of long ago is out",
			usage.Series{Readings: append(every("2024-01-01", 7, 0, 70, 140, 210), []usage.Reading{
				reading("2025-12-02", 210), reading("2026-05-31", 210), reading("2026-04-01", 210),
			}...), PlannedPerWeek: per(20)},
			"2026-06-01", usage.TheilSen, 0, 0, 0, "",
		},
		{
			"stale after 181 days: the slope, 10 a week, is below planned, 40; + 50 %, and below the low end of the slope",
			usage.Series{Readings: every("2026-01-01", 14, 0, 20, 40), PlannedPerWeek: per(40)},
			"2026-07-29", usage.TheilSen, 60, 40, 8.5, usage.WarnStale,
		},
		{
			"not stale after 180",
			usage.Series{Readings: every("2026-01-01", 14, 0, 20, 40), PlannedPerWeek: per(40)},
			"2026-07-28", usage.TheilSen, 11.5, 10, 8.5, "",
		},
		{
			"stale and more than planned: the slope",
			usage.Series{Readings: every("2026-01-01", 14, 0, 100, 200), PlannedPerWeek: per(40)},
			"2026-12-01", usage.TheilSen, 75, 50, 25, usage.WarnStale,
		},
		{
			"stale with wide slopes, 10, 35, 60: the wider ends stay, 15 and 55 lie within 17.5 and 52.5",
			usage.Series{Readings: every("2026-01-01", 14, 0, 20, 140)},
			"2026-12-01", usage.TheilSen, 55, 35, 15, usage.WarnStale,
		},
		{
			"stale on planned hours: -/+ 50 %",
			usage.Series{Readings: every("2026-01-01", 14, 0), PlannedPerWeek: per(40)},
			"2026-12-01", usage.Planned, 60, 40, 20, usage.WarnStale,
		},
		{
			"a machine that stood when last seen long ago is not taken to stand since: its mean, 520 h in 520 days",
			usage.Series{Readings: []usage.Reading{reading("2024-01-01", 0), reading("2024-11-01", 520), reading("2024-11-20", 520), reading("2025-05-05", 520), reading("2025-06-04", 520)}},
			"2026-12-01", usage.Plain, 10.5, 7, 3.5, usage.WarnStale,
		},
		{
			"no machine runs more than 24 h a day",
			usage.Series{PlannedPerWeek: per(160)},
			"2026-06-01", usage.Planned, 168, 160, 112, "",
		},
		{
			"28 of 42 days laid up leave too few: planned",
			usage.Series{Readings: every("2026-04-01", 21, 0, 60, 140), PlannedPerWeek: per(40), LaidUp: []usage.LayUp{{day("2026-04-08"), day("2026-05-06")}}},
			"2026-06-01", usage.Planned, 52, 40, 28, "",
		},
		{
			"per week out of lay-up: 28 days of 42, 60 h in 2 weeks twice",
			usage.Series{Readings: every("2026-04-01", 21, 0, 60, 120), LaidUp: []usage.LayUp{{day("2026-04-08"), day("2026-04-15")}, {day("2026-04-25"), day("2026-05-02")}}},
			"2026-06-01", usage.TheilSen, 34.5, 30, 25.5, "",
		},
		{
			"readings after the day of the estimate are not known yet",
			usage.Series{Readings: every("2026-05-01", 14, 0, 60, 140, 0), Events: []usage.MeterEvent{{day("2026-06-02"), 9000, 0}}},
			"2026-06-01", usage.TheilSen, 40.25, 35, 29.75, "",
		},
	} {
		t.Run(row.name, func(t *testing.T) {
			x := mustNew(t, row.series, row.asOf)
			if b := x.Basis(); b.Method != row.method {
				t.Errorf("by %s, want %s", b.Method, row.method)
			}
			fast, likely, slow := x.PerWeek(usage.Fast), x.PerWeek(usage.Likely), x.PerWeek(usage.Slow)
			if !near(fast, row.fast) || !near(likely, row.likely) || !near(slow, row.slow) {
				t.Errorf("hours a week %.6g, %.6g, %.6g; want %.6g, %.6g, %.6g", fast, likely, slow, row.fast, row.likely, row.slow)
			}
			var codes []string
			for _, w := range x.Warnings() {
				codes = append(codes, w.Code)
				if !strings.HasSuffix(w.Text, ".") {
					t.Errorf("warning is no sentence: %q", w.Text)
				}
			}
			if got := strings.Join(codes, ","); got != row.warn {
				t.Errorf("warnings %q, want %q", got, row.warn)
			}
		})
	}
}

func TestNew_UnknownIsNil(t *testing.T) {
	for _, row := range []struct {
		name   string
		series usage.Series
	}{
		{"nothing at all", usage.Series{}},
		{"one reading says no rate", usage.Series{Readings: every("2026-05-01", 7, 100)}},
		{"two readings that do not move say no rate", usage.Series{Readings: every("2026-05-01", 7, 100, 100)}},
		{"readings to come are not known yet", usage.Series{Readings: every("2026-07-01", 7, 100, 200, 300)}},
		{"a lay-up is no rate", usage.Series{LaidUp: []usage.LayUp{{day("2026-01-01"), day("2026-02-01")}}}},
		{"planned 0 is no plan", usage.Series{PlannedPerWeek: per(0)}},
		{"never moved and not seen for long", usage.Series{Readings: every("2024-05-01", 20, 100, 100, 100)}},
	} {
		if x, err := usage.New(row.series, day("2026-06-01")); err != nil || x != nil {
			t.Errorf("%s: %v, %v; want nil, nil", row.name, x, err)
		}
	}
}

func TestNew_BeforeTheFirstReading(t *testing.T) {
	for _, row := range []struct {
		name   string
		series usage.Series
		week   float64
		known  bool
	}{
		{"planned is more than the first slope", usage.Series{Readings: every("2026-05-01", 7, 100, 110), PlannedPerWeek: per(40)}, 40, true},
		{"the first slope is more than planned", usage.Series{Readings: every("2026-05-01", 7, 100, 160), PlannedPerWeek: per(40)}, 60, true},
		{"none planned: the first slope", usage.Series{Readings: every("2026-05-01", 7, 100, 160)}, 60, true},
		{"stood at first, none planned: never zero, the first slope above", usage.Series{Readings: every("2026-04-01", 14, 100, 100, 160)}, 30, true},
		{"the first slope is per week out of lay-up", usage.Series{Readings: every("2026-04-01", 14, 100, 160), LaidUp: []usage.LayUp{{day("2026-04-03"), day("2026-04-10")}}}, 60, true},
		{"never moved: the worst case, marked", usage.Series{Readings: every("2026-04-01", 14, 100, 100, 100, 100)}, 168, false},
	} {
		x := mustNew(t, row.series, "2026-06-01")
		at := float64(row.series.Readings[0].On.DayNumber())
		for p := usage.Fast; p <= usage.Slow; p++ {
			if got := x.Between(p, at-70, at); !near(got, 10*row.week) {
				t.Errorf("%s: %g h in ten weeks before, want %g", row.name, got, 10*row.week)
			}
		}
		if b := x.Basis(); !near(b.BackPerWeek, row.week) || b.BackKnown != row.known {
			t.Errorf("%s: basis %+v", row.name, b)
		}
	}
	// A lay-up before the first reading counts no hours there either.
	x := mustNew(t, usage.Series{Readings: every("2026-05-01", 7, 100), PlannedPerWeek: per(35), LaidUp: []usage.LayUp{{day("2026-04-01"), day("2026-04-11")}}}, "2026-06-01")
	if got := x.Between(usage.Slow, instant("2026-03-22"), instant("2026-04-21")); !near(got, 20*5) {
		t.Errorf("30 days with 10 laid up: %g h, want 100", got)
	}
}

func TestNew_NoReadingsSpreadBothWays(t *testing.T) {
	x := mustNew(t, usage.Series{PlannedPerWeek: per(35)}, "2026-06-01")
	for p, week := range map[usage.Path]float64{usage.Fast: 45.5, usage.Likely: 35, usage.Slow: 24.5} {
		if got := x.Between(p, instant("2026-03-23"), instant("2026-06-01")); !near(got, 10*week) {
			t.Errorf("path %d: %g h in the ten weeks before, want %g", p, got, 10*week)
		}
		if got := x.At(p, instant("2026-06-01")); got != 0 {
			t.Errorf("path %d: %g h on the day of the estimate, want 0", p, got)
		}
	}
}
