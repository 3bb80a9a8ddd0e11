package store

import (
	"context"
	"fmt"

	"hoseward/internal/register"
)

// bears marks the estimates a row bears on, as it was or as it is, wherever
// rows are put right without a command of their own.
func (t *tx) bears(row any) error {
	switch r := row.(type) {
	case *register.Placement:
		t.touched.assembly(r.AssemblyID)
		return t.keepEstimate(r.AssemblyID)
	case *register.Assembly:
		t.touched.assembly(r.ID)
	case *register.Inspection:
		t.touched.assembly(r.AssemblyID)
	case *register.Finding:
		t.touched.assembly(r.AssemblyID)
	case *register.Machine:
		t.touched.machine(r.ID)
	case *register.Position:
		t.touched.machine(r.MachineID)
	case *register.Circuit:
		t.touched.machine(r.MachineID)
	case *register.Reading:
		t.touched.machine(r.MachineID)
	case *register.MeterEvent:
		t.touched.machine(r.MachineID)
	case *register.LayUp:
		t.touched.machine(r.MachineID)
	case *register.Duty:
		t.touched.kind(r.KindID)
		t.keys.frame = nil
	case *register.Conditions:
		return t.touchOwner(r)
	case *register.Site:
		return t.touchMachines("site_id = ?", r.ID)
	case *register.Policy:
		return t.touchMachines(`site_id IN (SELECT id FROM sites WHERE policy_id = ?)
			OR id IN (SELECT machine_id FROM positions WHERE policy_id = ?)`, r.ID, r.ID)
	}
	return nil
}

// touchMachines marks many machines, after a change of what holds of them all.
func (t *tx) touchMachines(where string, args ...any) error {
	t.keys.frame = nil
	of, err := ids(t.ctx, t.conn, "SELECT id FROM machines WHERE "+where, args...)
	if err != nil {
		return fmt.Errorf("find the machines touched: %w", err)
	}
	for _, id := range of {
		t.touched.machine(id)
	}
	return nil
}

// touchOwner marks the machine that service conditions are about, if it is
// there.
func (t *tx) touchOwner(r *register.Conditions) error {
	id, err := machineOf(t.ctx, t.conn, r)
	if err == nil && id != 0 {
		t.touched.machine(id)
	}
	return err
}

// machineOf is the machine that service conditions are about, 0 if it is gone.
func machineOf(ctx context.Context, c conn, r *register.Conditions) (int64, error) {
	query := "SELECT id FROM machines WHERE id = ?"
	switch r.Level {
	case register.AtPosition:
		query = "SELECT machine_id FROM positions WHERE id = ?"
	case register.AtCircuit:
		query = "SELECT machine_id FROM circuits WHERE id = ?"
	}
	of, err := ids(ctx, c, query, r.OwnerID)
	if err != nil || len(of) == 0 {
		return 0, err
	}
	return of[0], nil
}

// keepEstimate gives an assembly its row of estimates while it sits somewhere,
// and takes it away while it does not.
func (t *tx) keepEstimate(assemblyID int64) error {
	open, err := placements.one(t.ctx, t.conn, "assembly_id = ? AND to_on IS NULL", assemblyID)
	switch {
	case err != nil:
		return err
	case open == nil:
		return t.dropEstimate(assemblyID)
	}
	return t.awaitEstimate(assemblyID)
}

// mustAgree marks what has to be in agreement after a row was put right.
func (t *tx) mustAgree(g *agreement, row any) error {
	switch r := row.(type) {
	case *register.Placement:
		g.placement(r)
	case *register.Removal:
		p, err := placements.one(t.ctx, t.conn, "id = ?", r.PlacementID)
		if err == nil && p != nil {
			g.placement(p)
		}
		return err
	case *register.Assembly:
		g.assembly(r.ID)
	case *register.Inspection:
		g.assembly(r.AssemblyID)
	case *register.Finding:
		g.assembly(r.AssemblyID)
	case *register.Position:
		g.position(r.ID)
	case *register.Machine:
		g.machine(r.ID)
		seats, err := ids(t.ctx, t.conn, "SELECT id FROM positions WHERE machine_id = ?", r.ID)
		for _, id := range seats {
			g.position(id)
		}
		return err
	case *register.Reading:
		g.machine(r.MachineID)
	case *register.MeterEvent:
		g.machine(r.MachineID)
	case *register.LayUp:
		g.machine(r.MachineID)
	}
	return nil
}
