package usage

import (
	"fmt"
	"math"
	"slices"

	"hoseward/internal/quantity"
)

// Bounds and shares of the rate to come; the 180 and 28 days, 30, 15 and 50
// per cent are choices, not a standard.
const (
	windowDays  = 180
	staleDays   = 180
	fewReadings = 3
	fewDays     = 28
	plannedEnds = 0.30 // either side of planned hours
	leastEnds   = 0.15 // either side of a slope, at least
	staleEnds   = 0.50 // either side once readings are old, at least
	horizonDays = 200*365 + 50
)

// New works out the running hours of a machine as known on the day asOf;
// readings and events after it are left out. It returns nil, without an error,
// where nothing says how much the machine runs: no planned hours, and no
// readings that show a rate (one alone, or two that are equal, do not).
// Anything that cannot be true is a *SeriesError; the order of entries changes
// nothing but the index in it.
//
// Between readings hours are spread evenly over the days out of lay-up. Before
// the first reading the machine is taken to have run the larger of planned and
// first slope. The rate to come is that of the window ending at the last
// reading, see rate.
func New(s Series, asOf quantity.Date) (*Hours, error) {
	if asOf.IsZero() {
		return nil, &SeriesError{fieldAsOf, 0, asOf, "the day of the estimate is missing", ErrDate}
	}
	planned, err := s.planned()
	if err != nil {
		return nil, err
	}
	m, err := s.meter(asOf)
	if err != nil {
		return nil, err
	}
	spans, err := s.idleDays(asOf)
	if err != nil {
		return nil, err
	}
	b := builder{asOf: asOf.DayNumber(), planned: planned, knots: m.knots, clock: newClock(spans)}
	b.basis.PlannedPerWeek, b.basis.MeterChanges, b.basis.Offset = planned*7, m.events, m.offset
	b.reconcile()
	if !b.rate() {
		return nil, nil
	}
	b.backward()
	return b.hours(), nil
}

// planned is the planned hours a day, 0 if there are none.
func (s *Series) planned() (float64, error) {
	if s.PlannedPerWeek == nil {
		return 0, nil
	}
	v := *s.PlannedPerWeek
	if !(v >= 0 && v <= 7*hoursPerDay) {
		return 0, &SeriesError{Field: fieldPlanned, Text: fmt.Sprintf("%g hours a week cannot be; enter 0 to 168", v), Kind: ErrValue}
	}
	return v / 7, nil
}

// builder holds what New has worked out so far. Rates are hours a day out of
// lay-up.
type builder struct {
	asOf     int
	planned  float64
	knots    []knot
	clock    clock
	back     float64
	slopeTo  int // knot at which the first slope ends, 0 without one
	ahead    [paths]float64
	basis    Basis
	warnings []Warning
}

// reconcile drops lay-ups from between two knots where the days left over
// could not hold the hours the meter counted: it ran, so it was not laid up
// all that time.
func (b *builder) reconcile() {
	if len(b.clock.idle) == 0 {
		return
	}
	spans := b.clock.idle
	for i := 1; i < len(b.knots); i++ {
		k, l := b.knots[i-1], b.knots[i]
		days := b.clock.active(l.day) - b.clock.active(k.day)
		if l.hours-k.hours <= float64(days)*hoursPerDay+1e-6 {
			continue
		}
		spans = spans.without(span{k.day, l.day})
		b.warnings = append(b.warnings, Warning{WarnRanLaidUp, fmt.Sprintf(
			"From %s to %s the meter counted %s h, more than the days out of lay-up allow; the lay-up was left out of account there. Correct the lay-up or the readings.",
			quantity.DateOfDayNumber(k.day), quantity.DateOfDayNumber(l.day), quantity.FormatNumber(l.hours-k.hours, 1))})
	}
	b.clock = newClock(spans)
}

// rate finds the rate to come from the window that ends at the last reading
// and reaches back 180 days plus one reading:
//
//   - under 3 readings or 28 days out of lay-up: the planned hours, or the plain
//     slope if none are planned, ends 30 % either side;
//   - else the Theil-Sen slope, ends the 10 and 90 % quantiles of the pairwise
//     slopes, at least 15 % either side;
//   - last reading older than 180 days: the larger of that and planned, ends at
//     least 50 % either side.
//
// It is false if nothing says how much the machine runs.
func (b *builder) rate() bool {
	n := len(b.knots)
	if n == 0 {
		b.basis.Method = Planned
		b.ends(b.planned, plannedEnds)
		return b.planned > 0
	}
	last := b.knots[n-1]
	from := 0
	for from < n-1 && b.knots[from+1].day < last.day-windowDays {
		from++
	}
	b.window(b.knots[from:])
	switch {
	case b.basis.Readings >= fewReadings && b.basis.WindowDays >= fewDays:
		b.theilSen(b.knots[from:])
	case b.planned > 0:
		b.basis.Method = Planned
		b.ends(b.planned, plannedEnds)
	case !b.plain(b.knots[from:]) && !b.plain(b.knots):
		return false
	}
	if b.asOf-last.day > staleDays {
		return b.stale(last)
	}
	return true
}

func (b *builder) window(w []knot) {
	first, last := w[0].day, w[len(w)-1].day
	b.basis.Readings = len(w)
	b.basis.WindowFrom, b.basis.WindowTo = quantity.DateOfDayNumber(first), quantity.DateOfDayNumber(last)
	b.basis.WindowDays = float64(b.clock.active(last) - b.clock.active(first))
}

// ends sets likely, and fast and slow that share either side of it.
func (b *builder) ends(likely, share float64) {
	b.ahead = [paths]float64{Fast: likely, Likely: likely, Slow: likely}
	b.widen(share)
}

// widen moves fast and slow apart until they are at least that share either
// side of likely. No machine runs more than 24 h a day.
func (b *builder) widen(share float64) {
	likely := b.ahead[Likely]
	b.basis.Share = share
	b.ahead[Fast] = math.Min(math.Max(b.ahead[Fast], likely*(1+share)), hoursPerDay)
	b.ahead[Slow] = math.Min(b.ahead[Slow], likely*(1-share))
}

// plain sets the rate to last less first of w, and is false where that is not
// above 0: so few readings that do not move say nothing.
func (b *builder) plain(w []knot) bool {
	slope := b.slope(w[0], w[len(w)-1])
	if !(slope > 0) {
		return false
	}
	b.window(w)
	b.basis.Method = Plain
	b.basis.SlopePerWeek = slope * 7
	b.ends(slope, plannedEnds)
	return true
}

// slope is the hours a day out of lay-up from k to l, 0 if there is no such
// day.
func (b *builder) slope(k, l knot) float64 {
	days := b.clock.active(l.day) - b.clock.active(k.day)
	if days <= 0 {
		return 0
	}
	return (l.hours - k.hours) / float64(days)
}

func (b *builder) theilSen(w []knot) {
	xy := make([]float64, 2*len(w))
	x, y := xy[:len(w)], xy[len(w):]
	for i, k := range w {
		x[i], y[i] = float64(b.clock.active(k.day)), k.hours
	}
	q := quantiles(pairSlopes(x, y), [3]float64{0.1, 0.5, 0.9})
	b.basis.Method = TheilSen
	b.basis.Q10PerWeek, b.basis.SlopePerWeek, b.basis.Q90PerWeek = q[0]*7, q[1]*7, q[2]*7
	b.ahead = [paths]float64{Fast: q[2], Likely: q[1], Slow: q[0]}
	b.widen(leastEnds)
}

// stale raises the rate to the planned one and widens its ends. A machine that
// stood still when last seen is not taken to stand still ever since: without
// planned hours its mean over all readings counts.
func (b *builder) stale(last knot) bool {
	b.basis.Stale = true
	if b.planned > b.ahead[Likely] {
		b.ahead[Likely] = b.planned
	}
	if b.ahead[Likely] == 0 {
		fast := b.ahead[Fast]
		if !b.plain(b.knots) {
			return false
		}
		b.ahead[Fast] = math.Max(b.ahead[Fast], fast)
	}
	b.widen(staleEnds)
	b.warnings = append(b.warnings, Warning{WarnStale, fmt.Sprintf(
		"The last hour-meter reading is of %s, %d days ago; the machine is taken to have run %s h a week since. Enter a new reading.",
		quantity.DateOfDayNumber(last.day), b.asOf-last.day, quantity.FormatNumber(b.ahead[Likely]*7, 1))})
	return true
}

// backward finds the rate before the first reading: the larger of planned and
// first slope, never zero. Where both are zero the first slope above zero
// counts; where there is none, the worst case.
func (b *builder) backward() {
	b.basis.BackKnown = true
	if len(b.knots) == 0 {
		b.basis.BackPerWeek = b.planned * 7
		return
	}
	b.basis.First = quantity.DateOfDayNumber(b.knots[0].day)
	b.back = b.planned
	for i := 1; i < len(b.knots); i++ {
		k, l := b.knots[i-1], b.knots[i]
		if b.clock.active(k.day) == b.clock.active(l.day) {
			continue // laid up all that time
		}
		b.back, b.slopeTo = math.Max(b.back, b.slope(k, l)), i
		if b.back > 0 {
			break
		}
	}
	if b.back == 0 {
		b.back, b.basis.BackKnown = hoursPerDay, false
	}
	b.basis.BackPerWeek = b.back * 7
}

// hours lays the breaks: every knot, and every day a lay-up begins or ends.
func (b *builder) hours() *Hours {
	days := make([]int, 0, len(b.knots)+2*len(b.clock.idle)+1)
	for _, k := range b.knots {
		days = append(days, k.day)
	}
	if len(b.knots) == 0 {
		days = append(days, b.asOf)
	}
	for _, s := range b.clock.idle {
		days = append(days, s.from, s.to)
	}
	if len(b.clock.idle) > 0 {
		slices.Sort(days)
		days = slices.Compact(days)
	}
	n := len(days)
	buf := make([]float64, (1+int(paths))*n)
	x := &Hours{t: buf[:n], ahead: b.ahead, seen: b.knots, slopeTo: b.slopeTo, clock: b.clock, basis: b.basis, warnings: b.warnings}
	x.end = math.Min(float64(b.asOf+horizonDays), float64(quantity.MaxDate.DayNumber()+1))
	for i, d := range days {
		x.t[i] = float64(d)
	}
	for p := range paths {
		x.h[p] = buf[(1+int(p))*n : (2+int(p))*n]
		x.back[p] = b.back
		if len(b.knots) == 0 {
			x.back[p] = b.ahead[p]
		}
		b.fill(x.h[p], days, x.back[p], b.ahead[p])
	}
	return x
}

// fill sets h to the hours on days, a rising list that holds every knot.
func (b *builder) fill(h []float64, days []int, back, ahead float64) {
	knots := b.knots
	if len(knots) == 0 {
		knots = []knot{{day: b.asOf}}
	}
	next := 0 // the first knot not before the day
	for i, d := range days {
		for next < len(knots) && knots[next].day < d {
			next++
		}
		at := b.clock.active(d)
		switch {
		case next < len(knots) && knots[next].day == d:
			h[i] = knots[next].hours
		case next == 0:
			h[i] = knots[0].hours - back*float64(b.clock.active(knots[0].day)-at)
		case next == len(knots):
			l := knots[next-1]
			h[i] = l.hours + ahead*float64(at-b.clock.active(l.day))
		default:
			k, l := knots[next-1], knots[next]
			h[i] = math.Min(l.hours, k.hours+b.slope(k, l)*float64(at-b.clock.active(k.day)))
		}
	}
}
