package store_test

import (
	"context"
	"fmt"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// What is too much to estimate at once is left to the job, but a stop never is.
func TestUndo_OfVeryMuchShowsTheStopAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		var cmds []register.Command
		for i := range 510 {
			place, code := fmt.Sprintf("rack %03d", i), fmt.Sprintf("R-%03d", i)
			cmds = append(cmds, register.AddPosition{Machine: "RT-01", Name: place}, hose(code), anyhow(fit(code, place, "2026-01-02")))
		}
		apply(t, s, cmds...)
		apply(t, s, register.Inspect{
			Machine: "RT-01", Position: "rack 007", On: day("2026-05-30"), By: "N. Ott",
			Findings: []register.NewFinding{{Number: 2, Class: life.Stop}},
		})
		apply(t, s, retire("2026-11-24"))
		last := read[[]register.Act](t)(s.Acts(ctx, now, me.PersonID, 1))
		done, err := s.Undo(ctx, now, me, last[0].ID)
		if err != nil || done.Stale != 510 {
			t.Fatalf("%d stale, %v", done.Stale, err)
		}
		stops := countRows(t, s, "SELECT 'stops', 0, '', COUNT(*) FROM estimates WHERE stop_open")
		if len(stops) != 1 {
			t.Fatal(stops)
		}
		for _, n := range stops {
			if n != 1 {
				t.Errorf("%d stops are shown before the job has run, want 1", n)
			}
		}
		tally(t, s, "undoing")
	})
}
