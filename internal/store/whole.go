package store

import (
	"context"
	"database/sql"
	"fmt"
	"reflect"

	"hoseward/internal/register"
)

// Whole hands every row of the register to f, part by part in the order of
// register.WholeParts, within a part as they were noted. All rows are of one
// moment, whatever is changed meanwhile. What TakeWhole takes in from it is an
// equal register: all but the change log, estimates, runs of jobs, people and
// their saved lists. The row is f's.
func (s *Store) Whole(ctx context.Context, f func(register.WholeRow) error) error {
	if err := s.wholeOnly(); err != nil {
		return err
	}
	return s.snapshot(ctx, func(c conn) error {
		for _, part := range register.WholeParts() {
			if err := eachWhole(ctx, c, part, f); err != nil {
				return err
			}
		}
		return nil
	})
}

// snapshot lets f read the register as it is at one moment.
func (s *Store) snapshot(ctx context.Context, f func(conn) error) error {
	if s.inside != nil {
		return f(s.reader())
	}
	var opts *sql.TxOptions // a transaction that reads is a snapshot in SQLite
	if s.e.name == Postgres {
		opts = &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}
	}
	t, err := s.read.BeginTx(ctx, opts)
	if err != nil {
		return fmt.Errorf("begin to read the register: %w", translate(err))
	}
	defer t.Rollback() // nothing was changed
	return f(conn{querier: t, e: s.e})
}

func eachWhole(ctx context.Context, c conn, part register.WholePart, f func(register.WholeRow) error) error {
	rows, err := c.query(ctx, wholeQuery(part))
	if err != nil {
		return fmt.Errorf("read all %s: %w", part, translate(err))
	}
	defer rows.Close()
	var dest []any
	for rows.Next() {
		row := register.NewWholeRow(part)
		dest = wholeDest(dest[:0], reflect.ValueOf(row).Elem())
		if err := rows.Scan(dest...); err != nil {
			return fmt.Errorf("read a row of all %s: %w", part, err)
		}
		if err := f(row); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read all %s: %w", part, translate(err))
	}
	return nil
}

// wholeDest appends where the columns of a row are scanned to: its fields in
// order, those of an embedded struct in its place.
func wholeDest(dest []any, v reflect.Value) []any {
	for i := range v.NumField() {
		if v.Type().Field(i).Anonymous {
			dest = wholeDest(dest, v.Field(i))
			continue
		}
		dest = append(dest, v.Field(i).Addr().Interface())
	}
	return dest
}

// wholeServiceColumns are the fields of register.WholeService.
const wholeServiceColumns = `o.fluid_c, o.surroundings_c, o.always_hot, o.temperatures, o.adapter_bar, o.working_bar, o.cycles, o.no_cycles,
	o.recorded, o.assessed_on`

// wholeQuery selects the columns of a part in the order of its struct's
// fields; a test holds the one to the other.
func wholeQuery(part register.WholePart) string {
	switch part {
	case register.PartPolicies:
		return `SELECT name, months_from_assembly, months_from_fitting, months_from_make, hours_from_fitting, cycles_from_fitting,
				heat_limit_months, storage_months, hose_age_months, inspect_months, exposed_inspect_months, damage_limit, assumed_factor,
				heat_reference_c, ea_kj, combine_sum, peak_only, own_curve_alone, own_curve_reason, source, lengthened
			FROM policies WHERE NOT shipped ORDER BY id`
	case register.PartSites:
		return "SELECT s.name, s.zone, y.name FROM sites s JOIN policies y ON y.id = s.policy_id ORDER BY s.id"
	case register.PartKinds:
		return "SELECT name FROM kinds ORDER BY id"
	case register.PartKindPositions:
		return `SELECT k.name, p.circuit, p.name, p.walk_order, p.can_hurt, p.exposed, p.length_mm, p.note
			FROM kind_positions p JOIN kinds k ON k.id = p.kind_id ORDER BY p.id`
	case register.PartDuties:
		return "SELECT k.name, o.circuit, " + wholeServiceColumns + ", o.note FROM duties o JOIN kinds k ON k.id = o.kind_id ORDER BY o.id"
	case register.PartMachines:
		return `SELECT s.name, COALESCE(k.name, ''), m.code, m.name, m.serial, m.planned_hours_per_week, m.can_hurt, m.note, m.gone_on, m.gone_reason
			FROM machines m JOIN sites s ON s.id = m.site_id LEFT JOIN kinds k ON k.id = m.kind_id ORDER BY m.id`
	case register.PartCircuits:
		return "SELECT m.code, c.name FROM circuits c JOIN machines m ON m.id = c.machine_id ORDER BY c.id"
	case register.PartPositions:
		return `SELECT m.code, COALESCE(c.name, ''), q.name, q.walk_order, q.can_hurt, q.exposed, COALESCE(y.name, ''), q.length_mm, q.bend_mm,
				q.straight_mm, q.twisted, q.note, q.gone_on, q.gone_reason
			FROM positions q JOIN machines m ON m.id = q.machine_id LEFT JOIN circuits c ON c.id = q.circuit_id
			LEFT JOIN policies y ON y.id = q.policy_id ORDER BY q.id`
	}
	return wholeStoryQuery(part)
}

// wholeStoryQuery selects what happened to machines and assemblies.
func wholeStoryQuery(part register.WholePart) string {
	switch part {
	case register.PartAssemblies:
		return `SELECT s.name, a.code, a.layline, a.maker, a.designation, a.construction, a.tube, a.dn, a.dash, a.rated_bar, a.rating_source,
				a.max_c, a.fluid, a.length_mm, a.end_a, a.end_a_bar, a.end_b, a.end_b_bar, a.end_make, a.made, a.made_text, a.made_ambiguous,
				a.assembled, a.assembled_text, a.unconfirmed, a.note, a.scrapped_on, a.scrapped_reason
			FROM assemblies a JOIN sites s ON s.id = a.site_id ORDER BY a.id`
	case register.PartFormerCodes:
		return `SELECT c.code, a.code FROM assembly_codes c JOIN assemblies a ON a.id = c.assembly_id
			WHERE LOWER(c.code) <> LOWER(a.code) ORDER BY a.id, LOWER(c.code)`
	case register.PartPlacements:
		return `SELECT a.code, m.code, q.name, p.from_on, p.from_hours, p.from_text, p.to_on, p.to_hours,
				COALESCE(r.cause, ''), COALESCE(r.found_by, ''), COALESCE(r.reason, ''), COALESCE(r.seen, '')
			FROM placements p JOIN assemblies a ON a.id = p.assembly_id JOIN positions q ON q.id = p.position_id
			JOIN machines m ON m.id = q.machine_id LEFT JOIN removals r ON r.placement_id = p.id ORDER BY p.id`
	case register.PartReadings:
		return `SELECT m.code, r.on_day, r.hours, r.source, r.disputed, r.note
			FROM readings r JOIN machines m ON m.id = r.machine_id ORDER BY r.id`
	case register.PartMeterEvents:
		return `SELECT m.code, e.on_day, e.old_end, e.new_start, e.note
			FROM meter_events e JOIN machines m ON m.id = e.machine_id ORDER BY e.id`
	case register.PartLayUps:
		return "SELECT m.code, l.from_on, l.to_on, l.reason FROM lay_ups l JOIN machines m ON m.id = l.machine_id ORDER BY l.id"
	case register.PartConditions:
		return `SELECT m.code, COALESCE(c.name, ''), COALESCE(q.name, ''), o.from_on, ` + wholeServiceColumns + `, o.basis, o.note
			FROM conditions o
			LEFT JOIN circuits c ON o.level = 'circuit' AND c.id = o.owner_id
			LEFT JOIN positions q ON o.level = 'position' AND q.id = o.owner_id
			JOIN machines m ON m.id = CASE o.level WHEN 'machine' THEN o.owner_id WHEN 'circuit' THEN c.machine_id ELSE q.machine_id END
			ORDER BY o.id`
	case register.PartInspections:
		return `SELECT a.code, i.on_day, ` + wholeLook + `, m.code, q.name, i."by", i.verdict, i.note
			FROM inspections i JOIN assemblies a ON a.id = i.assembly_id JOIN positions q ON q.id = i.position_id
			JOIN machines m ON m.id = q.machine_id ORDER BY i.id`
	}
	return `SELECT a.code, i.on_day, ` + wholeLook + `, f."number", f.class, f.place, f.act_by, f.note, f.closed_on, f.closed_how, f.closed_reason
		FROM findings f JOIN inspections i ON i.id = f.inspection_id JOIN assemblies a ON a.id = i.assembly_id ORDER BY f.id`
}

// wholeLook numbers the inspection i among those of its assembly and day.
const wholeLook = `(SELECT COUNT(*) FROM inspections x WHERE x.assembly_id = i.assembly_id AND x.on_day = i.on_day AND x.id <= i.id)`

// wholeOnly refuses the whole register within a scope.
func (s *Store) wholeOnly() error {
	if s.scope.All {
		return nil
	}
	return refuse(register.Forbidden, "", "%s", register.ForbiddenSentence(register.RightManage, ""))
}

// WholeCounts is how many rows of each part Whole would give.
func (s *Store) WholeCounts(ctx context.Context) (map[register.WholePart]int, error) {
	if err := s.wholeOnly(); err != nil {
		return nil, err
	}
	counts := map[register.WholePart]int{}
	err := s.snapshot(ctx, func(c conn) error {
		for _, part := range register.WholeParts() {
			query := "SELECT COUNT(*) FROM " + string(part) // a part is named as its table
			switch part {
			case register.PartPolicies:
				query += " WHERE NOT shipped"
			case register.PartFormerCodes:
				query = "SELECT COUNT(*) FROM assembly_codes c JOIN assemblies a ON a.id = c.assembly_id WHERE LOWER(c.code) <> LOWER(a.code)"
			}
			var n int
			if err := c.row(ctx, query).Scan(&n); err != nil {
				return fmt.Errorf("count %s: %w", part, translate(err))
			}
			counts[part] = n
		}
		return nil
	})
	return counts, err
}
