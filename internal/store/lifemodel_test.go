package store_test

import (
	"fmt"
	"maps"
	"slices"
	"sort"
	"strings"

	"hoseward/internal/life"
)

// The judge of the life stories: what a register is, told with maps and lists
// and nothing of the store's. A day is a number, 0 is none, ahead is after
// today. Things have numbers in the order they came to be.

const (
	modelToday = 10 // 2026-11-25
	modelAhead = 11
	modelSeats = 4 // 0, 1 on machine 0; 2, 3 on machine 1
)

func machineOfSeat(seat int) int { return seat / 2 }

type mAssembly struct {
	code     string
	made     int
	site     int // where it is kept: that of the machine it came off last
	scrapped int
	reason   string
}

type mStay struct {
	assembly, seat     int
	from, to           int
	fromHours, toHours float64 // -1 unknown
	cause              string
}

func (s mStay) zero() bool { return s.from == s.to }

// meets reports whether two stays have a moment in common.
func (s mStay) meets(o mStay) bool { return s.from < end(o.to) && o.from < end(s.to) }

func end(day int) int {
	if day == 0 {
		return 1 << 30
	}
	return day
}

type mReading struct {
	machine, day int
	hours        float64
	disputed     bool
	look         bool // it came with a fitting or removal
}

type mEvent struct {
	machine, day     int
	oldEnd, newStart float64
}

type mLayUp struct {
	machine, from, to int
	reason            string
}

type mConditions struct {
	level string // position, circuit, machine
	owner int
	from  int
	fluid float64
}

type mLook struct {
	assembly, seat, day int
	by                  string
}

type mFinding struct {
	look       int
	class      string
	seen       int
	closed     int
	how        string
	closedText string
}

// model is one state of the register.
type model struct {
	next       int
	assemblies map[int]mAssembly
	stays      map[int]mStay
	readings   map[int]mReading
	events     map[int]mEvent
	layUps     map[int]mLayUp
	conditions map[int]mConditions
	looks      map[int]mLook
	findings   map[int]mFinding
}

func newModel() *model {
	return &model{
		assemblies: map[int]mAssembly{}, stays: map[int]mStay{}, readings: map[int]mReading{}, events: map[int]mEvent{},
		layUps: map[int]mLayUp{}, conditions: map[int]mConditions{}, looks: map[int]mLook{}, findings: map[int]mFinding{},
	}
}

func (m *model) clone() *model {
	return &model{
		m.next, maps.Clone(m.assemblies), maps.Clone(m.stays), maps.Clone(m.readings), maps.Clone(m.events),
		maps.Clone(m.layUps), maps.Clone(m.conditions), maps.Clone(m.looks), maps.Clone(m.findings),
	}
}

func (m *model) id() int {
	m.next++
	return m.next
}

func inOrderOf[T any](of map[int]T) []int { return slices.Sorted(maps.Keys(of)) }

// stayOf is the stay a look was of: of those that cover the day at the seat,
// the one that began last; one that ended on the day it began only where there
// is no other; -1 for none.
func (m *model) stayOf(assembly, seat, day int) int {
	best := -1
	for _, id := range inOrderOf(m.stays) {
		s := m.stays[id]
		if s.seat != seat || assembly >= 0 && s.assembly != assembly || s.from > day || end(s.to) < day {
			continue
		}
		if best < 0 || s.from > m.stays[best].from || s.from == m.stays[best].from && (m.stays[best].zero() || !s.zero()) {
			best = id
		}
	}
	return best
}

// after reports whether a stay's assembly was fitted again after it.
func (m *model) after(id int) bool {
	s := m.stays[id]
	for other, o := range m.stays {
		if other != id && o.assembly == s.assembly && (o.from > s.from || o.from == s.from && !o.zero()) {
			return true
		}
	}
	return false
}

// scrappedAtEnd reports whether a stay ended with the hose thrown away.
func (m *model) scrappedAtEnd(id int) bool {
	s := m.stays[id]
	return s.to != 0 && m.assemblies[s.assembly].scrapped == s.to && !m.after(id)
}

// settle closes and opens what removals close.
func (m *model) settle() {
	for id, f := range m.findings {
		if f.how != "" && f.how != "removed" {
			continue
		}
		l := m.looks[f.look]
		if s := m.stayOf(l.assembly, l.seat, l.day); s >= 0 {
			f.closed, f.how = m.stays[s].to, ""
			if f.closed != 0 {
				f.how = "removed"
			}
			m.findings[id] = f
		}
	}
}

// wrong says what contradicts itself; empty if nothing does.
func (m *model) wrong() string {
	for id, s := range m.stays {
		a, ok := m.assemblies[s.assembly]
		switch {
		case !ok:
			return fmt.Sprintf("stay %d has no assembly", id)
		case s.from > modelToday || s.to > modelToday:
			return "a stay lies ahead"
		case s.to != 0 && s.to < s.from:
			return "a stay ends before it begins"
		case s.from < a.made:
			return "fitted before it was made"
		case a.scrapped != 0 && (s.to == 0 || s.to > a.scrapped || s.from == a.scrapped && !s.zero()):
			return "fitted after it was scrapped"
		}
		for other, o := range m.stays {
			if other != id && (o.assembly == s.assembly || o.seat == s.seat) && s.meets(o) {
				return "two stays meet"
			}
		}
	}
	for _, l := range m.looks {
		if m.stayOf(l.assembly, l.seat, l.day) < 0 {
			return "a look where nothing sat"
		}
		if l.day > modelToday {
			return "a look lies ahead"
		}
	}
	for _, f := range m.findings {
		if f.closed != 0 && f.closed < f.seen {
			return "closed before it was seen"
		}
		if f.how == "done" && f.class != "correct" {
			return "ticked done but not of class correct"
		}
	}
	for machine := range 2 {
		if why := m.metersWrong(machine); why != "" {
			return why
		}
	}
	return m.twice()
}

// twice says what is noted two times.
func (m *model) twice() string {
	seen := map[string]bool{}
	note := func(key string) bool {
		was := seen[key]
		seen[key] = true
		return was
	}
	for _, r := range m.readings {
		if r.day > modelToday || note(fmt.Sprint("r", r.machine, "/", r.day, "/", r.hours)) {
			return "a reading twice or ahead"
		}
	}
	for _, e := range m.events {
		if e.day > modelToday || note(fmt.Sprint("e", e.machine, "/", e.day, "/", e.oldEnd, "/", e.newStart)) {
			return "a meter event twice or ahead"
		}
	}
	for _, l := range m.layUps {
		if l.to != 0 && l.to <= l.from || note(fmt.Sprint("l", l.machine, "/", l.from, "/", l.to)) {
			return "a lay-up twice or backwards"
		}
	}
	return ""
}

// metersWrong follows a meter from day to day.
func (m *model) metersWrong(machine int) string {
	readings, events := map[int][]float64{}, map[int][]mEvent{}
	days := map[int]bool{}
	for _, r := range m.readings {
		if r.machine == machine && !r.disputed {
			readings[r.day] = append(readings[r.day], r.hours)
			days[r.day] = true
		}
	}
	for _, e := range m.events {
		if e.machine == machine {
			events[e.day] = append(events[e.day], e)
			days[e.day] = true
		}
	}
	last, shows := 0, 0.0
	for _, day := range slices.Sorted(maps.Keys(days)) {
		enters, leaves := 0.0, 0.0
		switch {
		case len(events[day]) > 1:
			return "two changes of meter on one day"
		case len(events[day]) == 1:
			enters, leaves = events[day][0].oldEnd, events[day][0].newStart
		default:
			enters, leaves = readings[day][0], readings[day][0]
		}
		for _, h := range readings[day] {
			if h != enters && h != leaves {
				return "readings of one day differ"
			}
		}
		if ran := enters - shows; last != 0 && (ran < 0 || ran > 24*float64(day-last)) {
			return "the meter falls or runs too fast"
		}
		last, shows = day, leaves
	}
	return ""
}

// alsoRead notes hours that came with something else.
func (m *model) alsoRead(machine, day int, hours float64) {
	if hours < 0 {
		return
	}
	for _, r := range m.readings {
		if r.machine == machine && r.day == day && r.hours == hours {
			return
		}
	}
	m.readings[m.id()] = mReading{machine: machine, day: day, hours: hours, look: true}
}

// claims are the stays whose hours are those of a machine's meter on a day.
func (m *model) claims(machine, day int, hours float64) []int {
	var of []int
	for id, s := range m.stays {
		if machineOfSeat(s.seat) == machine && (s.from == day && s.fromHours == hours || s.to == day && s.toHours == hours) {
			of = append(of, id)
		}
	}
	return of
}

// followHours gives other hours to every stay with those of a look.
func (m *model) followHours(machine, day int, before, now float64) {
	for _, id := range m.claims(machine, day, before) {
		s := m.stays[id]
		if s.from == day && s.fromHours == before {
			s.fromHours = now
		}
		if s.to == day && s.toHours == before {
			s.toHours = now
		}
		m.stays[id] = s
	}
}

// lookReading is the reading a look left, -1 for none.
func (m *model) lookReading(machine, day int, hours float64) int {
	for id, r := range m.readings {
		if r.machine == machine && r.day == day && r.hours == hours && r.look {
			return id
		}
	}
	return -1
}

// dropLook takes back the reading of a look that nothing else claims.
func (m *model) dropLook(machine, day int, hours float64) {
	if hours < 0 || len(m.claims(machine, day, hours)) > 0 {
		return
	}
	delete(m.readings, m.lookReading(machine, day, hours))
}

// lines are the state in words, one line a thing, by kind and number.
func (m *model) lines() map[string]string {
	out := map[string]string{}
	for id, a := range m.assemblies {
		out[fmt.Sprint("assembly ", id)] = fmt.Sprintf("%s site %d scrapped %d %s", a.code, a.site, a.scrapped, a.reason)
	}
	for id, s := range m.stays {
		out[fmt.Sprint("stay ", id)] = fmt.Sprintf("%d at %d from %d to %d hours %g %g", s.assembly, s.seat, s.from, s.to, s.fromHours, s.toHours)
		if s.cause != "" { // why it ended is a thing of its own
			out[fmt.Sprint("removal ", id)] = s.cause
		}
	}
	for id, r := range m.readings {
		out[fmt.Sprint("reading ", id)] = fmt.Sprintf("%d on %d: %g disputed %t look %t", r.machine, r.day, r.hours, r.disputed, r.look)
	}
	for id, e := range m.events {
		out[fmt.Sprint("event ", id)] = fmt.Sprintf("%d on %d: %g to %g", e.machine, e.day, e.oldEnd, e.newStart)
	}
	for id, l := range m.layUps {
		out[fmt.Sprint("lay-up ", id)] = fmt.Sprintf("%d from %d to %d %s", l.machine, l.from, l.to, l.reason)
	}
	for id, c := range m.conditions {
		out[fmt.Sprint("conditions ", id)] = fmt.Sprintf("%s %d from %d fluid %g", c.level, c.owner, c.from, c.fluid)
	}
	for id, l := range m.looks {
		out[fmt.Sprint("look ", id)] = fmt.Sprintf("%d at %d on %d by %s: %s", l.assembly, l.seat, l.day, l.by, m.verdict(id))
	}
	for id, f := range m.findings {
		out[fmt.Sprint("finding ", id)] = fmt.Sprintf("of %d %s seen %d closed %d %s %s", f.look, f.class, f.seen, f.closed, f.how, f.closedText)
	}
	return out
}

// verdict is the strictest class of a look's findings.
func (m *model) verdict(look int) string {
	v := life.Sound
	order := []life.Class{life.Sound, life.Watch, life.Correct, life.Replace, life.Stop}
	for _, f := range m.findings {
		if f.look == look && slices.Index(order, life.Class(f.class)) > slices.Index(order, v) {
			v = life.Class(f.class)
		}
	}
	return string(v)
}

// act is what one list of commands did: the state before and after it.
type act struct {
	id            int64
	before, after *model
	undone, undo  bool
}

// undone is the state without an act, and why that cannot be.
func (m *model) undone(a *act) (*model, string) {
	now, was, became := m.lines(), a.before.lines(), a.after.lines()
	keys := map[string]bool{}
	for k := range was {
		keys[k] = true
	}
	for k := range became {
		keys[k] = true
	}
	out := m.clone()
	for _, k := range slices.Backward(slices.Sorted(maps.Keys(keys))) { // stays before removals
		before, in := was[k]
		after, left := became[k]
		if in == left && before == after {
			continue
		}
		if current, there := now[k]; there != left || current != after {
			return nil, k + " was changed since"
		}
		if !in && strings.HasPrefix(k, "stay ") && m.looked(k) {
			return nil, k + " was looked at"
		}
		out.restore(k, a.before)
	}
	for _, l := range out.looks {
		if _, ok := out.assemblies[l.assembly]; !ok {
			return nil, "a look has no assembly"
		}
	}
	for _, f := range out.findings {
		if _, ok := out.looks[f.look]; !ok {
			return nil, "a finding has no look"
		}
	}
	out.settle()
	return out, out.wrong()
}

// looked reports whether something was seen during a stay.
func (m *model) looked(key string) bool {
	for _, l := range m.looks {
		if fmt.Sprint("stay ", m.stayOf(l.assembly, l.seat, l.day)) == key {
			return true
		}
	}
	return false
}

// restore makes one thing what it is in another state.
func (m *model) restore(key string, from *model) {
	var kind string
	var id int
	if _, err := fmt.Sscanf(key, "%s %d", &kind, &id); err != nil {
		panic(err)
	}
	switch kind {
	case "assembly":
		back(m.assemblies, from.assemblies, id)
	case "stay":
		cause := m.stays[id].cause
		back(m.stays, from.stays, id)
		if s, ok := m.stays[id]; ok {
			s.cause = cause
			m.stays[id] = s
		}
	case "removal":
		if s, ok := m.stays[id]; ok {
			s.cause = from.stays[id].cause
			m.stays[id] = s
		}
	case "reading":
		back(m.readings, from.readings, id)
	case "event":
		back(m.events, from.events, id)
	case "lay-up":
		back(m.layUps, from.layUps, id)
	case "conditions":
		back(m.conditions, from.conditions, id)
	case "look":
		back(m.looks, from.looks, id)
	case "finding":
		back(m.findings, from.findings, id)
	}
}

func back[T any](to, from map[int]T, id int) {
	if v, ok := from[id]; ok {
		to[id] = v
		return
	}
	delete(to, id)
}

func sorted(lines map[string]string) []string {
	out := make([]string, 0, len(lines))
	for k, v := range lines {
		out = append(out, k+": "+v)
	}
	sort.Strings(out)
	return out
}
