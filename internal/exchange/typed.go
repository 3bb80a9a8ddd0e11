package exchange

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// What a person types into a form is read as a cell of a sheet is, so that one
// text means one thing.

// TypedPressure reads a pressure in bar. A number without a unit is in the unit
// given; if that is empty, bar is taken and said. note, if not empty, says what
// was taken for granted: bar, a sign between thousands. A number without a unit
// that is too much for its unit is refused.
func TypedPressure(text string, unit quantity.PressureUnit) (bar float64, note string, err error) {
	bar, note, err = typed(text, string(unit), (*builder).pressure)
	if err == nil && unit != "" && bar > highestBareBar && bare(text) {
		return 0, "", fmt.Errorf("%s has no unit and is too much for %s; write bar, MPa or psi behind it", clipText(text), unit)
	}
	return bar, note, err
}

// TypedLength reads a length in mm, with a unit and a note as for
// TypedPressure. A number without a unit that is too short for mm is refused.
func TypedLength(text string, unit quantity.LengthUnit) (mm float64, note string, err error) {
	mm, note, err = typed(text, string(unit), (*builder).length)
	if err == nil && unit == quantity.MM && mm < shortestBareMM && bare(text) {
		return 0, "", fmt.Errorf("%s has no unit and is too short for mm; write mm, m or in behind it", clipText(text))
	}
	return mm, note, err
}

// bare reports whether a text is a number without a unit.
func bare(text string) bool {
	_, unit := cell{text: trimCell(text)}.parts()
	return unit == ""
}

// TypedHours reads hours from 0 to 1 000 000. 1.234 and 1,234 can be two
// things and are refused.
func TypedHours(text string) (hours float64, err error) {
	var at *float64
	f := hoursField("hours", "Hours", nil, "hours", "", func(*register.ImportRow) **float64 { return &at })
	hours, _, err = typed(text, "", func(b *builder, c cell) (float64, bool) {
		if f.read(b, c); at == nil {
			return 0, false
		}
		return *at, true
	})
	return hours, err
}

// TypedReading reads what an hour meter shows, as TypedHours does, beside the
// last reading, which may be nil. 1,234 is a thousand and more where that is
// nearer to the last reading and 1.234 lies below it: a meter does not run back.
func TypedReading(text string, last *float64) (hours float64, err error) {
	number, unit := cell{text: trimCell(text)}.parts()
	if last == nil || !grouped(number) {
		return TypedHours(text)
	}
	whole := strings.NewReplacer(",", "", ".", "").Replace(number)
	high, err := TypedHours(strings.TrimSpace(whole + " " + unit))
	if err != nil {
		return 0, err
	}
	low := high / 1000
	if low >= *last || math.Abs(high-*last) >= *last-low {
		return TypedHours(text)
	}
	return high, nil
}

// typed reads a text under a header that says nothing but perhaps a unit.
func typed(text, unit string, read func(*builder, cell) (float64, bool)) (v float64, note string, err error) {
	b := &builder{row: &register.ImportRow{}}
	v, ok := read(b, cell{col: &Column{Unit: unit}, text: trimCell(text)})
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
