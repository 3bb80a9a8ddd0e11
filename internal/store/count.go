package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// Counts counts what Today shows, over one site, or over all if site is empty.
// A site that does not exist has nothing. What is gone does not count.
func (s *Store) Counts(ctx context.Context, now time.Time, site string) (register.Counts, error) {
	d, err := s.days(ctx, now)
	if err != nil {
		return register.Counts{}, err
	}
	return s.countsOf(ctx, d, d.at(site))
}

// What days are counted as, beside the names of tallies.
const (
	countOverdue    = "overdue"
	countSoon       = "soon"
	countAhead      = "ahead"
	countLookNow    = "inspections overdue"
	countLookSoon   = "inspections soon"
	talliesSum      = "COALESCE(SUM(n), 0) FROM tallies WHERE what = "
	talliesOneByOne = "'" + tallyHoses + "', '" + tallyStop + "', '" + tallyIncomplete + "', '" + tallyStale + "', '" + tallyOverRating +
		"', '" + tallyMachines + "', '" + tallyPositions + "', '" + tallyInStore + "'"
)

// countsOf adds up the tallies of some sites.
func (s *Store) countsOf(ctx context.Context, d *days, siteIDs []int64) (register.Counts, error) {
	var c register.Counts
	if len(siteIDs) == 0 {
		return c, nil
	}
	rows, err := s.reader().query(ctx, talliesQuery(d, siteIDs))
	if err != nil {
		return c, fmt.Errorf("add up tallies: %w", translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var what string
		var n int
		if err := rows.Scan(&what, &n); err != nil {
			return c, fmt.Errorf("add up tallies: %w", err)
		}
		if to := counted(&c, what); to != nil {
			*to += n
		}
	}
	c.InService = c.Assemblies - c.Stop - c.Overdue - c.Soon - c.Ahead
	c.EmptyPositions = c.Positions - c.Assemblies
	return c, translate(rows.Err())
}

// counted is where a count goes.
func counted(c *register.Counts, what string) *int {
	switch what {
	case tallyHoses:
		return &c.Assemblies
	case tallyStop:
		return &c.Stop
	case tallyIncomplete:
		return &c.Incomplete
	case tallyStale:
		return &c.Stale
	case tallyOverRating:
		return &c.OverRating
	case tallyMachines:
		return &c.Machines
	case tallyPositions:
		return &c.Positions
	case tallyInStore:
		return &c.InStore
	case countOverdue:
		return &c.Overdue
	case countSoon:
		return &c.Soon
	case countAhead:
		return &c.Ahead
	case countLookNow:
		return &c.InspectionsOverdue
	case countLookSoon:
		return &c.InspectionsSoon
	}
	return nil
}

// talliesQuery adds up the tallies of some sites: those without days, and of
// those with days what is past, soon and ahead, for the sites of each today.
// Later days, which may be many, are not looked at, nor are single sites where
// all are asked for and it is the same day everywhere.
func talliesQuery(d *days, siteIDs []int64) string {
	var b strings.Builder
	b.WriteString("SELECT what, SUM(n) FROM tallies WHERE what IN (" + talliesOneByOne + ") AND site_id IN (" + idList(siteIDs) + ") GROUP BY what")
	for _, today := range d.todays(siteIDs) {
		in := today.siteIDs
		if d.all && !d.differ && len(siteIDs) == len(d.sites) {
			in = []int64{0}
		}
		sum := func(as, what, from, to string) {
			b.WriteString(" UNION ALL SELECT '" + as + "', " + talliesSum + "'" + what + "' AND site_id IN (" + idList(in) + ")" + from + to)
		}
		from := func(days int) string { return " AND day >= " + d.e.date(today.on.AddDays(days)) }
		before := func(days int) string { return " AND day < " + d.e.date(today.on.AddDays(days)) }
		sum(countOverdue, tallyActBy, "", before(0))
		sum(countSoon, tallyActBy, from(0), before(soonDays+1))
		sum(countAhead, tallyActBy, from(soonDays+1), before(aheadDays+1))
		sum(countLookNow, tallyInspection, "", before(0))
		sum(countLookSoon, tallyInspection, from(0), before(soonDays+1))
	}
	return b.String()
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
