package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/backup"
	"hoseward/internal/store"
)

// oldDump is a register as a program of schema 10 left it.
func oldDump(t testing.TB) *kept {
	t.Helper()
	f, err := backup.Open(filepath.Join("..", "..", "testdata", "register", "schema-0010.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	k := &kept{info: f.Manifest.Register, tables: map[string]*bytes.Buffer{}}
	for _, table := range k.info.Tables {
		r, err := f.Table(table.Name)
		if err != nil {
			t.Fatal(err)
		}
		lines, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		k.tables[table.Name] = bytes.NewBuffer(lines)
	}
	return k
}

// oldRegister is the address of a register of schema 10 with that in it, as it
// was before this program ever opened it.
func oldRegister(t testing.TB, engine string) (dsn string, k *kept) {
	t.Helper()
	dsn, k = address(t, engine), oldDump(t)
	if err := store.LoadAsIs(context.Background(), dsn, k.info, again{k}); err != nil {
		t.Fatal(err)
	}
	return dsn, k
}

func onBothEngines(t *testing.T, f func(t *testing.T, engine string)) {
	t.Helper()
	t.Parallel()
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			f(t, engine)
		})
	}
}

func TestOpen_CallsBeforeUpgradeOfWhatIsNotEmptyOnly(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		dsn, k := oldRegister(t, engine)
		calls := 0
		no := errors.New("the disk is full")
		hook := func(ctx context.Context, old *store.Store, to int64) error {
			calls++
			if to != versions(t) {
				t.Errorf("to schema %d, want %d", to, versions(t))
			}
			sameDump(t, "before the upgrade", oldDump(t), dumped(t, old))
			return no
		}
		opts := store.Options{Migrate: true, BeforeUpgrade: hook}
		if _, err := store.Open(t.Context(), dsn, opts); !errors.Is(err, no) {
			t.Fatalf("a backup that fails: %v, want its error", err)
		}
		asIs, err := store.OpenAsIs(t.Context(), dsn)
		if err != nil {
			t.Fatal(err)
		}
		sameDump(t, "an upgrade that was refused", k, dumped(t, asIs))
		if err := asIs.Close(); err != nil {
			t.Error(err)
		}
		no = nil
		for range 2 { // the second time it is of this program
			s, err := store.Open(t.Context(), dsn, opts)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		}
		if s, err := store.Open(t.Context(), address(t, engine), opts); err != nil || s.Close() != nil {
			t.Fatal(err)
		}
		if calls != 2 {
			t.Errorf("called %d times, want once for the refusal and once for the upgrade, and not for a new register", calls)
		}
	})
}

func TestUpgrade_KeepsEveryRowWhicheverWayItGoes(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		dsn, k := oldRegister(t, engine)
		inPlace := open(t, dsn)
		upgraded := dumped(t, inPlace)
		if d := cmp.Diff(plainTallies(t, inPlace), talliesOf(t, inPlace)); d != "" {
			t.Errorf("plain counts (-) and tallies (+):\n%s", d)
		}
		if rows, broken, err := inPlace.VerifyChain(t.Context()); err != nil || broken != 0 || rows != k.info.Seq {
			t.Errorf("the change log has %d rows, broken at %d, %v", rows, broken, err)
		}
		for _, table := range k.info.Tables {
			for _, now := range upgraded.info.Tables {
				if table.Name == now.Name && table.Name != "policies" && table.Rows != now.Rows {
					t.Errorf("table %s had %d rows and has %d", table.Name, table.Rows, now.Rows)
				}
			}
		}
		for _, other := range []string{store.SQLite, store.Postgres} {
			sameDump(t, "restored on "+other, upgraded, dumped(t, mustLoad(t, other, k)))
		}
	})
}

// An upgrade that fails in the middle of a migration leaves all rows as they
// were, says so, and goes on at the next start once the cause is gone.
func TestUpgrade_OneThatFailsHalfwayLosesNothing(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		for why, c := range map[string]struct{ cause, mend string }{
			"a table is in the way": {"CREATE TABLE answers (a bigint)", "DROP TABLE answers"},
			"an index is in the way": {
				"CREATE INDEX changes_by_person ON changes (person_id)", "DROP INDEX changes_by_person",
			},
		} {
			dsn, k := oldRegister(t, engine)
			s, err := store.Connect(t.Context(), dsn)
			if err != nil {
				t.Fatal(err)
			}
			defer s.Close()
			raw(t, s, c.cause)
			if _, err = store.Open(t.Context(), dsn, store.Options{Migrate: true}); err == nil || !strings.Contains(err.Error(), "nothing is lost") {
				t.Fatalf("%s: %v, want a refusal that says nothing is lost", why, err)
			}
			raw(t, s, c.mend)
			sameDump(t, why, k, dumped(t, s))
			sameDump(t, why+", and the next start", dumped(t, mustLoad(t, engine, k)), dumped(t, open(t, dsn)))
		}
	})
}

func TestUpgrade_OneThatIsStoppedGoesOnAtTheNextStart(t *testing.T) {
	onBothEngines(t, func(t *testing.T, engine string) {
		dsn, k := oldRegister(t, engine)
		want := dumped(t, mustLoad(t, engine, k))
		ctx, stop := context.WithCancel(t.Context())
		_, err := store.Open(ctx, dsn, store.Options{Migrate: true, BeforeUpgrade: func(context.Context, *store.Store, int64) error {
			stop()
			return nil
		}})
		if err == nil {
			t.Fatal("an upgrade that was stopped says it is done")
		}
		sameDump(t, "the next start", want, dumped(t, open(t, dsn)))
	})
}
