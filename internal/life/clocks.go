package life

import (
	"math"

	"hoseward/internal/quantity"
)

// Notes beside clocks.
const (
	NoteNoCurve    = "no curve for this construction"
	NoteNoRubber   = "not for a tube of thermoplastic or PTFE"
	NoteNoMonths   = "the policy has no limit in months"
	NoteSeventyTwo = "runs against 72 months from assembly, as the policy has no limit in months"
	NoteNoCycles   = "no pressure cycles"
	NoteOver       = "over rating, not assessed"
	NoteOver200    = "peaks over 200 % of the rating"
	NoteAssessed   = "over rating, recorded or assessed"
)

// missing collects the names of what a clock lacks, each once; nil if it lacks
// nothing.
type missing []string

func (m *missing) when(lacking bool, what string) {
	if lacking {
		m.add(what)
	}
}

func (m *missing) add(what string) {
	for _, have := range *m {
		if have == what {
			return
		}
	}
	*m = append(*m, what)
}

// worked calls f for each duty that is or will be worked under.
func (c *calc) worked(f func(d *duty)) {
	for i := range c.wear.pieces {
		if p := &c.wear.pieces[i]; p.worked && p.duty >= 0 {
			f(&c.wear.duties[p.duty])
		}
	}
}

func (c *calc) lacksHours(m *missing) {
	m.when(c.wear.noHours, MissingHours)
	m.when(c.wear.noEarly, MissingEarlyHours)
}

// overRating is what the rating clock found.
type overRating struct {
	due     quantity.Date
	percent float64
	over    bool // above 100 %, whether accepted or not
	over200 bool
}

// overRated looks for work over the rating: due on the first day of conditions
// above 100 % that are neither recorded nor assessed, or above 200 %.
func (c *calc) overRated() (o overRating) {
	for i := range c.wear.pieces {
		p := &c.wear.pieces[i]
		if !p.worked || p.duty < 0 {
			continue
		}
		d := &c.wear.duties[p.duty]
		o.percent = math.Max(o.percent, d.percent)
		o.over = o.over || d.percent > ratedPercent
		o.over200 = o.over200 || d.percent > curvePercent
		if d.percent > curvePercent || d.percent > ratedPercent && !lifted(d.row, c.asOf) {
			o.due = quantity.Earliest(o.due, c.begin(p))
		}
	}
	return o
}

// rating adds the clock of work above the rating.
func (c *calc) rating() {
	k := Clock{Name: RatingClock}
	var m missing
	unrated, unknown := false, c.wear.noDuty
	c.worked(func(d *duty) {
		unrated = unrated || d.rated == 0
		unknown = unknown || d.noPressure
	})
	m.when(unrated || c.wear.noDuty && c.model.base == 0, MissingRating)
	m.when(unknown, MissingPressure)
	o := c.overRated()
	if o.percent > 0 {
		k.Percent = c.num(o.percent)
	}
	switch {
	case o.over200:
		k.Note = NoteOver200
	case !o.due.IsZero():
		k.Note = NoteOver
	case o.over:
		k.Note = NoteAssessed
	}
	if o.due.IsZero() || o.due.After(c.asOf) {
		k.Missing = m // a known date to come stands, but one before it may be hidden
	}
	if k.Missing == nil {
		used := 0.0
		if !o.due.IsZero() && !o.due.After(c.asOf) {
			used = 1
		}
		k.Used = c.num(used)
	}
	c.clock(k, same(o.due))
}

// calendar adds the clock of time since the hose was made, assembled and first
// fitted.
func (c *calc) calendar() {
	k := Clock{Name: CalendarClock}
	if c.ages.kind == originUnknown {
		k.Missing = missing{MissingAssemblyDate}
		c.clock(k, same(quantity.Date{}))
		return
	}
	l := c.limits.first(c.limits.calendar)
	if l == nil {
		k.Note, k.Used = NoteNoMonths, c.num(0)
		c.clock(k, same(quantity.Date{}))
		return
	}
	k.Rule = l.rule
	k.Used = c.num(c.age(c.limits.all()[:c.limits.calendar], 0))
	c.clock(k, same(l.due))
}

// age is the largest share of the limits spent as of the day of the estimate,
// counting extra days.
func (c *calc) age(list []limit, extra float64) float64 {
	used := 0.0
	for i := range list {
		l := &list[i]
		used = math.Max(used, share(float64(c.asOf.Sub(l.from))+extra, l.span()))
	}
	return used
}

// heat adds the clock of the same time counted faster while hot: due when
// t + X(t) comes to the first of the limits in months.
//
//	X(t) = sum over hours up to t of (AF - 1) / 24        in days
func (c *calc) heat() {
	k := Clock{Name: HeatClock}
	if !c.model.rubber {
		k.Note = NoteNoRubber
		c.clock(k, same(quantity.Date{}))
		return
	}
	if c.limits.list[max(c.limits.n-1, 0)].rule == RuleNoLimit {
		k.Note = NoteSeventyTwo
	}
	if d := c.dutyNow(); d != nil && !d.noTemperature && c.model.hasRef {
		k.Factor = c.num(d.af)
	}
	k.Missing = c.lacksHeat()
	if k.Missing != nil {
		c.clock(k, same(quantity.Date{}))
		return
	}
	k.ExtraDays = c.num(c.sums.heat)
	k.Used = c.num(c.age(c.limits.all(), c.sums.heat))
	c.clock(k, c.each(mix{day: 1, heat: 1}, c.heatTarget()))
}

// heatTarget is how many days, heat days included, from first fitting to the
// first limit in months.
func (c *calc) heatTarget() float64 {
	return float64(c.limits.first(c.limits.n).due.Sub(c.a.Fitted))
}

func (c *calc) lacksHeat() []string {
	var m missing
	c.lacksHours(&m)
	m.when(c.wear.noDuty, MissingFluidTemp)
	c.worked(func(d *duty) { m.when(d.noTemperature, MissingFluidTemp) })
	m.when(!c.model.hasRef, MissingHoseTemp)
	return m
}

// hours adds the clock of running hours and of cycles since first fitting,
// where the policy has such a limit.
func (c *calc) hours() {
	hours, cycles := c.a.Policy.HoursFromFitting, c.a.Policy.CyclesFromFitting
	if hours == nil && cycles == nil {
		return
	}
	k := Clock{Name: HoursClock}
	var m missing
	c.lacksHours(&m)
	if cycles != nil {
		m.when(c.wear.noDuty, MissingCycles)
		c.worked(func(d *duty) { m.when(d.noCycles, MissingCycles); m.when(d.noPer, MissingPer) })
	}
	k.Missing = m
	if hours != nil {
		k.Limit, k.Rule = c.num(*hours), RuleHours
	} else {
		k.Limit, k.Rule = c.num(*cycles), RuleCycles
	}
	if k.Missing != nil {
		c.clock(k, same(quantity.Date{}))
		return
	}
	var due [3]quantity.Date
	used := 0.0
	if hours != nil {
		due = c.each(mix{hour: 1}, *hours)
		used = share(c.sums.hours, *hours)
	}
	if cycles != nil {
		other := c.each(mix{cycle: 1}, *cycles)
		if hours != nil && earlier(other[1], due[1]) {
			*k.Limit, k.Rule = *cycles, RuleCycles
		}
		for i := range due {
			due[i] = quantity.Earliest(due[i], other[i])
		}
		used = math.Max(used, share(c.sums.cycles, *cycles))
	}
	k.Used = c.num(used)
	c.clock(k, due)
}

// The rules of the hours clock.
const (
	RuleHours  = "hours from first fitting"
	RuleCycles = "cycles from first fitting"
)

// earlier reports whether a is before b; no date is never.
func earlier(a, b quantity.Date) bool {
	return !a.IsZero() && (b.IsZero() || a.Before(b))
}

// pressure adds the clock of fatigue damage:
//
//	used = (D of logged cycles + factor x D of assumed cycles) / limit
//	D = sum of n_i / N_i        N = ((B - Pmin) / (Pmax - Pmin))^m
//
// after Palmgren and Miner.
func (c *calc) pressure() {
	k := Clock{Name: PressureClock}
	if !c.model.wire {
		k.Note = NoteNoCurve
		c.clock(k, same(quantity.Date{}))
		return
	}
	k.Exponent = c.num(c.model.curve.Exponent())
	k.Limit = c.num(c.damageLimit())
	k.Missing = c.lacksPressure()
	if d := c.dutyNow(); d != nil && d.rated > 0 && !d.noCycles && !d.noPer {
		k.DamagePerHour = c.num(d.perHour)
	}
	if k.Missing != nil {
		c.clock(k, same(quantity.Date{}))
		return
	}
	if c.unworn() {
		k.Note = NoteNoCycles
	}
	k.Damage = c.num(c.sums.damage)
	k.Used = c.num(share(c.sums.weighted, *k.Limit))
	c.clock(k, c.each(mix{damage: 1}, *k.Limit))
}

func (c *calc) damageLimit() float64 { return damageLimit(c.a, c.confirmed) }

// unworn reports whether no pressure cycle is ever seen.
func (c *calc) unworn() bool {
	unworn := !c.wear.noDuty
	c.worked(func(d *duty) { unworn = unworn && d.row.NoCycles && len(d.row.Cycles) == 0 })
	return unworn
}

func (c *calc) lacksPressure() []string {
	var m missing
	if c.unworn() {
		return nil
	}
	m.when(c.wear.noDuty, MissingCycles)
	m.when(c.wear.noDuty && c.model.base == 0, MissingRating)
	c.worked(func(d *duty) {
		m.when(d.rated == 0, MissingRating)
		m.when(d.noCycles, MissingCycles)
		m.when(d.noPer, MissingPer)
	})
	c.lacksHours(&m)
	return m
}

// combined adds, where the policy asks for it, the clock that is spent when
// the used shares of heat and pressure add to 1. A share that the construction
// does not have is 0.
func (c *calc) combined() {
	if !c.a.Policy.CombineSum || !c.model.rubber && !c.model.wire {
		return
	}
	k := Clock{Name: CombinedClock}
	var m missing
	if c.model.rubber {
		for _, what := range c.lacksHeat() {
			m.add(what)
		}
	}
	if c.model.wire {
		for _, what := range c.lacksPressure() {
			m.add(what)
		}
	}
	if k.Missing = m; m != nil {
		c.clock(k, same(quantity.Date{}))
		return
	}
	damage := 0.0
	if c.model.wire {
		damage = 1 / c.damageLimit()
	}
	used := c.sums.weighted * damage
	var due [3]quantity.Date
	if !c.model.rubber {
		due = c.each(mix{damage: damage}, 1)
	} else {
		used += c.age(c.limits.all(), c.sums.heat)
		for i := range c.limits.all() {
			l := &c.limits.list[i]
			day := 1 / l.span()
			one := c.each(mix{day: day, heat: day, damage: damage}, float64(l.due.Sub(c.a.Fitted))*day)
			for p := range due {
				due[p] = quantity.Earliest(due[p], one[p])
			}
		}
	}
	k.Used = c.num(used)
	c.clock(k, due)
}
