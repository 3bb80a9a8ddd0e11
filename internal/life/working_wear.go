package life

import (
	"math"
	"strings"

	"hoseward/internal/life/heat"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// heat shows the ageing factors and how heat days bring the calendar nearer.
func (w *working) heat() {
	c := w.c
	if !c.model.rubber {
		w.add("heat clock", NoteNoRubber, "does not run", "SAE J1273 ("+SourceSeen+")")
		return
	}
	if w.lacks(HeatClock) {
		return
	}
	if c.a.Policy.HeatReferenceC != nil {
		w.add("heat reference", "that of the policy", fig(c.model.refC)+" °C", "policy")
	} else {
		w.add("heat reference", "highest temperature of hose and fluid, "+fig(hottestAllowed(c.a))+" °C, - 20 K", fig(c.model.refC)+" °C", sourceReference)
	}
	energy := heat.EaFor(c.a.Hose.Tube).Source
	if c.a.Policy.EaKJ != nil {
		energy = "policy"
	}
	w.add("activation energy", "tube "+orUnknown(c.a.Hose.Tube), fig(c.model.eaKJ)+" kJ/mol", energy)
	w.eachDuty(func(d *duty, from string) {
		w.add("ageing factor while running from "+from, w.factor(d, c.model.refC), fig(d.af), sourceArrhenius)
		if d.row.AlwaysHot {
			w.add("ageing factor while standing from "+from, "surroundings always hot", fig(d.afRest), sourceArrhenius)
		}
	})
	w.add("heat days X by "+c.asOf.String(), "sum of running hours x (AF - 1) / 24", fig(c.sums.heat)+" days", sourceArrhenius)
	target := c.heatTarget()
	first := c.limits.first(c.limits.n)
	w.add("days to the first limit in months", first.due.String()+" less first fitting "+c.a.Fitted.String(), fig(target)+" days", first.rule)
	w.crossing(measure{"heat", "days and heat days", mix{day: 1, heat: 1}, target, sourceArrhenius})
}

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

// factor writes out a mean ageing factor against a reference temperature.
func (w *working) factor(d *duty, ref float64) string {
	one := func(c float64) string {
		return "max(1, exp(" + fig(w.c.model.eaKJ*1000) + " / " + fig(heat.GasConstant) + " x (1/" +
			fig(quantity.Temperature(ref).Kelvin()) + " - 1/" + fig(quantity.Temperature(c).Kelvin()) + ")))"
	}
	if len(d.row.Temperatures) == 0 {
		return one(d.hottest)
	}
	floor := math.Inf(-1)
	if d.row.AlwaysHot && d.row.SurroundingsC != nil {
		floor = *d.row.SurroundingsC
	}
	parts := make([]string, len(d.row.Temperatures))
	sum := 0.0
	for i, t := range d.row.Temperatures {
		parts[i] = fig(t.Share) + " x " + one(max(t.C, floor))
		sum += t.Share
	}
	s := strings.Join(parts, " + ")
	if sum != 1 {
		s = "(" + s + ") / " + fig(sum)
	}
	return s
}

// limitOfHours shows the clocks of running hours and of cycles.
func (w *working) limitOfHours() {
	if w.clock(HoursClock) == nil || w.lacks(HoursClock) {
		return
	}
	if l := w.c.a.Policy.HoursFromFitting; l != nil {
		w.add("hours limit", "hours the policy allows from first fitting"+policyName(w.c.a), fig(*l)+" h", "policy")
		w.crossing(measure{"hours", "running hours", mix{hour: 1}, *l, "policy"})
	}
	if l := w.c.a.Policy.CyclesFromFitting; l != nil {
		w.add("cycles limit", "cycles the policy allows from first fitting"+policyName(w.c.a), fig(*l)+" cycles", "policy")
		w.crossing(measure{"hours, cycles", "cycles", mix{cycle: 1}, *l, "policy"})
	}
}

// policyName is the name of the policy in brackets, empty if it has none.
func policyName(a *Assembly) string {
	if a.Policy.Name == "" {
		return ""
	}
	return " (" + a.Policy.Name + ")"
}

// pressure shows the damage sum, and where the date would be with 5 % more
// pressure.
func (w *working) pressure() {
	c := w.c
	if !c.model.wire {
		w.add("pressure clock", NoteNoCurve, "does not run", SourceChoice)
		return
	}
	if w.lacks(PressureClock) {
		return
	}
	burst, impulse, cycles := c.model.curve.Points()
	w.add("exponent m", "ln("+fig(cycles)+") / ln("+fig(burst)+" / "+fig(impulse)+")", fig(c.model.curve.Exponent()), w.curveSource())
	w.eachDuty(w.damage)
	w.limit()
	w.add("damage by "+c.asOf.String(), "sum of running hours x damage per hour", fig(c.sums.damage), sourceMiner)
	w.crossing(measure{"pressure", "damage", mix{damage: 1}, c.damageLimit(), sourceMiner})
	w.fivePercent()
}

func (w *working) curveSource() string {
	own, ok := ownCurve(&w.c.a.Hose)
	switch {
	case ok && w.c.a.Policy.OwnCurveAlone:
		return "the hose's own impulse test, by policy: " + w.c.a.Policy.OwnCurveReason
	case ok && own == w.c.model.curve:
		return "the hose's own impulse test, as strict as the reference curve of SAE J1927 or stricter"
	}
	return sourceCurve
}

// damage shows the damage per running hour under one row of conditions.
func (w *working) damage(d *duty, from string) {
	m := &w.c.model
	for i := range d.row.Cycles {
		y := &d.row.Cycles[i]
		low := max(y.MinBar, 0)
		if m.peak {
			low = 0
		}
		n := perHourOf(y)
		each := m.curve.Damage(d.rated, low, y.MaxBar)
		w.add("damage per hour of cycles "+fig(y.MinBar)+" to "+fig(y.MaxBar)+" bar from "+from,
			fig(n)+" x (("+fig(y.MaxBar)+" - "+fig(low)+") / ("+fig(d.capacity)+" - "+fig(low)+")) ^ "+fig(m.curve.Exponent()),
			fig(n*each), sourceCurve)
	}
	if d.hotMean != 1 {
		w.add("factor for running above the test temperature from "+from, w.factor(d, m.testC), fig(d.hotMean), SourceChoice)
	}
	w.add("damage per hour from "+from, "sum of the rows x "+fig(d.hotMean), fig(d.perHour), sourceMiner)
	if d.weight != 1 {
		w.add("damage per hour that counts from "+from, fig(d.perHour)+" x "+fig(d.weight)+", not from a recorded log", fig(d.weight*d.perHour), sourceFactor)
	}
}

// limit shows how the damage limit came about.
func (w *working) limit() {
	c := w.c
	l := DefaultDamageLimit
	if c.a.Policy.DamageLimit != nil {
		l = *c.a.Policy.DamageLimit
	}
	formula := fig(l)
	if c.a.CanHurt {
		formula += " / 2 as a burst can hurt someone"
	}
	if !c.confirmed {
		formula += " / 2 as the rating is unconfirmed"
	}
	w.add("damage limit", formula, fig(c.damageLimit()), sourceDamage)
}

// fivePercent says where the pressure clock would be with 5 % more pressure.
func (w *working) fivePercent() {
	a := *w.c.a
	a.Conditions = append([]Conditions(nil), a.Conditions...)
	for i := range a.Conditions {
		k := &a.Conditions[i]
		k.Cycles = append([]Cycle(nil), k.Cycles...)
		for j := range k.Cycles {
			k.Cycles[j].MinBar *= 1.05
			k.Cycles[j].MaxBar *= 1.05
		}
	}
	var more calc
	more.prepare(&a, w.c.asOf)
	at := dayOf(more.wear.first(usage.Likely, mix{damage: 1}, w.c.damageLimit()))
	if at.After(w.c.end) {
		at = quantity.Date{}
	}
	w.add("with 5 % more pressure the pressure clock's date would be", "all pressures x 1.05, same hours", dateOr(at, never), SourceComputed)
}

// together shows the combined clock.
func (w *working) together() {
	c := w.c
	if w.clock(CombinedClock) == nil || w.lacks(CombinedClock) {
		return
	}
	damage := 0.0
	if c.model.wire {
		damage = 1 / c.damageLimit()
	}
	if !c.model.rubber {
		w.crossing(measure{"combined", "used shares", mix{damage: damage}, 1, SourceChoice})
		return
	}
	for i := range c.limits.all() {
		l := &c.limits.list[i]
		day := 1 / l.span()
		w.add("combined: share left at first fitting, "+l.rule, "("+l.due.String()+" less "+c.a.Fitted.String()+") / "+fig(l.span())+" days", fig(float64(l.due.Sub(c.a.Fitted))*day), SourceChoice)
		w.crossing(measure{"combined, " + l.rule, "used shares", mix{day: day, heat: day, damage: damage}, float64(l.due.Sub(c.a.Fitted)) * day, SourceChoice})
	}
}

// result shows which clock governs.
func (w *working) result() {
	e, c := w.e, w.c
	var parts []string
	for i := range e.Clocks {
		parts = append(parts, string(e.Clocks[i].Name)+" "+dateOr(e.Clocks[i].Due, "-"))
	}
	formula := "the earliest of: " + strings.Join(parts, ", ")
	if c.inStore {
		w.add("to be fitted by", "storage limit, and "+formula, dateOr(e.StoreUntil, "no limit"), sourceMonths)
		return
	}
	value := dateOr(e.Due, never)
	if e.Governing != "" {
		value += ", " + string(e.Governing) + " governs"
	}
	w.add("due", formula, value, SourceComputed)
	w.add("band", "the same on the fast and the slow path of hours", dateOr(e.Earliest, never)+" to "+dateOr(e.Latest, never), SourceComputed)
	if c.a.Lengthened != "" {
		w.add("lengthened limit", "by a manager, in writing", c.a.Lengthened, SourceFact)
	}
}
