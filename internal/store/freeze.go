package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"

	"hoseward/internal/register"
)

// Freeze hands f the register as it stands at one instant: its dump, and on
// SQLite the path of a copy of the database file made in dir, which holds the
// same and from which what is private and short-lived is taken out. On
// PostgreSQL the path is empty. The copy is f's to use until it returns, and
// dir's owner removes it.
func (s *Store) Freeze(ctx context.Context, dir string, f func(dump func(context.Context, register.DumpSink) (register.DumpInfo, error), file string) error) error {
	if s.e.name == Postgres {
		return f(s.Dump, "")
	}
	file := filepath.Join(dir, "register.db")
	if err := s.vacuumInto(ctx, file); err != nil {
		return err
	}
	db, err := sql.Open("sqlite", sqliteURL(file)+"?mode=ro&_time_format=sqlite&_timezone=UTC&_texttotime=1")
	if err != nil {
		return fmt.Errorf("open the copy of the register: %w", err)
	}
	copied := &Store{e: &sqliteEngine, dsn: file, write: db, read: db}
	return errors.Join(f(copied.Dump, file), copied.Close())
}

// vacuumInto copies the database, and empties in the copy what must not leave
// the register.
func (s *Store) vacuumInto(ctx context.Context, file string) (err error) {
	from, err := sql.Open("sqlite", sqliteDSN(s.dsn))
	if err != nil {
		return fmt.Errorf("open the register to copy it: %w", err)
	}
	_, err = from.ExecContext(ctx, "VACUUM INTO ?", file)
	if err = errors.Join(err, from.Close()); err != nil {
		return fmt.Errorf("copy the register: %w", err)
	}
	to, err := sql.Open("sqlite", sqliteURL(file)+"?_pragma=secure_delete(1)&_pragma=journal_mode(DELETE)")
	if err != nil {
		return fmt.Errorf("open the copy of the register: %w", err)
	}
	defer func() { err = errors.Join(err, to.Close()) }()
	to.SetMaxOpenConns(1)
	for _, table := range []string{"sessions", "invitations"} {
		there, err := hasTable(ctx, conn{querier: to, e: s.e}, table)
		if err != nil {
			return err
		}
		if !there {
			continue // an older schema
		}
		if _, err := to.ExecContext(ctx, "DELETE FROM "+table); err != nil {
			return fmt.Errorf("take %s out of the copy: %w", table, err)
		}
	}
	return nil
}
