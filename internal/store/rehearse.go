package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"hoseward/internal/register"
)

// Rehearsal is the register as it would be on another day: everything
// estimated anew as of that day, and nothing kept.
type Rehearsal struct{ s Store }

// Lines is Store.Lines within the rehearsal.
func (r *Rehearsal) Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error) {
	return r.s.Lines(ctx, now, f)
}

// errRehearsed undoes a rehearsal that went well.
var errRehearsed = errors.New("a rehearsal keeps nothing")

// Rehearse makes every estimate anew as of now, lets f look, and undoes it
// all. Other changes wait meanwhile.
func (s *Store) Rehearse(ctx context.Context, now time.Time, f func(*Rehearsal) error) error {
	err := s.inTx(ctx, func(c conn) error {
		list, err := ids(ctx, c, "SELECT assembly_id FROM placements WHERE to_on IS NULL ORDER BY assembly_id")
		if err != nil {
			return fmt.Errorf("find what is installed: %w", err)
		}
		for chunk := range slices.Chunk(list, batch) {
			if _, err := reestimate(ctx, c, chunk, now); err != nil {
				return err
			}
		}
		inside := *s
		inside.inside = c.querier.(*sql.Tx)
		if err := f(&Rehearsal{inside}); err != nil {
			return err
		}
		return errRehearsed
	})
	if errors.Is(err, errRehearsed) {
		return nil
	}
	return err
}

// DemoState is what a register tells of whether it is a demo nobody touched.
type DemoState struct {
	Empty   bool      // no change was ever made
	Changed bool      // something other than the demo changed it
	Made    time.Time // when the first change was made
}

// DemoState looks at the change log.
func (s *Store) DemoState(ctx context.Context) (DemoState, error) {
	var d DemoState
	if err := s.reader().row(ctx, "SELECT EXISTS (SELECT 1 FROM changes WHERE origin <> ?)", string(register.FromDemo)).Scan(&d.Changed); err != nil {
		return d, fmt.Errorf("look for changes to the demo: %w", translate(err))
	}
	err := s.reader().row(ctx, "SELECT at FROM changes ORDER BY seq LIMIT 1").Scan(&d.Made)
	if errors.Is(err, sql.ErrNoRows) {
		d.Empty = true
		return d, nil
	}
	if err != nil {
		return d, fmt.Errorf("find when the demo was made: %w", translate(err))
	}
	return d, nil
}
