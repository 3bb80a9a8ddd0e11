package register_test

import (
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// known is an assembly of which everything is known: 275 bar, made, assembled
// and fitted on 2024-01-01, monthly readings, cool, a few cycles.
func known(t testing.TB) life.Assembly {
	d := day("2024-01-01")
	s := usage.Series{}
	for i := range 30 {
		s.Readings = append(s.Readings, usage.Reading{On: d.AddMonths(i), Hours: float64(100 * i)})
	}
	hours, err := usage.New(s, day("2026-06-15"))
	if err != nil {
		t.Fatal(err)
	}
	return life.Assembly{
		ID:      "K-1",
		Hose:    life.Hose{Construction: "wire braid", Tube: "NBR", DN: 12, RatedBar: f(275), Made: d, MaxC: f(100)},
		EndABar: f(350), EndBBar: f(350), Assembled: d, Fitted: d, Policy: life.NormalDemand(),
		Conditions: []life.Conditions{{From: d, FluidC: f(60), Cycles: []life.Cycle{{MaxBar: 150, Count: 20}}}},
		Stints:     []life.Stint{{From: d, Hours: hours}},
	}
}

const gapAsOf = "2026-06-15"

func gapsOf(t testing.TB, a life.Assembly) []register.Gap {
	t.Helper()
	e, err := life.Of(&a, day(gapAsOf))
	if err != nil {
		t.Fatal(err)
	}
	return register.GapsOf(&a, &e, day(gapAsOf))
}

func TestGapsOf_NamesWhatIsNotKnownAndHowFarItMovesTheDate(t *testing.T) {
	for _, c := range []struct {
		why  string
		lose func(*life.Assembly)
		want map[register.GapKind][2]int // least and most days
	}{
		{"nothing is missing", func(*life.Assembly) {}, nil},
		{
			"an unknown assembly date moves the date by as much as the hose is older than its fitting",
			func(a *life.Assembly) { a.Assembled, a.Hose.Made = quantity.Date{}, day("2022-01-01") },
			// 2022-01-01 + 72 months against 2024-01-01 + 72 months
			map[register.GapKind][2]int{register.GapAssembled: {730, 731}},
		},
		{
			"without make date too it may be 48 months older",
			func(a *life.Assembly) { a.Assembled, a.Hose.Made = quantity.Date{}, quantity.Date{} },
			map[register.GapKind][2]int{register.GapAssembled: {1290, 1461}}, // cut off at today on the early side
		},
		{
			"an end of unknown rating may be the weak one, which is over its rating at 195 bar",
			func(a *life.Assembly) { a.EndBBar = nil; a.Conditions[0].Cycles[0].MaxBar = 195 },
			map[register.GapKind][2]int{register.GapRating: {1, 1300}},
		},
		{
			"unknown cycles may wear it out at once or never",
			func(a *life.Assembly) { a.Conditions[0].Cycles = nil },
			map[register.GapKind][2]int{register.GapCycles: {900, 1300}},
		},
		{
			"unknown hours and cycles do not hide each other",
			func(a *life.Assembly) { a.Conditions[0].Cycles = nil; a.Stints[0].Hours = nil },
			map[register.GapKind][2]int{register.GapCycles: {300, 1300}, register.GapHours: {0, 1300}},
		},
		{
			"an unknown fluid temperature",
			func(a *life.Assembly) { a.Conditions[0].FluidC = nil },
			map[register.GapKind][2]int{register.GapFluidTemp: {1, 1300}},
		},
		{
			"an unknown highest temperature",
			func(a *life.Assembly) { a.Hose.MaxC = nil },
			map[register.GapKind][2]int{register.GapHoseTemp: {0, 1300}},
		},
	} {
		a := known(t)
		c.lose(&a)
		got := map[register.GapKind]int{}
		for _, g := range gapsOf(t, a) {
			got[g.What] = g.Days
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: %v", c.why, got)
		}
		for what, days := range c.want {
			if n, ok := got[what]; !ok || n < days[0] || n > days[1] {
				t.Errorf("%s: %s %d days, want %d to %d", c.why, what, n, days[0], days[1])
			}
		}
	}
}

func TestGapsOf_FewReadingsAreAGapAsWideAsTheBand(t *testing.T) {
	a := known(t)
	a.Conditions[0].Cycles[0] = life.Cycle{MaxBar: 270, Count: 300}
	perWeek := 20.0
	hours, err := usage.New(usage.Series{PlannedPerWeek: &perWeek}, day(gapAsOf))
	if err != nil {
		t.Fatal(err)
	}
	a.Stints[0].Hours = hours
	e, err := life.Of(&a, day(gapAsOf))
	if err != nil {
		t.Fatal(err)
	}
	gaps := register.GapsOf(&a, &e, day(gapAsOf))
	late := e.Latest
	if early := quantity.Earliest(e.Earliest); early.Before(day(gapAsOf)) {
		t.Fatalf("the band begins in the past: %s", early)
	}
	if len(gaps) != 1 || gaps[0].What != register.GapReadings || gaps[0].Days != late.Sub(e.Earliest) || gaps[0].Days == 0 {
		t.Errorf("%+v, band %s to %s", gaps, e.Earliest, late)
	}
}

// Filling in a value takes its gap away and adds none.
func TestGapsOf_KnowingAValueClosesItsGapOnly(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		full := known(t)
		full.CanHurt = rapid.Bool().Draw(r, "can hurt")
		full.Conditions[0].Cycles[0].MaxBar = rapid.Float64Range(10, 270).Draw(r, "bar")
		lose := []func(a *life.Assembly){
			func(a *life.Assembly) { a.EndABar = nil },
			func(a *life.Assembly) { a.Hose.RatedBar, a.EndABar, a.EndBBar = nil, nil, nil },
			func(a *life.Assembly) { a.Assembled = quantity.Date{} },
			func(a *life.Assembly) {
				a.Conditions = []life.Conditions{{From: a.Fitted, FluidC: a.Conditions[0].FluidC}}
			},
			func(a *life.Assembly) { a.Stints = []life.Stint{{From: a.Fitted}} },
			func(a *life.Assembly) { a.Hose.MaxC = nil },
		}
		some := rapid.SliceOfNDistinct(rapid.IntRange(0, len(lose)-1), 1, len(lose), rapid.ID).Draw(r, "lost")
		less, more := full, full
		for i, n := range some {
			lose[n](&less)
			if i > 0 {
				lose[n](&more) // knows one value more
			}
		}
		lacking, still := gapsOf(t, less), gapsOf(t, more)
		if len(lacking) == 0 || len(still) > len(lacking) {
			t.Fatalf("%v lost: %v, with one known %v", some, lacking, still)
		}
		for i, g := range lacking {
			if g.Days < 0 || g.Days > register.GapHorizonDays {
				t.Fatalf("%+v", g)
			}
			if i > 0 && g.Days > lacking[i-1].Days {
				t.Fatalf("not the largest first: %+v", lacking)
			}
		}
	})
}
