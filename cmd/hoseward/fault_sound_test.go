package main_test

import (
	"context"
	"database/sql"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// opened opens a register as a start of the program does.
func opened(t *testing.T, dsn string) *store.Store {
	t.Helper()
	reg, err := store.Open(context.Background(), dsn, store.Options{Migrate: true})
	if err != nil {
		t.Fatalf("open the register after the fault: %v", err)
	}
	t.Cleanup(func() { reg.Close() })
	return reg
}

// raw is the database of a register, to be looked at past the program.
func raw(t *testing.T, dsn string) *sql.DB {
	t.Helper()
	driver := "sqlite"
	if strings.Contains(dsn, "://") {
		driver = "pgx"
	}
	db, err := sql.Open(driver, dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// sound holds a register to everything that must be true of it whatever
// happened: a whole chain of changes, every row as the log left it, one hose at
// a position, dates and counts that are those of the facts.
func sound(t *testing.T, dsn string) {
	t.Helper()
	ctx := context.Background()
	reg, db := opened(t, dsn), raw(t, dsn)
	defer reg.Close()
	defer db.Close()
	v, err := reg.Verify(ctx, register.VerifyOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !v.Whole() {
		t.Errorf("the register is not what its change log says: %+v", v)
	}
	for what, query := range map[string]string{
		"positions with two hoses":           "SELECT position_id FROM placements WHERE to_on IS NULL GROUP BY position_id HAVING COUNT(*) > 1",
		"hoses at two positions":             "SELECT assembly_id FROM placements WHERE to_on IS NULL GROUP BY assembly_id HAVING COUNT(*) > 1",
		"ends of a fitting without a reason": "SELECT id FROM placements p WHERE to_on IS NOT NULL AND NOT EXISTS (SELECT 1 FROM removals r WHERE r.placement_id = p.id)",
		"reasons without the end":            "SELECT id FROM removals r WHERE NOT EXISTS (SELECT 1 FROM placements p WHERE p.id = r.placement_id AND p.to_on IS NOT NULL)",
		"acts in which nothing was done":     "SELECT id FROM acts a WHERE NOT EXISTS (SELECT 1 FROM changes c WHERE c.act_id = a.id)",
		"changes of no act":                  "SELECT seq FROM changes c WHERE act_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM acts a WHERE a.id = c.act_id)",
		"hoses without an estimate":          "SELECT p.id FROM placements p WHERE p.to_on IS NULL AND NOT EXISTS (SELECT 1 FROM estimates e WHERE e.assembly_id = p.assembly_id)",
		"estimates of no hose":               "SELECT assembly_id FROM estimates e WHERE NOT EXISTS (SELECT 1 FROM placements p WHERE p.to_on IS NULL AND p.assembly_id = e.assembly_id)",
	} {
		if found := table(t, db, query); len(found) > 0 {
			t.Errorf("%s: %v", what, found[:min(5, len(found))])
		}
	}
	estimatesAreThoseOfTheFacts(t, reg, db)
}

// derived is what is worked out from the facts.
func derived(t *testing.T, db *sql.DB) map[string][]string {
	t.Helper()
	return map[string][]string{
		"estimates": table(t, db, "SELECT * FROM estimates ORDER BY assembly_id"),
		"gaps":      table(t, db, "SELECT * FROM gaps ORDER BY assembly_id, what"),
		"tallies":   table(t, db, "SELECT what, site_id, day, SUM(n) FROM tallies GROUP BY what, site_id, day HAVING SUM(n) <> 0 ORDER BY what, site_id, day"),
	}
}

// estimatesAreThoseOfTheFacts works off what is stale and then makes all
// estimates and counts anew: nothing may be different then.
func estimatesAreThoseOfTheFacts(t *testing.T, reg *store.Store, db *sql.DB) {
	t.Helper()
	ctx := context.Background()
	if _, err := reg.ReestimateStale(ctx, faultNoon, nil); err != nil {
		t.Fatal(err)
	}
	before := derived(t, db)
	if _, err := reg.ReestimateAll(ctx, faultNoon, nil); err != nil {
		t.Fatal(err)
	}
	after := derived(t, db)
	for what, rows := range before {
		if !slices.Equal(rows, after[what]) {
			t.Errorf("%s were not those of the facts: %s", what, firstDifference(rows, after[what]))
		}
	}
}

func firstDifference(a, b []string) string {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("%s, made anew %s", a[i], b[i])
		}
	}
	return fmt.Sprintf("%d rows, made anew %d", len(a), len(b))
}

// table are the rows of a query as text.
func table(t *testing.T, db *sql.DB, query string) []string {
	t.Helper()
	rows, err := db.Query(query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	values, dest := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		dest[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			t.Fatal(err)
		}
		var line strings.Builder
		for i, v := range values {
			if b, ok := v.([]byte); ok {
				v = string(b)
			}
			if i > 0 {
				line.WriteByte('|')
			}
			fmt.Fprint(&line, v)
		}
		out = append(out, line.String())
	}
	if err := rows.Err(); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return out
}

// found is what the marks in a register say.
type found struct {
	acts map[string][]string // by mark: what each act that left it did, in words
}

var markPattern = regexp.MustCompile(`w-[a-z]+-\d+-\d+-\d+\.`)

// marks looks for the marks of writes in the change log. An act that left none
// is one of those before the writers.
func marks(t *testing.T, dsn string) found {
	t.Helper()
	db := raw(t, dsn)
	defer db.Close()
	rows, err := db.Query(`SELECT act_id, entity, action, "after", reason FROM changes WHERE act_id IS NOT NULL ORDER BY act_id, seq`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	did, markOf := map[int64][]string{}, map[int64]string{}
	for rows.Next() {
		var act int64
		var entity, action, after, reason string
		if err := rows.Scan(&act, &entity, &action, &after, &reason); err != nil {
			t.Fatal(err)
		}
		if action+" "+entity != "changed findings" { // a removal closes what is open, if anything is
			did[act] = append(did[act], action+" "+entity)
		}
		if m := markPattern.FindString(after + reason); m != "" && markOf[act] == "" {
			markOf[act] = m
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	f := found{acts: map[string][]string{}}
	for act, m := range markOf {
		slices.Sort(did[act])
		f.acts[m] = append(f.acts[m], strings.Join(did[act], ", "))
	}
	return f
}

// held holds what is found to what was acknowledged: all of it is there, and
// whatever is there is there once and whole. It returns how many of the
// acknowledged writes are missing.
func (f found) held(t *testing.T, acknowledged []string) (missing int) {
	t.Helper()
	told := 0
	tell := func(format string, args ...any) {
		t.Helper()
		if told++; told <= 10 {
			t.Errorf(format, args...)
		}
	}
	for _, m := range acknowledged {
		if len(f.acts[m]) == 0 {
			missing++
			tell("the write %s was acknowledged and is not there", m)
		}
	}
	for m, acts := range f.acts {
		if len(acts) > 1 {
			tell("the write %s is there %d times", m, len(acts))
		}
		kind := writeKind(strings.Split(m, "-")[1])
		if acts[0] != wholeOf(kind) {
			tell("of the write %s there is %q, want %q", m, acts[0], wholeOf(kind))
		}
	}
	return missing
}
