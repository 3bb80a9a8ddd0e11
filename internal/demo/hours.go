package demo

import (
	"math"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// hours are the running hours of a machine, day by day since it came.
type hours struct {
	from    quantity.Date
	sum     []float64 // sum[i] is what had run at the start of day from + i
	base    float64   // what the meter showed when the machine came
	changed quantity.Date
}

// share is how much of its weekly hours a machine works in a month.
func (s season) share(month int) float64 {
	switch s {
	case winter:
		return [...]float64{1.3, 1.2, 0.8, 0.2, 0, 0, 0, 0, 0, 0.3, 0.9, 1.2}[month-1]
	case summer:
		return [...]float64{0, 0, 0.4, 0.9, 1.2, 1.2, 1.1, 1.1, 1, 0.7, 0.2, 0}[month-1]
	}
	return [...]float64{0.98, 1, 1.02, 1.04, 1, 0.98, 0.94, 0.92, 1, 1.04, 1.06, 1}[month-1]
}

// rest tells whether a machine is laid up on a day: gritters and ploughs from
// 20 April to 9 October, mowers from 20 November to 9 March.
func (s season) rest(d quantity.Date) bool {
	_, m, dom := d.YMD()
	md := m*100 + dom
	switch s {
	case winter:
		return md >= 420 && md < 1010
	case summer:
		return md >= 1120 || md < 310
	}
	return false
}

func (m *machine) plannedWeekly() float64 {
	mean := 0.0
	for month := 1; month <= 12; month++ {
		mean += m.season.share(month) / 12
	}
	return math.Round(m.weekly * mean)
}

// run works out the hours of a machine from the day it came to today, a little
// more or less from month to month.
func (b *builder) run(m *machine) *hours {
	h := &hours{from: m.came, base: float64(b.between(4, 40))}
	total, luck, month := 0.0, 1.0, 0
	for d := m.came; !d.After(b.today); d = d.AddDays(1) {
		h.sum = append(h.sum, total)
		_, mo, _ := d.YMD()
		if mo != month {
			month, luck = mo, 0.92+0.16*b.rng.Float64()
		}
		if !m.season.rest(d) {
			total += m.weekly / 7 * m.season.share(mo) * luck
		}
	}
	if m.meter == replaced {
		h.changed = workday(b.today.AddDays(-b.between(380, 440)))
	}
	return h
}

// ran is what ran by the start of d; nothing before the machine came.
func (h *hours) ran(d quantity.Date) float64 {
	i := d.Sub(h.from)
	switch {
	case i <= 0:
		return 0
	case i >= len(h.sum):
		return h.sum[len(h.sum)-1]
	}
	return h.sum[i]
}

// shown is what the meter shows at the start of d, in whole hours.
func (h *hours) shown(d quantity.Date) float64 {
	if !h.changed.IsZero() && d.After(h.changed) {
		return math.Floor(h.ran(d) - h.ran(h.changed))
	}
	return math.Floor(h.base + h.ran(d))
}

// meters notes the readings of all machines, about one a month, and what
// happened to the meters.
func (b *builder) meters() {
	for _, m := range b.machines {
		b.rests(m)
		if m.meter == noMeter {
			continue
		}
		b.readings(m)
		if h := m.hours; !h.changed.IsZero() {
			b.happen(h.changed, meterChanged, func() register.Command {
				return register.AddMeterEvent{
					Machine: m.code, On: h.changed, OldEnd: h.shown(h.changed), NewStart: 0,
					Note: "Meter failed and was replaced.",
				}
			})
		}
	}
}

// readings are taken in the first days of a month, every other month while the
// machine is laid up, and once more in the last days.
func (b *builder) readings(m *machine) {
	end := b.today.AddDays(-b.between(2, 12))
	if m.meter == forgotten {
		end = b.today.AddDays(-b.between(230, 250))
	}
	first := monthStart(b.today.AddMonths(-readingMonths))
	n := 0
	for month := first; ; month = month.AddMonths(1) {
		on := workday(month.AddDays(b.between(2, 7)))
		if !on.Before(end.AddDays(-6)) {
			break
		}
		n++
		if on.Before(m.came) || on == m.hours.changed || m.season.rest(on) && n%2 == 0 {
			continue
		}
		b.reading(m, on)
	}
	if end != m.hours.changed && end.After(m.came) {
		b.reading(m, end)
	}
}

// reading is left out on a day on which the meter was read at a hose anyway.
func (b *builder) reading(m *machine, on quantity.Date) {
	if m.noted[on] {
		return
	}
	m.noted[on] = true
	b.happen(on, read, func() register.Command {
		return register.AddReading{Machine: m.code, On: on, Hours: m.hours.shown(on), Source: "workshop sheet"}
	})
}

// rests notes when a seasonal machine was laid up. A rest that lasts has no
// end yet.
func (b *builder) rests(m *machine) {
	if m.season == allYear {
		return
	}
	reason := "out of season"
	from := quantity.Date{}
	for d := b.today.AddMonths(-readingMonths); ; d = d.AddDays(1) {
		rest := m.season.rest(d) && !d.Before(m.came)
		switch {
		case rest && from.IsZero():
			from = d
		case !rest && !from.IsZero():
			f, to := from, d
			b.happen(to, laidUp, func() register.Command {
				return register.AddLayUp{Machine: m.code, From: f, To: to, Reason: reason}
			})
			from = quantity.Date{}
		}
		if d == b.today {
			break
		}
	}
	if !from.IsZero() {
		b.happen(from, laidUp, func() register.Command {
			return register.AddLayUp{Machine: m.code, From: from, Reason: reason}
		})
	}
}
