package life_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// slow is the estimate's dates worked out again with as little thought as can
// be: every day since first fitting is visited, what it wears is added up, and
// the first day by whose end a limit is passed is the due date. It shares with
// the program the input types, the calendar and the machine's hours, and
// nothing else.
type slow struct {
	a    life.Assembly
	path usage.Path
}

func (s slow) stint(d quantity.Date) *life.Stint {
	for i := range s.a.Stints {
		st := &s.a.Stints[i]
		ended := !st.To.IsZero() && !st.To.After(asOfDay) && !d.Before(st.To)
		if st.From != st.To && !st.From.After(asOfDay) && !d.Before(st.From) && !ended {
			return st
		}
	}
	return nil
}

func (s slow) row(d quantity.Date) *life.Conditions {
	var in, first *life.Conditions
	for i := range s.a.Conditions {
		c := &s.a.Conditions[i]
		if first == nil || c.From.Before(first.From) {
			first = c
		}
		if !c.From.After(d) && (in == nil || c.From.After(in.From)) {
			in = c
		}
	}
	if in == nil {
		return first
	}
	return in
}

func (s slow) rated(c *life.Conditions) float64 {
	r := math.Inf(1)
	for _, v := range []*float64{s.a.Hose.RatedBar, s.a.EndABar, s.a.EndBBar, c.AdapterBar} {
		if v != nil {
			r = math.Min(r, *v)
		}
	}
	return r
}

func (s slow) ea() float64 {
	if s.a.Policy.EaKJ != nil {
		return *s.a.Policy.EaKJ
	}
	return map[string]float64{"CR": 80, "EPDM": 72}[s.a.Hose.Tube] + map[bool]float64{true: 92}[s.a.Hose.Tube != "CR" && s.a.Hose.Tube != "EPDM"]
}

func (s slow) af(c, ref float64) float64 {
	return math.Max(1, math.Exp(s.ea()*1000/8.314462618*(1/(ref+273.15)-1/(c+273.15))))
}

// running and standing are the ageing factors against a reference.
func (s slow) running(c *life.Conditions, ref float64) float64 {
	surroundings := math.Inf(-1)
	if c.SurroundingsC != nil {
		surroundings = *c.SurroundingsC
	}
	if len(c.Temperatures) == 0 {
		hot := surroundings
		if c.FluidC != nil {
			hot = math.Max(hot, *c.FluidC)
		}
		if math.IsInf(hot, -1) {
			return 1
		}
		return s.af(hot, ref)
	}
	if !c.AlwaysHot {
		surroundings = math.Inf(-1)
	}
	mean, sum := 0.0, 0.0
	for _, t := range c.Temperatures {
		mean += t.Share * s.af(math.Max(t.C, surroundings), ref)
		sum += t.Share
	}
	return mean / sum
}

func (s slow) standing(c *life.Conditions, ref float64) float64 {
	switch {
	case !c.AlwaysHot:
		return 1
	case c.SurroundingsC != nil:
		return s.af(*c.SurroundingsC, ref)
	}
	return s.running(c, ref)
}

func (s slow) ref() float64 {
	if s.a.Policy.HeatReferenceC != nil {
		return *s.a.Policy.HeatReferenceC
	}
	limit := math.Inf(1)
	if s.a.Hose.MaxC != nil {
		limit = *s.a.Hose.MaxC
	}
	if s.a.Fluid == "water-based" {
		limit = math.Min(limit, 70)
	}
	return limit - 20
}

func (s slow) rate(y life.Cycle) float64 {
	switch {
	case y.Per == "":
		return y.Count
	case y.PerHour == nil:
		return 0
	}
	return y.Count * *y.PerHour
}

// damage is the damage per running hour, of both curves the worse.
func (s slow) damage(c *life.Conditions) float64 {
	b := 4 * s.rated(c)
	sum := 0.0
	for _, y := range c.Cycles {
		low := math.Max(0, y.MinBar)
		if s.a.Policy.PeakOnly {
			low = 0
		}
		life := math.Pow((b-low)/(y.MaxBar-low), math.Log(200000)/math.Log(400.0/133))
		if h := s.a.Hose; h.ImpulsePercent != nil {
			own := math.Pow((b-low)/(y.MaxBar-low), math.Log(*h.ImpulseCycles)/math.Log(400 / *h.ImpulsePercent))
			if life = math.Min(life, own); s.a.Policy.OwnCurveAlone {
				life = own
			}
		}
		sum += s.rate(y) / life
	}
	test := 100.0
	if s.a.Hose.ImpulseTempC != nil {
		test = *s.a.Hose.ImpulseTempC
	}
	return sum * s.running(c, test)
}

// track is a sum that comes to its target on some day.
type track struct {
	target, sum    float64
	daysCount      bool // days count too
	early, late    quantity.Date
	heat, damage   float64
	hours, cycles  float64
	perDayOfTarget float64
}

// end takes in what day d has worn. Sums of many days are good to 1e-7, and
// the program takes an instant 1e-6 of a day before midnight as midnight: met
// so near the end of a day, either day will do.
func (k *track) end(d quantity.Date, worn float64) {
	k.sum += worn
	slack := 1e-7*math.Abs(k.target) + 2e-6*worn
	if k.early.IsZero() && k.sum >= k.target-slack {
		k.early = d
	}
	if k.late.IsZero() && k.sum >= k.target+slack {
		k.late = d
	}
}

// hourly is what a row of conditions does.
type hourly struct{ running, standing, damage, cycles float64 }

func (s slow) perHour(c *life.Conditions) *hourly {
	h := &hourly{running: s.running(c, s.ref()), standing: s.standing(c, s.ref()), damage: s.damage(c)}
	if !c.Recorded {
		factor := 2.0
		if s.a.Policy.AssumedFactor != nil {
			factor = *s.a.Policy.AssumedFactor
		}
		h.damage *= factor
	}
	for _, y := range c.Cycles {
		h.cycles += s.rate(y)
	}
	return h
}

// run visits the days and gives, per track, the due date; two dates where the
// target is met so near midnight that rounding decides.
func (s slow) run(tracks []*track) {
	limit := asOfDay.AddMonths(1200)
	known := map[*life.Conditions]*hourly{}
	for d := s.a.Fitted; !d.After(limit); d = d.AddDays(1) {
		heat, damage, hours, cycles := 0.0, 0.0, 0.0, 0.0
		if st := s.stint(d); st != nil {
			if st.Hours != nil {
				hours = st.Hours.Between(s.path, float64(d.DayNumber()), float64(d.DayNumber()+1))
			}
			if c := s.row(d); c != nil {
				r := known[c]
				if r == nil {
					r = s.perHour(c)
					known[c] = r
				}
				heat = hours/24*(r.running-1) + (1-hours/24)*(r.standing-1)
				damage, cycles = hours*r.damage, hours*r.cycles
			}
		}
		done := true
		for _, k := range tracks {
			worn := k.heat*heat + k.damage*damage + k.hours*hours + k.cycles*cycles
			if k.daysCount {
				worn += k.perDayOfTarget
			}
			k.end(d, worn)
			done = done && !k.late.IsZero()
		}
		if done {
			return
		}
	}
}

func (s slow) limit() float64 {
	l := 0.5
	if s.a.Policy.DamageLimit != nil {
		l = *s.a.Policy.DamageLimit
	}
	if s.a.CanHurt {
		l /= 2
	}
	if s.a.EndABar == nil || s.a.EndBBar == nil || s.a.Hose.RatingUnconfirmed {
		l /= 2
	}
	return l
}

// monthLimits are the limits in months with the day each counts from: those of
// the calendar, and with heat those that only the heat clock has.
func (s slow) monthLimits(heat bool) (from, due []quantity.Date) {
	p, fitted := s.a.Policy, s.a.Fitted
	origin, made := s.a.Assembled, s.a.Hose.Made
	if origin.IsZero() {
		origin = made
	}
	if origin.IsZero() {
		origin = fitted.AddMonths(-48)
	}
	origin = quantity.Earliest(origin, fitted)
	if made.IsZero() {
		made = origin.AddMonths(-48)
	} else if p.HoseAgeMonths != nil && !s.a.Assembled.IsZero() {
		made, origin = quantity.Earliest(made, origin), quantity.Earliest(origin, made.AddMonths(*p.HoseAgeMonths))
	} else {
		made = quantity.Earliest(made, origin)
	}
	add := func(o quantity.Date, m *int) {
		if m != nil {
			from, due = append(from, o), append(due, o.AddMonths(*m))
		}
	}
	add(origin, p.MonthsFromAssembly)
	add(fitted, p.MonthsFromFitting)
	add(made, p.MonthsFromMake)
	if heat {
		if len(from) == 0 {
			add(origin, ptr(72))
		}
		add(origin, p.HeatLimitMonths)
	}
	return from, due
}

func TestEstimate_AgreesWithDayByDaySum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		e := estimate(t, a)
		_, calendar := slow{a: a}.monthLimits(false)
		if k := clockOf(e, life.CalendarClock); k.Due != within100(quantity.Earliest(calendar...)) {
			t.Fatalf("calendar due %v, day by day %v", k.Due, calendar)
		}
		s := slow{a: a, path: usage.Likely}
		checks := s.tracks(&e)
		var tracks []*track
		for _, ks := range checks {
			tracks = append(tracks, ks...)
		}
		if len(tracks) == 0 {
			return
		}
		s.run(tracks)
		for name, ks := range checks {
			var early, late []quantity.Date
			for _, k := range ks {
				early, late = append(early, k.early), append(late, k.late)
			}
			got, lo, hi := clockOf(e, name).Due, within100(quantity.Earliest(early...)), within100(quantity.Earliest(late...))
			if got != lo && got != hi {
				t.Fatalf("%s due %v, day by day %v (%v)", name, got, lo, hi)
			}
		}
	})
}

func within100(d quantity.Date) quantity.Date {
	if d.After(asOfDay.AddMonths(1200)) {
		return quantity.Date{}
	}
	return d
}

// tracks are the sums to follow for the clocks that can be computed. Where a
// target lies before first fitting only days count, back from it.
func (s slow) tracks(e *life.Estimate) map[life.ClockName][]*track {
	out := map[life.ClockName][]*track{}
	can := func(n life.ClockName) bool { k := clockOf(*e, n); return k != nil && k.Missing == nil && k.Used != nil }
	from, due := s.monthLimits(true)
	if can(life.HeatClock) {
		out[life.HeatClock] = []*track{s.dated(quantity.Earliest(due...), &track{daysCount: true, perDayOfTarget: 1, heat: 1})}
	}
	if can(life.HoursClock) {
		if l := s.a.Policy.HoursFromFitting; l != nil {
			out[life.HoursClock] = append(out[life.HoursClock], &track{target: *l, hours: 1})
		}
		if l := s.a.Policy.CyclesFromFitting; l != nil {
			out[life.HoursClock] = append(out[life.HoursClock], &track{target: *l, cycles: 1})
		}
	}
	if can(life.PressureClock) {
		out[life.PressureClock] = []*track{{target: s.limit(), damage: 1}}
	}
	if can(life.CombinedClock) {
		damage := 1 / s.limit()
		if !can(life.PressureClock) {
			damage = 0
		}
		if !can(life.HeatClock) {
			out[life.CombinedClock] = []*track{{target: 1, damage: damage}}
			return out
		}
		for i := range due {
			span := float64(due[i].Sub(from[i]))
			out[life.CombinedClock] = append(out[life.CombinedClock], s.dated(due[i], &track{daysCount: true, perDayOfTarget: 1 / span, heat: 1 / span, damage: damage}))
		}
	}
	return out
}

// dated sets the target of a track on which days count to those from first
// fitting to due.
func (s slow) dated(due quantity.Date, k *track) *track {
	k.target = float64(due.Sub(s.a.Fitted)) * k.perDayOfTarget
	if k.target <= 0 {
		k.early, k.late = due, due
	}
	return k
}

func TestEstimate_BandAgreesWithDayByDaySum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		e := estimate(t, a)
		if e.Status == life.StatusInStore {
			return
		}
		for _, path := range []usage.Path{usage.Fast, usage.Likely, usage.Slow} {
			s := slow{a: a, path: path}
			var tracks []*track
			for _, ks := range s.tracks(&e) {
				tracks = append(tracks, ks...)
			}
			if len(tracks) > 0 {
				s.run(tracks)
			}
			early := []quantity.Date{clockOf(e, life.ConditionClock).Due, clockOf(e, life.RatingClock).Due, clockOf(e, life.CalendarClock).Due}
			late := append([]quantity.Date(nil), early...)
			for _, k := range tracks {
				early, late = append(early, within100(k.early)), append(late, within100(k.late))
			}
			got := [...]quantity.Date{e.Earliest, e.Due, e.Latest}[path]
			if lo, hi := quantity.Earliest(early...), quantity.Earliest(late...); got != lo && got != hi {
				t.Fatalf("%s path: due %v, day by day %v (%v)", fmt.Sprint(path), got, lo, hi)
			}
		}
	})
}
