package store

import (
	"context"
	"fmt"

	"hoseward/internal/register"
)

// changeKind renames a kind of machine.
func (t *tx) changeKind(c register.ChangeKind) error {
	before, err := known(t, kinds, c.Kind.ID, c.Kind.Version, "This kind of machine")
	if err != nil {
		return err
	}
	taken := refuse(register.Exists, "name", "There is a kind of machine %s already.", c.Kind.Name)
	if other, err := kinds.one(t.ctx, t.conn, "LOWER(name) = ? AND id <> ?", fold(c.Kind.Name), before.ID); err != nil || other != nil {
		return firstError(err, taken)
	}
	row := register.Kind{ID: before.ID, Name: c.Kind.Name, Version: before.Version + 1}
	if err := amend(t, kinds, before, &row, row.ID, before.Version, taken); err != nil {
		return err
	}
	delete(t.keys.kinds, fold(before.Name))
	return nil
}

// kindNamed is the kind of that name, refused if the register lacks it.
func (t *tx) kindNamed(name string) (*register.Kind, error) {
	k, err := kinds.one(t.ctx, t.conn, "LOWER(name) = ?", fold(name))
	if err == nil && k == nil {
		err = refuse(register.NotFound, "kind", "There is no kind of machine %s; add it first or check its name.", name)
	}
	return k, err
}

func usualTaken(name string) error {
	return refuse(register.Exists, "name", "This kind has a usual position %s already; choose another name.", name)
}

// addKindPosition adds a usual position to a kind.
func (t *tx) addKindPosition(c register.AddKindPosition) error {
	k, err := t.kindNamed(c.Kind)
	if err != nil {
		return err
	}
	have, err := t.usual(k.ID)
	if err != nil {
		return err
	}
	row := c.Position
	row.ID, row.KindID, row.Version = 0, k.ID, 1
	last := 0
	for _, p := range have {
		if fold(p.Name) == fold(row.Name) {
			return usualTaken(p.Name)
		}
		last = max(last, p.WalkOrder)
	}
	if row.WalkOrder == 0 {
		row.WalkOrder = last + 1
	}
	return insert(t, kindPositions, &row, &row.ID, usualTaken(row.Name))
}

// usual are the usual positions of a kind in walking order.
func (t *tx) usual(kindID int64) ([]register.KindPosition, error) {
	return kindPositions.where(t.ctx, t.conn, "kind_id = ? ORDER BY walk_order, name, id", kindID)
}

// changeKindPosition replaces a usual position; machines there are keep what
// they have.
func (t *tx) changeKindPosition(c register.ChangeKindPosition) error {
	row := c.Position
	before, err := known(t, kindPositions, row.ID, row.Version, "This usual position")
	if err != nil {
		return err
	}
	row.KindID, row.Version = before.KindID, before.Version+1
	other, err := kindPositions.one(t.ctx, t.conn, "kind_id = ? AND LOWER(name) = ? AND id <> ?", row.KindID, fold(row.Name), row.ID)
	if err != nil || other != nil {
		return firstError(err, usualTaken(row.Name))
	}
	return amend(t, kindPositions, before, &row, row.ID, before.Version, usualTaken(row.Name))
}

// takeUsual makes the positions of a machine the usual ones of its kind. What
// the kind has under the same name is changed, the rest goes.
func (t *tx) takeUsual(c register.TakeUsual) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if m.KindID == nil {
		return refuse(register.Refused, "machine", "Machine %s is of no kind; say of which first.", m.Code)
	}
	want, err := t.positionsToCopy(m)
	if err != nil {
		return err
	}
	if len(want) == 0 {
		return refuse(register.Refused, "machine", "Machine %s has no positions to take.", m.Code)
	}
	have, err := t.usual(*m.KindID)
	if err != nil {
		return err
	}
	byName := make(map[string]*register.KindPosition, len(have))
	for i := range have {
		byName[fold(have[i].Name)] = &have[i]
	}
	for i := range want {
		p := &want[i]
		row := register.KindPosition{
			KindID: *m.KindID, Circuit: p.circuit, Name: p.Name, WalkOrder: i + 1, CanHurt: p.CanHurt, Exposed: p.Exposed,
			LengthMM: p.LengthMM, Note: p.Note, Version: 1,
		}
		before := byName[fold(p.Name)]
		if before == nil {
			if err := insert(t, kindPositions, &row, &row.ID, usualTaken(row.Name)); err != nil {
				return err
			}
			continue
		}
		delete(byName, fold(p.Name))
		row.ID, row.Version = before.ID, before.Version+1
		if err := amend(t, kindPositions, before, &row, row.ID, before.Version, usualTaken(row.Name)); err != nil {
			return err
		}
	}
	for i := range have {
		if byName[fold(have[i].Name)] == nil {
			continue
		}
		if err := t.dropUsual(&have[i]); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) dropUsual(p *register.KindPosition) error {
	if _, err := t.exec(t.ctx, "DELETE FROM kind_positions WHERE id = ?", p.ID); err != nil {
		return fmt.Errorf("take away usual position %d: %w", p.ID, err)
	}
	return t.note(kindPositions.name, p.ID, register.Deleted, p, nil)
}

// model is a position that another machine starts from.
type model struct {
	register.Position
	circuit string
}

// positionsToCopy are the positions of a machine that are there, in walking
// order.
func (t *tx) positionsToCopy(m *register.Machine) ([]model, error) {
	rows, err := positions.where(t.ctx, t.conn, "machine_id = ? AND gone_on IS NULL ORDER BY walk_order, name, id", m.ID)
	if err != nil {
		return nil, err
	}
	names := map[int64]string{}
	err = circuits.each(t.ctx, t.conn, "machine_id = ?", []any{m.ID}, func(c *register.Circuit) error {
		names[c.ID] = c.Name
		return nil
	})
	out := make([]model, len(rows))
	for i := range rows {
		out[i].Position = rows[i]
		if id := rows[i].CircuitID; id != nil {
			out[i].circuit = names[*id]
		}
	}
	return out, err
}

// usualToCopy are the usual positions of a machine's kind.
func (t *tx) usualToCopy(m *register.Machine) ([]model, error) {
	if m.KindID == nil {
		return nil, refuse(register.Refused, "from", "Machine %s is of no kind; name a machine whose positions it has.", m.Code)
	}
	rows, err := t.usual(*m.KindID)
	out := make([]model, len(rows))
	for i, p := range rows {
		out[i] = model{register.Position{
			Name: p.Name, WalkOrder: p.WalkOrder, CanHurt: p.CanHurt, Exposed: p.Exposed, LengthMM: p.LengthMM, Note: p.Note,
		}, p.Circuit}
	}
	return out, err
}

// Kind is a kind of machine with what machines of it start from; a
// *register.Error of code NotFound if there is none of that name.
func (s *Store) Kind(ctx context.Context, name string) (register.KindSheet, error) {
	c := s.reader()
	k, err := kinds.one(ctx, c, "LOWER(name) = ?", fold(name))
	if err == nil && k == nil {
		err = refuse(register.NotFound, "kind", "There is no kind of machine %s; check its name.", name)
	}
	if err != nil {
		return register.KindSheet{}, err
	}
	sheet := register.KindSheet{Kind: *k}
	if sheet.Positions, err = kindPositions.where(ctx, c, "kind_id = ? ORDER BY walk_order, name, id", k.ID); err != nil {
		return sheet, err
	}
	if sheet.Duties, err = duties.where(ctx, c, "kind_id = ? ORDER BY circuit, id", k.ID); err != nil {
		return sheet, err
	}
	sheet.Machines, err = s.texts(ctx, fmt.Sprintf("SELECT code FROM machines WHERE kind_id = ? AND gone_on IS NULL%s ORDER BY code LIMIT %d", s.within("site_id"), kindMachines), k.ID)
	return sheet, err
}

// kindMachines bounds the machines a kind's sheet names.
const kindMachines = 1000
