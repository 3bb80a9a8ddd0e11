package demo

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// past works out what sat at each position before, as far back as removals
// were noted, and how it ended.
func (b *builder) past() {
	start := b.today.AddMonths(-historyMonths)
	for _, s := range b.slots {
		for u := s.now; u != nil && !u.follows && u.from.After(start) && u.from.Sub(s.machine.came) > 60; {
			before := b.predecessor(s, u)
			b.arrive(s, before)
			b.end(s, before)
			s.past = append(s.past, before)
			u = before
		}
		if s.now == nil || s.now.carried {
			continue
		}
		b.arrive(s, s.now)
		if s.empty {
			s.now.to = workday(b.today.AddDays(-6))
			s.now.cause = register.CauseOutside
			b.end(s, s.now)
			s.past, s.now = append(s.past, s.now), nil
		}
	}
}

// predecessor is what u replaced on the day it was fitted.
func (b *builder) predecessor(s *slot, u *unit) *unit {
	cause := b.cause(s)
	span := s.limits.assembled * 30
	if s.limits.short() {
		span = b.span(s)
	}
	days := span * b.between(90, 101) / 100
	if cause != register.CausePlanned {
		days = span * b.between(18, 88) / 100
	}
	from := workday(u.from.AddDays(-days))
	if from.Sub(s.machine.came) < 60 {
		from = s.machine.came
	}
	if from == s.machine.hours.changed {
		from = from.AddDays(-1)
	}
	before := b.unit(s, from, monthStart(from.AddDays(-b.between(12, 110))))
	before.to, before.cause = u.from, cause
	return before
}

// cause draws why a hose came off: lines that are renewed often mostly come
// off as planned.
func (b *builder) cause(s *slot) register.Cause {
	planned := 0.2
	if s.limits.short() {
		planned = 0.62
	}
	if b.chance(planned) {
		return register.CausePlanned
	}
	if s.line.marks&exposed != 0 && b.chance(0.4) {
		return register.CauseOutside
	}
	return pick(b, []register.Cause{
		register.CauseOutside, register.CauseOutside, register.CauseHeat, register.CausePressure,
		register.CausePressure, register.CauseAssembly, register.CauseUnknown,
	})
}

// sight is what was seen of a cause, and the finding of an inspection that saw
// it in time.
type sight struct {
	reason, seen string
	number       int
	class        life.Class
}

func sights(c register.Cause) []sight {
	switch c {
	case register.CauseHeat:
		return []sight{
			{"cover hard and cracked", "fine cracks all round near end A, cover stiff", 8, life.Stop},
			{"charred on one side", "cover charred where it lay near the exhaust", 8, life.Stop},
		}
	case register.CausePressure:
		return []sight{
			{"burst on the road", "split of 30 mm in the middle, wires broken", 0, life.Stop},
			{"oil sweating through the cover", "wet over 200 mm, blisters", 1, life.Stop},
			{"blister under the cover", "soft blister of 15 mm", 7, life.Stop},
		}
	case register.CauseAssembly:
		return []sight{
			{"hose creeping out of the fitting", "4 mm of bare hose behind the ferrule", 4, life.Stop},
			{"leak at the ferrule", "drops at end B under pressure", 1, life.Stop},
		}
	case register.CauseOutside:
		return []sight{
			{"chafed", "chafed to the wire on a bracket", 2, life.Stop},
			{"cut", "cut of 20 mm, wire visible", 2, life.Stop},
			{"cover scuffed", "cover scuffed over 100 mm, wire not reached", 3, life.Replace},
			{"crushed", "flattened between arm and frame", 5, life.Stop},
		}
	case register.CauseUnknown:
		return []sight{
			{"worn out", "cover crazed, fitting rusty, nothing that stands out", 10, life.Replace},
		}
	}
	return []sight{{"due by date", "", 0, life.Sound}}
}

// end notes how an assembly came off, and the look that found the damage where
// one did.
func (b *builder) end(s *slot, u *unit) {
	w := pick(b, sights(u.cause))
	found := register.FoundByInspection
	if u.cause != register.CausePlanned && b.chance(0.45) || w.number == 0 && w.class == life.Stop {
		found = register.FoundByEvent
	}
	if u.cause != register.CausePlanned && found == register.FoundByInspection {
		b.caught(s, u, w)
	}
	hours := s.noted(u, u.to)
	b.happen(u.to, removed, func() register.Command {
		return register.Remove{
			AssemblyCode: u.assembly.Code, On: u.to, Hours: hours, Cause: u.cause,
			FoundBy: found, Reason: w.reason, Seen: w.seen, Scrapped: true,
		}
	})
}

// caught is the look that found the damage: on the day of the removal for what
// may not run any longer, else some days before.
func (b *builder) caught(s *slot, u *unit, w sight) {
	on := u.to
	if w.class == life.Replace {
		on = workday(u.to.AddDays(-b.between(4, 20)))
	}
	if !on.After(u.from) {
		on = u.to
	}
	f := register.NewFinding{Number: w.number, Class: w.class, Place: pick(b, places()), Note: w.seen}
	if w.class == life.Replace {
		f.ActBy = on.AddDays(21)
	}
	b.look(s, on, inspectorA, f)
}

func places() []string { return []string{"end A", "middle", "end B"} }

// The people who inspect.
const (
	inspectorA = "inspector A."
	inspectorB = "inspector B."
	fitterC    = "fitter C."
)

// look notes an inspection of what sits at a line.
func (b *builder) look(s *slot, on quantity.Date, by string, findings ...register.NewFinding) {
	b.happen(on, looked, func() register.Command {
		return register.Inspect{Machine: s.machine.code, Position: s.name, On: on, By: by, Findings: findings}
	})
}
