package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	gormsqlite "gorm.io/driver/sqlite"

	"hoseward/internal/register"
)

// shortList is how many rows a dry run may have to be made in the register
// itself: it takes less than a second.
const shortList = 500

// rowsAhead are the first rows of a source, read before the rest.
type rowsAhead struct {
	rows []register.ImportRow
	err  error // behind them, io.EOF at the end of the source
	rest RowSource
}

// readAhead reads at most n rows.
func readAhead(ctx context.Context, src RowSource, n int) (*rowsAhead, error) {
	a := &rowsAhead{rest: src}
	for len(a.rows) < n && a.err == nil {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var row register.ImportRow
		if row, a.err = src.Next(); a.err == nil {
			a.rows = append(a.rows, row)
		}
	}
	return a, nil
}

// Next gives the rows read ahead, then the rest.
func (a *rowsAhead) Next() (register.ImportRow, error) {
	if len(a.rows) > 0 {
		row := a.rows[0]
		a.rows[0] = register.ImportRow{}
		a.rows = a.rows[1:]
		return row, nil
	}
	if a.err != nil {
		return register.ImportRow{}, a.err
	}
	return a.rest.Next()
}

// dryRun says what an import would do. SQLite takes one writer at a time, so a
// list that is not short is tried on a copy of the register that is thrown
// away: nobody waits for it, and the register's log does not grow by it.
func (s *Store) dryRun(ctx context.Context, now time.Time, by register.Actor, src RowSource, opts ImportOptions) (report register.ImportReport, err error) {
	if s.e.name != SQLite {
		return s.importRows(ctx, now, by, src, opts)
	}
	ahead, err := readAhead(ctx, src, shortList)
	if err != nil {
		return register.ImportReport{Kind: opts.Kind}, err
	}
	if ahead.err != nil {
		return s.importRows(ctx, now, by, ahead, opts)
	}
	dir, err := os.MkdirTemp("", "hoseward-try-")
	if err != nil { // some containers have no folder for such files
		dir, err = os.MkdirTemp(filepath.Dir(s.dsn), "hoseward-try-")
	}
	if err != nil {
		return report, fmt.Errorf("make a folder to try the import in: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	other, err := s.copied(ctx, filepath.Join(dir, "register.db"))
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, other.Close()) }()
	return other.importRows(ctx, now, by, ahead, opts)
}

// copied is the register as it is now, in another file that need not outlive
// anything. It can only be written to in transactions.
func (s *Store) copied(ctx context.Context, path string) (*Store, error) {
	from, err := sql.Open("sqlite", sqliteDSN(s.dsn, "_txlock=deferred"))
	if err != nil {
		return nil, fmt.Errorf("open the register to copy it: %w", err)
	}
	_, err = from.ExecContext(ctx, "VACUUM INTO ?", path)
	if err = errors.Join(err, from.Close()); err != nil {
		return nil, fmt.Errorf("copy the register to try the import: %w", err)
	}
	w, err := sql.Open("sqlite", sqliteDSN(path, "_txlock=immediate", "_pragma=foreign_keys(1)", "_pragma=journal_mode(DELETE)", "_pragma=synchronous(OFF)"))
	if err != nil {
		return nil, fmt.Errorf("open the copy of the register: %w", err)
	}
	w.SetMaxOpenConns(1)
	other := &Store{e: s.e, dsn: path, write: w, read: w, scope: s.scope}
	if err := other.attach(ctx, gormsqlite.New(gormsqlite.Config{DriverName: "sqlite", Conn: w})); err != nil {
		return nil, err
	}
	return other, nil
}
