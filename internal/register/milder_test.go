package register_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func TestMilderFinding_IsOneThatAsksForLess(t *testing.T) {
	early, late := quantity.MinDate.AddDays(10), quantity.MinDate.AddDays(20)
	finding := func(c life.Class, by quantity.Date) *register.Finding { return &register.Finding{Class: c, ActBy: by} }
	none := quantity.Date{}
	for _, row := range []struct {
		what          string
		before, after *register.Finding
		milder        bool
	}{
		{"stop becomes replace", finding(life.Stop, none), finding(life.Replace, late), true},
		{"replace becomes correct", finding(life.Replace, late), finding(life.Correct, none), true},
		{"correct becomes watch", finding(life.Correct, none), finding(life.Watch, none), true},
		{"watch becomes stop", finding(life.Watch, late), finding(life.Stop, none), false},
		{"nothing changes", finding(life.Watch, late), finding(life.Watch, late), false},
		{"a later day", finding(life.Replace, early), finding(life.Replace, late), true},
		{"no day any more", finding(life.Replace, early), finding(life.Replace, none), true},
		{"an earlier day", finding(life.Replace, late), finding(life.Replace, early), false},
		{"a day where there was none", finding(life.Watch, none), finding(life.Watch, late), false},
		{"no class known", finding(life.Stop, none), finding("odd", none), true},
	} {
		if got := register.MilderFinding(row.before, row.after); got != row.milder {
			t.Errorf("%s: milder %t", row.what, got)
		}
	}
}

func TestMilderPolicy_NamesTheLimit(t *testing.T) {
	n := func(v int) *int { return &v }
	x := func(v float64) *float64 { return &v }
	strict := register.Policy{Policy: life.Policy{
		MonthsFromAssembly: n(24), MonthsFromFitting: n(24), MonthsFromMake: n(60), StorageMonths: n(12), HoseAgeMonths: n(24), InspectMonths: n(6),
		HoursFromFitting: x(2000), CyclesFromFitting: x(1e6), DamageLimit: x(0.3), AssumedFactor: x(3), HeatLimitMonths: n(24), HeatReferenceC: x(60), EaKJ: x(80),
		CombineSum: true, PeakOnly: true,
	}, ExposedInspectMonths: n(3)}
	for _, row := range []struct {
		want   string
		change func(*register.Policy)
	}{
		{"", func(*register.Policy) {}},
		{"", func(p *register.Policy) { p.MonthsFromAssembly = n(12) }},
		{"", func(p *register.Policy) { p.DamageLimit = x(0.1); p.AssumedFactor = x(4); p.HeatLimitMonths = n(12) }},
		{"months_from_assembly", func(p *register.Policy) { p.MonthsFromAssembly = n(25) }},
		{"months_from_assembly", func(p *register.Policy) { p.MonthsFromAssembly = nil }},
		{"months_from_fitting", func(p *register.Policy) { p.MonthsFromFitting = n(72) }},
		{"months_from_make", func(p *register.Policy) { p.MonthsFromMake = nil }},
		{"storage_months", func(p *register.Policy) { p.StorageMonths = n(24) }},
		{"hose_age_months", func(p *register.Policy) { p.HoseAgeMonths = n(48) }},
		{"inspect_months", func(p *register.Policy) { p.InspectMonths = n(12) }},
		{"exposed_inspect_months", func(p *register.Policy) { p.ExposedInspectMonths = nil }},
		{"hours_from_fitting", func(p *register.Policy) { p.HoursFromFitting = x(2001) }},
		{"cycles_from_fitting", func(p *register.Policy) { p.CyclesFromFitting = nil }},
		{"damage_limit", func(p *register.Policy) { p.DamageLimit = nil }}, // what the program takes is higher
		{"assumed_factor", func(p *register.Policy) { p.AssumedFactor = x(2) }},
		{"own_curve_alone", func(p *register.Policy) { p.OwnCurveAlone = true }},
		{"combine_sum", func(p *register.Policy) { p.CombineSum = false }},
		{"peak_only", func(p *register.Policy) { p.PeakOnly = false }},
		{"heat_limit_months", func(p *register.Policy) { p.HeatLimitMonths = nil }},
		{"heat_reference_c", func(p *register.Policy) { p.HeatReferenceC = x(50) }},
		{"ea_kj", func(p *register.Policy) { p.EaKJ = nil }},
	} {
		p := strict
		row.change(&p)
		if got := register.MilderPolicy(&p, &strict); got != row.want {
			t.Errorf("want %q, got %q", row.want, got)
		}
	}
	normal, heightened := register.Policy{Policy: life.NormalDemand()}, register.Policy{Policy: life.HeightenedDemand()}
	if register.MilderPolicy(&normal, &heightened) == "" {
		t.Error("normal demand is not milder than heightened demand")
	}
	if field := register.MilderPolicy(&heightened, &normal); field != "" {
		t.Errorf("heightened demand is milder than normal demand in %s", field)
	}
}
