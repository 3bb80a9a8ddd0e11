package store_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// meanwhile is a source that changes the register while it is read, once.
type meanwhile struct {
	*exchange.Sheet
	n, at  int
	change func()
}

func (m *meanwhile) Next() (register.ImportRow, error) {
	if m.n++; m.n == m.at {
		m.change()
	}
	return m.Sheet.Next()
}

func TestImport_NobodyWaitsForALongDryRun(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	path := address(t, store.SQLite)
	s := open(t, path)
	list := manyHoses(2600)
	mustImport(t, s, manyHoses(40), store.ImportOptions{})
	before := tables(t, s)
	src := &meanwhile{Sheet: openSheet(t, list), at: 1500, change: func() {
		start := time.Now()
		ctx, cancel := context.WithTimeout(context.Background(), 3*time.Second)
		defer cancel()
		if _, err := s.Apply(ctx, now, me, register.AddReading{Machine: "M-00000", On: day("2026-02-01"), Hours: 12}); err != nil {
			t.Errorf("a reading has to wait for the dry run: %v", err)
		}
		t.Logf("a reading took %s while a dry run was at row 1 500", time.Since(start))
	}}
	r, err := s.Import(context.Background(), now, me, src, store.ImportOptions{Kind: register.ImportHoses, DryRun: true})
	if err != nil || counted(r) != [5]int{2560, 0, 40, 0, 0} || r.Rows != 2600 || r.ImportID != 0 {
		t.Errorf("%v\n%.300s", err, lines(r))
	}
	if left, err := os.ReadDir(temp); err != nil || len(left) > 0 {
		t.Errorf("the dry run leaves files behind: %v %v", left, err)
	}
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 8<<20 {
		t.Errorf("the log of the register is %d KB after a dry run", log.Size()>>10)
	}
	if codes, err := s.MachineCodes(context.Background()); err != nil || len(codes) != 2 {
		t.Errorf("the dry run adds machines: %v %v", codes, err)
	}
	if diff := cmp.Diff(before, tables(t, s)); diff == "" || len(diff) > 2000 {
		t.Errorf("not only the reading has changed:\n%.2000s", diff)
	}
	changesLogged(t, s)
}

func TestImport_ALongDryRunSaysWhatTheImportThenDoes(t *testing.T) {
	list := manyHoses(700) + "M-00001;P03;H-9999;EN 853 2SN;12;250;1250;2Q24;2024-07-02\n" + "M-00002;;H-10000;;;;;;\n"
	s := open(t, filepath.Join(t.TempDir(), "register.db"))
	dry, err := importSheet(t, s, list, store.ImportOptions{DryRun: true, TakeGood: true})
	if err != nil {
		t.Fatal(err)
	}
	real, err := importSheet(t, s, list, store.ImportOptions{TakeGood: true})
	if err != nil || counted(real) != [5]int{700, 0, 0, 1, 1} {
		t.Fatalf("%v\n%.500s", err, lines(real))
	}
	if diff := cmp.Diff(lines(dry), lines(real)); diff != "" {
		t.Errorf("the dry run says otherwise (-dry +real):\n%s", diff)
	}
}
