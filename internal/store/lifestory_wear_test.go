package store_test

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// stint is a time an assembly of the wear test sat on a machine, with what the
// hour meter showed at both ends.
type stint struct {
	machine       int
	from, to      quantity.Date
	before, after float64
	stillThere    bool
}

// TestStories_WearIsTheSumOverPlacements moves an assembly between two machines
// that are worked differently. Its hours and its damage must be those of all
// its stints, each worked out directly by package life as if there were no
// other; and moving must not start its calendar again.
func TestStories_WearIsTheSumOverPlacements(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	forgetful(t, s)
	tell(t, testkit.Stories(25), func(r *rapid.T) {
		empty(t, s)
		cycles := [2]life.Cycle{{MaxBar: 160, Count: 30}, {MaxBar: 210, Count: 12}}
		cmds := places()
		for i := range cycles {
			cmds = append(cmds, register.SetConditions{
				Machine: machineCode(i), From: day("2020-01-01"), Basis: register.Measured,
				Service: register.Service{Cycles: register.Cycles{cycles[i]}, FluidC: f64(60), Recorded: yes()},
			})
		}
		moved, whole := hose("MOVED"), hose("STAYED")
		cmds = append(cmds, moved, whole)
		if _, err := s.Apply(context.Background(), now, me, cmds...); err != nil {
			t.Fatal(err)
		}
		stints := drawStints(r)
		enterStints(r, s, stints)
		a := sheet(t, s, "MOVED")
		if a.Estimate == nil || a.Problem != "" {
			r.Fatalf("no estimate: %s", a.Problem)
		}
		hours, damage := 0.0, 0.0
		for i := range stints {
			worn := alone(r, a, &stints[i], cycles[stints[i].machine])
			hours += stints[i].after - stints[i].before
			damage += worn
		}
		near(r, "running hours", *a.Estimate.HoursSinceFitting, hours)
		near(r, "damage", *clock(r, a.Estimate, life.PressureClock).Damage, damage)
		if !stints[len(stints)-1].stillThere {
			return
		}
		// One that never moved has the same calendar.
		fit := register.Fit{AssemblyCode: "STAYED", Machine: "M-1", Position: "s3", On: stints[0].from, ReleasedBy: "B. Wise", Reason: "tested"}
		if _, err := s.Apply(context.Background(), now, me, fit); err != nil {
			r.Fatal(err)
		}
		stayed := clock(r, sheet(t, s, "STAYED").Estimate, life.CalendarClock)
		if c := clock(r, a.Estimate, life.CalendarClock); c.Due != stayed.Due || c.Rule != stayed.Rule {
			r.Fatalf("calendar of the moved one %s by %s, of one that stayed %s by %s", c.Due, c.Rule, stayed.Due, stayed.Rule)
		}
	})
}

// drawStints are one to four stints between July 2024 and today. What the
// machines run meanwhile, without it, is drawn too.
func drawStints(r *rapid.T) []stint {
	on, shows := day("2024-07-01"), [2]float64{500, 2000}
	last := [2]quantity.Date{on, on}
	var out []stint
	for i := range rapid.IntRange(1, 4).Draw(r, "stints") {
		on = on.AddDays(rapid.IntRange(0, 40).Draw(r, "in store"))
		n := stint{machine: rapid.IntRange(0, 1).Draw(r, "machine"), from: on}
		if i > 0 && on == out[i-1].to && n.machine == out[i-1].machine {
			n.machine = 1 - n.machine // a move, not a stay
		}
		shows[n.machine] += float64(on.Sub(last[n.machine])) * rapid.Float64Range(0, 20).Draw(r, "without it")
		n.before = shows[n.machine]
		days := rapid.IntRange(1, 180).Draw(r, "days")
		on = on.AddDays(days)
		shows[n.machine] += float64(days) * rapid.Float64Range(0, 20).Draw(r, "with it")
		n.to, n.after, last[n.machine] = on, shows[n.machine], on
		out = append(out, n)
	}
	if rapid.Bool().Draw(r, "still there") {
		n := &out[len(out)-1]
		n.stillThere = true
		n.after = n.before + (n.after-n.before)*rapid.Float64Range(0, 1).Draw(r, "less")
		n.to = day("2026-11-25")
	}
	return out
}

// enterStints enters them in any order the rules take; the one that lasts with
// a reading of today.
func enterStints(r *rapid.T, s *store.Store, stints []stint) {
	var facts []fact
	for _, n := range stints {
		cmds := []register.Command{register.Fit{
			AssemblyCode: "MOVED", Machine: machineCode(n.machine), Position: seatName(2 * n.machine), On: n.from, Hours: f64(n.before),
			ReleasedBy: "B. Wise", Reason: "tested",
		}}
		if n.stillThere {
			cmds = append(cmds, register.AddReading{Machine: machineCode(n.machine), On: n.to, Hours: n.after})
		} else {
			cmds = append(cmds, register.Remove{AssemblyCode: "MOVED", On: n.to, Hours: f64(n.after), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
		}
		facts = append(facts, fact{what: "stint", cmds: cmds})
	}
	w := &tale{r: r, m: newModel()}
	w.enter(s, rapid.Permutation(facts).Draw(r, "order"))
}

// alone is the damage of a stint by itself: its hours times what an hour does
// under the conditions of its machine, both from package life.
func alone(r *rapid.T, a register.AssemblySheet, n *stint, c life.Cycle) float64 {
	in := *a.Input
	in.Fitted = n.from
	in.Stints = []life.Stint{{From: n.from, Hours: nil}}
	in.Conditions = []life.Conditions{{From: n.from, Cycles: []life.Cycle{c}, FluidC: f64(60), Recorded: true}}
	e, err := life.Of(&in, day("2026-11-25"))
	if err != nil {
		r.Fatal(err)
	}
	p := clock(r, &e, life.PressureClock)
	if p.DamagePerHour == nil {
		r.Fatalf("no damage of an hour: %+v", p)
	}
	return *p.DamagePerHour * (n.after - n.before)
}

func clock(r *rapid.T, e *life.Estimate, name life.ClockName) life.Clock {
	for _, c := range e.Clocks {
		if c.Name == name {
			return c
		}
	}
	r.Fatalf("there is no clock %s: %+v", name, e)
	return life.Clock{}
}

func near(r *rapid.T, what string, got, want float64) {
	if math.Abs(got-want) > 1e-9*math.Max(1, math.Abs(want)) {
		r.Fatalf("%s %v, want %v", what, got, want)
	}
}
