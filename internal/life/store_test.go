package life_test

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
)

// stored is an assembly of 2020-01-01 that was never fitted.
func stored(t *testing.T) life.Assembly {
	a := plain(t)
	a.Fitted, a.Stints, a.Conditions = noDate, nil, nil
	return a
}

func TestMayFit(t *testing.T) {
	back := func(a *life.Assembly, from string) {
		b := plain(t)
		a.Fitted, a.Conditions, a.Stints = day("2020-04-10"), b.Conditions, b.Stints
		a.Stints[0].From, a.Stints[0].To = day("2020-04-10"), day(from)
	}
	for _, c := range []struct {
		promise string
		edit    func(a *life.Assembly)
		on      string
		rule    string // empty: may be fitted
		until   string
	}{
		{"within 24 months it may be fitted", func(*life.Assembly) {}, "2021-06-01", "", ""},
		{"on the last day too", func(*life.Assembly) {}, "2022-01-01", "", ""},
		{"after it it is refused", func(*life.Assembly) {}, "2022-01-02", life.RuleStorage, "2022-01-01"},
		{"without a storage limit the age limit holds", func(a *life.Assembly) { a.Policy.StorageMonths = nil }, "2026-01-01", "", ""},
		{"and refuses after its day", func(a *life.Assembly) { a.Policy.StorageMonths = nil }, "2026-01-02", life.RuleAssembly, "2026-01-01"},
		{"an open stop is refused", func(a *life.Assembly) { a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Stop}} }, "2021-01-01", life.RuleFinding, ""},
		{"an open replace is refused", func(a *life.Assembly) {
			a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Replace, By: day("2023-01-01")}}
		}, "2021-01-01", life.RuleFinding, ""},
		{"one to watch is not", func(a *life.Assembly) { a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Watch}} }, "2021-01-01", "", ""},
		{"of unknown age it is refused", func(a *life.Assembly) { a.Assembled, a.Hose.Made = noDate, noDate }, "2021-01-01", life.RuleUnknownAge, ""},
		{"the hose's make stands for the assembly date", func(a *life.Assembly) { a.Assembled = noDate }, "2022-01-02", life.RuleStorage, "2022-01-01"},
		// 100 days before it was fitted, so 631 of the 731 are left.
		{"times back in store count: the last day", func(a *life.Assembly) { back(a, "2021-01-01") }, "2022-09-24", "", ""},
		{"times back in store count: a day more", func(a *life.Assembly) { back(a, "2021-01-01") }, "2022-09-25", life.RuleStorage, "2022-09-24"},
		{"what sits on a machine is not in store", func(a *life.Assembly) { back(a, "2021-01-01") }, "2020-12-31", life.RuleNotInStore, ""},
		// 1200 h on the fast path, 15.6 h a day, are 76.9 days.
		{"what is worn out is refused", func(a *life.Assembly) { back(a, "2021-01-01"); a.Policy.HoursFromFitting = ptr(1200.0) }, "2021-02-01", life.RuleSpent, "2020-06-25"},
		{"a finding against it comes first", func(a *life.Assembly) {
			back(a, "2021-01-01")
			a.Findings = []life.Finding{{On: day("2020-05-01"), Class: life.Stop}}
		}, "2029-02-01", life.RuleFinding, ""},
	} {
		a := stored(t)
		c.edit(&a)
		err := life.MayFit(&a, day(c.on))
		var f *life.FitError
		switch {
		case c.rule == "" && err != nil:
			t.Errorf("%s: %v", c.promise, err)
		case c.rule == "":
		case !errors.As(err, &f) || f.Rule != c.rule || f.Until.String() != c.until || !strings.HasSuffix(f.Sentence, "."):
			t.Errorf("%s: %#v", c.promise, err)
		}
	}
	a := stored(t)
	a.Hose.RatedBar = ptr(-1.0)
	var bad *life.FieldError
	if err := life.MayFit(&a, day("2021-01-01")); !errors.As(err, &bad) {
		t.Errorf("bad input: %v", err)
	}
}

func TestOf_InStore(t *testing.T) {
	a := stored(t)
	e := of(t, a, "2021-06-01")
	if e.Status != life.StatusInStore || !e.Due.IsZero() || e.Governing != "" || e.StoreUntil != day("2022-01-01") || !e.Complete || !e.InspectionDue.IsZero() {
		t.Errorf("%+v", e)
	}
	if warned(e, life.WarnStoredTooLong) {
		t.Error("warned too early")
	}
	if e = of(t, a, "2022-01-02"); !warned(e, life.WarnStoredTooLong) {
		t.Error("stored too long and not warned")
	}
	a.Assembled, a.Hose.Made = noDate, noDate
	if e = of(t, a, "2021-06-01"); e.Complete || !e.StoreUntil.IsZero() || clockOf(e, life.CalendarClock).Missing == nil {
		t.Errorf("unknown age: %+v", e)
	}
}

// An assembly may be fitted exactly until the day its estimate names.
func TestMayFit_AgreesWithStoreUntil(t *testing.T) {
	agreed := 0
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		a.Findings = nil
		if rapid.Bool().Draw(t, "never fitted") {
			a.Fitted, a.Stints = noDate, nil
		}
		e, err := life.Of(&a, asOfDay)
		if err != nil || e.Status != life.StatusInStore {
			return
		}
		err = life.MayFit(&a, asOfDay)
		past := !e.StoreUntil.IsZero() && asOfDay.After(e.StoreUntil)
		unknown := clockOf(e, life.CalendarClock).Missing != nil
		if (err != nil) != (past || unknown) {
			t.Fatalf("until %v as of %v: %v", e.StoreUntil, asOfDay, err)
		}
		agreed++
	})
	if agreed == 0 {
		t.Fatal("never in store")
	}
}
