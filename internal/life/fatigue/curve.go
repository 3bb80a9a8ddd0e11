package fatigue

import (
	"errors"
	"fmt"
	"math"
)

// Curve is a pressure-life curve: a straight line on log-log axes through
// (burst, 1 cycle) and (impulse pressure, impulse cycles), both pressures in
// per cent of the rating, for cycles that start at zero. The zero Curve calls
// every cycle the last one. Curves compare with ==.
type Curve struct {
	burst, impulse, cycles float64
	exponent               float64
}

// Reference is the reference curve of SAE J1927, 400 % of the rating at 1
// cycle and 133 % (not 133 1/3) at 200 000, as a public summary of the report
// gives it; the report itself was not read. The exponent is 11.0851891057.
// Test: TestReference_ComputedLives.
func Reference() Curve {
	return Curve{burst: 400, impulse: 133, cycles: 200000, exponent: slope(400, 133, 200000)}
}

// Bounds of what is taken for a curve. Beyond them a number is a slip, and
// the exponent would leave the range in which lives are finite numbers.
const (
	maxBurstPercent = 10000
	maxCycles       = 1e12
	maxExponent     = 60
)

// NewCurve makes the curve through (burstPercent, 1) and (impulsePercent,
// impulseCycles). Per cents are of the rating; 0 < impulse < burst, burst at
// most 10 000 %, more than 1 cycle and at most 1e12, and the exponent that
// follows at most 60. Anything else, NaN too, is a *FieldError.
func NewCurve(burstPercent, impulsePercent, impulseCycles float64) (Curve, error) {
	if !(burstPercent > 0 && burstPercent <= maxBurstPercent) {
		return Curve{}, fieldError("burst_percent", burstPercent, "must be above 0 and at most 10 000 % of the rating", ErrCurve)
	}
	if !(impulsePercent > 0 && impulsePercent < burstPercent) {
		return Curve{}, fieldError("impulse_percent", impulsePercent, "must be above 0 and below the burst pressure", ErrCurve)
	}
	if !(impulseCycles > 1 && impulseCycles <= maxCycles) {
		return Curve{}, fieldError("impulse_cycles", impulseCycles, "must be above 1 and at most 1e12", ErrCurve)
	}
	m := slope(burstPercent, impulsePercent, impulseCycles)
	if !(m <= maxExponent) {
		return Curve{}, fieldError("impulse_percent", impulsePercent, "is too near the burst pressure for that many cycles", ErrCurve)
	}
	return Curve{burst: burstPercent, impulse: impulsePercent, cycles: impulseCycles, exponent: m}, nil
}

// slope is m = ln(cycles) / ln(burst / impulse).
func slope(burst, impulse, cycles float64) float64 {
	return math.Log(cycles) / math.Log(burst/impulse)
}

// Exponent is m in N = ((B - Pmin) / (Pmax - Pmin))^m.
func (c Curve) Exponent() float64 { return c.exponent }

// BurstBar is B, the burst pressure in bar of a hose rated so, in bar.
func (c Curve) BurstBar(rated float64) float64 { return c.burst / 100 * rated }

// Points returns the two points the curve was made from.
func (c Curve) Points() (burstPercent, impulsePercent, impulseCycles float64) {
	return c.burst, c.impulse, c.cycles
}

// Check says whether a cycle from min to max bar is one the curve can judge
// for a hose rated so, and if not why not, as a *FieldError with the field
// rated_bar, min_bar or max_bar: 0 < rated, max above min and above 0, max
// below the burst pressure, all finite. A min below zero is fine and counts
// as zero.
func (c Curve) Check(rated, min, max float64) error {
	if !(rated > 0) || math.IsInf(rated, 0) {
		return fieldError("rated_bar", rated, "must be above 0 bar", ErrCycle)
	}
	if math.IsNaN(min) || math.IsInf(min, 0) {
		return fieldError("min_bar", min, "is not a pressure", ErrCycle)
	}
	if math.IsNaN(max) || math.IsInf(max, 0) {
		return fieldError("max_bar", max, "is not a pressure", ErrCycle)
	}
	if b := c.BurstBar(rated); max >= b {
		return fieldError("max_bar", max, fmt.Sprintf("is at or above the burst pressure of %g bar", b), ErrBurst)
	}
	if min >= max {
		return fieldError("min_bar", min, fmt.Sprintf("must be below the highest pressure, %g bar", max), ErrCycle)
	}
	if max <= 0 {
		return fieldError("max_bar", max, "must be above 0 bar", ErrCycle)
	}
	return nil
}

// CyclesToFailure is the number of cycles from min to max bar that a hose
// rated so stands:
//
//	N = ((B - Pmin) / (Pmax - Pmin))^m      0 <= Pmin < Pmax < B
//
// the curve with Goodman's line for cycles that do not start at zero. A min
// below zero counts as zero. It is at least 1 and never more than the largest
// finite number. Errors: those of Check. Test: TestReference_ComputedLives.
func (c Curve) CyclesToFailure(rated, min, max float64) (float64, error) {
	if err := c.Check(rated, min, max); err != nil {
		return 0, err
	}
	lo := math.Max(min, 0)
	return math.Min(math.Pow((c.BurstBar(rated)-lo)/(max-lo), c.exponent), math.MaxFloat64), nil
}

// Damage is 1/N, the share of the life that one cycle uses, for loops whose
// input passed Check. Outside that domain it errs on the strict side: max at
// or above the burst pressure, or NaN anywhere in rated or max, is 1; a min
// that is NaN counts as zero; only a cycle that is none (max at or below min,
// or at or below zero) is 0.
func (c Curve) Damage(rated, min, max float64) float64 {
	b := c.BurstBar(rated)
	if !(max < b) {
		return 1
	}
	if !(min > 0) {
		min = 0
	}
	if max <= min {
		return 0
	}
	return math.Pow((max-min)/(b-min), c.exponent)
}

// EquivalentBar is the zero-to-peak pressure that wears as much as the cycle:
// B (Pmax - Pmin) / (B - Pmin). Domain and errors as for CyclesToFailure.
func (c Curve) EquivalentBar(rated, min, max float64) (float64, error) {
	if err := c.Check(rated, min, max); err != nil {
		return 0, err
	}
	lo, b := math.Max(min, 0), c.BurstBar(rated)
	return b * (max - lo) / (b - lo), nil
}

// MinLife is the smallest of the lives the curves give one cycle, and the
// index of the curve that gave it, the first of equals. Errors: no curve, or
// those of Check for any of them.
func MinLife(rated, min, max float64, curves ...Curve) (cycles float64, which int, err error) {
	if len(curves) == 0 {
		return 0, 0, fmt.Errorf("life of a cycle: %w", ErrCurve)
	}
	for i, c := range curves {
		n, err := c.CyclesToFailure(rated, min, max)
		if err != nil {
			return 0, 0, err
		}
		if i == 0 || n < cycles {
			cycles, which = n, i
		}
	}
	return cycles, which, nil
}

// MaxDamage is the larger of the damages two curves give one cycle, which is
// one over the smaller life. Domain as for Damage.
func MaxDamage(rated, min, max float64, a, b Curve) float64 {
	if a == b {
		return a.Damage(rated, min, max)
	}
	return math.Max(a.Damage(rated, min, max), b.Damage(rated, min, max))
}

// The kinds of a FieldError, for errors.Is.
var (
	// ErrCurve: no pressure-life curve goes through such points.
	ErrCurve = errors.New("not a pressure-life curve")
	// ErrCycle: not a pressure cycle.
	ErrCycle = errors.New("not a pressure cycle")
	// ErrBurst: the cycle reaches the burst pressure.
	ErrBurst = errors.New("reaches burst pressure")
	// ErrSample: not a sample of a pressure history.
	ErrSample = errors.New("not a pressure sample")
)

// FieldError says which number was refused and why.
type FieldError struct {
	Field string // rated_bar, min_bar, max_bar, burst_percent, ...
	Value float64
	Text  string // "must be ...", "is ..."
	Kind  error  // one of the kinds above
}

// Error is one sentence: field, value, what is wrong.
func (e *FieldError) Error() string { return fmt.Sprintf("%s %g %s", e.Field, e.Value, e.Text) }

// Unwrap gives the kind.
func (e *FieldError) Unwrap() error { return e.Kind }

func fieldError(field string, value float64, text string, kind error) error {
	return &FieldError{Field: field, Value: value, Text: text, Kind: kind}
}
