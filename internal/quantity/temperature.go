package quantity

import (
	"fmt"
	"strconv"
	"strings"
)

// Temperature is a temperature in degrees Celsius.
type Temperature float64

// AbsoluteZero is 0 K in degrees Celsius, by definition of the Celsius scale.
const AbsoluteZero Temperature = -273.15

// TemperatureUnit is a unit that temperatures are written in.
type TemperatureUnit string

// The temperature units.
const (
	DegC TemperatureUnit = "degC"
	DegF TemperatureUnit = "degF"
)

// In is the temperature in the given unit.
func (t Temperature) In(u TemperatureUnit) float64 {
	if u == DegF {
		return float64(t)*9/5 + 32
	}
	return float64(t)
}

// Kelvin is the thermodynamic temperature.
func (t Temperature) Kelvin() float64 { return float64(t - AbsoluteZero) }

// String prints the temperature so that ParseTemperature reads the same back.
func (t Temperature) String() string {
	return strconv.FormatFloat(float64(t), 'f', -1, 64) + " °C"
}

// The range a service temperature must lie in: beyond it the number is a slip.
const (
	MinTemperature Temperature = -100
	MaxTemperature Temperature = 400
)

// ParseTemperature reads a number with °C, C, degC, °F, F, degF or K; without
// a unit the given one is taken. Values outside MinTemperature to
// MaxTemperature are errors.
func ParseTemperature(s string, assumed TemperatureUnit) (Temperature, error) {
	num, unit := splitUnit(s)
	v, err := ParseNumber(num)
	if err != nil {
		return 0, fmt.Errorf("%q is not a temperature; write it as 80 °C or 176 °F", clip(strings.TrimSpace(s)))
	}
	var t Temperature
	switch strings.ToLower(strings.NewReplacer("°", "", "º", "", "deg", "", " ", "").Replace(unit)) {
	case "c", "celsius":
		t = Temperature(v)
	case "f", "fahrenheit":
		t = fromF(v)
	case "k", "kelvin":
		t = Temperature(v) + AbsoluteZero
	case "":
		t = Temperature(v)
		if assumed == DegF {
			t = fromF(v)
		}
	default:
		return 0, fmt.Errorf("%q: unknown temperature unit %q; use °C or °F", clip(s), clip(unit))
	}
	if t < MinTemperature || t > MaxTemperature {
		return 0, fmt.Errorf("%q is outside -100 to 400 °C; check number and unit", clip(strings.TrimSpace(s)))
	}
	return t, nil
}

func fromF(v float64) Temperature { return Temperature((v - 32) * 5 / 9) }
