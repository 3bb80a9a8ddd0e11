package store

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// Positions is a page of the positions the filter chooses, by machine and
// walking order. Positions that ceased to be and those of machines that left
// are on no list. Total counts up to 1000.
func (s *Store) Positions(ctx context.Context, now time.Time, f register.PositionFilter) (register.PositionPage, error) {
	var page register.PositionPage
	d, err := s.days(ctx, now)
	if err != nil {
		return page, err
	}
	q := s.positionQuery(f)
	if page.Total, page.More, err = s.countUpTo(ctx, "SELECT 1 "+q.from+q.where(), q.args); err != nil {
		return page, fmt.Errorf("count positions: %w", err)
	}
	if f.After != "" {
		var c positionCursor
		if err := decodeCursor(f.After, &c); err != nil {
			return page, err
		}
		// The first part lets an index begin there.
		q.and("m.code >= ? AND (m.code, q.walk_order, q.id) > (?, ?, ?)", c.Machine, c.Machine, c.Walk, c.ID)
	}
	limit := pageSize(f.Limit)
	list, err := ids(ctx, s.reader(), "SELECT q.id "+q.from+q.where()+positionOrder+" LIMIT "+strconv.Itoa(limit+1), q.args...)
	if err != nil {
		return page, fmt.Errorf("list positions: %w", err)
	}
	more := len(list) > limit
	if page.Lines, err = s.positionLines(ctx, d, list[:min(len(list), limit)]); err != nil {
		return page, err
	}
	if n := len(page.Lines); more && n > 0 {
		l := page.Lines[n-1]
		page.Next = encodeCursor(positionCursor{l.MachineCode, l.WalkOrder, l.ID})
	}
	return page, nil
}

// PositionIDs are the positions the filter chooses, all of them in the order
// of the list; After and Limit are not looked at.
func (s *Store) PositionIDs(ctx context.Context, f register.PositionFilter) ([]int64, error) {
	q := s.positionQuery(f)
	list, err := ids(ctx, s.reader(), "SELECT q.id "+q.from+q.where()+positionOrder, q.args...)
	if err != nil {
		return nil, fmt.Errorf("list positions: %w", err)
	}
	return list, nil
}

// MachineIDs are the machines the filter chooses, all of them by code; After
// and Limit are not looked at.
func (s *Store) MachineIDs(ctx context.Context, f register.MachineFilter) ([]int64, error) {
	f.After = ""
	cond, args, err := s.machineCond(f)
	if err != nil {
		return nil, err
	}
	list, err := ids(ctx, s.reader(), "SELECT id FROM machines WHERE "+cond+" ORDER BY code", args...)
	if err != nil {
		return nil, fmt.Errorf("list machines: %w", err)
	}
	return list, nil
}

// positionCursor is where a page ended.
type positionCursor struct {
	Machine string `json:"m"`
	Walk    int    `json:"w"`
	ID      int64  `json:"i"`
}

const positionOrder = " ORDER BY m.code, q.walk_order, q.id"

func (s *Store) positionQuery(f register.PositionFilter) *listQuery {
	q := &listQuery{from: "FROM machines m INNER JOIN positions q ON TRUE"}
	if f.Circuit == "" && f.Text == "" && !f.Empty && f.CanHurt == nil && f.Exposed == nil {
		// Most rows are on the list: CROSS JOIN is a JOIN that SQLite does not
		// reorder, and walks the list in its order.
		q.from = "FROM machines m CROSS JOIN positions q"
	}
	q.and("q.machine_id = m.id AND q.gone_on IS NULL AND m.gone_on IS NULL")
	s.atSite(q, "m.site_id")
	if f.Site != "" {
		q.and("m.site_id IN (SELECT id FROM sites WHERE LOWER(name) = ?)", fold(lookFor(f.Site)))
	}
	if f.Machine != "" {
		q.and("LOWER(m.code) = ?", fold(lookFor(f.Machine)))
	}
	if f.Kind != "" {
		q.and("m.kind_id IN (SELECT id FROM kinds WHERE LOWER(name) = ?)", fold(lookFor(f.Kind)))
	}
	if f.Circuit != "" {
		q.and("q.circuit_id IN (SELECT id FROM circuits WHERE LOWER(name) = ?)", fold(lookFor(f.Circuit)))
	}
	if f.Policy != "" { // its own, or that of the site
		q.and(`COALESCE(q.policy_id, (SELECT s.policy_id FROM sites s WHERE s.id = m.site_id)) IN (SELECT id FROM policies WHERE LOWER(name) = ?)`, fold(lookFor(f.Policy)))
	}
	if f.Empty {
		// Few among many, so the texts to search lead to them.
		q.and("q.id IN (SELECT " + s.e.findID() + " FROM " + findPositions.name + ")")
	}
	if f.CanHurt != nil {
		q.and(not(*f.CanHurt) + "(q.can_hurt OR m.can_hurt)")
	}
	if f.Exposed != nil {
		q.and(not(*f.Exposed) + "q.exposed")
	}
	s.positionText(q, f.Text)
	return q
}

func not(yes bool) string {
	if yes {
		return ""
	}
	return "NOT "
}

// positionText limits a query to positions found by a text: empty ones by
// their own, the others by that of what is fitted there.
func (s *Store) positionText(q *listQuery, text string) {
	text = plainText(text)
	if text == "" {
		return
	}
	empty, args := s.e.has(findPositions, text)
	if empty == "" {
		q.and("LOWER(m.code) >= ? AND LOWER(m.code) < ?", fold(text), fold(text)+"\U0010ffff")
		return
	}
	fitted, same := s.e.has(findAssemblies, text)
	q.and("q.id IN (SELECT "+s.e.findID()+" FROM find_positions WHERE "+empty+` UNION ALL
			SELECT p.position_id FROM find_assemblies CROSS JOIN placements p WHERE p.assembly_id = find_assemblies.`+s.e.findID()+" AND p.to_on IS NULL AND "+fitted+")",
		append(args, same...)...)
}

// positionLines reads positions with what sits there, in the order of the ids.
func (s *Store) positionLines(ctx context.Context, d *days, list []int64) ([]register.PositionLine, error) {
	rows, err := s.reader().query(ctx, `SELECT q.id, m.site_id, m.code, m.name, COALESCE(k.name, ''), COALESCE(c.name, ''), q.name, q.walk_order,
			q.can_hurt OR m.can_hurt, q.exposed, COALESCE(o.name, ''), COALESCE(a.code, ''), COALESCE(a.designation, ''), COALESCE(e.stop_open, FALSE), e.act_by
		FROM positions q JOIN machines m ON m.id = q.machine_id LEFT JOIN kinds k ON k.id = m.kind_id LEFT JOIN circuits c ON c.id = q.circuit_id
			LEFT JOIN policies o ON o.id = q.policy_id LEFT JOIN placements p ON p.position_id = q.id AND p.to_on IS NULL
			LEFT JOIN assemblies a ON a.id = p.assembly_id LEFT JOIN estimates e ON e.assembly_id = p.assembly_id
		WHERE q.id IN (`+idList(list)+")"+positionOrder)
	if err != nil {
		return nil, fmt.Errorf("read positions: %w", translate(err))
	}
	defer rows.Close()
	var lines []register.PositionLine
	for rows.Next() {
		var l register.PositionLine
		var site int64
		var stop bool
		err := rows.Scan(&l.ID, &site, &l.MachineCode, &l.MachineName, &l.Kind, &l.Circuit, &l.Name, &l.WalkOrder,
			&l.CanHurt, &l.Exposed, &l.Policy, &l.AssemblyCode, &l.Designation, &stop, &l.ActBy)
		if err != nil {
			return nil, fmt.Errorf("read positions: %w", err)
		}
		l.Site = d.sites[site].Name
		if l.AssemblyCode != "" {
			l.Status = life.StatusOn(stop, l.ActBy, d.today[site])
		}
		lines = append(lines, l)
	}
	return lines, translate(rows.Err())
}
