package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"hoseward/internal/config"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// openRegister opens the register, makes it if it is not there, and brings its
// schema up to date. One that is older and not empty is backed up before.
func openRegister(ctx context.Context, m *Main, s config.Settings) (*store.Store, error) {
	if !strings.Contains(s.DB, "://") {
		if err := os.MkdirAll(filepath.Dir(s.DB), 0o700); err != nil {
			return nil, fmt.Errorf("make the folder of the register: %w", err)
		}
	}
	reg, err := store.Open(ctx, s.DB, store.Options{Migrate: true, BeforeUpgrade: beforeUpgrade(m, s)})
	if errors.Is(err, store.ErrSchemaNew) {
		return nil, fmt.Errorf("open the register: it was written by a newer hoseward; use that version or restore an older copy: %w", err)
	}
	if err != nil {
		return nil, fmt.Errorf("open the register: %w", err)
	}
	return reg, nil
}

// openExisting is openRegister for commands that only look: a path where
// nothing is must be a slip, not a new register in which nothing is due.
func openExisting(ctx context.Context, m *Main, s config.Settings) (*store.Store, error) {
	if err := wantFile(s.DB); err != nil {
		return nil, err
	}
	return openRegister(ctx, m, s)
}

// wantFile refuses a path where nothing is.
func wantFile(dsn string) error {
	if strings.Contains(dsn, "://") {
		return nil
	}
	if _, err := os.Stat(dsn); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no register at %s; check --db, or begin one with hoseward import or hoseward serve", dsn)
	}
	return nil
}

// byCommand is the actor of changes from the command line.
func byCommand() register.Actor {
	return register.Actor{PersonID: register.LocalPersonID, Origin: register.FromCommand}
}

// migrateCommand brings the schema of the register up to date.
type migrateCommand struct{}

// Run migrates and says so.
func (migrateCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openRegister(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	fmt.Fprintf(m.Stdout, "The register (%s) is up to date.\n", reg.Engine())
	return nil
}
