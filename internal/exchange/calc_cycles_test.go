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
