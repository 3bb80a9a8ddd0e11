package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"reflect"

	"github.com/pressly/goose/v3"
	"gorm.io/gorm"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/migrations"
)

// The schema of a register that this program cannot work with as it is.
var (
	// ErrSchemaOld: run hoseward migrate first.
	ErrSchemaOld = errors.New("the register's schema is older than this program; run: hoseward migrate")
	// ErrSchemaNew: a newer program has used this register.
	ErrSchemaNew = errors.New("the register's schema is newer than this program; use the newer program")
)

// Migrate brings the schema up to date, stores the policies that come with the
// program and makes the texts search looks in where they are not there. A
// schema newer than the program is ErrSchemaNew and nothing is changed, a
// register that was not loaded to its end ErrUnfinished. It may be run at any
// time and by several programs at once. Each migration is a transaction: one
// that is cut short leaves all rows as they were, and the next start goes on.
func (s *Store) Migrate(ctx context.Context) error { return s.migrate(ctx, nil) }

// migrate is Migrate, with what is to be done before an older register that is
// not empty is changed; if that fails it is not.
func (s *Store) migrate(ctx context.Context, before func(context.Context, *Store, int64) error) error {
	if err := s.wantWhole(ctx); err != nil {
		return err
	}
	if before != nil {
		if err := s.beforeUpgrade(ctx, before); err != nil {
			return err
		}
	}
	if err := s.bringUp(ctx); err != nil {
		return err
	}
	if err := s.recountOnce(ctx); err != nil {
		return err
	}
	return s.makeFindsOnce(ctx)
}

// bringUp brings the schema up to date and stores what comes with the program.
func (s *Store) bringUp(ctx context.Context) error {
	err := s.withProvider(ctx, func(p *goose.Provider) error {
		if err := compareSchema(ctx, p); err != nil && !errors.Is(err, ErrSchemaOld) {
			return err
		}
		if _, err := p.Up(ctx); err != nil {
			return fmt.Errorf("migrate the register (a migration that fails is taken back, so nothing is lost): %w", err)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return s.storeShipped(ctx)
}

// checkSchema wants the schema to be the program's.
func (s *Store) checkSchema(ctx context.Context) error {
	if err := s.wantWhole(ctx); err != nil {
		return err
	}
	return s.withProvider(ctx, func(p *goose.Provider) error { return compareSchema(ctx, p) })
}

func compareSchema(ctx context.Context, p *goose.Provider) error {
	have, want, err := p.GetVersions(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("read the version of the register's schema: %w", err)
	case have > want:
		return fmt.Errorf("%w (schema %d, program %d)", ErrSchemaNew, have, want)
	case have < want:
		return fmt.Errorf("%w (schema %d, program %d)", ErrSchemaOld, have, want)
	}
	return nil
}

// withProvider hands out goose on a connection of its own. On SQLite foreign
// keys are off there, because rebuilding a table with them on deletes what
// refers to it; PRAGMA foreign_key_check must find nothing afterwards.
func (s *Store) withProvider(ctx context.Context, f func(*goose.Provider) error) (err error) {
	db, files, err := s.migrationConn()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	kind := goose.DialectPostgres
	if s.e.name == SQLite {
		kind = goose.DialectSQLite3
	}
	p, err := goose.NewProvider(kind, db, files, goose.WithLogger(goose.NopLogger()), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return fmt.Errorf("read the migrations: %w", err)
	}
	if err := f(p); err != nil {
		return err
	}
	if s.e.name == SQLite {
		return checkForeignKeys(ctx, db)
	}
	return nil
}

func (s *Store) migrationConn() (*sql.DB, fs.FS, error) {
	driver, dsn, folder, name := "pgx", s.dsn, migrations.Postgres, "postgres"
	if s.e.name == SQLite {
		driver, dsn, folder, name = "sqlite", sqliteDSN(s.dsn, "_txlock=immediate", "_pragma=foreign_keys(0)"), migrations.SQLite, "sqlite"
	}
	files, err := fs.Sub(folder, name)
	if err != nil {
		return nil, nil, fmt.Errorf("read the migrations: %w", err)
	}
	db, err := sql.Open(driver, dsn)
	if err != nil {
		return nil, nil, fmt.Errorf("open the register at %s to migrate it: %w", redacted(s.dsn), hidePassword(err, s.dsn))
	}
	db.SetMaxOpenConns(1)
	return db, files, nil
}

func checkForeignKeys(ctx context.Context, db *sql.DB) error {
	rows, err := db.QueryContext(ctx, "PRAGMA foreign_key_check")
	if err != nil {
		return fmt.Errorf("check foreign keys: %w", err)
	}
	defer rows.Close()
	if rows.Next() {
		var table, parent string
		var row, key sql.NullInt64
		if err := rows.Scan(&table, &row, &parent, &key); err != nil {
			return fmt.Errorf("check foreign keys: %w", err)
		}
		return fmt.Errorf("check foreign keys: row %d of %s refers to a row of %s that is not there", row.Int64, table, parent)
	}
	return rows.Err()
}

// storeShipped stores the policies that come with the program, and mends those
// that an older program stored otherwise; every estimate is stale then. A
// register without kinds of machines gets those that come with the program.
func (s *Store) storeShipped(ctx context.Context) error {
	return s.inTx(ctx, func(c conn) error {
		if s.e.name == Postgres { // another program may be at it; it ends with the transaction
			if _, err := c.exec(ctx, "SELECT pg_advisory_xact_lock(?)", shippedLock); err != nil {
				return fmt.Errorf("wait for other programs that migrate: %w", err)
			}
		} else if _, err := c.exec(ctx, "UPDATE chain_head SET seq = seq WHERE id = 1"); err != nil {
			// A file that may only be read lets itself be opened, and a
			// transaction be begun; better told now than to the first who writes.
			return fmt.Errorf("try to write to the register: %w", err)
		}
		orm := s.ormOn(ctx, c)
		if err := storeShippedKinds(ctx, c, orm); err != nil {
			return err
		}
		for _, p := range life.ShippedPolicies() {
			want := shipped(p)
			have, err := policies.one(ctx, c, "name = ?", want.Name)
			switch {
			case err != nil:
				return err
			case have == nil:
				want.Version = 1
				if err := orm.Create(&want).Error; err != nil {
					return fmt.Errorf("store shipped policy %s: %w", want.Name, err)
				}
				continue
			}
			want.ID, want.Version = have.ID, have.Version
			if reflect.DeepEqual(*have, want) {
				continue
			}
			want.Version++
			if err := orm.Model(&want).Select("*").Updates(&want).Error; err != nil {
				return fmt.Errorf("mend shipped policy %s: %w", want.Name, err)
			}
			all, err := ids(ctx, c, "SELECT assembly_id FROM estimates ORDER BY assembly_id")
			if err != nil {
				return fmt.Errorf("find the estimates of policy %s: %w", want.Name, err)
			}
			if err := markStale(ctx, c, all); err != nil {
				return err
			}
		}
		return nil
	})
}

// shippedLock is any number that no other advisory lock of the register has.
const shippedLock = 0x686f7365

func storeShippedKinds(ctx context.Context, c conn, orm *gorm.DB) error {
	have, err := ids(ctx, c, "SELECT id FROM kinds LIMIT 1")
	if err != nil || len(have) > 0 {
		return err
	}
	for _, k := range register.ShippedKinds() {
		kind := register.Kind{Name: k.Name, Version: 1}
		if err := orm.Create(&kind).Error; err != nil {
			return fmt.Errorf("store shipped kind %s: %w", k.Name, err)
		}
		for _, d := range k.Duties {
			d.KindID, d.Version = kind.ID, 1
			if err := orm.Create(&d).Error; err != nil {
				return fmt.Errorf("store the duties of shipped kind %s: %w", k.Name, err)
			}
		}
	}
	return nil
}

// shipped is a policy of package life as the register keeps it. At exposed
// positions half the interval of inspections holds: a choice of ours, which
// the policy's source says.
func shipped(p life.Sourced) register.Policy {
	row := register.Policy{Policy: p.Policy, Shipped: true, Source: p.Source}
	if p.Policy.InspectMonths != nil {
		half := max(*p.Policy.InspectMonths/2, 1)
		row.ExposedInspectMonths = &half
		row.Source += fmt.Sprintf(". Inspection every %d months at exposed positions: %s.", half, life.SourceChoice)
	}
	return row
}
