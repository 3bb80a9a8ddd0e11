package quantity

import (
	"math"
	"strconv"
)

// Printing rounds to what a reader of the unit can use, but a number that was
// typed in that unit with a few digits more is printed as it was typed: 4000
// psi is kept as 275.7902917 bar and is 4000 psi again, not 3999.
//
//	unit      usual decimals   kept if exact
//	bar       1                2
//	MPa       2                2
//	psi       0                1
//	°C        1                2
//	°F        0                1
//	mm        1                2
//	in        sixteenths, else 2
//
// Three decimals are never printed: forms read them as thousands.
//
// What a hose is rated for is rounded down in every unit, never up, so that no
// conversion makes it look stronger or more heat-proof than it is.
// Tests: TestFormat_*, TestFormatRating_*.

// rounding says to which side a printed number may differ from the true one.
type rounding int

const (
	nearest rounding = iota
	down
)

// decimals prints v with the usual number of decimals, or with up to most where
// these say it exactly; no trailing zeros.
func decimals(v float64, usual, most int, r rounding) string {
	for d := 0; d <= most; d++ {
		if nearWhole(v * math.Pow10(d)) {
			return FormatNumber(v, d)
		}
	}
	if r == down {
		scale := math.Pow10(usual)
		v = math.Floor(v*scale) / scale
	}
	return FormatNumber(v, usual)
}

// nearWhole reports whether v is a whole number but for what converting to and
// fro between units leaves behind.
func nearWhole(v float64) bool {
	return math.Abs(v-math.Round(v)) <= 1e-12*max(1, math.Abs(v))
}

// Format prints the pressure with its unit, rounded to 0.1 bar, 0.01 MPa or
// 1 psi.
func (p Pressure) Format(u PressureUnit) string { return p.print(u, nearest) }

// FormatRating is Format for a pressure a part may be worked at: rounded down.
func (p Pressure) FormatRating(u PressureUnit) string { return p.print(u, down) }

func (p Pressure) print(u PressureUnit, r rounding) string {
	switch u {
	case MPa:
		return decimals(p.In(MPa), 2, 2, r) + " MPa"
	case PSI:
		return decimals(p.In(PSI), 0, 1, r) + " psi"
	}
	return decimals(float64(p), 1, 2, r) + " bar"
}

// Format prints the temperature with its unit, rounded to 0.1 °C or 1 °F.
func (t Temperature) Format(u TemperatureUnit) string { return t.print(u, nearest) }

// FormatRating is Format for the highest temperature a part may have: rounded
// down.
func (t Temperature) FormatRating(u TemperatureUnit) string { return t.print(u, down) }

func (t Temperature) print(u TemperatureUnit, r rounding) string {
	if u == DegF {
		return decimals(t.In(DegF), 0, 1, r) + " °F"
	}
	return decimals(float64(t), 1, 2, r) + " °C"
}

// sixteenthMM is how far, in mm, a length may be from a sixteenth of an inch to
// be printed as one: half of what a length in mm is rounded to.
const sixteenthMM = 0.05

// Format prints the length with its unit: rounded to 0.1 mm, or in inches as
// the trade writes them, 49 1/4 in, where a sixteenth says it to 0.05 mm, else
// in decimals, 49.21 in.
func (l Length) Format(u LengthUnit) string {
	if u != Inch {
		return decimals(float64(l), 1, 2, nearest) + " mm"
	}
	v := l.In(Inch)
	n := math.Round(v * 16)
	switch {
	case nearWhole(v * 16):
	case nearWhole(v * 100): // typed so
		return FormatNumber(v, 2) + " in"
	case math.Abs(v*16-n)/16*MMPerInch > sixteenthMM:
		return FormatNumber(v, 2) + " in"
	}
	return sixteenths(int64(n)) + " in"
}

// sixteenths prints n/16 as a mixed fraction in lowest terms.
func sixteenths(n int64) string {
	whole, part, of := n/16, n%16, int64(16)
	if part == 0 {
		return strconv.FormatInt(whole, 10)
	}
	for part%2 == 0 {
		part, of = part/2, of/2
	}
	fraction := strconv.FormatInt(part, 10) + "/" + strconv.FormatInt(of, 10)
	if whole == 0 {
		return fraction
	}
	return strconv.FormatInt(whole, 10) + " " + fraction
}
