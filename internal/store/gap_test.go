package store_test

import (
	"context"
	"testing"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

func gapGroups(t testing.TB, s *store.Store, f register.GapFilter) []register.GapGroup {
	t.Helper()
	groups, _, err := s.Gaps(context.Background(), f, 100)
	if err != nil {
		t.Fatal(err)
	}
	return groups
}

// bare is a hose of which only the designation is known.
func bare(code string) register.Command {
	return register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: code, Designation: "EN 853 2SN", DN: 12, Dash: 8}}
}

// plainMachine adds a machine of which nothing is known but its positions.
func plainMachine(t testing.TB, s *store.Store) {
	t.Helper()
	apply(t, s, register.AddSite{Name: "Depot", Zone: "UTC"}, register.AddMachine{Site: "Depot", Code: "X-1"},
		register.AddPosition{Machine: "X-1", Circuit: "lift", Name: "left"}, register.AddPosition{Machine: "X-1", Circuit: "lift", Name: "right"})
}

func fitX(code, position string) register.Command {
	return register.Fit{AssemblyCode: code, Machine: "X-1", Position: position, On: day("2025-01-10")}
}

func TestGaps_AreListedByWhatOneEntryFills(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		plainMachine(t, s)
		apply(t, s, bare("H-1"), fitX("H-1", "left"), bare("H-2"), fitX("H-2", "right"))
		all := gapGroups(t, s, register.GapFilter{})
		of := map[register.GapKind][]register.GapGroup{}
		for i, g := range all {
			of[g.What] = append(of[g.What], g)
			if i > 0 && g.Sum > all[i-1].Sum {
				t.Errorf("%+v stands after %+v", g, all[i-1])
			}
		}
		if g := of[register.GapRating]; len(g) != 2 || g[0].Hoses != 1 || g[0].Assembly == "" || g[0].Position == "" {
			t.Errorf("ratings are filled in hose by hose: %+v", g)
		}
		if g := of[register.GapHours]; len(g) != 1 || g[0].Hoses != 2 || g[0].Machine != "X-1" || g[0].Assembly != "" {
			t.Errorf("one reading fills in the hours of a machine: %+v", g)
		}
		if g := of[register.GapCycles]; len(g) != 1 || g[0].Hoses != 2 || g[0].Circuit != "lift" {
			t.Errorf("one entry says how a circuit is worked: %+v", g)
		}
		if got := gapGroups(t, s, register.GapFilter{What: register.GapHours, Site: "depot"}); len(got) != 1 {
			t.Errorf("by what and site: %+v", got)
		}
		if got := gapGroups(t, s, register.GapFilter{Site: "elsewhere"}); len(got) != 0 {
			t.Errorf("of another site: %+v", got)
		}
	})
}

func TestGaps_CloseWhenTheValueIsKnownOrTheHoseComesOff(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		plainMachine(t, s)
		apply(t, s, bare("H-1"), fitX("H-1", "left"))
		a := sheet(t, s, "H-1").Assembly
		a.Assembled = quantity.Day(day("2024-12-01"))
		apply(t, s, register.ChangeAssembly{Assembly: a})
		for _, g := range gapGroups(t, s, register.GapFilter{}) {
			if g.What == register.GapAssembled {
				t.Errorf("the assembly date is known: %+v", g)
			}
		}
		apply(t, s, register.Remove{AssemblyCode: "H-1", On: day("2026-01-01"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
		if got := gapGroups(t, s, register.GapFilter{}); len(got) != 0 {
			t.Errorf("nothing sits there: %+v", got)
		}
	})
}

func TestKnown_CountsAndKeepsTheShareOfEachDay(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		plainMachine(t, s)
		apply(t, s, bare("H-1"), fitX("H-1", "left"))
		shares, err := s.Known(ctx, now, "Depot")
		if err != nil || shares[0].What != "" || shares[0].Of != 1 || shares[0].Lacking != 1 {
			t.Fatalf("%+v %v", shares, err)
		}
		for range 2 { // a second look on the same day takes the first one's place
			if err := s.NoteKnown(ctx, now); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.NoteKnown(ctx, now.AddDate(0, 0, 1)); err != nil {
			t.Fatal(err)
		}
		days, err := s.KnownDays(ctx, "")
		if err != nil || len(days) != 2 || days[0].Day.String() != "2026-11-25" || days[0].Lacking != 1 || days[1].Of != 1 {
			t.Errorf("%+v %v", days, err)
		}
	})
}
