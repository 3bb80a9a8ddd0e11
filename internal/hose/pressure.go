package hose

import (
	"fmt"
	"strings"

	"hoseward/internal/quantity"
)

// Printed is a pressure printed in a line.
type Printed struct {
	Pressure quantity.Pressure
	Unit     quantity.PressureUnit
	// Not is what it is instead of a rating, "burst" or "test"; empty for a
	// rating.
	Not string
}

// pressureGroup is one figure, printed once or in several units side by side.
type pressureGroup struct {
	values   []Printed
	from, to int // first and last lexeme
}

// highest is the largest value of the group in bar.
func (g pressureGroup) highest() quantity.Pressure {
	h := g.values[0].Pressure
	for _, v := range g.values[1:] {
		h = max(h, v.Pressure)
	}
	return h
}

func (g pressureGroup) lowest() quantity.Pressure {
	l := g.values[0].Pressure
	for _, v := range g.values[1:] {
		l = min(l, v.Pressure)
	}
	return l
}

// preferred is the value to use where the units agree: the printed bar, else
// MPa, else psi; of several in one unit the lowest.
func (g pressureGroup) preferred() quantity.Pressure {
	for _, u := range [...]quantity.PressureUnit{quantity.Bar, quantity.MPa, quantity.PSI} {
		var low quantity.Pressure
		for _, v := range g.values {
			if v.Unit == u && (low == 0 || v.Pressure < low) {
				low = v.Pressure
			}
		}
		if low > 0 {
			return low
		}
	}
	return g.lowest()
}

// pressureReader finds the pressures of a line and tells ratings from burst
// and test pressures.
type pressureReader struct {
	lexemes []lexeme
	groups  []pressureGroup
	not     []string // by group: why it is no rating
	notes   []string
	// burst: the line speaks of a burst pressure, with or without a number.
	burst bool
}

// maxGroups bounds the work on noise.
const maxGroups = 16

func (r *pressureReader) read() {
	for i := 0; i < len(r.lexemes); i++ {
		if r.lexemes[i].kind != number || r.lexemes[i].used {
			continue
		}
		if p, from, to, ok := r.pressureAt(i); ok {
			r.add(p, from, to)
			i = to
		}
	}
	r.not = make([]string, len(r.groups))
	r.sortOut()
}

func unitOf(l lexeme) (quantity.PressureUnit, float64, bool) {
	switch l.text {
	case "BAR", "BARS", "BARG":
		return quantity.Bar, 1, true
	case "MPA":
		return quantity.MPa, 1, true
	case "KPA":
		return quantity.Bar, 0.01, true
	case "PSI", "PSIG":
		return quantity.PSI, 1, true
	}
	return "", 0, false
}

// pressureAt reads the pressure whose number stands at i: 250 BAR, BAR 250.
func (r *pressureReader) pressureAt(i int) (p Printed, from, to int, ok bool) {
	text := r.lexemes[i].text
	var factor float64
	if p.Unit, factor, ok = r.unitBefore(i); ok {
		from, to = i-1, i
	} else {
		if i+1 == len(r.lexemes) {
			return p, 0, 0, false
		}
		if p.Unit, factor, ok = unitOf(r.lexemes[i+1]); !ok {
			return p, 0, 0, false
		}
		from, to = i, i+1
		if p.Unit == quantity.PSI {
			text, from = r.spaced(i)
		}
	}
	v, err := quantity.ParseNumber(thousands(text, p.Unit))
	if err != nil {
		return p, 0, 0, false
	}
	p.Pressure = quantity.PressureOf(v*factor, p.Unit)
	if p.Pressure <= 0 || p.Pressure > quantity.MaxPressure {
		r.note("%s %s is no pressure for a hose; not read", clip(text), p.Unit)
		return p, 0, 0, false
	}
	return p, from, to, true
}

// unitBefore is the unit in front of the number at i, if it does not belong to
// a number before it.
func (r *pressureReader) unitBefore(i int) (quantity.PressureUnit, float64, bool) {
	if i == 0 || r.lexemes[i-1].used || i > 1 && r.lexemes[i-2].kind == number && !r.lexemes[i-2].used {
		return "", 0, false
	}
	return unitOf(r.lexemes[i-1])
}

// thousands drops the separator of 4,000 psi and 1.100 bar: with three digits
// behind a single comma or point it separates thousands. MPa is printed with
// decimals.
func thousands(text string, u quantity.PressureUnit) string {
	i := strings.IndexAny(text, ",.")
	if u == quantity.MPa || i < 1 || i > 3 || text[0] == '0' || len(text) != i+4 || !isDigits(text[i+1:]) {
		return text
	}
	return text[:i] + text[i+1:]
}

// spaced joins 4 000 psi. Only zeros behind the gap are surely thousands;
// otherwise the first number may be a size, so the lower value is read.
func (r *pressureReader) spaced(i int) (text string, from int) {
	l := r.lexemes[i]
	if i == 0 || l.glued || !l.digits(3) {
		return l.text, i
	}
	before := r.lexemes[i-1]
	if before.used || !(before.digits(1) || before.digits(2)) || before.glued && (i < 2 || r.lexemes[i-2].kind != punct) {
		return l.text, i
	}
	if l.text[0] == '0' {
		return before.text + l.text, i - 1
	}
	r.note("%s %s psi is read as %s psi; if it is one number, enter it", before.text, l.text, l.text)
	return l.text, i
}

func (r *pressureReader) note(format string, args ...any) {
	if len(r.notes) < maxGroups {
		r.notes = append(r.notes, fmt.Sprintf(format, args...))
	}
}

// add puts a pressure into the group before it if it is the same figure in
// another unit with only punctuation between, else into a new one.
func (r *pressureReader) add(p Printed, from, to int) {
	for i := from; i <= to; i++ {
		r.lexemes[i].used = true
	}
	if n := len(r.groups); n > 0 {
		g := &r.groups[n-1]
		if SameRating(float64(p.Pressure), float64(g.preferred())) && r.onlyPunct(g.to+1, from) {
			if len(g.values) < maxGroups {
				g.values = append(g.values, p)
			}
			g.to = to
			return
		}
	}
	if len(r.groups) == maxGroups {
		r.note("more pressures than one hose can carry; the first %d were read", maxGroups)
		return
	}
	r.groups = append(r.groups, pressureGroup{[]Printed{p}, from, to})
}

func (r *pressureReader) onlyPunct(from, end int) bool {
	for i := from; i < end; i++ {
		if r.lexemes[i].kind != punct {
			return false
		}
	}
	return true
}

// sortOut marks the groups that a word calls burst or test pressure. A word
// between two figures may belong to either: the larger one is then taken for
// it, because a hose bursts and is tested above its rating. There are at least
// as many such figures as words beside figures, and one where the line speaks
// of burst at all: the highest that are left are marked too.
func (r *pressureReader) sortOut() {
	g, words := 0, 0 // first group behind i; words beside a figure
	for i := range r.lexemes {
		for g < len(r.groups) && r.groups[g].from <= i {
			g++
		}
		not := notRating(r.lexemes[i])
		if not == "" {
			continue
		}
		r.burst = r.burst || not == burstPressure
		before, after := -1, -1
		if g > 0 && r.near(r.groups[g-1].to+1, i) {
			before = g - 1
		}
		if g < len(r.groups) && r.near(i+1, r.groups[g].from) {
			after = g
		}
		if before < 0 && after < 0 {
			continue
		}
		words++
		pick := after
		if after < 0 || before >= 0 && r.not[before] == "" && r.groups[before].highest() > r.groups[after].highest() {
			pick = before
		}
		r.not[pick] = not
	}
	marked, burst := 0, false
	for _, n := range r.not {
		if n != "" {
			marked++
			burst = burst || n == burstPressure
		}
	}
	if r.burst && !burst {
		words = max(words, marked+1)
	}
	for ; marked < min(words, len(r.groups)); marked++ {
		r.markHighest()
	}
}

// What a printed pressure can be instead of a rating.
const (
	burstPressure = "burst"
	testPressure  = "test"
)

func notRating(l lexeme) string {
	switch {
	case l.kind != word:
	case l.is("BURST", "BP", "MBP", "BURSTING", "BERSTDRUCK"):
		return burstPressure
	case l.is("PROOF", "TP", "TEST", "TESTED", "PRÜFDRUCK"):
		return testPressure
	}
	return ""
}

func (r *pressureReader) markHighest() {
	high := -1
	for i, g := range r.groups {
		if r.not[i] == "" && (high < 0 || g.highest() > r.groups[high].highest()) {
			high = i
		}
	}
	if high >= 0 {
		r.not[high] = burstPressure
	}
}

// near reports whether only signs and words such as PRESSURE or MIN stand
// between two places.
func (r *pressureReader) near(from, end int) bool {
	if end-from > 6 {
		return false
	}
	for i := from; i < end; i++ {
		l := r.lexemes[i]
		if l.kind != punct && !l.is("PRESSURE", "PRESS", "MIN", "MINIMUM", "MAX", "AT", "TO", "OF", "P") {
			return false
		}
	}
	return true
}

// rating is the pressure to use: the one printed, or the lowest where several
// are printed that do not agree. nil if there is none.
func (r *pressureReader) rating() *float64 {
	var rated pressureGroup
	for i, g := range r.groups {
		if r.not[i] != "" {
			r.note("%s is the %s pressure, not the rating", g.preferred().Format(quantity.Bar), r.not[i])
			continue
		}
		rated.values = append(rated.values, g.values...)
	}
	if len(rated.values) == 0 {
		return nil
	}
	low, high := rated.lowest(), rated.highest()
	use := rated.preferred()
	if !SameRating(float64(low), float64(high)) {
		r.note("%s and %s are both printed; the lower is taken", high.Format(quantity.Bar), low.Format(quantity.Bar))
		use = low
	}
	v := float64(use)
	return &v
}

// printed lists all pressures with what they are.
func (r *pressureReader) printed() []Printed {
	var all []Printed
	for i, g := range r.groups {
		for _, v := range g.values {
			v.Not = r.not[i]
			all = append(all, v)
		}
	}
	return all
}
