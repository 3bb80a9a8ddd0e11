package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// Counts counts what Today shows, over one site, or over all if site is empty.
// A site that does not exist has nothing.
func (s *Store) Counts(ctx context.Context, now time.Time, site string) (register.Counts, error) {
	d, err := s.days(ctx, now)
	if err != nil {
		return register.Counts{}, err
	}
	q := s.lineQuery(d, register.LineFilter{Site: site})
	var c register.Counts
	err = s.reader().row(ctx, "SELECT "+countColumns(d)+" "+q.from()+q.where(), q.args...).Scan(countDest(&c)...)
	if err != nil {
		return register.Counts{}, fmt.Errorf("count estimates: %w", translate(err))
	}
	if err := s.countThings(ctx, site, &c); err != nil {
		return register.Counts{}, fmt.Errorf("count machines, positions and assemblies: %w", translate(err))
	}
	c.EmptyPositions = c.Positions - c.Assemblies
	return c, nil
}

// countThings counts rows that have no estimate.
func (s *Store) countThings(ctx context.Context, site string, c *register.Counts) error {
	machinesOf, storeOf := "", ""
	var args []any
	if site != "" {
		machinesOf = " WHERE m.site_id IN (SELECT id FROM sites WHERE LOWER(name) = ?)"
		storeOf = " AND a.site_id IN (SELECT id FROM sites WHERE LOWER(name) = ?)"
		args = []any{fold(site)}
	}
	for _, one := range []struct {
		query string
		n     *int
	}{
		{"SELECT COUNT(*) FROM machines m" + machinesOf, &c.Machines},
		{"SELECT COUNT(*) FROM positions q JOIN machines m ON m.id = q.machine_id" + machinesOf, &c.Positions},
		// Two conditions, not one with OR: most sit somewhere, which an index tells.
		{`SELECT COUNT(*) FROM assemblies a WHERE NOT EXISTS (
				SELECT 1 FROM placements p WHERE p.assembly_id = a.id AND p.to_on IS NULL)
			AND NOT EXISTS (
				SELECT 1 FROM placements p JOIN removals r ON r.placement_id = p.id WHERE p.assembly_id = a.id AND r.scrapped)` + storeOf, &c.InStore},
	} {
		if err := s.reader().row(ctx, one.query, args...).Scan(one.n); err != nil {
			return err
		}
	}
	return nil
}

// countColumns counts installed assemblies by status; countDest takes them.
func countColumns(d *days) string {
	is := func(s life.Status) string { return "COUNT(CASE WHEN " + statusIs(s, d) + " THEN 1 END), " }
	when := func(cond string) string { return "COUNT(CASE WHEN " + cond + " THEN 1 END), " }
	return is(life.StatusStop) + is(life.StatusOverdue) + is(life.StatusSoon) + is(life.StatusAhead) + is(life.StatusInService) +
		when("NOT e.complete") + when("e.stale") +
		when("e.inspection_due < "+d.day(0)) +
		when(inspectionSoon(d)) +
		when(overRating) +
		"COUNT(*)"
}

func countDest(c *register.Counts) []any {
	return []any{
		&c.Stop, &c.Overdue, &c.Soon, &c.Ahead, &c.InService,
		&c.Incomplete, &c.Stale, &c.InspectionsOverdue, &c.InspectionsSoon, &c.OverRating, &c.Assemblies,
	}
}
