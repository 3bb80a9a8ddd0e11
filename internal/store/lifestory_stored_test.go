package store_test

import (
	"database/sql"
	"fmt"
	"strings"

	"hoseward/internal/quantity"
)

// stored is what the register holds, in the words of model.lines.
func (w *tale) stored() map[string]string {
	out := map[string]string{}
	w.each("SELECT a.id, a.code, s.name, a.scrapped_on, a.scrapped_reason FROM assemblies a JOIN sites s ON s.id = a.site_id", func(rows *sql.Rows) error {
		var id int64
		var code, site, reason string
		var scrapped quantity.Date
		err := rows.Scan(&id, &code, &site, &scrapped, &reason)
		n := 0
		if site == "Yard" {
			n = 1
		}
		out[w.key("assembly", id)] = fmt.Sprintf("%s site %d scrapped %d %s", code, n, numberOf(scrapped), reason)
		return err
	})
	w.each(`SELECT p.id, p.assembly_id, q.name, p.from_on, p.to_on, p.from_hours, p.to_hours, COALESCE(r.cause, '')
		FROM placements p JOIN positions q ON q.id = p.position_id LEFT JOIN removals r ON r.placement_id = p.id`, func(rows *sql.Rows) error {
		var id, assembly int64
		var seat, cause string
		var from, to quantity.Date
		var fromHours, toHours *float64
		err := rows.Scan(&id, &assembly, &seat, &from, &to, &fromHours, &toHours, &cause)
		key := w.key("stay", id)
		out[key] = fmt.Sprintf("%d at %s from %d to %d hours %g %g", w.ids["assembly"][assembly], seat[1:], numberOf(from), numberOf(to), orUnknown(fromHours), orUnknown(toHours))
		if cause != "" {
			out[strings.Replace(key, "stay", "removal", 1)] = cause
		}
		return err
	})
	w.each("SELECT r.id, m.code, r.on_day, r.hours, r.disputed, r.source IN ('fitting', 'removal') FROM readings r JOIN machines m ON m.id = r.machine_id", func(rows *sql.Rows) error {
		var id int64
		var machine string
		var on quantity.Date
		var hours float64
		var disputed, look bool
		err := rows.Scan(&id, &machine, &on, &hours, &disputed, &look)
		out[w.key("reading", id)] = fmt.Sprintf("%s on %d: %g disputed %t look %t", machine[2:], numberOf(on), hours, disputed, look)
		return err
	})
	w.each("SELECT e.id, m.code, e.on_day, e.old_end, e.new_start FROM meter_events e JOIN machines m ON m.id = e.machine_id", func(rows *sql.Rows) error {
		var id int64
		var machine string
		var on quantity.Date
		var before, after float64
		err := rows.Scan(&id, &machine, &on, &before, &after)
		out[w.key("event", id)] = fmt.Sprintf("%s on %d: %g to %g", machine[2:], numberOf(on), before, after)
		return err
	})
	w.each("SELECT l.id, m.code, l.from_on, l.to_on, l.reason FROM lay_ups l JOIN machines m ON m.id = l.machine_id", func(rows *sql.Rows) error {
		var id int64
		var machine, reason string
		var from, to quantity.Date
		err := rows.Scan(&id, &machine, &from, &to, &reason)
		out[w.key("lay-up", id)] = fmt.Sprintf("%s from %d to %d %s", machine[2:], numberOf(from), numberOf(to), reason)
		return err
	})
	w.each(`SELECT c.id, c.level, COALESCE(q.name, m.code, n.code), c.from_on, c.fluid_c FROM conditions c
		LEFT JOIN positions q ON c.level = 'position' AND q.id = c.owner_id
		LEFT JOIN circuits u ON c.level = 'circuit' AND u.id = c.owner_id LEFT JOIN machines m ON m.id = u.machine_id
		LEFT JOIN machines n ON c.level = 'machine' AND n.id = c.owner_id`, func(rows *sql.Rows) error {
		var id int64
		var level, owner string
		var from quantity.Date
		var fluid float64
		err := rows.Scan(&id, &level, &owner, &from, &fluid)
		out[w.key("conditions", id)] = fmt.Sprintf("%s %c from %d fluid %g", level, owner[len(owner)-1], numberOf(from), fluid)
		return err
	})
	w.each(`SELECT i.id, i.assembly_id, q.name, i.on_day, i."by", i.verdict FROM inspections i JOIN positions q ON q.id = i.position_id`, func(rows *sql.Rows) error {
		var id, assembly int64
		var seat, by, verdict string
		var on quantity.Date
		err := rows.Scan(&id, &assembly, &seat, &on, &by, &verdict)
		out[w.key("look", id)] = fmt.Sprintf("%d at %s on %d by %s: %s", w.ids["assembly"][assembly], seat[1:], numberOf(on), by, verdict)
		return err
	})
	w.each("SELECT id, inspection_id, class, seen_on, closed_on, closed_how, closed_reason FROM findings", func(rows *sql.Rows) error {
		var id, look int64
		var class, how, reason string
		var seen, closed quantity.Date
		err := rows.Scan(&id, &look, &class, &seen, &closed, &how, &reason)
		out[w.key("finding", id)] = fmt.Sprintf("of %d %s seen %d closed %d %s %s", w.ids["look"][look], class, numberOf(seen), numberOf(closed), how, reason)
		return err
	})
	return out
}

func orUnknown(v *float64) float64 {
	if v == nil {
		return -1
	}
	return *v
}

func (w *tale) key(kind string, id int64) string {
	n, ok := w.ids[kind][id]
	if !ok {
		return fmt.Sprintf("%s row %d", kind, id)
	}
	return fmt.Sprintf("%s %d", kind, n)
}

func (w *tale) each(query string, f func(*sql.Rows) error) {
	rows, err := w.s.Raw().Query(query)
	if err != nil {
		w.t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			w.t.Fatalf("%s: %v", query, err)
		}
	}
	if err := rows.Err(); err != nil {
		w.t.Fatal(err)
	}
}
