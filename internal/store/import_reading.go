package store

import (
	"fmt"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func (im *importer) readingRow(r *register.ReadingRow) error {
	t := im.t
	switch {
	case r.Machine == "":
		return refuse(register.Invalid, "machine", "The row names no machine.")
	case r.On.IsZero():
		return refuse(register.Invalid, "on", "The row has no date.")
	case r.Hours == nil:
		return refuse(register.Invalid, "hours", "The row has no hours.")
	}
	m, err := t.machine(r.Machine)
	if err != nil {
		return err
	}
	what := fmt.Sprintf("reading of %s on %s", r.Machine, r.On)
	if r.NewStart != nil {
		event := register.AddMeterEvent{Machine: r.Machine, On: r.On, OldEnd: *r.Hours, NewStart: *r.NewStart, Note: r.Note}
		if err = t.apply(event); err == nil {
			im.adds("meter event of %s on %s", r.Machine, r.On)
		}
	} else {
		command := register.AddReading{Machine: r.Machine, On: r.On, Hours: *r.Hours, Source: r.Source, Note: r.Note}
		if err = command.Check(); err == nil {
			err = t.readOne(m, register.Reading{
				On: r.On, Hours: *r.Hours, Source: orElse(r.Source, string(t.by.Origin)), Note: r.Note, Disputed: isYes(r.Disputed),
			})
		}
		if err == nil {
			im.adds("%s", what)
		}
	}
	if isCode(err, register.Exists) {
		return nil // said before
	}
	return err
}

// readOne is read for a machine with very many readings: where the neighbours
// of a reading alone show that it agrees with all others, these are not looked
// at, so a long list does not take longer with every row.
func (t *tx) readOne(m *register.Machine, r register.Reading) error {
	if err := t.lockMachine(m); err != nil {
		return err
	}
	have, err := readings.one(t.ctx, t.conn, "machine_id = ? AND hours = ? AND on_day = "+t.e.date(r.On), m.ID, r.Hours)
	if err != nil {
		return err
	}
	if have != nil {
		return refuse(register.Exists, "hours", "Machine %s has this reading of %s already.", m.Code, r.On)
	}
	plain, err := t.fitsBetween(m, &r)
	if err != nil {
		return err
	}
	if !plain {
		return t.read(m, r)
	}
	if err := firstError(t.notAhead(m.SiteID, "on", r.On), machineNotGone(m, "on", r.On)); err != nil {
		return err
	}
	r.MachineID, r.Version = m.ID, 1
	delete(t.keys.hours, m.ID)
	t.touched.machine(m.ID)
	return insert(t, readings, &r, &r.ID, nil)
}

// fitsBetween reports whether a reading lies between its neighbours in hours
// as in time, at no more than 24 h a day, with no other one that day and no
// meter event between them. False says nothing: the whole series has to tell.
func (t *tx) fitsBetween(m *register.Machine, r *register.Reading) (bool, error) {
	if r.Disputed {
		return false, nil
	}
	day := t.e.date(r.On)
	before, err := readings.one(t.ctx, t.conn, "machine_id = ? AND NOT disputed AND on_day < "+day+" ORDER BY on_day DESC, hours DESC LIMIT 1", m.ID)
	if err != nil {
		return false, err
	}
	after, err := readings.one(t.ctx, t.conn, "machine_id = ? AND NOT disputed AND on_day >= "+day+" ORDER BY on_day, hours LIMIT 1", m.ID)
	if err != nil || before == nil && after == nil {
		return false, err
	}
	from, to := quantity.MinDate, quantity.MaxDate
	if before != nil {
		if !mayFollow(before, r) {
			return false, nil
		}
		from = before.On
	}
	if after != nil {
		if !mayFollow(r, after) {
			return false, nil
		}
		to = after.On
	}
	var others int
	err = t.row(t.ctx, "SELECT (SELECT COUNT(*) FROM meter_events WHERE machine_id = ? AND on_day >= "+t.e.date(from)+" AND on_day <= "+t.e.date(to)+
		") + (SELECT COUNT(*) FROM lay_ups WHERE machine_id = ?)", m.ID, m.ID).Scan(&others)
	if err != nil {
		return false, fmt.Errorf("look for meter events of machine %s: %w", m.Code, translate(err))
	}
	return others == 0, nil
}

// mayFollow reports whether b can be read after a on another day.
func mayFollow(a, b *register.Reading) bool {
	days := b.On.Sub(a.On)
	return days > 0 && b.Hours >= a.Hours && b.Hours-a.Hours <= 24*float64(days)
}
