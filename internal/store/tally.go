package store

import (
	"context"
	"fmt"

	"hoseward/internal/quantity"
)

// The names of what is tallied, by site; what has days is tallied of all sites
// together, too, as that of site 0. Triggers keep the tallies.
const (
	tallyHoses      = "hoses" // installed; those that follow are of them
	tallyStop       = "stop"
	tallyIncomplete = "incomplete"
	tallyStale      = "stale"
	tallyOverRating = "over rating"
	tallyActBy      = "act by"     // has days; without those to be stopped
	tallyInspection = "inspection" // has days
	tallyMachines   = "machines"
	tallyPositions  = "positions"
	tallyInStore    = "in store"
)

// recounts are the tallies as the tables have them: what the triggers must
// come to. Each is a SELECT of what, site_id, day and n.
func recounts(e *engine) []string {
	dayOne := e.date(quantity.MinDate)
	at := func(what, site, day, cond string) string {
		return "SELECT '" + what + "', " + site + ", " + day + ", COUNT(*) FROM estimates e WHERE " + cond + " GROUP BY 1, 2, 3"
	}
	of := func(what, day, cond string) string { return at(what, "e.site_id", day, cond) }
	return []string{
		of(tallyHoses, dayOne, "TRUE"), of(tallyStop, dayOne, "e.stop_open"), of(tallyIncomplete, dayOne, "NOT e.complete"),
		of(tallyStale, dayOne, "e.stale"), of(tallyOverRating, dayOne, overRating),
		of(tallyActBy, "e.act_by", "e.act_by IS NOT NULL AND NOT e.stop_open"),
		of(tallyInspection, "e.inspection_due", "e.inspection_due IS NOT NULL"),
		at(tallyActBy, "0", "e.act_by", "e.act_by IS NOT NULL AND NOT e.stop_open"),
		at(tallyInspection, "0", "e.inspection_due", "e.inspection_due IS NOT NULL"),
		"SELECT '" + tallyMachines + "', site_id, " + dayOne + ", COUNT(*) FROM machines WHERE gone_on IS NULL GROUP BY 1, 2, 3",
		"SELECT '" + tallyPositions + "', m.site_id, " + dayOne + `, COUNT(*) FROM positions q JOIN machines m ON m.id = q.machine_id
			WHERE q.gone_on IS NULL AND m.gone_on IS NULL GROUP BY 1, 2, 3`,
		"SELECT '" + tallyInStore + "', a.site_id, " + dayOne + `, COUNT(*) FROM assemblies a WHERE a.scrapped_on IS NULL
			AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.assembly_id = a.id AND p.to_on IS NULL) GROUP BY 1, 2, 3`,
	}
}

// recount makes the tallies anew from the tables.
func (s *Store) recount(ctx context.Context) error {
	err := s.inTx(ctx, func(c conn) error {
		if c.e.name == Postgres { // whoever changes what is counted waits, and is waited for
			if _, err := c.exec(ctx, "LOCK TABLE tallies IN EXCLUSIVE MODE"); err != nil {
				return err
			}
		}
		if _, err := c.exec(ctx, "DELETE FROM tallies"); err != nil {
			return err
		}
		for _, q := range recounts(c.e) {
			if _, err := c.exec(ctx, "INSERT INTO tallies (what, site_id, day, n) "+q); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("count the register anew: %w", err)
	}
	return nil
}

// recountOnce makes the tallies where there are none but should be: after the
// schema came to have them. What later migrations did to estimates has left a
// few of some kinds, so each kind that every register must have is looked for.
func (s *Store) recountOnce(ctx context.Context) error {
	var lacking bool
	lacks := func(what, from string) string {
		return "(EXISTS (SELECT 1 FROM " + from + ") AND NOT EXISTS (SELECT 1 FROM tallies WHERE what = '" + what + "'))"
	}
	err := s.reader().row(ctx, "SELECT "+lacks(tallyHoses, "estimates")+" OR "+lacks(tallyMachines, "machines WHERE gone_on IS NULL")+
		" OR (EXISTS (SELECT 1 FROM assemblies WHERE scrapped_on IS NULL) AND NOT EXISTS (SELECT 1 FROM tallies WHERE what IN ('"+
		tallyHoses+"', '"+tallyInStore+"')))").Scan(&lacking)
	if err != nil {
		return fmt.Errorf("look for tallies: %w", translate(err))
	}
	if !lacking {
		return nil
	}
	return s.recount(ctx)
}

// gatherTallies puts the rows of tallies together that many changes left, and
// drops those that came to nothing. Readers see the same before and after.
func (s *Store) gatherTallies(ctx context.Context) error {
	err := s.inTx(ctx, func(c conn) error {
		if c.e.name != Postgres {
			_, err := c.exec(ctx, "DELETE FROM tallies WHERE n = 0")
			return err
		}
		_, err := c.exec(ctx, `WITH taken AS (DELETE FROM tallies WHERE (what, site_id, day) IN (
				SELECT what, site_id, day FROM tallies GROUP BY 1, 2, 3 HAVING COUNT(*) > 1 OR SUM(n) = 0) RETURNING *)
			INSERT INTO tallies (what, site_id, day, n) SELECT what, site_id, day, SUM(n) FROM taken GROUP BY 1, 2, 3 HAVING SUM(n) <> 0`)
		return err
	})
	if err != nil {
		return fmt.Errorf("put tallies together: %w", err)
	}
	return nil
}
