package demo

import (
	"fmt"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// trouble gives a few lines the troubles that a register has to show. Each is
// named by machine and line, so that people can look for it.
func (b *builder) trouble() {
	b.wrongHoses()
	b.wrongAges()
	b.unknowns()
	b.hotLines()
	b.recorded()
	b.openFindings()
	b.smallThings()
	if s := b.find("SP-02", "wing cylinder, rod side"); s != nil {
		s.empty = true
	}
	b.moved()
}

// recent fits a line anew some months ago, out of the way of anything else
// that was planned for it.
func (b *builder) recent(s *slot, months int) *unit {
	b.fitOn(s, b.today.AddMonths(-months).AddDays(-b.between(0, 20)), b.between(12, 60))
	s.marked = true
	return s.now
}

// wrongHoses are lines that got a hose too weak for them, or one of a rating
// that is in no table.
func (b *builder) wrongHoses() {
	for _, w := range []struct {
		machine, line string
		f             family
		months        int
		note          string
	}{
		{"RT-04", "packer plate cylinder right, piston side", sn1, 5, "Made up on a Saturday from what was on the shelf."},
		{"SP-02", "blade lift cylinder, rod side", sc1, 9, ""},
		{"VM-03", "flail motor, supply", sn1, 4, "Replaced on the verge by a call-out."},
	} {
		s := b.find(w.machine, w.line)
		if s == nil {
			continue
		}
		u := b.recent(s, w.months)
		weak := s.line
		weak.family = w.f
		u.assembly = b.hose(weak, u.assembly.Assembled.From, 90)
		u.assembly.Note = w.note
	}
	if s := b.find("BL-01", "loader tilt cylinder right, piston side"); s != nil {
		a := &b.recent(s, 20).assembly
		a.Maker, a.RatedBar, a.RatingSource = nowhere, ptr(250.0), register.RatingPrinted
		a.Layline = printed(nowhere, sn2, 12, 250, a.Made)
		a.Note = "Printed lower than the tables have it."
	}
}

// youngHose makes the hose of an assembly one made a quarter before it was
// assembled.
func (b *builder) youngHose(s *slot, a *register.Assembly) {
	bar := *a.RatedBar
	if a.RatingSource == register.RatingTable {
		bar = 0 // not printed
	}
	a.Made = quarterOf(a.Assembled.From.AddDays(-90))
	a.Layline = printed(a.Maker, s.line.family, a.DN, bar, a.Made)
	a.MadeText = a.Layline[strings.LastIndexAny(a.Layline, "/ ")+1:]
}

// wrongAges are assemblies of hose that was too old, or that lay too long.
func (b *builder) wrongAges() {
	for _, old := range [][2]string{
		{"GR-02", "spinner motor, supply"}, {"BL-01", "loader lift cylinder right, rod side"},
	} {
		if s := b.find(old[0], old[1]); s != nil {
			u := b.recent(s, 14)
			u.assembly = b.hose(s.line, u.assembly.Assembled.From, 5*365)
			u.assembly.Note = "Hose from the back of the rack."
		}
	}
	if s := b.find("WL-01", "third function, piston side"); s != nil {
		u := b.recent(s, 10)
		u.assembly = b.hose(s.line, monthStart(u.from.AddMonths(-29)), 200)
		u.released, u.reason = "workshop manager", "Stored dark and dry in its bag; looked at and pressed before fitting; no other of this length to be had in time."
	}
}

// unknowns are assemblies of which something is not known.
func (b *builder) unknowns() {
	for _, at := range [][2]string{
		{"SW-03", "hopper tip cylinder left, rod side"},
		{"SW-03", "hopper door cylinder"},
		{"SP-01", "blade angle cylinder left, piston side"},
		{"GR-01", "conveyor motor, supply"},
	} {
		if s := b.find(at[0], at[1]); s != nil {
			s.marked = true
			a := &s.now.assembly
			a.Layline, a.Designation, a.RatedBar, a.RatingSource, a.Maker = "", "", nil, "", ""
			a.EndABar, a.EndBBar, a.MaxC = nil, nil, nil
			a.Made, a.MadeText = quantity.Period{}, ""
			a.Note = "Layline and ferrule cannot be read."
		}
	}
	for i, at := range [][2]string{
		{"RT-01", "tail lift cylinder left, piston side"},
		{"RT-01", "tail lift cylinder right, piston side"},
		{"WL-01", "brake valve to rear axle"},
		{"SW-03", "load sensing line"},
		{"SK-01", "lift arm cylinder left, rod side"},
	} {
		if s := b.find(at[0], at[1]); s != nil {
			s.marked = true
			a := &s.now.assembly
			b.youngHose(s, a) // its make date stands for the assembly's, so it must not have lain long
			a.Assembled, a.AssembledText = quantity.Period{}, ""
			s.now.hours = false
			s.now.onText = "before the sheets began"
			if i%2 == 0 {
				a.Made, a.MadeText, a.Layline = quantity.Period{}, "", ""
			}
		}
	}
	for _, at := range [][2]string{{"VM-02", "arm lift cylinder, rod side"}, {"RT-03", "ejector cylinder, piston side"}} {
		if s := b.find(at[0], at[1]); s != nil {
			s.now.assembly.Unconfirmed = true
			s.now.assembly.Layline = ""
			s.now.assembly.RatingSource = register.RatingTyped
			s.now.assembly.Note = "Known by bore, outside diameter and layers of wire, not by its layline."
		}
	}
	b.ambiguous()
}

// ambiguous is a hose whose date has two readings: 22/05/23 is 23 May 2022 or
// 22 May 2023. The register counts from the earlier one. From 2032 on no year
// is a day of a month any more, and such codes have one reading.
func (b *builder) ambiguous() {
	s := b.find("TP-01", "tipping ram")
	if s == nil {
		return
	}
	s.marked = true
	a := &s.now.assembly
	late := a.Assembled.From.AddMonths(-14).Year()
	early := late - 1
	made, err := quantity.NewDate(early, 5, late%100)
	if err != nil {
		return
	}
	a.Maker, a.RatingSource = muster, register.RatingPrinted
	a.Made, a.MadeAmbiguous = quantity.Day(made), true
	a.MadeText = fmt.Sprintf("%02d/05/%02d", early%100, late%100)
	a.Layline = muster + " EN 853 2SN DN 19 215 BAR " + a.MadeText
}

// hotLines lie where it is too hot for them.
func (b *builder) hotLines() {
	if s := b.find("WL-01", "brake valve to front axle"); s != nil {
		u := b.recent(s, 13)
		from := b.today.AddMonths(-2)
		b.conditions(from, register.SetConditions{
			Machine: "WL-01", Position: s.name, Basis: register.Measured,
			Service: register.Service{SurroundingsC: ptr(112.0)},
			Note:    "Invented: 112 °C on a strip stuck to the hose beside the exhaust since its shield is gone.",
		})
		u.hours = true
	}
	if s := b.find("RT-03", "ejector cylinder, rod side"); s != nil {
		u := b.recent(s, 16)
		b.conditions(u.from, register.SetConditions{
			Machine: "RT-03", Position: s.name, Basis: register.Measured,
			Service: register.Service{Temperatures: register.Temperatures{{C: 66, Share: 0.8}, {C: 94, Share: 0.2}}},
			Note:    "Invented: logger clamped to the line for a week.",
		})
	}
}

// recorded is a pressure log, and what was measured of temperatures.
func (b *builder) recorded() {
	b.conditions(b.today.AddMonths(-20), register.SetConditions{
		Machine: "RT-04", Circuit: "pump", Basis: register.Measured,
		Service: register.Service{Cycles: packing(), Recorded: ptr(true)},
		Note:    "Invented: pressure log of one round, counted.",
	})
	b.conditions(b.today.AddMonths(-14), register.SetConditions{
		Machine: "WL-01", Circuit: "loading", Basis: register.Measured,
		Service: register.Service{FluidC: ptr(72.0)},
		Note:    "Invented: tank thermometer in August.",
	})
	b.conditions(b.today.AddMonths(-9), register.SetConditions{
		Machine: "PL-01", Basis: register.Measured,
		Service: register.Service{FluidC: ptr(44.0), SurroundingsC: ptr(22.0)},
		Note:    "Invented: measured at the yearly check.",
	})
}

func (b *builder) conditions(on quantity.Date, c register.SetConditions) {
	c.From = on
	b.happen(on, worked, func() register.Command { return c })
}

// openFindings are what inspectors saw and nobody has dealt with yet. act is
// the day to act by, in days from today; 0 none.
func (b *builder) openFindings() {
	for _, o := range []struct {
		machine, line string
		ago           int
		class         life.Class
		number        int
		place         string
		act           int
		note          string
	}{
		{"RT-02", "bin tilt cylinder, rod side", 1, life.Stop, 2, "middle", 0, "Chafed to the wire where it crosses the comb."},
		{"SW-02", "brush swing cylinder, piston side", 4, life.Stop, 1, "end B", 0, "Drops at the ferrule under pressure."},
		{"BL-01", "dipper cylinder, rod side", 2, life.Stop, 5, "middle", 0, "Flattened over 40 mm."},
		{"RT-03", "tail lift cylinder left, rod side", 52, life.Replace, 3, "middle", -9, "Cover scuffed over a hand's breadth, wire not reached."},
		{"VM-01", "flap cylinder, rod side", 41, life.Replace, 10, "end A", 0, "Fitting rusty, nut rounded."},
		{"RT-05", "packer plate cylinder left, rod side", 12, life.Replace, 3, "middle", 11, "Cover scuffed under the clamp."},
		{"GR-03", "conveyor motor, supply", 15, life.Replace, 10, "end A", 0, "Rust under the crimp."},
		{"SW-02", "left brush motor, supply", 20, life.Replace, 3, "middle", 20, "Scuffed by the brush guard."},
		{"SK-01", "lift arm cylinder right, rod side", 25, life.Replace, 14, "end B", 24, "Pulled tight with the arm out."},
		{"PL-01", "jib cylinder, rod side", 9, life.Replace, 3, "middle", 13, "Cover scuffed at the jib joint."},
		{"TP-02", "tailboard cylinder, piston side", 33, life.Replace, 3, "end A", 70, "Cover worn smooth."},
		{"RT-06", "comb clamp cylinder, rod side", 18, life.Correct, 15, "middle", 21, "Clamp missing."},
		{"PL-01", "upper boom cylinder, rod side", 30, life.Correct, 22, "middle", 14, "Spray guard at the turntable torn."},
		{"VM-03", "valve to cooler", 26, life.Correct, 23, "middle", 30, "Touches the exhaust shield."},
		{"WL-01", "lift cylinder left, rod side", 62, life.Correct, 17, "", -20, "Under salt and grease, not to be seen; wash and look again."},
		{"RT-01", "return filter to tank", 40, life.Watch, 3, "middle", 0, "Cover polished by the frame."},
		{"RT-05", "ejector cylinder, rod side", 40, life.Watch, 10, "end B", 0, "First rust on the nut."},
		{"SW-02", "hopper tip cylinder right, rod side", 64, life.Watch, 3, "end A", 0, "Slight scuff."},
		{"VM-01", "arm reach cylinder, rod side", 80, life.Watch, 3, "middle", 60, "Scuffed by hedge."},
		{"GR-02", "spreader valve to tank, return", 75, life.Watch, 10, "end A", 0, "Rust, light."},
		{"BL-01", "loader tilt cylinder left, rod side", 33, life.Watch, 13, "end B", 0, "Bend close to the least radius with the bucket down."},
		{"PL-01", "telescope cylinder, piston side", 30, life.Watch, 3, "middle", 0, "Runs over the chain guide."},
	} {
		s := b.find(o.machine, o.line)
		if s == nil || s.now == nil {
			continue
		}
		on := workday(b.today.AddDays(-o.ago))
		if !on.After(s.now.from) {
			on = b.today
		}
		f := register.NewFinding{Number: o.number, Class: o.class, Place: o.place, Note: o.note}
		if act := b.today.AddDays(o.act); o.act != 0 && !act.Before(on) {
			f.ActBy = act
		}
		b.look(s, on, pick(b, []string{inspectorA, inspectorB, fitterC}), f)
	}
}

// smallThings are fit dates that are only known to the month.
func (b *builder) smallThings() {
	for _, at := range [][2]string{
		{"GR-01", "spinner lift cylinder, rod side"}, {"VM-02", "arm slew cylinder, piston side"}, {"WL-01", "cooler to gearbox"},
	} {
		if s := b.find(at[0], at[1]); s != nil && !s.marked {
			from := monthStart(s.now.from)
			if from.Before(s.now.assembly.Assembled.From) || from.Before(s.machine.came) {
				continue
			}
			s.now.from, s.now.hours = from, false
			_, m, _ := from.YMD()
			s.now.onText = quantity.FormatNumber(float64(m), 0) + "/" + quantity.FormatNumber(float64(from.Year()), 0)
		}
	}
}

// moved is an assembly that was taken from one machine, lay in store for some
// weeks and sits on another one since.
func (b *builder) moved() {
	from, to := b.find("SP-02", "coupling block, supply"), b.find("SP-03", "coupling block, supply")
	if from == nil || to == nil {
		return
	}
	b.fitOn(to, to.machine.came, 40)
	off := workday(b.today.AddMonths(-7))
	on := workday(b.today.AddMonths(-5))
	u := b.unit(from, workday(b.today.AddMonths(-17)), monthStart(b.today.AddMonths(-19)))
	b.arrive(from, u)
	b.happen(off, removed, func() register.Command {
		return register.Remove{
			AssemblyCode: u.assembly.Code, On: off, Cause: register.CausePlanned, FoundBy: register.FoundByInspection,
			Reason: "replaced by a longer one, sound", Scrapped: false,
		}
	})
	u.to = off
	from.past = append(from.past, u)
	from.now = b.unit(from, off, monthStart(off.AddDays(-60)))
	from.now.follows, from.marked = true, true

	old := to.now
	old.to, old.cause = on, register.CauseOutside
	b.arrive(to, old)
	b.end(to, old)
	to.past = append(to.past, old)
	to.now = &unit{from: on, follows: true, carried: true}
	b.happen(on, fitted, func() register.Command {
		return register.Fit{AssemblyCode: u.assembly.Code, Machine: to.machine.code, Position: to.name, On: on}
	})
}
