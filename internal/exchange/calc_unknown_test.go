package exchange_test

import (
	"testing"

	"hoseward/internal/exchange"
)

// An empty list is a statement, a missing one is not: a return line that sees
// no cycles is simply not worn by pressure, an unknown line is incomplete.
func TestLifeReader_TellsNoCyclesFromUnknownOnes(t *testing.T) {
	for _, c := range []struct {
		why    string
		cycles string
		none   bool
	}{
		{"an empty list says there are none", `,"cycles":[]`, true},
		{"null says nothing", `,"cycles":null`, false},
		{"no key says nothing", ``, false},
		{"a row says there are some", `,"cycles":[{"min_bar":0,"max_bar":100,"per_hour":1}]`, false},
	} {
		var r exchange.LifeReader
		a, _, err := r.Read([]byte(`{"id":"K","as_of":"2026-11-25","hose":{"rated_bar":275},"fitted":"2024-07-02","conditions":[{"from":"2024-07-02"` + c.cycles + `}]}`))
		if err != nil {
			t.Errorf("%s: %v", c.why, err)
			continue
		}
		if a.Conditions[0].NoCycles != c.none {
			t.Errorf("%s: no cycles is %v", c.why, a.Conditions[0].NoCycles)
		}
	}
}

// What every policy has is the strictest shipped value where it is not given:
// heightened demand inspects every 6 months (DGUV Regel 113-020, seen in
// restatements).
func TestLifeReader_APolicyWithoutAnIntervalIsInspectedAsStrictlyAsAny(t *testing.T) {
	for _, c := range []struct {
		why, policy string
		months      int
	}{
		{"not given", `{"name":"ours","months_from_assembly":72}`, 6},
		{"null", `{"name":"ours","months_from_assembly":72,"inspect_months":null}`, 6},
		{"given", `{"name":"ours","months_from_assembly":72,"inspect_months":12}`, 12},
	} {
		var r exchange.LifeReader
		a, _, err := r.Read([]byte(`{"id":"K","as_of":"2026-11-25","hose":{"rated_bar":275},"fitted":"2024-07-02","policy":` + c.policy + `}`))
		if err != nil {
			t.Fatalf("%s: %v", c.why, err)
		}
		p := a.Policy
		if *p.InspectMonths != c.months || *p.StorageMonths != 24 || *p.HoseAgeMonths != 48 {
			t.Errorf("%s: inspected every %d months, stored %d, hose %d", c.why, *p.InspectMonths, *p.StorageMonths, *p.HoseAgeMonths)
		}
	}
}
