package life

import (
	"math"
	"strconv"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// The sources of hours, as steps show them.
const (
	sourceReadings = "hour-meter readings, evenly over the days between them"
	sourcePlanned  = "planned hours of the machine"
	sourceBack     = "the larger of planned and first slope: " + SourceChoice
	sourceOn       = "rate to come"
	sourceEnds     = "; ends: " + SourceChoice
	sourceStale    = "; readings older than 180 days: " + SourceChoice
	sourceTheilSen = "Theil-Sen slope (" + SourceStandard + "); window of 180 days: " + SourceChoice
)

// ran shows the running hours so far, the hours now and the rate to come.
func (w *working) ran() {
	c := w.c
	for i := range c.wear.pieces {
		p := &c.wear.pieces[i]
		if p.from >= c.wear.now {
			break
		}
		to := math.Min(p.to, c.wear.now)
		name := "running hours from " + instant(p.from) + " to " + instant(to)
		switch {
		case !p.worked:
			w.add(name, "in store", "0 h", SourceFact)
		case p.hours == nil:
			w.add(name, "neither readings nor planned hours", "unknown", SourceFact)
		default:
			w.ratesOf(p)
			w.hoursOf(p, usage.Likely, p.from, to)
		}
	}
	p := c.wear.current()
	if p == nil || p.hours == nil {
		return
	}
	w.ratesOf(p)
	w.hoursNow(p.hours)
}

// part is a summand of running hours.
type part struct {
	what, formula, source string
	from, to, ran         float64
}

// hoursOf shows where the running hours of p from from to to on a path are
// from, unless the middle path has shown the same.
func (w *working) hoursOf(p *piece, path usage.Path, from, to float64) {
	ran := p.between(path, from, to)
	if w.known("h", path, [2]float64{from, to}, ran) {
		return
	}
	name := func(from, to float64, what string) string {
		s := "running hours from " + instant(from) + " to " + instant(to) + what
		if path != usage.Likely {
			s += ", " + pathName(path) + " path"
		}
		return s
	}
	parts := w.parts(p, path, from, to)
	if len(parts) == 1 {
		w.add(name(from, to, ""), parts[0].formula, fig(ran)+" h", parts[0].source)
		return
	}
	sum := ""
	for i, t := range parts {
		if !w.known("h", path, [2]float64{t.from, t.to}, t.ran) {
			w.add(name(t.from, t.to, ", "+t.what), t.formula, fig(t.ran)+" h", t.source)
		}
		if i > 0 {
			sum += " + "
		}
		sum += fig(t.ran) + " h " + t.what
	}
	w.add(name(from, to, ""), sum, fig(ran)+" h", SourceComputed)
}

// known reports whether the middle path or this one has shown the value of
// that kind and time already, and notes it.
func (w *working) known(kind string, path usage.Path, at [2]float64, value float64) bool {
	if w.shown == nil {
		w.shown = map[shownKey]float64{}
	}
	for _, p := range [...]usage.Path{usage.Likely, path} {
		if v, ok := w.shown[shownKey{kind, p, at}]; ok && v == value {
			return true
		}
	}
	w.shown[shownKey{kind, path, at}] = value
	return false
}

type shownKey struct {
	kind string
	path usage.Path
	at   [2]float64
}

// parts are the running hours from from to to: carried back before the first
// reading, by readings, and carried on after the last one.
func (w *working) parts(p *piece, path usage.Path, from, to float64) []part {
	h := p.hours
	first, last := h.Ends()
	if first.On.IsZero() {
		rate := h.PerWeek(path)
		return []part{{"planned", "no readings: at " + fig(rate) + " h a week, " + overDays(h, from, to, rate), sourcePlanned, from, to, p.between(path, from, to)}}
	}
	var out []part
	add := func(what, formula, source string, from, to float64) {
		out = append(out, part{what, formula, source, from, to, p.between(path, from, to)})
	}
	begin, end := float64(first.On.DayNumber()), float64(last.On.DayNumber())
	if from < begin {
		until, rate := math.Min(to, begin), h.Basis().BackPerWeek
		formula := "before the first reading (" + seen(first) + "): back at " + fig(rate) + " h a week, "
		if h.Basis().BackKnown {
			formula += "the larger of planned and first slope, "
		} else {
			formula += "the most there can be as nothing says how much it ran, "
		}
		add("carried back", formula+overDays(h, from, until, rate), sourceBack, from, until)
	}
	if a, b := math.Max(from, begin), math.Min(to, end); a < b {
		later, atLater := totalAt(h, b)
		earlier, atEarlier := totalAt(h, a)
		formula := later + " - " + earlier + " h: " + atLater + " less " + atEarlier
		if known := h.Basis(); known.MeterChanges > 0 {
			formula += "; running totals over " + changes(known.MeterChanges)
			if known.Offset != 0 {
				formula += ", not what the meter shows after it"
			}
		}
		add("by readings", formula, sourceReadings, a, b)
	}
	if to > end {
		start, rate := math.Max(from, end), h.PerWeek(path)
		add("after the last reading", "after the last reading ("+seen(last)+"): on at "+fig(rate)+" h a week, "+overDays(h, start, to, rate), sourceOn, start, to)
	}
	return out
}

func seen(o usage.Observation) string { return o.On.String() + ", " + fig(o.Hours) + " h" }

func changes(n int) string {
	if n == 1 {
		return "1 change of meter"
	}
	return strconv.Itoa(n) + " changes of meter"
}

// dayAt is the day of a whole day number.
func dayAt(t float64) quantity.Date { return quantity.DateOfDayNumber(int(t)) }

// daysOut prints how many days out of lay-up there are.
func daysOut(h *usage.Hours, from, to quantity.Date) string {
	n := h.DaysOut(from, to)
	if n == to.Sub(from) {
		return strconv.Itoa(n) + " days"
	}
	return strconv.Itoa(n) + " days out of lay-up"
}

func overDays(h *usage.Hours, from, to, perWeek float64) string {
	return daysOut(h, dayAt(from), dayAt(to)) + " x " + fig(perWeek) + " / 7"
}

// totalAt writes out the hours at a time within the readings, and which
// readings they are from.
func totalAt(h *usage.Hours, t float64) (formula, at string) {
	k, l := h.Around(t)
	day := dayAt(t)
	if k.On == day {
		return fig(k.Hours), "reading of " + day.String()
	}
	between := "between the readings of " + k.On.String() + " and " + l.On.String()
	days := h.DaysOut(k.On, l.On)
	if days == 0 {
		return fig(k.Hours), between + ", laid up"
	}
	return "(" + fig(k.Hours) + " + (" + fig(l.Hours) + " - " + fig(k.Hours) + ") x " +
		strconv.Itoa(h.DaysOut(k.On, day)) + " / " + daysOut(h, k.On, l.On) + ")", day.String() + " " + between
}

// perDayOf shows where the hours a day that hold from begin on are from.
func (w *working) perDayOf(p *piece, path usage.Path, begin, perDay float64) {
	if w.known("day", path, [2]float64{begin}, perDay) {
		return
	}
	h := p.hours
	k, l := h.Around(begin)
	formula, source := fig(h.PerWeek(path))+" / 7, the rate to come", sourceOn
	switch {
	case h.DaysOut(dayAt(begin), dayAt(begin+1)) == 0:
		formula, source = "laid up", SourceFact
	case k.On.IsZero() && l.On.IsZero():
		source = sourcePlanned
	case k.On.IsZero():
		formula, source = fig(h.Basis().BackPerWeek)+" / 7, the rate before the first reading ("+seen(l)+")", sourceBack
	case !l.On.IsZero():
		formula, source = slopeOf(h, k, l), sourceReadings
	}
	w.add("hours a day from "+instant(begin)+", "+pathName(path)+" path", formula, fig(perDay)+" h a day", source)
}

// slopeOf writes out the hours a day between two readings.
func slopeOf(h *usage.Hours, k, l usage.Observation) string {
	return "(" + fig(l.Hours) + " - " + fig(k.Hours) + ") / " + daysOut(h, k.On, l.On) + ", readings of " + k.On.String() + " and " + l.On.String()
}

// hoursNow shows the hours of the machine on the day of the estimate.
func (w *working) hoursNow(h *usage.Hours) {
	first, last := h.Ends()
	if first.On.IsZero() {
		return
	}
	now := w.c.wear.now
	b, rate := h.Basis(), h.PerWeek(usage.Likely)
	formula, source := "last reading ("+seen(last)+")", sourceReadings
	if now > float64(last.On.DayNumber()) {
		formula += " + " + overDays(h, float64(last.On.DayNumber()), now, rate)
		source += ", then " + sourceOn
	}
	total := h.At(usage.Likely, now)
	if b.MeterChanges > 0 {
		formula += "; the running total over " + changes(b.MeterChanges)
	}
	if b.Offset != 0 {
		formula += ", not what the meter shows: that is " + fig(total) + " - " + fig(b.Offset) + " = " + fig(total-b.Offset) + " h"
	}
	w.add("machine hours on "+w.c.asOf.String(), formula, fig(total)+" h", source)
}

// ratesOf shows the rates of a machine, once: before its first reading where
// that counts, and to come.
func (w *working) ratesOf(p *piece) {
	h := p.hours
	for _, k := range w.rated {
		if k == h {
			return
		}
	}
	w.rated = append(w.rated, h)
	of := ""
	if now := w.c.wear.current(); now == nil || now.hours != h {
		of = " of the machine from " + instant(p.from)
	}
	first, last := h.Ends()
	if !first.On.IsZero() && p.from < float64(first.On.DayNumber()) {
		w.rateBefore(h, of)
	}
	if of == "" || p.to > float64(last.On.DayNumber()) {
		w.rateToCome(h, of)
	}
}

// rateBefore shows the rate before the first reading.
func (w *working) rateBefore(h *usage.Hours, of string) {
	b := h.Basis()
	planned := "none planned"
	if b.PlannedPerWeek > 0 {
		planned = fig(b.PlannedPerWeek) + " h a week planned"
	}
	slope := "no slope"
	if k, l, ok := h.FirstSlope(); ok {
		slope = "first slope " + slopeOf(h, k, l) + ", x 7"
	}
	formula := "the larger of " + planned + " and " + slope
	if !b.BackKnown {
		formula += ": nothing says how much it ran, so the most there can be"
	}
	w.add("rate before the first reading"+of, formula, fig(b.BackPerWeek)+" h a week", sourceBack)
}

// rateToCome shows the rate to come and its ends.
func (w *working) rateToCome(h *usage.Hours, of string) {
	b := h.Basis()
	formula, source := rateFormula(h, &b)
	if b.Stale {
		source += sourceStale
		formula += "; the last reading is older than 180 days"
		if b.Method != usage.Planned && b.PlannedPerWeek > 0 {
			formula += ": the larger of it and " + fig(b.PlannedPerWeek) + " h a week planned"
		}
	}
	percent := fig(b.Share * 100)
	quantiles := b.Method == usage.TheilSen || b.Q90PerWeek > 0
	if quantiles {
		formula += "; ends at the 10 % and 90 % quantiles of the pairwise slopes, at least " + percent + " % apart from it"
	} else {
		formula += ", ends at -" + percent + " % / +" + percent + " %"
	}
	middle := fig(h.PerWeek(usage.Likely))
	fast, slow := middle+" x "+fig(1+b.Share), middle+" x "+fig(1-b.Share)
	if quantiles {
		fast = "the larger of " + fig(b.Q90PerWeek) + " (90 % quantile of the pairwise slopes) and " + fast
		slow = "the smaller of " + fig(b.Q10PerWeek) + " (10 % quantile of the pairwise slopes) and " + slow
	}
	if quantiles && b.Stale {
		slow += ", and of " + fig(b.SlopePerWeek) + " x 0.85"
	}
	source += sourceEnds
	w.add("rate to come"+of, formula, middle+" h a week", source)
	w.add("rate to come"+of+", fast path", fast+", at most 168", fig(h.PerWeek(usage.Fast))+" h a week", source)
	w.add("rate to come"+of+", slow path", slow, fig(h.PerWeek(usage.Slow))+" h a week", source)
}

// rateFormula says which readings or plan the rate to come is from.
func rateFormula(h *usage.Hours, b *usage.Basis) (formula, source string) {
	window := strconv.Itoa(b.Readings) + " readings from " + b.WindowFrom.String() + " to " + b.WindowTo.String()
	if b.Readings == 1 {
		window = "1 reading of " + b.WindowTo.String()
	}
	switch b.Method {
	case usage.TheilSen:
		return "median of the pairwise slopes of " + window + ", " + fig(b.SlopePerWeek) + " h a week", sourceTheilSen
	case usage.Plain:
		k, _ := h.Around(float64(b.WindowFrom.DayNumber()))
		l, _ := h.Around(float64(b.WindowTo.DayNumber()))
		return "last less first of " + window + ": " + slopeOf(h, k, l) + ", x 7", sourceReadings
	}
	formula = "planned " + fig(b.PlannedPerWeek) + " h a week"
	if b.Readings > 0 {
		formula += " as there are too few readings for a slope (under 3, or under 28 days out of lay-up): " + window
	}
	return formula, sourcePlanned
}
