package life

import (
	"math"
	"strconv"
	"strings"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// Working recomputes the estimate of a as of asOf and shows every step with
// its numbers, so that a reader with a calculator reaches the same dates. The
// steps come in the order of the clocks; each says where its rule is from. It
// ends with what the pressure clock would say of 5 % more pressure. Bad input
// is a *FieldError. Test: TestWorking_CalculatorReachesTheDates.
func Working(a *Assembly, asOf quantity.Date) ([]Step, error) {
	if err := check(a, asOf); err != nil {
		return nil, err
	}
	var c calc
	c.prepare(a, asOf)
	e := c.estimate()
	w := working{c: &c, e: &e}
	w.rating()
	w.temperature()
	w.findings()
	w.calendar()
	if !a.Fitted.IsZero() {
		w.ran()
		w.heat()
		w.limitOfHours()
		w.pressure()
		w.together()
	}
	w.result()
	return w.steps, nil
}

// The sources of rules, as steps show them.
const (
	sourceRating     = "SAE J517 and ISO 18752 scopes (" + SourceSeen + ")"
	sourceOver       = "SAE J1927, public summary (" + SourceSeen + ")"
	sourceMonths     = "policy; month's end clamped, XML Schema 1.1 part 2 appendix E (" + SourceStandard + ")"
	sourceArrhenius  = "Arrhenius, NIST/SEMATECH e-Handbook 8.1.5.1 (" + SourceStandard + ")"
	sourceReference  = "20 K below the hose's highest temperature: " + SourceChoice
	sourceMiner      = "Palmgren-Miner (" + SourceStandard + ")"
	sourceCurve      = "SAE J1927 reference points, public summary (" + SourceSeen + "); minimum pressure after Goodman: " + SourceChoice
	sourceDamage     = "limit and halving: " + SourceChoice
	sourceFactor     = "factor for cycles that are not from a recorded pressure log: " + SourceChoice
	sourceHottest    = "entered, or published for the designation"
	sourceWater      = "scopes of EN 853, 854, 857 (" + SourceSeen + ")"
	sourceFinding    = "class of the finding; 30 days without a date: " + SourceChoice
	sourceInspection = "policy; DGUV Regel 113-020 (" + SourceSeen + ")"
)

// working is a list of steps being written.
type working struct {
	c     *calc
	e     *Estimate
	steps []Step

	shown map[shownKey]float64 // hours of a time, per path
	rated []*usage.Hours       // machines whose rates are shown
}

func (w *working) add(name, formula, value, source string) {
	w.steps = append(w.steps, Step{name, formula, value, source})
}

// fig prints a number with the figures a recalculation needs.
func fig(v float64) string { return strconv.FormatFloat(v, 'g', 12, 64) }

// instant prints a day number as a date, with the fraction of the day if it
// has one.
func instant(t float64) string {
	d := math.Floor(t)
	s := quantity.DateOfDayNumber(int(d)).String()
	if f := t - d; f >= 5e-7 {
		s += strings.TrimPrefix(strconv.FormatFloat(f, 'f', 6, 64), "0")
	}
	return s
}

func dateOr(d quantity.Date, none string) string {
	if d.IsZero() {
		return none
	}
	return d.String()
}

const never = "not within 100 years"

func pathName(p usage.Path) string {
	switch p {
	case usage.Fast:
		return "fast"
	case usage.Slow:
		return "slow"
	}
	return "middle"
}

// measure names what a crossing sums.
type measure struct {
	name   string // of the clock
	sum    string // what is summed, with its unit
	mix    mix
	target float64
	source string
}

// crossing shows how a sum comes to its target, on the middle path first: what
// each stretch of time adds, then the last step. The other paths show only the
// stretches on which they differ.
func (w *working) crossing(m measure) {
	shown := map[[2]float64]float64{}
	for _, path := range [...]usage.Path{usage.Likely, usage.Fast, usage.Slow} {
		w.cross(m, path, shown)
	}
}

// cross shows the stretches and the last step to the target on one path: the
// stretch of steady hours in which it is reached.
func (w *working) cross(m measure, path usage.Path, shown map[[2]float64]float64) {
	at, c := w.c.wear.reach(path, &m.mix, m.target)
	name := m.name + " due, " + pathName(path) + " path"
	switch {
	case c.piece < 0 && math.IsInf(at, 1), dayOf(at).After(w.c.end), dayOf(at).IsZero():
		w.add(name, m.sum+" does not come to "+fig(m.target), never, m.source)
		return
	case c.piece < 0:
		w.add(name, "spent before first fitting", dayOf(at).String(), m.source)
		return
	}
	for i := range w.c.wear.pieces[:c.piece] {
		p := &w.c.wear.pieces[i]
		perDay, perHour := w.c.wear.rates(&m.mix, p)
		w.sumOf(p, path, perHour, p.from, p.to)
		w.stretch(m, path, shown, p.from, p.to, perDay, perHour, p.ran[path])
	}
	p := &w.c.wear.pieces[c.piece]
	begin, perDayHours, ran := p.from, 0.0, 0.0
	if p.hours != nil {
		begin, perDayHours = steady(p.hours, path, p.from, at)
		ran = p.between(path, p.from, begin)
	}
	if begin > p.from {
		w.sumOf(p, path, c.perHour, p.from, begin)
		w.stretch(m, path, shown, p.from, begin, c.perDay, c.perHour, ran)
	}
	if p.hours != nil && c.perHour != 0 {
		w.perDayOf(p, path, begin, perDayHours)
	}
	done := m.target - c.rest + c.perDay*(begin-p.from) + c.perHour*ran
	w.add(name,
		"begin + (target - summed by then) / (per day + hours a day x per hour) = "+
			instant(begin)+" + ("+fig(m.target)+" - "+fig(done)+") / ("+fig(c.perDay)+" + "+fig(perDayHours)+" x "+fig(c.perHour)+")",
		dayOf(at).String(), m.source)
}

// sumOf shows where the running hours of a stretch are from, where they count.
func (w *working) sumOf(p *piece, path usage.Path, perHour, from, to float64) {
	if p.hours != nil && perHour != 0 {
		w.hoursOf(p, path, from, to)
	}
}

// stretch shows what a stretch of time adds, unless that was shown already.
func (w *working) stretch(m measure, path usage.Path, shown map[[2]float64]float64, from, to, perDay, perHour, ran float64) {
	gain := perDay*(to-from) + perHour*ran
	if known, ok := shown[[2]float64{from, to}]; ok && known == gain {
		return
	}
	if path == usage.Likely {
		shown[[2]float64{from, to}] = gain
	}
	w.add(m.name+": "+m.sum+" from "+instant(from)+" to "+instant(to)+", "+pathName(path)+" path",
		fig(perDay)+" a day x "+fig(to-from)+" days + "+fig(perHour)+" an hour x "+fig(ran)+" h", fig(gain), m.source)
}

// steady is the beginning of the stretch of one rate that ends at or after the
// instant at, not before from, and the rate in hours a day.
func steady(h *usage.Hours, path usage.Path, from, at float64) (begin, perDay float64) {
	begin = from
	for {
		rate, until := h.Stretch(path, begin)
		if until >= at || math.IsInf(until, 1) {
			return begin, rate
		}
		begin = until
	}
}

// rating shows the rating and how far above it the assembly works.
func (w *working) rating() {
	a := w.c.a
	parts := []string{
		"hose " + barOr(a.Hose.RatedBar), "end A " + barOr(a.EndABar), "end B " + barOr(a.EndBBar),
	}
	value := "unknown"
	if w.c.model.base > 0 {
		value = fig(w.c.model.base) + " bar"
	}
	if !w.c.confirmed {
		value += ", unconfirmed"
	}
	w.add("rating", "lowest of "+strings.Join(parts, ", "), value, sourceRating)
	w.eachDuty(func(d *duty, from string) {
		if d.row.AdapterBar != nil {
			w.add("rating from "+from, "lowest of "+fig(w.c.model.base)+" and adapter "+fig(*d.row.AdapterBar)+" bar", fig(d.rated)+" bar", sourceRating)
		}
		if bar, _ := highest(d.row); bar > 0 && d.rated > 0 {
			verdict := ""
			switch {
			case d.percent > curvePercent:
				verdict = ", above 200 %: due on the first day"
			case d.percent > ratedPercent && lifted(d.row, w.c.asOf):
				verdict = ", above 100 % but recorded or assessed"
			case d.percent > ratedPercent:
				verdict = ", above 100 % and not assessed: due on the first day"
			}
			w.add("highest pressure over rating from "+from, fig(bar)+" / "+fig(d.rated)+" x 100", fig(d.percent)+" %"+verdict, sourceOver)
		}
	})
	if k := w.clock(RatingClock); k != nil && !k.Due.IsZero() {
		w.add("rating due", "first day of these conditions", k.Due.String(), sourceOver)
	}
}

func barOr(v *float64) string {
	if v == nil {
		return "unknown"
	}
	return fig(*v) + " bar"
}

// temperature shows the highest temperature of the hose with its fluid. The
// register knows whether it was entered or is that of the designation.
func (w *working) temperature() {
	own, value := "unknown", "unknown"
	if c := w.c.a.Hose.MaxC; c != nil {
		own = fig(*c) + " °C"
	}
	if !math.IsInf(w.c.model.limitC, 1) {
		value = fig(w.c.model.limitC) + " °C"
	}
	const known = "highest temperature of the hose, as known to the register"
	if isWater(w.c.a.Fluid) {
		w.add("highest temperature", "lower of "+own+", "+known+", and "+fig(waterLimitC)+" °C for a fluid with water", value, sourceWater)
		return
	}
	w.add("highest temperature", known, value, sourceHottest)
}

// eachDuty calls f for each row of conditions that is worked under, once, with
// the day it begins.
func (w *working) eachDuty(f func(d *duty, from string)) {
	last := -1
	for i := range w.c.wear.pieces {
		p := &w.c.wear.pieces[i]
		if !p.worked || p.duty < 0 || p.duty <= last {
			continue
		}
		last = p.duty
		f(&w.c.wear.duties[p.duty], instant(p.from))
	}
}

// clock is the clock of that name, nil if the estimate has none.
func (w *working) clock(name ClockName) *Clock {
	for i := range w.e.Clocks {
		if w.e.Clocks[i].Name == name {
			return &w.e.Clocks[i]
		}
	}
	return nil
}

// lacks says what a clock lacks, and whether it lacks anything.
func (w *working) lacks(name ClockName) bool {
	k := w.clock(name)
	if k == nil {
		return true
	}
	if k.Missing != nil {
		w.add(string(name)+" clock", "cannot be worked out", "missing: "+strings.Join(k.Missing, ", "), SourceFact)
		return true
	}
	return false
}

// findings shows the open findings and the next inspection.
func (w *working) findings() {
	c := w.c
	for i := range c.a.Findings {
		f := &c.a.Findings[i]
		if !f.open(c.asOf) {
			continue
		}
		name := "finding of " + f.On.String() + ", " + string(f.Class)
		switch {
		case f.Class == Stop:
			w.add(name, "due on the day it was seen", f.On.String(), sourceFinding)
		case f.Class == Replace && f.By.IsZero():
			w.add(name, f.On.String()+" + 30 days", f.due().String(), sourceFinding)
		case f.Class == Replace:
			w.add(name, "its date", f.By.String(), sourceFinding)
		default:
			w.add(name, "sets the next inspection, not the due date", dateOr(f.By, "no date"), sourceFinding)
		}
	}
	last := c.lastInspection()
	from := "last inspection "
	if last.IsZero() {
		last, from = c.a.Fitted, "first fitting "
	}
	if m := c.a.Policy.InspectMonths; m != nil && !c.inStore {
		w.add("inspection interval", from+last.String()+" + "+strconv.Itoa(*m)+" months", last.AddMonths(*m).String(), sourceInspection)
	}
	if hot := c.overheated(c.lastInspection()); !hot.IsZero() {
		w.add("inspection after overheating", "hotter than "+fig(c.model.limitC)+" °C: at once", hot.String(), "DGUV Regel 113-020, 4.4 ("+SourceSeen+")")
	}
	if d := w.e.InspectionDue; !d.IsZero() {
		w.add("next inspection", "the earliest of these", d.String(), sourceInspection)
	}
}

// calendar shows the days ages count from and the limits in months.
func (w *working) calendar() {
	c := w.c
	switch c.ages.kind {
	case originHose:
		w.add("assembly date", "unknown: the hose's make date", c.ages.assembly.String(), SourceChoice)
	case originFitting:
		w.add("assembly date", "unknown, make date too: first fitting "+c.a.Fitted.String()+" - 48 months", c.ages.assembly.String(), SourceChoice)
	case originCapped:
		w.add("assembly date", "hose too old when assembled: made "+c.a.Hose.Made.String()+" + "+strconv.Itoa(*c.a.Policy.HoseAgeMonths)+" months", c.ages.assembly.String(), SourceChoice)
	case originEarlier:
		w.add("assembly date", "after the first fitting: the earlier day", c.ages.assembly.String(), SourceChoice)
	}
	if c.ages.hoseAssumed && c.a.Policy.MonthsFromMake != nil {
		w.add("hose made", "unknown: assembly "+c.ages.assembly.String()+" - 48 months", c.ages.hose.String(), SourceChoice)
	}
	for i := range c.limits.all() {
		l := &c.limits.list[i]
		source := sourceMonths
		if l.rule == RuleNoLimit {
			source = "DIN 20066, DGUV Regel 113-020 (" + SourceSeen + ")"
		}
		w.add(l.rule, l.from.String()+" + "+strconv.Itoa(w.monthsOf(l))+" months", l.due.String(), source)
	}
	if k := w.clock(CalendarClock); k != nil {
		if !k.Due.IsZero() {
			w.add("calendar due", "the earliest limit: "+k.Rule, k.Due.String(), sourceMonths)
		}
		w.lacks(CalendarClock)
	}
}

func (w *working) monthsOf(l *limit) int {
	p := &w.c.a.Policy
	switch l.rule {
	case RuleAssembly:
		return *p.MonthsFromAssembly
	case RuleFitting:
		return *p.MonthsFromFitting
	case RuleMake:
		return *p.MonthsFromMake
	case RuleHeat:
		return *p.HeatLimitMonths
	}
	return monthsWithoutLimit
}
