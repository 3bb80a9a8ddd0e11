package store_test

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// troubled wants an error to be a trouble, with a sentence for people that has
// nothing of the driver's words.
func troubled(t *testing.T, err, want error) {
	t.Helper()
	sentence, kind := register.Trouble(err)
	if kind == nil || !errors.Is(kind, want) {
		t.Errorf("%v, want %v", err, want)
	}
	for _, word := range []string{"SQL", "sqlite", "database", "disk I/O", "EOF", "errno", "pq:"} {
		if strings.Contains(sentence, word) {
			t.Errorf("people are told %q", sentence)
		}
	}
}

// unharmed wants a register to be what its change log says.
func unharmed(t *testing.T, s *store.Store) {
	t.Helper()
	v, err := s.Verify(context.Background(), register.VerifyOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !v.Whole() {
		t.Errorf("after the fault the register is %+v", v)
	}
}

func TestApply_FullDiskRefusesKeepsAndGoesOn(t *testing.T) {
	disk := testkit.SmallDisk(t, "8m")
	s := open(t, filepath.Join(disk.Dir, "register.db"))
	fill(t, s)
	disk.Fill(t)
	before, refused := counts(t, s), 0
	for range 20 { // what there was room for in the write-ahead log is taken
		if _, err := s.Apply(context.Background(), now, me, hose("")); err != nil {
			refused++
			troubled(t, err, register.ErrFull)
		}
	}
	if refused == 0 {
		t.Fatal("nothing was refused")
	}
	if n := counts(t, s)["assemblies"]; n != before["assemblies"]+20-refused {
		t.Errorf("%d assemblies after %d of 20 were refused, had %d", n, refused, before["assemblies"])
	}
	if sheet(t, s, "H-A").Assembly.Code != "H-A" {
		t.Error("nothing can be read")
	}
	disk.MakeRoom(t)
	apply(t, s, hose("H-AFTER"))
	unharmed(t, s)
}

// A disk may fill in the middle of a change that does not fit in memory.
func TestApply_FullDiskInALargeChangeTakesBackAllOfIt(t *testing.T) {
	dir := testkit.SmallDisk(t, "12m").Dir
	s := open(t, filepath.Join(dir, "register.db"))
	apply(t, s, depot()...)
	before := counts(t, s)
	var cmds []register.Command
	for range 10000 {
		cmds = append(cmds, hose(""))
	}
	_, err := s.Apply(context.Background(), now, me, cmds...)
	troubled(t, err, register.ErrFull)
	for table, n := range counts(t, s) {
		if n != before[table] {
			t.Errorf("%s has %d rows, had %d", table, n, before[table])
		}
	}
	apply(t, s, hose("H-AFTER"))
	unharmed(t, s)
}

func TestApply_LockedByAnotherProgramIsBusyAndGoesOn(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "register.db")
	s := open(t, path)
	fill(t, s)
	other, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	other.SetMaxOpenConns(1)
	if _, err := other.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	_, err = s.Apply(context.Background(), now, me, hose("H-X"))
	troubled(t, err, register.ErrBusy)
	if waited := time.Since(begin); waited < 4*time.Second || waited > 15*time.Second {
		t.Errorf("waited %s, want the five seconds of patience", waited)
	}
	if sheet(t, s, "H-A").Assembly.Code != "H-A" {
		t.Error("nothing can be read meanwhile")
	}
	if _, err := other.Exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
	apply(t, s, hose("H-X"))
}

func TestApply_AMomentIsWaitedFor(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		tx, err := s.Raw().Begin()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tx.Exec("UPDATE chain_head SET seq = seq"); err != nil {
			t.Fatal(err)
		}
		release := time.AfterFunc(500*time.Millisecond, func() { tx.Rollback() })
		defer release.Stop()
		apply(t, s, hose("H-X"))
	})
}

func TestOpen_ReadOnlySaysSo(t *testing.T) {
	disk := testkit.SmallDisk(t, "8m") // permissions do not keep everybody off
	path := filepath.Join(disk.Dir, "register.db")
	closed(t, path)
	disk.TakeChanges(t, false)
	_, err := store.Open(context.Background(), path, store.Options{Migrate: true})
	troubled(t, err, register.ErrReadOnly)
	disk.TakeChanges(t, true)
	apply(t, open(t, path), depot()...)
}

// closed makes an empty register and closes it.
func closed(t *testing.T, path string) {
	t.Helper()
	s, err := store.Open(context.Background(), path, store.Options{Migrate: true})
	if err == nil {
		err = s.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestOpen_DamagedSaysSo(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "register.db")
	closed(t, path)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 4096; i < len(content); i += 7 {
		content[i] ^= 0x5a
	}
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(context.Background(), path, store.Options{Migrate: true})
	if err == nil {
		defer s.Close()
		_, err = s.Apply(context.Background(), now, me, depot()...)
	}
	troubled(t, err, register.ErrDamaged)
}

func TestOpen_WithoutAServerSaysSo(t *testing.T) {
	t.Parallel()
	_, err := store.Open(context.Background(), "postgres://nobody@127.0.0.1:1/none", store.Options{Migrate: true})
	troubled(t, err, register.ErrGone)
}

// On PostgreSQL a row that somebody holds is waited for, but not for ever.
func TestApply_HeldForLongIsBusy(t *testing.T) {
	t.Parallel()
	s := open(t, address(t, store.Postgres))
	fill(t, s)
	tx, err := s.Raw().Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	if _, err := tx.Exec("UPDATE chain_head SET seq = seq"); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	_, err = s.Apply(ctx, now, me, hose("H-X"))
	troubled(t, err, register.ErrBusy)
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	apply(t, s, hose("H-X"))
}

func TestTrouble_IsNoneOfARefusal(t *testing.T) {
	t.Parallel()
	s := open(t, filepath.Join(t.TempDir(), "register.db"))
	_, err := s.Apply(context.Background(), now, me, register.AddMachine{Site: "Moon", Code: "X"})
	if _, kind := register.Trouble(err); kind != nil || !errors.Is(err, &register.Error{Code: register.NotFound}) {
		t.Errorf("%v is taken for %v", err, kind)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.Apply(ctx, now, me, depot()...); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want a given up request to say so", err)
	}
}
