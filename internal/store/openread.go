package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	gormsqlite "gorm.io/driver/sqlite"

	"hoseward/internal/register"
	"hoseward/migrations"
)

// OpenToRead opens a register that is there and writes nothing, not even its
// schema: a copy on a read-only disk will do. Changes fail. A schema that is not
// the program's is ErrSchemaNew or ErrSchemaOld; no register at all is
// ErrNoRegister.
func OpenToRead(ctx context.Context, dsn string) (s *Store, err error) {
	if strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://") {
		s, err = connectPostgres(ctx, dsn)
	} else {
		s, err = connectToRead(ctx, dsn)
	}
	if err != nil {
		return nil, err
	}
	if err := firstError(s.wantWhole(ctx), s.compareToRead(ctx)); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// connectToRead opens an SQLite file read-only. One that was left in the mode of
// a write-ahead log, in a folder that nothing can be written to, is taken as a
// file that nobody else changes.
func connectToRead(ctx context.Context, path string) (*Store, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("open the register: %w", err)
	}
	s, err := readOnly(ctx, path, "mode=ro")
	if err == nil {
		return s, nil
	}
	if log, statErr := os.Stat(path + "-wal"); statErr == nil && log.Size() > 0 {
		return nil, err // what is in there would be missed
	}
	if s, again := readOnly(ctx, path, "mode=ro&immutable=1"); again == nil {
		return s, nil
	}
	return nil, err
}

func readOnly(ctx context.Context, path, mode string) (*Store, error) {
	dsn := sqliteURL(path) + "?" + mode + "&_pragma=busy_timeout(5000)&_pragma=query_only(1)&_txlock=deferred&_time_format=sqlite&_timezone=UTC&_texttotime=1"
	db, err := sql.Open("sqlite", dsn)
	if err != nil {
		return nil, fmt.Errorf("open SQLite file %s: %w", path, err)
	}
	db.SetMaxOpenConns(sqliteReaders)
	s := &Store{e: &sqliteEngine, dsn: path, write: db, read: db, scope: register.AllSites()}
	var n int
	if err := db.QueryRowContext(ctx, "SELECT COUNT(*) FROM sqlite_master").Scan(&n); err != nil {
		return nil, errors.Join(fmt.Errorf("read SQLite file %s: %w", path, translate(err)), db.Close())
	}
	return s, s.attach(ctx, gormsqlite.New(gormsqlite.Config{DriverName: "sqlite", Conn: db}))
}

// compareToRead wants the schema to be the program's, without goose, which
// would write.
func (s *Store) compareToRead(ctx context.Context) error {
	have, err := schemaOf(ctx, s.reader())
	if err != nil {
		return err
	}
	names, err := fs.Glob(migrations.SQLite, "sqlite/*.sql")
	if err != nil {
		return fmt.Errorf("read the migrations: %w", err)
	}
	switch want := int64(len(names)); { // they are numbered from 1 without a gap
	case have == 0:
		return ErrNoRegister
	case have > want:
		return fmt.Errorf("%w (schema %d, program %d)", ErrSchemaNew, have, want)
	case have < want:
		return fmt.Errorf("%w (schema %d, program %d)", ErrSchemaOld, have, want)
	}
	return s.wantWhole(ctx)
}
