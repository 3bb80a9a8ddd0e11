package life_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

func ptr[T any](v T) *T { return &v }

func day(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

func of(t testing.TB, a life.Assembly, asOf string) life.Estimate {
	t.Helper()
	e, err := life.Of(&a, day(asOf))
	if err != nil {
		t.Fatalf("estimate: %v", err)
	}
	return e
}

func clockOf(e life.Estimate, name life.ClockName) *life.Clock {
	for i := range e.Clocks {
		if e.Clocks[i].Name == name {
			return &e.Clocks[i]
		}
	}
	return nil
}

var noDate quantity.Date
