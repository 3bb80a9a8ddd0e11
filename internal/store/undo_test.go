package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// acts are what may still be undone, newest first.
func acts(t *testing.T, s *store.Store) []register.Act {
	t.Helper()
	list, err := s.Acts(context.Background(), now, register.LocalPersonID, 0)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// wantRefused wants an error a person can act on, with certain words in it.
func wantRefused(t *testing.T, err error, code register.Code, words string) {
	t.Helper()
	var no *register.Error
	if !errors.As(err, &no) || no.Code != code || !strings.Contains(no.Sentence, words) {
		t.Errorf("want %s with %q, got %v", code, words, err)
	}
}

func swap() []register.Command {
	return []register.Command{
		register.Remove{AssemblyCode: "H-A", On: day("2026-11-20"), Hours: f64(900), Cause: register.CauseOutside, FoundBy: register.FoundByEvent, Scrapped: true},
		hose("H-B"),
		register.Fit{Machine: "RT-01", Position: "lift left", On: day("2026-11-20"), Hours: f64(900), ReleasedBy: "B. Wise", Reason: "tested"},
	}
}

func TestUndo_GivesBackASwapWhole(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"), fit("H-A", "lift left", "2024-07-01"))
		apply(t, s, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-01"), Findings: []register.NewFinding{{Class: "stop"}}})
		before, kept := tables(t, s), storedEstimates(t, s)
		apply(t, s, swap()...)
		apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-11-24"), Hours: 950}) // nothing is built on it
		list := acts(t, s)
		if list[1].Title != "Swap at RT-01, lift left" || list[0].Title != "Reading at RT-01" {
			t.Fatalf("acts: %+v", list)
		}
		if _, err := s.Undo(ctx, now, me, list[1].ID); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Undo(ctx, now, me, list[0].ID); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(strings.Split(before, "\n"), strings.Split(tables(t, s), "\n")); d != "" {
			t.Errorf("undoing left a difference (-before +after):\n%s", d)
		}
		if d := cmp.Diff(kept, storedEstimates(t, s), sameDates); d != "" {
			t.Errorf("undoing left other estimates (-before +after):\n%s", d)
		}
		for _, a := range acts(t, s) {
			if strings.HasPrefix(a.Title, "Undo") || a.ID == list[1].ID {
				t.Errorf("%+v can still be undone", a)
			}
		}
		_, err := s.Undo(ctx, now, me, list[1].ID)
		wantRefused(t, err, register.Refused, "undone already")
		var undoing int64
		if err := s.Raw().QueryRow("SELECT undone_by FROM acts ORDER BY id DESC LIMIT 1").Scan(&undoing); err == nil {
			t.Errorf("the last act, an undoing, says it was undone by %d", undoing)
		}
		_, err = s.Undo(ctx, now, me, list[0].ID+2)
		wantRefused(t, err, register.Refused, "not undone")
		apply(t, s, swap()...) // as if it had never been
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestUndo_IsForThoseWhoDidItAndForADay(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	ctx := context.Background()
	apply(t, s, depot()...)
	apply(t, s, hose("H-A"))
	id := acts(t, s)[0].ID
	someone := register.Actor{PersonID: 2, Origin: register.FromPage}
	_, err := s.Undo(ctx, now, someone, id)
	wantRefused(t, err, register.Refused, "Only who did this")
	_, err = s.Undo(ctx, now.Add(register.UndoWithin+time.Second), me, id)
	wantRefused(t, err, register.Refused, "24 hours")
	_, err = s.Undo(ctx, now, me, id+100)
	wantRefused(t, err, register.NotFound, "nothing")
	if list, err := s.Acts(ctx, now.Add(register.UndoWithin+time.Second), register.LocalPersonID, 0); err != nil || len(list) != 0 {
		t.Errorf("a day later: %+v, %v", list, err)
	}
	if _, err := s.Apply(ctx, now, register.Actor{PersonID: 1, Origin: register.FromDemo}, hose("H-B")); err != nil {
		t.Fatal(err)
	}
	if n := acts(t, s)[0].ID; n != id {
		t.Errorf("act %d of the demo is listed", n)
	}
	if _, err := s.Undo(ctx, now.Add(register.UndoWithin), me, id); err != nil {
		t.Errorf("within the day: %v", err)
	}
}

func TestUndo_RefusesWhatWasBuiltUpon(t *testing.T) {
	for _, tc := range []struct {
		name  string
		touch []register.Command
		words string
	}{
		{"the new hose was inspected", []register.Command{register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-21")}}, "inspection of 2026-11-21"},
		{"the new hose came off", []register.Command{register.Remove{AssemblyCode: "H-B", On: day("2026-11-21"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}}, "was changed since"},
		{"its meter event is what a reading rests on", []register.Command{register.AddReading{Machine: "RT-01", On: day("2026-11-24"), Hours: 7}}, "falls"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := open(t, address(t, store.SQLite))
			apply(t, s, depot()...)
			apply(t, s, hose("H-A"), fit("H-A", "lift left", "2024-07-01"))
			apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 890})
			apply(t, s, append(swap(), register.AddMeterEvent{Machine: "RT-01", On: day("2026-11-23"), OldEnd: 910, NewStart: 0})...)
			id := acts(t, s)[0].ID
			apply(t, s, tc.touch...)
			before := tables(t, s)
			_, err := s.Undo(context.Background(), now, me, id)
			wantRefused(t, err, register.Refused, tc.words)
			if tables(t, s) != before {
				t.Error("a refused undoing changed something")
			}
		})
	}
}

// What a mistake took back is there again under its own number, with its codes;
// unless another assembly bears one of them by now.
func TestUndo_PutsBackWhatWasTakenBack(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"))
		a := sheet(t, s, "H-A").Assembly
		a.Code = "H-A2"
		apply(t, s, register.ChangeAssembly{Assembly: a})
		_, err := s.Apply(ctx, now, me, hose("h-a"))
		wantRefused(t, err, register.Exists, "never used again")
		take := func() int64 {
			row := sheet(t, s, "H-A2").Assembly
			apply(t, s, register.TakeBack{What: register.ThingAssembly, ID: row.ID, Version: row.Version, Reason: "twice"})
			return acts(t, s)[0].ID
		}
		if _, err := s.Undo(ctx, now, me, take()); err != nil {
			t.Fatal(err)
		}
		if back := sheet(t, s, "H-A2").Assembly; back.ID != a.ID || back.Version != a.Version+2 {
			t.Errorf("it is back as number %d, version %d", back.ID, back.Version)
		}
		_, err = s.Apply(ctx, now, me, hose("H-A"))
		wantRefused(t, err, register.Exists, "never used again")
		id := take()
		apply(t, s, hose("H-A"))
		_, err = s.Undo(ctx, now, me, id)
		wantRefused(t, err, register.Refused, "H-A is another assembly's now")
	})
}

func TestActs_AreOneForATransaction(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Assumed, Service: register.Service{FluidC: f64(50)}})
		n := counts(t, s)["acts"]
		apply(t, s, register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Assumed, Service: register.Service{FluidC: f64(50)}}) // says nothing new
		if _, err := s.Apply(context.Background(), now, me, hose("H-A"), hose("H-A")); err == nil {
			t.Fatal("one code twice")
		}
		if now := counts(t, s)["acts"]; now != n {
			t.Errorf("%d acts, want %d: nothing was changed", now, n)
		}
		var without, several int
		if err := s.Raw().QueryRow("SELECT COUNT(*) - COUNT(act_id), COUNT(DISTINCT act_id) FROM changes").Scan(&without, &several); err != nil {
			t.Fatal(err)
		}
		if without != 0 || several != n {
			t.Errorf("%d changes without an act, %d acts of %d have changes", without, several, n)
		}
	})
}

// An import is undone as a whole, from either side.
func TestUndo_OfAnImportIsThatOfTheImport(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	ctx := context.Background()
	before := tables(t, s)
	r := mustImport(t, s, machinesSheet, store.ImportOptions{FileName: "yard.csv"})
	a := acts(t, s)[0]
	if !strings.HasPrefix(a.Title, "Import of ") {
		t.Errorf("the act of an import is called %q", a.Title)
	}
	if _, err := s.Undo(ctx, now, me, a.ID); err != nil {
		t.Fatal(err)
	}
	if tables(t, s) != before {
		t.Error("undoing left something")
	}
	_, err := s.UndoImport(ctx, now, me, r.ImportID)
	wantRefused(t, err, register.Refused, "undone already")
	r = mustImport(t, s, machinesSheet, store.ImportOptions{FileName: "yard.csv"})
	if _, err := s.UndoImport(ctx, now, me, r.ImportID); err != nil {
		t.Fatal(err)
	}
	for _, a := range acts(t, s) {
		if a.Origin == register.FromImport {
			t.Errorf("an import that was undone can be undone: %+v", a)
		}
	}
}
