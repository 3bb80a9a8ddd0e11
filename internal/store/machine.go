package store

import (
	"fmt"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func machineTaken(code string) error {
	return refuse(register.Exists, "code", "There is a machine %s already; choose another code.", code)
}

func (t *tx) addMachine(c register.AddMachine) error {
	site, err := t.site(c.Site)
	if err != nil {
		return err
	}
	if have, err := t.machine(c.Code); err == nil {
		return machineTaken(have.Code)
	} else if !isCode(err, register.NotFound) {
		return err
	}
	kind, err := t.kind(c.Kind)
	if err != nil {
		return err
	}
	row := &register.Machine{
		SiteID: site.ID, Code: c.Code, Name: c.Name, Serial: c.Serial,
		PlannedHoursPerWeek: c.PlannedHoursPerWeek, CanHurt: c.CanHurt, Note: c.Note, Version: 1,
	}
	if kind != nil {
		row.KindID = &kind.ID
	}
	if err := insert(t, machines, row, &row.ID, machineTaken(c.Code)); err != nil {
		return err
	}
	t.keys.machines[fold(c.Code)] = row
	return nil
}

func (t *tx) changeMachine(c register.ChangeMachine) error {
	row := c.Machine
	if err := t.lock(row.ID); err != nil {
		return noRows(err, register.NotFound, "This machine is not in the register any more.")
	}
	before, err := machines.one(t.ctx, t.conn, "id = ?", row.ID)
	before, err = orHidden(t, before, err)
	if err != nil {
		return err
	}
	if before == nil {
		return refuse(register.NotFound, "", "This machine is not in the register any more.")
	}
	if before.Version != row.Version {
		return conflict()
	}
	if site, err := t.visibleSite(row.SiteID); err != nil || site == nil {
		return firstError(err, refuse(register.NotFound, "site", "There is no such site; choose one of those the register has."))
	}
	if row.KindID != nil {
		if kind, err := kinds.one(t.ctx, t.conn, "id = ?", *row.KindID); err != nil || kind == nil {
			return firstError(err, refuse(register.NotFound, "kind", "There is no such kind of machine; choose one of those the register has."))
		}
	}
	if err := goneStays(before, &row); err != nil {
		return err
	}
	if row.Code != before.Code {
		if other, err := machines.one(t.ctx, t.conn, "LOWER(code) = ? AND id <> ?", fold(row.Code), row.ID); err != nil || other != nil {
			return firstError(err, machineTaken(row.Code))
		}
	}
	row.Version++
	if err := update(t, machines, before, &row, row.ID, before.Version, machineTaken(row.Code)); err != nil {
		return err
	}
	delete(t.keys.machines, fold(before.Code))
	delete(t.keys.hours, row.ID)
	t.keys.machines[fold(row.Code)] = &row
	t.touched.machine(row.ID)
	return nil
}

// goneStays lets a change keep the day a machine left the fleet or take it
// away, where the machine came back or had not left; to leave on a day is for
// RetireMachine.
func goneStays(before, row *register.Machine) error {
	switch {
	case row.GoneOn == before.GoneOn:
		return nil
	case row.GoneOn.IsZero():
		row.GoneReason = ""
		return nil
	case before.GoneOn.IsZero():
		return refuse(register.Invalid, "gone_on", "Say that machine %s leaves the fleet, and why, instead of changing it.", before.Code)
	}
	return refuse(register.Invalid, "gone_on", "Machine %s left the fleet on %s; take it back into the fleet first, then say when it left.", before.Code, before.GoneOn)
}

// there refuses a machine that has left the fleet, for what has no day of its
// own.
func there(m *register.Machine) error {
	if m.GoneOn.IsZero() {
		return nil
	}
	return refuse(register.Refused, "machine", "Machine %s left the fleet on %s; nothing is changed on it any more.", m.Code, m.GoneOn)
}

// retireMachine takes a machine out of the fleet, and removes and scraps what
// sits on it.
func (t *tx) retireMachine(c register.RetireMachine) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := t.lockMachine(m); err != nil {
		return err
	}
	// What is remembered may be older than the lock.
	before, err := machines.one(t.ctx, t.conn, "id = ?", m.ID)
	if err != nil || before == nil {
		return firstError(err, refuse(register.NotFound, "machine", "There is no machine %s any more.", c.Machine))
	}
	if !before.GoneOn.IsZero() {
		return refuse(register.Refused, "machine", "Machine %s left the fleet on %s already.", before.Code, before.GoneOn)
	}
	if err := t.notAhead(before.SiteID, "on", c.On); err != nil {
		return err
	}
	if err := t.nothingAfter(c.On, capital("machine "+before.Code), machineFacts(), before.ID); err != nil {
		return err
	}
	if err := t.clearMachine(before, c); err != nil {
		return err
	}
	row := *before
	row.GoneOn, row.GoneReason, row.Version = c.On, c.Reason, before.Version+1
	if err := t.noteReason("", c.Reason, func() error {
		return update(t, machines, before, &row, row.ID, before.Version, nil)
	}); err != nil {
		return err
	}
	delete(t.keys.hours, row.ID)
	t.keys.machines[fold(row.Code)] = &row
	t.touched.machine(row.ID)
	return nil
}

// clearMachine removes and scraps what sits on a machine.
func (t *tx) clearMachine(m *register.Machine, c register.RetireMachine) error {
	codes, err := t.texts(`SELECT a.code FROM positions q JOIN placements p ON p.position_id = q.id AND p.to_on IS NULL
		JOIN assemblies a ON a.id = p.assembly_id WHERE q.machine_id = ? ORDER BY q.walk_order, q.name`, m.ID)
	if err != nil {
		return fmt.Errorf("list the assemblies of machine %s: %w", m.Code, err)
	}
	for _, code := range codes {
		t.keys.room()
		err := t.remove(register.Remove{
			AssemblyCode: code, On: c.On, Cause: register.CausePlanned, FoundBy: register.FoundByEvent, Reason: c.Reason, Scrapped: true,
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// fact is something that happened on a day: its last day of a machine or a
// position, and how a sentence tells it.
type fact struct{ told, last string }

func machineFacts() []fact {
	const at = "position_id IN (SELECT id FROM positions WHERE machine_id = ?)"
	return []fact{
		{"its meter was read", "SELECT MAX(on_day) FROM readings WHERE machine_id = ?"},
		{"its meter was replaced or rolled over", "SELECT MAX(on_day) FROM meter_events WHERE machine_id = ?"},
		{"it was laid up", "SELECT MAX(from_on) FROM lay_ups WHERE machine_id = ?"},
		{"an assembly was fitted on it", "SELECT MAX(from_on) FROM placements WHERE " + at},
		{"an assembly was removed from it", "SELECT MAX(to_on) FROM placements WHERE " + at},
		{"an assembly was inspected on it", "SELECT MAX(on_day) FROM inspections WHERE " + at},
	}
}

// nothingAfter refuses a last day where something happened later.
func (t *tx) nothingAfter(on quantity.Date, who string, facts []fact, id int64) error {
	for _, f := range facts {
		var last quantity.Date
		if err := t.row(t.ctx, f.last, id).Scan(&last); err != nil {
			return fmt.Errorf("find when %s: %w", f.told, translate(err))
		}
		if last.After(on) {
			return refuse(register.Refused, "on", "%s was still there after %s: %s on %s. One of the two days is wrong.", who, on, f.told, last)
		}
	}
	return nil
}
