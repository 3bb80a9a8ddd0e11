package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// MachineSheet is one machine with all that its page shows; a *register.Error
// of code NotFound if there is none of that code.
func (s *Store) MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error) {
	c := s.reader()
	m, err := s.machineCoded(ctx, code)
	if err != nil {
		return register.MachineSheet{}, err
	}
	d, err := s.days(ctx, now)
	if err != nil {
		return register.MachineSheet{}, err
	}
	sheet := register.MachineSheet{Machine: *m, Site: d.sites[m.SiteID], Today: d.today[m.SiteID]}
	if m.KindID != nil {
		kind, err := kinds.one(ctx, c, "id = ?", *m.KindID)
		if err != nil || kind == nil {
			return sheet, firstError(err, fmt.Errorf("find kind %d: not there", *m.KindID))
		}
		sheet.Kind = kind.Name
	}
	policy, err := s.Policy(ctx, sheet.Site.PolicyID)
	if err != nil {
		return sheet, err
	}
	sheet.Policy = policy.Name
	return sheet, s.fillMachineSheet(ctx, d, &sheet)
}

func (s *Store) fillMachineSheet(ctx context.Context, d *days, sheet *register.MachineSheet) error {
	c, id := s.reader(), sheet.Machine.ID
	list, err := ids(ctx, c, `SELECT p.id FROM positions q JOIN placements p ON p.position_id = q.id AND p.to_on IS NULL
		WHERE q.machine_id = ? ORDER BY q.walk_order, q.name`, id)
	if err != nil {
		return fmt.Errorf("list the assemblies of machine %s: %w", sheet.Machine.Code, err)
	}
	if sheet.Lines, err = s.linesOf(ctx, d, list); err != nil {
		return err
	}
	if sheet.Inspected, err = s.inspectionDays(ctx, id); err != nil {
		return err
	}
	sheet.Empty, err = positions.where(ctx, c, `machine_id = ? AND gone_on IS NULL
		AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.position_id = positions.id AND p.to_on IS NULL) ORDER BY walk_order, name`, id)
	if err != nil {
		return err
	}
	if sheet.Readings, err = readings.where(ctx, c, "machine_id = ? ORDER BY on_day DESC, id DESC", id); err != nil {
		return err
	}
	if sheet.MeterEvents, err = meterEvents.where(ctx, c, "machine_id = ? ORDER BY on_day DESC, id DESC", id); err != nil {
		return err
	}
	if sheet.LayUps, err = layUps.where(ctx, c, "machine_id = ? ORDER BY from_on DESC, id DESC", id); err != nil {
		return err
	}
	if sheet.Circuits, err = circuits.where(ctx, c, "machine_id = ? ORDER BY name", id); err != nil {
		return err
	}
	sheet.Conditions, err = conditions.where(ctx, c, `(level = 'machine' AND owner_id = ?
		OR level = 'circuit' AND owner_id IN (SELECT id FROM circuits WHERE machine_id = ?)) ORDER BY level DESC, owner_id, from_on DESC, id DESC`, id, id)
	return err
}

// inspectionDays are the days on which the assemblies that now sit on a
// machine were inspected, by code.
func (s *Store) inspectionDays(ctx context.Context, machineID int64) (map[string][]quantity.Date, error) {
	rows, err := s.reader().query(ctx, `SELECT a.code, i.on_day FROM positions q
		JOIN placements p ON p.position_id = q.id AND p.to_on IS NULL
		JOIN assemblies a ON a.id = p.assembly_id
		JOIN inspections i ON i.assembly_id = a.id
		WHERE q.machine_id = ? ORDER BY i.on_day`, machineID)
	if err != nil {
		return nil, fmt.Errorf("list the inspections of machine %d: %w", machineID, translate(err))
	}
	defer rows.Close()
	days := map[string][]quantity.Date{}
	for rows.Next() {
		var code string
		var on quantity.Date
		if err := rows.Scan(&code, &on); err != nil {
			return nil, fmt.Errorf("read the inspections of machine %d: %w", machineID, err)
		}
		days[code] = append(days[code], on)
	}
	return days, rows.Err()
}
