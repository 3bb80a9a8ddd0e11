package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// PositionSheet is one position with all that its pages show; a
// *register.Error of code NotFound if there is no such machine or position.
func (s *Store) PositionSheet(ctx context.Context, now time.Time, machine, name string) (register.PositionSheet, error) {
	c := s.reader()
	m, err := s.machineCoded(ctx, machine)
	if err != nil {
		return register.PositionSheet{}, err
	}
	p, err := positions.one(ctx, c, "machine_id = ? AND LOWER(name) = ?", m.ID, fold(name))
	if err == nil && p == nil {
		err = refuse(register.NotFound, "position", "Machine %s has no position %s; check its name.", m.Code, name)
	}
	if err != nil {
		return register.PositionSheet{}, err
	}
	d, err := s.days(ctx, now)
	if err != nil {
		return register.PositionSheet{}, err
	}
	sheet := register.PositionSheet{Position: *p, Machine: *m, Site: d.sites[m.SiteID], Today: d.today[m.SiteID]}
	if err := s.namesOfPosition(ctx, &sheet); err != nil {
		return sheet, err
	}
	return sheet, s.fillPositionSheet(ctx, d, &sheet)
}

// namesOfPosition fills in the names of the circuit and of the policy.
func (s *Store) namesOfPosition(ctx context.Context, sheet *register.PositionSheet) error {
	c := s.reader()
	if id := sheet.Position.CircuitID; id != nil {
		circuit, err := circuits.one(ctx, c, "id = ?", *id)
		if err != nil || circuit == nil {
			return firstError(err, fmt.Errorf("find circuit %d: not there", *id))
		}
		sheet.Circuit = circuit.Name
	}
	if id := sheet.Position.PolicyID; id != nil {
		policy, err := s.Policy(ctx, *id)
		if err != nil {
			return err
		}
		sheet.Policy = policy.Name
	}
	return nil
}

func (s *Store) fillPositionSheet(ctx context.Context, d *days, sheet *register.PositionSheet) error {
	c, p := s.reader(), &sheet.Position
	open, err := ids(ctx, c, "SELECT id FROM placements WHERE position_id = ? AND to_on IS NULL", p.ID)
	if err != nil {
		return fmt.Errorf("find what sits at position %d: %w", p.ID, err)
	}
	lines, err := s.linesOf(ctx, d, open)
	if err != nil {
		return err
	}
	if len(lines) > 0 {
		sheet.Line = &lines[0]
	}
	if sheet.Placements, err = s.placementSheets(ctx, "p.position_id = ?", p.ID); err != nil {
		return err
	}
	if sheet.Conditions, err = conditions.where(ctx, c, "level = 'position' AND owner_id = ? ORDER BY from_on DESC, id DESC", p.ID); err != nil {
		return err
	}
	f, err := readFrame(ctx, c)
	if err != nil {
		return err
	}
	facts := &register.Facts{
		Sites: f.sites, Policies: f.policies, Duties: f.duties,
		Machines: map[int64]*register.MachineFacts{}, Positions: map[int64]*register.Position{p.ID: p},
	}
	if err := gatherMachines(ctx, c, facts, []int64{p.ID}, []int64{p.MachineID}); err != nil {
		return err
	}
	sheet.Service = facts.ServiceOn(p.ID, sheet.Today)
	return nil
}
