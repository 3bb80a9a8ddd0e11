package store

import (
	"context"
	"fmt"

	"hoseward/internal/register"
)

// The rows that forms of corrections begin with, by their numbers. Each is a
// *register.Error of code NotFound if there is none of that number.

func byID[T any](ctx context.Context, c conn, tab *table[T], id int64, what string) (*T, error) {
	row, err := tab.one(ctx, c, "id = ?", id)
	if err == nil && row == nil {
		err = refuse(register.NotFound, "", "%s is not in the register any more.", what)
	}
	return row, err
}

// codeOfMachine is the code of a machine by its number.
func codeOfMachine(ctx context.Context, c conn, id int64) (string, error) {
	m, err := byID(ctx, c, machines, id, "The machine")
	if err != nil {
		return "", err
	}
	return m.Code, nil
}

// codeOfSeat is the code of the machine of a position.
func codeOfSeat(ctx context.Context, c conn, positionID int64) (string, error) {
	p, err := byID(ctx, c, positions, positionID, "The position")
	if err != nil {
		return "", err
	}
	return codeOfMachine(ctx, c, p.MachineID)
}

// Reading is a reading with the code of its machine.
func (s *Store) Reading(ctx context.Context, id int64) (register.Reading, string, error) {
	row, err := byID(ctx, s.reader(), readings, id, "This reading")
	if err != nil {
		return register.Reading{}, "", err
	}
	code, err := codeOfMachine(ctx, s.reader(), row.MachineID)
	return *row, code, err
}

// MeterEvent is a meter event with the code of its machine.
func (s *Store) MeterEvent(ctx context.Context, id int64) (register.MeterEvent, string, error) {
	row, err := byID(ctx, s.reader(), meterEvents, id, "This meter event")
	if err != nil {
		return register.MeterEvent{}, "", err
	}
	code, err := codeOfMachine(ctx, s.reader(), row.MachineID)
	return *row, code, err
}

// LayUp is a lay-up with the code of its machine.
func (s *Store) LayUp(ctx context.Context, id int64) (register.LayUp, string, error) {
	row, err := byID(ctx, s.reader(), layUps, id, "This lay-up")
	if err != nil {
		return register.LayUp{}, "", err
	}
	code, err := codeOfMachine(ctx, s.reader(), row.MachineID)
	return *row, code, err
}

// Conditions is a row of service conditions with the code of the machine it is
// about, itself or by one of its circuits or positions.
func (s *Store) Conditions(ctx context.Context, id int64) (register.Conditions, string, error) {
	row, err := byID(ctx, s.reader(), conditions, id, "This row of service conditions")
	if err != nil {
		return register.Conditions{}, "", err
	}
	machineID, err := machineOf(ctx, s.reader(), row)
	if err != nil {
		return *row, "", err
	}
	code, err := codeOfMachine(ctx, s.reader(), machineID)
	return *row, code, err
}

// Inspection is an inspection with the code of the machine it was made at.
func (s *Store) Inspection(ctx context.Context, id int64) (register.Inspection, string, error) {
	row, err := byID(ctx, s.reader(), inspections, id, "This inspection")
	if err != nil {
		return register.Inspection{}, "", err
	}
	code, err := codeOfSeat(ctx, s.reader(), row.PositionID)
	return *row, code, err
}

// Finding is a finding with the code of the machine it was seen at.
func (s *Store) Finding(ctx context.Context, id int64) (register.Finding, string, error) {
	row, err := byID(ctx, s.reader(), findings, id, "This finding")
	if err != nil {
		return register.Finding{}, "", err
	}
	look, err := byID(ctx, s.reader(), inspections, row.InspectionID, "The inspection")
	if err != nil {
		return *row, "", err
	}
	code, err := codeOfSeat(ctx, s.reader(), look.PositionID)
	return *row, code, err
}

// PlacementSheet is a placement with its names and its removal.
func (s *Store) PlacementSheet(ctx context.Context, id int64) (register.PlacementSheet, error) {
	sheets, err := s.placementSheets(ctx, "p.id = ?", id)
	if err == nil && len(sheets) == 0 {
		err = refuse(register.NotFound, "", "This fitting is not in the register any more.")
	}
	if err != nil {
		return register.PlacementSheet{}, err
	}
	return sheets[0], nil
}

// placementSheets are the placements p that meet a condition, newest first.
func (s *Store) placementSheets(ctx context.Context, where string, args ...any) ([]register.PlacementSheet, error) {
	c := s.reader()
	rows, err := c.query(ctx, "SELECT "+placements.prefixed("p")+`, a.code, a.designation, m.code, q.name, m.site_id,
			p.to_on IS NOT NULL AND a.scrapped_on = p.to_on AND NOT EXISTS (SELECT 1 FROM placements x WHERE x.assembly_id = p.assembly_id AND x.id <> p.id
				AND (x.from_on > p.from_on OR x.from_on = p.from_on AND (x.to_on IS NULL OR x.to_on > x.from_on)))
		FROM placements p JOIN assemblies a ON a.id = p.assembly_id JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
		WHERE `+where+" ORDER BY p.from_on DESC, CASE WHEN p.to_on = p.from_on THEN 1 ELSE 0 END, p.id DESC", args...)
	if err != nil {
		return nil, fmt.Errorf("read fittings: %w", translate(err))
	}
	defer rows.Close()
	var out []register.PlacementSheet
	for rows.Next() {
		var p register.PlacementSheet
		var scrapped *bool // NULL where the assembly was never scrapped
		dest := append(placements.dest(nil, &p.Placement), &p.AssemblyCode, &p.Designation, &p.MachineCode, &p.PositionName, &p.SiteID, &scrapped)
		if err := rows.Scan(dest...); err != nil {
			return nil, fmt.Errorf("read a fitting: %w", err)
		}
		p.Scrapped = isYes(scrapped)
		out = append(out, p)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read fittings: %w", translate(err))
	}
	return out, s.withRemovals(ctx, c, out)
}

// withRemovals fills in why assemblies came off.
func (s *Store) withRemovals(ctx context.Context, c conn, sheets []register.PlacementSheet) error {
	if len(sheets) == 0 {
		return nil
	}
	list := make([]int64, len(sheets))
	at := make(map[int64]int, len(sheets))
	for i := range sheets {
		list[i], at[sheets[i].Placement.ID] = sheets[i].Placement.ID, i
	}
	return removals.each(ctx, c, "placement_id IN ("+idList(list)+")", nil, func(r *register.Removal) error {
		sheets[at[r.PlacementID]].Removal = r
		return nil
	})
}
