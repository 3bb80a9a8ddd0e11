package register

import (
	"slices"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// said is one row of service conditions or duties that bears on a position,
// with its rank: 0 position, 1 circuit, 2 machine, 3 duty of the circuit's
// name, 4 duty of the kind.
type said struct {
	rank    int
	level   Level
	from    quantity.Date // no date for a duty, which holds always
	basis   Basis
	note    string
	service *Service
	id      int64
}

// saidOf gathers what is said of a position, nearest first and within a level
// the latest first, so that the first row that says a field and holds on the
// day decides it.
func (f *Facts) saidOf(p *Position, m *MachineFacts) []said {
	var rows []said
	add := func(rank int, o Owner) {
		for i := range m.Conditions[o] {
			c := &m.Conditions[o][i]
			rows = append(rows, said{rank, o.Level, c.From, c.Basis, c.Note, &c.Service, c.ID})
		}
	}
	add(0, Owner{AtPosition, p.ID})
	circuit := ""
	if p.CircuitID != nil {
		add(1, Owner{AtCircuit, *p.CircuitID})
		circuit = m.Circuits[*p.CircuitID].Name
	}
	add(2, Owner{AtMachine, p.MachineID})
	if m.Machine.KindID != nil {
		duties := f.Duties[*m.Machine.KindID]
		for i := range duties {
			d := &duties[i]
			switch {
			case d.Circuit == "":
				rows = append(rows, said{4, AtKind, quantity.Date{}, Assumed, d.Note, &d.Service, d.ID})
			case circuit != "" && strings.EqualFold(d.Circuit, circuit):
				rows = append(rows, said{3, AtKind, quantity.Date{}, Assumed, d.Note, &d.Service, d.ID})
			}
		}
	}
	slices.SortStableFunc(rows, func(a, b said) int {
		if a.rank != b.rank {
			return a.rank - b.rank
		}
		if c := b.from.Compare(a.from); c != 0 {
			return c
		}
		return int(b.id - a.id) // the later entry of one day wins
	})
	return rows
}

// saysPressure groups the fields that say how pressure works there: a nearer
// "no cycles" hides farther cycles and the other way round, and whether cycles
// are recorded is said of the cycles it stands with.
func saysPressure(s *Service) bool { return len(s.Cycles) > 0 || s.NoCycles != nil }

func saysTemperature(s *Service) bool { return len(s.Temperatures) > 0 || s.FluidC != nil }

// first finds the row that decides a field on a day.
func first(rows []said, on quantity.Date, says func(*Service) bool) *said {
	for i := range rows {
		if !rows[i].from.After(on) && says(rows[i].service) {
			return &rows[i]
		}
	}
	return nil
}

// assessed finds the row of the written assessment that holds on a day. It
// speaks of the pressures that were known when it was written: what was said
// of cycles or working pressure nearer by or since then is not assessed.
func assessed(rows []said, on quantity.Date) *said {
	for i := range rows {
		r := &rows[i]
		if r.from.After(on) {
			continue
		}
		if !r.service.AssessedOn.IsZero() {
			return r
		}
		if saysPressure(r.service) || r.service.WorkingBar != nil {
			return nil
		}
	}
	return nil
}

// conditionsOn resolves the rows field by field for one day.
func conditionsOn(rows []said, on quantity.Date) life.Conditions {
	c := life.Conditions{From: on}
	if r := first(rows, on, saysPressure); r != nil {
		c.Cycles = r.service.Cycles
		c.NoCycles = r.service.NoCycles != nil && *r.service.NoCycles && len(c.Cycles) == 0
		c.Recorded = r.service.Recorded != nil && *r.service.Recorded
	}
	if r := first(rows, on, saysTemperature); r != nil {
		c.FluidC, c.Temperatures = r.service.FluidC, r.service.Temperatures
	}
	if r := first(rows, on, func(s *Service) bool { return s.SurroundingsC != nil }); r != nil {
		c.SurroundingsC = r.service.SurroundingsC
	}
	if r := first(rows, on, func(s *Service) bool { return s.AlwaysHot != nil }); r != nil {
		c.AlwaysHot = *r.service.AlwaysHot
	}
	if r := first(rows, on, func(s *Service) bool { return s.AdapterBar != nil }); r != nil {
		c.AdapterBar = r.service.AdapterBar
	}
	if r := first(rows, on, func(s *Service) bool { return s.WorkingBar != nil }); r != nil {
		c.WorkingBar = r.service.WorkingBar
	}
	if r := assessed(rows, on); r != nil {
		c.Assessed = r.service.AssessedOn
	}
	return c
}

// conditionsBetween resolves the conditions of a position from one day up to
// another (no date: for ever): a row on the first day and on each later day on
// which something new is said.
func conditionsBetween(rows []said, from, to quantity.Date) []life.Conditions {
	days := []quantity.Date{from}
	for _, r := range rows {
		if r.from.After(from) && (to.IsZero() || r.from.Before(to)) {
			days = append(days, r.from)
		}
	}
	slices.SortFunc(days, quantity.Date.Compare)
	days = slices.Compact(days)
	out := make([]life.Conditions, len(days))
	for i, d := range days {
		out[i] = conditionsOn(rows, d)
	}
	return out
}

// ServiceOn tells which conditions are in force at a position on a day, each
// with where it comes from: nearest first, field by field. Fields that nobody
// said anything of are left out.
func (f *Facts) ServiceOn(positionID int64, on quantity.Date) []ServiceValue {
	p := f.Positions[positionID]
	if p == nil || f.Machines[p.MachineID] == nil {
		return nil
	}
	rows := f.saidOf(p, f.Machines[p.MachineID])
	var out []ServiceValue
	for _, field := range serviceFields {
		if r := field.find(rows, on); r != nil {
			out = append(out, ServiceValue{
				Field: field.name, Said: field.of(r.service), Level: r.level, Basis: r.basis, From: r.from, Note: r.note,
			})
		}
	}
	return out
}

type finder func(rows []said, on quantity.Date) *said

// where finds the row that decides a field.
func where(says func(*Service) bool) finder {
	return func(rows []said, on quantity.Date) *said { return first(rows, on, says) }
}

// serviceFields are the fields with how the row that decides each is found and
// what of it the field is.
var serviceFields = []struct {
	name ServiceField
	find finder
	of   func(*Service) Service
}{
	{ServiceCycles, where(saysPressure), func(s *Service) Service {
		return Service{Cycles: s.Cycles, NoCycles: s.NoCycles, Recorded: s.Recorded}
	}},
	{ServiceTemperature, where(saysTemperature), func(s *Service) Service {
		return Service{FluidC: s.FluidC, Temperatures: s.Temperatures}
	}},
	{ServiceSurroundings, where(func(s *Service) bool { return s.SurroundingsC != nil }), func(s *Service) Service {
		return Service{SurroundingsC: s.SurroundingsC}
	}},
	{ServiceAlwaysHot, where(func(s *Service) bool { return s.AlwaysHot != nil }), func(s *Service) Service { return Service{AlwaysHot: s.AlwaysHot} }},
	{ServiceAdapter, where(func(s *Service) bool { return s.AdapterBar != nil }), func(s *Service) Service { return Service{AdapterBar: s.AdapterBar} }},
	{ServiceWorking, where(func(s *Service) bool { return s.WorkingBar != nil }), func(s *Service) Service { return Service{WorkingBar: s.WorkingBar} }},
	{ServiceAssessed, assessed, func(s *Service) Service { return Service{AssessedOn: s.AssessedOn} }},
}
