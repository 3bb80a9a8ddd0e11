package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/pressly/goose/v3"
)

// isEmpty reports whether there is nothing in a database but what migrations
// and the first start of the program put there. Every change of a register
// moves the head of its change log.
func isEmpty(ctx context.Context, c conn) (bool, error) {
	schema, err := schemaOf(ctx, c)
	if err != nil {
		return false, err
	}
	if schema == 0 {
		return noTables(ctx, c)
	}
	tables, err := catalog(ctx, c)
	if err != nil {
		return false, err
	}
	for _, t := range tables {
		var others bool
		if err := c.row(ctx, "SELECT EXISTS (SELECT 1 FROM "+quotedName(t.name)+" WHERE NOT ("+fromTheStart(t.name)+"))").Scan(&others); err != nil {
			return false, fmt.Errorf("look whether table %s is empty: %w", t.name, translate(err))
		}
		if others {
			return false, nil
		}
	}
	return true, nil
}

// fromTheStart is a condition on rows that a register has which nobody used.
func fromTheStart(table string) string {
	switch table {
	case "people":
		return "id = 1"
	case "person_roles":
		return "person_id = 1"
	case "credentials": // the row that counts tries by names that are nobody's
		return "person_id = 1 AND password_hash = ''"
	case "policies":
		return "shipped"
	case "kinds", "duties", "job_runs":
		return "1 = 1"
	case "chain_head":
		return "seq = 0"
	case "code_counters":
		return "last = 0"
	}
	return "1 = 0"
}

// noTables reports whether a database that is no register has nothing else in
// it either.
func noTables(ctx context.Context, c conn) (bool, error) {
	query := "SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name NOT IN ('goose_db_version', 'sqlite_sequence')"
	if c.e.name == Postgres {
		query = "SELECT COUNT(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename <> 'goose_db_version'"
	}
	var n int
	if err := c.row(ctx, query).Scan(&n); err != nil {
		return false, fmt.Errorf("look whether the database is empty: %w", translate(err))
	}
	return n == 0, nil
}

// wantWhole refuses a register that was not loaded to its end.
func (s *Store) wantWhole(ctx context.Context) error {
	unfinished, err := hasTable(ctx, s.reader(), unfinishedTable)
	if err == nil && unfinished {
		return ErrUnfinished
	}
	return err
}

// beforeUpgrade calls before if the register is older than the program and has
// anything in it.
func (s *Store) beforeUpgrade(ctx context.Context, before func(context.Context, *Store, int64) error) error {
	var have, want int64
	err := s.withProvider(ctx, func(p *goose.Provider) (err error) {
		have, want, err = p.GetVersions(ctx)
		return err
	})
	if err != nil {
		return fmt.Errorf("read the version of the register's schema: %w", err)
	}
	if have == 0 || have >= want {
		return nil
	}
	empty, err := isEmpty(ctx, s.reader())
	if err != nil || empty {
		return err
	}
	return before(ctx, s, want)
}

// OpenAsIs opens a register, whatever its schema is, to dump it: nothing of it
// is changed. Where there is none it is ErrNoRegister.
func OpenAsIs(ctx context.Context, dsn string) (*Store, error) {
	s, err := connect(ctx, dsn)
	if err != nil {
		return nil, err
	}
	err = s.wantWhole(ctx)
	if err == nil {
		_, err = describe(ctx, s.reader())
	}
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}
