package demo_test

import (
	"fmt"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// model is a small register of its own: it takes the commands one by one,
// says what a register would refuse, and gathers the facts for the estimates.
type model struct {
	today    quantity.Date
	last     quantity.Date // day of the last command
	sites    map[string]int64
	policies map[string]int64
	kinds    map[string]int64
	machines map[string]*register.MachineFacts
	where    map[string]*register.Position // by machine and name
	code     map[string]*register.AssemblyFacts
	inOrder  []*register.AssemblyFacts
	sits     map[int64]string // assembly code by position
	facts    register.Facts
	id       int64
	removals []register.Remove
	looks    []register.Inspect
	released []register.Fit
}

func newModel(today quantity.Date) *model {
	m := &model{
		today: today, sites: map[string]int64{}, policies: map[string]int64{}, kinds: map[string]int64{},
		machines: map[string]*register.MachineFacts{}, where: map[string]*register.Position{},
		code: map[string]*register.AssemblyFacts{}, sits: map[int64]string{},
		facts: register.Facts{
			Sites: map[int64]register.Site{}, Policies: map[int64]register.Policy{}, Duties: map[int64][]register.Duty{},
			Machines: map[int64]*register.MachineFacts{}, Positions: map[int64]*register.Position{},
		},
	}
	for _, p := range life.ShippedPolicies() {
		m.addPolicy(register.Policy{Policy: p.Policy, Shipped: true})
	}
	return m
}

func (m *model) next() int64 { m.id++; return m.id }

func (m *model) addPolicy(p register.Policy) {
	p.ID = m.next()
	m.policies[p.Name] = p.ID
	m.facts.Policies[p.ID] = p
}

// apply takes a command or says why not.
func (m *model) apply(c register.Command) error {
	if err := c.Check(); err != nil {
		return err
	}
	switch c := c.(type) {
	case register.AddSite:
		id := m.next()
		m.sites[c.Name] = id
		m.facts.Sites[id] = register.Site{ID: id, Name: c.Name, Zone: c.Zone, PolicyID: m.policies[c.Policy]}
		return nil
	case register.AddPolicy:
		if _, ok := m.policies[c.Policy.Name]; ok {
			return fmt.Errorf("policy %q twice", c.Policy.Name)
		}
		m.addPolicy(c.Policy)
		return nil
	case register.SetDuty:
		id, ok := m.kinds[c.Kind]
		if !ok {
			id = m.next()
			m.kinds[c.Kind] = id
		}
		m.facts.Duties[id] = append(m.facts.Duties[id], register.Duty{KindID: id, Circuit: c.Circuit, Service: c.Service, Note: c.Note})
		return nil
	case register.AddMachine:
		return m.addMachine(c)
	case register.AddPosition:
		return m.addPosition(c)
	case register.AddAssembly:
		return m.addAssembly(c)
	case register.Fit:
		return m.fit(c)
	case register.Remove:
		return m.remove(c)
	case register.AddReading:
		return m.reading(c.Machine, register.Reading{On: c.On, Hours: c.Hours})
	case register.AddMeterEvent:
		f := m.machines[c.Machine]
		if f == nil {
			return fmt.Errorf("no machine %q", c.Machine)
		}
		f.Events = append(f.Events, register.MeterEvent{On: c.On, OldEnd: c.OldEnd, NewStart: c.NewStart})
		return m.dated(c.On)
	case register.AddLayUp:
		f := m.machines[c.Machine]
		if f == nil {
			return fmt.Errorf("no machine %q", c.Machine)
		}
		f.LayUps = append(f.LayUps, register.LayUp{From: c.From, To: c.To})
		return m.dated(quantity.MaxDate, c.From, c.To)
	case register.SetConditions:
		return m.conditions(c)
	case register.Inspect:
		return m.inspect(c)
	}
	return fmt.Errorf("%T is not known here", c)
}

// dated refuses days after today. The first day orders the commands unless it
// is the last of the calendar.
func (m *model) dated(on quantity.Date, more ...quantity.Date) error {
	if on != quantity.MaxDate {
		if on.Before(m.last) {
			return fmt.Errorf("%s comes after %s", on, m.last)
		}
		m.last = on
		more = append(more, on)
	}
	for _, d := range more {
		if d.After(m.today) {
			return fmt.Errorf("%s lies ahead of %s", d, m.today)
		}
	}
	return nil
}

func (m *model) addMachine(c register.AddMachine) error {
	site, kind := m.sites[c.Site], m.kinds[c.Kind]
	if site == 0 || kind == 0 || m.machines[c.Code] != nil {
		return fmt.Errorf("machine %q: site, kind or code", c.Code)
	}
	id := m.next()
	f := &register.MachineFacts{
		Machine: register.Machine{
			ID: id, SiteID: site, KindID: &kind, Code: c.Code, Name: c.Name,
			PlannedHoursPerWeek: c.PlannedHoursPerWeek, CanHurt: c.CanHurt,
		},
		Circuits:   map[int64]register.Circuit{},
		Conditions: map[register.Owner][]register.Conditions{},
	}
	m.machines[c.Code], m.facts.Machines[id] = f, f
	return nil
}

func (m *model) circuit(f *register.MachineFacts, name string) int64 {
	for id, c := range f.Circuits {
		if c.Name == name {
			return id
		}
	}
	id := m.next()
	f.Circuits[id] = register.Circuit{ID: id, MachineID: f.Machine.ID, Name: name}
	return id
}

func (m *model) addPosition(c register.AddPosition) error {
	f := m.machines[c.Machine]
	if f == nil || m.where[c.Machine+"|"+c.Name] != nil {
		return fmt.Errorf("position %q of %q: no machine, or name taken", c.Name, c.Machine)
	}
	circuit := m.circuit(f, c.Circuit)
	p := &register.Position{
		ID: m.next(), MachineID: f.Machine.ID, CircuitID: &circuit, Name: c.Name, WalkOrder: c.WalkOrder,
		CanHurt: c.CanHurt, Exposed: c.Exposed, Twisted: c.Twisted, LengthMM: c.LengthMM, BendMM: c.BendMM, StraightMM: c.StraightMM,
	}
	if c.Policy != "" {
		id, ok := m.policies[c.Policy]
		if !ok {
			return fmt.Errorf("no policy %q", c.Policy)
		}
		p.PolicyID = &id
	}
	m.where[c.Machine+"|"+c.Name], m.facts.Positions[p.ID] = p, p
	return nil
}

func (m *model) addAssembly(c register.AddAssembly) error {
	a := c.Assembly
	if m.sites[c.Site] == 0 || a.Code == "" || m.code[a.Code] != nil {
		return fmt.Errorf("assembly %q: no such site, or no code, or code used before", a.Code)
	}
	a.ID = m.next()
	f := &register.AssemblyFacts{Assembly: a}
	m.code[a.Code] = f
	m.inOrder = append(m.inOrder, f)
	if a.Assembled.Start().After(m.today) || a.Made.Start().After(m.today) {
		return fmt.Errorf("assembly %s is made after today", a.Code)
	}
	return nil
}

func (m *model) fit(c register.Fit) error {
	a, p := m.code[c.AssemblyCode], m.where[c.Machine+"|"+c.Position]
	if a == nil || p == nil {
		return fmt.Errorf("fit %q at %q %q: not known", c.AssemblyCode, c.Machine, c.Position)
	}
	if m.sits[p.ID] != "" {
		return fmt.Errorf("%s %s still holds %s", c.Machine, c.Position, m.sits[p.ID])
	}
	for _, pl := range a.Placements {
		if pl.To.IsZero() || pl.To.After(c.On) {
			return fmt.Errorf("%s sits elsewhere", c.AssemblyCode)
		}
	}
	if made := a.Assembly.Assembled.Start(); !made.IsZero() {
		if c.On.Before(made) {
			return fmt.Errorf("%s is fitted on %s before it was assembled on %s", c.AssemblyCode, c.On, made)
		}
		if limit := m.facts.PolicyOf(p.ID).StorageMonths; limit != nil && c.On.After(made.AddMonths(*limit)) {
			if c.ReleasedBy == "" {
				return fmt.Errorf("%s was stored too long and nobody released it", c.AssemblyCode)
			}
			m.released = append(m.released, c)
		}
	}
	a.Placements = append(a.Placements, register.Placement{ID: m.next(), AssemblyID: a.Assembly.ID, PositionID: p.ID, From: c.On, FromHours: c.Hours, FromText: c.OnText})
	m.sits[p.ID] = c.AssemblyCode
	if c.Hours != nil {
		return m.reading(c.Machine, register.Reading{On: c.On, Hours: *c.Hours, Source: "fitting"})
	}
	return m.dated(c.On)
}

func (m *model) remove(c register.Remove) error {
	a := m.code[c.AssemblyCode]
	if a == nil || len(a.Placements) == 0 {
		return fmt.Errorf("remove %q: not fitted", c.AssemblyCode)
	}
	pl := &a.Placements[len(a.Placements)-1]
	if !pl.To.IsZero() || c.On.Before(pl.From) {
		return fmt.Errorf("remove %q on %s: it does not sit anywhere then", c.AssemblyCode, c.On)
	}
	pl.To, pl.ToHours = c.On, c.Hours
	delete(m.sits, pl.PositionID)
	m.removals = append(m.removals, c)
	for i := range a.Findings {
		if a.Findings[i].ClosedOn.IsZero() {
			a.Findings[i].ClosedOn = c.On
		}
	}
	if c.Hours != nil {
		code := m.facts.Machines[m.facts.Positions[pl.PositionID].MachineID].Machine.Code
		return m.reading(code, register.Reading{On: c.On, Hours: *c.Hours, Source: "removal"})
	}
	return m.dated(c.On)
}

// reading refuses what contradicts the readings there are; the same value on
// the same day is one reading.
func (m *model) reading(machine string, r register.Reading) error {
	f := m.machines[machine]
	if f == nil {
		return fmt.Errorf("no machine %q", machine)
	}
	if n := len(f.Readings); n > 0 {
		last := f.Readings[n-1]
		swapped := false
		for _, e := range f.Events {
			swapped = swapped || !e.On.Before(last.On) && !e.On.After(r.On)
		}
		switch {
		case last.On == r.On && last.Hours == r.Hours && r.Source != "":
			return m.dated(r.On)
		case last.On == r.On:
			return fmt.Errorf("%s shows %g and %g on %s", machine, last.Hours, r.Hours, r.On)
		case !swapped && r.Hours < last.Hours:
			return fmt.Errorf("%s falls from %g to %g on %s", machine, last.Hours, r.Hours, r.On)
		case !swapped && r.Hours-last.Hours > 24*float64(r.On.Sub(last.On)):
			return fmt.Errorf("%s runs more than 24 hours a day up to %s", machine, r.On)
		}
	}
	f.Readings = append(f.Readings, r)
	return m.dated(r.On)
}

func (m *model) conditions(c register.SetConditions) error {
	f := m.machines[c.Machine]
	if f == nil {
		return fmt.Errorf("no machine %q", c.Machine)
	}
	o := register.Owner{Level: register.AtMachine, ID: f.Machine.ID}
	switch {
	case c.Position != "":
		p := m.where[c.Machine+"|"+c.Position]
		if p == nil {
			return fmt.Errorf("no position %q on %q", c.Position, c.Machine)
		}
		o = register.Owner{Level: register.AtPosition, ID: p.ID}
	case c.Circuit != "":
		before := len(f.Circuits)
		o = register.Owner{Level: register.AtCircuit, ID: m.circuit(f, c.Circuit)}
		if len(f.Circuits) != before {
			return fmt.Errorf("no circuit %q on %q", c.Circuit, c.Machine)
		}
	}
	f.Conditions[o] = append(f.Conditions[o], register.Conditions{Level: o.Level, OwnerID: o.ID, From: c.From, Service: c.Service, Basis: c.Basis, Note: c.Note})
	return m.dated(c.From)
}

func (m *model) inspect(c register.Inspect) error {
	p := m.where[c.Machine+"|"+c.Position]
	if p == nil || m.sits[p.ID] == "" {
		return fmt.Errorf("nothing sits at %q %q to inspect on %s", c.Machine, c.Position, c.On)
	}
	a := m.code[m.sits[p.ID]]
	a.Inspections = append(a.Inspections, register.Inspection{AssemblyID: a.Assembly.ID, PositionID: p.ID, On: c.On, By: c.By})
	for _, f := range c.Findings {
		a.Findings = append(a.Findings, register.Finding{AssemblyID: a.Assembly.ID, Number: f.Number, Class: f.Class, ActBy: f.ActBy, SeenOn: c.On})
	}
	m.looks = append(m.looks, c)
	return m.dated(c.On)
}
