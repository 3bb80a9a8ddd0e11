package demo

import (
	"fmt"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// season is the part of the year a machine works in.
type season int

const (
	allYear season = iota
	winter         // from mid-October to mid-April
	summer         // from mid-March to mid-November
)

// machine is one machine of the fleet.
type machine struct {
	kind       *kind
	site       string
	code, name string
	months     int // ago that it came to the depot
	weekly     float64
	season     season
	note       string
	hurts      bool
	meter      meterState

	came  quantity.Date
	hours *hours
	slots []*slot
	// noted are the days on which the meter was read at a hose.
	noted map[quantity.Date]bool
}

// meterState says what is known of a machine's hours.
type meterState int

const (
	metered   meterState = iota
	replaced             // the meter was replaced once
	forgotten            // nobody has read it for more than half a year
	noMeter              // it has none, and no planned hours either
)

// fleet is the list of machines. Ages are in months before today.
func fleet() []*machine {
	refuse, sweep, grit := refuseTruck(), sweeper(), gritter()
	plough, mow, tip := snowPlough(), vergeMower(), tipper()
	return []*machine{
		{kind: refuse, code: "RT-01", name: "Refuse truck, east round", months: 88, weekly: 76},
		{kind: refuse, code: "RT-02", name: "Refuse truck, west round", months: 11, weekly: 72},
		{kind: refuse, code: "RT-03", name: "Refuse truck, town centre", months: 63, weekly: 74},
		{kind: refuse, code: "RT-04", name: "Refuse truck, villages", months: 52, weekly: 50},
		{kind: refuse, code: "RT-05", name: "Refuse truck, paper", months: 14, weekly: 68},
		{kind: refuse, code: "RT-06", name: "Refuse truck, garden waste", months: 7, weekly: 64},
		{kind: sweep, code: "SW-01", name: "Sweeper, town centre", months: 69, weekly: 30},
		{kind: sweep, code: "SW-02", name: "Sweeper, main roads", months: 40, weekly: 33, meter: replaced},
		{kind: sweep, code: "SW-03", name: "Sweeper, footways", months: 96, weekly: 27},
		{kind: skipLoader(), code: "SK-01", name: "Skip loader", months: 82, weekly: 30},
		{kind: tip, code: "TP-01", name: "Tipper, road gang", months: 120, weekly: 9},
		{kind: tip, code: "TP-02", name: "Tipper, parks", months: 55, weekly: 8, meter: forgotten},
		{kind: platformLift(), code: "PL-01", name: "Platform lift, street lighting", months: 13, weekly: 16, hurts: true, note: "People stand in the basket: a burst can hurt someone wherever it is."},
		{kind: backhoe(), code: "BL-01", name: "Backhoe loader, drains", months: 64, weekly: 25},
		{kind: mow, code: "VM-01", name: "Verge mower, north", months: 58, weekly: 31, season: summer},
		{kind: mow, code: "VM-02", name: "Verge mower, south", months: 92, weekly: 29, season: summer},
		{kind: mow, code: "VM-03", name: "Verge mower, river banks", months: 34, weekly: 26, season: summer},
		{kind: chipper(), code: "WC-01", name: "Wood chipper", months: 48, meter: noMeter, note: "No hour meter; nobody has said how many hours it is planned for."},
		{kind: grit, site: siteYard, code: "GR-01", name: "Gritter, hill roads", months: 110, weekly: 27, season: winter},
		{kind: grit, site: siteYard, code: "GR-02", name: "Gritter, main roads", months: 60, weekly: 30, season: winter},
		{kind: grit, site: siteYard, code: "GR-03", name: "Gritter, town", months: 27, weekly: 22, season: winter},
		{kind: plough, site: siteYard, code: "SP-01", name: "Snow plough, hill roads", months: 84, weekly: 16, season: winter},
		{kind: plough, site: siteYard, code: "SP-02", name: "Snow plough, main roads", months: 84, weekly: 14, season: winter},
		{kind: plough, site: siteYard, code: "SP-03", name: "Snow plough, town", months: 20, weekly: 11, season: winter},
		{kind: wheelLoader(), site: siteYard, code: "WL-01", name: "Wheel loader, salt barn", months: 102, weekly: 20},
	}
}

// place adds all that has no date: sites, policies, kinds with their duties,
// machines and positions.
func (b *builder) place() {
	b.set(register.AddSite{Name: siteDepot, Zone: zone, Policy: normalDemand})
	b.set(register.AddSite{Name: siteYard, Zone: zone, Policy: normalDemand})
	b.policies()
	b.machines = fleet()
	var last *kind
	for _, m := range b.machines {
		if m.site == "" {
			m.site = siteDepot
		}
		if m.kind != last {
			b.duties(m.kind)
			last = m.kind
		}
		m.came = workday(b.today.AddMonths(-m.months).AddDays(-b.between(0, 20)))
		m.hours, m.noted = b.run(m), map[quantity.Date]bool{}
		b.position(m)
	}
}

func (b *builder) set(c register.Command) { b.setup = append(b.setup, c) }

func (b *builder) policies() {
	b.set(register.AddPolicy{Policy: register.Policy{
		Policy: life.Policy{
			Name: twoShifts, MonthsFromAssembly: ptr(72), MonthsFromFitting: ptr(24), HoursFromFitting: ptr(6000.0),
			StorageMonths: ptr(24), HoseAgeMonths: ptr(48), InspectMonths: ptr(6),
		},
		ExposedInspectMonths: ptr(6),
		Source:               "Invented: heightened demand and a limit in hours, a choice of the depot.",
	}})
	b.set(register.AddPolicy{Policy: register.Policy{
		Policy: life.Policy{
			Name: makersLimit, MonthsFromAssembly: ptr(72), HoursFromFitting: ptr(4000.0),
			StorageMonths: ptr(24), HoseAgeMonths: ptr(48), InspectMonths: ptr(12),
		},
		ExposedInspectMonths: ptr(6),
		Source:               "Invented: a limit in hours such as manuals of such machines give.",
	}})
	b.set(register.AddPolicy{Policy: register.Policy{
		Policy: life.Policy{
			Name: fewHours, MonthsFromAssembly: ptr(84),
			StorageMonths: ptr(24), HoseAgeMonths: ptr(48), InspectMonths: ptr(6),
		},
		ExposedInspectMonths: ptr(6),
		Source:               "Invented: normal demand, lengthened.",
		Lengthened:           "Lengthened from 72 to 84 months by the workshop manager: few hours, stored dry, inspected twice a year.",
	}})
}

// duties says how machines of a kind are worked until something better is
// known. The register adds a kind it lacks; of the kinds it starts with, these
// duties take the place of the shipped ones.
func (b *builder) duties(k *kind) {
	b.set(register.SetDuty{Kind: k.name, Note: k.note, Service: register.Service{
		FluidC: ptr(k.fluidC), SurroundingsC: ptr(25.0),
	}})
	for _, c := range k.circuits {
		if c.unknown {
			continue
		}
		s := register.Service{Cycles: c.cycles}
		if c.fluidC != 0 {
			s.FluidC = ptr(c.fluidC)
		}
		if c.cycles == nil {
			s.NoCycles, s.WorkingBar = ptr(true), ptr(c.working)
		}
		b.set(register.SetDuty{Kind: k.name, Circuit: c.name, Service: s, Note: k.note})
	}
}

// position adds a machine with its positions.
func (b *builder) position(m *machine) {
	add := register.AddMachine{
		Site: m.site, Kind: m.kind.name, Code: m.code, Name: m.name,
		Serial: fmt.Sprintf("TARN-%s-%04d", m.code[:2], b.between(1000, 9999)), CanHurt: m.hurts, Note: m.note,
	}
	if m.meter != noMeter {
		add.PlannedHoursPerWeek = ptr(m.plannedWeekly())
	}
	b.set(add)
	order := 0
	for _, c := range m.kind.circuits {
		for _, l := range c.lines {
			order++
			s := &slot{machine: m, circuit: c, line: l, name: l.name, limits: limitsOf(c)}
			m.slots = append(m.slots, s)
			b.slots = append(b.slots, s)
			p := register.AddPosition{
				Machine: m.code, Circuit: c.name, Name: l.name, WalkOrder: order,
				CanHurt: l.marks&hurts != 0, Exposed: l.marks&exposed != 0, Policy: c.policy, LengthMM: ptr(l.mm),
			}
			b.asRouted(s, &p)
			b.set(p)
		}
	}
}

// asRouted notes what is wrong with the routing of a few lines.
func (b *builder) asRouted(s *slot, p *register.AddPosition) {
	switch s.machine.code + " " + s.name {
	case "SW-03 brush swing cylinder, rod side":
		p.Twisted, p.Note = true, "Layline runs round the hose once."
	case "BL-01 bucket clamp cylinder, rod side":
		p.BendMM, p.Note = ptr(60.0), "Led round the clamp arm tighter than the hose allows."
	case "SK-01 telescopic arm cylinder left, rod side":
		p.StraightMM, p.Note = ptr(15.0), "Bent right behind the fitting."
	case "RT-03 tail lift cylinder right, rod side":
		p.Twisted = true
	}
}
