package store_test

import (
	"context"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// BenchmarkFor holds the first pages of lists, counts and search of a person of
// one site, and of three, against those of a person of all sites who filters
// for one, in a register of ten sites: the promise for one site is a ratio of
// about 1. Ratios are of the 99th of a hundred answers, of one run.
func BenchmarkFor(b *testing.B) {
	n := max(*benchAssemblies, 1000) / 20 * 20
	s := open(b, filepath.Join(b.TempDir(), "bench.db"))
	crowd(b, s, n)
	sites := spread(b, s, 10)
	ctx := context.Background()
	if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
		b.Fatal(err)
	}
	of, err := s.For(register.Scope{Sites: sites[3:4]}).Sites(ctx)
	if err != nil {
		b.Fatal(err)
	}
	name := of[0].Name
	one, three := s.For(register.Scope{Sites: sites[3:4]}), s.For(register.Scope{Sites: sites[3:6]})
	for _, list := range []struct {
		name string
		ask  func(s *store.Store, site string) error
	}{
		{"due", func(s *store.Store, site string) error {
			_, err := s.Lines(ctx, now, register.LineFilter{Site: site})
			return err
		}},
		{"counts", func(s *store.Store, site string) error { _, err := s.Counts(ctx, now, site); return err }},
		{"machines", func(s *store.Store, site string) error {
			_, _, err := s.MachineLines(ctx, now, register.MachineFilter{Site: site})
			return err
		}},
		{"assemblies", func(s *store.Store, site string) error {
			_, err := s.Assemblies(ctx, now, register.AssemblyFilter{Site: site})
			return err
		}},
		{"positions", func(s *store.Store, site string) error {
			_, err := s.Positions(ctx, now, register.PositionFilter{Site: site})
			return err
		}},
		{"search", func(s *store.Store, _ string) error { _, err := s.Search(ctx, now, "2SN", 0); return err }},
	} {
		b.Run(list.name, func(b *testing.B) {
			var filtered, ofOne, ofThree time.Duration
			for b.Loop() {
				filtered += slowest(b, func() error { return list.ask(s, name) })
				ofOne += slowest(b, func() error { return list.ask(one, "") })
				ofThree += slowest(b, func() error { return list.ask(three, "") })
			}
			b.ReportMetric(float64(ofOne)/float64(filtered), "one-x-of-filter")
			b.ReportMetric(float64(ofThree)/float64(filtered), "three-x-of-filter")
			b.ReportMetric(float64(filtered.Microseconds())/float64(b.N)/1000, "ms-filter")
		})
	}
}

// slowest is the 99th of a hundred answers.
func slowest(b *testing.B, ask func() error) time.Duration {
	b.Helper()
	took := make([]time.Duration, 100)
	for i := range took {
		start := time.Now()
		if err := ask(); err != nil {
			b.Fatal(err)
		}
		took[i] = time.Since(start)
	}
	slices.Sort(took)
	return took[98]
}
