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
		err = notThere(what)
	}
	return row, err
}

// codeOf is the code of the machine by its number of a row called what, which
// is not there for whoever may not see the machine.
func (s *Store) codeOf(ctx context.Context, machineID int64, what string) (string, error) {
	codes, err := s.texts(ctx, "SELECT code FROM machines WHERE id = ?"+s.within("site_id"), machineID)
	if err == nil && len(codes) == 0 {
		err = notThere(what)
	}
	if err != nil {
		return "", err
	}
	return codes[0], nil
}

// codeOfSeat is the code of the machine of a position, for a row called what.
func (s *Store) codeOfSeat(ctx context.Context, positionID int64, what string) (string, error) {
	p, err := byID(ctx, s.reader(), positions, positionID, what)
	if err != nil {
		return "", err
	}
	return s.codeOf(ctx, p.MachineID, what)
}

func notThere(what string) error {
	return refuse(register.NotFound, "", "%s is not in the register any more.", what)
}

// Reading is a reading with the code of its machine.
func (s *Store) Reading(ctx context.Context, id int64) (register.Reading, string, error) {
	const what = "This reading"
	row, err := byID(ctx, s.reader(), readings, id, what)
	if err != nil {
		return register.Reading{}, "", err
	}
	code, err := s.codeOf(ctx, row.MachineID, what)
	if err != nil {
		return register.Reading{}, "", err
	}
	return *row, code, nil
}

// MeterEvent is a meter event with the code of its machine.
func (s *Store) MeterEvent(ctx context.Context, id int64) (register.MeterEvent, string, error) {
	const what = "This meter event"
	row, err := byID(ctx, s.reader(), meterEvents, id, what)
	if err != nil {
		return register.MeterEvent{}, "", err
	}
	code, err := s.codeOf(ctx, row.MachineID, what)
	if err != nil {
		return register.MeterEvent{}, "", err
	}
	return *row, code, nil
}

// LayUp is a lay-up with the code of its machine.
func (s *Store) LayUp(ctx context.Context, id int64) (register.LayUp, string, error) {
	const what = "This lay-up"
	row, err := byID(ctx, s.reader(), layUps, id, what)
	if err != nil {
		return register.LayUp{}, "", err
	}
	code, err := s.codeOf(ctx, row.MachineID, what)
	if err != nil {
		return register.LayUp{}, "", err
	}
	return *row, code, nil
}

// Conditions is a row of service conditions with the code of the machine it is
// about, itself or by one of its circuits or positions.
func (s *Store) Conditions(ctx context.Context, id int64) (register.Conditions, string, error) {
	const what = "This row of service conditions"
	row, err := byID(ctx, s.reader(), conditions, id, what)
	if err != nil {
		return register.Conditions{}, "", err
	}
	machineID, err := machineOf(ctx, s.reader(), row)
	if err != nil {
		return register.Conditions{}, "", err
	}
	code, err := s.codeOf(ctx, machineID, what)
	if err != nil {
		return register.Conditions{}, "", err
	}
	return *row, code, nil
}

// Inspection is an inspection with the code of the machine it was made at.
func (s *Store) Inspection(ctx context.Context, id int64) (register.Inspection, string, error) {
	const what = "This inspection"
	row, err := byID(ctx, s.reader(), inspections, id, what)
	if err != nil {
		return register.Inspection{}, "", err
	}
	code, err := s.codeOfSeat(ctx, row.PositionID, what)
	if err != nil {
		return register.Inspection{}, "", err
	}
	return *row, code, nil
}

// Finding is a finding with the code of the machine it was seen at.
func (s *Store) Finding(ctx context.Context, id int64) (register.Finding, string, error) {
	const what = "This finding"
	row, err := byID(ctx, s.reader(), findings, id, what)
	if err != nil {
		return register.Finding{}, "", err
	}
	look, err := byID(ctx, s.reader(), inspections, row.InspectionID, "The inspection")
	if err != nil {
		return register.Finding{}, "", err
	}
	code, err := s.codeOfSeat(ctx, look.PositionID, what)
	if err != nil {
		return register.Finding{}, "", err
	}
	return *row, code, nil
}

// PlacementSheet is a placement with its names and its removal.
func (s *Store) PlacementSheet(ctx context.Context, id int64) (register.PlacementSheet, error) {
	sheets, err := s.placementSheets(ctx, "p.id = ?"+s.within("m.site_id"), id)
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
	if err := s.withRemovals(ctx, c, out); err != nil {
		return nil, err
	}
	for i := range out {
		s.elsewhere(&out[i])
	}
	return out, s.away(ctx, out)
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
