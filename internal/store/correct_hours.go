package store

import (
	"fmt"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// meterLook is the hour meter as it was read when an assembly was fitted or
// removed. It left a reading, unless that was noted already, and one look can
// serve two placements: what came off and what was fitted in its place.
type meterLook struct {
	machine *register.Machine
	on      quantity.Date
	hours   *float64
	source  string
}

func (l meterLook) same(o meterLook) bool { return l.place(o) && sameHours(l.hours, o.hours) }

func (l meterLook) place(o meterLook) bool { return l.machine.ID == o.machine.ID && l.on == o.on }

func sameHours(a, b *float64) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }

// looksAt are the looks at the meter that came with a placement.
func looksAt(s seat, p *register.Placement) [2]meterLook {
	return [2]meterLook{{s.machine, p.From, p.FromHours, "fitting"}, {s.machine, p.To, p.ToHours, "removal"}}
}

// hoursFollow brings readings in step with the corrected hours of a placement.
func (t *tx) hoursFollow(m *moving) error {
	before, after := looksAt(m.from, m.before), looksAt(m.to, m.after)
	for i := range before {
		if err := t.lookMoved(before[i], after[i]); err != nil {
			return err
		}
	}
	t.keys.hours = map[int64]*register.MachineFacts{}
	for i := range after {
		if err := t.alsoRead(after[i].machine, after[i].on, after[i].hours, after[i].source); err != nil {
			return err
		}
	}
	return nil
}

// lookMoved takes back the reading that came with a look which is said
// otherwise now, or brings it to the right hours, and with it what else came of
// the same look.
func (t *tx) lookMoved(before, after meterLook) error {
	if before.hours == nil || before.same(after) {
		return nil
	}
	if before.place(after) && after.hours != nil {
		if err := t.placementHours(before, *after.hours); err != nil {
			return err
		}
		return t.readingHours(before, *after.hours)
	}
	return t.dropReading(before)
}

// placementHours gives the hours of a look to every placement they came with.
func (t *tx) placementHours(look meterLook, hours float64) error {
	list, err := t.placementsOf(look)
	if err != nil {
		return err
	}
	for i := range list {
		row := list[i]
		if row.From == look.on && sameHours(row.FromHours, look.hours) {
			row.FromHours = &hours
		}
		if row.To == look.on && sameHours(row.ToHours, look.hours) {
			row.ToHours = &hours
		}
		row.Version++
		if err := amend(t, placements, &list[i], &row, row.ID, list[i].Version, nil); err != nil {
			return err
		}
	}
	return nil
}

// placementsOf are the placements whose hours came of a look.
func (t *tx) placementsOf(look meterLook) ([]register.Placement, error) {
	day := t.e.date(look.on)
	return placements.where(t.ctx, t.conn, "position_id IN (SELECT id FROM positions WHERE machine_id = ?) AND (from_on = "+day+
		" AND from_hours = ? OR to_on = "+day+" AND to_hours = ?) ORDER BY id", look.machine.ID, *look.hours, *look.hours)
}

// readingOf is the reading that a look left, nil if there is none: one that
// somebody noted for itself is not of the look.
func (t *tx) readingOf(look meterLook) (*register.Reading, error) {
	return readings.one(t.ctx, t.conn, "machine_id = ? AND on_day = "+t.e.date(look.on)+" AND hours = ? AND source IN ('fitting', 'removal')",
		look.machine.ID, *look.hours)
}

func (t *tx) readingHours(look meterLook, hours float64) error {
	r, err := t.readingOf(look)
	if err != nil || r == nil {
		return err
	}
	there, err := readings.one(t.ctx, t.conn, "machine_id = ? AND on_day = "+t.e.date(look.on)+" AND hours = ?", look.machine.ID, hours)
	if err != nil {
		return err
	}
	if there != nil {
		return remove(t, &undoing{begin: notTakenBack}, readings, r, r.ID, "the reading")
	}
	row := *r
	row.Hours, row.Version = hours, r.Version+1
	if err := amend(t, readings, r, &row, r.ID, r.Version, nil); err != nil {
		return err
	}
	t.touched.machine(r.MachineID)
	return nil
}

// dropReading takes back the reading that a look left, unless another placement
// rests on it.
func (t *tx) dropReading(look meterLook) error {
	if look.hours == nil {
		return nil
	}
	others, err := t.placementsOf(look)
	if err != nil || len(others) > 0 {
		return err
	}
	r, err := t.readingOf(look)
	if err != nil || r == nil {
		return err
	}
	return remove(t, &undoing{begin: notTakenBack}, readings, r, r.ID, fmt.Sprintf("the reading of %s", r.On))
}
