package life_test

import (
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// law makes an assembly worse in one way; false where the way does not apply.
type law struct {
	name  string
	worse func(t *rapid.T, a *life.Assembly, series []usage.Series) bool
}

// The laws of an estimate: none of these may make any date later. The hours of
// "more hours" run faster at every time: a line of hours that is only higher
// may have run its hours earlier, in milder conditions, and is no worse. A
// first limit in months is left out where the policy has none, as heat then
// runs against 72 months that nobody set.
var laws = []law{
	{"an earlier make date", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		a.Hose.Made = a.Hose.Made.AddDays(-rapid.IntRange(1, 1000).Draw(t, "days"))
		return !a.Hose.Made.IsZero()
	}},
	{"an earlier assembly date", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		a.Assembled = a.Assembled.AddDays(-rapid.IntRange(1, 1000).Draw(t, "days"))
		return !a.Assembled.IsZero()
	}},
	{"an earlier first fitting", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		a.Fitted = a.Fitted.AddDays(-rapid.IntRange(1, 1000).Draw(t, "days"))
		a.Stints[0].From = a.Fitted
		return true
	}},
	{"a hotter fluid", anyRow(func(t *rapid.T, c *life.Conditions) bool {
		return raise(t, c.FluidC, 20)
	})},
	{"hotter surroundings", anyRow(func(t *rapid.T, c *life.Conditions) bool {
		return raise(t, c.SurroundingsC, 20)
	})},
	{"a hotter share of running time", anyRow(func(t *rapid.T, c *life.Conditions) bool {
		return len(c.Temperatures) > 0 && raise(t, &c.Temperatures[0].C, 20)
	})},
	{"hot surroundings round the clock", anyRow(func(t *rapid.T, c *life.Conditions) bool {
		c.AlwaysHot = true
		return true
	})},
	{"a higher pressure from the same lowest", anyCycle(func(t *rapid.T, y *life.Cycle) bool {
		return raise(t, &y.MaxBar, 50)
	})},
	{"a cycle scaled up", anyCycle(func(t *rapid.T, y *life.Cycle) bool {
		k := rapid.Float64Range(1, 1.2).Draw(t, "scale")
		y.MinBar, y.MaxBar = y.MinBar*k, y.MaxBar*k
		return true
	})},
	{"a cycle shifted up", anyCycle(func(t *rapid.T, y *life.Cycle) bool {
		by := rapid.Float64Range(0, 50).Draw(t, "shift")
		y.MinBar, y.MaxBar = y.MinBar+by, y.MaxBar+by
		return true
	})},
	{"more cycles", anyCycle(func(t *rapid.T, y *life.Cycle) bool { return raise(t, &y.Count, 1000) })},
	{"another row of cycles", anyRow(func(t *rapid.T, c *life.Conditions) bool {
		c.Cycles = append(c.Cycles, life.Cycle{MaxBar: rapid.Float64Range(1, 300).Draw(t, "max"), Count: rapid.Float64Range(0, 100).Draw(t, "count")})
		return len(c.Cycles) > 1
	})},
	{"cycles not recorded", anyRow(func(t *rapid.T, c *life.Conditions) bool { c.Recorded = false; return true })},
	{"no assessment", anyRow(func(t *rapid.T, c *life.Conditions) bool { c.Assessed = quantity.Date{}; return true })},
	{"a weaker adapter", anyRow(func(t *rapid.T, c *life.Conditions) bool { c.AdapterBar = ptr(99.0); return true })},
	{"more hours at every time", func(t *rapid.T, a *life.Assembly, series []usage.Series) bool {
		k := rapid.Float64Range(1, 1.5).Draw(t, "scale")
		for i := range a.Stints {
			if a.Stints[i].Hours != nil {
				more := hoursOf(t, scaled(series[i], k))
				if !runsMore(a.Stints[i].Hours, more) {
					return false // a lay-up that the meter now contradicts is left out
				}
				a.Stints[i].Hours = more
			}
		}
		return true
	}},
	{"a worse finding", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		if len(a.Findings) == 0 {
			return false
		}
		f := &a.Findings[rapid.IntRange(0, len(a.Findings)-1).Draw(t, "finding")]
		f.Class = life.Strictest(f.Class, rapid.SampledFrom([]life.Class{life.Stop, life.Replace, life.Correct, life.Watch}).Draw(t, "class"))
		return true
	}},
	{"another finding", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		a.Findings = append(a.Findings, finding(t))
		return true
	}},
	{"a finding not closed", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		for i := range a.Findings {
			a.Findings[i].Closed = quantity.Date{}
		}
		return true
	}},
	{"a stricter limit", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { return stricter(t, &a.Policy) }},
	{"another limit", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { return another(t, &a.Policy) }},
	{"a burst that can hurt", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { a.CanHurt = true; return true }},
	{"a rating that is not confirmed", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		a.Hose.RatingUnconfirmed = true
		return true
	}},
	{"a lower rating", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { *a.Hose.RatedBar *= 0.9; return true }},
	{"a cooler limit of the hose", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		if a.Hose.MaxC == nil {
			return false
		}
		*a.Hose.MaxC -= 10
		return true
	}},
	{"one more clock", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { a.Policy.CombineSum = true; return true }},
	{"every cycle from zero", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { a.Policy.PeakOnly = true; return true }},
	{"both curves", func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool { a.Policy.OwnCurveAlone = false; return true }},
}

// runsMore reports whether b runs at least as fast as a at every time, on every
// path.
func runsMore(a, b *usage.Hours) bool {
	at := append(append([]float64{asFloat(asOfDay.AddDays(-9000))}, a.Breaks()...), b.Breaks()...)
	at = append(at, asFloat(asOfDay.AddDays(40000)))
	slices.Sort(at)
	for i := 1; i < len(at); i++ {
		for _, p := range []usage.Path{usage.Fast, usage.Likely, usage.Slow} {
			if b.Between(p, at[i-1], at[i]) < a.Between(p, at[i-1], at[i])-1e-9 {
				return false
			}
		}
	}
	return true
}

func asFloat(d quantity.Date) float64 { return float64(d.DayNumber()) }

func raise(t *rapid.T, v *float64, most float64) bool {
	if v == nil {
		return false
	}
	*v += rapid.Float64Range(0, most).Draw(t, "raise")
	return true
}

// anyRow applies a change to one row of conditions. Numbers behind pointers
// are copied first, as rows of the unchanged assembly share them.
func anyRow(f func(t *rapid.T, c *life.Conditions) bool) func(*rapid.T, *life.Assembly, []usage.Series) bool {
	return func(t *rapid.T, a *life.Assembly, _ []usage.Series) bool {
		if len(a.Conditions) == 0 {
			return false
		}
		return f(t, &a.Conditions[rapid.IntRange(0, len(a.Conditions)-1).Draw(t, "which row")])
	}
}

func anyCycle(f func(t *rapid.T, y *life.Cycle) bool) func(*rapid.T, *life.Assembly, []usage.Series) bool {
	return anyRow(func(t *rapid.T, c *life.Conditions) bool {
		if len(c.Cycles) == 0 {
			return false
		}
		return f(t, &c.Cycles[rapid.IntRange(0, len(c.Cycles)-1).Draw(t, "which cycle")])
	})
}

func stricter(t *rapid.T, p *life.Policy) bool {
	less := func(m *int) bool {
		if m != nil {
			*m -= rapid.IntRange(0, *m-1).Draw(t, "less")
		}
		return m != nil
	}
	smaller := func(v *float64) bool {
		if v != nil {
			*v *= rapid.Float64Range(0.3, 1).Draw(t, "smaller")
		}
		return v != nil
	}
	switch rapid.IntRange(0, 11).Draw(t, "which limit") {
	case 0:
		return less(p.MonthsFromAssembly)
	case 1:
		return less(p.MonthsFromFitting)
	case 2:
		return less(p.MonthsFromMake)
	case 3:
		return less(p.HeatLimitMonths)
	case 4:
		return less(p.HoseAgeMonths)
	case 5:
		return less(p.StorageMonths)
	case 6:
		return less(p.InspectMonths)
	case 7:
		return smaller(p.HoursFromFitting)
	case 8:
		return smaller(p.CyclesFromFitting)
	case 9:
		return smaller(p.DamageLimit)
	case 10:
		return smaller(p.HeatReferenceC)
	}
	return raise(t, p.AssumedFactor, 3) && raise(t, p.EaKJ, 30)
}

func another(t *rapid.T, p *life.Policy) bool {
	months := func(m **int) bool {
		if *m == nil {
			*m = ptr(rapid.IntRange(1, 200).Draw(t, "months"))
		}
		return true
	}
	anyMonths := p.MonthsFromAssembly != nil || p.MonthsFromFitting != nil || p.MonthsFromMake != nil
	switch rapid.IntRange(0, 6).Draw(t, "which limit") {
	case 0:
		return anyMonths && months(&p.MonthsFromAssembly)
	case 1:
		return anyMonths && months(&p.MonthsFromFitting)
	case 2:
		return anyMonths && months(&p.MonthsFromMake)
	case 3:
		return months(&p.HeatLimitMonths)
	case 4:
		return months(&p.HoseAgeMonths)
	case 5:
		p.HoursFromFitting = ptr(min(rapid.Float64Range(1, 1e4).Draw(t, "hours"), or(p.HoursFromFitting)))
		return true
	}
	p.CyclesFromFitting = ptr(min(rapid.Float64Range(1, 1e7).Draw(t, "cycles"), or(p.CyclesFromFitting)))
	return true
}

func or(v *float64) float64 {
	if v == nil {
		return math.Inf(1)
	}
	return *v
}

// deep copies what pointers point to as well.
func deep(a life.Assembly) life.Assembly {
	a = clone(a)
	p := &a.Policy
	for _, v := range []**float64{&a.Hose.RatedBar, &a.Hose.MaxC, &p.HoursFromFitting, &p.CyclesFromFitting, &p.DamageLimit, &p.AssumedFactor, &p.HeatReferenceC, &p.EaKJ} {
		fresh(v)
	}
	for _, v := range []**int{&p.MonthsFromAssembly, &p.MonthsFromFitting, &p.MonthsFromMake, &p.HeatLimitMonths, &p.StorageMonths, &p.HoseAgeMonths, &p.InspectMonths} {
		fresh(v)
	}
	for i := range a.Conditions {
		c := &a.Conditions[i]
		fresh(&c.FluidC)
		fresh(&c.SurroundingsC)
	}
	return a
}

func fresh[T any](v **T) {
	if *v != nil {
		*v = ptr(**v)
	}
}

// later reports whether date b is later than a, no date being latest of all.
func later(a, b quantity.Date) bool {
	return !a.IsZero() && (b.IsZero() || b.After(a))
}

func TestEstimate_LawsNothingWorseMakesALaterDate(t *testing.T) {
	for _, l := range laws {
		t.Run(l.name, func(t *testing.T) {
			tried := 0
			rapid.Check(t, func(t *rapid.T) {
				a, series := assembly(t)
				b := deep(a)
				if !l.worse(t, &b, series) {
					return
				}
				before := estimate(t, a)
				after, err := life.Of(&b, asOfDay)
				if err != nil {
					return // dates now contradict each other, or burst is reached: refused, not later
				}
				if lacksMore(before, after) {
					return // says itself that it knows less
				}
				tried++
				if before.Status != life.StatusInStore && after.Status != life.StatusInStore &&
					(later(before.Due, after.Due) || later(before.Earliest, after.Earliest) || later(before.Latest, after.Latest)) {
					t.Fatalf("due %v (%v to %v) became %v (%v to %v)", before.Due, before.Earliest, before.Latest, after.Due, after.Earliest, after.Latest)
				}
				for _, k := range before.Clocks {
					m := clockOf(after, k.Name)
					if m == nil || later(k.Due, m.Due) {
						t.Fatalf("%s clock: due %v became %v", k.Name, k.Due, m)
					}
				}
			})
			if tried == 0 {
				t.Fatal("never applied")
			}
		})
	}
}

// lacksMore reports whether a clock of after lacks data that it had before.
func lacksMore(before, after life.Estimate) bool {
	for _, k := range after.Clocks {
		if m := clockOf(before, k.Name); len(k.Missing) > 0 && m != nil && len(m.Missing) == 0 {
			return true
		}
	}
	return false
}

// alike compares estimates; numbers may differ in the last bits where sums
// were made of other parts.
var alike = cmp.Options{
	cmpopts.EquateApprox(1e-9, 1e-12),
	cmp.Comparer(func(a, b quantity.Date) bool { return a == b }),
}

func TestEstimate_SplittingAPeriodChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		if len(a.Conditions) == 0 {
			return
		}
		b := clone(a)
		c := b.Conditions[rapid.IntRange(0, len(a.Conditions)-1).Draw(t, "which row")]
		c.From = c.From.AddDays(rapid.IntRange(1, 2000).Draw(t, "split"))
		for i := range a.Conditions {
			if a.Conditions[i].From == c.From {
				return
			}
		}
		// The new row must fall within the row it copies.
		in := slow{a: a}.row(c.From)
		if in.From != c.From && !cmp.Equal(withoutFrom(*in), withoutFrom(c), alike) {
			return
		}
		b.Conditions = append(b.Conditions, c)
		before, after := estimate(t, a), estimate(t, b)
		if diff := cmp.Diff(before, after, alike); diff != "" {
			t.Fatal(diff)
		}
	})
}

func withoutFrom(c life.Conditions) life.Conditions { c.From = quantity.Date{}; return c }

func TestEstimate_OrderOfRowsChangesNothing(t *testing.T) {
	exact := cmp.Comparer(func(a, b quantity.Date) bool { return a == b })
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		b := clone(a)
		b.Conditions = rapid.Permutation(b.Conditions).Draw(t, "conditions")
		for i := range b.Conditions {
			b.Conditions[i].Cycles = rapid.Permutation(b.Conditions[i].Cycles).Draw(t, "cycles")
			b.Conditions[i].Temperatures = rapid.Permutation(b.Conditions[i].Temperatures).Draw(t, "temperatures")
		}
		b.Stints = rapid.Permutation(b.Stints).Draw(t, "stints")
		b.Findings = rapid.Permutation(b.Findings).Draw(t, "findings")
		if diff := cmp.Diff(estimate(t, a), estimate(t, b), exact); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestEstimate_IsInItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		e := estimate(t, a)
		if later(e.Due, e.Earliest) || later(e.Latest, e.Due) {
			t.Fatalf("band %v, %v, %v", e.Earliest, e.Due, e.Latest)
		}
		complete := true
		first := quantity.Date{}
		for _, k := range e.Clocks {
			complete = complete && len(k.Missing) == 0
			ahead := k.Name == life.RatingClock && k.Due.After(e.AsOf)
			if len(k.Missing) > 0 && (!k.Due.IsZero() && !ahead || k.Used != nil) {
				t.Fatalf("%s lacks %v and yet has a date or share", k.Name, k.Missing)
			}
			if !k.Due.IsZero() && k.Used == nil {
				t.Fatalf("%s is due without a share", k.Name)
			}
			// The clock is spent on its day, no sooner and no later.
			if k.Used != nil && !k.Due.IsZero() && k.Name != life.ConditionClock {
				if over := *k.Used >= 1+1e-9; over != k.Due.Before(e.AsOf) && math.Abs(*k.Used-1) > 1e-6 && k.Due != e.AsOf {
					t.Fatalf("%s used %v, due %v as of %v", k.Name, *k.Used, k.Due, e.AsOf)
				}
			}
			first = quantity.Earliest(first, k.Due)
		}
		if complete != e.Complete {
			t.Fatalf("complete %v", e.Complete)
		}
		if e.Status == life.StatusInStore {
			return
		}
		if e.Due != first {
			t.Fatalf("due %v, earliest clock %v", e.Due, first)
		}
		for _, k := range e.Clocks {
			if !first.IsZero() && k.Due == first {
				if e.Governing != k.Name {
					t.Fatalf("%s governs, not %s", e.Governing, k.Name)
				}
				break
			}
		}
	})
}
