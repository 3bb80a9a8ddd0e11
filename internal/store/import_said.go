package store

import (
	"context"
	"fmt"
	"reflect"

	"hoseward/internal/register"
)

// saidOnMachine takes over what a row of machines says besides the machine:
// the duty of its kind, how it and its circuits are worked, when it stood
// still.
func (im *importer) saidOnMachine(r *register.MachineRow) error {
	t := im.t
	if len(r.Duty)+len(r.Said)+len(r.LaidUp) == 0 {
		return nil
	}
	m, err := t.machine(r.Code)
	if err != nil {
		return err
	}
	if err := im.duty(m, r.Duty); err != nil {
		return err
	}
	for _, s := range r.Said {
		level, owner := register.AtMachine, m.ID
		if s.Circuit != "" {
			c, err := t.circuitOrNew(m, s.Circuit)
			if err != nil {
				return err
			}
			level, owner = register.AtCircuit, c.ID
		}
		if err := im.sayOnce(level, owner, "machine "+m.Code, register.SetConditions{
			Machine: m.Code, Circuit: s.Circuit, From: s.From, Service: s.Service, Basis: s.Basis, Note: s.Note,
		}); err != nil {
			return err
		}
	}
	for _, l := range r.LaidUp {
		err := t.apply(register.AddLayUp{Machine: m.Code, From: l.From, To: l.To, Reason: l.Reason})
		switch {
		case isCode(err, register.Exists):
		case err != nil:
			return err
		default:
			im.changes("when machine %s stood still", m.Code)
		}
	}
	return nil
}

// duty gives the machine's kind starting values where it has none but shipped
// ones.
func (im *importer) duty(m *register.Machine, said []register.SaidRow) error {
	t := im.t
	if m.KindID == nil || len(said) == 0 {
		return nil
	}
	kind, err := kinds.one(t.ctx, t.conn, "id = ?", *m.KindID)
	if err != nil || kind == nil {
		return err
	}
	for _, s := range said {
		have, err := duties.one(t.ctx, t.conn, "kind_id = ? AND LOWER(circuit) = ?", kind.ID, fold(s.Circuit))
		if err != nil {
			return err
		}
		if have != nil && (!have.Starting() || s.Note == have.Note && reflect.DeepEqual(s.Service, have.Service)) {
			continue
		}
		im.changes("the duty of %s", kind.Name)
		if err := t.apply(register.SetDuty{Kind: kind.Name, Circuit: s.Circuit, Service: s.Service, Note: s.Note}); err != nil {
			return err
		}
	}
	return nil
}

// saidOnPosition takes over all that was said of a position.
func (im *importer) saidOnPosition(m *register.Machine, p *register.Position, said []register.SaidRow) error {
	for _, s := range said {
		if err := im.sayOnce(register.AtPosition, p.ID, "position "+p.Name, register.SetConditions{
			Machine: m.Code, Position: p.Name, From: s.From, Service: s.Service, Basis: s.Basis, Note: s.Note,
		}); err != nil {
			return err
		}
	}
	return nil
}

// sayOnce sets conditions unless just that was said before.
func (im *importer) sayOnce(level register.Level, ownerID int64, what string, c register.SetConditions) error {
	t := im.t
	if c.From.IsZero() {
		return refuse(register.Invalid, "", "What was said of %s has no day it holds from.", what)
	}
	have, err := conditions.where(t.ctx, t.conn, "level = ? AND owner_id = ? AND from_on = "+t.e.date(c.From)+" ORDER BY id", string(level), ownerID)
	if err != nil {
		return err
	}
	for i := range have {
		if have[i].Basis == c.Basis && have[i].Note == c.Note && sameService(&have[i].Service, &c.Service) {
			return nil
		}
	}
	im.changes("how %s is worked", what)
	return t.apply(c)
}

// saidOf is all that was said of something, in the order it was said.
func saidOf(ctx context.Context, c conn, level register.Level, ownerID int64, circuit string) ([]register.SaidRow, error) {
	rows, err := conditions.where(ctx, c, "level = ? AND owner_id = ? ORDER BY from_on, id", string(level), ownerID)
	said := make([]register.SaidRow, 0, len(rows))
	for i := range rows {
		said = append(said, register.SaidRow{Circuit: circuit, From: rows[i].From, Service: rows[i].Service, Basis: rows[i].Basis, Note: rows[i].Note})
	}
	return said, err
}

// fillSaid puts into a row of machines what is said besides the machine.
func fillSaid(ctx context.Context, c conn, r *register.MachineRow, m *register.Machine) error {
	said, err := saidOf(ctx, c, register.AtMachine, m.ID, "")
	if err != nil {
		return err
	}
	r.Said = said
	of, err := circuits.where(ctx, c, "machine_id = ? ORDER BY name", m.ID)
	if err != nil {
		return err
	}
	for i := range of {
		said, err := saidOf(ctx, c, register.AtCircuit, of[i].ID, of[i].Name)
		if err != nil {
			return err
		}
		r.Said = append(r.Said, said...)
	}
	if r.LaidUp, err = layUps.where(ctx, c, "machine_id = ? ORDER BY from_on, id", m.ID); err != nil {
		return err
	}
	if m.KindID == nil {
		return nil
	}
	duty, err := duties.where(ctx, c, "kind_id = ? ORDER BY circuit", *m.KindID)
	if err != nil {
		return fmt.Errorf("read the duty of machine %s: %w", m.Code, err)
	}
	for i := range duty {
		r.Duty = append(r.Duty, register.SaidRow{Circuit: duty[i].Circuit, Service: duty[i].Service, Note: duty[i].Note})
	}
	return nil
}
