package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

func verify(t *testing.T, s *store.Store) (rows, broken int64) {
	t.Helper()
	rows, broken, err := s.VerifyChain(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return rows, broken
}

func TestChanges_AreWrittenForEveryRow(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fresh := counts(t, s)
		fill(t, s)
		apply(t, s, register.Remove{AssemblyCode: "H-A", On: day("2026-06-02"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
		rows, broken := verify(t, s)
		if broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
		// What comes with the program, the local person and estimates are no changes.
		n := counts(t, s)
		want := 0
		for _, table := range []string{
			"sites", "kinds", "machines", "circuits", "positions", "policies", "assemblies", "placements", "removals", "readings",
			"meter_events", "lay_ups", "conditions", "duties", "inspections", "findings", "kind_positions",
		} {
			want += n[table] - fresh[table]
		}
		var added int
		if err := s.Raw().QueryRow("SELECT COUNT(*) FROM changes WHERE action = 'added'").Scan(&added); err != nil {
			t.Fatal(err)
		}
		if added != want || int64(n["changes"]) != rows {
			t.Errorf("%d rows added, want %d; %d rows verified of %d", added, want, rows, n["changes"])
		}
		var before, after, origin string
		err := s.Raw().QueryRow(`SELECT "before", "after", origin FROM changes
			WHERE entity = 'placements' AND action = 'changed' ORDER BY seq DESC LIMIT 1`).Scan(&before, &after, &origin)
		if err != nil || !strings.Contains(before, `"To":null`) || !strings.Contains(after, `"To":"2026-06-02"`) || origin != "page" {
			t.Errorf("the removal reads %s -> %s by %s, %v", before, after, origin, err)
		}
	})
}

func TestChanges_CannotBeAlteredOrDeleted(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		queries := []string{"UPDATE changes SET reason = 'x' WHERE seq = 2", "DELETE FROM changes WHERE seq = 2", "DELETE FROM changes"}
		if s.Engine() == store.Postgres {
			queries = append(queries, "TRUNCATE changes")
		}
		for _, q := range queries {
			if _, err := s.Raw().Exec(q); err == nil || !strings.Contains(err.Error(), "never") {
				t.Errorf("%s: %v, want a refusal", q, err)
			}
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

// unguarded runs a query with the triggers of the change log out of the way,
// as somebody with the database's password could.
func unguarded(t *testing.T, s *store.Store, query string) {
	t.Helper()
	off := []string{"DROP TRIGGER changes_are_never_altered", "DROP TRIGGER changes_are_never_deleted"}
	if s.Engine() == store.Postgres {
		off = []string{"ALTER TABLE changes DISABLE TRIGGER ALL"}
	}
	for _, q := range append(off, query) {
		if _, err := s.Raw().Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

func TestVerifyChain_NamesTheFirstBrokenRow(t *testing.T) {
	for _, row := range []struct {
		what, query string
		broken      func(last int64) int64
	}{
		{"an altered text", "UPDATE changes SET reason = 'because' WHERE seq = 5", func(int64) int64 { return 5 }},
		{"an altered time", "UPDATE changes SET at = '2020-01-01 00:00:00+00:00' WHERE seq = 7", func(int64) int64 { return 7 }},
		{"a row taken out", "DELETE FROM changes WHERE seq = 6", func(int64) int64 { return 6 }},
		{"the first row taken out", "DELETE FROM changes WHERE seq = 1", func(int64) int64 { return 1 }},
		{"the last row taken out", "DELETE FROM changes WHERE seq = (SELECT MAX(seq) FROM changes)", func(last int64) int64 { return last }},
		{"all rows taken out", "DELETE FROM changes", func(int64) int64 { return 1 }},
		{"another hash", "UPDATE changes SET hash = 'abc' WHERE seq = 4", func(int64) int64 { return 4 }},
	} {
		t.Run(row.what, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				fill(t, s)
				last, _ := verify(t, s)
				unguarded(t, s, row.query)
				if _, broken := verify(t, s); broken != row.broken(last) {
					t.Errorf("broken at %d, want %d", broken, row.broken(last))
				}
			})
		})
	}
}

func TestChanges_ChainHoldsOverMoreThanFitsInMemory(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		var cmds []register.Command
		for i := range 2500 {
			cmds = append(cmds, hose(fmt.Sprintf("H-%d", i)))
		}
		apply(t, s, cmds...)
		apply(t, s, hose("H-LAST"))
		if rows, broken := verify(t, s); broken != 0 || rows < 2500 {
			t.Errorf("%d rows, broken at %d", rows, broken)
		}
	})
}

func TestChanges_TwoWritersDoNotForkTheChain(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, register.AddMachine{Site: "Depot", Code: "RT-02"})
		const writers, each = 4, 25
		var wg sync.WaitGroup
		errs := make([]error, writers)
		for w := range writers {
			wg.Go(func() {
				for i := range each {
					// Two write about one machine, two about the other, and each
					// adds something that another may add too.
					code := fmt.Sprintf("RT-0%d", w%2+1)
					name := fmt.Sprintf("p %d %d", w, i)
					_, err := s.Apply(context.Background(), now, me,
						register.AddPosition{Machine: code, Name: name}, hose(fmt.Sprintf("W-%d-%d", w, i)),
						register.Fit{AssemblyCode: fmt.Sprintf("W-%d-%d", w, i), Machine: code, Position: name, On: day("2024-07-02")})
					errs[w] = errors.Join(errs[w], err)
				}
			})
		}
		wg.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Fatal(err)
		}
		n := counts(t, s)
		if n["placements"] != writers*each {
			t.Errorf("%d placements, want %d", n["placements"], writers*each)
		}
		if rows, broken := verify(t, s); broken != 0 || int(rows) != n["changes"] {
			t.Errorf("%d of %d rows, broken at %d", rows, n["changes"], broken)
		}
		everyInstalledHasAnEstimate(t, s)
	})
}

func TestChanges_TwoWritersOfOneCodeOneWins(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		var wg sync.WaitGroup
		errs := make([]error, 8)
		for w := range errs {
			wg.Go(func() {
				_, errs[w] = s.Apply(context.Background(), now, me, hose("SAME"), fit("SAME", "lift left", "2024-07-02"))
			})
		}
		wg.Wait()
		won := 0
		for _, err := range errs {
			switch {
			case err == nil:
				won++
			case !errors.Is(err, &register.Error{Code: register.Exists}) && !errors.Is(err, &register.Error{Code: register.Conflict}):
				t.Errorf("%v, want a refusal people can read", err)
			}
		}
		if won != 1 {
			t.Errorf("%d writers won, want 1", won)
		}
	})
}

func TestTry_LeavesNothingOfWhatIsRefused(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		before := counts(t, s)
		refusals, err := s.Try(context.Background(), now, me,
			[]register.Command{hose("T-1"), fit("T-1", "lift left", "2024-07-02")},
			[]register.Command{register.AddMachine{Site: "Depot", Kind: "snow groomer of the depot", Code: "SW-1"}, hose("T-2"), fit("T-2", "lift left", "2024-07-03")},
			[]register.Command{register.AddMachine{Site: "Depot", Kind: "snow groomer of the depot", Code: "SW-1"}, hose("T-2"), fit("T-2", "lift right", "2024-07-03")},
		)
		if err != nil || refusals[0] != nil || !errors.Is(refusals[1], &register.Error{Code: register.Refused}) || refusals[2] != nil {
			t.Fatalf("%v, %v: want the second list refused alone", refusals, err)
		}
		after := counts(t, s)
		for table, more := range map[string]int{"machines": 1, "kinds": 1, "assemblies": 2, "placements": 2, "changes": 6, "assembly_codes": 2} {
			if after[table] != before[table]+more {
				t.Errorf("%s: %d rows, want %d more than %d", table, after[table], more, before[table])
			}
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
		everyInstalledHasAnEstimate(t, s)
	})
}

func TestApply_AnErrorInTheMiddleLeavesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		before := counts(t, s)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if _, err := s.Apply(ctx, now, me, hose("X-1")); !errors.Is(err, context.Canceled) {
			t.Errorf("%v, want the context's error", err)
		}
		// A table out of its place makes the database itself fail, after rows
		// of other tables are written.
		if _, err := s.Raw().Exec("ALTER TABLE readings RENAME TO elsewhere"); err != nil {
			t.Fatal(err)
		}
		_, err := s.Apply(context.Background(), now, me, hose("X-2"), register.AddPosition{Machine: "RT-01", Name: "new"},
			register.Fit{AssemblyCode: "X-2", Machine: "RT-01", Position: "new", On: day("2025-01-01"), Hours: f64(4000)})
		var refusal *register.Error
		if err == nil || errors.As(err, &refusal) {
			t.Errorf("%v, want an error for the operator", err)
		}
		if _, err := s.Raw().Exec("ALTER TABLE elsewhere RENAME TO readings"); err != nil {
			t.Fatal(err)
		}
		for table, n := range counts(t, s) {
			if n != before[table] {
				t.Errorf("%s has %d rows, had %d", table, n, before[table])
			}
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}
