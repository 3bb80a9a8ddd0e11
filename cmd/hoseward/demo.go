package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/demo"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Where the demo lives, and what it grows from.
const (
	demoDB    = "var/demo.db"
	demoFiles = "var/demo-files"
	demoSeed  = 1
	demoAge   = 24 * time.Hour
)

// openDemo opens the demo register at path and fills it if it is new. One
// that nobody changed and that is older than a day is made anew, so that its
// dates fit the day.
func openDemo(ctx context.Context, m *Main, path string) (*store.Store, error) {
	reg, err := openRegister(ctx, m, config.Settings{DB: path})
	if err != nil {
		return nil, err
	}
	state, err := reg.DemoState(ctx)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("look at the demo register: %w", err), reg.Close())
	}
	switch {
	case state.Empty:
	case state.Changed || m.Now().Sub(state.Made) < demoAge:
		return reg, nil
	default:
		if err := reg.Close(); err != nil {
			return nil, fmt.Errorf("close the demo register: %w", err)
		}
		if err := removeSQLite(path); err != nil {
			return nil, fmt.Errorf("remove the old demo register: %w", err)
		}
		if reg, err = openRegister(ctx, m, config.Settings{DB: path}); err != nil {
			return nil, err
		}
	}
	fmt.Fprintln(m.Stdout, "Making the demo register: Tarnbeck municipal depot, an invented fleet ...")
	if err := fillDemo(ctx, reg, m.Now()); err != nil {
		return nil, errors.Join(fmt.Errorf("make the demo register: %w", err), reg.Close(), removeSQLite(path))
	}
	return reg, nil
}

func fillDemo(ctx context.Context, reg *store.Store, now time.Time) error {
	by := register.Actor{PersonID: register.LocalPersonID, Origin: register.FromDemo}
	today := quantity.DateOf(now, time.UTC)
	if _, err := reg.Apply(ctx, now, by, demo.Fleet(demoSeed, today)...); err != nil {
		return err
	}
	_, err := reg.ReestimateAll(ctx, now, func(int, int) {})
	return err
}

// removeSQLite removes a database file with its companions.
func removeSQLite(path string) error {
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}
