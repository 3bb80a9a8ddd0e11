package web

import (
	"time"

	"hoseward/internal/quantity"
)

// Style is the units and the style of dates that pages print in for one
// person. The zero Style is bar, °C, mm and 2026-11-25: that of mails, and of
// whoever chose nothing.
//
// What a hose is rated for is printed by Rated and RatedCelsius, which round
// down, all else by Bar and Celsius.
type Style struct {
	Pressure    quantity.PressureUnit    // empty: bar
	Temperature quantity.TemperatureUnit // empty: °C
	Length      quantity.LengthUnit      // empty: mm
	Dates       quantity.DateStyle       // empty: ISO
}

// Known is the style with what is no unit or no style of dates left out.
func (s Style) Known() Style {
	switch s.Pressure {
	case quantity.Bar, quantity.MPa, quantity.PSI:
	default:
		s.Pressure = ""
	}
	switch s.Temperature {
	case quantity.DegC, quantity.DegF:
	default:
		s.Temperature = ""
	}
	switch s.Length {
	case quantity.MM, quantity.Inch:
	default:
		s.Length = ""
	}
	switch s.Dates {
	case quantity.ISO, quantity.DMY, quantity.DMYSlash, quantity.MDY:
	default:
		s.Dates = ""
	}
	return s
}

// printed is the style by what it prints: two of them print the same if and
// only if they are equal.
func (s Style) printed() Style {
	s = s.Known()
	if s.Pressure == quantity.Bar {
		s.Pressure = ""
	}
	if s.Temperature == quantity.DegC {
		s.Temperature = ""
	}
	if s.Length == quantity.MM {
		s.Length = ""
	}
	if s.Dates == quantity.ISO {
		s.Dates = ""
	}
	return s
}

// Date prints a day, no date as a dash.
func (s Style) Date(d quantity.Date) string {
	if d.IsZero() {
		return None
	}
	return d.Format(s.Dates)
}

// DayOf prints the day of an instant in UTC.
func (s Style) DayOf(t time.Time) string { return s.Date(quantity.DateOf(t, time.UTC)) }

// Period prints a day, month, quarter or year: 2026-11-25, 2026-11, 4Q2026,
// 2026.
func (s Style) Period(p quantity.Period) string {
	if p.IsZero() {
		return Unknown
	}
	return p.Format(s.Dates)
}

// Bar prints a pressure that is kept in bar, in the person's unit.
func (s Style) Bar(v *float64) string {
	if v == nil {
		return Unknown
	}
	return quantity.Pressure(*v).Format(s.Pressure)
}

// Rated prints a rating that is kept in bar, rounded down.
func (s Style) Rated(v *float64) string {
	if v == nil {
		return Unknown
	}
	return quantity.Pressure(*v).FormatRating(s.Pressure)
}

// Celsius prints a temperature that is kept in °C, in the person's unit.
func (s Style) Celsius(v *float64) string {
	if v == nil {
		return Unknown
	}
	return quantity.Temperature(*v).Format(s.Temperature)
}

// RatedCelsius prints the highest temperature something bears, kept in °C,
// rounded down.
func (s Style) RatedCelsius(v *float64) string {
	if v == nil {
		return Unknown
	}
	return quantity.Temperature(*v).FormatRating(s.Temperature)
}

// MM prints a length that is kept in mm, in the person's unit.
func (s Style) MM(v *float64) string {
	if v == nil {
		return Unknown
	}
	return quantity.Length(*v).Format(s.Length)
}

// Band prints from earliest to latest; nothing if both are the same day.
func (s Style) Band(earliest, latest quantity.Date) string {
	switch {
	case earliest == latest:
		return ""
	case latest.IsZero():
		return s.Date(earliest) + " or later"
	case earliest.IsZero():
		return "up to " + s.Date(latest)
	}
	return s.Date(earliest) + " to " + s.Date(latest)
}

// HintDate, HintPressure, HintTemperature and HintLength say under a field how
// it may be filled in, and what a number without its unit is taken for.

// HintDate is the hint of a day.
func (s Style) HintDate() string {
	switch s.Dates {
	case quantity.DMYSlash:
		return "As 25/11/2026 or 2026-11-25."
	case quantity.MDY:
		return "As 11/25/2026 or 2026-11-25."
	}
	return "As 2026-11-25 or 25.11.2026."
}

// HintMonth is the hint of a day that may be known to the month only.
func (s Style) HintMonth() string {
	return s.HintDate()[:len(s.HintDate())-1] + "; if only the month is known, 11/2026."
}

// HintPressure is the hint of a pressure.
func (s Style) HintPressure() string {
	switch s.Pressure {
	case quantity.MPa:
		return "In MPa; or with its unit, 275 bar or 4000 psi."
	case quantity.PSI:
		return "In psi; or with its unit, 275 bar or 27.5 MPa."
	case quantity.Bar:
		return "In bar; or with its unit, 27.5 MPa or 4000 psi."
	}
	return "275 bar, 27.5 MPa or 4000 psi."
}

// HintTemperature is the hint of a temperature.
func (s Style) HintTemperature() string {
	if s.Temperature == quantity.DegF {
		return "In °F; or with its unit, 100 °C."
	}
	return "In °C; or with its unit, 212 °F."
}

// HintLength is the hint of a length.
func (s Style) HintLength() string {
	switch s.Length {
	case quantity.Inch:
		return "In inches, such as 49 1/4; or with its unit, 1250 mm or 1.25 m."
	case quantity.MM:
		return "In mm; or with its unit, 1.25 m or 49 1/4 in."
	}
	return "1250 mm, 1.25 m or 49 1/4 in."
}

// PressureUnit is the unit a pressure without one is in: bar, MPa or psi.
func (s Style) PressureUnit() quantity.PressureUnit {
	if s.Pressure == "" {
		return quantity.Bar
	}
	return s.Pressure
}
