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

// openRegister opens the register at dsn, makes it if it is not there, and
// brings its schema up to date.
func openRegister(ctx context.Context, dsn string) (*store.Store, error) {
	if !strings.Contains(dsn, "://") {
		if err := os.MkdirAll(filepath.Dir(dsn), 0o700); err != nil {
			return nil, fmt.Errorf("make the folder of the register: %w", err)
		}
	}
	reg, err := store.Open(ctx, dsn, store.Options{Migrate: true})
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
func openExisting(ctx context.Context, dsn string) (*store.Store, error) {
	if !strings.Contains(dsn, "://") {
		if _, err := os.Stat(dsn); errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("there is no register at %s; check --db, or begin one with hoseward import or hoseward serve", dsn)
		}
	}
	return openRegister(ctx, dsn)
}

// byCommand is the actor of changes from the command line.
func byCommand() register.Actor {
	return register.Actor{PersonID: register.LocalPersonID, Origin: register.FromCommand}
}

// migrateCommand brings the schema of the register up to date.
type migrateCommand struct{}

// Run migrates and says so.
func (migrateCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openRegister(ctx, s.DB)
	if err != nil {
		return err
	}
	defer reg.Close()
	fmt.Fprintf(m.Stdout, "The register (%s) is up to date.\n", reg.Engine())
	return nil
}
