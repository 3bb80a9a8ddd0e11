package exchange

import (
	"hoseward/internal/life"
	"hoseward/internal/life/usage"
)

// The lists of dated facts in a line: readings, meter events, lay-ups and
// findings.

func (l *LifeReader) readings() {
	l.list(func() {
		r := &l.r
		var v usage.Reading
		hours := false
		for r.object(); r.key(); {
			switch string(r.name) {
			case "on":
				v.On = r.date()
			case "hours":
				v.Hours, hours = r.number(), true
			default:
				r.unknown()
			}
		}
		if r.err == nil && (v.On.IsZero() || !hours) {
			r.fail("needs on and hours")
		}
		l.series.Readings = append(l.series.Readings, v)
	})
}

func (l *LifeReader) meterEvents() {
	l.list(func() {
		r := &l.r
		var v usage.MeterEvent
		var has [2]bool
		for r.object(); r.key(); {
			switch string(r.name) {
			case "on":
				v.On = r.date()
			case "old_end":
				v.OldEnd, has[0] = r.number(), true
			case "new_start":
				v.NewStart, has[1] = r.number(), true
			default:
				r.unknown()
			}
		}
		if r.err == nil && (v.On.IsZero() || has != [2]bool{true, true}) {
			r.fail("needs on, old_end and new_start")
		}
		l.series.Events = append(l.series.Events, v)
	})
}

func (l *LifeReader) laidUp() {
	l.list(func() {
		r := &l.r
		var v usage.LayUp
		for r.object(); r.key(); {
			switch string(r.name) {
			case "from":
				v.From = r.date()
			case "to":
				v.To = r.date()
			default:
				r.unknown()
			}
		}
		if r.err == nil && v.From.IsZero() {
			r.fail("needs from")
		}
		l.series.LaidUp = append(l.series.LaidUp, v)
	})
}

func (l *LifeReader) findings() {
	l.list(func() {
		r := &l.r
		var f life.Finding
		for r.object(); r.key(); {
			switch string(r.name) {
			case "on":
				f.On = r.date()
			case "class":
				f.Class = life.Class(r.text())
			case "by":
				f.By = r.date()
			case "released":
				f.Closed = r.date()
			default:
				r.unknown()
			}
		}
		l.a.Findings = append(l.a.Findings, f)
	})
}
