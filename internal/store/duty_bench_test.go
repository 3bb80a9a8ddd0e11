package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// newDuty is a duty of the crowd's kind of machine.
func newDuty(fluidC float64) register.SetDuty {
	return register.SetDuty{Kind: "refuse truck", Service: register.Service{FluidC: &fluidC, Cycles: register.Cycles{{MinBar: 0, MaxBar: 170, Count: 28}}}}
}

// BenchmarkDuty says how long a change of duty takes that bears on 10 000
// positions until it is answered, which is to be less than a second, how that
// stands to a plain UPDATE of the same rows, how long its preview takes, how
// long the job takes for the rest, and how long service conditions set at each
// of the positions take.
func BenchmarkDuty(b *testing.B) {
	const n = 10000
	ctx := context.Background()
	s := open(b, address(b, store.SQLite))
	crowd(b, s, n)
	if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
		b.Fatal(err)
	}
	seats, err := s.PositionIDs(ctx, register.PositionFilter{})
	if err != nil || len(seats) != n {
		b.Fatalf("%d positions, %v", len(seats), err)
	}
	var answer, plain, rest, preview, bulk time.Duration
	for i := 0; b.Loop(); i++ {
		start := time.Now()
		if p, err := s.Preview(ctx, now, me, newDuty(40+float64(i%30))); err != nil || p.Touched != n {
			b.Fatalf("%+v %v", p, err)
		}
		preview += time.Since(start)
		start = time.Now()
		temp := 60 + float64(i%10)
		apply(b, s, register.SetConditionsAt{Positions: seats, From: day("2026-01-01"), Basis: register.Assumed, Service: register.Service{SurroundingsC: &temp}})
		bulk += time.Since(start)
		start = time.Now()
		r := apply(b, s, newDuty(50+float64(i%30)))
		answer += time.Since(start)
		if r.Stale != n {
			b.Fatalf("%d stale, want %d", r.Stale, n)
		}
		start = time.Now()
		if made, err := s.ReestimateStale(ctx, now, nil); err != nil || made != n {
			b.Fatalf("%d made anew, %v", made, err)
		}
		rest += time.Since(start)
		start = time.Now()
		if _, err := s.Raw().Exec("UPDATE estimates SET stale = TRUE"); err != nil {
			b.Fatal(err)
		}
		plain += time.Since(start)
		if _, err := s.Raw().Exec("UPDATE estimates SET stale = FALSE"); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(answer.Seconds()/float64(b.N), "s-answer")
	b.ReportMetric(answer.Seconds()/plain.Seconds(), "x-of-plain")
	b.ReportMetric(rest.Seconds()/float64(b.N), "s-job")
	b.ReportMetric(preview.Seconds()/float64(b.N), "s-preview")
	b.ReportMetric(bulk.Seconds()/float64(b.N), "s-bulk")
}

func TestReestimateStale_TellsHowFarItIs(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		crowd(t, s, 2200)
		if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
			t.Fatal(err)
		}
		if r := apply(t, s, newDuty(71)); r.Stale != 2200 {
			t.Fatalf("%d stale, want 2200", r.Stale)
		}
		id, _, err := s.StartJob(ctx, "estimate stale", quantity.Date{}, now)
		if err != nil {
			t.Fatal(err)
		}
		var told [][2]int
		n, err := s.ReestimateStale(ctx, now, func(done, total int) {
			told = append(told, [2]int{done, total})
			if err := s.ProgressJob(ctx, id, done, total); err != nil {
				t.Error(err)
			}
			c, err := s.Counts(ctx, now, "")
			if err != nil || c.Stale != total-done {
				t.Errorf("%d of %d done, %d stale: %v", done, total, c.Stale, err)
			}
			runs, err := s.JobRuns(ctx, 1)
			if err != nil || len(runs) != 1 || runs[0].Finished != nil || runs[0].Done != done || runs[0].Total != total {
				t.Errorf("the list of runs says %+v, %v", runs, err)
			}
		})
		if err != nil || n != 2200 {
			t.Fatalf("%d made, %v", n, err)
		}
		if want := [][2]int{{0, 2200}, {1000, 2200}, {2000, 2200}, {2200, 2200}}; !slices.Equal(told, want) {
			t.Errorf("told %v, want %v", told, want)
		}
		if _, err := s.ReestimateStale(ctx, now, func(done, total int) { t.Errorf("told %d of %d of nothing", done, total) }); err != nil {
			t.Error(err)
		}
	})
}
