package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"
	"gorm.io/gorm"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"hoseward/internal/register"
)

// errAgain marks a transaction that lost against another one and may be tried
// again from its beginning. It is a register.ErrBusy for whoever is told of it.
var errAgain = fmt.Errorf("transaction lost against another: %w", register.ErrBusy)

// translate makes the errors of both drivers ones that errors.Is knows, and
// keeps the driver's behind them. It is for errors that a driver gave; see
// translateCode.
func translate(err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if _, kind := register.Trouble(err); kind == nil && lostConnection(err) {
		return fmt.Errorf("%w: %w", register.ErrGone, err)
	}
	return translateCode(err)
}

// translateCode is translate for errors that may come from elsewhere, such as a
// sheet that breaks off: it goes by what only a driver says.
func translateCode(err error) error {
	if _, kind := register.Trouble(err); kind != nil {
		return err // translated further down
	}
	var lite *sqlite.Error
	var pg *pgconn.PgError
	kind := error(nil)
	switch {
	case errors.As(err, &lite):
		kind = kindOfSQLite(lite.Code())
	case errors.As(err, &pg):
		kind = kindOfPostgres(pg.Code)
	}
	if kind == nil || errors.Is(err, kind) {
		return err
	}
	return fmt.Errorf("%w: %w", kind, err)
}

// kindOfSQLite is what an extended result code of SQLite means, nil where it
// is a mistake of ours. Source: sqlite.org, "Result and Error Codes".
func kindOfSQLite(code int) error {
	switch code {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return gorm.ErrDuplicatedKey
	case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return gorm.ErrForeignKeyViolated
	case sqlite3.SQLITE_CONSTRAINT_CHECK, sqlite3.SQLITE_CONSTRAINT_NOTNULL:
		return gorm.ErrCheckConstraintViolated
	case sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE: // what a file that may not grow gives
		return register.ErrFull
	}
	switch code & 0xff { // the primary code
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return register.ErrBusy
	case sqlite3.SQLITE_FULL:
		return register.ErrFull
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return register.ErrReadOnly
	case sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR:
		return register.ErrGone
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return register.ErrDamaged
	}
	return nil
}

// kindOfPostgres is what an error code of PostgreSQL means, nil where it is a
// mistake of ours. Source: PostgreSQL documentation, appendix A.
func kindOfPostgres(code string) error {
	switch code {
	case "23505":
		return gorm.ErrDuplicatedKey
	case "23503":
		return gorm.ErrForeignKeyViolated
	case "23514", "23502", "22003", "22021":
		return gorm.ErrCheckConstraintViolated
	case "40001", "40P01": // serialization failure, deadlock
		return errAgain
	case "55P03", "53300", "53200", "53400": // lock not had in time; too many connections, memory, another limit
		return register.ErrBusy
	case "53100":
		return register.ErrFull
	case "25006", "42501": // read-only transaction, as on a standby; no right to the table
		return register.ErrReadOnly
	case "57P01", "57P02", "57P03", "57P04", "58030", "3D000": // shut down, crashed, starting up, dropped; I/O; no such database
		return register.ErrGone
	case "XX001", "XX002":
		return register.ErrDamaged
	}
	if strings.HasPrefix(code, "08") || strings.HasPrefix(code, "28") { // connection, sign-in at the database
		return register.ErrGone
	}
	return nil
}

// lostConnection reports whether an error is one of the line to the database.
func lostConnection(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	return errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) ||
		errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE) || errors.Is(err, net.ErrClosed) || strings.HasSuffix(err.Error(), "conn closed")
}

// brokenConnections is how many connections that broke are left for another one
// before giving up: as many as a pool may hold.
const brokenConnections = 16

// cutConnection reports whether a connection that was there broke; others may
// be had then.
func cutConnection(err error) bool {
	var connect *pgconn.ConnectError
	var pg *pgconn.PgError
	if err == nil || errors.As(err, &connect) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return false
	}
	if errors.As(err, &pg) {
		return kindOfPostgres(pg.Code) == register.ErrGone
	}
	return lostConnection(err)
}

// unsure makes the error of a commit ErrUnsure where the line broke: the
// database may have carried it out.
func unsure(err error) error {
	err = translate(err)
	if errors.Is(err, register.ErrGone) {
		return fmt.Errorf("%w: %w", register.ErrUnsure, err)
	}
	return err
}
