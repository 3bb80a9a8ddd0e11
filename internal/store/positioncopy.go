package store

import (
	"fmt"

	"hoseward/internal/register"
)

// copyPositions adds to a machine the positions it lacks of another one or of
// its kind.
func (t *tx) copyPositions(c register.CopyPositions) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := firstError(t.lockMachine(m), there(m)); err != nil {
		return err
	}
	if c.From == "" {
		models, err := t.usualToCopy(m)
		if err != nil {
			return err
		}
		_, err = t.copyTo(m, models)
		return err
	}
	from, err := t.machine(c.From)
	if isCode(err, register.NotFound) {
		return refuse(register.NotFound, "from", "There is no machine %s; check its code.", c.From)
	}
	if err != nil {
		return err
	}
	models, err := t.positionsToCopy(from)
	if err != nil {
		return err
	}
	added, err := t.copyTo(m, models)
	if err != nil || !c.Worked {
		return err
	}
	return t.copyWorked(m, from, added)
}

// copied is a position with the one it was made from.
type copied struct {
	model model
	row   *register.Position
}

// copyTo adds the positions a machine lacks, behind those it has.
func (t *tx) copyTo(m *register.Machine, models []model) ([]copied, error) {
	have := map[string]bool{}
	last := 0
	err := positions.each(t.ctx, t.conn, "machine_id = ?", []any{m.ID}, func(p *register.Position) error {
		have[fold(p.Name)] = true
		last = max(last, p.WalkOrder)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var added []copied
	for _, from := range models {
		if have[fold(from.Name)] {
			continue
		}
		row := from.Position
		row.ID, row.MachineID, row.CircuitID, row.Version = 0, m.ID, nil, 1
		if last > 0 {
			row.WalkOrder = last + len(added) + 1
		}
		if from.circuit != "" {
			circuit, err := t.circuitOrNew(m, from.circuit)
			if err != nil {
				return nil, err
			}
			row.CircuitID = &circuit.ID
		}
		err := t.repolicied(m.ID, nil, row.PolicyID, "as on the machine it is copied from", func() error {
			return insert(t, positions, &row, &row.ID, positionTaken(m.Code, row.Name))
		})
		if err != nil {
			return nil, err
		}
		t.keys.room()
		t.keys.positions[ownedBy(m.ID, row.Name)] = &row
		added = append(added, copied{from, &row})
	}
	return added, nil
}

// copyWorked copies how another machine, the circuits of the positions copied
// and these positions are worked. What is said already of the machine or one
// of its circuits itself is better than what holds of another one: there,
// nothing is copied. It needs the right that saying how they are worked needs.
func (t *tx) copyWorked(m, from *register.Machine, added []copied) error {
	defer t.needing(register.RightFor(register.SetConditions{}))()
	if err := t.copyConditions(from, register.Owner{Level: register.AtMachine, ID: from.ID}, m.ID, false); err != nil {
		return err
	}
	done := map[int64]bool{}
	for _, p := range added {
		if at := p.model.CircuitID; at != nil && !done[*at] {
			done[*at] = true
			if err := t.copyConditions(from, register.Owner{Level: register.AtCircuit, ID: *at}, *p.row.CircuitID, false); err != nil {
				return err
			}
		}
		if err := t.copyConditions(from, register.Owner{Level: register.AtPosition, ID: p.model.ID}, p.row.ID, true); err != nil {
			return err
		}
	}
	t.touched.machine(m.ID)
	return nil
}

// copyConditions copies the service conditions of one owner to another of the
// same level. fresh says that the other was just added, and can have none.
func (t *tx) copyConditions(of *register.Machine, from register.Owner, to int64, fresh bool) error {
	if !fresh {
		own, err := conditions.one(t.ctx, t.conn, "level = ? AND owner_id = ? LIMIT 1", string(from.Level), to)
		if err != nil || own != nil {
			return err
		}
	}
	rows, err := conditions.where(t.ctx, t.conn, "level = ? AND owner_id = ? ORDER BY from_on, id", string(from.Level), from.ID)
	if err != nil {
		return fmt.Errorf("read how machine %s is worked: %w", of.Code, err)
	}
	for i := range rows {
		row := rows[i]
		row.ID, row.OwnerID, row.Basis, row.Version = 0, to, register.Assumed, 1
		row.Note = asOn(of.Code, row.Note)
		if err := insert(t, conditions, &row, &row.ID, nil); err != nil {
			return err
		}
	}
	return nil
}

// asOn says where copied conditions come from, and keeps what was said of them.
func asOn(machine, note string) string {
	if note == "" {
		return "as on " + machine
	}
	return "as on " + machine + ": " + note
}
