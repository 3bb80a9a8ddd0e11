package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// MachineLines is a page of the machines the filter chooses, by code, and the
// cursor of the next page, empty on the last. Counts holds, of the machine,
// what Counts of the store holds of a site, but nothing in store.
func (s *Store) MachineLines(ctx context.Context, now time.Time, f register.MachineFilter) (lines []register.MachineLine, next string, err error) {
	d, err := s.days(ctx, now)
	if err != nil {
		return nil, "", err
	}
	cond, args, err := s.machineCond(f)
	if err != nil {
		return nil, "", err
	}
	limit := pageSize(f.Limit)
	list, err := machines.where(ctx, s.reader(), cond+fmt.Sprintf(" ORDER BY code LIMIT %d", limit+1), args...)
	if err != nil {
		return nil, "", err
	}
	if len(list) > limit {
		list = list[:limit]
		next = encodeCursor(list[limit-1].Code)
	}
	lines, err = s.machineLinesOf(ctx, d, list)
	return lines, next, err
}

func (s *Store) machineCond(f register.MachineFilter) (string, []any, error) {
	conds, args := []string{"gone_on IS NULL" + s.within("site_id")}, []any(nil)
	if f.Site != "" {
		conds, args = append(conds, "site_id IN (SELECT id FROM sites WHERE LOWER(name) = ?)"), append(args, fold(f.Site))
	}
	if f.Kind != "" {
		conds, args = append(conds, "kind_id IN (SELECT id FROM kinds WHERE LOWER(name) = ?)"), append(args, fold(f.Kind))
	}
	if f.Text != "" {
		like := " " + s.e.like + ` ? ESCAPE '\'`
		p := pattern(f.Text)
		conds, args = append(conds, "(code"+like+" OR name"+like+" OR serial"+like+")"), append(args, p, p, p)
	}
	if f.After != "" {
		var code string
		if err := decodeCursor(f.After, &code); err != nil {
			return "", nil, err
		}
		conds, args = append(conds, "code > ?"), append(args, code)
	}
	return strings.Join(conds, " AND "), args, nil
}

// machineLinesOf adds to machines what their estimates and readings say. Each
// table is asked once.
func (s *Store) machineLinesOf(ctx context.Context, d *days, list []register.Machine) ([]register.MachineLine, error) {
	names, err := s.kindNames(ctx)
	if err != nil {
		return nil, err
	}
	lines := make([]register.MachineLine, len(list))
	at := make(map[int64]*register.MachineLine, len(list))
	in := make([]int64, len(list))
	for i, m := range list {
		lines[i] = register.MachineLine{Machine: m, Site: d.sites[m.SiteID].Name, Counts: register.Counts{Machines: 1}}
		if m.KindID != nil {
			lines[i].Kind = names[*m.KindID]
		}
		at[m.ID], in[i] = &lines[i], m.ID
	}
	if err := s.countByMachine(ctx, d, in, at); err != nil {
		return nil, fmt.Errorf("count by machine: %w", translate(err))
	}
	last, err := readings.where(ctx, s.reader(), `id IN (SELECT (SELECT r.id FROM readings r
		WHERE r.machine_id = m.id AND NOT r.disputed ORDER BY r.on_day DESC, r.id DESC LIMIT 1) FROM machines m WHERE m.id IN (`+idList(in)+"))")
	if err != nil {
		return nil, err
	}
	for i := range last {
		at[last[i].MachineID].LastReading = &last[i]
	}
	return lines, nil
}

func (s *Store) countByMachine(ctx context.Context, d *days, in []int64, at map[int64]*register.MachineLine) error {
	rows, err := s.reader().query(ctx, "SELECT machine_id, COUNT(*) FROM positions WHERE gone_on IS NULL AND machine_id IN ("+idList(in)+") GROUP BY machine_id")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var n int
		if err := rows.Scan(&id, &n); err != nil {
			return err
		}
		at[id].Positions, at[id].Counts.Positions, at[id].Counts.EmptyPositions = n, n, n
	}
	if err := rows.Err(); err != nil {
		return err
	}
	rows, err = s.reader().query(ctx, "SELECT e.machine_id, MIN(e.act_by), MAX(e.hours_per_week), "+countColumns(d)+
		" FROM estimates e WHERE e.machine_id IN ("+idList(in)+") GROUP BY e.machine_id")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var next quantity.Date
		var perWeek *float64
		var c register.Counts
		if err := rows.Scan(append([]any{&id, &next, &perWeek}, countDest(&c)...)...); err != nil {
			return err
		}
		l := at[id]
		c.Machines, c.Positions, c.EmptyPositions = 1, l.Positions, l.Positions-c.Assemblies
		l.Counts, l.NextActBy, l.HoursPerWeek = c, next, perWeek
	}
	return rows.Err()
}

func (s *Store) kindNames(ctx context.Context) (map[int64]string, error) {
	names := map[int64]string{}
	err := kinds.each(ctx, s.reader(), "", nil, func(k *register.Kind) error { names[k.ID] = k.Name; return nil })
	return names, err
}
