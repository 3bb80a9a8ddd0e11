package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

func TestUndoImport_TakesAllBack(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		mustImport(t, s, machinesSheet, store.ImportOptions{})
		mustImport(t, s, "Machine;Position;Assembly;Type;DN;Made;Fitted\nBL-1;Bucket;OLD;EN 853 2SN;12;1Q17;2018-01-01\n", store.ImportOptions{})
		before := tables(t, s)
		estimates := len(storedEstimates(t, s))
		r := mustImport(t, s, strings.Replace(fullHoses, "SW-2,lift,A1", "BL-1,lift,Bucket", 1), store.ImportOptions{Different: register.DifferentSwap})
		if r.ImportID == 0 || tables(t, s) == before {
			t.Fatalf("nothing was imported:\n%s", lines(r))
		}
		if _, err := s.UndoImport(ctx, now, me, r.ImportID); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.Split(before, "\n"), strings.Split(tables(t, s), "\n")); diff != "" {
			t.Errorf("undoing left a difference (-before +after):\n%s", diff)
		}
		if n := len(storedEstimates(t, s)); n != estimates {
			t.Errorf("%d estimates after undoing, %d before", n, estimates)
		}
		changesLogged(t, s)
		if _, err := s.UndoImport(ctx, now, me, r.ImportID); !errors.Is(err, &register.Error{Code: register.Refused}) {
			t.Errorf("undone twice: %v", err)
		}
		again := mustImport(t, s, strings.Replace(fullHoses, "SW-2,lift,A1", "BL-1,lift,Bucket", 1), store.ImportOptions{Different: register.DifferentSwap})
		if counted(again) != counted(r) {
			t.Errorf("after undoing the file is taken otherwise:\n%s\n%s", lines(r), lines(again))
		}
	})
}

func TestUndoImport_RefusesWhatWasTouchedSince(t *testing.T) {
	for _, tc := range []struct {
		name  string
		touch []register.Command
		names string
	}{
		{"a reading came to an imported machine", []register.Command{register.AddReading{Machine: "A-1", On: day("2026-01-01"), Hours: 10}}, "readings"},
		{"an imported hose was inspected", []register.Command{register.Inspect{Machine: "A-1", Position: "P1", On: day("2026-01-01")}}, "inspection"},
		{"an imported hose was removed", []register.Command{register.Remove{AssemblyCode: "X", On: day("2026-01-01"), Cause: register.CausePlanned, FoundBy: register.FoundByInspection}}, "2024-01-01"},
		{"a position came to an imported machine", []register.Command{register.AddPosition{Machine: "A-1", Name: "P2"}}, "positions"},
		{"conditions were said of an imported position", []register.Command{register.SetConditions{Machine: "A-1", Position: "P1", From: day("2026-01-01"), Basis: register.Assumed}}, "service conditions"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := open(t, address(t, store.SQLite))
			r := mustImport(t, s, "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P1;X;EN 853 2SN;12;3Q23;2024-01-01\n", store.ImportOptions{})
			apply(t, s, tc.touch...)
			before := tables(t, s)
			_, err := s.UndoImport(context.Background(), now, me, r.ImportID)
			var no *register.Error
			if !errors.As(err, &no) || no.Code != register.Refused || !strings.Contains(no.Sentence, tc.names) {
				t.Errorf("undoing is not refused naming %q: %v", tc.names, err)
			}
			if tables(t, s) != before {
				t.Error("a refused undoing changed something")
			}
		})
	}
}

// Without the day on which the meter was replaced the later readings would be
// a falling meter.
func TestUndoImport_RefusesWhatLaterReadingsRestOn(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	ctx := context.Background()
	mustImport(t, s, "Machine;Site\nA-1;x\n", store.ImportOptions{})
	apply(t, s, register.AddReading{Machine: "A-1", On: day("2026-01-01"), Hours: 900})
	r := mustImport(t, s, "Machine;Date;Hours;New meter starts at\nA-1;2026-02-01;1000;0\n", store.ImportOptions{})
	if _, err := s.UndoImport(ctx, now, me, r.ImportID); err != nil {
		t.Fatalf("nothing rests on it yet: %v", err)
	}
	r = mustImport(t, s, "Machine;Date;Hours;New meter starts at\nA-1;2026-02-01;1000;0\n", store.ImportOptions{})
	apply(t, s, register.AddReading{Machine: "A-1", On: day("2026-03-01"), Hours: 50})
	before := tables(t, s)
	_, err := s.UndoImport(ctx, now, me, r.ImportID)
	var no *register.Error
	if !errors.As(err, &no) || no.Code != register.Refused || !strings.Contains(no.Sentence, "A-1") {
		t.Errorf("undoing is not refused naming the machine: %v", err)
	}
	if tables(t, s) != before {
		t.Error("a refused undoing changed something")
	}
}

func TestUndoImport_GivesBackWhatACorrectionMoved(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		wronglyKnown(t, s)
		before := tables(t, s)
		r := mustImport(t, s, rightOne, store.ImportOptions{Different: register.DifferentCorrect})
		if _, err := s.UndoImport(context.Background(), now, me, r.ImportID); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.Split(before, "\n"), strings.Split(tables(t, s), "\n")); diff != "" {
			t.Errorf("undoing left a difference (-before +after):\n%s", diff)
		}
		if l := sheet(t, s, "X").Line; l == nil || !l.Estimate.StopOpen {
			t.Error("the stop is gone")
		}
		everyInstalledHasAnEstimate(t, s)
		agree(t, s)
	})
}
