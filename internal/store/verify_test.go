package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// verdict is what Verify finds.
func verdict(t testing.TB, s *store.Store, head *register.Head) register.Verdict {
	t.Helper()
	v, err := s.Verify(context.Background(), register.VerifyOptions{Head: head})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// peopled adds people, roles and a token to what fill makes.
func peopled(t testing.TB, s *store.Store) {
	t.Helper()
	fill(t, s)
	apply(t, s, register.AddPerson{Name: "N. Ott", Roles: []register.GivenRole{{Role: register.Inspector, Site: "Depot"}}})
}

func TestVerify_AFreshAndAFilledRegisterAreWhole(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		if v := verdict(t, s, nil); !v.Whole() || v.Changes != 0 || v.Rows == 0 || v.Head != (register.Head{}) {
			t.Errorf("a fresh register: %+v", v)
		}
		peopled(t, s)
		head, err := s.ChainHead(t.Context())
		if err != nil || head.Seq == 0 || len(head.Hash) != 64 {
			t.Fatalf("head %v, %v", head, err)
		}
		apply(t, s, hose("LATER"))
		short, err := register.ParseHead(head.Short())
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range []*register.Head{nil, &head, &short, {}} {
			if v := verdict(t, s, h); !v.Whole() || v.Changes <= head.Seq || v.Rows < 40 {
				t.Errorf("with head %v: %+v", h, v)
			}
		}
	})
}

// lastOf is in the queries below the number of the newest row.
const lastOf = "(SELECT MAX(seq) FROM changes)"

// copied is an INSERT of row 5 of the log with another number and previous
// hash.
func copied(seq, prev string) string {
	columns := `at, person_id, origin, import_id, entity, entity_id, action, "before", "after", reason, act_id, site_id, machine_id, assembly_id, hash`
	return "INSERT INTO changes (seq, prev_hash, " + columns + ") SELECT " + seq + ", " + prev + ", " + columns + " FROM changes WHERE seq = 5"
}

// Every way to tamper with the log, with its triggers out of the way.
func TestVerify_NamesTheFirstBrokenRowOfTheLog(t *testing.T) {
	const swap = `UPDATE changes SET seq = CASE seq WHEN 5 THEN -6 WHEN 6 THEN -5 END WHERE seq IN (5, 6)`
	for _, row := range []struct {
		what    string
		queries []string
		broken  func(last int64) int64
		kind    register.FaultKind
		says    string
	}{
		{"a field altered", []string{"UPDATE changes SET reason = 'because' WHERE seq = 5"}, five, register.FaultAltered, "it was altered"},
		{"who it was, altered", []string{"UPDATE changes SET origin = 'job' WHERE seq = 5"}, five, register.FaultAltered, "it was altered"},
		{"the site taken off", []string{"UPDATE changes SET site_id = NULL, machine_id = NULL, assembly_id = NULL WHERE seq = 20"}, is(20), register.FaultAltered, "added on"},
		{"nothing altered to 0", []string{"UPDATE changes SET assembly_id = 0 WHERE seq = 2"}, is(2), register.FaultAltered, "machines 1 RT-01"},
		{"its hash altered", []string{"UPDATE changes SET hash = 'abc' WHERE seq = 5"}, five, register.FaultAltered, "it was altered"},
		{"the hash before altered", []string{"UPDATE changes SET prev_hash = '' WHERE seq = 5"}, five, register.FaultAltered, "it was altered"},
		{"the first row taken out", []string{"DELETE FROM changes WHERE seq = 1"}, is(1), register.FaultMissing, "goes on with row 2"},
		{"a row in the middle taken out", []string{"DELETE FROM changes WHERE seq = 5"}, five, register.FaultMissing, "it is missing"},
		{"two rows taken out", []string{"DELETE FROM changes WHERE seq IN (5, 6)"}, five, register.FaultMissing, "rows 5 to 6 are missing"},
		{"a row taken out and the rest moved up", []string{"DELETE FROM changes WHERE seq = 5", "UPDATE changes SET seq = -seq WHERE seq > 5", "UPDATE changes SET seq = -seq - 1 WHERE seq < 0"}, five, register.FaultAltered, "it was altered"},
		{"the last row taken out", []string{"DELETE FROM changes WHERE seq = " + lastOf}, func(last int64) int64 { return last }, register.FaultMissing, "ends before its head"},
		{"all rows taken out", []string{"DELETE FROM changes"}, is(1), register.FaultMissing, "missing"},
		{"a row put in at the end", []string{copied(lastOf+" + 1", "(SELECT hash FROM changes WHERE seq = "+lastOf+")")}, func(last int64) int64 { return last + 1 }, register.FaultAltered, "hash"},
		{"a row put in before the first", []string{copied("0", "''")}, is(0), register.FaultPutIn, "row 1"},
		{"two rows swapped", []string{swap, "UPDATE changes SET seq = -seq WHERE seq < 0"}, five, register.FaultAltered, "it was altered"},
		{"the head set back", []string{"UPDATE chain_head SET seq = 5, hash = (SELECT hash FROM changes WHERE seq = 5)"}, is(6), register.FaultPutIn, "head was set back"},
		{"the head set forward", []string{"UPDATE chain_head SET seq = seq + 1"}, func(last int64) int64 { return last + 1 }, register.FaultMissing, "missing"},
		{"the head altered", []string{"UPDATE chain_head SET hash = 'abc'"}, func(last int64) int64 { return last }, register.FaultHead, "head of the log has another hash"},
		{"the head taken out", []string{"DELETE FROM chain_head"}, is(0), register.FaultHead, "no head"},
	} {
		t.Run(row.what, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				fill(t, s)
				last := verdict(t, s, nil).Changes
				unguarded(t, s, row.queries[0])
				for _, q := range row.queries[1:] {
					if _, err := s.Raw().Exec(q); err != nil {
						t.Fatalf("%s: %v", q, err)
					}
				}
				v := verdict(t, s, nil)
				if v.Whole() || v.Chain == nil || v.Chain.Seq != row.broken(last) || v.Chain.What != row.kind || !strings.Contains(v.Chain.String(), row.says) {
					t.Errorf("%v, want %s at %d, %q", v.Chain, row.kind, row.broken(last), row.says)
				}
				if len(v.Guards) == 0 {
					t.Error("nothing is said of the triggers that are gone")
				}
			})
		})
	}
}

func is(n int64) func(int64) int64 { return func(int64) int64 { return n } }

func five(int64) int64 { return 5 }

// rechain writes every row of the log from one on anew, as somebody can who has
// the database and this program.
func rechain(t testing.TB, s *store.Store, from int64) {
	t.Helper()
	all := allChanges(t, s)
	prev := all[from-2].Hash
	for i := from - 1; i < int64(len(all)); i++ {
		c := &all[i]
		c.PrevHash, c.Hash = prev, register.Chain(prev, c)
		prev = c.Hash
		q := fmt.Sprintf("UPDATE changes SET prev_hash = '%s', hash = '%s' WHERE seq = %d", c.PrevHash, c.Hash, c.Seq)
		if _, err := s.Raw().Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Raw().Exec("UPDATE chain_head SET hash = '" + prev + "'"); err != nil {
		t.Fatal(err)
	}
}

// allChanges is the whole log, oldest first.
func allChanges(t testing.TB, s *store.Store) []register.Change {
	t.Helper()
	page, err := s.Changes(t.Context(), register.ChangeFilter{Limit: 1000})
	if err != nil || page.Next != 0 {
		t.Fatalf("%d more, %v", page.Next, err)
	}
	all := make([]register.Change, len(page.Changes))
	for i, c := range page.Changes {
		all[len(all)-1-i] = c
	}
	return all
}

func TestVerify_ALogWrittenAnewIsFoundByAPrintedHeadOnly(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		printed, err := s.ChainHead(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		apply(t, s, hose("LATER"))
		unguarded(t, s, "UPDATE changes SET reason = 'as agreed' WHERE seq = 7")
		rechain(t, s, 7)
		if v := verdict(t, s, nil); v.Chain != nil || len(v.Differ) != 0 {
			t.Errorf("without a head, %v: a log written anew agrees with itself", v.Chain)
		}
		v := verdict(t, s, &printed)
		if v.Whole() || !strings.Contains(v.GivenFault, "written anew") {
			t.Errorf("with the head of before: %q", v.GivenFault)
		}
		before := register.Head{Seq: 6, Hash: allChanges(t, s)[5].Hash}
		if v := verdict(t, s, &before); v.GivenFault != "" {
			t.Errorf("row 6 was not written anew, yet %q", v.GivenFault)
		}
		beyond := register.Head{Seq: 1 << 40, Hash: printed.Hash}
		if v := verdict(t, s, &beyond); !strings.Contains(v.GivenFault, "no row") {
			t.Errorf("a head beyond the log: %q", v.GivenFault)
		}
	})
}

// What is edited past the program, with the log left as it is.
func TestVerify_NamesRowsThatWereEditedPastTheProgram(t *testing.T) {
	for _, row := range []struct{ what, query, says string }{
		{"a limit of a policy of one's own", "UPDATE policies SET months_from_assembly = 999 WHERE NOT shipped", "of policies is not as change"},
		{"a limit of a shipped policy", "UPDATE policies SET months_from_assembly = 999 WHERE id = (SELECT MIN(id) FROM policies WHERE shipped)", "none that comes with this program"},
		{"a shipped kind put in", "INSERT INTO kinds (name, version) VALUES ('balloon', 1)", "of kinds is there, no change says so"},
		{"a starting value", "UPDATE duties SET fluid_c = 20 WHERE id = (SELECT MIN(id) FROM duties)", "of duties is there, no change says so"},
		{"a role", "UPDATE person_roles SET role = 'manager' WHERE id = 2", "row 2 of person_roles is not as change"},
		{"a role put in", "INSERT INTO person_roles (person_id, role) VALUES (2, 'manager')", "row 3 of person_roles is there"},
		{"a person back", "UPDATE people SET name = 'M. Adler' WHERE id = 2", "of people is not as change"},
		{"a finding closed", "UPDATE findings SET closed_on = '2026-06-01', closed_how = 'done' WHERE closed_on IS NULL", "ClosedHow, ClosedOn"},
		{"a reading taken out", "DELETE FROM readings WHERE id = 2", "row 2 of readings is missing"},
	} {
		t.Run(row.what, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				peopled(t, s)
				if _, err := s.Raw().Exec(row.query); err != nil {
					t.Fatal(err)
				}
				v := verdict(t, s, nil)
				if v.Chain != nil || len(v.Differ) != 1 || !strings.Contains(v.Differ[0].String(), row.says) {
					t.Errorf("chain %v, rows %v; want one that says %q", v.Chain, v.Differ, row.says)
				}
			})
		})
	}
}

func TestVerify_NamesCountsThatAreWrong(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		if _, err := s.Raw().Exec("UPDATE tallies SET n = n + 1 WHERE what = 'machines'"); err != nil {
			t.Fatal(err)
		}
		if v := verdict(t, s, nil); len(v.Tallies) != 1 || !strings.Contains(v.Tallies[0], `"machines" of site 1 is off by +1`) {
			t.Errorf("%v", v.Tallies)
		}
	})
}

// Every table is held to the log or is on the list of those that are not.
func TestVerify_LeavesNoTableOutWithoutAReason(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		held := map[string]bool{}
		for _, name := range store.HeldTables() {
			held[name] = true
		}
		for _, name := range tableNames(t, s) {
			if why := store.NotHeld(name); held[name] == (why != "") {
				t.Errorf("table %s: held to the log is %v, and the reason not to be is %q", name, held[name], why)
			}
		}
	})
}

func tableNames(t testing.TB, s *store.Store) []string {
	t.Helper()
	query := "SELECT name FROM sqlite_master WHERE type = 'table'"
	if s.Engine() == store.Postgres {
		query = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
	}
	rows, err := s.Raw().Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var all []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		all = append(all, name)
	}
	if len(all) < 20 || rows.Err() != nil {
		t.Fatalf("%d tables, %v", len(all), rows.Err())
	}
	return all
}

// The engines refuse what would alter the log, REPLACE of SQLite as well, which
// asks no trigger about the row it takes out.
func TestChanges_EveryWayToAlterThemIsRefused(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		queries := []string{"UPDATE changes SET reason = 'x' WHERE seq = 2", "DELETE FROM changes WHERE seq = 2", "DELETE FROM changes"}
		if s.Engine() == store.Postgres {
			queries = append(queries, "TRUNCATE changes", "TRUNCATE changes CASCADE",
				copied("5", "''")+" ON CONFLICT (seq) DO UPDATE SET reason = 'x'")
		} else {
			queries = append(queries, strings.Replace(copied("5", "''"), "INSERT", "INSERT OR REPLACE", 1), strings.Replace(copied("5", "''"), "INSERT INTO", "REPLACE INTO", 1),
				strings.Replace(copied("5", "''"), "INSERT", "INSERT OR IGNORE", 1), "UPDATE OR REPLACE changes SET seq = 5 WHERE seq = 6",
				copied("5", "''")+" ON CONFLICT (seq) DO UPDATE SET reason = 'x'")
		}
		for _, q := range queries {
			if _, err := s.Raw().Exec(q); err == nil || !strings.Contains(err.Error(), "never") {
				t.Errorf("%s: %v, want a refusal", q, err)
			}
		}
		if v := verdict(t, s, nil); !v.Whole() {
			t.Errorf("%+v", v)
		}
	})
}

func TestOpenToRead_ReadsWhatCannotBeWritten(t *testing.T) {
	from := filepath.Join(t.TempDir(), "register.db")
	s := open(t, from)
	fill(t, s)
	for _, mode := range []string{"DELETE", "WAL"} {
		dir := t.TempDir()
		path := filepath.Join(dir, "copy.db")
		if _, err := s.Raw().Exec("VACUUM INTO '" + path + "'"); err != nil {
			t.Fatal(err)
		}
		if mode == "WAL" {
			if err := open(t, path).Close(); err != nil {
				t.Fatal(err)
			}
		}
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		readOnly(t, dir, path)
		r, err := store.OpenToRead(t.Context(), path)
		if err != nil {
			t.Fatalf("%s: %v", mode, err)
		}
		if v := verdict(t, r, nil); !v.Whole() || v.Rows == 0 {
			t.Errorf("%s: %+v", mode, v)
		}
		if _, err := r.Apply(t.Context(), now, me, hose("X")); err == nil {
			t.Errorf("%s: a change was taken", mode)
		}
		if err := r.Close(); err != nil {
			t.Error(err)
		}
		if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
			t.Errorf("%s: the file was written to, %v", mode, err)
		}
	}
	if _, err := store.OpenToRead(t.Context(), filepath.Join(t.TempDir(), "none.db")); err == nil {
		t.Error("a register was opened where none is")
	}
}

// readOnly keeps a file and its folder from being written to, as far as the
// system keeps this user from it.
func readOnly(t *testing.T, dir, path string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		return
	}
	for _, c := range []struct {
		path string
		mode os.FileMode
	}{{path, 0o400}, {dir, 0o500}} {
		if err := os.Chmod(c.path, c.mode); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() { _ = os.Chmod(dir, 0o700) })
}
