package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"strings"
)

// inserter puts rows of a dump into a table as they are.
type inserter struct {
	ctx    context.Context
	c      conn
	t      *catalogTable
	most   int // rows in one statement
	values []any
	full   *sql.Stmt // for most rows
}

// Place holders of one statement: PostgreSQL takes 65 535; more rows at once
// are no faster on SQLite, which needs no way to a server.
const (
	postgresHolders = 20000
	sqliteHolders   = 200
)

func newInserter(ctx context.Context, c conn, t *catalogTable) *inserter {
	holders := sqliteHolders
	if c.e.name == Postgres {
		holders = postgresHolders
	}
	return &inserter{ctx: ctx, c: c, t: t, most: min(max(holders/len(t.columns), 1), 500)}
}

// add takes a row; it is stored at the latest by finish.
func (in *inserter) add(cells []cell) error {
	if len(cells) != len(in.t.columns) {
		return fmt.Errorf("%w: it has %d values for %d columns", ErrDump, len(cells), len(in.t.columns))
	}
	for i, c := range cells {
		v, err := valueFor(in.t.columns[i].kind, c)
		if err != nil {
			return fmt.Errorf("%w: column %s: %w", ErrDump, in.t.columns[i].name, err)
		}
		if f, ok := v.(float64); ok && math.IsNaN(f) && in.c.e.name == SQLite {
			return fmt.Errorf("column %s is no number, which SQLite cannot hold", in.t.columns[i].name)
		}
		in.values = append(in.values, v)
	}
	if len(in.values) < in.most*len(in.t.columns) {
		return nil
	}
	return in.flush()
}

// finish stores what is left.
func (in *inserter) finish() error {
	err := in.flush()
	if in.full != nil {
		err = errors.Join(err, in.full.Close())
	}
	return err
}

func (in *inserter) flush() error {
	n := len(in.values) / len(in.t.columns)
	if n == 0 {
		return nil
	}
	var err error
	switch {
	case n < in.most:
		_, err = in.c.ExecContext(in.ctx, in.query(n), in.values...)
	case in.full == nil:
		if in.full, err = in.c.querier.(*sql.Tx).PrepareContext(in.ctx, in.query(n)); err != nil {
			break
		}
		fallthrough
	default:
		_, err = in.full.ExecContext(in.ctx, in.values...)
	}
	in.values = in.values[:0]
	return translate(err)
}

func (in *inserter) query(rows int) string {
	one := "(" + strings.Repeat("?, ", len(in.t.columns)-1) + "?)"
	return in.c.e.bind("INSERT INTO " + quotedName(in.t.name) + " (" + quotedList(in.t.names()) + ") VALUES " +
		one + strings.Repeat(", "+one, rows-1))
}

// withoutTriggers takes the triggers away until back is called, in the same
// transaction, and lets rows refer to later rows of their own table until then.
func (c conn) withoutTriggers(ctx context.Context, tables []*catalogTable) (back func() error, err error) {
	before, after, err := c.triggerStatements(ctx, tables)
	if err != nil {
		return nil, err
	}
	run := func(statements []string) error {
		for _, q := range statements {
			if _, err := c.ExecContext(ctx, q); err != nil {
				return fmt.Errorf("%s: %w", q, translate(err))
			}
		}
		return nil
	}
	return func() error { return run(after) }, run(before)
}

// triggerStatements are what takes triggers away, and what brings them back.
func (c conn) triggerStatements(ctx context.Context, tables []*catalogTable) (before, after []string, err error) {
	if c.e.name == SQLite {
		before = append(before, "PRAGMA defer_foreign_keys = ON") // until the commit
		err = eachRow(ctx, c, "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name", func(scan func(...any) error) error {
			var name, text string
			err := scan(&name, &text)
			before, after = append(before, "DROP TRIGGER "+quotedName(name)), append(after, text)
			return err
		})
		if err != nil {
			return nil, nil, fmt.Errorf("read the triggers: %w", translate(err))
		}
		return before, after, nil
	}
	after = append(after, "SET CONSTRAINTS ALL IMMEDIATE")
	for _, t := range tables {
		alter := "ALTER TABLE " + quotedName(t.name)
		before, after = append(before, alter+" DISABLE TRIGGER USER"), append(after, alter+" ENABLE TRIGGER USER")
		for _, k := range t.self {
			k = alter + " ALTER CONSTRAINT " + quotedName(k)
			before, after = append(before, k+" DEFERRABLE INITIALLY DEFERRED"), append(after, k+" NOT DEFERRABLE")
		}
	}
	return before, after, nil
}

// setLastID makes a table give out ids only above all it has ever given out.
func setLastID(ctx context.Context, c conn, t *catalogTable, last int64) error {
	if t.counted == "" {
		return nil
	}
	var highest int64
	err := c.row(ctx, "SELECT COALESCE(MAX("+quotedName(t.counted)+"), 0) FROM "+quotedName(t.name)).Scan(&highest)
	if err != nil {
		return translate(err)
	}
	last = max(last, highest)
	if c.e.name == Postgres {
		_, err = c.exec(ctx, "SELECT setval(pg_get_serial_sequence(?, ?), ?, ?)", quotedName(t.name), t.counted, max(last, 1), last > 0)
	} else if _, err = c.exec(ctx, "DELETE FROM sqlite_sequence WHERE name = ?", t.name); err == nil && last > 0 {
		_, err = c.exec(ctx, "INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", t.name, last)
	}
	if err != nil {
		return fmt.Errorf("set the last id: %w", err)
	}
	return nil
}
