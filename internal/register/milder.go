package register

import "hoseward/internal/life"

// rankOfClass orders the classes of a finding, the mildest first.
func rankOfClass(c life.Class) int {
	switch c {
	case life.Watch:
		return 1
	case life.Correct:
		return 2
	case life.Replace:
		return 3
	case life.Stop:
		return 4
	}
	return 0
}

// MilderFinding reports whether a finding asks for less after a change than it
// did before: a milder class, or a later day to act by, or none any more.
func MilderFinding(before, after *Finding) bool {
	if b, a := rankOfClass(before.Class), rankOfClass(after.Class); a != b {
		return a < b
	}
	return !before.ActBy.IsZero() && (after.ActBy.IsZero() || after.ActBy.After(before.ActBy))
}

// MilderPolicy names the first limit of a policy that may let a hose stay
// longer, or be looked at less often, than another has it: a longer one, none
// in its place, or one of which that cannot be told. Empty: none is.
func MilderPolicy(p, than *Policy) string {
	if field := milderLimit(&p.Policy, &than.Policy); field != "" {
		return field
	}
	switch {
	case longer(p.exposedMonths(), than.exposedMonths()):
		return "exposed_inspect_months"
	case !sameOrStricter(p.HeatLimitMonths, than.HeatLimitMonths):
		return "heat_limit_months" // empty follows the calendar, so neither is known to be milder
	case !same(p.HeatReferenceC, than.HeatReferenceC):
		return "heat_reference_c" // what it does depends on the temperatures
	case !same(p.EaKJ, than.EaKJ):
		return "ea_kj"
	}
	return ""
}

// exposedMonths is the interval of inspections at exposed positions.
func (p *Policy) exposedMonths() *int {
	if p.ExposedInspectMonths != nil {
		return p.ExposedInspectMonths
	}
	return p.InspectMonths
}

// milderLimit names the first limit of a policy that is milder than another
// has it and can be compared whatever it is used on; empty if none is.
func milderLimit(p, than *life.Policy) string {
	for _, l := range []struct {
		field       string
		ours, their *int
	}{
		{"months_from_assembly", p.MonthsFromAssembly, than.MonthsFromAssembly},
		{"months_from_fitting", p.MonthsFromFitting, than.MonthsFromFitting},
		{"months_from_make", p.MonthsFromMake, than.MonthsFromMake},
		{"storage_months", p.StorageMonths, than.StorageMonths},
		{"hose_age_months", p.HoseAgeMonths, than.HoseAgeMonths},
		{"inspect_months", p.InspectMonths, than.InspectMonths},
	} {
		if longer(l.ours, l.their) {
			return l.field
		}
	}
	switch {
	case longer(p.HoursFromFitting, than.HoursFromFitting):
		return "hours_from_fitting"
	case longer(p.CyclesFromFitting, than.CyclesFromFitting):
		return "cycles_from_fitting"
	case value(p.DamageLimit, life.DefaultDamageLimit) > value(than.DamageLimit, life.DefaultDamageLimit):
		return "damage_limit"
	case value(p.AssumedFactor, life.DefaultAssumedFactor) < value(than.AssumedFactor, life.DefaultAssumedFactor):
		return "assumed_factor"
	case p.OwnCurveAlone && !than.OwnCurveAlone:
		return "own_curve_alone"
	case than.CombineSum && !p.CombineSum:
		return "combine_sum"
	case than.PeakOnly && !p.PeakOnly:
		return "peak_only"
	}
	return ""
}

// longer reports whether a limit lets more pass than another; none lets all
// pass.
func longer[T int | float64](ours, their *T) bool {
	return their != nil && (ours == nil || *ours > *their)
}

func sameOrStricter(ours, their *int) bool {
	if ours == nil || their == nil {
		return ours == their
	}
	return *ours <= *their
}

func value(v *float64, otherwise float64) float64 {
	if v == nil {
		return otherwise
	}
	return *v
}

func same(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
