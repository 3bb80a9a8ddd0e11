package store

import (
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// hoursOf is what is known of a machine's hours, remembered while the
// transaction lasts.
func (t *tx) hoursOf(m *register.Machine) (*register.MachineFacts, error) {
	if f, ok := t.keys.hours[m.ID]; ok {
		return f, nil
	}
	if len(t.keys.hours) >= machinesKept {
		clear(t.keys.hours)
	}
	f := &register.MachineFacts{Machine: *m}
	var err error
	if f.Readings, err = readings.where(t.ctx, t.conn, "machine_id = ? ORDER BY on_day, hours", m.ID); err != nil {
		return nil, err
	}
	if f.Events, err = meterEvents.where(t.ctx, t.conn, "machine_id = ? ORDER BY on_day, id", m.ID); err != nil {
		return nil, err
	}
	if f.LayUps, err = layUps.where(t.ctx, t.conn, "machine_id = ? ORDER BY from_on, id", m.ID); err != nil {
		return nil, err
	}
	t.keys.hours[m.ID] = f
	return f, nil
}

// machinesKept bounds the machines whose hours are remembered.
const machinesKept = 256

// accept takes facts about a machine's hours with something added, if they
// agree with each other.
func (t *tx) accept(m *register.Machine, with *register.MachineFacts, add func() error) error {
	today, err := t.today(m.SiteID)
	if err != nil {
		return err
	}
	if err := with.CheckHours(today); err != nil {
		return err
	}
	if err := add(); err != nil {
		return err
	}
	t.keys.hours[m.ID] = with
	t.touched.machine(m.ID)
	return nil
}

func (t *tx) addReading(c register.AddReading) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	return t.read(m, register.Reading{On: c.On, Hours: c.Hours, Source: orElse(c.Source, string(t.by.Origin)), Disputed: c.Disputed, Note: c.Note})
}

// alsoRead notes hours that came with something else; the same reading twice
// is one.
func (t *tx) alsoRead(m *register.Machine, on quantity.Date, hours *float64, source string) error {
	if hours == nil {
		return nil
	}
	err := t.read(m, register.Reading{On: on, Hours: *hours, Source: source})
	if isCode(err, register.Exists) {
		return nil
	}
	return err
}

func (t *tx) read(m *register.Machine, r register.Reading) error {
	if err := t.lockMachine(m); err != nil {
		return err
	}
	if err := firstError(t.notAhead(m.SiteID, "on", r.On), machineNotGone(m, "on", r.On)); err != nil {
		return err
	}
	facts, err := t.hoursOf(m)
	if err != nil {
		return err
	}
	same := refuse(register.Exists, "hours", "Machine %s has this reading of %s already.", m.Code, r.On)
	for _, have := range facts.Readings {
		if have.On == r.On && have.Hours == r.Hours {
			return same
		}
	}
	r.MachineID, r.Version = m.ID, 1
	with := &register.MachineFacts{Machine: facts.Machine, Readings: append(facts.Readings[:len(facts.Readings):len(facts.Readings)], r), Events: facts.Events, LayUps: facts.LayUps}
	return t.accept(m, with, func() error {
		return insert(t, readings, &with.Readings[len(with.Readings)-1], &with.Readings[len(with.Readings)-1].ID, same)
	})
}

func (t *tx) addMeterEvent(c register.AddMeterEvent) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := t.lockMachine(m); err != nil {
		return err
	}
	if err := firstError(t.notAhead(m.SiteID, "on", c.On), machineNotGone(m, "on", c.On)); err != nil {
		return err
	}
	facts, err := t.hoursOf(m)
	if err != nil {
		return err
	}
	row := register.MeterEvent{MachineID: m.ID, On: c.On, OldEnd: c.OldEnd, NewStart: c.NewStart, Note: c.Note, Version: 1}
	for _, have := range facts.Events {
		if have.On == row.On && have.OldEnd == row.OldEnd && have.NewStart == row.NewStart {
			return refuse(register.Exists, "on", "Machine %s has this meter event of %s already.", m.Code, row.On)
		}
	}
	with := &register.MachineFacts{Machine: facts.Machine, Readings: facts.Readings, Events: append(facts.Events[:len(facts.Events):len(facts.Events)], row), LayUps: facts.LayUps}
	return t.accept(m, with, func() error {
		return insert(t, meterEvents, &with.Events[len(with.Events)-1], &with.Events[len(with.Events)-1].ID, nil)
	})
}

// addLayUp notes a lay-up. One that began on the same day and still lasts is
// ended by it.
func (t *tx) addLayUp(c register.AddLayUp) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := t.lockMachine(m); err != nil {
		return err
	}
	if err := machineNotGone(m, "from", c.From); err != nil {
		return err
	}
	facts, err := t.hoursOf(m)
	if err != nil {
		return err
	}
	with := &register.MachineFacts{Machine: facts.Machine, Readings: facts.Readings, Events: facts.Events, LayUps: append([]register.LayUp{}, facts.LayUps...)}
	lasting := -1
	for i := range with.LayUps {
		have := &with.LayUps[i]
		switch {
		case have.From != c.From:
		case have.To == c.To:
			return refuse(register.Exists, "from", "Machine %s has this lay-up from %s already.", m.Code, c.From)
		case have.To.IsZero():
			lasting = i
		}
	}
	if lasting >= 0 {
		return t.endLayUp(m, with, &with.LayUps[lasting], c)
	}
	with.LayUps = append(with.LayUps, register.LayUp{MachineID: m.ID, From: c.From, To: c.To, Reason: c.Reason, Version: 1})
	row := &with.LayUps[len(with.LayUps)-1]
	return t.accept(m, with, func() error { return insert(t, layUps, row, &row.ID, nil) })
}

func (t *tx) endLayUp(m *register.Machine, with *register.MachineFacts, row *register.LayUp, c register.AddLayUp) error {
	before := *row
	row.To, row.Version = c.To, before.Version+1
	row.Reason = orElse(c.Reason, before.Reason)
	return t.accept(m, with, func() error { return update(t, layUps, &before, row, row.ID, before.Version, nil) })
}
