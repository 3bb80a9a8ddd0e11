package demo

import (
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// halfYear is the days between two rounds: a little less than six months, so
// that no line falls due between them.
const halfYear = 176

// rounds notes the inspections at fixed intervals: once a year all lines of a
// machine, half a year later those that are looked at twice a year. One
// machine was left out the last times.
func (b *builder) rounds() {
	start := b.today.AddMonths(-readingMonths)
	for i, m := range b.machines {
		last, full := b.lastRound(m)
		by := []string{inspectorA, inspectorB}[i%2]
		for on := last; on.After(start) && on.After(m.came.AddDays(20)); full = !full {
			b.round(m, workday(on), full, by)
			on = on.AddDays(-halfYear)
		}
	}
}

// lastRound is the day of the last round of a machine, and whether it was one
// of all its lines. Seasonal machines are looked at in full before their
// season and once more when it is over.
func (b *builder) lastRound(m *machine) (on quantity.Date, full bool) {
	if m.code == "SW-03" {
		return b.today.AddMonths(-13).AddDays(-12), true
	}
	var before int // month of the full round
	switch m.season {
	case winter:
		before = 10
	case summer:
		before = 3
	case allYear:
		return b.today.AddDays(-b.between(6, 165)), b.chance(0.5)
	}
	year, _, _ := b.today.YMD()
	on, full = day(year, before, 2+b.between(0, 20)), true
	for !on.Before(b.today) {
		on = on.AddMonths(-12)
	}
	if next := on.AddDays(halfYear); next.Before(b.today) {
		return next, false
	}
	return on, true
}

// round is one inspection of a machine: of all its lines, or of those that are
// looked at twice a year.
func (b *builder) round(m *machine, on quantity.Date, full bool, by string) {
	for _, s := range m.slots {
		if !full && !s.twiceAYear() || !s.sat(on) {
			continue
		}
		b.look(s, on, by)
	}
}

// twiceAYear tells whether a line is inspected every six months.
func (s *slot) twiceAYear() bool {
	switch s.circuit.policy {
	case twoShifts, heightened, fewHours:
		return true
	}
	return s.line.marks&exposed != 0
}

// sat tells whether an assembly sat at a line all of a day.
func (s *slot) sat(on quantity.Date) bool {
	for _, u := range s.past {
		if u.from.Before(on) && u.to.After(on) {
			return true
		}
	}
	return s.now != nil && s.now.from.Before(on)
}

// stock is what lies in store: sound spares, two of them too old.
func (b *builder) stock() {
	for i, l := range []line{
		{name: "bin lift cylinder", family: sc2, dn: 10, mm: 920},
		{name: "bin lift cylinder", family: sc2, dn: 10, mm: 980},
		{name: "packer plate cylinder", family: sn2, dn: 16, mm: 1450},
		{name: "packer plate cylinder", family: sn2, dn: 16, mm: 1510},
		{name: "brush swing cylinder", family: sc2, dn: 8, mm: 990},
		{name: "left brush motor", family: sc2, dn: 12, mm: 1480},
		{name: "flail motor", family: sn2, dn: 19, mm: 4300},
		{name: "blade angle cylinder", family: sc2, dn: 12, mm: 1420},
		{name: "blade angle cylinder", family: sc2, dn: 12, mm: 1480},
		{name: "spinner motor", family: sc2, dn: 12, mm: 1900},
		{name: "telescope cylinder", family: sc2, dn: 10, mm: 4200},
		{name: "hammer", family: sn2, dn: 19, mm: 3900},
	} {
		months := b.between(1, 16)
		switch i {
		case 3:
			months = 27 // stored beyond the 24 months
		case 8:
			months = 41
		}
		assembled := monthStart(b.today.AddMonths(-months))
		u := &unit{assembly: b.hose(l, assembled, b.between(40, 300))}
		u.assembly.Note = "Spare for " + l.name + "."
		site := siteDepot
		if i >= 7 && i <= 9 {
			site = siteYard
		}
		on := workday(assembled.AddDays(b.between(3, 25)))
		if on.After(b.today) || on.Before(assembled) {
			on = b.today
		}
		b.events = append(b.events, event{on: on, rank: arrived, unit: u, make: func() register.Command {
			return register.AddAssembly{Site: site, Assembly: u.assembly}
		}})
	}
}
