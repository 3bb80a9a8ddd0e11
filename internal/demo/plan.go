package demo

import (
	"math"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// limits are what the age of an assembly at a line is chosen by. They come
// close to what the estimate will say, they do not replace it.
type limits struct {
	assembled int     // months from assembly; 0 none
	fitted    int     // months from fitting; 0 none
	hours     float64 // running hours from fitting; 0 none
	hot       float64 // days of age that a running hour adds
}

func limitsOf(c *circuit) limits {
	l := limits{assembled: 72, hours: c.hours, hot: c.hot}
	switch c.policy {
	case twoShifts, heightened:
		l.fitted = 24
	case fewHours:
		l.assembled = 84
	case thermoplast:
		l.assembled = 0
	}
	return l
}

// short tells whether a line is renewed so often that only the latest hoses
// are of interest.
func (l limits) short() bool { return l.fitted != 0 || l.hours != 0 }

// due is about when an assembly is due that was assembled and fitted on the
// given days.
func (b *builder) due(s *slot, assembled, from quantity.Date) quantity.Date {
	var byMonths, byFitting, byHours quantity.Date
	ran, rate := s.machine.hours.ran(b.today)-s.machine.hours.ran(from), s.machine.rate(b.today)
	if s.limits.assembled != 0 {
		byMonths = assembled.AddMonths(s.limits.assembled)
		left := (float64(byMonths.Sub(b.today)) - s.limits.hot*ran) / (1 + s.limits.hot*rate)
		byMonths = b.today.AddDays(int(math.Round(left)))
	}
	if s.limits.fitted != 0 {
		byFitting = from.AddMonths(s.limits.fitted)
	}
	if s.limits.hours != 0 && rate > 0 {
		byHours = b.today.AddDays(int((s.limits.hours - ran) / rate))
	}
	return quantity.Earliest(byMonths, byFitting, byHours)
}

// rate is the running hours of a day, over the last year.
func (m *machine) rate(today quantity.Date) float64 {
	year := min(365, max(1, today.Sub(m.came)))
	return (m.hours.ran(today) - m.hours.ran(today.AddDays(-year))) / float64(year)
}

// plan decides what sits at each position and since when.
func (b *builder) plan() {
	for _, m := range b.machines {
		ages := map[string]int{} // of circuits that were renewed as a whole
		for _, s := range m.slots {
			if _, ok := ages[s.circuit.name]; !ok {
				ages[s.circuit.name] = b.between(historyMonths+2, 64)
			}
			b.planLine(s, ages[s.circuit.name])
		}
	}
	b.renewed()
	for _, t := range pressing() {
		b.press(t)
	}
}

// planLine gives a line its first hose if the machine is young, else one that
// is some way through its life.
func (b *builder) planLine(s *slot, months int) {
	lag := b.between(12, 110)
	switch {
	case s.machine.months < 16 && !b.chance(0.08):
		b.fitOn(s, s.machine.came, lag)
	case s.limits.short():
		left := b.between(100, b.span(s)-20)
		b.fitFor(s, b.today.AddDays(left), lag)
	case s.machine.months < s.limits.assembled-6 || s.limits.assembled == 0:
		b.fitOn(s, s.machine.came, lag)
	default:
		if s.limits.hot != 0 {
			months = min(months, s.limits.assembled-24)
		}
		b.fitOn(s, b.today.AddMonths(-months).AddDays(-b.between(0, 45)), lag)
	}
}

// span is about how many days a line lasts that is renewed often.
func (b *builder) span(s *slot) int {
	return max(150, b.due(s, b.today, b.today).Sub(b.today))
}

// fitOn makes the assembly at a line one that was fitted on a day, or with the
// machine if that came later.
func (b *builder) fitOn(s *slot, from quantity.Date, lag int) {
	from = workday(from)
	if from.Before(s.machine.came) {
		from = s.machine.came
	}
	if from == s.machine.hours.changed {
		from = from.AddDays(-1)
	}
	s.now = b.unit(s, from, monthStart(from.AddDays(-lag)))
}

// fitFor makes the assembly at a line one that is due about on a day: the
// latest that is due by then.
func (b *builder) fitFor(s *slot, due quantity.Date, lag int) {
	from := b.today.AddDays(-1)
	for from.After(s.machine.came) && b.due(s, monthStart(from.AddDays(-lag)), from).After(due) {
		from = from.AddDays(-1)
	}
	b.fitOn(s, from, lag)
}

// unit makes an assembly for a line, assembled in the month that begins on
// assembled from a hose of the two years before.
func (b *builder) unit(s *slot, from, assembled quantity.Date) *unit {
	u := &unit{
		assembly: b.hose(s.line, assembled, b.between(40, 640)),
		from:     from,
		hours:    s.machine.meter != noMeter && b.chance(0.6),
	}
	if a := &u.assembly; s.limits.hours != 0 && a.RatingSource == register.RatingTable {
		// a hose without a printed pressure would last half as long here
		a.Layline = printed(a.Maker, s.line.family, a.DN, *a.RatedBar, a.Made)
		a.RatingSource = register.RatingPrinted
	}
	return u
}

// renewed gives some lines that would otherwise have old hoses new ones:
// those are the ones that failed, or were changed on the way.
func (b *builder) renewed() {
	var old []*slot
	for _, s := range b.slots {
		if !s.limits.short() && s.limits.assembled != 0 && s.machine.months > 12 {
			old = append(old, s)
		}
	}
	for _, i := range b.rng.Perm(len(old))[:min(26, len(old))] {
		s := old[i]
		months := b.between(1, min(historyMonths-2, s.machine.months-8))
		b.fitOn(s, b.today.AddMonths(-months).AddDays(-b.between(0, 27)), b.between(12, 80))
	}
}

// target says that lines are due in some days from today, or were due some
// days ago.
type target struct {
	machine, lines string // lines: the beginning of their names
	days           int
}

// pressing are the lines that make the due list of any day: what is overdue
// and what is due within the month. Of those with a calendar limit that are
// still ahead the day of assembly is known, so that they do not all come due
// on the first of a month; a first set of hoses shares its day.
func pressing() []target {
	return []target{
		// the first set of the sweeper, all due together
		{"SW-01", "brush lift", 15},
		{"SW-01", "left brush", 15},
		{"SW-01", "right brush", 15},
		{"SW-01", "hopper tip cylinder left", 15},
		{"SW-01", "steering cylinder right", 15},
		{"SW-01", "tank to pump", 45},
		{"SW-01", "main valve", 45},
		{"SW-01", "hopper tip cylinder right", 45},
		{"SW-01", "steering cylinder left", 45},
		{"SW-01", "suction nozzle", 45},
		{"WL-01", "steering cylinder", -12},
		{"WL-01", "gearbox to cooler", -20},
		{"TP-01", "tailboard", -75},
		{"GR-01", "pump outlet", -40},
		{"GR-01", "brine pump motor, return", 6},
		{"GR-01", "conveyor motor, return", 75},
		{"VM-02", "breakaway", 21},
		{"VM-02", "flail motor, supply", 70},
		{"SP-01", "coupling block, s", 10},
		{"SK-01", "return filter", 45},
		{"SK-01", "pump outlet", 26},
		{"RT-01", "pump outlet to packer valve", 18},
		{"RT-03", "pump outlet to lift valve", -25},
		{"RT-01", "packer plate cylinder left", 16},
		{"RT-01", "comb clamp", 44},
		{"RT-03", "carriage cylinder right, rod", -9},
		{"RT-03", "bin lift cylinder left", 22},
		{"RT-03", "bin tilt", 60},
		{"RT-04", "carriage cylinder left", 12},
		{"RT-04", "bin lift cylinder right", 58},
		{"BL-01", "boom cylinder", 17},
		{"BL-01", "slew cylinder left", 65},
		{"SW-03", "fan motor, supply", 14},
	}
}

// storedMonths is how long an assembly of the demo may have lain before it was
// fitted without anybody's release.
const storedMonths = 20

// press makes lines due as the target says.
func (b *builder) press(t target) {
	for _, s := range b.slots {
		if s.machine.code != t.machine || !strings.HasPrefix(s.name, t.lines) {
			continue
		}
		s.marked = true
		if s.limits.short() || s.limits.hot != 0 {
			b.fitFor(s, b.today.AddDays(t.days), b.between(12, 60))
			continue
		}
		assembled := b.today.AddDays(t.days).AddMonths(-s.limits.assembled)
		if t.days < 0 {
			assembled = monthStart(assembled)
		}
		b.fitOn(s, assembled.AddDays(b.between(35, 75)), 0)
		if s.now.from.After(assembled.AddMonths(storedMonths)) {
			continue // the machine came long after; no hose waits that long for it
		}
		s.now.assembly = b.hose(s.line, assembled, b.between(40, 400))
		if t.days >= 0 {
			s.now.assembly.Assembled = quantity.Day(assembled)
			s.now.assembly.AssembledText = assembled.String() + ", machine papers"
		}
	}
}

// find is the slot of a line on a machine; nil if there is none.
func (b *builder) find(machine, name string) *slot {
	for _, s := range b.slots {
		if s.machine.code == machine && s.name == name {
			return s
		}
	}
	return nil
}

// noted is what the hour meter showed when an assembly was fitted or removed,
// where somebody noted it.
func (s *slot) noted(u *unit, on quantity.Date) *float64 {
	if !u.hours || s.machine.meter == forgotten {
		return nil
	}
	s.machine.noted[on] = true
	return ptr(s.machine.hours.shown(on))
}

// arrive lets an assembly come to the store of the site and be fitted there.
func (b *builder) arrive(s *slot, u *unit) {
	b.events = append(b.events, event{on: u.from, rank: arrived, unit: u, make: func() register.Command {
		return register.AddAssembly{Site: s.machine.site, Assembly: u.assembly}
	}})
	b.fit(s, u)
}

func (b *builder) fit(s *slot, u *unit) {
	hours := s.noted(u, u.from)
	b.happen(u.from, fitted, func() register.Command {
		return register.Fit{
			AssemblyCode: u.assembly.Code, Machine: s.machine.code, Position: s.name, On: u.from,
			Hours: hours, OnText: u.onText, ReleasedBy: u.released, Reason: u.reason,
		}
	})
}
