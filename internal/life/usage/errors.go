package usage

import (
	"errors"
	"fmt"

	"hoseward/internal/quantity"
)

// The kinds of a SeriesError, for errors.Is.
var (
	// ErrFalling: the meter shows less than before.
	ErrFalling = errors.New("meter falls")
	// ErrTooFast: more than 24 h a day.
	ErrTooFast = errors.New("more than 24 h a day")
	// ErrSameDay: two things noted of one day that cannot both be.
	ErrSameDay = errors.New("contradiction on one day")
	// ErrValue: not a number of hours.
	ErrValue = errors.New("not a number of hours")
	// ErrDate: no date, or a time that ends before it begins.
	ErrDate = errors.New("date missing or wrong")
)

// SeriesError says which entry of a Series was refused and why.
type SeriesError struct {
	Field string // readings, meter_events, laid_up, planned_hours_per_week, as_of
	Index int    // in the caller's slice; 0 for a field that is none
	On    quantity.Date
	Text  string // one sentence for people: what is wrong and what to do
	Kind  error  // one of the kinds above
}

// Error is the field with its place, then the sentence.
func (e *SeriesError) Error() string {
	switch e.Field {
	case fieldPlanned, fieldAsOf:
		return e.Field + ": " + e.Text
	}
	return fmt.Sprintf("%s[%d]: %s", e.Field, e.Index, e.Text)
}

// Unwrap gives the kind.
func (e *SeriesError) Unwrap() error { return e.Kind }

// The fields of a SeriesError.
const (
	fieldReadings = "readings"
	fieldEvents   = "meter_events"
	fieldLaidUp   = "laid_up"
	fieldPlanned  = "planned_hours_per_week"
	fieldAsOf     = "as_of"
)
