package demo_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"hoseward/internal/demo"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Whoever starts the demo does so on some day or other.
func TestFleet_IsTakenOnAnyDay(t *testing.T) {
	by := register.Actor{PersonID: register.LocalPersonID, Origin: register.FromDemo}
	for d := 0; d < 4*365; d += 97 {
		now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC).AddDate(0, 0, d)
		s, err := store.Open(context.Background(), filepath.Join(t.TempDir(), "demo.db"), store.Options{Migrate: true})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Apply(context.Background(), now, by, demo.Fleet(1, quantity.DateOf(now, time.UTC))...); err != nil {
			t.Errorf("%s: %v", now.Format(time.DateOnly), err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}
