package exchange

import (
	"errors"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// What a person types into a form is read as a cell of a sheet is, so that one
// text means one thing.

// TypedPressure reads a pressure in bar. note, if not empty, says what was
// taken for granted: bar where there is no unit, a sign between thousands. A
// number without a unit that is too much for bar is refused.
func TypedPressure(text string) (bar float64, note string, err error) {
	return typed(text, (*builder).pressure)
}

// TypedLength reads a length in mm, with a note as for TypedPressure. A number
// without a unit that is too short for mm is refused.
func TypedLength(text string) (mm float64, note string, err error) {
	return typed(text, (*builder).length)
}

// TypedHours reads hours from 0 to 1 000 000. 1.234 and 1,234 can be two
// things and are refused.
func TypedHours(text string) (hours float64, err error) {
	var at *float64
	f := hoursField("hours", "Hours", nil, "hours", "", func(*register.ImportRow) **float64 { return &at })
	hours, _, err = typed(text, func(b *builder, c cell) (float64, bool) {
		if f.read(b, c); at == nil {
			return 0, false
		}
		return *at, true
	})
	return hours, err
}

// typed reads a text with no header to go by.
func typed(text string, read func(*builder, cell) (float64, bool)) (v float64, note string, err error) {
	b := &builder{row: &register.ImportRow{}}
	v, ok := read(b, cell{col: &Column{}, text: trimCell(text)})
	if !ok {
		says := "this cannot be read"
		if len(b.row.Errors) > 0 {
			says = strings.ReplaceAll(b.row.Errors[0].Sentence, " or in the header", "")
		}
		return 0, "", errors.New(says)
	}
	notes := make([]string, len(b.row.Notes))
	for i, n := range b.row.Notes {
		notes[i] = n.Sentence
	}
	return v, strings.Join(notes, "; "), nil
}

// StillToCome reports whether a day lies so far ahead of today that it cannot
// be meant for something that has happened; a day ahead is left to time zones.
func StillToCome(d, today quantity.Date) bool {
	return !today.IsZero() && d.After(today.AddDays(1))
}
