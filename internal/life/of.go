package life

import (
	"math"
	"slices"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// horizonMonths is how far ahead of the day of the estimate a due date may
// lie; a clock that runs longer does not run out.
const horizonMonths = 1200

// paths are the three paths of hours in the order of usage.Path.
var paths = [...]usage.Path{usage.Fast, usage.Likely, usage.Slow}

// Of is the estimate of a as of the day asOf: every clock, the due date and
// its band, the next inspection, warnings. It is a pure function: the order of
// conditions, cycles, temperatures, stints and findings changes nothing.
// Numbers in it are finite. Bad input is a *FieldError.
//
// The estimate shares no memory with a.
func Of(a *Assembly, asOf quantity.Date) (Estimate, error) {
	if err := check(a, asOf); err != nil {
		return Estimate{}, err
	}
	var c calc
	c.prepare(a, asOf)
	return c.estimate(), nil
}

// calc is an estimate being worked out.
type calc struct {
	a         *Assembly
	asOf      quantity.Date
	end       quantity.Date // horizon
	ages      ages
	limits    limits
	model     model
	confirmed bool
	wear      wear // no pieces if never fitted
	sums      sums // worn as of asOf on the middle path
	inStore   bool

	block    *block
	n        int                 // clocks so far
	due      [7][3]quantity.Date // their dates per path
	nums     int
	pieceBuf [6]piece
	dutyBuf  [4]duty
}

// block holds what an estimate points to, so that it is one allocation. The
// clocks set 16 numbers at most, the estimate 4.
type block struct {
	clocks [7]Clock
	nums   [20]float64
}

// prepare works out everything the clocks share.
func (c *calc) prepare(a *Assembly, asOf quantity.Date) {
	c.a, c.asOf, c.end = a, asOf, asOf.AddMonths(horizonMonths)
	c.ages = agesOf(a)
	c.limits = limitsOf(a, &c.ages)
	c.model = modelOf(a)
	c.confirmed = confirmed(a)
	c.wear = wear{now: float64(asOf.DayNumber()), pieces: c.pieceBuf[:0], duties: c.dutyBuf[:0]}
	c.inStore = a.Fitted.IsZero()
	if c.inStore {
		return
	}
	for i := range a.Conditions {
		c.wear.duties = append(c.wear.duties, c.model.dutyOf(&a.Conditions[i]))
	}
	slices.SortFunc(c.wear.duties, func(x, y duty) int { return x.row.From.Compare(y.row.From) })
	b := builder{w: &c.wear, a: a, asOf: asOf}
	b.lay()
	c.sums = c.wear.at(usage.Likely, c.wear.now)
	p := c.wear.current()
	c.inStore = p == nil || !p.worked
}

// num stores a number where the estimate can point to it.
func (c *calc) num(v float64) *float64 {
	p := &c.block.nums[c.nums]
	*p = v
	c.nums++
	return p
}

// clock adds a clock with its dates on the fast, middle and slow path.
func (c *calc) clock(k Clock, due [3]quantity.Date) {
	for i := range due {
		if due[i].After(c.end) {
			due[i] = quantity.Date{}
		}
	}
	k.Due = due[usage.Likely]
	c.block.clocks[c.n], c.due[c.n] = k, due
	c.n++
}

// same is the same date on every path.
func same(d quantity.Date) [3]quantity.Date { return [3]quantity.Date{d, d, d} }

// each is the day a mix comes to target, per path.
func (c *calc) each(m mix, target float64) (due [3]quantity.Date) {
	for _, p := range paths {
		due[p] = dayOf(c.wear.first(p, m, target))
	}
	return due
}

func (c *calc) estimate() Estimate {
	c.block = new(block)
	c.condition()
	fitted := !c.a.Fitted.IsZero()
	if fitted {
		c.rating()
	}
	c.calendar()
	if fitted {
		c.heat()
		c.hours()
		c.pressure()
		c.combined()
	}
	e := Estimate{
		ID: c.a.ID, AsOf: c.asOf, RatingConfirmed: c.confirmed, Complete: true,
		Clocks: c.block.clocks[:c.n:c.n], StopOpen: stopOpen(c.a, c.asOf),
	}
	for i := range e.Clocks {
		e.Complete = e.Complete && len(e.Clocks[i].Missing) == 0
	}
	if bar := c.ratingNow(); bar > 0 {
		e.RatedBar = c.num(bar)
	}
	c.fillHours(&e)
	e.InspectionDue = c.inspection()
	if c.inStore {
		e.Status = StatusInStore
		e.StoreUntil = c.storeUntil()
	} else {
		c.fillDue(&e)
	}
	e.Warnings = c.warnings()
	return e
}

// fillDue sets due date, band, governing clock and status.
func (c *calc) fillDue(e *Estimate) {
	for i := range e.Clocks {
		likely := c.due[i][usage.Likely]
		if !likely.IsZero() && (e.Due.IsZero() || likely.Before(e.Due)) {
			e.Due, e.Governing = likely, e.Clocks[i].Name
		}
		e.Earliest = quantity.Earliest(e.Earliest, c.due[i][usage.Fast])
		e.Latest = quantity.Earliest(e.Latest, c.due[i][usage.Slow])
	}
	due := e.Due
	if c.a.CanHurt {
		due = e.Earliest
	}
	e.Status = StatusOn(e.StopOpen, due, c.asOf)
}

// fillHours sets the hours of the estimate.
func (c *calc) fillHours(e *Estimate) {
	if c.a.Fitted.IsZero() || c.wear.noHours || c.wear.noEarly {
		c.fillMachine(e)
		return
	}
	e.HoursSinceFitting = c.num(c.sums.hours)
	c.fillMachine(e)
}

func (c *calc) fillMachine(e *Estimate) {
	p := c.wear.current()
	if p == nil || p.hours == nil {
		return
	}
	e.HoursPerWeek = c.num(p.hours.PerWeek(usage.Likely))
	e.HoursNow = e.HoursSinceFitting
	if !p.hours.Basis().First.IsZero() {
		e.HoursNow = c.num(p.hours.At(usage.Likely, c.wear.now))
	}
}

// dutyNow is the duty in force on the day of the estimate, nil if there is
// none.
func (c *calc) dutyNow() *duty {
	p := c.wear.current()
	if p == nil || p.duty < 0 {
		return nil
	}
	return &c.wear.duties[p.duty]
}

// ratingNow is the rating in force, 0 if unknown.
func (c *calc) ratingNow() float64 {
	if d := c.dutyNow(); d != nil {
		return d.rated
	}
	return c.model.base
}

// share is part over whole, for used.
func share(part, whole float64) float64 {
	return math.Max(0, part) / whole
}
