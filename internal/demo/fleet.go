// Package demo makes the demo fleet: the machines of Tarnbeck municipal depot,
// their hoses and what happened to them over some years, as register commands.
//
// The main idea is that the fleet is a pure function of a number and of today.
// Each kind of machine is a table of circuits and lines; each line gets a
// share of its life that is already used, from which the day it was fitted
// follows; a few lines get a trouble that was written for them. So the fleet
// looks alike on any day: most of it sound, some of it soon due, a little of
// it overdue, and every kind of trouble somewhere.
//
// Everything is invented: place, machines, makers, people, pressures, cycles
// and temperatures. Nothing here was measured, whatever a row of the demo
// register calls its basis. The package stores nothing and reads no clock.
package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// The sites of the demo fleet.
const (
	siteDepot = "Tarnbeck municipal depot"
	siteYard  = "Tarnbeck north yard"
	zone      = "Europe/London" // never behind UTC, so a UTC today is not ahead of the site's
)

// What the demo register knows, in months before today: readings and
// inspections reach back three years, removals were first noted later.
const (
	readingMonths = 36
	historyMonths = 20
)

// Fleet is the demo fleet as it stands on today, as register commands in an
// order in which an empty register takes all of them: first what has no date
// (sites, policies, kinds, duties, machines, positions), then what happened,
// by day, none after today. The same variant and today give the same commands;
// another variant gives another fleet of the same make. today must be a date
// from 2015-01-01 on; earlier ones, and no date, count as that day.
func Fleet(variant uint64, today quantity.Date) []register.Command {
	if first := day(2015, 1, 1); today.Before(first) {
		today = first
	}
	b := &builder{
		rng:   rand.New(rand.NewPCG(variant, 0x7461726e6265636b)),
		today: today,
	}
	b.place()
	b.plan()
	b.trouble()
	b.past()
	b.rounds()
	b.meters()
	b.stock()
	return append(b.setup, b.inOrder()...)
}

// builder gathers the commands of one fleet.
type builder struct {
	rng      *rand.Rand
	today    quantity.Date
	machines []*machine
	slots    []*slot // all positions, in walking order of their machines
	setup    []register.Command
	events   []event
}

// event is something that happened on a day. make is called once all
// assemblies have their codes.
type event struct {
	on   quantity.Date
	rank rank
	unit *unit // the assembly that comes into the register with this event
	make func() register.Command
}

// rank orders what happened on one day.
type rank int

const (
	looked rank = iota
	meterChanged
	removed
	arrived
	fitted
	worked
	read
	laidUp
)

func (b *builder) happen(on quantity.Date, r rank, what func() register.Command) {
	b.events = append(b.events, event{on: on, rank: r, make: what})
}

// inOrder sorts what happened by day and gives the assemblies codes in the
// order in which they came into the register.
func (b *builder) inOrder() []register.Command {
	slices.SortStableFunc(b.events, func(x, y event) int {
		return cmp.Or(x.on.Compare(y.on), cmp.Compare(x.rank, y.rank))
	})
	n := 0
	for _, e := range b.events {
		if e.unit != nil {
			n++
			e.unit.assembly.Code = fmt.Sprintf("TB-%04d", n)
		}
	}
	cmds := make([]register.Command, len(b.events))
	for i, e := range b.events {
		cmds[i] = e.make()
	}
	return cmds
}

// slot is a position with what sits there.
type slot struct {
	machine *machine
	circuit *circuit
	line    line
	name    string
	// limits on the assembly that sits here, by which its age is chosen
	limits limits
	now    *unit // what sits there today; nil for an empty position
	past   []*unit
	marked bool // a trouble was written for it
	empty  bool // what sat here was taken off and not replaced
}

// unit is an assembly with where it sat.
type unit struct {
	assembly register.Assembly
	from, to quantity.Date // to is no date while it sits there
	onText   string
	hours    bool // the hour meter was noted
	released string
	reason   string
	cause    register.Cause
	follows  bool // what it replaced is noted already
	carried  bool // it came from another position and is noted there
}

// between is a whole number from lo to hi, both included.
func (b *builder) between(lo, hi int) int { return lo + b.rng.IntN(hi-lo+1) }

// chance is true in p of the cases.
func (b *builder) chance(p float64) bool { return b.rng.Float64() < p }

// pick is one of the choices.
func pick[T any](b *builder, choices []T) T { return choices[b.rng.IntN(len(choices))] }

// day is a calendar day that is known to exist.
func day(y, m, d int) quantity.Date {
	date, err := quantity.NewDate(y, m, d)
	if err != nil {
		return quantity.MinDate
	}
	return date
}

// workday is d, or the Friday before if d is on a weekend.
func workday(d quantity.Date) quantity.Date {
	switch d.DayNumber() % 7 { // 0001-01-01, day 1, was a Monday
	case 6:
		return d.AddDays(-1)
	case 0:
		return d.AddDays(-2)
	}
	return d
}

// monthStart is the first day of the month of d.
func monthStart(d quantity.Date) quantity.Date {
	y, m, _ := d.YMD()
	return day(y, m, 1)
}

// monthOf is the month of d as a period.
func monthOf(d quantity.Date) quantity.Period {
	y, m, _ := d.YMD()
	p, err := quantity.Month(y, m)
	if err != nil {
		return quantity.Period{}
	}
	return p
}

// quarterOf is the quarter of d as a period.
func quarterOf(d quantity.Date) quantity.Period {
	y, m, _ := d.YMD()
	p, err := quantity.Quarter(y, (m+2)/3)
	if err != nil {
		return quantity.Period{}
	}
	return p
}

func ptr[T any](v T) *T { return &v }
