package quantity

import (
	"fmt"
	"strconv"
	"strings"
)

// Pressure is a gauge pressure in bar.
type Pressure float64

// Conversions to bar. The psi is the pound-force per square inch: 0.45359237
// kg x 9.80665 m/s2 over (0.0254 m)2 (ISO 80000-4 Annex, exact by definition),
// 6894.757293168 Pa.
const (
	BarPerMPa = 10
	BarPerPSI = 0.06894757293168361
)

// PressureUnit is a unit that pressures are written in.
type PressureUnit string

// The pressure units.
const (
	Bar PressureUnit = "bar"
	MPa PressureUnit = "MPa"
	PSI PressureUnit = "psi"
)

// In is the pressure in the given unit.
func (p Pressure) In(u PressureUnit) float64 {
	switch u {
	case MPa:
		return float64(p) / BarPerMPa
	case PSI:
		return float64(p) / BarPerPSI
	}
	return float64(p)
}

// PressureOf is v in the given unit as a Pressure.
func PressureOf(v float64, u PressureUnit) Pressure {
	switch u {
	case MPa:
		return Pressure(v * BarPerMPa)
	case PSI:
		return Pressure(v * BarPerPSI)
	}
	return Pressure(v)
}

// String prints the pressure in bar with all digits that matter, so that
// ParsePressure reads the same value back.
func (p Pressure) String() string {
	return strconv.FormatFloat(float64(p), 'f', -1, 64) + " bar"
}

// MaxPressure is the highest pressure taken for one: above it a number is a
// slip of the keyboard. Ultra-high-pressure water hose ends near 4 000 bar.
const MaxPressure Pressure = 10000

// ParsePressure reads a number with a unit: 275 bar, 27.5 MPa, 4000 psi,
// 27,5MPa, 330bar. Without a unit the given one is taken; if that is empty, a
// unit is required. In psi, which is never written with three decimals, 4,000
// is four thousand. Negative values and values over MaxPressure are errors.
func ParsePressure(s string, assumed PressureUnit) (Pressure, error) {
	num, unit := splitUnit(s)
	if num == "" {
		if strings.TrimSpace(s) == "" {
			return 0, fmt.Errorf("empty, expected a pressure such as 275 bar")
		}
		return 0, fmt.Errorf("%q is not a number with a pressure unit; write it as 275 bar, 27.5 MPa or 4000 psi", clip(strings.TrimSpace(s)))
	}
	u := assumed
	if unit != "" {
		var ok bool
		if u, ok = pressureUnit(unit); !ok {
			return 0, fmt.Errorf("%q: unknown pressure unit %q; use bar, MPa or psi", clip(s), clip(unit))
		}
	}
	if u == "" {
		return 0, fmt.Errorf("%q has no unit; write bar, MPa or psi behind the number", clip(s))
	}
	if u == PSI && psiThousands(num) {
		num = strings.Replace(num, ",", "", 1)
	}
	v, err := ParseNumber(num)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number with a pressure unit; write it as 275 bar, 27.5 MPa or 4000 psi", clip(strings.TrimSpace(s)))
	}
	p := PressureOf(v, u)
	if strings.EqualFold(unit, "kpa") {
		p = Pressure(v / 100)
	}
	if p < 0 {
		return 0, fmt.Errorf("%q: a pressure cannot be below zero here", clip(s))
	}
	if p > MaxPressure {
		return 0, fmt.Errorf("%q is more than %s, too much for any hose; check number and unit", clip(s), MaxPressure)
	}
	return p, nil
}

// psiThousands recognises 4,000: one comma with three digits behind it.
func psiThousands(num string) bool {
	i := strings.IndexByte(num, ',')
	return i > 0 && num[0] != '0' && len(num) == i+4 && isDigits(num[:i]) && isDigits(num[i+1:])
}

func pressureUnit(s string) (PressureUnit, bool) {
	switch strings.ToLower(strings.TrimSuffix(s, ".")) {
	case "bar", "bars", "barg", "bar(g)":
		return Bar, true
	case "mpa":
		return MPa, true
	case "kpa":
		return Bar, true
	case "psi", "psig", "lbf/in2", "lb/in2":
		return PSI, true
	}
	return "", false
}

// plainNumber brings the spaces and the minus sign of typesetting to plain ones.
var plainNumber = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "−", "-")

// splitUnit separates a leading number from what follows it.
func splitUnit(s string) (number, unit string) {
	t := strings.TrimSpace(plainNumber.Replace(s))
	i := 0
	for i < len(t) {
		c := t[i]
		if c >= '0' && c <= '9' || c == '.' || c == ',' || c == '+' || c == '-' || c == '\'' {
			i++
			continue
		}
		if c == ' ' && i+1 < len(t) && t[i+1] >= '0' && t[i+1] <= '9' && i > 0 {
			i++ // a space inside a number: 4 000
			continue
		}
		break
	}
	return strings.TrimSpace(t[:i]), strings.TrimSpace(t[i:])
}
