package life

import (
	"math"

	"hoseward/internal/quantity"
)

// replaceDays is how long after it was seen a finding of class replace without
// a date is to be dealt with.
const replaceDays = 30

// rank orders classes, strictest highest; -1 for none of them.
func rank(c Class) int {
	switch c {
	case Stop:
		return 4
	case Replace:
		return 3
	case Correct:
		return 2
	case Watch:
		return 1
	case Sound:
		return 0
	}
	return -1
}

// Strictest is the stricter of two classes: stop > replace > correct > watch >
// sound.
func Strictest(a, b Class) Class {
	if rank(b) > rank(a) {
		return b
	}
	return a
}

// open reports whether a finding is open on the day asOf: seen on or before it
// and not closed by it. A class of sound opens nothing.
func (f *Finding) open(asOf quantity.Date) bool {
	return f.Class != Sound && !f.On.After(asOf) && (f.Closed.IsZero() || f.Closed.After(asOf))
}

// due is the day on which the finding takes the assembly out of use; no date
// for classes that do not.
func (f *Finding) due() quantity.Date {
	switch {
	case f.Class == Stop:
		return f.On
	case f.Class != Replace:
		return quantity.Date{}
	case f.By.IsZero():
		return f.On.AddDays(replaceDays)
	}
	return f.By
}

// used is the share of its time that has gone by on the day asOf.
func (f *Finding) used(asOf quantity.Date) float64 {
	due := f.due()
	switch {
	case due.IsZero():
		return 0
	case due == f.On:
		return 1
	}
	return share(float64(asOf.Sub(f.On)), float64(due.Sub(f.On)))
}

func stopOpen(a *Assembly, asOf quantity.Date) bool {
	for i := range a.Findings {
		if f := &a.Findings[i]; f.Class == Stop && f.open(asOf) {
			return true
		}
	}
	return false
}

// condition adds the clock of open findings: due at the earliest of their
// days. A later sound verdict closes nothing.
func (c *calc) condition() {
	k := Clock{Name: ConditionClock, Class: Sound}
	used, due := 0.0, quantity.Date{}
	for i := range c.a.Findings {
		f := &c.a.Findings[i]
		if !f.open(c.asOf) {
			continue
		}
		k.Class = Strictest(k.Class, f.Class)
		used = math.Max(used, f.used(c.asOf))
		due = quantity.Earliest(due, f.due())
	}
	k.Used = c.num(used)
	c.clock(k, same(due))
}

// inspection is the day of the next inspection: the interval from the last
// one, or from first fitting, or sooner the date of an open finding to correct
// or to watch; at once where the hose ran hotter than its limit. No date where
// nothing asks for one. In store the interval does not run.
func (c *calc) inspection() quantity.Date {
	last := c.lastInspection()
	var due quantity.Date
	if c.a.Policy.InspectMonths != nil && !c.inStore {
		from := last
		if from.IsZero() {
			from = c.a.Fitted
		}
		due = from.AddMonths(*c.a.Policy.InspectMonths)
	}
	for i := range c.a.Findings {
		f := &c.a.Findings[i]
		if f.open(c.asOf) && (f.Class == Correct || f.Class == Watch) {
			due = quantity.Earliest(due, f.By)
		}
	}
	return quantity.Earliest(due, c.overheated(last))
}

// lastInspection is the last inspection known on the day of the estimate.
func (c *calc) lastInspection() quantity.Date {
	if c.a.LastInspection.After(c.asOf) {
		return quantity.Date{}
	}
	return c.a.LastInspection
}

// overheated is the day on which an inspection is due because the hose runs
// hotter than its limit: the day that begins, if it was not inspected since; if
// it was but is still too hot, the day after; if that is over but it was not
// inspected since, the day it ended. Stretches that follow each other are one time.
func (c *calc) overheated(last quantity.Date) quantity.Date {
	var due, from quantity.Date // from is the day the present hot time began
	for i := range c.wear.pieces {
		p := &c.wear.pieces[i]
		hot := p.worked && p.duty >= 0 && c.tooHot(&c.wear.duties[p.duty])
		if hot && from.IsZero() {
			from = c.begin(p)
		}
		if !hot && !from.IsZero() {
			due = quantity.Earliest(due, c.askedFor(from, quantity.DayOfInstant(p.from), last))
			from = quantity.Date{}
		}
	}
	if !from.IsZero() {
		due = quantity.Earliest(due, c.askedFor(from, quantity.MaxDate, last))
	}
	return due
}

// askedFor is the day an inspection is due for a hot time up to, not
// including, end.
func (c *calc) askedFor(from, end, last quantity.Date) quantity.Date {
	switch {
	case last.Before(from): // also of a plan: it is asked for on its day
		return from
	case end.After(c.asOf):
		return last.AddDays(1)
	case last.Before(end):
		return end
	}
	return quantity.Date{}
}

// begin is the first day on which the conditions of a worked piece are known
// to hold in it: not before their own day.
func (c *calc) begin(p *piece) quantity.Date {
	from := quantity.DayOfInstant(p.from)
	if p.duty >= 0 {
		if row := c.wear.duties[p.duty].row.From; row.After(from) {
			return row
		}
	}
	return from
}

func (c *calc) tooHot(d *duty) bool { return d.hottest > c.model.limitC }
