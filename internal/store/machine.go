package store

import (
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
	if err != nil {
		return err
	}
	if before == nil {
		return refuse(register.NotFound, "", "This machine is not in the register any more.")
	}
	if before.Version != row.Version {
		return conflict()
	}
	if site, err := sites.one(t.ctx, t.conn, "id = ?", row.SiteID); err != nil || site == nil {
		return firstError(err, refuse(register.NotFound, "site", "There is no such site; choose one of those the register has."))
	}
	if row.KindID != nil {
		if kind, err := kinds.one(t.ctx, t.conn, "id = ?", *row.KindID); err != nil || kind == nil {
			return firstError(err, refuse(register.NotFound, "kind", "There is no such kind of machine; choose one of those the register has."))
		}
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
