package life

import (
	"math"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// piece is a stretch of time over which nothing changes but the hours' rate.
type piece struct {
	from, to float64 // day numbers; to is +Inf for the last
	hours    *usage.Hours
	worked   bool // false: in store
	duty     int  // index, -1 where no conditions are known
	// ran are the running hours from from to to, per path; 0 for the last.
	ran [3]float64
}

// wear is an assembly's life as pieces, from the first fitting on.
type wear struct {
	pieces []piece
	duties []duty
	now    float64
	// noHours: a machine's hours are not known; noEarly: not before its first
	// reading.
	noHours, noEarly bool
	noDuty           bool // no conditions at all
}

// mix says what is summed: so much per day, per heat day (X), per weighted
// damage, per running hour and per cycle.
type mix struct{ day, heat, damage, hour, cycle float64 }

// rates are the mix's sum per day and per running hour over a piece.
func (w *wear) rates(m *mix, p *piece) (perDay, perHour float64) {
	perDay = m.day
	if !p.worked {
		return perDay, 0
	}
	perHour = m.hour
	if p.duty >= 0 {
		d := &w.duties[p.duty]
		perDay += m.heat * d.day()
		perHour += m.heat*d.hour() + m.damage*d.weight*d.perHour + m.cycle*d.cycles
	}
	return perDay, perHour
}

// gone bounds the rounding of a sum that should have reached its target.
const gone = 1e-12

// first is the first instant at which the mix, zero at the first fitting, has
// come to target; +Inf if it never does. Before the first fitting only days
// count.
func (w *wear) first(path usage.Path, m mix, target float64) float64 {
	at, _ := w.reach(path, &m, target)
	return at
}

// reach is first, and with it the piece in which it happens and what is left
// to do when that piece begins.
func (w *wear) reach(path usage.Path, m *mix, target float64) (at float64, c crossing) {
	rest := target
	begin := w.pieces[0].from
	if rest <= 0 {
		if m.day > 0 {
			return begin + rest/m.day, crossing{piece: -1, rest: rest}
		}
		return begin, crossing{piece: -1, rest: rest}
	}
	for i := range w.pieces {
		p := &w.pieces[i]
		perDay, perHour := w.rates(m, p)
		if !math.IsInf(p.to, 1) {
			gain := perDay*(p.to-p.from) + perHour*p.ran[path]
			if gain < rest-gone*target {
				rest -= gain
				continue
			}
		}
		return math.Min(p.cross(path, perDay, perHour, rest), p.to), crossing{i, rest, perDay, perHour}
	}
	return math.Inf(1), crossing{piece: -1}
}

// crossing is where a sum comes to its target.
type crossing struct {
	piece           int // -1: before the first fitting, or never
	rest            float64
	perDay, perHour float64
}

func (p *piece) cross(path usage.Path, perDay, perHour, rest float64) float64 {
	if p.hours == nil || perHour == 0 {
		if perDay == 0 {
			return math.Inf(1)
		}
		return p.from + rest/perDay
	}
	at, ok := p.hours.First(path, p.from, perDay, perHour, rest)
	if !ok {
		return math.Inf(1)
	}
	return at
}

// sums are what has been worn since the first fitting.
type sums struct{ heat, damage, weighted, hours, cycles float64 }

// at sums up to the instant t on a path.
func (w *wear) at(path usage.Path, t float64) sums {
	var s sums
	for i := range w.pieces {
		p := &w.pieces[i]
		if p.from >= t {
			break
		}
		if !p.worked {
			continue
		}
		days, ran := p.to-p.from, p.ran[path]
		if t < p.to {
			days, ran = t-p.from, p.between(path, p.from, t)
		}
		s.hours += ran
		if p.duty < 0 {
			continue
		}
		d := &w.duties[p.duty]
		s.heat += d.day()*days + d.hour()*ran
		s.damage += d.perHour * ran
		s.weighted += d.weight * d.perHour * ran
		s.cycles += d.cycles * ran
	}
	return s
}

func (p *piece) between(path usage.Path, from, to float64) float64 {
	if p.hours == nil {
		return 0
	}
	return p.hours.Between(path, from, to)
}

// current is the piece that contains now, or nil.
func (w *wear) current() *piece {
	for i := range w.pieces {
		if p := &w.pieces[i]; p.from <= w.now && w.now < p.to {
			return p
		}
	}
	return nil
}

// builder makes the pieces of a life. rows are the rows of conditions in order
// of their days.
type builder struct {
	w    *wear
	a    *Assembly
	asOf quantity.Date
}

// lay fills w with the life of a, which must have been fitted and have passed
// Check. Conditions hold from their day to the next row; the first holds
// before its day too. Stints that begin after asOf are not known yet, and a
// stint that ends after asOf has not ended.
func (b *builder) lay() {
	a, at := b.a, float64(b.a.Fitted.DayNumber())
	if len(a.Stints) == 0 {
		b.work(at, math.Inf(1), nil)
		return
	}
	done, any := quantity.Date{}, false
	for {
		s := b.next(done, any)
		if s == nil {
			break
		}
		from, to := float64(s.From.DayNumber()), math.Inf(1)
		if !s.To.IsZero() && !s.To.After(b.asOf) {
			to = float64(s.To.DayNumber())
		}
		switch {
		case from <= at:
		case !any:
			b.work(at, from, nil)
		default:
			b.store(at, from)
		}
		b.work(from, to, s.Hours)
		at, done, any = to, s.From, true
	}
	switch {
	case !any:
		b.work(at, math.Inf(1), nil)
	case !math.IsInf(at, 1):
		b.store(at, math.Inf(1))
	}
}

// next is the first stint that begins after done, or on any day for the first
// one. Stints of no length are passed over.
func (b *builder) next(done quantity.Date, any bool) *Stint {
	var n *Stint
	for i := range b.a.Stints {
		s := &b.a.Stints[i]
		if any && !s.From.After(done) || s.From.After(b.asOf) || s.From == s.To {
			continue
		}
		if n == nil || s.From.Before(n.From) {
			n = s
		}
	}
	return n
}

func (b *builder) store(from, to float64) {
	if to > from {
		b.w.pieces = append(b.w.pieces, piece{from: from, to: to, duty: -1})
	}
}

// work adds the time from from to to on one machine, cut where conditions
// change.
func (b *builder) work(from, to float64, hours *usage.Hours) {
	if !(to > from) {
		return
	}
	w := b.w
	if hours == nil {
		w.noHours = true
	} else if known := hours.Basis(); !known.First.IsZero() && !known.BackKnown && from < float64(known.First.DayNumber()) {
		w.noEarly = true
	}
	if len(w.duties) == 0 {
		w.noDuty = true
		b.cut(from, to, hours, -1)
		return
	}
	for i := range w.duties {
		begin, end := from, to
		if i > 0 {
			begin = math.Max(begin, float64(w.duties[i].row.From.DayNumber()))
		}
		if i+1 < len(w.duties) {
			end = math.Min(end, float64(w.duties[i+1].row.From.DayNumber()))
		}
		if end > begin {
			b.cut(begin, end, hours, i)
		}
	}
}

func (b *builder) cut(from, to float64, hours *usage.Hours, duty int) {
	p := piece{from: from, to: to, hours: hours, worked: true, duty: duty}
	if hours != nil && !math.IsInf(to, 1) {
		for path := range p.ran {
			p.ran[path] = hours.Between(usage.Path(path), from, to)
		}
	}
	b.w.pieces = append(b.w.pieces, p)
}

// dayOf is the day that contains the instant t. An instant within a millionth
// of a day (0.1 s) before midnight is taken as that midnight, so that a sum
// which comes out even does not hang on its last bit.
func dayOf(t float64) quantity.Date { return quantity.DayOfInstant(t + 1e-6) }
