package store_test

import (
	"context"
	"testing"
	"time"

	"hoseward/internal/store"
)

func TestStartJob_ARunThatEndedWellIsNotRepeated(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		start := func(forDay string) (int64, bool) {
			t.Helper()
			id, already, err := s.StartJob(ctx, "estimate", day(forDay), now)
			if err != nil {
				t.Fatal(err)
			}
			return id, already
		}
		finish := func(id int64, done int, problem string) {
			t.Helper()
			if err := s.FinishJob(ctx, id, now.Add(time.Minute), done, problem); err != nil {
				t.Fatal(err)
			}
		}
		first, already := start("2026-11-25")
		if already {
			t.Error("the first run is said to have run")
		}
		if _, already := start("2026-11-25"); already {
			t.Error("a run that never ended counts as run")
		}
		finish(first, 0, "disk full")
		second, already := start("2026-11-25")
		if already {
			t.Error("a run that failed counts as run")
		}
		finish(second, 42, "")
		if id, already := start("2026-11-25"); !already || id != second {
			t.Errorf("run %d, %v: want run %d to count", id, already, second)
		}
		if _, already := start("2026-11-26"); already {
			t.Error("the run of one day counts for another")
		}
		runs, err := s.JobRuns(ctx, 10)
		if err != nil || len(runs) != 4 {
			t.Fatalf("%d runs, %v; want 4", len(runs), err)
		}
		for _, r := range runs {
			if r.ID == second && (r.Done != 42 || r.Finished == nil || !r.Finished.Equal(now.Add(time.Minute)) || !r.Started.Equal(now) || r.ForDay != day("2026-11-25")) {
				t.Errorf("run %+v", r)
			}
		}
	})
}
