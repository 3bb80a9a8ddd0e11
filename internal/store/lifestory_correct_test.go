package store_test

import (
	"fmt"
	"slices"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// The corrections of a life story.

// row is what the register calls a thing, now and then in an old version.
func (w *tale) row(kind string, id int) (row int64, version int, why string) {
	row, version = w.rowOf(kind, id)
	if w.seldom("old version") {
		return row, version + 1, "someone changed it meanwhile"
	}
	return row, version, ""
}

const mended = "mistyped"

func (w *tale) changePlacement() {
	if len(w.m.stays) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.stays)
	old := w.m.stays[id]
	now := w.otherStay(old)
	wasScrapped := w.m.scrappedAtEnd(id)
	scrapped := now.to != 0 && wasScrapped
	if now.to != 0 && w.seldom("scrapped otherwise") {
		scrapped = !scrapped
	}
	row, version, why := w.row("stay", id)
	next := w.m.clone()
	next.stays[id] = now
	for look, l := range next.looks {
		if w.m.stayOf(l.assembly, l.seat, l.day) == id {
			l.seat = now.seat
			next.looks[look] = l
		}
	}
	a := next.assemblies[now.assembly]
	if wasScrapped && !scrapped {
		a.scrapped, a.reason = 0, ""
	}
	if scrapped {
		a.scrapped = now.to
		if next.after(id) {
			why = "it was fitted again"
		}
	}
	if came := old.to == 0 || machineOfSeat(old.seat) != machineOfSeat(now.seat); now.to != 0 && came && !next.after(id) {
		a.site = machineOfSeat(now.seat)
	}
	next.assemblies[now.assembly] = a
	next.hoursMoved(old, now)
	cmd := register.ChangePlacement{
		Placement: register.Placement{
			ID: row, Version: version, PositionID: w.positionOf(now.seat), From: dayOf(now.from), FromHours: known(now.fromHours), To: dayOf(now.to), ToHours: known(now.toHours),
		},
		Scrapped: scrapped, Reason: mended,
	}
	if now.to != 0 {
		cmd.Removal = &register.Removal{Cause: register.Cause(now.cause), FoundBy: register.FoundByEvent}
	}
	w.say("correct placement", next, why, cmd)
}

// otherStay is a stay with something in it otherwise.
func (w *tale) otherStay(s mStay) mStay {
	if w.seldom("other seat") || w.seldom("yes, other seat") {
		s.seat = w.seat()
	}
	switch w.pick("what", 5) {
	case 0:
		s.from = w.day()
	case 1:
		s.to = w.day()
	case 2:
		s.to = 0
	case 3:
		s.fromHours = w.someHours(s.from)
	case 4:
		s.toHours = w.someHours(s.to)
	}
	if s.to == 0 {
		s.toHours, s.cause = -1, ""
	} else {
		s.cause = rapid.SampledFrom([]string{"outside", "planned"}).Draw(w.r, "cause")
	}
	return s
}

func (w *tale) positionOf(seat int) int64 {
	return w.column("SELECT id FROM positions WHERE name = '" + seatName(seat) + "'")[0]
}

// hoursMoved brings readings in step with a stay whose hours are said
// otherwise.
func (m *model) hoursMoved(old, now mStay) {
	type look struct {
		machine, day int
		hours        float64
	}
	before := []look{{machineOfSeat(old.seat), old.from, old.fromHours}, {machineOfSeat(old.seat), old.to, old.toHours}}
	after := []look{{machineOfSeat(now.seat), now.from, now.fromHours}, {machineOfSeat(now.seat), now.to, now.toHours}}
	for i, b := range before {
		a := after[i]
		switch {
		case b.hours < 0 || a == b:
		case a.machine == b.machine && a.day == b.day && a.hours >= 0:
			m.followHours(b.machine, b.day, b.hours, a.hours)
			if id := m.lookReading(b.machine, b.day, b.hours); id >= 0 {
				there := slices.ContainsFunc(inOrderOf(m.readings), func(o int) bool {
					r := m.readings[o]
					return r.machine == a.machine && r.day == a.day && r.hours == a.hours
				})
				r := m.readings[id]
				r.hours = a.hours
				m.readings[id] = r
				if there {
					delete(m.readings, id)
				}
			}
		default:
			m.dropLook(b.machine, b.day, b.hours)
		}
	}
	for _, a := range after {
		m.alsoRead(a.machine, a.day, a.hours)
	}
}

func (w *tale) changeReading() {
	if len(w.m.readings) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.readings)
	old := w.m.readings[id]
	now := old
	switch w.pick("what", 3) {
	case 0:
		now.day = w.day()
	case 1:
		now.hours = w.hours(now.day)
	case 2:
		now.disputed = !now.disputed
	}
	row, version, why := w.row("reading", id)
	next := w.m.clone()
	next.readings[id] = now
	if now.day == old.day {
		next.followHours(old.machine, old.day, old.hours, now.hours)
	}
	w.say("correct reading", next, why, register.ChangeReading{
		Reading: register.Reading{ID: row, Version: version, On: dayOf(now.day), Hours: now.hours, Disputed: now.disputed}, Reason: mended,
	})
}

func (w *tale) changeMeterEvent() {
	if len(w.m.events) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.events)
	e := w.m.events[id]
	if w.maybe("day") {
		e.day = w.day()
	}
	e.oldEnd = w.hours(e.day)
	row, version, why := w.row("event", id)
	next := w.m.clone()
	next.events[id] = e
	w.say("correct meter event", next, why, register.ChangeMeterEvent{
		Event: register.MeterEvent{ID: row, Version: version, On: dayOf(e.day), OldEnd: e.oldEnd, NewStart: e.newStart}, Reason: mended,
	})
}

func (w *tale) changeLayUp() {
	if len(w.m.layUps) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.layUps)
	old := w.m.layUps[id]
	l := old
	if w.maybe("from") {
		l.from = w.day()
	} else {
		l.to = w.day()
	}
	reason := mended
	row, version, why := w.row("lay-up", id)
	if w.seldom("no reason") {
		reason = ""
		if old.to != 0 || l.from != old.from {
			why = "no reason is given"
		}
	}
	next := w.m.clone()
	next.layUps[id] = l
	w.say("correct lay-up", next, why, register.ChangeLayUp{
		LayUp: register.LayUp{ID: row, Version: version, From: dayOf(l.from), To: dayOf(l.to), Reason: l.reason}, Reason: reason,
	})
}

func (w *tale) changeConditions() {
	if len(w.m.conditions) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.conditions)
	c := w.m.conditions[id]
	if w.maybe("from") {
		c.from = w.day()
	} else {
		c.fluid = float64(50 + 20*w.pick("fluid", 3))
	}
	row, version, why := w.row("conditions", id)
	next := w.m.clone()
	next.conditions[id] = c
	w.say("correct conditions", next, why, register.ChangeConditions{
		Conditions: register.Conditions{ID: row, Version: version, From: dayOf(c.from), Basis: register.Assumed, Service: register.Service{FluidC: &c.fluid}}, Reason: mended,
	})
}

func (w *tale) changeInspection() {
	if len(w.m.looks) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.looks)
	l := w.m.looks[id]
	if w.seldom("by") {
		l.by = "z"
	} else {
		l.day = w.day()
	}
	row, version, why := w.row("look", id)
	next := w.m.clone()
	next.looks[id] = l
	for finding, f := range next.findings {
		if f.look == id {
			f.seen = l.day
			next.findings[finding] = f
		}
	}
	w.say("correct inspection", next, why, register.ChangeInspection{
		Inspection: register.Inspection{ID: row, Version: version, On: dayOf(l.day), By: l.by}, Reason: mended,
	})
}

func (w *tale) changeFinding() {
	if len(w.m.findings) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.findings)
	f := w.m.findings[id]
	f.class = w.class()
	row, version, why := w.row("finding", id)
	next := w.m.clone()
	next.findings[id] = f
	w.say("correct finding", next, why, register.ChangeFinding{
		Finding: register.Finding{ID: row, Version: version, Class: life.Class(f.class), SeenOn: dayOf(f.seen)}, Reason: mended,
	})
}

func (w *tale) takeBack() {
	kinds := map[string]func(*model) (id int, why string){
		"stay": w.withoutStay, "removal": w.withoutRemoval, "look": w.withoutLook, "assembly": w.withoutAssembly,
		"reading":    func(m *model) (int, string) { return without(w, m.readings), "" },
		"event":      func(m *model) (int, string) { return without(w, m.events), "" },
		"lay-up":     func(m *model) (int, string) { return without(w, m.layUps), "" },
		"conditions": func(m *model) (int, string) { return without(w, m.conditions), "" },
		"finding":    func(m *model) (int, string) { return without(w, m.findings), "" },
	}
	kind := rapid.SampledFrom([]string{"stay", "removal", "look", "assembly", "reading", "event", "lay-up", "conditions", "finding"}).Draw(w.r, "kind")
	next := w.m.clone()
	id, why := kinds[kind](next)
	if id < 0 {
		w.r.Skip("none")
	}
	before := w.m
	cmd := register.TakeBack{What: register.Thing(storyTables[kind]), Reason: mended}
	if kind == "removal" {
		stay, _ := w.rowOf("stay", id)
		cmd.What = register.ThingRemoval
		if err := w.s.Raw().QueryRow(fmt.Sprintf("SELECT id, version FROM removals WHERE placement_id = %d", stay)).Scan(&cmd.ID, &cmd.Version); err != nil {
			w.t.Fatal(err)
		}
	} else {
		var old string
		if cmd.ID, cmd.Version, old = w.row(kind, id); old != "" {
			why = old
		}
	}
	w.say("take back "+kind, next, why, cmd)
	if w.m != before {
		w.codesFollow(before, w.m)
	}
}

func without[T any](w *tale, of map[int]T) int {
	if len(of) == 0 {
		return -1
	}
	id := choose(w, of)
	delete(of, id)
	return id
}

// unscrap takes back that a hose was thrown away at the end of a stay.
func (m *model) unscrap(id int) {
	if !m.scrappedAtEnd(id) {
		return
	}
	a := m.assemblies[m.stays[id].assembly]
	a.scrapped, a.reason = 0, ""
	m.assemblies[m.stays[id].assembly] = a
}

func (w *tale) withoutStay(m *model) (int, string) {
	if len(m.stays) == 0 {
		return -1, ""
	}
	id, why := choose(w, m.stays), ""
	for _, l := range m.looks {
		if m.stayOf(l.assembly, l.seat, l.day) == id {
			why = "it was looked at there"
		}
	}
	s := m.stays[id]
	m.unscrap(id)
	delete(m.stays, id)
	m.dropLook(machineOfSeat(s.seat), s.from, s.fromHours)
	m.dropLook(machineOfSeat(s.seat), s.to, s.toHours)
	return id, why
}

func (w *tale) withoutRemoval(m *model) (int, string) {
	for _, id := range inOrderOf(m.stays) {
		s := m.stays[id]
		if s.to == 0 || !w.maybe("this one") {
			continue
		}
		m.unscrap(id)
		on, hours := s.to, s.toHours
		s.to, s.toHours, s.cause = 0, -1, ""
		m.stays[id] = s
		m.dropLook(machineOfSeat(s.seat), on, hours)
		return id, ""
	}
	return -1, ""
}

func (w *tale) withoutLook(m *model) (int, string) {
	id := without(w, m.looks)
	for finding, f := range m.findings {
		if f.look == id {
			delete(m.findings, finding)
		}
	}
	return id, ""
}

func (w *tale) withoutAssembly(m *model) (int, string) {
	id := without(w, m.assemblies)
	for _, s := range m.stays {
		if s.assembly == id {
			return id, "it was fitted"
		}
	}
	for _, l := range m.looks {
		if l.assembly == id {
			return id, "it was looked at"
		}
	}
	return id, ""
}
