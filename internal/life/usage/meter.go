package usage

import (
	"fmt"
	"math"
	"slices"

	"hoseward/internal/quantity"
)

// knot is a day and the hours a meter that was never replaced would have shown
// on it.
type knot struct {
	day   int
	hours float64
}

// MaxHours is the most an hour meter is taken to show: 114 years without a
// stop. Above it a number is a slip of the keyboard.
const MaxHours = 1e6

const hoursPerDay = 24

// entry is a reading or an event with its place in the caller's slice.
type entry struct {
	day        int32
	index      int32
	isEvent    bool
	end, start float64 // of an event; both the hours, for a reading
}

// meter turns readings and events up to asOf into knots, rising in day and not
// falling in hours, or says which of them cannot be true.
func (s *Series) meter(asOf quantity.Date) (meter, error) {
	entries, err := s.entries(asOf)
	if err != nil {
		return meter{}, err
	}
	m := meter{knots: make([]knot, 0, len(entries))}
	for len(entries) > 0 {
		n := 1
		for n < len(entries) && entries[n].day == entries[0].day {
			n++
		}
		if err := m.take(entries[:n]); err != nil {
			return meter{}, err
		}
		entries = entries[n:]
	}
	return m, nil
}

// entries checks every value by itself and returns what is not after asOf,
// sorted by day; of one day the events come first, then readings from the
// lowest up.
func (s *Series) entries(asOf quantity.Date) ([]entry, error) {
	out := make([]entry, 0, len(s.Readings)+len(s.Events))
	for i, r := range s.Readings {
		if r.On.IsZero() {
			return nil, &SeriesError{fieldReadings, i, r.On, "the reading has no date; enter the day it was taken", ErrDate}
		}
		if text := hoursText(r.Hours); text != "" {
			return nil, &SeriesError{fieldReadings, i, r.On, fmt.Sprintf("the reading of %s, %g h, %s", r.On, r.Hours, text), ErrValue}
		}
		if !r.On.After(asOf) {
			out = append(out, entry{day: int32(r.On.DayNumber()), index: int32(i), end: r.Hours, start: r.Hours})
		}
	}
	for i, e := range s.Events {
		if e.On.IsZero() {
			return nil, &SeriesError{fieldEvents, i, e.On, "the change of meter has no date; enter the day it was changed", ErrDate}
		}
		for _, v := range [...]float64{e.OldEnd, e.NewStart} {
			if text := hoursText(v); text != "" {
				return nil, &SeriesError{fieldEvents, i, e.On, fmt.Sprintf("the change of meter on %s, %g h, %s", e.On, v, text), ErrValue}
			}
		}
		if !e.On.After(asOf) {
			out = append(out, entry{day: int32(e.On.DayNumber()), index: int32(i), isEvent: true, end: e.OldEnd, start: e.NewStart})
		}
	}
	if !slices.IsSortedFunc(out, compareEntries) {
		slices.SortFunc(out, compareEntries)
	}
	return out, nil
}

func compareEntries(a, b entry) int {
	switch {
	case a.day != b.day:
		return int(a.day) - int(b.day)
	case a.isEvent != b.isEvent:
		if a.isEvent {
			return -1
		}
		return 1
	case a.end != b.end:
		if a.end < b.end {
			return -1
		}
		return 1
	case a.start != b.start:
		if a.start < b.start {
			return -1
		}
		return 1
	}
	return int(a.index) - int(b.index)
}

// hoursText says what is wrong with v as a number of hours, if anything.
func hoursText(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "is not a number"
	case v < 0:
		return "is below zero; correct it"
	case v > MaxHours:
		return "is more than any meter can show; correct it"
	}
	return ""
}

// meter follows what the meter shows from day to day.
type meter struct {
	knots  []knot
	shows  float64 // after the last knot
	offset float64 // hours of the meters before this one
	events int     // changes of meter
}

// take takes in all entries of one day, sorted as entries does.
func (m *meter) take(day []entry) error {
	first := day[0]
	for _, e := range day[1:] {
		if !agree(first, e) {
			return m.sameDay(first, e)
		}
	}
	if n := len(m.knots); n > 0 {
		if err := m.follows(m.knots[n-1].day, first); err != nil {
			return err
		}
	}
	hours := first.end + m.offset
	if n := len(m.knots); n > 0 {
		hours = math.Max(hours, m.knots[n-1].hours)
	}
	m.knots = append(m.knots, knot{int(first.day), hours})
	m.offset += first.end - first.start
	m.shows = first.start
	if first.isEvent {
		m.events++
	}
	return nil
}

// agree reports whether two entries of one day, a sorted before b, can both be
// true. A reading of the day the meter was changed may be of the old meter's
// end or of the new one's start.
func agree(a, b entry) bool {
	if a.isEvent && !b.isEvent {
		return b.end == a.end || b.end == a.start
	}
	return a.end == b.end && a.start == b.start
}

// follows checks that an entry can come after what the meter showed on the
// day before it.
func (m *meter) follows(before int, e entry) error {
	days := int(e.day) - before
	from, on := quantity.DateOfDayNumber(before), quantity.DateOfDayNumber(int(e.day))
	ran := e.end - m.shows
	if ran < 0 {
		return m.refuse(e, ErrFalling, fmt.Sprintf("the meter falls from %g h on %s to %g h on %s; correct the reading, or note on which day the meter was replaced or rolled over",
			m.shows, from, e.end, on))
	}
	if ran > float64(days)*hoursPerDay+1e-6 {
		return m.refuse(e, ErrTooFast, fmt.Sprintf("from %g h on %s to %g h on %s is more than 24 h a day; correct the reading, or note on which day the meter was replaced",
			m.shows, from, e.end, on))
	}
	return nil
}

func (m *meter) sameDay(a, b entry) error {
	on := quantity.DateOfDayNumber(int(b.day))
	switch {
	case a.isEvent && b.isEvent:
		return m.refuse(b, ErrSameDay, fmt.Sprintf("two different changes of meter are noted on %s; keep the right one", on))
	case a.isEvent:
		return m.refuse(b, ErrSameDay, fmt.Sprintf("the meter was changed on %s from %g h to %g h, but a reading of that day says %g h; a reading of that day must be one of the two, or else be dated another day",
			on, a.end, a.start, b.end))
	}
	return m.refuse(b, ErrSameDay, fmt.Sprintf("two readings of %s differ, %g h and %g h; a day has one reading, so give the same hours here or correct the other one", on, a.end, b.end))
}

func (m *meter) refuse(e entry, kind error, text string) error {
	field := fieldReadings
	if e.isEvent {
		field = fieldEvents
	}
	return &SeriesError{field, int(e.index), quantity.DateOfDayNumber(int(e.day)), text, kind}
}
