package store

import (
	"context"
	"database/sql"
	"strconv"
	"strings"

	"gorm.io/gorm"

	"hoseward/internal/quantity"
)

// The names of the engines.
const (
	SQLite   = "sqlite"
	Postgres = "postgres"
)

// engine is what differs between the databases.
type engine struct {
	name string
	// dueKey sorts estimates as the due list does; it must be the expression
	// of the indexes of estimates word by word.
	dueKey    string
	like      string // case-insensitive match
	forUpdate string // locks the rows a SELECT finds
}

var sqliteEngine = engine{
	name:   SQLite,
	dueKey: "CASE WHEN stop_open THEN '0' ELSE '1' END || COALESCE(act_by, '9999-12-31')",
	like:   "LIKE",
}

var postgresEngine = engine{
	name:      Postgres,
	dueKey:    "CASE WHEN stop_open THEN 0 ELSE 10000000 END + (COALESCE(act_by, DATE '9999-12-31') - DATE '0001-01-01')",
	like:      "ILIKE",
	forUpdate: " FOR UPDATE",
}

// date writes a day as a literal, so that the planner knows its type.
func (e *engine) date(d quantity.Date) string {
	if e.name == Postgres {
		return "DATE '" + d.String() + "'"
	}
	return "'" + d.String() + "'"
}

// key is the value of dueKey for a line with that act-by date.
func (e *engine) key(stop bool, actBy quantity.Date) string {
	if actBy.IsZero() {
		actBy = quantity.MaxDate
	}
	if e.name == Postgres {
		n := actBy.Sub(quantity.MinDate)
		if !stop {
			n += 10000000
		}
		return strconv.Itoa(n)
	}
	mark := "1"
	if stop {
		mark = "0"
	}
	return "'" + mark + actBy.String() + "'"
}

// bind writes the place holders ? as the engine wants them. No statement of
// this package has a question mark in a literal.
func (e *engine) bind(query string) string {
	if e.name != Postgres || !strings.Contains(query, "?") {
		return query
	}
	var b strings.Builder
	b.Grow(len(query) + 16)
	n := 0
	for {
		i := strings.IndexByte(query, '?')
		if i < 0 {
			b.WriteString(query)
			return b.String()
		}
		n++
		b.WriteString(query[:i])
		b.WriteByte('$')
		b.WriteString(strconv.Itoa(n))
		query = query[i+1:]
	}
}

// querier is a pool or a transaction.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// conn runs plain SQL, written with ? on either engine.
type conn struct {
	querier
	e     *engine
	ready *prepared // of a transaction on SQLite, else nil
}

func (c conn) exec(ctx context.Context, query string, args ...any) (sql.Result, error) {
	var r sql.Result
	var err error
	if st := c.ready.statement(ctx, query); st != nil {
		r, err = st.ExecContext(ctx, args...)
	} else {
		r, err = c.ExecContext(ctx, c.e.bind(query), args...)
	}
	return r, translate(err)
}

func (c conn) query(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	var r *sql.Rows
	err := c.onAny(func() (err error) {
		if st := c.ready.statement(ctx, query); st != nil {
			r, err = st.QueryContext(ctx, args...)
		} else {
			r, err = c.QueryContext(ctx, c.e.bind(query), args...)
		}
		return err
	})
	return r, translate(err)
}

func (c conn) row(ctx context.Context, query string, args ...any) oneRow {
	return oneRow{c, func() *sql.Row {
		if st := c.ready.statement(ctx, query); st != nil {
			return st.QueryRowContext(ctx, args...)
		}
		return c.QueryRowContext(ctx, c.e.bind(query), args...)
	}}
}

// oneRow is the row of a query that finds one; the query runs when it is
// scanned.
type oneRow struct {
	c   conn
	ask func() *sql.Row
}

// Scan is that of sql.Row, its errors translated.
func (r oneRow) Scan(dest ...any) error {
	return translate(r.c.onAny(func() error { return r.ask().Scan(dest...) }))
}

// onAny runs a query, outside of a transaction on another connection where the
// one it had broke: a server that was started anew leaves a pool of such.
func (c conn) onAny(run func() error) error {
	_, pool := c.querier.(*sql.DB)
	err := run()
	for range brokenConnections {
		if !pool || !cutConnection(err) {
			break
		}
		err = run()
	}
	return err
}

// dialect wraps gorm's so that errors of the pure Go SQLite driver are
// translated too: gorm's own translator knows another driver's errors only.
type dialect struct{ gorm.Dialector }

// Translate turns a driver's error into one of gorm's.
func (dialect) Translate(err error) error { return translate(err) }

// idList writes ids for an IN list. Numbers need no place holders, and there
// may be more of them than place holders are allowed.
func idList(ids []int64) string {
	if len(ids) == 0 {
		return "NULL"
	}
	b := make([]byte, 0, 8*len(ids))
	for i, id := range ids {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, id, 10)
	}
	return string(b)
}
