package life

import (
	"slices"
	"strings"

	"hoseward/internal/life/fatigue"
	"hoseward/internal/quantity"
)

// overPercent and curvePercent bound what the pressure-life curve is valid
// for: above the rating a recorded history is needed, above 200 % nothing
// helps (SAE J1927, public summary).
const (
	ratedPercent = 100
	curvePercent = 200
	burstPercent = 400
)

// lowest is the rating of hose and ends, the lowest of those known; 0 if none
// is. [SAE J517, ISO 18752 scopes]
func lowest(a *Assembly) float64 {
	low := 0.0
	for _, v := range [...]*float64{a.Hose.RatedBar, a.EndABar, a.EndBBar} {
		if v != nil && (low == 0 || *v < low) {
			low = *v
		}
	}
	return low
}

// withAdapter is the rating in force under conditions k, 0 if unknown.
func withAdapter(base float64, k *Conditions) float64 {
	if k.AdapterBar != nil && (base == 0 || *k.AdapterBar < base) {
		return *k.AdapterBar
	}
	return base
}

// confirmed reports whether the rating of every part is known.
func confirmed(a *Assembly) bool {
	return a.Hose.RatedBar != nil && a.EndABar != nil && a.EndBBar != nil && !a.Hose.RatingUnconfirmed
}

// highest is the highest pressure named by conditions k, and whether any is.
func highest(k *Conditions) (bar float64, known bool) {
	if k.WorkingBar != nil {
		bar, known = *k.WorkingBar, true
	}
	for i := range k.Cycles {
		bar, known = max(bar, k.Cycles[i].MaxBar), true
	}
	return bar, known || k.NoCycles
}

// lifted reports whether working over the rating is accepted as of asOf: by a
// recorded log, or by a named written assessment attached by then.
func lifted(k *Conditions, asOf quantity.Date) bool {
	return k.Recorded || !k.Assessed.IsZero() && !k.Assessed.After(asOf)
}

// perHour reports whether the row counts cycles per running hour.
func perHour(y *Cycle) bool { return y.Per == "" || y.Per == "hour" }

// curveOf is the pressure-life curve of the hose. Of the reference and the
// hose's own, which both end at 400 % and one cycle, the one with the smaller
// exponent gives every cycle the smaller life, since a cycle below burst wears
// by (range / (burst - lowest))^exponent, and that ratio is below 1. Test:
// TestCurve_SmallerLifeCycleByCycle.
func curveOf(a *Assembly) fatigue.Curve {
	c := fatigue.Reference()
	own, ok := ownCurve(&a.Hose)
	if ok && (a.Policy.OwnCurveAlone || own.Exponent() < c.Exponent()) {
		return own
	}
	return c
}

func ownCurve(h *Hose) (fatigue.Curve, bool) {
	if h.ImpulsePercent == nil || h.ImpulseCycles == nil {
		return fatigue.Curve{}, false
	}
	c, err := fatigue.NewCurve(burstPercent, *h.ImpulsePercent, *h.ImpulseCycles)
	return c, err == nil
}

// hasCurve reports whether a construction has a pressure-life curve: one with
// wire reinforcement, and one that is unknown or not understood, since a word
// that says nothing of the reinforcement must not take the clock away.
func hasCurve(construction string) bool {
	wire, known := reinforcement(construction)
	return wire || !known
}

// reinforcement reads from a construction whether wire bears the pressure, and
// whether it says so at all. A suction hose's helix keeps it open and bears no
// pressure.
func reinforcement(construction string) (wire, known bool) {
	switch construction {
	case "":
		return false, false
	case "wire braid", "wire spiral":
		return true, true
	}
	s := strings.ToLower(construction)
	says := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(s, w) })
	}
	switch {
	case says("suction", "helix", "helical"):
		return false, true
	case says("wire", "steel"):
		return true, true
	}
	return false, says("textil", "thermoplast", "fibre", "fiber")
}

// damageLimit is the limit of the damage sum: that of the policy, 0.5 where it
// has none, halved where a burst can hurt someone and halved again where the
// rating is unconfirmed.
func damageLimit(a *Assembly, ratingConfirmed bool) float64 {
	l := DefaultDamageLimit
	if a.Policy.DamageLimit != nil {
		l = *a.Policy.DamageLimit
	}
	if a.CanHurt {
		l /= 2
	}
	if !ratingConfirmed {
		l /= 2
	}
	return l
}

// assumedFactor multiplies the damage of cycles that were not recorded.
func assumedFactor(p *Policy) float64 {
	if p.AssumedFactor != nil {
		return *p.AssumedFactor
	}
	return DefaultAssumedFactor
}

// reference is the exponent of the reference curve.
func (c *calc) reference() float64 { return fatigue.Reference().Exponent() }
