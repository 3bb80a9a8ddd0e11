package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// talliesOf are the tallies, added up.
func talliesOf(t testing.TB, s *store.Store) map[string]int {
	t.Helper()
	return countRows(t, s, "SELECT what, site_id, day, SUM(n) FROM tallies GROUP BY what, site_id, day HAVING SUM(n) <> 0")
}

// plainTallies counts the same in the tables themselves, the machine of a hose
// found through its placement.
func plainTallies(t testing.TB, s *store.Store) map[string]int {
	t.Helper()
	none := "'0001-01-01'"
	if s.Engine() == store.Postgres {
		none = "DATE '0001-01-01'"
	}
	all := map[string]int{}
	of := func(what, day, from string) {
		for k, n := range countRows(t, s, "SELECT '"+what+"', site_id, "+day+", COUNT(*) FROM "+from+" GROUP BY site_id, "+day) {
			all[k] = n
		}
		if day == none {
			return
		}
		for k, n := range countRows(t, s, "SELECT '"+what+"', 0, "+day+", COUNT(*) FROM "+from+" GROUP BY "+day) {
			all[k] = n
		}
	}
	fitted := func(cond string) string {
		return `(SELECT m.site_id, e.act_by, e.inspection_due FROM estimates e
			JOIN placements p ON p.assembly_id = e.assembly_id AND p.to_on IS NULL
			JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id WHERE ` + cond + ") fitted"
	}
	of("hoses", none, fitted("1 = 1"))
	of("stop", none, fitted("e.stop_open"))
	of("incomplete", none, fitted("NOT e.complete"))
	of("stale", none, fitted("e.stale"))
	of("over rating", none, fitted(`(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%')`))
	of("act by", "act_by", fitted("NOT e.stop_open AND e.act_by IS NOT NULL"))
	of("inspection", "inspection_due", fitted("e.inspection_due IS NOT NULL"))
	of("machines", none, "machines WHERE gone_on IS NULL")
	of("positions", none, "(SELECT m.site_id FROM positions q JOIN machines m ON m.id = q.machine_id WHERE q.gone_on IS NULL AND m.gone_on IS NULL) there")
	of("in store", none, "assemblies WHERE scrapped_on IS NULL AND id NOT IN (SELECT assembly_id FROM placements WHERE to_on IS NULL)")
	return all
}

func countRows(t testing.TB, s *store.Store, query string) map[string]int {
	t.Helper()
	rows, err := s.Raw().Query(query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	out := map[string]int{}
	for rows.Next() {
		var what, day string
		var site, n int
		if err := rows.Scan(&what, &site, &day, &n); err != nil {
			t.Fatal(err)
		}
		out[fmt.Sprintf("%s, site %d, %.10s", what, site, day)] = n
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// tally wants the tallies to be what the tables have, and every estimate to
// know where its assembly sits.
func tally(t testing.TB, s *store.Store, after string) {
	t.Helper()
	if d := gocmp.Diff(plainTallies(t, s), talliesOf(t, s)); d != "" {
		t.Fatalf("after %s: plain counts (-) and tallies (+):\n%s", after, d)
	}
	var astray int
	err := s.Raw().QueryRow(`SELECT COUNT(*) FROM estimates e JOIN placements p ON p.assembly_id = e.assembly_id AND p.to_on IS NULL
		JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
		WHERE e.machine_id <> m.id OR e.site_id <> m.site_id OR e.machine_code <> m.code OR e.walk_order <> q.walk_order`).Scan(&astray)
	if err != nil || astray > 0 {
		t.Fatalf("after %s: %d estimates do not know where their assembly sits: %v", after, astray, err)
	}
}

// blows are changes of single tables, each of random rows. They are harsher
// than any command: what triggers count must not depend on who writes.
func blows(engine string) []string {
	day := "'2026-11-%02d'"
	if engine == store.Postgres {
		day = "DATE '2026-11-%02d'"
	}
	return []string{
		"UPDATE machines SET site_id = 1 + id %% 3 WHERE id %% 5 = %[1]d %% 5",
		"UPDATE machines SET site_id = 1 + (id + 1) %% 3, code = 'R-' || id || '-%[2]d' WHERE id %% 7 = %[1]d %% 7",
		"UPDATE machines SET gone_on = CASE WHEN gone_on IS NULL THEN " + fmt.Sprintf(day, 1) + " END WHERE id %% 4 = %[1]d %% 4",
		"UPDATE positions SET gone_on = CASE WHEN gone_on IS NULL THEN " + fmt.Sprintf(day, 1) + " END WHERE id %% 9 = %[1]d %% 9",
		"UPDATE positions SET walk_order = walk_order + 1 WHERE id %% 3 = %[1]d %% 3",
		"UPDATE positions SET note = 'looked at' WHERE id %% 3 = %[1]d %% 3",
		"UPDATE assemblies SET site_id = 1 + (id + %[2]d) %% 3 WHERE id %% 4 = %[1]d %% 4",
		"UPDATE assemblies SET scrapped_on = CASE WHEN scrapped_on IS NULL THEN " + fmt.Sprintf(day, 2) + " END WHERE id %% 6 = %[1]d %% 6",
		"UPDATE estimates SET stale = NOT stale WHERE assembly_id %% 3 = %[1]d %% 3",
		"UPDATE estimates SET stale = stale, complete = NOT complete, stop_open = assembly_id %% 11 = %[2]d %% 11 WHERE assembly_id %% 4 = %[1]d %% 4",
		"UPDATE estimates SET act_by = " + fmt.Sprintf(day, 20) + ", inspection_due = NULL WHERE assembly_id %% 4 = %[1]d %% 4",
		"UPDATE estimates SET act_by = NULL, inspection_due = " + fmt.Sprintf(day, 9) + " WHERE assembly_id %% 5 = %[1]d %% 5",
		`UPDATE estimates SET warnings = CASE WHEN warnings IS NULL THEN '["over-rating"]' WHEN warnings LIKE '%%rating%%' THEN '["over-temperature"]' END WHERE assembly_id %% 5 = %[1]d %% 5`,
		"DELETE FROM estimates WHERE assembly_id %% 13 = %[1]d %% 13; UPDATE placements SET to_on = " + fmt.Sprintf(day, 3) +
			" WHERE to_on IS NULL AND assembly_id %% 13 = %[1]d %% 13",
		"DELETE FROM inspections WHERE assembly_id %% 17 = %[1]d %% 17; DELETE FROM estimates WHERE assembly_id %% 17 = %[1]d %% 17; DELETE FROM placements WHERE assembly_id %% 17 = %[1]d %% 17",
		"INSERT INTO assemblies (site_id, code) VALUES (1 + %[1]d %% 3, 'N-%[2]d')",
		"DELETE FROM assemblies WHERE code LIKE 'N-%%' AND id %% 2 = %[1]d %% 2",
		"INSERT INTO positions (machine_id, name) SELECT id, 'N-%[2]d' FROM machines WHERE id %% 3 = %[1]d %% 3",
		"DELETE FROM positions WHERE name LIKE 'N-%%' AND id %% 2 = %[1]d %% 2 AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.position_id = positions.id)",
		"INSERT INTO machines (site_id, code) VALUES (1 + %[1]d %% 3, 'N-%[2]d')",
		"UPDATE placements SET to_on = NULL WHERE to_on IS NOT NULL AND assembly_id %% 2 = %[1]d %% 2 AND position_id = assembly_id" +
			" AND NOT EXISTS (SELECT 1 FROM placements o WHERE o.to_on IS NULL AND (o.position_id = placements.position_id OR o.assembly_id = placements.assembly_id));" +
			` INSERT INTO estimates (assembly_id, stale, machine_id, site_id, machine_code, walk_order)
			SELECT p.assembly_id, TRUE, m.id, m.site_id, m.code, q.walk_order
			FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
			WHERE p.to_on IS NULL AND NOT EXISTS (SELECT 1 FROM estimates e WHERE e.assembly_id = p.assembly_id)`,
		"UPDATE placements SET position_id = (SELECT MIN(q.id) FROM positions q WHERE NOT EXISTS (SELECT 1 FROM placements o WHERE o.position_id = q.id))" +
			" WHERE to_on IS NULL AND assembly_id = (SELECT MIN(assembly_id) FROM placements WHERE to_on IS NULL AND assembly_id > %[1]d)" +
			" AND EXISTS (SELECT 1 FROM positions q WHERE NOT EXISTS (SELECT 1 FROM placements o WHERE o.position_id = q.id))",
	}
}

func TestTallies_AreWhatAPlainCountOfTheTablesGives(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		crowd(t, s, 200)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "Pacific/Auckland"}, register.AddSite{Name: "Mill", Zone: "America/Denver"})
		scatter(t, s)
		tally(t, s, "filling")
		r := rand.New(rand.NewPCG(7, 8))
		list := blows(s.Engine())
		struck := map[int]bool{}
		for i := range 300 {
			k := r.IntN(len(list))
			q := fmt.Sprintf(list[k], r.IntN(200), i)
			res, err := s.Raw().Exec(q)
			if err != nil {
				t.Fatalf("%s: %v", q, err)
			}
			if n, err := res.RowsAffected(); err == nil && n > 0 {
				struck[k] = true
			}
			tally(t, s, q)
			switch i % 50 {
			case 20:
				if err := s.GatherTallies(ctx); err != nil {
					t.Fatal(err)
				}
				tally(t, s, "putting tallies together")
			case 40:
				if err := s.Recount(ctx); err != nil {
					t.Fatal(err)
				}
				tally(t, s, "counting anew")
			}
		}
		if len(struck) < len(list)-1 {
			t.Errorf("only %d of %d kinds of changes changed anything", len(struck), len(list))
		}
	})
}

// TestTallies_AgreeWhenManyWriteAtOnce has several people at work on the same
// machines and assemblies.
func TestTallies_AgreeWhenManyWriteAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "Europe/Berlin"}, register.AddSite{Name: "Mill", Zone: "Europe/Berlin"})
		for i := range 6 {
			apply(t, s, hose(fmt.Sprintf("H-%d", i)))
		}
		var all sync.WaitGroup
		for w := range 6 {
			all.Go(func() {
				r := rand.New(rand.NewPCG(uint64(w), 3))
				for i := range 25 {
					cmds := []register.Command{register.AddPosition{Machine: "RT-01", Name: fmt.Sprintf("P-%d-%d", w, i)}}
					code := fmt.Sprintf("H-%d", r.IntN(6))
					switch r.IntN(3) {
					case 0:
						cmds = []register.Command{fit(code, []string{"lift left", "lift right"}[r.IntN(2)], "2025-02-03")}
					case 1:
						cmds = []register.Command{register.Remove{AssemblyCode: code, On: day("2025-02-03"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}}
					}
					_, err := s.Apply(context.Background(), now, me, cmds...)
					_ = err // refusals are part of it: the counts must agree all the same
				}
			})
			all.Go(func() {
				for i := range 25 {
					_, err := s.Raw().Exec(fmt.Sprintf("UPDATE machines SET site_id = %d", 1+(w+i)%3))
					_ = err
					_, err = s.Raw().Exec(fmt.Sprintf("UPDATE assemblies SET site_id = %d WHERE code = 'H-%d'", 1+(w+i)%3, i%6))
					_ = err
				}
			})
		}
		all.Wait()
		tally(t, s, "many writing at once")
		if n := len(talliesOf(t, s)); n < 4 {
			t.Errorf("%d tallies: little was done", n)
		}
	})
}

func TestMigrate_FillsTheTalliesOfAFilledRegister(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 100)
		scatter(t, s)
		if _, err := s.Raw().Exec("DELETE FROM tallies"); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if err := s.Migrate(context.Background()); err != nil {
				t.Fatal(err)
			}
			tally(t, s, "migrating")
		}
	})
}

func TestCounts_KnowTheDayOfEachSite(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 300)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "Pacific/Auckland"}, register.AddSite{Name: "Mill", Zone: "Pacific/Honolulu"})
		if _, err := s.Raw().Exec("UPDATE machines SET site_id = 1 + id % 3"); err != nil {
			t.Fatal(err)
		}
		scatter(t, s)
		for _, site := range []string{"", "Depot", "Quay", "mill"} {
			all, _ := everyLine(t, s, register.LineFilter{Site: site, Limit: 1000})
			var want register.Counts
			for _, l := range all {
				countOn(&want, l, l.Today)
			}
			want.Assemblies = len(all)
			got, err := s.Counts(context.Background(), now, site)
			if err != nil {
				t.Fatal(err)
			}
			want.Machines, want.Positions, want.EmptyPositions, want.InStore = got.Machines, got.Positions, got.EmptyPositions, got.InStore
			if d := gocmp.Diff(want, got); d != "" {
				t.Errorf("site %q: want (-) and got (+):\n%s", site, d)
			}
			for _, status := range []life.Status{life.StatusStop, life.StatusOverdue, life.StatusSoon, life.StatusAhead, life.StatusInService} {
				lines, total := everyLine(t, s, register.LineFilter{Site: site, Status: status, Limit: 7})
				if len(lines) != total || total == 0 {
					t.Errorf("site %q, %s: %d lines, total %d", site, status, len(lines), total)
				}
			}
		}
	})
}

func TestLines_TotalIsCountedSoFarAndNoFurther(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	crowd(t, s, 1200)
	for _, row := range []struct {
		f     register.LineFilter
		total int
		more  bool
	}{
		{register.LineFilter{}, 1200, false},
		{register.LineFilter{Incomplete: true, Site: "depot"}, 1200, false},
		{register.LineFilter{Text: "M-"}, 1000, true},
		{register.LineFilter{Text: "M-11"}, 20, false},
		{register.LineFilter{Uncounted: true}, 0, false},
	} {
		page, err := s.Lines(context.Background(), now, row.f)
		if err != nil {
			t.Fatal(err)
		}
		if page.Total != row.total || page.More != row.more {
			t.Errorf("%+v: total %d, more %v; want %d, %v", row.f, page.Total, page.More, row.total, row.more)
		}
	}
}
