package main_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pressly/goose/v3"

	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
	"hoseward/migrations"
)

// The schemas that registers are brought up from: the one before people, and an
// old one, from which there is more to do.
func oldSchemas() []int64 { return []int64{10, 7} }

// schemas hands out what moves the schema of a register to any version.
func schemas(t *testing.T, dsn string, f func(*goose.Provider) error) {
	t.Helper()
	dialect, folder, name := goose.DialectSQLite3, fs.FS(migrations.SQLite), "sqlite"
	if strings.Contains(dsn, "://") {
		dialect, folder, name = goose.DialectPostgres, migrations.Postgres, "postgres"
	}
	files, err := fs.Sub(folder, name)
	if err != nil {
		t.Fatal(err)
	}
	db := raw(t, dsn)
	defer db.Close()
	p, err := goose.NewProvider(dialect, db, files, goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true))
	if err == nil {
		err = f(p)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// kept are the rows of a register that no migration may lose, counted.
func kept(t *testing.T, dsn string) []string {
	t.Helper()
	db := raw(t, dsn)
	defer db.Close()
	var counts []string
	for _, name := range []string{
		"sites", "kinds", "machines", "circuits", "positions", "policies", "assemblies", "placements", "removals", "readings",
		"conditions", "inspections", "findings", "changes", "estimates",
	} {
		counts = append(counts, name+" "+table(t, db, "SELECT COUNT(*) FROM "+name)[0])
	}
	return counts
}

// setBack makes the register that others are copies of one of an old schema.
func (g *ground) setBack(t *testing.T, schema int64) {
	t.Helper()
	chainAsBefore(t, g.first)
	schemas(t, g.first, func(p *goose.Provider) error {
		_, err := p.DownTo(context.Background(), schema)
		return err
	})
}

// chainAsBefore makes the change log what it was before changes said what they
// belong to, which an old schema has no place for and the hashes hold.
func chainAsBefore(t *testing.T, dsn string) {
	t.Helper()
	db := raw(t, dsn)
	defer db.Close()
	do := func(query string, args ...any) {
		t.Helper()
		if _, err := db.Exec(query, args...); err != nil {
			t.Fatalf("%s: %v", query, err)
		}
	}
	guards := []string{"ALTER TABLE changes ENABLE TRIGGER ALL"}
	if strings.Contains(dsn, "://") {
		do("ALTER TABLE changes DISABLE TRIGGER ALL")
	} else {
		guards = table(t, db, "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'changes'")
		for _, name := range table(t, db, "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'changes'") {
			do("DROP TRIGGER " + name)
		}
	}
	do("UPDATE changes SET site_id = NULL, machine_id = NULL, assembly_id = NULL")
	rows, err := db.Query(`SELECT seq, at, person_id, origin, act_id, entity, entity_id, action, "before", "after", reason FROM changes ORDER BY seq`)
	if err != nil {
		t.Fatal(err)
	}
	var log []register.Change
	for rows.Next() {
		var c register.Change
		if err := rows.Scan(&c.Seq, &c.At, &c.PersonID, &c.Origin, &c.ActID, &c.Entity, &c.EntityID, &c.Action, &c.Before, &c.After, &c.Reason); err != nil {
			t.Fatal(err)
		}
		log = append(log, c)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		t.Fatal(err)
	}
	prev := ""
	var seqs strings.Builder // one statement for all: each of its own takes its time
	for i := range log {
		hash := register.Chain(prev, &log[i])
		fmt.Fprintf(&seqs, "UPDATE changes SET prev_hash = '%s', hash = '%s' WHERE seq = %d;", prev, hash, log[i].Seq)
		prev = hash
	}
	do("BEGIN;" + seqs.String() + fmt.Sprintf("UPDATE chain_head SET hash = '%s'; COMMIT", prev))
	for _, guard := range guards {
		do(guard)
	}
}

// broughtUp holds a register to what it had before it was brought up.
func broughtUp(t *testing.T, dsn string, before []string) {
	t.Helper()
	reg, err := store.Open(context.Background(), dsn, store.Options{Migrate: true})
	if err != nil {
		t.Fatalf("the next start: %v", err)
	}
	if err := reg.Close(); err != nil {
		t.Fatal(err)
	}
	if after := kept(t, dsn); strings.Join(after, ", ") != strings.Join(before, ", ") {
		t.Errorf("there were %v, now %v", before, after)
	}
	sound(t, dsn)
}

// migrating is the program that brings a register up and ends.
func migrating(t *testing.T, dsn string) []string {
	t.Helper()
	dir := t.TempDir()
	return []string{asProgram, "migrate", "--db", dsn, "--files", filepath.Join(dir, "files"), "--backups", filepath.Join(dir, "backups")}
}

// Killed at any moment of a migration, the next start brings the register up
// with all its rows.
func TestFaults_KilledAmongMigrationsTheNextStartEndsThem(t *testing.T) {
	onEngines(t, func(t *testing.T, engine string) {
		rounds, dice := max(len(oldSchemas()), testkit.FaultRounds(t, fewRounds)), testkit.Dice(t)
		for _, schema := range oldSchemas() {
			g := newGround(t, engine)
			g.setBack(t, schema)
			before := kept(t, g.first)
			begin := time.Now()
			whole := g.register(t)
			if out, err := testkit.Again(t, migrating(t, whole)...).CombinedOutput(); err != nil {
				t.Fatalf("migrate: %v: %s", err, out)
			}
			takes := time.Since(begin)
			broughtUp(t, whole, before)
			ended := 0
			for round := range rounds / len(oldSchemas()) {
				dsn := g.register(t)
				cmd := testkit.Again(t, migrating(t, dsn)...)
				if err := cmd.Start(); err != nil {
					t.Fatal(err)
				}
				kill := time.AfterFunc(time.Duration(dice.Int64N(int64(takes))), func() { _ = cmd.Process.Kill() })
				if cmd.Wait() == nil {
					ended++
				}
				kill.Stop()
				broughtUp(t, dsn, before)
				if t.Failed() {
					t.Fatalf("in round %d", round)
				}
			}
			t.Logf("from schema %d: %d rounds, of which %d came too late to kill", schema, rounds/len(oldSchemas()), ended)
		}
	})
}

// A power cut at any moment of a migration on SQLite: the same.
func TestFaults_PowerCutAmongMigrationsTheNextStartEndsThem(t *testing.T) {
	t.Parallel()
	dice, n := testkit.Dice(t), cutsARound*testkit.FaultRounds(t, fewCuts/cutsARound)
	for _, schema := range oldSchemas() {
		g := newGround(t, store.SQLite)
		g.setBack(t, schema)
		path := g.register(t)
		before, d := kept(t, path), newDisk(t, filepath.Dir(path))
		calls := traced(t, migrating(t, path)...)
		tried := 0
		eachCut(t, dice, d, calls, n/len(oldSchemas()), false, func(_ int, dir string) {
			tried++
			broughtUp(t, filepath.Join(dir, filepath.Base(path)), before)
		})
		t.Logf("from schema %d: %d power cuts in a trace of %d calls", schema, tried, len(calls))
	}
}
