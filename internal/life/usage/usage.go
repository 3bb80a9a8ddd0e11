// Package usage turns hour-meter readings into running hours by date, past
// and to come.
package usage

import "hoseward/internal/quantity"

// Reading is what an hour meter showed on a day.
type Reading struct {
	On    quantity.Date
	Hours float64
}

// MeterEvent is a meter that was replaced or rolled over on a day: it showed
// OldEnd last and NewStart first.
type MeterEvent struct {
	On               quantity.Date
	OldEnd, NewStart float64
}

// LayUp is a time out of use; no hours run from From up to, not including, To.
type LayUp struct{ From, To quantity.Date }

// Series is what is known of one machine's hours, in any order.
type Series struct {
	Readings       []Reading
	Events         []MeterEvent
	LaidUp         []LayUp
	PlannedPerWeek *float64
}
