// Package usage turns hour-meter readings into running hours by date, past
// and to come.
//
// The main idea: the running hours of a machine are a line that rises or rests
// as time goes on, through what its meter showed and onwards at the rate of
// the recent past. Three such lines, a fast, a likely and a slow one, share the
// past and part at the last reading; every question about hours is a look-up
// on one of them. What cannot be true, such as a falling meter, is refused
// with the reason and never averaged in.
//
// Instants are day numbers as of quantity.Date.DayNumber with a fraction; a
// dated fact holds from 00:00 of its day. The package reads no clock and knows
// neither hoses nor seasons.
package usage

import "hoseward/internal/quantity"

// Reading is what an hour meter showed on a day.
type Reading struct {
	On    quantity.Date
	Hours float64
}

// MeterEvent is a meter that was replaced or rolled over on a day: it showed
// OldEnd last and NewStart first. It is an observation of the meter like a
// reading of OldEnd.
type MeterEvent struct {
	On               quantity.Date
	OldEnd, NewStart float64
}

// LayUp is a time out of use; no hours run from From up to, not including, To.
// To is no date while the machine is still laid up: past the day of the
// estimate that is not counted on, it may be back tomorrow.
type LayUp struct{ From, To quantity.Date }

// Series is what is known of one machine's hours, in any order.
type Series struct {
	Readings []Reading
	Events   []MeterEvent
	LaidUp   []LayUp
	// PlannedPerWeek is the hours it is meant to run in a week, 0 to 168; nil
	// and 0 mean that none are planned.
	PlannedPerWeek *float64
}
