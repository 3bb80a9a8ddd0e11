package store_test

import (
	"context"
	"fmt"
	"strings"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// The steps of a life story: what people note, each told to the register and to
// the model.

func (w *tale) actions() map[string]func(*rapid.T) {
	out := map[string]func(*rapid.T){}
	for name, step := range map[string]struct {
		often int
		do    func()
	}{
		"add": {1, w.add}, "rename": {1, w.rename}, "fit": {4, w.fit}, "past": {3, w.fitPast}, "remove": {3, w.remove}, "swap": {2, w.swap}, "move": {2, w.move},
		"scrap": {1, w.scrap}, "reading": {2, w.reading}, "meter": {1, w.meterEvent}, "lay-up": {1, w.layUp}, "conditions": {2, w.work},
		"inspect": {4, w.inspect}, "close": {2, w.closeFinding}, "correct placement": {4, w.changePlacement}, "correct reading": {2, w.changeReading},
		"correct meter": {1, w.changeMeterEvent}, "correct lay-up": {1, w.changeLayUp}, "correct conditions": {1, w.changeConditions},
		"correct inspection": {2, w.changeInspection}, "correct finding": {2, w.changeFinding}, "take back": {4, w.takeBack}, "undo": {2, w.undo}, "undo last": {1, w.undoLast},
	} {
		for i := range step.often {
			out[fmt.Sprint(name, " ", i)] = func(*rapid.T) { step.do() }
		}
	}
	return out
}

// within is mostly a day of a stretch of days, else any day.
func (w *tale) within(from, to int) int {
	if to == 0 || to > modelToday {
		to = modelToday
	}
	if from > to || w.seldom("any day") {
		return w.day()
	}
	return rapid.IntRange(from, to).Draw(w.r, "day")
}

// one chooses a thing, mostly one that is liked.
func one[T any](w *tale, of map[int]T, liked func(int, T) bool) int {
	var good []int
	for _, id := range inOrderOf(of) {
		if liked(id, of[id]) {
			good = append(good, id)
		}
	}
	if len(good) == 0 || w.seldom("any") {
		return choose(w, of)
	}
	return good[w.pick("which", len(good))]
}

func (w *tale) day() int { return rapid.IntRange(1, modelAhead).Draw(w.r, "day") }

func (w *tale) seat() int                     { return rapid.IntRange(0, modelSeats-1).Draw(w.r, "seat") }
func (w *tale) maybe(label string) bool       { return rapid.Bool().Draw(w.r, label) }
func (w *tale) seldom(label string) bool      { return rapid.IntRange(0, 7).Draw(w.r, label) == 0 }
func (w *tale) pick(label string, n int) int  { return rapid.IntRange(0, n-1).Draw(w.r, label) }
func choose[T any](w *tale, of map[int]T) int { return inOrderOf(of)[w.pick("which", len(of))] }

// hours are mostly what a meter that runs ten hours a day shows.
func (w *tale) hours(day int) float64 {
	return float64(100+10*day) + rapid.SampledFrom([]float64{0, 0, 0, 0, 0, 5, -30, 50}).Draw(w.r, "off")
}

func (w *tale) someHours(day int) float64 {
	if w.maybe("hours known") {
		return w.hours(day)
	}
	return -1
}

func known(hours float64) *float64 {
	if hours < 0 {
		return nil
	}
	return &hours
}

func (w *tale) add() {
	code := rapid.SampledFrom([]string{"A0", "A1", "A2", "A3", "a3", "A4", "A5"}).Draw(w.r, "code")
	next, made := w.m.clone(), -60
	id := next.id()
	if w.seldom("made late") {
		made = 3
	}
	next.assemblies[id] = mAssembly{code: code, made: made}
	why := ""
	if _, taken := w.codes[strings.ToLower(code)]; taken {
		why = "the code was used"
	}
	a := hose(code)
	a.Assembly.Made.From, a.Assembly.Made.To = dayOf(made), dayOf(made)
	a.Assembly.Assembled = a.Assembly.Made
	w.say("add", next, why, a)
	if why == "" {
		w.keep(code, id)
	}
}

func (w *tale) keep(code string, id int) {
	w.codes[strings.ToLower(code)] = id
	w.had[id] = append(w.had[id], strings.ToLower(code))
}

func (w *tale) rename() {
	if len(w.m.assemblies) == 0 {
		w.r.Skip("none")
	}
	id := choose(w, w.m.assemblies)
	a := w.m.assemblies[id]
	code := rapid.SampledFrom([]string{"A0", "A1", "A5", "A6", "A7"}).Draw(w.r, "code")
	if code == a.code {
		return
	}
	why := ""
	if owner, taken := w.codes[strings.ToLower(code)]; taken && owner != id {
		why = "the code was used"
	}
	row := sheet(w.t, w.s, a.code).Assembly
	row.Code = code
	a.code = code
	next := w.m.clone()
	next.assemblies[id] = a
	w.say("rename", next, why, register.ChangeAssembly{Assembly: row})
	if why == "" {
		w.keep(code, id)
	}
}

func (w *tale) fitting(id, seat, on int, hours float64) register.Fit {
	return register.Fit{
		AssemblyCode: w.m.assemblies[id].code, Machine: machineCode(machineOfSeat(seat)), Position: seatName(seat), On: dayOf(on), Hours: known(hours),
		ReleasedBy: "B. Wise", Reason: "tested",
	}
}

func (w *tale) removal(id, on int, hours float64, scrapped bool) register.Remove {
	return register.Remove{AssemblyCode: w.m.assemblies[id].code, On: dayOf(on), Hours: known(hours), Cause: register.CauseOutside, FoundBy: register.FoundByEvent, Scrapped: scrapped}
}

// sit adds an open stay.
func (m *model) sit(assembly, seat, on int, hours float64) int {
	id := m.id()
	m.stays[id] = mStay{assembly: assembly, seat: seat, from: on, fromHours: hours, toHours: -1}
	m.alsoRead(machineOfSeat(seat), on, hours)
	return id
}

// leave ends a stay; it says what is against throwing the hose away.
func (m *model) leave(id, on int, hours float64, scrapped bool) string {
	s := m.stays[id]
	s.to, s.toHours, s.cause = on, hours, "outside"
	m.stays[id] = s
	a := m.assemblies[s.assembly]
	if scrapped && (m.after(id) || a.scrapped != 0) {
		return "it was not scrapped then"
	}
	if !m.after(id) {
		a.site = machineOfSeat(s.seat)
		if scrapped {
			a.scrapped = on
		}
		m.assemblies[s.assembly] = a
	}
	m.alsoRead(machineOfSeat(s.seat), on, hours)
	return ""
}

// open is the stay of an assembly that lasts, -1 for none.
func (m *model) open(assembly int) int {
	for id, s := range m.stays {
		if s.assembly == assembly && s.to == 0 {
			return id
		}
	}
	return -1
}

func (w *tale) fit() {
	if len(w.m.assemblies) == 0 {
		w.r.Skip("none")
	}
	id := one(w, w.m.assemblies, func(id int, a mAssembly) bool { return a.scrapped == 0 && w.m.open(id) < 0 })
	seat, on := w.seat(), w.day()
	hours := w.someHours(on)
	next := w.m.clone()
	next.sit(id, seat, on, hours)
	w.say("fit", next, "", w.fitting(id, seat, on, hours))
}

func (w *tale) fitPast() {
	if len(w.m.assemblies) == 0 {
		w.r.Skip("none")
	}
	id, seat, from, to := choose(w, w.m.assemblies), w.seat(), w.day(), w.day()
	if to < from {
		from, to = to, from
	}
	before, after, scrapped := w.someHours(from), w.someHours(to), w.seldom("scrapped")
	next := w.m.clone()
	stay := next.sit(id, seat, from, before)
	why := next.leave(stay, to, after, scrapped)
	w.say("fit in the past", next, why, w.fitting(id, seat, from, before), w.removal(id, to, after, scrapped))
}

func (w *tale) remove() {
	if len(w.m.assemblies) == 0 {
		w.r.Skip("none")
	}
	id := one(w, w.m.assemblies, func(id int, _ mAssembly) bool { return w.m.open(id) >= 0 })
	on, scrapped := w.within(w.m.stays[w.m.open(id)].from, 0), w.seldom("scrapped")
	hours := w.someHours(on)
	next, why := w.m.clone(), "it sits nowhere"
	if stay := next.open(id); stay >= 0 {
		why = next.leave(stay, on, hours, scrapped)
	}
	w.say("remove", next, why, w.removal(id, on, hours, scrapped))
}

// swap takes off what sits at a seat and fits another one the same day.
func (w *tale) swap() {
	seat := w.seat()
	for _, id := range inOrderOf(w.m.stays) {
		if s := w.m.stays[id]; s.seat == seat && s.to == 0 {
			w.exchange("swap", id, one(w, w.m.assemblies, func(id int, a mAssembly) bool { return a.scrapped == 0 && w.m.open(id) < 0 }), seat, w.within(s.from, 0))
			return
		}
	}
	w.r.Skip("none")
}

// move takes an assembly off and fits it at another seat the same day.
func (w *tale) move() {
	for _, id := range inOrderOf(w.m.stays) {
		if s := w.m.stays[id]; s.to == 0 && w.maybe("this one") {
			w.exchange("move", id, s.assembly, w.seat(), w.within(s.from, 0))
			return
		}
	}
	w.r.Skip("none")
}

func (w *tale) exchange(what string, stay, assembly, seat, on int) {
	out := w.m.stays[stay].assembly
	hours, scrapped := w.someHours(on), w.seldom("scrapped")
	next := w.m.clone()
	why := next.leave(stay, on, hours, scrapped)
	if why == "" { // the removal must be right by itself
		between := next.clone()
		between.settle()
		why = between.wrong()
	}
	next.sit(assembly, seat, on, hours)
	w.say(what, next, why, w.removal(out, on, hours, scrapped), w.fitting(assembly, seat, on, hours))
}

func (w *tale) scrap() {
	if len(w.m.assemblies) == 0 {
		w.r.Skip("none")
	}
	id, on := choose(w, w.m.assemblies), w.day()
	next, a, why := w.m.clone(), w.m.assemblies[id], ""
	switch {
	case a.scrapped != 0:
		why = "it was scrapped before"
	case on > modelToday:
		why = "it lies ahead"
	case w.m.open(id) >= 0:
		why = "it sits somewhere"
	}
	a.scrapped, a.reason = on, "old"
	next.assemblies[id] = a
	for _, s := range w.m.stays {
		if s.assembly == id && s.to > on {
			why = "it sat somewhere then"
		}
	}
	w.say("scrap", next, why, register.Scrap{AssemblyCode: a.code, On: dayOf(on), Reason: "old"})
}

func (w *tale) reading() {
	r := mReading{machine: w.pick("machine", 2), day: w.day(), disputed: w.seldom("disputed")}
	r.hours = w.hours(r.day)
	next := w.m.clone()
	next.readings[next.id()] = r
	w.say("reading", next, "", register.AddReading{Machine: machineCode(r.machine), On: dayOf(r.day), Hours: r.hours, Disputed: r.disputed})
}

func (w *tale) meterEvent() {
	e := mEvent{machine: w.pick("machine", 2), day: w.day()}
	e.oldEnd = w.hours(e.day)
	e.newStart = e.oldEnd - float64(w.pick("less", 2)*40)
	next := w.m.clone()
	next.events[next.id()] = e
	w.say("meter event", next, "", register.AddMeterEvent{Machine: machineCode(e.machine), On: dayOf(e.day), OldEnd: e.oldEnd, NewStart: e.newStart})
}

func (w *tale) layUp() {
	l := mLayUp{machine: w.pick("machine", 2), from: w.day(), reason: "rest"}
	if w.maybe("ends") {
		l.to = l.from + w.pick("days", 4)
	}
	next := w.m.clone()
	ended := -1
	for id, have := range next.layUps {
		if have.machine == l.machine && have.from == l.from && have.to == 0 {
			ended = id
		}
	}
	why := ""
	for _, have := range next.layUps {
		if have.machine == l.machine && have.from == l.from && have.to == l.to {
			why = "it is there"
		}
	}
	if ended < 0 {
		ended = next.id()
	}
	next.layUps[ended] = l
	w.say("lay-up", next, why, register.AddLayUp{Machine: machineCode(l.machine), From: dayOf(l.from), To: dayOf(l.to), Reason: l.reason})
}

// work says how something is worked from a day on.
func (w *tale) work() {
	c := mConditions{level: rapid.SampledFrom([]string{"machine", "circuit", "position"}).Draw(w.r, "level"), from: w.day(), fluid: float64(50 + 20*w.pick("fluid", 3))}
	c.owner = w.pick("machine", 2)
	cmd := register.SetConditions{Machine: machineCode(c.owner), From: dayOf(c.from), Basis: register.Assumed, Service: register.Service{FluidC: &c.fluid}}
	switch c.level {
	case "circuit":
		cmd.Circuit = "lift"
	case "position":
		c.owner = w.seat()
		cmd.Machine, cmd.Position = machineCode(machineOfSeat(c.owner)), seatName(c.owner)
	}
	next := w.m.clone()
	last := -1
	for id, have := range next.conditions {
		if have.level == c.level && have.owner == c.owner && have.from == c.from && id > last {
			last = id
		}
	}
	if last < 0 || next.conditions[last] != c {
		next.conditions[next.id()] = c
	}
	w.say("conditions", next, "", cmd)
}

func (w *tale) inspect() {
	seat, on := w.seat(), 0
	if len(w.m.stays) > 0 && !w.seldom("anywhere") {
		s := w.m.stays[choose(w, w.m.stays)]
		seat, on = s.seat, w.within(s.from, s.to)
	} else {
		on = w.day()
	}
	by := rapid.SampledFrom([]string{"x", "y"}).Draw(w.r, "by")
	next, why := w.m.clone(), ""
	stay := next.stayOf(-1, seat, on)
	if stay < 0 {
		why = "nothing sat there"
	}
	cmd := register.Inspect{Machine: machineCode(machineOfSeat(seat)), Position: seatName(seat), On: dayOf(on), By: by}
	look := next.id()
	next.looks[look] = mLook{assembly: next.stays[stay].assembly, seat: seat, day: on, by: by}
	for range w.pick("findings", 3) {
		class := w.class()
		cmd.Findings = append(cmd.Findings, register.NewFinding{Class: life.Class(class)})
		next.findings[next.id()] = mFinding{look: look, class: class, seen: on}
	}
	w.say("inspect", next, why, cmd)
}

func (w *tale) class() string {
	return rapid.SampledFrom([]string{"stop", "replace", "correct", "correct", "watch"}).Draw(w.r, "class")
}

func (w *tale) closeFinding() {
	if len(w.m.findings) == 0 {
		w.r.Skip("none")
	}
	id := one(w, w.m.findings, func(_ int, f mFinding) bool { return f.how == "" })
	f, next, why := w.m.findings[id], w.m.clone(), ""
	on := w.within(f.seen, 0)
	how := rapid.SampledFrom([]string{"released", "done"}).Draw(w.r, "how")
	switch {
	case f.how != "":
		why = "it is closed"
	case on > modelToday:
		why = "it lies ahead"
	}
	f.closed, f.how, f.closedText = on, how, "why"
	next.findings[id] = f
	row, _ := w.rowOf("finding", id)
	w.say("close", next, why, register.CloseFinding{FindingID: row, On: dayOf(on), How: register.ClosedHow(how), Reason: "why"})
}

func (w *tale) undo() {
	if len(w.acts) > 1 {
		w.undoAct(w.acts[1+w.pick("act", len(w.acts)-1)])
	}
}

func (w *tale) undoLast() {
	if len(w.acts) > 1 {
		w.undoAct(w.acts[len(w.acts)-1])
	}
}

func (w *tale) undoAct(a *act) {
	next, why := w.m.undone(a)
	if a.undone || a.undo {
		why = "it was undone before or is an undoing"
	}
	if why == "" {
		for id := range next.assemblies {
			if _, there := w.m.assemblies[id]; there {
				continue
			}
			for _, code := range w.had[id] {
				if _, taken := w.codes[code]; taken {
					why = "its code is another's now"
				}
			}
		}
	}
	w.about = fmt.Sprintf("undo %d", a.id)
	before := w.m
	if !w.settled("undo", next, why, func() (register.Result, error) { return w.s.Undo(context.Background(), now, me, a.id) }) {
		return
	}
	a.undone, w.acts[len(w.acts)-1].undo = true, true
	w.codesFollow(before, next)
}

// codesFollow frees the codes of what is gone and keeps those of what is back.
func (w *tale) codesFollow(before, after *model) {
	for id := range before.assemblies {
		if _, there := after.assemblies[id]; !there {
			for _, code := range w.had[id] {
				delete(w.codes, code)
			}
		}
	}
	for id := range after.assemblies {
		if _, there := before.assemblies[id]; !there {
			for _, code := range w.had[id] {
				w.codes[code] = id
			}
		}
	}
}
