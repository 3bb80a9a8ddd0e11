package life

import "hoseward/internal/quantity"

// ClockName names a clock. The order of the constants decides ties.
type ClockName string

// The clocks.
const (
	ConditionClock ClockName = "condition"
	RatingClock    ClockName = "rating"
	CalendarClock  ClockName = "calendar"
	HeatClock      ClockName = "heat"
	HoursClock     ClockName = "hours"
	PressureClock  ClockName = "pressure"
	CombinedClock  ClockName = "combined" // policy "combine: sum"
)

// Estimate is what life says of one assembly as of one day.
type Estimate struct {
	ID              string
	AsOf            quantity.Date
	RatedBar        *float64 // nil if nothing is known
	RatingConfirmed bool
	Status          Status
	Complete        bool
	// Due, Earliest and Latest are the first clock to run out on the middle,
	// fast and slow path of hours; no date where none does within 100 years.
	Due, Earliest, Latest quantity.Date
	Governing             ClockName
	InspectionDue         quantity.Date
	// HoursNow is what the hour meter of the machine it sits on should show,
	// had it never been replaced, on the middle path; without a reading, the
	// hours since first fitting. HoursPerWeek is the rate to come.
	HoursNow     *float64
	HoursPerWeek *float64
	// HoursSinceFitting are the assembly's own running hours, on all machines
	// it sat on.
	HoursSinceFitting *float64
	// StoreUntil is, for an assembly in store, the last day on which it may be
	// fitted; no date if none is known.
	StoreUntil quantity.Date
	Clocks     []Clock
	Warnings   []Warning
	// StopOpen: an open finding of class stop on or before AsOf.
	StopOpen bool
}

// Clock is one clock of an estimate. Only the fields of its kind are set.
type Clock struct {
	Name ClockName
	Used *float64      // share spent at AsOf; nil if it cannot be computed
	Due  quantity.Date // no date if it does not run out or is missing data
	// Missing names what the clock lacks; it cannot be computed then. The rating
	// clock keeps a date to come that is known all the same.
	Missing []string
	Note    string // "no curve for this construction", ...

	Rule          string   // calendar, hours: the rule that won
	Factor        *float64 // heat: running-hours mean AF of the current conditions
	ExtraDays     *float64 // heat: X at AsOf
	Limit         *float64 // hours: the limit; pressure: the damage limit
	Damage        *float64 // pressure: plain sum to AsOf
	DamagePerHour *float64 // pressure: current conditions
	Exponent      *float64 // pressure
	Class         Class    // condition
	Percent       *float64 // rating: highest pressure over rating in per cent
}

// Warning is a code from a closed list and a sentence for people.
type Warning struct{ Code, Text string }

// Step is one line of the working: what was worked out, how, to what, from
// which source. A reader with a calculator reaches the same value.
type Step struct{ Name, Formula, Value, Source string }

// Status is what an assembly's due date means today.
type Status string

// The statuses, most pressing first.
const (
	StatusStop      Status = "stop"
	StatusOverdue   Status = "overdue"
	StatusSoon      Status = "soon"
	StatusAhead     Status = "ahead"
	StatusInService Status = "in service"
	StatusInStore   Status = "in store"
	StatusRemoved   Status = "removed"
)

// StatusOn is the status of an installed assembly on the day today: stop if a
// stop finding is open, overdue after its due date, soon to 30 days ahead,
// ahead to 90 days, else in service. Where a burst can hurt someone, due is
// the earliest date of the band; the caller passes that one.
func StatusOn(stopOpen bool, due, today quantity.Date) Status {
	switch {
	case stopOpen:
		return StatusStop
	case due.IsZero():
		return StatusInService
	case today.After(due):
		return StatusOverdue
	case due.Sub(today) <= 30:
		return StatusSoon
	case due.Sub(today) <= 90:
		return StatusAhead
	}
	return StatusInService
}
