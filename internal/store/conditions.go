package store

import (
	"reflect"

	"hoseward/internal/register"
)

// setDuty says the duty of a kind or one of its circuits; the one before is
// replaced.
func (t *tx) setDuty(c register.SetDuty) error {
	kind, err := t.kind(c.Kind)
	if err != nil {
		return err
	}
	row := &register.Duty{KindID: kind.ID, Circuit: c.Circuit, Service: c.Service, Note: c.Note, Version: 1}
	before, err := duties.one(t.ctx, t.conn, "kind_id = ? AND LOWER(circuit) = ?", kind.ID, fold(c.Circuit))
	if err != nil {
		return err
	}
	t.touched.kind(kind.ID)
	t.keys.frame = nil
	if before == nil {
		return insert(t, duties, row, &row.ID, nil)
	}
	row.ID, row.Version = before.ID, before.Version+1
	return update(t, duties, before, row, row.ID, before.Version, nil)
}

// setConditions adds a row of conditions. Of rows of one day the later one
// wins, field by field, so what was said before is kept; saying the same again
// changes nothing.
func (t *tx) setConditions(c register.SetConditions) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := firstError(t.lockMachine(m), machineNotGone(m, "from", c.From)); err != nil {
		return err
	}
	row := &register.Conditions{Level: register.AtMachine, OwnerID: m.ID, From: c.From, Service: c.Service, Basis: c.Basis, Note: c.Note, Version: 1}
	switch {
	case c.Position != "":
		p, err := t.position(m, c.Position)
		if err != nil {
			return err
		}
		if err := notGone(seat{machine: m, position: p}, "from", c.From); err != nil {
			return err
		}
		row.Level, row.OwnerID = register.AtPosition, p.ID
	case c.Circuit != "":
		circuit, err := t.circuit(m, c.Circuit)
		if err != nil || circuit == nil {
			return firstError(err, refuse(register.NotFound, "circuit", "Machine %s has no circuit %s; add a position in it first or check its name.", m.Code, c.Circuit))
		}
		row.Level, row.OwnerID = register.AtCircuit, circuit.ID
	}
	last, err := conditions.one(t.ctx, t.conn,
		"level = ? AND owner_id = ? AND from_on = "+t.e.date(c.From)+" ORDER BY id DESC LIMIT 1", string(row.Level), row.OwnerID)
	if err != nil {
		return err
	}
	if last != nil && last.Basis == row.Basis && last.Note == row.Note && sameService(&last.Service, &row.Service) {
		return nil
	}
	t.touched.machine(m.ID)
	return insert(t, conditions, row, &row.ID, nil)
}

func sameService(a, b *register.Service) bool {
	x, y := *a, *b
	if len(x.Cycles) == 0 && len(y.Cycles) == 0 {
		x.Cycles, y.Cycles = nil, nil
	}
	if len(x.Temperatures) == 0 && len(y.Temperatures) == 0 {
		x.Temperatures, y.Temperatures = nil, nil
	}
	return reflect.DeepEqual(x, y)
}
