package usage_test

import (
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life/usage"
)

func TestTrace_NamesTheReadings(t *testing.T) {
	x, err := usage.New(usage.Series{
		PlannedPerWeek: per(10.0),
		Readings:       []usage.Reading{{On: day("2024-01-01"), Hours: 100}, {On: day("2024-02-01"), Hours: 30}},
		Events:         []usage.MeterEvent{{On: day("2024-01-11"), OldEnd: 150, NewStart: 20}},
		LaidUp:         []usage.LayUp{{From: day("2024-01-20"), To: day("2024-01-25")}},
	}, day("2024-02-10"))
	if err != nil {
		t.Fatal(err)
	}
	first, last := x.Ends()
	// 150 - 20 = 130 more than the meter shows: 30 + 130.
	if first != (usage.Observation{On: day("2024-01-01"), Hours: 100}) || last != (usage.Observation{On: day("2024-02-01"), Hours: 160}) {
		t.Errorf("ends %v %v", first, last)
	}
	if b := x.Basis(); b.MeterChanges != 1 || b.Offset != 130 || b.Share != 0.30 {
		t.Errorf("basis %+v", b)
	}
	if n := x.DaysOut(day("2024-01-11"), day("2024-02-01")); n != 21-5 {
		t.Errorf("%d days out of lay-up", n)
	}
	if k, l, ok := x.FirstSlope(); !ok || k != first || l.On != day("2024-01-11") || l.Hours != 150 {
		t.Errorf("first slope %v %v %v", k, l, ok)
	}
	for _, c := range []struct {
		why, at, before, after string
	}{
		{"before all readings", "2023-12-31", "", "2024-01-01"},
		{"on a reading it is the one before", "2024-01-01", "2024-01-01", "2024-01-11"},
		{"between two", "2024-01-30", "2024-01-11", "2024-02-01"},
		{"on the last one", "2024-02-01", "2024-02-01", ""},
	} {
		k, l := x.Around(float64(day(c.at).DayNumber()))
		if k.On.String() != c.before || l.On.String() != c.after {
			t.Errorf("%s: %v %v", c.why, k, l)
		}
	}
	y, err := usage.New(usage.Series{PlannedPerWeek: per(10.0)}, day("2024-02-10"))
	if err != nil {
		t.Fatal(err)
	}
	if a, b := y.Ends(); a != b || !a.On.IsZero() {
		t.Errorf("ends without readings: %v %v", a, b)
	}
	if _, _, ok := y.FirstSlope(); ok {
		t.Error("a slope without readings")
	}
}

// The observations are points of the line of hours, the first slope bounds the
// rate before them, and the share the ends of the rate to come.
func TestTrace_AgreesWithTheHours(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		d := possible().Draw(r, "series")
		x, err := usage.New(d.series, d.asOf)
		if err != nil || x == nil {
			return
		}
		for n, hours := range d.total {
			k, _ := x.Around(float64(n))
			if k.On.DayNumber() != n || !near(k.Hours, hours) || x.At(usage.Likely, float64(n)) != k.Hours {
				r.Fatalf("day %d: %v, counted %v", n, k, hours)
			}
		}
		b := x.Basis()
		if k, l, ok := x.FirstSlope(); ok && b.BackKnown {
			slope := (l.Hours - k.Hours) / float64(x.DaysOut(k.On, l.On)) * 7
			if !near(b.BackPerWeek, max(b.PlannedPerWeek, slope)) {
				r.Fatalf("back at %v, planned %v, first slope %v", b.BackPerWeek, b.PlannedPerWeek, slope)
			}
		}
		likely := x.PerWeek(usage.Likely)
		if x.PerWeek(usage.Fast) < min(168, likely*(1+b.Share))-1e-9 || x.PerWeek(usage.Slow) > likely*(1-b.Share)+1e-9 {
			r.Fatalf("%v %v %v with a share of %v", x.PerWeek(usage.Fast), likely, x.PerWeek(usage.Slow), b.Share)
		}
	})
}
