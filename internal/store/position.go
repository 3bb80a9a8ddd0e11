package store

import (
	"database/sql"
	"errors"
	"fmt"

	"hoseward/internal/register"
)

func positionTaken(machine, name string) error {
	return refuse(register.Exists, "name", "Machine %s has a position %s already; choose another name.", machine, name)
}

func (t *tx) addPosition(c register.AddPosition) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := t.lock(m.ID); err != nil {
		return err
	}
	if _, err := t.position(m, c.Name); !isCode(err, register.NotFound) {
		return firstError(err, positionTaken(m.Code, c.Name))
	}
	row := &register.Position{
		MachineID: m.ID, Name: c.Name, WalkOrder: c.WalkOrder, CanHurt: c.CanHurt, Exposed: c.Exposed, Twisted: c.Twisted,
		LengthMM: c.LengthMM, BendMM: c.BendMM, StraightMM: c.StraightMM, Note: c.Note, Version: 1,
	}
	if c.Circuit != "" {
		circuit, err := t.circuitOrNew(m, c.Circuit)
		if err != nil {
			return err
		}
		row.CircuitID = &circuit.ID
	}
	if c.Policy != "" {
		p, err := t.policy(c.Policy)
		if err != nil {
			return err
		}
		row.PolicyID = &p.ID
	}
	if row.WalkOrder == 0 {
		err := t.row(t.ctx, "SELECT COALESCE(MAX(walk_order), 0) + 1 FROM positions WHERE machine_id = ?", m.ID).Scan(&row.WalkOrder)
		if err != nil {
			return fmt.Errorf("find the last position of machine %s: %w", m.Code, translate(err))
		}
	}
	if err := insert(t, positions, row, &row.ID, positionTaken(m.Code, c.Name)); err != nil {
		return err
	}
	t.keys.positions[ownedBy(m.ID, c.Name)] = row
	return nil
}

func (t *tx) changePosition(c register.ChangePosition) error {
	row := c.Position
	gone := "This position is not in the register any more."
	if err := t.lock(row.MachineID); err != nil {
		return noRows(err, register.NotFound, gone)
	}
	before, err := positions.one(t.ctx, t.conn, "id = ?", row.ID)
	switch {
	case err != nil:
		return err
	case before == nil:
		return refuse(register.NotFound, "", "%s", gone)
	case before.Version != row.Version:
		return conflict()
	case before.MachineID != row.MachineID:
		return refuse(register.Invalid, "machine", "A position stays on its machine; add one to the other machine instead.")
	}
	if row.CircuitID != nil {
		circuit, err := circuits.one(t.ctx, t.conn, "id = ? AND machine_id = ?", *row.CircuitID, row.MachineID)
		if err != nil || circuit == nil {
			return firstError(err, refuse(register.NotFound, "circuit", "The machine has no such circuit; choose one of its own."))
		}
	}
	if row.PolicyID != nil {
		if p, err := policies.one(t.ctx, t.conn, "id = ?", *row.PolicyID); err != nil || p == nil {
			return firstError(err, refuse(register.NotFound, "policy", "There is no such policy; choose one of those the register has."))
		}
	}
	m, err := machines.one(t.ctx, t.conn, "id = ?", row.MachineID)
	if err != nil || m == nil {
		return firstError(err, refuse(register.NotFound, "", "%s", gone))
	}
	if row.Name != before.Name {
		other, err := positions.one(t.ctx, t.conn, "machine_id = ? AND LOWER(name) = ? AND id <> ?", m.ID, fold(row.Name), row.ID)
		if err != nil || other != nil {
			return firstError(err, positionTaken(m.Code, row.Name))
		}
	}
	row.Version++
	if err := update(t, positions, before, &row, row.ID, before.Version, positionTaken(m.Code, row.Name)); err != nil {
		return err
	}
	delete(t.keys.positions, ownedBy(m.ID, before.Name))
	t.keys.positions[ownedBy(m.ID, row.Name)] = &row
	t.touched.machine(m.ID)
	return nil
}

// circuit is a circuit of a machine, nil if it has none of that name.
func (t *tx) circuit(m *register.Machine, name string) (*register.Circuit, error) {
	t.keys.room()
	return lookUp(t, t.keys.circuits, ownedBy(m.ID, name), circuits, "machine_id = ? AND LOWER(name) = ?", m.ID, fold(name))
}

func (t *tx) circuitOrNew(m *register.Machine, name string) (*register.Circuit, error) {
	c, err := t.circuit(m, name)
	if err != nil || c != nil {
		return c, err
	}
	row := &register.Circuit{MachineID: m.ID, Name: name, Version: 1}
	if err := insert(t, circuits, row, &row.ID, nil); err != nil {
		return nil, err
	}
	t.keys.circuits[ownedBy(m.ID, name)] = row
	return row, nil
}

// noRows turns "no such row" into a refusal.
func noRows(err error, code register.Code, sentence string) error {
	if errors.Is(err, sql.ErrNoRows) {
		return refuse(code, "", "%s", sentence)
	}
	return err
}
