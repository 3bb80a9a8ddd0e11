package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"hoseward/internal/register"
)

// storeGaps writes what is not known of the assemblies of some estimates over
// what was said of them before.
func storeGaps(ctx context.Context, c conn, rows []register.Estimate) error {
	list := make([]int64, len(rows))
	var all []register.Gap
	for i := range rows {
		list[i] = rows[i].AssemblyID
		all = append(all, rows[i].Gaps...)
	}
	if _, err := c.exec(ctx, "DELETE FROM gaps WHERE assembly_id IN ("+idList(list)+")"); err != nil {
		return fmt.Errorf("forget gaps: %w", err)
	}
	for chunk := range slices.Chunk(all, estimatesAtOnce) {
		args := make([]any, 0, 3*len(chunk))
		for _, g := range chunk {
			args = append(args, g.AssemblyID, string(g.What), g.Days)
		}
		values := strings.TrimSuffix(strings.Repeat("(?, ?, ?), ", len(chunk)), ", ")
		if _, err := c.exec(ctx, "INSERT INTO gaps (assembly_id, what, days) VALUES "+values, args...); err != nil {
			return fmt.Errorf("store gaps: %w", err)
		}
	}
	return nil
}

// gapsFrom joins what a gap is about.
const gapsFrom = ` FROM gaps g JOIN placements p ON p.assembly_id = g.assembly_id AND p.to_on IS NULL
	JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id JOIN sites s ON s.id = m.site_id`

// oneByOne are the kinds of gaps that are filled assembly by assembly, byLine
// those that one entry for a circuit fills; the others are filled by machine.
var (
	oneByOne = kindList(register.GapContradiction, register.GapRating, register.GapAssembled, register.GapHoseTemp)
	byLine   = kindList(register.GapCycles, register.GapFluidTemp)
)

func kindList(kinds ...register.GapKind) string {
	quoted := make([]string, len(kinds))
	for i, k := range kinds {
		quoted[i] = "'" + string(k) + "'"
	}
	return strings.Join(quoted, ", ")
}

// Gaps are the values that are not known, put together by what one entry would
// make known, those first that would move most days of dates; at most limit,
// and whether there are more.
func (s *Store) Gaps(ctx context.Context, f register.GapFilter, limit int) (groups []register.GapGroup, more bool, err error) {
	where, args := s.gapsWhere(f)
	single := "CASE WHEN g.what IN (" + oneByOne + ") THEN %s ELSE '' END"
	query := `SELECT g.what, s.name, m.code, CASE WHEN g.what IN (` + byLine + `) THEN COALESCE(c.name, '') ELSE '' END AS line,
			` + fmt.Sprintf(single, "q.name") + ` AS place, ` + fmt.Sprintf(single, "a.code") + ` AS one,
			COUNT(*), MAX(g.days), SUM(g.days)` + gapsFrom + `
		JOIN assemblies a ON a.id = g.assembly_id LEFT JOIN circuits c ON c.id = q.circuit_id` + where + `
		GROUP BY g.what, s.name, m.code, line, place, one ORDER BY SUM(g.days) DESC, m.code, g.what, place LIMIT ` + fmt.Sprint(limit+1)
	err = s.eachRow(ctx, "what is not known", query, func(rows *sql.Rows) error {
		var g register.GapGroup
		if err := rows.Scan(&g.What, &g.Site, &g.Machine, &g.Circuit, &g.Position, &g.Assembly, &g.Hoses, &g.Days, &g.Sum); err != nil {
			return fmt.Errorf("read what is not known: %w", err)
		}
		groups = append(groups, g)
		return nil
	}, args...)
	if len(groups) > limit {
		return groups[:limit], true, err
	}
	return groups, false, err
}

func (s *Store) gapsWhere(f register.GapFilter) (string, []any) {
	conds, args := []string{"1 = 1" + s.within("m.site_id")}, []any(nil)
	if f.Site != "" {
		conds, args = append(conds, "LOWER(s.name) = ?"), append(args, fold(f.Site))
	}
	if f.What != "" {
		conds, args = append(conds, "g.what = ?"), append(args, string(f.What))
	}
	return " WHERE " + strings.Join(conds, " AND "), args
}

// Known tells, kind by kind, how many installed assemblies lack a value, and
// first how many have an incomplete estimate.
func (s *Store) Known(ctx context.Context, now time.Time, site string) ([]register.KnownShare, error) {
	c, err := s.Counts(ctx, now, site)
	if err != nil {
		return nil, err
	}
	shares := []register.KnownShare{{Lacking: c.Incomplete, Of: c.Assemblies}}
	where, args := s.gapsWhere(register.GapFilter{Site: site})
	n := map[register.GapKind]int{}
	err = s.eachRow(ctx, "what is not known", "SELECT g.what, COUNT(*)"+gapsFrom+where+" GROUP BY g.what", func(rows *sql.Rows) error {
		var what register.GapKind
		var count int
		if err := rows.Scan(&what, &count); err != nil {
			return fmt.Errorf("count what is not known: %w", err)
		}
		n[what] = count
		return nil
	}, args...)
	for _, what := range register.GapKinds() {
		shares = append(shares, register.KnownShare{What: what, Lacking: n[what], Of: c.Assemblies})
	}
	return shares, err
}

// NoteKnown keeps, for each site, how much was known on its today; a later
// look at the same day takes the earlier one's place.
func (s *Store) NoteKnown(ctx context.Context, now time.Time) error {
	d, err := s.days(ctx, now)
	if err != nil {
		return err
	}
	for id, site := range d.sites {
		n, err := s.Counts(ctx, now, site.Name)
		if err != nil {
			return err
		}
		err = s.inTx(ctx, func(c conn) error {
			_, err := c.exec(ctx, `INSERT INTO known_days (site_id, day, lacking, "of") VALUES (?, `+c.e.date(d.today[id])+`, ?, ?)
				ON CONFLICT (site_id, day) DO UPDATE SET lacking = excluded.lacking, "of" = excluded."of"`, id, n.Incomplete, n.Assemblies)
			return err
		})
		if err != nil {
			return fmt.Errorf("note how much is known at site %s: %w", site.Name, err)
		}
	}
	return nil
}

// KnownDays are the days noted, oldest first, of one site or of all of the
// scope together.
func (s *Store) KnownDays(ctx context.Context, site string) ([]register.KnownDay, error) {
	where, args := " WHERE 1 = 1"+s.within("site_id"), []any(nil)
	if site != "" {
		where, args = where+" AND site_id IN (SELECT id FROM sites WHERE LOWER(name) = ?)", []any{fold(site)}
	}
	var days []register.KnownDay
	query := `SELECT day, SUM(lacking), SUM("of") FROM known_days` + where + " GROUP BY day ORDER BY day"
	err := s.eachRow(ctx, "how much was known", query, func(rows *sql.Rows) error {
		var d register.KnownDay
		if err := rows.Scan(&d.Day, &d.Lacking, &d.Of); err != nil {
			return fmt.Errorf("read how much was known: %w", err)
		}
		days = append(days, d)
		return nil
	}, args...)
	return days, err
}
