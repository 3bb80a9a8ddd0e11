package store

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/pressly/goose/v3"

	"hoseward/internal/register"
)

var (
	// ErrNoRegister: there is no register at the address.
	ErrNoRegister = errors.New("there is no register here")
	// ErrUnfinished: a load into this register was cut short.
	ErrUnfinished = errors.New("this is not a whole register: loading a backup or a copy into it was cut short; do that again, or delete it")
	// ErrNotEmpty: a dump goes into an empty register only.
	ErrNotEmpty = errors.New("the register is not empty, and a backup or a copy goes into an empty one only; give another --db")
	// ErrInUse: a service runs on the register, or something is loaded into it.
	ErrInUse = errors.New("the register is in use: a service runs on it, or another backup or copy is loaded into it; stop that first")
	// ErrDump: a dump is not what it says it is.
	ErrDump = errors.New("the backup cannot be loaded")
)

// unfinishedTable stands in a register while it is being loaded, so that a
// load that was cut short is never taken for a whole register.
const unfinishedTable = "unfinished_load"

// Loaded says what a load has put in a register.
type Loaded struct {
	Rows   int64 // of all tables
	Schema int64 // as it was dumped; the register has this program's now
	Seq    int64 // head of the change log
	Hash   string
}

// Load makes the register at dsn, which must be empty or not there, from a
// dump: the schema the dump has, its rows as they are, then the program's own
// schema, counts and search texts anew. It is done only when the change log
// verifies, every reference holds and the counts are those of info. An error
// leaves an empty database, or where even that fails one that is refused as
// ErrUnfinished; so does being killed. While a service or another load is at
// work on the register it is ErrInUse.
func Load(ctx context.Context, dsn string, info register.DumpInfo, src register.DumpSource) (Loaded, error) {
	s, err := connect(ctx, dsn)
	if err != nil {
		return Loaded{}, err
	}
	err = s.alone(ctx, func() error {
		if err := s.wantEmpty(ctx); err != nil {
			return err
		}
		if err := s.load(ctx, info, src); err != nil {
			return errors.Join(err, s.wipe(context.WithoutCancel(ctx)))
		}
		return nil
	})
	if err = errors.Join(err, s.Close()); err != nil {
		return Loaded{}, err
	}
	return Loaded{Rows: info.Rows(), Schema: info.Schema, Seq: info.Seq, Hash: info.Hash}, nil
}

// alone runs f while no service and no other load is at work on the register:
// one that failed would take away what another has just loaded. It holds what
// makes a program the leader.
func (s *Store) alone(ctx context.Context, f func() error) error {
	hold, let := context.WithCancel(context.WithoutCancel(ctx))
	defer let()
	lost, err := s.Lead(hold, func(string) {})
	switch {
	case err != nil:
		return err
	case lost == nil:
		return ErrInUse
	}
	defer func() {
		let()
		<-lost
	}()
	return f()
}

// WantEmpty refuses, as Load does, a register at dsn that is not empty.
func WantEmpty(ctx context.Context, dsn string) error {
	s, err := connect(ctx, dsn)
	if err != nil {
		return err
	}
	return errors.Join(s.wantEmpty(ctx), s.Close())
}

// wantEmpty refuses a register in which anything is that nobody may lose.
func (s *Store) wantEmpty(ctx context.Context) error {
	c := s.reader()
	unfinished, err := hasTable(ctx, c, unfinishedTable)
	if err != nil || unfinished {
		return err
	}
	empty, err := isEmpty(ctx, c)
	if err == nil && !empty {
		return ErrNotEmpty
	}
	return err
}

func (s *Store) load(ctx context.Context, info register.DumpInfo, src register.DumpSource) error {
	if err := s.prepareSchema(ctx, info.Schema); err != nil {
		return err
	}
	err := s.inTx(ctx, func(c conn) error { return loadRows(ctx, c, info, src) })
	if err != nil {
		return err
	}
	if err := s.bringUp(ctx); err != nil {
		return err
	}
	if err := s.recount(ctx); err != nil {
		return err
	}
	if err := s.MakeFinds(ctx); err != nil {
		return err
	}
	if err := s.checkLoaded(ctx, info); err != nil {
		return err
	}
	if s.e.name == Postgres {
		if _, err := s.write.ExecContext(ctx, "ANALYZE"); err != nil {
			return fmt.Errorf("count for the planner: %w", err)
		}
	}
	if _, err := s.write.ExecContext(ctx, "DROP TABLE "+unfinishedTable); err != nil {
		return fmt.Errorf("call the register whole: %w", translate(err))
	}
	return nil
}

// prepareSchema marks the register as unfinished and brings it from whatever
// it was, which is empty, to the schema of a dump.
func (s *Store) prepareSchema(ctx context.Context, schema int64) error {
	if _, err := s.write.ExecContext(ctx, "CREATE TABLE IF NOT EXISTS "+unfinishedTable+" (id bigint PRIMARY KEY)"); err != nil {
		return fmt.Errorf("mark the register as being loaded: %w", translate(err))
	}
	return s.withProvider(ctx, func(p *goose.Provider) error {
		sources := p.ListSources()
		if newest := sources[len(sources)-1].Version; schema > newest {
			return fmt.Errorf("%w: it was made by a newer hoseward (schema %d, this program has %d); use the newer program", ErrDump, schema, newest)
		}
		if schema < 1 {
			return fmt.Errorf("%w: it says no version of a schema", ErrDump)
		}
		if _, err := p.DownTo(ctx, 0); err != nil {
			return fmt.Errorf("empty the register: %w", err)
		}
		if _, err := p.UpTo(ctx, schema); err != nil {
			return fmt.Errorf("make the schema of the backup: %w", err)
		}
		return nil
	})
}

// wipe leaves an empty database behind a load that failed.
func (s *Store) wipe(ctx context.Context) error {
	err := s.withProvider(ctx, func(p *goose.Provider) error {
		_, err := p.DownTo(ctx, 0)
		return err
	})
	if err == nil {
		_, err = s.write.ExecContext(ctx, "DROP TABLE IF EXISTS "+unfinishedTable)
	}
	if err != nil {
		return fmt.Errorf("take the unfinished load back (the database holds no whole register now): %w", err)
	}
	return nil
}

// loadRows puts all rows in, in one transaction, with triggers out of the way:
// what they keep is made anew afterwards.
func loadRows(ctx context.Context, c conn, info register.DumpInfo, src register.DumpSource) error {
	tables, err := catalog(ctx, c)
	if err != nil {
		return err
	}
	if err := sameTables(tables, info); err != nil {
		return err
	}
	back, err := c.withoutTriggers(ctx, tables)
	if err != nil {
		return err
	}
	for _, t := range slices.Backward(tables) { // rows that migrations have put there
		if _, err := c.exec(ctx, "DELETE FROM "+quotedName(t.name)); err != nil {
			return fmt.Errorf("empty table %s: %w", t.name, err)
		}
	}
	for _, t := range tables {
		i := slices.IndexFunc(info.Tables, func(d register.DumpTable) bool { return d.Name == t.name })
		if err := loadTable(ctx, c, t, info.Tables[i], src); err != nil {
			return fmt.Errorf("load table %s: %w", t.name, err)
		}
	}
	return back()
}

// sameTables wants a dump to have the tables and columns its schema has.
func sameTables(tables []*catalogTable, info register.DumpInfo) error {
	have := map[string]string{}
	for _, t := range info.Tables {
		have[t.Name] = strings.Join(t.Columns, ", ")
	}
	for _, t := range tables {
		if columns, ok := have[t.name]; !ok || columns != strings.Join(t.names(), ", ") {
			return fmt.Errorf("%w: its table %s is not that of schema %d", ErrDump, t.name, info.Schema)
		}
	}
	if len(have) != len(tables) || len(have) != len(info.Tables) {
		return fmt.Errorf("%w: it has tables that schema %d has not", ErrDump, info.Schema)
	}
	return nil
}

func loadTable(ctx context.Context, c conn, t *catalogTable, entry register.DumpTable, src register.DumpSource) (err error) {
	lines, err := src.Table(t.name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lines.Close()) }()
	in := newInserter(ctx, c, t)
	r := bufio.NewReaderSize(lines, 64<<10)
	var line []byte
	var cells []cell
	n := int64(0)
	for ; ; n++ {
		line, err = readLine(r, line[:0])
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			cells, err = parseLine(line, cells[:0])
		}
		if err == nil {
			err = in.add(cells)
		}
		if err != nil {
			return fmt.Errorf("row %d: %w", n+1, err)
		}
	}
	if err := in.finish(); err != nil {
		return err
	}
	var stored int64
	if err := c.row(ctx, "SELECT COUNT(*) FROM "+quotedName(t.name)).Scan(&stored); err != nil {
		return translate(err)
	}
	if n != entry.Rows || stored != n {
		return fmt.Errorf("%w: %d rows were announced, %d read, %d stored", ErrDump, entry.Rows, n, stored)
	}
	return setLastID(ctx, c, t, entry.LastID)
}

// lineMost bounds a line, which is one row.
const lineMost = 1 << 30

// readLine reads a line without its line feed; io.EOF only where none began.
func readLine(r *bufio.Reader, into []byte) ([]byte, error) {
	for {
		part, err := r.ReadSlice('\n')
		into = append(into, part...)
		switch {
		case err == nil:
			return bytes.TrimSuffix(into, []byte("\n")), nil
		case errors.Is(err, io.EOF) && len(into) > 0:
			return into, fmt.Errorf("%w: the end is missing", ErrDump)
		case !errors.Is(err, bufio.ErrBufferFull):
			return into, err
		case len(into) > lineMost:
			return into, fmt.Errorf("%w: a row is longer than any can be", ErrDump)
		}
	}
}

// checkLoaded wants all references to hold, the change log to verify and its
// head to be the dump's.
func (s *Store) checkLoaded(ctx context.Context, info register.DumpInfo) error {
	if s.e.name == SQLite { // PostgreSQL has checked each as it was stored
		if err := checkForeignKeys(ctx, s.read); err != nil {
			return err
		}
	}
	have, err := describe(ctx, s.reader())
	if err != nil {
		return err
	}
	if have.Seq != info.Seq || have.Hash != info.Hash {
		return fmt.Errorf("%w: the head of its change log is row %d, not row %d as it says", ErrDump, have.Seq, info.Seq)
	}
	_, broken, err := s.VerifyChain(ctx)
	if err != nil {
		return err
	}
	if broken != 0 {
		return fmt.Errorf("%w: its change log is broken at row %d", ErrDump, broken)
	}
	return nil
}
