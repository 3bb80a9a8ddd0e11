package store

import (
	"context"
	"database/sql"
	"time"

	"github.com/pressly/goose/v3"

	"hoseward/internal/register"
)

// What tests look at from outside.

// Connect opens a register whatever its schema is.
func Connect(ctx context.Context, dsn string) (*Store, error) { return connect(ctx, dsn) }

// WithProvider hands out goose on a connection for migrations.
func (s *Store) WithProvider(ctx context.Context, f func(*goose.Provider) error) error {
	return s.withProvider(ctx, f)
}

// Raw is the pool that writes.
func (s *Store) Raw() *sql.DB { return s.write }

// Columns are the columns of the register types, by table.
func Columns() map[string][]string {
	return map[string][]string{
		sites.name: sites.names, kinds.name: kinds.names, machines.name: machines.names, circuits.name: circuits.names,
		positions.name: positions.names, policies.name: policies.names, people.name: people.names,
		assemblies.name: assemblies.names, placements.name: placements.names, removals.name: removals.names,
		readings.name: readings.names, meterEvents.name: meterEvents.names, layUps.name: layUps.names,
		conditions.name: conditions.names, duties.name: duties.names, inspections.name: inspections.names,
		findings.name: findings.names, changes.name: changes.names, estimates.name: estimates.names,
		jobRuns.name: jobRuns.names, kindPositions.name: kindPositions.names,
		savedLists.name: savedLists.names, acts.name: acts.names, imports.name: imports.names, headerChoices.name: headerChoices.names,
		personRoles.name: personRoles.names, tokens.name: tokens.names, invitations.name: invitations.names, credentials.name: credentials.names, devices.name: devices.names,
	}
}

// Estimates are all stored estimates by assembly.
func (s *Store) Estimates(ctx context.Context) ([]register.Estimate, error) {
	return estimates.where(ctx, s.reader(), "1 = 1 ORDER BY assembly_id")
}

// StoreEstimates writes estimates as the job does.
func (s *Store) StoreEstimates(ctx context.Context, rows []register.Estimate) error {
	return s.inTx(ctx, func(c conn) error { return storeEstimates(ctx, c, rows) })
}

// GatherTallies puts the rows of tallies together.
func (s *Store) GatherTallies(ctx context.Context) error { return s.gatherTallies(ctx) }

// Recount makes the tallies anew.
func (s *Store) Recount(ctx context.Context) error { return s.recount(ctx) }

// RecountOnce makes the tallies where there are none.
func (s *Store) RecountOnce(ctx context.Context) error { return s.recountOnce(ctx) }

// Try runs commands within a change, each list for itself: a list that is
// refused leaves nothing, the others stay.
func (s *Store) Try(ctx context.Context, now time.Time, by register.Actor, lists ...[]register.Command) (refused []error, err error) {
	_, err = s.change(ctx, now, by, func(t *tx) error {
		refused = nil
		for _, l := range lists {
			refused = append(refused, t.try(func() error { return t.apply(l...) }))
			if err := t.flushFull(); err != nil {
				return err
			}
		}
		return nil
	})
	return refused, err
}

// ListQuery is the query behind a page of the due list.
func (s *Store) ListQuery(ctx context.Context, now time.Time, f register.LineFilter) (query string, args []any, err error) {
	d, err := s.days(ctx, now)
	if err != nil {
		return "", nil, err
	}
	q := s.lineQuery(d, f)
	if err := q.after(f.After); err != nil {
		return "", nil, err
	}
	query, args = q.list(101)
	return query, args, nil
}

// HeldTables are the tables that are held to the change log.
func HeldTables() []string {
	var names []string
	for _, c := range rowChecks() {
		names = append(names, c.table)
	}
	return names
}

// NotHeld says why a table is not held to the change log.
func NotHeld(table string) string { return notHeld(table) }
