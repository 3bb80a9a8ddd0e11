package store_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/pressly/goose/v3"

	"hoseward/internal/demo"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// kept is a dump in memory.
type kept struct {
	info   register.DumpInfo
	tables map[string]*bytes.Buffer
}

func (k *kept) Table(name string) (io.Writer, error) {
	k.tables[name] = new(bytes.Buffer)
	return k.tables[name], nil
}

// again gives a kept dump back.
type again struct{ *kept }

func (a again) Table(name string) (io.ReadCloser, error) {
	b, ok := a.tables[name]
	if !ok {
		return nil, errors.New("no such table")
	}
	return io.NopCloser(bytes.NewReader(b.Bytes())), nil
}

func dumped(t testing.TB, s *store.Store) *kept {
	t.Helper()
	k := &kept{tables: map[string]*bytes.Buffer{}}
	var err error
	if k.info, err = s.Dump(context.Background(), k); err != nil {
		t.Fatal(err)
	}
	return k
}

// mustLoad loads a dump into a new register on an engine and opens it.
func mustLoad(t testing.TB, engine string, k *kept) *store.Store {
	t.Helper()
	dsn := address(t, engine)
	loaded, err := store.Load(context.Background(), dsn, k.info, again{k})
	if err != nil {
		t.Fatal(err)
	}
	if loaded.Rows != k.info.Rows() || loaded.Seq != k.info.Seq || loaded.Hash != k.info.Hash {
		t.Errorf("loaded %+v of %+v", loaded, k.info)
	}
	return open(t, dsn)
}

// sameDump wants two dumps to be the same byte by byte.
func sameDump(t testing.TB, why string, a, b *kept) {
	t.Helper()
	a.info.Engine, b.info.Engine = "", ""
	if d := cmp.Diff(a.info, b.info); d != "" {
		t.Errorf("%s, what the dumps hold:\n%s", why, d)
	}
	for name, lines := range a.tables {
		if other := b.tables[name]; other == nil || !bytes.Equal(lines.Bytes(), other.Bytes()) {
			t.Errorf("%s: table %s differs:\n%s", why, name, cmp.Diff(strings.Split(lines.String(), "\n"), strings.Split(other.String(), "\n")))
		}
	}
}

// fillByHand puts a row in each table that no command of the tests fills.
func fillByHand(t testing.TB, s *store.Store) {
	t.Helper()
	bytesOf := func(hex string) string {
		if s.Engine() == store.Postgres {
			return `'\x` + hex + `'`
		}
		return "x'" + hex + "'"
	}
	raw(t, s,
		"INSERT INTO people (name, email, gone_on, gone_reason, password_at) VALUES ('N. Ott', 'ott@example.org', '2026-02-28', 'moved', '2026-01-02 03:04:05.678901+00:00')",
		"INSERT INTO person_roles (person_id, role) VALUES (2, 'viewer')",
		"INSERT INTO credentials (person_id, password_hash, tried_at) VALUES (2, 'not a hash', '2026-01-02 03:04:05+00:00')",
		"INSERT INTO devices (person_id, name, hash, pin_hash, made_at, expires_at) VALUES (2, 'tablet', 'a', 'b', '2026-01-02 03:04:05.1+00:00', '2027-01-02 03:04:05+00:00')",
		"INSERT INTO tokens (person_id, hash, made_at, made_by, ends_at) VALUES (2, 'c', '2026-01-02 03:04:05.000001+00:00', 1, '2027-01-02 03:04:05+00:00')",
		"INSERT INTO answers (person_id, once, request_hash, status, body, at) VALUES (2, 'd', 'e', 201, "+bytesOf("00ff7b0a")+", '2026-01-02 03:04:05+00:00')",
		"INSERT INTO imports (file_name, kind, at, person_id) VALUES ('hoses.csv', 'hoses', '2026-01-02 03:04:05+00:00', 1)",
		"INSERT INTO header_choices (kind, header_hash, meanings) VALUES ('hoses', 'f', '{}')",
		"INSERT INTO job_runs (job, for_day, started) VALUES ('estimate all', '2026-01-02', '2026-01-02 03:04:05.123456+00:00')",
		"INSERT INTO known_days (site_id, day, lacking, \"of\") VALUES (1, '2026-01-02', 3, 4)",
		// What must not be in a dump.
		"INSERT INTO sessions (token, data, expires_at) VALUES ('secret', "+bytesOf("00")+", '2027-01-02 03:04:05+00:00')",
		"INSERT INTO invitations (person_id, hash, expires_at) VALUES (2, 'secret', '2027-01-02 03:04:05+00:00')",
	)
}

// filledWith are registers on an engine, by what is in them.
func filledWith(t *testing.T, engine string) map[string]*store.Store {
	t.Helper()
	everything := open(t, address(t, engine))
	fillWithEverything(t, everything)
	fillByHand(t, everything)
	if _, err := everything.ReestimateAll(context.Background(), now, nil); err != nil {
		t.Fatal(err)
	}
	fleet := open(t, address(t, engine))
	apply(t, fleet, demo.Fleet(7, day("2026-11-25"))...)
	if _, err := fleet.ReestimateAll(context.Background(), now, nil); err != nil {
		t.Fatal(err)
	}
	return map[string]*store.Store{"everything": everything, "the fleet": fleet}
}

func TestDump_GoesToTheOtherEngineAndBackByteByByte(t *testing.T) {
	t.Parallel()
	for from, other := range map[string]string{store.SQLite: store.Postgres, store.Postgres: store.SQLite} {
		t.Run("from "+from, func(t *testing.T) {
			t.Parallel()
			for what, a := range filledWith(t, from) {
				first := dumped(t, a)
				b := mustLoad(t, other, first)
				second := dumped(t, b)
				sameDump(t, what+" there", first, second)
				c := mustLoad(t, from, second)
				sameDump(t, what+" and back", first, dumped(t, c))
				if d := cmp.Diff(plainTallies(t, b), talliesOf(t, b)); d != "" {
					t.Errorf("%s, plain counts (-) and tallies (+):\n%s", what, d)
				}
				for _, s := range []*store.Store{a, b, c} {
					found, err := s.Search(t.Context(), now, "2SN", 10)
					if err != nil || len(found.Assemblies) == 0 && what == "the fleet" {
						t.Errorf("%s, %s: search finds nothing, %v", what, s.Engine(), err)
					}
				}
			}
		})
	}
}

func TestDump_HoldsEveryTableThatHasNoReasonToBeLeftOut(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fillWithEverything(t, s)
		fillByHand(t, s)
		if _, err := s.ReestimateAll(t.Context(), now, nil); err != nil {
			t.Fatal(err)
		}
		k := dumped(t, s)
		for table := range columnsOf(t, s) {
			i := slices.IndexFunc(k.info.Tables, func(d register.DumpTable) bool { return d.Name == table })
			switch {
			case table == "sessions" || table == "invitations":
				if i >= 0 {
					t.Errorf("%s is in the dump", table)
				}
			case i < 0:
				t.Errorf("%s is not in the dump", table)
			case k.info.Tables[i].Rows == 0:
				t.Errorf("%s is empty: the tests of dumps prove nothing of it", table)
			}
		}
		for name, lines := range k.tables {
			if bytes.Contains(lines.Bytes(), []byte("secret")) {
				t.Errorf("%s holds what must not leave the register", name)
			}
		}
	})
}

func TestLoad_GivesOutNoIDThatWasEverGivenOut(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		raw(t, s, "INSERT INTO header_choices (kind, header_hash) VALUES ('hoses', 'a'), ('hoses', 'b'), ('hoses', 'c')",
			"DELETE FROM header_choices WHERE header_hash IN ('b', 'c')")
		k := dumped(t, s)
		for _, engine := range []string{store.SQLite, store.Postgres} {
			b := mustLoad(t, engine, k)
			raw(t, b, "INSERT INTO header_choices (kind, header_hash) VALUES ('hoses', 'd')")
			var id int64
			if err := b.Raw().QueryRow("SELECT id FROM header_choices WHERE header_hash = 'd'").Scan(&id); err != nil || id != 4 {
				t.Errorf("%s: the id is %d, %v, want 4: 2 and 3 were others'", engine, id, err)
			}
			apply(t, b, hose("H-NEW"), register.AddMachine{Site: "Depot", Code: "RT-77"}) // triggers and rules are there again
			if d := cmp.Diff(plainTallies(t, b), talliesOf(t, b)); d != "" {
				t.Errorf("%s, plain counts (-) and tallies (+):\n%s", engine, d)
			}
			if rows, broken, err := b.VerifyChain(t.Context()); broken != 0 || err != nil || rows <= k.info.Seq {
				t.Errorf("%s: %d rows, broken at %d, %v", engine, rows, broken, err)
			}
			for _, q := range []string{"UPDATE changes SET reason = 'x'", "DELETE FROM changes"} {
				if _, err := b.Raw().Exec(q); err == nil {
					t.Errorf("%s: %s is taken after a load", engine, q)
				}
			}
			if b.Engine() == store.Postgres {
				var n int
				if err := b.Raw().QueryRow("SELECT COUNT(*) FROM pg_constraint WHERE condeferrable").Scan(&n); err != nil || n != 0 {
					t.Errorf("%d constraints are left deferrable, %v", n, err)
				}
			}
		}
	})
}

func TestLoad_TakesAFreshRegisterAndRefusesAnyOther(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		k := dumped(t, s)
		for why, change := range map[string]func(*store.Store){
			"":                func(*store.Store) {},
			"a site":          func(b *store.Store) { apply(t, b, register.AddSite{Name: "Yard", Zone: "UTC"}) },
			"a password":      func(b *store.Store) { raw(t, b, "INSERT INTO credentials (person_id, password_hash) VALUES (1, 'x')") },
			"another program": func(b *store.Store) { raw(t, b, "CREATE TABLE others (a jsonb)") },
		} {
			dsn := address(t, s.Engine())
			b := open(t, dsn)
			if why == "another program" { // has no register beside it
				if err := b.WithProvider(t.Context(), func(p *goose.Provider) error { _, err := p.DownTo(t.Context(), 0); return err }); err != nil {
					t.Fatal(err)
				}
			}
			change(b)
			_, err := store.Load(t.Context(), dsn, k.info, again{k})
			if (why != "") != errors.Is(err, store.ErrNotEmpty) {
				t.Errorf("with %q in it: %v", why, err)
			}
			if why == "" {
				sameDump(t, "a fresh one", k, dumped(t, b))
			}
		}
	})
}

// change makes a dump in which a table's text is another.
func (k *kept) change(table, from, to string) *kept {
	other := &kept{info: k.info, tables: map[string]*bytes.Buffer{}}
	other.info.Tables = slices.Clone(k.info.Tables)
	for name, b := range k.tables {
		text := b.Bytes()
		if name == table {
			text = bytes.Replace(text, []byte(from), []byte(to), 1)
		}
		other.tables[name] = bytes.NewBuffer(text)
	}
	return other
}

func TestLoad_RefusesWhatIsNotWhatItSaysAndLeavesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		good := dumped(t, s)
		lacking := good.change("", "", "")
		lacking.info.Tables = lacking.info.Tables[1:]
		newer := good.change("", "", "")
		newer.info.Schema = 9999
		none := good.change("", "", "")
		none.info.Schema = 0
		head := good.change("", "", "")
		head.info.Seq++
		columns := good.change("", "", "")
		columns.info.Tables[3].Columns = append(slices.Clone(columns.info.Tables[3].Columns), "zz")
		unread := good.change("", "", "")
		delete(unread.tables, "findings")
		lines := good.tables["machines"].String()
		dsn := address(t, s.Engine())
		for _, c := range []struct {
			why  string
			dump *kept
			says string
		}{
			{"a row is missing", good.change("machines", lines, ""), "rows were announced"},
			{"a row is there twice", good.change("readings", "\n", "\n"+firstLine(good, "readings")), ""},
			{"the end is missing", good.change("machines", lines, strings.TrimSuffix(lines, "\n")), "the end is missing"},
			{"a value too few", good.change("machines", "[", "[]\n["), "values for"},
			{"no JSON", good.change("machines", "[", "(["), "no row of a dump"},
			{"a text for a number", good.change("chain_head", ",1,", `,"1",`), "no integer"},
			{"a change was altered", good.change("changes", "Truck one", "Truck two"), "broken at row"},
			{"a reference to nothing", good.change("readings", "machine_id", "machine_id").refer(), "refers to"},
			{"a table is missing", lacking, "is not that of schema"},
			{"a table cannot be read", unread, "no such table"},
			{"a column is new", columns, "is not that of schema"},
			{"a newer program's", newer, "newer hoseward"},
			{"no version", none, "no version"},
			{"another head", head, "head of its change log"},
		} {
			_, err := store.Load(t.Context(), dsn, c.dump.info, again{c.dump})
			if err == nil || c.says != "refers to" && !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s: %v, want %q", c.why, err, c.says)
			}
		}
		if _, err := store.OpenAsIs(t.Context(), dsn); !errors.Is(err, store.ErrNoRegister) {
			t.Errorf("after all refusals: %v, want no register", err)
		}
		if _, err := store.Load(t.Context(), dsn, good.info, again{good}); err != nil {
			t.Errorf("the good one after all refusals: %v", err)
		}
	})
}

// refer makes the first reading one of a machine that is not there.
func (k *kept) refer() *kept {
	for _, t := range k.info.Tables {
		if t.Name == "readings" {
			i := slices.Index(t.Columns, "machine_id")
			first := strings.TrimSuffix(firstLine(k, "readings"), "\n")
			cells := strings.Split(strings.Trim(first, "[]"), ",")
			cells[i] = "4711"
			return k.change("readings", first, "["+strings.Join(cells, ",")+"]")
		}
	}
	return nil
}

func firstLine(k *kept, table string) string {
	line, _, _ := strings.Cut(k.tables[table].String(), "\n")
	return line + "\n"
}

// stuck ends the context while a table is read, as a stopped program does.
type stuck struct {
	again
	stop  context.CancelFunc
	after int
}

func (s *stuck) Table(name string) (io.ReadCloser, error) {
	if s.after--; s.after == 0 {
		s.stop()
	}
	return s.again.Table(name)
}

func TestLoad_OneThatWasCutShortIsRefusedUntilItIsDoneAgain(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		k := dumped(t, s)
		dsn := address(t, s.Engine())
		ctx, stop := context.WithCancel(t.Context())
		if _, err := store.Load(ctx, dsn, k.info, &stuck{again{k}, stop, 9}); err == nil {
			t.Fatal("a load that was stopped says it is done")
		}
		if _, err := store.OpenAsIs(t.Context(), dsn); !errors.Is(err, store.ErrNoRegister) {
			t.Errorf("after one that was stopped: %v, want no register", err)
		}
		b := mustLoad(t, s.Engine(), k)
		// What a killed one leaves: some rows and the mark.
		raw(t, b, "CREATE TABLE unfinished_load (id bigint PRIMARY KEY)", "DELETE FROM findings")
		killed := b.Address()
		for _, o := range []store.Options{{}, {Migrate: true}} {
			if _, err := store.Open(t.Context(), killed, o); !errors.Is(err, store.ErrUnfinished) {
				t.Errorf("open %+v: %v, want ErrUnfinished", o, err)
			}
		}
		if _, err := store.OpenAsIs(t.Context(), killed); !errors.Is(err, store.ErrUnfinished) {
			t.Errorf("open to dump: %v, want ErrUnfinished", err)
		}
		if _, err := store.Load(t.Context(), killed, k.info, again{k}); err != nil {
			t.Fatalf("again: %v", err)
		}
		sameDump(t, "again", k, dumped(t, open(t, killed)))
	})
}
