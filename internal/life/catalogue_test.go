package life_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/fatigue"
)

// The suggested codes of the trade facts, section 5 (SAE J1273 and DGUV / DIN
// 20066 as restated): S stop, P replace, C correct, the strictest where two
// are given.
func TestFindingKinds_SuggestedClasses(t *testing.T) {
	const codes = "SSPSSSSSSSSPPPCCCCPSSCCSCC"
	class := map[byte]life.Class{'S': life.Stop, 'P': life.Replace, 'C': life.Correct}
	kinds := life.FindingKinds()
	if len(kinds) != 26 {
		t.Fatalf("%d kinds", len(kinds))
	}
	seen := map[string]bool{}
	for i, k := range kinds {
		if k.Number != i+1 || k.Class != class[codes[i]] {
			t.Errorf("%d: number %d, class %s", i+1, k.Number, k.Class)
		}
		if !strings.HasSuffix(k.Sentence, ".") || k.Source == "" || seen[k.Sentence] {
			t.Errorf("%d: %q, source %q", k.Number, k.Sentence, k.Source)
		}
		seen[k.Sentence] = true
	}
}

// The table of shipped policies: DIN 20066 and DGUV Regel 113-020 as restated.
func TestShippedPolicies(t *testing.T) {
	n := func(v *int) int {
		if v == nil {
			return 0
		}
		return *v
	}
	want := map[string][5]int{ // from assembly, from fitting, hose age, storage, inspect
		"normal demand":              {72, 0, 48, 24, 12},
		"heightened demand":          {72, 24, 48, 24, 6},
		"thermoplastic or PTFE tube": {0, 0, 0, 0, 12},
	}
	all := life.ShippedPolicies()
	if len(all) != len(want) {
		t.Fatalf("%d policies", len(all))
	}
	for _, s := range all {
		p := s.Policy
		got := [5]int{n(p.MonthsFromAssembly), n(p.MonthsFromFitting), n(p.HoseAgeMonths), n(p.StorageMonths), n(p.InspectMonths)}
		if got != want[p.Name] || p.DamageLimit != nil || p.AssumedFactor != nil || p.CombineSum || p.PeakOnly || p.OwnCurveAlone {
			t.Errorf("%s: %v", p.Name, got)
		}
		if s.Source == "" || !strings.Contains(strings.Join(s.Notes, " "), "own choice") {
			t.Errorf("%s: source %q, notes %q", p.Name, s.Source, s.Notes)
		}
	}
	*all[0].Policy.MonthsFromAssembly = 1
	if *life.NormalDemand().MonthsFromAssembly != 72 {
		t.Error("a shipped policy can be changed")
	}
}

func TestDefaults(t *testing.T) {
	if life.DefaultHeatReferenceC(100) != 80 || life.DefaultDamageLimit != 0.5 || life.DefaultAssumedFactor != 2 {
		t.Error("defaults of damage and heat")
	}
	for tube, ea := range map[string]float64{"NBR": 92, "CR": 80, "EPDM": 72, "": 92, "XYZ": 92} {
		if life.DefaultEaKJ(tube) != ea {
			t.Errorf("%q: %v", tube, life.DefaultEaKJ(tube))
		}
	}
}

func TestSafetyLines(t *testing.T) {
	all := strings.Join(life.SafetyLines(), "\n")
	for _, must := range []string{"inspection", "without visible signs", "never feel for a leak", "depressurise", "lock out", "accumulators", "surgical emergency", "trained people", "Visible damage beats"} {
		if !strings.Contains(all, must) {
			t.Errorf("no line says %q", must)
		}
	}
	for _, l := range life.SafetyLines() {
		if !strings.HasSuffix(l, ".") || len(l) > 140 {
			t.Errorf("%q", l)
		}
	}
}

func TestWarningCodes_ClosedList(t *testing.T) {
	known := map[string]bool{}
	for _, c := range life.WarningCodes() {
		known[c] = true
	}
	if len(known) != 16 {
		t.Errorf("%d codes", len(known))
	}
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		for _, w := range estimate(t, a).Warnings {
			if !known[w.Code] || !strings.HasSuffix(w.Text, ".") && w.Code != life.WarnLimitLengthened {
				t.Fatalf("%+v", w)
			}
		}
	})
}

// Of two curves that end at the same burst pressure the one with the smaller
// exponent gives the smaller life, cycle by cycle.
func TestCurve_SmallerLifeCycleByCycle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rated := rapid.Float64Range(50, 400).Draw(t, "rated")
		low := rapid.Float64Range(0, rated).Draw(t, "low")
		y := life.Cycle{MinBar: low, MaxBar: low + rapid.Float64Range(0.01, 2.9).Draw(t, "range")*rated, Count: 1}
		own, err := fatigue.NewCurve(400, rapid.Float64Range(90, 180).Draw(t, "impulse"), rapid.Float64Range(1e4, 2e6).Draw(t, "cycles"))
		if err != nil {
			t.Fatal(err)
		}
		want, _, err := fatigue.MinLife(rated, y.MinBar, y.MaxBar, fatigue.Reference(), own)
		if err != nil {
			t.Fatal(err)
		}
		_, percent, cycles := own.Points()
		a := life.Assembly{
			Hose:       life.Hose{Construction: "wire braid", RatedBar: &rated, ImpulsePercent: &percent, ImpulseCycles: &cycles},
			Fitted:     asOfDay,
			Conditions: []life.Conditions{{From: asOfDay, Cycles: []life.Cycle{y}}},
		}
		e := estimate(t, a)
		k := clockOf(e, life.PressureClock)
		if got := 1 / *k.DamagePerHour; math.Abs(got/want-1) > 1e-9 {
			t.Fatalf("life %v, want %v", got, want)
		}
	})
}
