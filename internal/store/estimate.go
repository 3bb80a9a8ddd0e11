package store

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// atOnce bounds the estimates one change makes in its own transaction; more
// are marked stale and left to the job.
const atOnce = 500

// touched is what a transaction changed that bears on estimates.
type touched struct {
	assemblies, machines, kinds map[int64]bool
}

func mark(m *map[int64]bool, id int64) {
	if *m == nil {
		*m = map[int64]bool{}
	}
	(*m)[id] = true
}

func (c *touched) assembly(id int64) { mark(&c.assemblies, id) }
func (c *touched) machine(id int64)  { mark(&c.machines, id) }
func (c *touched) kind(id int64)     { mark(&c.kinds, id) }

// awaitEstimate gives an assembly that was just fitted its row, so that lists
// show it from the first moment: incomplete, until it is estimated, but with
// the stop that is open on it. One that
// has a row is shown where it sits now. Where a machine or a position changes,
// triggers keep the rows of what sits there right.
func (t *tx) awaitEstimate(assemblyID int64) error {
	_, err := t.exec(t.ctx, `INSERT INTO estimates (assembly_id, stale, stop_open, machine_id, site_id, machine_code, walk_order)
		SELECT p.assembly_id, TRUE, EXISTS (SELECT 1 FROM findings f WHERE f.assembly_id = p.assembly_id AND f.class = 'stop' AND f.closed_on IS NULL),
			m.id, m.site_id, m.code, q.walk_order
		FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
		WHERE p.assembly_id = ? AND p.to_on IS NULL
		ON CONFLICT (assembly_id) DO UPDATE SET machine_id = excluded.machine_id, site_id = excluded.site_id,
			machine_code = excluded.machine_code, walk_order = excluded.walk_order`, assemblyID)
	if err != nil {
		return fmt.Errorf("make room for the estimate of assembly %d: %w", assemblyID, err)
	}
	return nil
}

// dropEstimate takes away the estimate of an assembly that sits nowhere now.
func (t *tx) dropEstimate(assemblyID int64) error {
	_, err := t.exec(t.ctx, `DELETE FROM estimates WHERE assembly_id = ?
		AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.assembly_id = estimates.assembly_id AND p.to_on IS NULL)`, assemblyID)
	if err == nil {
		_, err = t.exec(t.ctx, `DELETE FROM gaps WHERE assembly_id = ?
			AND NOT EXISTS (SELECT 1 FROM estimates e WHERE e.assembly_id = gaps.assembly_id)`, assemblyID)
	}
	if err != nil {
		return fmt.Errorf("take away the estimate of assembly %d: %w", assemblyID, err)
	}
	return nil
}

// showStop shows a stop at once, even where the estimate is left to the job.
func (t *tx) showStop(assemblyID int64) error {
	_, err := t.exec(t.ctx, "UPDATE estimates SET stop_open = TRUE WHERE assembly_id = ?", assemblyID)
	if err != nil {
		return fmt.Errorf("show the stop of assembly %d: %w", assemblyID, err)
	}
	return nil
}

// reestimateTouched makes the estimates anew that the transaction touched, or
// marks them stale if they are many; it returns how many are stale.
func (t *tx) reestimateTouched() (stale int, err error) {
	list, err := t.installedTouched()
	if err != nil || len(list) == 0 {
		return 0, err
	}
	if len(list) > atOnce {
		return len(list), markStale(t.ctx, t.conn, list)
	}
	_, err = reestimate(t.ctx, t.conn, list, t.now)
	return 0, err
}

// installedTouched are the installed assemblies the transaction touched: by
// themselves, or through a machine they sit or ever sat on.
func (t *tx) installedTouched() ([]int64, error) {
	found := map[int64]bool{}
	add := func(query string, of []int64) error {
		for chunk := range slices.Chunk(of, 1000) {
			list, err := ids(t.ctx, t.conn, fmt.Sprintf(query, idList(chunk)))
			if err != nil {
				return fmt.Errorf("find the estimates touched: %w", err)
			}
			for _, id := range list {
				found[id] = true
			}
		}
		return nil
	}
	if len(t.touched.kinds) > 0 {
		of, err := ids(t.ctx, t.conn, "SELECT id FROM machines WHERE kind_id IN ("+idList(slices.Sorted(maps.Keys(t.touched.kinds)))+")")
		if err != nil {
			return nil, fmt.Errorf("find the estimates touched: %w", err)
		}
		for _, id := range of {
			t.touched.machine(id)
		}
	}
	err := add("SELECT assembly_id FROM placements WHERE to_on IS NULL AND assembly_id IN (%s)", slices.Sorted(maps.Keys(t.touched.assemblies)))
	if err != nil {
		return nil, err
	}
	err = add(`SELECT DISTINCT o.assembly_id FROM positions q
		JOIN placements p ON p.position_id = q.id
		JOIN placements o ON o.assembly_id = p.assembly_id AND o.to_on IS NULL
		WHERE q.machine_id IN (%s)`, slices.Sorted(maps.Keys(t.touched.machines)))
	return slices.Sorted(maps.Keys(found)), err
}

// lockMachinesOf keeps other writers off the machines that some assemblies
// ever sat on, where the engine has more than one writer.
func lockMachinesOf(ctx context.Context, c conn, assemblyIDs []int64) error {
	if c.e.forUpdate == "" {
		return nil
	}
	_, err := ids(ctx, c, `SELECT id FROM machines WHERE id IN (
		SELECT q.machine_id FROM placements p JOIN positions q ON q.id = p.position_id
		WHERE p.assembly_id IN (`+idList(assemblyIDs)+`)) ORDER BY id`+c.e.forUpdate)
	if err != nil {
		return fmt.Errorf("lock the machines to estimate: %w", err)
	}
	return nil
}

// markStale leaves the estimates of some assemblies to the job. Their machines
// are locked, so that none that is being made from older facts is stored over
// the mark.
func markStale(ctx context.Context, c conn, assemblyIDs []int64) error {
	for chunk := range slices.Chunk(assemblyIDs, 1000) {
		if err := lockMachinesOf(ctx, c, chunk); err != nil {
			return err
		}
		if _, err := c.exec(ctx, "UPDATE estimates SET stale = TRUE WHERE assembly_id IN ("+idList(chunk)+")"); err != nil {
			return fmt.Errorf("mark estimates stale: %w", err)
		}
	}
	return nil
}

// reestimate makes and stores the estimates of some installed assemblies. The
// machines they ever sat on are locked before anything is read, so that no
// change can come between reading and storing.
func reestimate(ctx context.Context, c conn, assemblyIDs []int64, now time.Time) (int, error) {
	if err := lockMachinesOf(ctx, c, assemblyIDs); err != nil {
		return 0, err
	}
	f, err := readFrame(ctx, c)
	if err != nil {
		return 0, err
	}
	facts, err := f.facts(ctx, c, assemblyIDs)
	if err != nil {
		return 0, err
	}
	made := register.Reestimate(facts, f.today(now))
	return len(made), storeEstimates(ctx, c, made)
}

// today gives the day it is at a site.
func (f *frame) today(now time.Time) func(siteID int64) quantity.Date {
	days := make(map[int64]quantity.Date, len(f.sites))
	for id, s := range f.sites {
		days[id] = quantity.DateOf(now, zone(s.Zone))
	}
	return func(siteID int64) quantity.Date { return days[siteID] }
}

// estimatesAtOnce is how many rows go into one INSERT.
const estimatesAtOnce = 100

// storeEstimates writes estimates over those of the same assemblies.
func storeEstimates(ctx context.Context, c conn, rows []register.Estimate) error {
	full := ""
	args := make([]any, 0, estimatesAtOnce*len(estimates.names))
	for chunk := range slices.Chunk(rows, estimatesAtOnce) {
		query := full
		if len(chunk) != estimatesAtOnce || full == "" {
			query = c.e.bind(upsertEstimates(len(chunk)))
		}
		if len(chunk) == estimatesAtOnce {
			full = query
		}
		args = args[:0]
		for i := range chunk {
			args = appendEstimate(args, &chunk[i])
		}
		if _, err := c.ExecContext(ctx, query, args...); err != nil {
			return fmt.Errorf("store estimates: %w", translate(err))
		}
		if err := storeGaps(ctx, c, chunk); err != nil {
			return err
		}
	}
	return nil
}

func upsertEstimates(rows int) string {
	var b strings.Builder
	b.WriteString("INSERT INTO estimates (" + estimates.columns + ") VALUES ")
	one := "(" + strings.Repeat("?,", len(estimates.names)-1) + "?)"
	for i := range rows {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(one)
	}
	b.WriteString(" ON CONFLICT (assembly_id) DO UPDATE SET ")
	for i, n := range estimates.names[1:] {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(n + "=excluded." + n)
	}
	return b.String()
}

// appendEstimate appends the columns of an estimate in the order of the
// table's names; a test holds it to that.
func appendEstimate(args []any, e *register.Estimate) []any {
	return append(args, e.AssemblyID, e.AsOf, e.InputHash, e.Stale, e.RatedBar, e.RatingConfirmed, e.Complete,
		e.Due, e.Earliest, e.Latest, e.ActBy, string(e.Governing), e.Used, e.InspectionDue, e.HoursNow, e.HoursPerWeek,
		e.StopOpen, e.CanHurt, e.Missing, e.Warnings, e.Problem, e.MachineID, e.SiteID, e.MachineCode, e.WalkOrder)
}

// batch is how many estimates one transaction of the job makes: the write
// lock is held for some tens of milliseconds at a time.
const batch = 1000

// ReestimateAll makes every estimate anew as of now. It goes machine by
// machine in short transactions, each of which reads the facts and stores the
// result, so changes that others make meanwhile are never overwritten by what
// was worked out before them. progress, if not nil, is told how far it is.
func (s *Store) ReestimateAll(ctx context.Context, now time.Time, progress func(done, total int)) (int, error) {
	list, err := ids(ctx, s.reader(), `SELECT p.assembly_id FROM placements p JOIN positions q ON q.id = p.position_id
		WHERE p.to_on IS NULL ORDER BY q.machine_id, p.assembly_id`)
	if err != nil {
		return 0, fmt.Errorf("find what is installed: %w", err)
	}
	made, err := s.reestimateList(ctx, now, list, progress)
	if err != nil {
		return made, err
	}
	return made, s.recount(ctx)
}

// ReestimateStale makes the estimates anew that a change left for later.
// progress, if not nil, is told how far it is, first of all that there is
// something to do.
func (s *Store) ReestimateStale(ctx context.Context, now time.Time, progress func(done, total int)) (int, error) {
	if err := s.gatherTallies(ctx); err != nil {
		return 0, err
	}
	list, err := ids(ctx, s.reader(), `SELECT p.assembly_id FROM estimates e
		JOIN placements p ON p.assembly_id = e.assembly_id AND p.to_on IS NULL
		JOIN positions q ON q.id = p.position_id
		WHERE e.stale ORDER BY q.machine_id, p.assembly_id`)
	if err != nil {
		return 0, fmt.Errorf("find the stale estimates: %w", err)
	}
	if progress != nil && len(list) > 0 {
		progress(0, len(list))
	}
	made, err := s.reestimateList(ctx, now, list, progress)
	if err != nil || made == 0 {
		return made, err
	}
	return made, s.gatherTallies(ctx)
}

func (s *Store) reestimateList(ctx context.Context, now time.Time, list []int64, progress func(done, total int)) (int, error) {
	done, made := 0, 0
	for chunk := range slices.Chunk(list, batch) {
		n := 0
		err := s.inTx(ctx, func(c conn) error {
			// What was removed since the list was read has no estimate.
			still, err := ids(ctx, c, "SELECT assembly_id FROM placements WHERE to_on IS NULL AND assembly_id IN ("+idList(chunk)+") ORDER BY assembly_id")
			if err != nil {
				return fmt.Errorf("find what is installed: %w", err)
			}
			n, err = reestimate(ctx, c, still, now)
			return err
		})
		if err != nil {
			return made, err
		}
		made += n
		done += len(chunk)
		if progress != nil {
			progress(done, len(list))
		}
	}
	return made, nil
}
