package store

import (
	"fmt"
	"reflect"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// service is what a row says of how the position is worked.
func service(h *register.HoseRow) (s register.Service, says bool) {
	s = register.Service{FluidC: h.FluidC, SurroundingsC: h.SurroundingsC, AlwaysHot: h.AlwaysHot, AdapterBar: h.AdapterBar, WorkingBar: h.WorkingBar, NoCycles: h.NoCycles}
	if h.MaxBar != nil && h.CyclesPerHour != nil {
		c := life.Cycle{MaxBar: *h.MaxBar, Count: *h.CyclesPerHour}
		setPlain(&c.MinBar, h.MinBar)
		s.Cycles = register.Cycles{c}
		if isYes(h.Recorded) {
			s.Recorded = h.Recorded
		}
	} else if h.MaxBar != nil && s.WorkingBar == nil {
		s.WorkingBar = h.MaxBar
	}
	return s, !reflect.DeepEqual(s, register.Service{})
}

// conditionsOf notes the row's service conditions, from the day the hose was
// fitted. They are assumed unless the row says measured.
func (im *importer) conditionsOf(m *register.Machine, p *register.Position, place *register.Placement, h *register.HoseRow) error {
	s, says := service(h)
	if !says {
		return nil
	}
	t := im.t
	basis := h.ConditionsBasis
	if basis == "" {
		basis = register.Assumed
	}
	have, haveBasis, err := serviceSaid(t.ctx, t.conn, p.ID, place.From)
	if err != nil {
		return err
	}
	if len(s.Cycles) > 0 && s.Recorded == nil && isYes(have.Recorded) && !reflect.DeepEqual(s.Cycles, have.Cycles) {
		no := false // the log was of other cycles
		s.Recorded = &no
	}
	want := overlaid(have, s)
	if reflect.DeepEqual(want, have) && (haveBasis == basis || h.ConditionsBasis == "") {
		return nil
	}
	earlier := im.seen.note("conditions", fmt.Sprint(p.ID), place.From.String())
	if earlier > 0 && haveBasis != "" {
		return im.contradicts(earlier, "how position "+p.Name+" is worked", have, want)
	}
	if h.MaxBar != nil && h.CyclesPerHour == nil {
		im.tell("max_bar", "without cycles per hour it is taken as the pressure the hose works at")
	}
	im.changes("how position %s is worked", p.Name)
	return t.apply(register.SetConditions{Machine: m.Code, Position: p.Name, From: place.From, Service: s, Basis: basis, Note: "from an imported list"})
}

// overlaid is s with what over says on top.
func overlaid(s, over register.Service) register.Service {
	setValue(&s.FluidC, over.FluidC)
	setValue(&s.SurroundingsC, over.SurroundingsC)
	setValue(&s.AlwaysHot, over.AlwaysHot)
	setValue(&s.AdapterBar, over.AdapterBar)
	setValue(&s.WorkingBar, over.WorkingBar)
	setValue(&s.NoCycles, over.NoCycles)
	setValue(&s.Recorded, over.Recorded)
	if len(over.Cycles) > 0 {
		s.Cycles = over.Cycles
	}
	if len(over.Temperatures) > 0 {
		s.Temperatures = over.Temperatures
	}
	if !over.AssessedOn.IsZero() {
		s.AssessedOn = over.AssessedOn
	}
	return s
}

// inspectionOf notes the last inspection a list speaks of. What was found then
// is not known; nothing is claimed but that somebody looked.
func (im *importer) inspectionOf(m *register.Machine, p *register.Position, place *register.Placement, h *register.HoseRow) error {
	t, on := im.t, h.LastInspection
	if on.IsZero() {
		return nil
	}
	if on.Before(place.From) || !place.To.IsZero() && on.After(place.To) {
		im.tell("last_inspection", "on %s another hose sat there, or none; the inspection is not taken", on)
		return nil
	}
	have, err := inspections.one(t.ctx, t.conn, "assembly_id = ? AND position_id = ? AND on_day = "+t.e.date(on), place.AssemblyID, place.PositionID)
	if err != nil || have != nil {
		return err
	}
	im.changes("inspections: one on %s", on)
	return t.apply(register.Inspect{Machine: m.Code, Position: p.Name, On: on, Note: "from an imported list, which does not say what was found"})
}
