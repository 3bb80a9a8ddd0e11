package demo_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"hoseward/internal/demo"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// stored is a register on disk that holds a fleet.
func stored(t *testing.T, variant uint64, now time.Time) (*store.Store, register.Result) {
	t.Helper()
	ctx := context.Background()
	s, err := store.Open(ctx, filepath.Join(t.TempDir(), "demo.db"), store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	cmds := demo.Fleet(variant, quantity.DateOf(now, time.UTC))
	start := time.Now()
	res, err := s.Apply(ctx, now, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromDemo}, cmds...)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d commands taken in %v", len(cmds), time.Since(start).Round(time.Millisecond))
	return s, res
}

// The register on disk takes the whole fleet in one change, keeps an unbroken
// change log, and makes an estimate of every line that holds a hose.
func TestFleet_TheStoreTakesIt(t *testing.T) {
	ctx := context.Background()
	for _, row := range []struct {
		variant uint64
		now     string
	}{
		{1, "2026-11-25T09:00:00Z"},
		{2, "2027-07-01T23:30:00Z"}, // already the next day at the site
		{3, "2028-02-29T00:00:00Z"},
	} {
		now, err := time.Parse(time.RFC3339, row.now)
		if err != nil {
			t.Fatal(err)
		}
		s, res := stored(t, row.variant, now)
		m := filled(t, row.variant, quantity.DateOf(now, time.UTC))
		if len(res.Codes) != len(m.inOrder) {
			t.Errorf("variant %d: the store gave %d codes for %d assemblies", row.variant, len(res.Codes), len(m.inOrder))
		}
		for i, a := range m.inOrder {
			if i < len(res.Codes) && res.Codes[i] != a.Assembly.Code {
				t.Fatalf("variant %d: assembly %d is %s in the store, not %s", row.variant, i, res.Codes[i], a.Assembly.Code)
			}
		}
		if n, err := s.ReestimateAll(ctx, now, nil); err != nil || n != len(m.sits) {
			t.Errorf("variant %d: %d estimates, want %d: %v", row.variant, n, len(m.sits), err)
		}
		countsAreADepots(t, s, now, m)
		rows, broken, err := s.VerifyChain(ctx)
		if err != nil || broken != 0 || rows < 4000 {
			t.Errorf("variant %d: change log of %d rows, broken at %d: %v", row.variant, rows, broken, err)
		}
	}
}

func countsAreADepots(t *testing.T, s *store.Store, now time.Time, m *model) {
	t.Helper()
	c, err := s.Counts(context.Background(), now, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("on %s: %+v", now.Format(time.DateOnly), c)
	for _, want := range []struct {
		what      string
		n, lo, hi int
	}{
		{"machines", c.Machines, len(m.machines), len(m.machines)},
		{"positions", c.Positions, len(m.where), len(m.where)},
		{"empty positions", c.EmptyPositions, len(m.where) - len(m.sits), len(m.where) - len(m.sits)},
		{"in store", c.InStore, 12, 12},
		{"stale", c.Stale, 0, 0},
		{"stop", c.Stop, 3, 3},
		{"overdue", c.Overdue, 10, 24},
		{"soon", c.Soon, 20, 35},
		{"ahead", c.Ahead, 12, 32},
		{"incomplete", c.Incomplete, 12, 24},
		{"inspections overdue", c.InspectionsOverdue, 5, 45},
		{"over rating", c.OverRating, 3, 8},
	} {
		if want.n < want.lo || want.n > want.hi {
			t.Errorf("on %s: %d %s, want %d to %d", now.Format(time.DateOnly), want.n, want.what, want.lo, want.hi)
		}
	}
	page, err := s.Lines(context.Background(), now, register.LineFilter{Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	if page.Total != len(m.sits) || len(page.Lines) != 10 {
		t.Fatalf("%d lines of %d, want 10 of %d", len(page.Lines), page.Total, len(m.sits))
	}
	for i, l := range page.Lines {
		t.Logf("%-8s %s %s, %s %s DN %d, act by %s, %s", l.Status, l.MachineCode, l.Position, l.AssemblyCode, l.Designation, l.DN, l.Estimate.ActBy, l.Estimate.Governing)
		want := life.StatusOverdue
		if i < 3 {
			want = life.StatusStop
		}
		if l.Status != want {
			t.Errorf("line %d is %s, want the stops first and then what is overdue", i, l.Status)
		}
	}
}
