package life_test

import (
	"testing"

	"hoseward/internal/life"
)

// Over-rating that is planned has its date, but what is worked today is not
// known: the clock keeps the date and says that one before it may be hidden.
func TestOf_RatingClockLacksWhatMayComeBeforeAKnownDate(t *testing.T) {
	a := plain(t)
	over := a.Conditions[0]
	over.From, over.Recorded = day("2020-09-01"), false
	over.Cycles = []life.Cycle{{MaxBar: *a.Hose.RatedBar * 1.2, Count: 1}}
	a.Conditions[0].Cycles, a.Conditions[0].NoCycles = nil, false
	a.Conditions = append(a.Conditions, over)
	e := of(t, a, "2020-07-01")
	k := clockOf(e, life.RatingClock)
	if k.Due != day("2020-09-01") || k.Used != nil || len(k.Missing) != 1 || e.Complete {
		t.Errorf("rating clock %+v, complete %v; want the planned day, no share, the pressure missing", k, e.Complete)
	}
	e = of(t, a, "2020-09-01")
	if k = clockOf(e, life.RatingClock); k.Due != day("2020-09-01") || len(k.Missing) != 0 || *k.Used != 1 {
		t.Errorf("rating clock on that day %+v; want it spent, with nothing more to know", k)
	}
}

// Nothing known: the assembly is 48 months older than its first fitting, its
// hose 48 months older still. What is filled in then never makes it due
// earlier.
func TestOf_UnknownMakeIsTheOldestItMayBe(t *testing.T) {
	months := 120
	a := plain(t)
	a.Policy = life.Policy{Name: "from make", MonthsFromMake: &months}
	a.Assembled, a.Hose.Made, a.Fitted = noDate, noDate, day("2020-01-01")
	before := of(t, a, "2020-07-01").Due
	if before != day("2022-01-01") { // 2020-01-01 less 96 months plus 120
		t.Errorf("due %s, want 2022-01-01", before)
	}
	for _, stamp := range []string{"2016-01-01", "2018-06-01", "2020-01-01"} {
		a.Assembled = day(stamp)
		if due := of(t, a, "2020-07-01").Due; due.Before(before) {
			t.Errorf("the stamp %s moves the date from %s to %s", stamp, before, due)
		}
	}
}
