package store

import (
	"hoseward/internal/register"
)

// machineByID finds a machine and keeps other writers off.
func (t *tx) machineByID(id int64) (*register.Machine, error) {
	m, err := machines.one(t.ctx, t.conn, "id = ?", id)
	if err != nil || m == nil {
		return nil, firstError(err, refuse(register.NotFound, "machine", "This machine is not in the register any more."))
	}
	return m, t.lockMachine(m)
}

// changeReading corrects a reading. Placements whose hours came of the same
// look at the meter follow its hours.
func (t *tx) changeReading(c register.ChangeReading) error {
	before, err := known(t, readings, c.Reading.ID, c.Reading.Version, "This reading")
	if err != nil {
		return err
	}
	m, err := t.machineByID(before.MachineID)
	if err != nil {
		return err
	}
	row := c.Reading
	row.MachineID, row.Source, row.Version = before.MachineID, orElse(row.Source, before.Source), before.Version+1
	if err := t.notAhead(m.SiteID, "on", row.On); err != nil {
		return err
	}
	same, err := readings.one(t.ctx, t.conn, "machine_id = ? AND on_day = "+t.e.date(row.On)+" AND hours = ? AND id <> ?", m.ID, row.Hours, row.ID)
	taken := refuse(register.Exists, "hours", "Machine %s has this reading of %s already; take one of the two back.", m.Code, row.On)
	if err != nil || same != nil {
		return firstError(err, taken)
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.machine(m.ID)
		t.touched.machine(m.ID)
		if row.On == before.On && row.Hours != before.Hours {
			if err := t.placementHours(meterLook{machine: m, on: before.On, hours: &before.Hours}, row.Hours); err != nil {
				return err
			}
		}
		return amend(t, readings, before, &row, row.ID, before.Version, taken)
	})
}

func (t *tx) changeMeterEvent(c register.ChangeMeterEvent) error {
	before, err := known(t, meterEvents, c.Event.ID, c.Event.Version, "This meter event")
	if err != nil {
		return err
	}
	m, err := t.machineByID(before.MachineID)
	if err != nil {
		return err
	}
	row := c.Event
	row.MachineID, row.Version = before.MachineID, before.Version+1
	if err := t.notAhead(m.SiteID, "on", row.On); err != nil {
		return err
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.machine(m.ID)
		t.touched.machine(m.ID)
		return amend(t, meterEvents, before, &row, row.ID, before.Version, nil)
	})
}

// changeLayUp corrects a lay-up. To end one that lasts is no correction and
// needs no reason.
func (t *tx) changeLayUp(c register.ChangeLayUp) error {
	before, err := known(t, layUps, c.LayUp.ID, c.LayUp.Version, "This lay-up")
	if err != nil {
		return err
	}
	m, err := t.machineByID(before.MachineID)
	if err != nil {
		return err
	}
	row := c.LayUp
	row.MachineID, row.Version = before.MachineID, before.Version+1
	ended := *before
	ended.To, ended.Version = row.To, row.Version
	if (!before.To.IsZero() || row != ended) && c.Reason == "" {
		return refuse(register.Invalid, "reason", "Say why: the reason stays beside the correction.")
	}
	if err := machineNotGone(m, "from", row.From); err != nil {
		return err
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.machine(m.ID)
		t.touched.machine(m.ID)
		return amend(t, layUps, before, &row, row.ID, before.Version, nil)
	})
}

func (t *tx) changeConditions(c register.ChangeConditions) error {
	before, err := known(t, conditions, c.Conditions.ID, c.Conditions.Version, "This row of service conditions")
	if err != nil {
		return err
	}
	machineID, err := machineOf(t.ctx, t.conn, before)
	if err != nil {
		return err
	}
	if _, err := t.machineByID(machineID); err != nil {
		return err
	}
	row := c.Conditions
	row.Level, row.OwnerID, row.Version = before.Level, before.OwnerID, before.Version+1
	return t.correctly(c.Reason, func(*agreement) error {
		t.touched.machine(machineID)
		return amend(t, conditions, before, &row, row.ID, before.Version, nil)
	})
}
