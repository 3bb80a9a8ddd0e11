package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"gorm.io/gorm"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

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
	if st := c.ready.statement(ctx, query); st != nil {
		return st.QueryContext(ctx, args...)
	}
	return c.QueryContext(ctx, c.e.bind(query), args...)
}

func (c conn) row(ctx context.Context, query string, args ...any) *sql.Row {
	if st := c.ready.statement(ctx, query); st != nil {
		return st.QueryRowContext(ctx, args...)
	}
	return c.QueryRowContext(ctx, c.e.bind(query), args...)
}

// dialect wraps gorm's so that errors of the pure Go SQLite driver are
// translated too: gorm's own translator knows another driver's errors only.
type dialect struct{ gorm.Dialector }

// Translate turns a driver's error into one of gorm's.
func (dialect) Translate(err error) error { return translate(err) }

// translate makes the errors of both drivers ones that errors.Is knows, and
// keeps the driver's behind them.
func translate(err error) error {
	var lite *sqlite.Error
	var pg *pgconn.PgError
	kind := error(nil)
	switch {
	case errors.As(err, &lite):
		switch lite.Code() {
		case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			kind = gorm.ErrDuplicatedKey
		case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
			kind = gorm.ErrForeignKeyViolated
		case sqlite3.SQLITE_CONSTRAINT_CHECK, sqlite3.SQLITE_CONSTRAINT_NOTNULL:
			kind = gorm.ErrCheckConstraintViolated
		}
	case errors.As(err, &pg):
		switch pg.Code {
		case "23505":
			kind = gorm.ErrDuplicatedKey
		case "23503":
			kind = gorm.ErrForeignKeyViolated
		case "23514", "23502", "22003", "22021":
			kind = gorm.ErrCheckConstraintViolated
		case "40001", "40P01":
			kind = errAgain
		}
	}
	if kind == nil || errors.Is(err, kind) {
		return err
	}
	return fmt.Errorf("%w: %w", kind, err)
}

// errAgain marks a transaction that lost against another one and may be tried
// again from its beginning.
var errAgain = errors.New("transaction lost against another")

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
