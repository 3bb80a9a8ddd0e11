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
	if err := firstError(t.lockMachine(m), there(m)); err != nil {
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
	err = t.repolicied(m.ID, nil, row.PolicyID, "as the position is added", func() error {
		return insert(t, positions, row, &row.ID, positionTaken(m.Code, c.Name))
	})
	if err != nil {
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
	before, err = orHidden(t, before, err)
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
	if row.GoneOn != before.GoneOn {
		if !row.GoneOn.IsZero() {
			return refuse(register.Invalid, "gone_on", "Say that the position ceased to be, and why, instead of changing it.")
		}
		row.GoneReason = ""
	}
	if row.Name != before.Name {
		other, err := positions.one(t.ctx, t.conn, "machine_id = ? AND LOWER(name) = ? AND id <> ?", m.ID, fold(row.Name), row.ID)
		if err != nil || other != nil {
			return firstError(err, positionTaken(m.Code, row.Name))
		}
	}
	row.Version++
	err = t.repolicied(m.ID, before.PolicyID, row.PolicyID, c.Reason, func() error {
		return update(t, positions, before, &row, row.ID, before.Version, positionTaken(m.Code, row.Name))
	})
	if err != nil {
		return err
	}
	delete(t.keys.positions, ownedBy(m.ID, before.Name))
	t.keys.positions[ownedBy(m.ID, row.Name)] = &row
	t.touched.machine(m.ID)
	return nil
}

// retirePosition notes that a position ceased to be.
func (t *tx) retirePosition(c register.RetirePosition) error {
	s, err := t.seatOf(c.Machine, c.Position)
	if err != nil {
		return err
	}
	before, err := positions.one(t.ctx, t.conn, "id = ?", s.position.ID) // as it is now that the machine is locked
	if err != nil || before == nil {
		return firstError(err, refuse(register.NotFound, "position", "There is no %s any more.", s))
	}
	if !before.GoneOn.IsZero() {
		return refuse(register.Refused, "position", "%s is no more since %s already.", capital(s.String()), before.GoneOn)
	}
	if err := firstError(t.notAhead(s.machine.SiteID, "on", c.On), machineNotGone(s.machine, "on", c.On)); err != nil {
		return err
	}
	codes, err := t.texts("SELECT a.code FROM placements p JOIN assemblies a ON a.id = p.assembly_id WHERE p.position_id = ? AND p.to_on IS NULL", before.ID)
	if err != nil {
		return fmt.Errorf("look what sits at %s: %w", s, err)
	}
	if len(codes) > 0 {
		return refuse(register.Refused, "position", "%s holds assembly %s; remove that one first.", capital(s.String()), codes[0])
	}
	if err := t.nothingAfter(c.On, capital(s.String()), positionFacts(), before.ID); err != nil {
		return err
	}
	row := *before
	row.GoneOn, row.GoneReason, row.Version = c.On, c.Reason, before.Version+1
	if err := t.noteReason("", c.Reason, func() error {
		return update(t, positions, before, &row, row.ID, before.Version, nil)
	}); err != nil {
		return err
	}
	t.keys.positions[ownedBy(s.machine.ID, row.Name)] = &row
	return nil
}

func positionFacts() []fact {
	return []fact{
		{"an assembly was fitted there", "SELECT MAX(from_on) FROM placements WHERE position_id = ?"},
		{"an assembly was removed there", "SELECT MAX(to_on) FROM placements WHERE position_id = ?"},
		{"an assembly was inspected there", "SELECT MAX(on_day) FROM inspections WHERE position_id = ?"},
	}
}

// addCircuit adds a circuit to a machine.
func (t *tx) addCircuit(c register.AddCircuit) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := firstError(t.lockMachine(m), there(m)); err != nil {
		return err
	}
	if have, err := t.circuit(m, c.Name); err != nil || have != nil {
		return firstError(err, circuitTaken(m, c.Name))
	}
	_, err = t.circuitOrNew(m, c.Name)
	return err
}

func circuitTaken(m *register.Machine, name string) error {
	return refuse(register.Exists, "name", "Machine %s has a circuit %s already; choose another name.", m.Code, name)
}

// changeCircuit renames a circuit. The duty of the machine's kind for a circuit
// of that name holds from then on, so the machine is estimated anew.
func (t *tx) changeCircuit(c register.ChangeCircuit) error {
	before, err := known(t, circuits, c.Circuit.ID, c.Circuit.Version, "This circuit")
	if err != nil {
		return err
	}
	if err := t.lock(before.MachineID); err != nil {
		return err
	}
	m, err := machines.one(t.ctx, t.conn, "id = ?", before.MachineID)
	if err != nil || m == nil {
		return firstError(err, fmt.Errorf("find machine %d: not there", before.MachineID))
	}
	row := *before
	row.Name, row.Version = c.Circuit.Name, before.Version+1
	if row.Name == before.Name {
		return nil
	}
	if other, err := t.circuit(m, row.Name); err != nil || other != nil && other.ID != row.ID {
		return firstError(err, circuitTaken(m, row.Name))
	}
	if err := update(t, circuits, before, &row, row.ID, before.Version, circuitTaken(m, row.Name)); err != nil {
		return err
	}
	delete(t.keys.circuits, ownedBy(m.ID, before.Name))
	t.keys.circuits[ownedBy(m.ID, row.Name)] = &row
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
