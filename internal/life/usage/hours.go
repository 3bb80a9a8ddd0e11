package usage

import (
	"math"
	"sort"

	"hoseward/internal/quantity"
)

// Path is one of the three lines of hours.
type Path int

// The paths. They are the same up to the last reading.
const (
	Fast   Path = iota // as much as may be: due dates come earliest
	Likely             // the middle
	Slow               // as little as may be
	paths
)

// Hours are the running hours of one machine by instant, on each path. It is
// made by New, never changes and may be shared.
type Hours struct {
	// t are the instants at which the rate may change, rising; h are the hours
	// at them, per path.
	t     []float64
	h     [paths][]float64
	back  [paths]float64 // hours a day before t[0]
	ahead [paths]float64 // hours a day after the last t
	end   float64        // no question is answered past this instant

	seen    []knot
	slopeTo int // index in seen at which the first slope ends, 0 without one
	clock   clock

	basis    Basis
	warnings []Warning
}

// Warning is a code and a sentence for people.
type Warning struct{ Code, Text string }

// The codes of warnings.
const (
	// WarnStale: the last reading is more than 180 days old.
	WarnStale = "readings-stale"
	// WarnRanLaidUp: the meter moved more in a time than the days out of
	// lay-up allow; the lay-up was left out of account there.
	WarnRanLaidUp = "ran-while-laid-up"
)

// Method says where the rate to come is from.
type Method string

// The methods.
const (
	Planned  Method = "planned"   // the planned hours per week
	Plain    Method = "plain"     // last less first over the days between, for want of a plan
	TheilSen Method = "theil-sen" // the median of pairwise slopes
)

// Basis is how the rate to come was found, for the working.
type Basis struct {
	Method Method
	// Readings are the observations in the window, WindowFrom and WindowTo its
	// first and last; no dates if there are none.
	Readings             int
	WindowFrom, WindowTo quantity.Date
	// WindowDays are the days in the window out of lay-up.
	WindowDays float64
	// SlopePerWeek is the rate of the window, median or plain, as Method says,
	// and Q10PerWeek, Q90PerWeek the quantiles of its pairwise slopes with
	// TheilSen; zeros where not used.
	SlopePerWeek, Q10PerWeek, Q90PerWeek float64
	PlannedPerWeek                       float64 // 0 if none planned
	Stale                                bool
	// Share is how far fast and slow lie at least either side of the rate to
	// come, as a share of it.
	Share float64
	// MeterChanges counts the changes of meter, and Offset is how much the
	// running total is above what the meter shows after the last of them.
	MeterChanges int
	Offset       float64
	// First is the day of the first observation, no date if there is none;
	// before it the machine is taken to have run BackPerWeek.
	First       quantity.Date
	BackPerWeek float64
	// BackKnown is false where nothing says how much the machine ran before
	// First (a meter that never moved and no plan). BackPerWeek is then the
	// worst case, 168: what depends on it is better called missing.
	BackKnown bool
}

// At is the running hours at the instant t: what a meter that was never
// replaced would show. Before the first reading it may be below zero; only
// differences mean something. With no reading at all the day of the estimate
// counts as zero. NaN gives NaN.
func (x *Hours) At(p Path, t float64) float64 {
	n := len(x.t)
	if t <= x.t[0] {
		return x.h[p][0] - x.back[p]*(x.t[0]-t)
	}
	if t >= x.t[n-1] {
		return x.h[p][n-1] + x.ahead[p]*(t-x.t[n-1])
	}
	i := x.after(t)
	return x.within(p, i, t)
}

// after is the first break past t, which must lie within the breaks.
func (x *Hours) after(t float64) int {
	lo, hi := 0, len(x.t)
	for lo < hi {
		mid := int(uint(lo+hi) >> 1)
		if x.t[mid] > t {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

func (x *Hours) within(p Path, i int, t float64) float64 {
	t0, t1, h0, h1 := x.t[i-1], x.t[i], x.h[p][i-1], x.h[p][i]
	return h0 + (h1-h0)*((t-t0)/(t1-t0))
}

// Between is the hours that run from t0 to t1, never below zero; 0 if t1 is
// not after t0.
func (x *Hours) Between(p Path, t0, t1 float64) float64 {
	if !(t1 > t0) {
		return 0
	}
	return math.Max(0, x.At(p, t1)-x.At(p, t0))
}

// When is the first instant at or after t0 at which that many more hours have
// run; t0 itself for hours not above 0. ok is false if that is not within 200
// years after the day of the estimate.
func (x *Hours) When(p Path, t0, hours float64) (t float64, ok bool) {
	return x.First(p, t0, 0, 1, hours)
}

// First is the first instant t at or after t0 with
//
//	perDay (t - t0) + perHour Between(t0, t) >= target
//
// which answers for anything that wears with time and with running hours at
// once. perDay and perHour are not below 0. t0 itself for a target not above
// 0. ok is false if there is no such instant within 200 years after the day
// of the estimate, and for NaN.
func (x *Hours) First(p Path, t0, perDay, perHour, target float64) (t float64, ok bool) {
	if !(perDay >= 0 && perHour >= 0) || math.IsNaN(t0) || math.IsNaN(target) || math.IsInf(t0, 0) {
		return 0, false
	}
	if target <= 0 {
		return t0, true
	}
	// worn is how much is worn at break i since t0, rising with i.
	h0 := x.At(p, t0)
	worn := func(i int) float64 { return perDay*(x.t[i]-t0) + perHour*(x.h[p][i]-h0) }
	n := len(x.t)
	first := sort.Search(n, func(i int) bool { return x.t[i] > t0 && worn(i) >= target })
	// Solve on the stretch that ends at break first; it begins at the break
	// before, or at t0 if that is later.
	begin, done, rate := t0, 0.0, x.ahead[p]
	if first > 0 && x.t[first-1] > t0 {
		begin, done = x.t[first-1], worn(first-1)
	}
	if first < n {
		rate = x.rateBefore(p, first)
	}
	speed := perDay + perHour*rate
	if !(speed > 0) {
		if first < n { // the stretch is flat: rounding put its end a hair over
			return x.t[first], true
		}
		return 0, false
	}
	t = begin + (target-done)/speed
	if first < n {
		t = math.Min(t, x.t[first])
	}
	t = math.Max(t, t0)
	return t, t <= x.end
}

// rateBefore is the hours a day on the stretch that ends at break i.
func (x *Hours) rateBefore(p Path, i int) float64 {
	if i == 0 {
		return x.back[p]
	}
	return (x.h[p][i] - x.h[p][i-1]) / (x.t[i] - x.t[i-1])
}

// Stretch is the rate in hours a day that holds from the instant t on, and the
// instant it holds until, +Inf for the last one. Walking from stretch to
// stretch visits every change of rate.
func (x *Hours) Stretch(p Path, t float64) (perDay, until float64) {
	n := len(x.t)
	if t >= x.t[n-1] {
		return x.ahead[p], math.Inf(1)
	}
	i := x.after(t)
	return x.rateBefore(p, i), x.t[i]
}

// Breaks are the instants at which the rate may change, rising, the same on
// every path. The slice is shared and must not be written to.
func (x *Hours) Breaks() []float64 { return x.t }

// PerWeek is the rate to come in hours per week out of lay-up.
func (x *Hours) PerWeek(p Path) float64 { return x.ahead[p] * 7 }

// Warnings are what people should know of these hours.
func (x *Hours) Warnings() []Warning { return x.warnings }

// Basis is how the rate to come was found.
func (x *Hours) Basis() Basis { return x.basis }
