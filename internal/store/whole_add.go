package store

import (
	"fmt"
	"strconv"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// add takes one checked row.
func (w *wholeTaker) add(row register.WholeRow) error {
	switch r := row.(type) {
	case *register.WholePolicy:
		return w.t.addPolicy(register.AddPolicy{Policy: r.Policy()})
	case *register.WholeSite:
		return w.t.addSite(register.AddSite{Name: r.Name, Zone: r.Zone, Policy: r.Policy})
	case *register.WholeKind:
		return w.t.addKind(register.AddKind{Name: r.Name})
	case *register.WholeKindPosition:
		return w.addKindPosition(r)
	case *register.WholeDuty:
		return w.addDuty(r)
	case *register.WholeMachine:
		return w.addMachine(r)
	case *register.WholeCircuit:
		return w.addCircuit(r)
	case *register.WholePosition:
		return w.addPosition(r)
	case *register.WholeAssembly:
		return w.addAssembly(r)
	case *register.WholeFormerCode:
		return w.addFormerCode(r)
	case *register.WholePlacement:
		return w.addPlacement(r)
	case *register.WholeReading:
		return w.addReading(r)
	case *register.WholeMeterEvent:
		return w.addMeterEvent(r)
	case *register.WholeLayUp:
		return w.addLayUp(r)
	case *register.WholeConditions:
		return w.addConditions(r)
	case *register.WholeInspection:
		return w.addInspection(r)
	case *register.WholeFinding:
		return w.addFinding(r)
	}
	return fmt.Errorf("take a row of %T: no such part", row)
}

// kind is the kind of that name, which must be there; nil for no name.
func (w *wholeTaker) kind(name string) (*register.Kind, error) {
	if name == "" {
		return nil, nil
	}
	k, err := lookUp(w.t, w.t.keys.kinds, fold(name), kinds, "LOWER(name) = ?", fold(name))
	if err == nil && k == nil {
		err = refuse(register.NotFound, "kind", "There is no kind of machine %s among the kinds.", name)
	}
	return k, err
}

// policy is the id of the policy of that name; nil for no name.
func (w *wholeTaker) policy(name string) (*int64, error) {
	if name == "" {
		return nil, nil
	}
	id, ok := w.policies[fold(name)]
	if !ok {
		p, err := w.t.policy(name)
		if err != nil {
			return nil, err
		}
		id = p.ID
		w.policies[fold(name)] = id
	}
	return &id, nil
}

func (w *wholeTaker) addKindPosition(r *register.WholeKindPosition) error {
	k, err := w.kind(r.Kind)
	if err != nil {
		return err
	}
	return hold(w, &w.kindPositions, register.KindPosition{
		KindID: k.ID, Circuit: r.Circuit, Name: r.Name, WalkOrder: r.WalkOrder, CanHurt: r.CanHurt, Exposed: r.Exposed,
		LengthMM: r.LengthMM, Note: r.Note, Version: 1,
	})
}

func (w *wholeTaker) addDuty(r *register.WholeDuty) error {
	k, err := w.kind(r.Kind)
	if err != nil {
		return err
	}
	return hold(w, &w.duties, register.Duty{KindID: k.ID, Circuit: r.Circuit, Service: register.Service(r.WholeService), Note: r.Note, Version: 1})
}

func (w *wholeTaker) addMachine(r *register.WholeMachine) error {
	site, err := w.t.site(r.Site)
	if err != nil {
		return err
	}
	k, err := w.kind(r.Kind)
	if err != nil {
		return err
	}
	m := register.Machine{
		SiteID: site.ID, Code: r.Code, Name: r.Name, Serial: r.Serial, PlannedHoursPerWeek: r.PlannedHoursPerWeek,
		CanHurt: r.CanHurt, Note: r.Note, GoneOn: r.GoneOn, GoneReason: r.GoneReason, Version: 1,
	}
	if k != nil {
		m.KindID = &k.ID
	}
	return hold(w, &w.machines, m)
}

func (w *wholeTaker) addCircuit(r *register.WholeCircuit) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	return hold(w, &w.circuits, register.Circuit{MachineID: m.ID, Name: r.Name, Version: 1})
}

// circuit is the circuit of a machine, which must be there; nil for no name.
func (w *wholeTaker) circuit(m *register.Machine, name string) (*register.Circuit, error) {
	if name == "" {
		return nil, nil
	}
	c, err := w.t.circuit(m, name)
	if err == nil && c == nil {
		err = refuse(register.NotFound, "circuit", "Machine %s has no circuit %s among the circuits.", m.Code, name)
	}
	return c, err
}

func (w *wholeTaker) addPosition(r *register.WholePosition) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	c, err := w.circuit(m, r.Circuit)
	if err != nil {
		return err
	}
	policyID, err := w.policy(r.Policy)
	if err != nil {
		return err
	}
	p := register.Position{
		MachineID: m.ID, Name: r.Name, WalkOrder: r.WalkOrder, CanHurt: r.CanHurt, Exposed: r.Exposed, PolicyID: policyID,
		LengthMM: r.LengthMM, BendMM: r.BendMM, StraightMM: r.StraightMM, Twisted: r.Twisted, Note: r.Note,
		GoneOn: r.GoneOn, GoneReason: r.GoneReason, Version: 1,
	}
	if c != nil {
		p.CircuitID = &c.ID
	}
	return hold(w, &w.positions, p)
}

func (w *wholeTaker) addAssembly(r *register.WholeAssembly) error {
	site, err := w.t.site(r.Site)
	if err != nil {
		return err
	}
	if err := w.t.notAhead(site.ID, "scrapped_on", r.ScrappedOn); err != nil {
		return err
	}
	a := r.Assembly()
	a.SiteID = site.ID
	return hold(w, &w.assemblies, a)
}

// keepCodes keeps the codes of assemblies for good, and remembers the highest
// of those that the register gives out itself.
func (w *wholeTaker) keepCodes(rows []register.Assembly) error {
	args := make([]any, 0, 2*len(rows))
	for i := range rows {
		args = append(args, rows[i].Code, rows[i].ID)
		w.givenOut(rows[i].Code)
	}
	values := strings.TrimSuffix(strings.Repeat("(?, ?), ", len(rows)), ", ")
	if _, err := w.t.exec(w.t.ctx, "INSERT INTO assembly_codes (code, assembly_id) VALUES "+values, args...); err != nil {
		return w.t.explain("keep codes", err, nil)
	}
	return nil
}

func (w *wholeTaker) givenOut(code string) {
	digits, ok := strings.CutPrefix(code, "H-")
	if n, err := strconv.ParseInt(digits, 10, 32); ok && err == nil {
		w.lastCode = max(w.lastCode, n)
	}
}

func (w *wholeTaker) addFormerCode(r *register.WholeFormerCode) error {
	a, err := w.t.assembly(r.Assembly)
	if err != nil {
		return err
	}
	if err := w.t.codeFree(r.Code, 0); err != nil {
		return err
	}
	w.givenOut(r.Code)
	return w.t.keepCode(r.Code, a.ID)
}

func (w *wholeTaker) addPlacement(r *register.WholePlacement) error {
	a, err := w.t.assembly(r.Assembly)
	if err != nil {
		return err
	}
	s, err := w.seat(r.Machine, r.Position)
	if err != nil {
		return err
	}
	for _, d := range []struct {
		field string
		on    quantity.Date
	}{{"from_on", r.From}, {"to_on", r.To}} {
		if err := w.t.notAhead(s.machine.SiteID, d.field, d.on); err != nil {
			return err
		}
	}
	p := r.Placement()
	p.AssemblyID, p.PositionID = a.ID, s.position.ID
	w.stays = append(w.stays, stay{a, s, r.Removal(), w.number})
	w.placed = append(w.placed, w.number)
	return hold(w, &w.placements, p)
}

// seat is the position of a machine, both of which must be there.
func (w *wholeTaker) seat(machine, position string) (seat, error) {
	m, err := w.t.machine(machine)
	if err != nil {
		return seat{}, err
	}
	p, err := w.t.position(m, position)
	return seat{machine: m, position: p}, err
}

// afterPlacements holds the rules of single placements and adds their
// removals; that they do not overlap is looked at when all are there.
func (w *wholeTaker) afterPlacements(rows []register.Placement) error {
	stays := w.stays
	w.stays = nil
	for i := range rows {
		p, s := &rows[i], stays[i]
		err := firstError(madeBefore(s.assembly, p.From, p.FromText), staysWithin(s.seat, p), notScrapped(s.assembly, p))
		if err != nil {
			return w.atPart(register.PartPlacements, s.number, err)
		}
		w.t.touched.assembly(p.AssemblyID)
		if s.removal == nil {
			if err := w.t.awaitEstimate(p.AssemblyID); err != nil {
				return err
			}
			continue
		}
		s.removal.PlacementID = p.ID
		if err := hold(w, &w.removals, *s.removal); err != nil {
			return err
		}
	}
	return writeHeld(w, &w.removals)
}

func (w *wholeTaker) addReading(r *register.WholeReading) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	if err := w.t.notAhead(m.SiteID, "on", r.On); err != nil {
		return err
	}
	return hold(w, &w.readings, register.Reading{MachineID: m.ID, On: r.On, Hours: r.Hours, Source: r.Source, Disputed: r.Disputed, Note: r.Note, Version: 1})
}

func (w *wholeTaker) addMeterEvent(r *register.WholeMeterEvent) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	if err := w.t.notAhead(m.SiteID, "on", r.On); err != nil {
		return err
	}
	return hold(w, &w.meterEvents, register.MeterEvent{MachineID: m.ID, On: r.On, OldEnd: r.OldEnd, NewStart: r.NewStart, Note: r.Note, Version: 1})
}

func (w *wholeTaker) addLayUp(r *register.WholeLayUp) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	return hold(w, &w.layUps, register.LayUp{MachineID: m.ID, From: r.From, To: r.To, Reason: r.Reason, Version: 1})
}

func (w *wholeTaker) addConditions(r *register.WholeConditions) error {
	m, err := w.t.machine(r.Machine)
	if err != nil {
		return err
	}
	row := register.Conditions{
		Level: register.AtMachine, OwnerID: m.ID, From: r.From, Service: register.Service(r.WholeService), Basis: r.Basis, Note: r.Note, Version: 1,
	}
	switch {
	case r.Position != "":
		p, err := w.t.position(m, r.Position)
		if err != nil {
			return err
		}
		row.Level, row.OwnerID = register.AtPosition, p.ID
	case r.Circuit != "":
		c, err := w.circuit(m, r.Circuit)
		if err != nil {
			return err
		}
		row.Level, row.OwnerID = register.AtCircuit, c.ID
	}
	return hold(w, &w.conditions, row)
}

func (w *wholeTaker) addInspection(r *register.WholeInspection) error {
	a, err := w.t.assembly(r.Assembly)
	if err != nil {
		return err
	}
	s, err := w.seat(r.Machine, r.Position)
	if err != nil {
		return err
	}
	if err := w.t.notAhead(s.machine.SiteID, "on", r.On); err != nil {
		return err
	}
	if r.Look == 1 {
		w.firstLooks++
	} else if err := w.lookFollows(a, r); err != nil {
		return err
	}
	w.looked = append(w.looked, w.number)
	return hold(w, &w.inspections, register.Inspection{
		AssemblyID: a.ID, PositionID: s.position.ID, On: r.On, By: r.By, Verdict: r.Verdict, Note: r.Note, Version: 1,
	})
}

// lookFollows refuses a look that is not the next of its assembly and day.
func (w *wholeTaker) lookFollows(a *register.Assembly, r *register.WholeInspection) error {
	if err := writeHeld(w, &w.inspections); err != nil {
		return err
	}
	var n int
	err := w.t.row(w.t.ctx, "SELECT COUNT(*) FROM inspections WHERE assembly_id = ? AND on_day = "+w.t.e.date(r.On), a.ID).Scan(&n)
	if err != nil {
		return fmt.Errorf("count the looks at assembly %d: %w", a.ID, translate(err))
	}
	if n != r.Look-1 {
		return refuse(register.Invalid, "look", "The looks at assembly %s on %s must stand in the order of their numbers, from 1; before this one stand %d.", a.Code, r.On, n)
	}
	return nil
}

func (w *wholeTaker) addFinding(r *register.WholeFinding) error {
	a, err := w.t.assembly(r.Assembly)
	if err != nil {
		return err
	}
	at := "assembly_id = ? AND on_day = " + w.t.e.date(r.On) + " ORDER BY id LIMIT 1 OFFSET " + strconv.Itoa(r.Look-1)
	look, err := inspections.one(w.t.ctx, w.t.conn, at, a.ID)
	if err != nil {
		return err
	}
	if look == nil {
		return refuse(register.NotFound, "look", "There is no look %d at assembly %s on %s among the inspections.", r.Look, a.Code, r.On)
	}
	site, err := w.t.seatByID(look.PositionID)
	if err != nil {
		return err
	}
	if err := w.t.notAhead(site.machine.SiteID, "closed_on", r.ClosedOn); err != nil {
		return err
	}
	if r.Class == life.Stop && r.ClosedOn.IsZero() {
		if err := w.t.showStop(a.ID); err != nil {
			return err
		}
	}
	return hold(w, &w.findings, register.Finding{
		InspectionID: look.ID, AssemblyID: a.ID, Number: r.Number, Class: r.Class, Place: r.Place, ActBy: r.ActBy, Note: r.Note,
		SeenOn: r.On, ClosedOn: r.ClosedOn, ClosedHow: r.ClosedHow, ClosedReason: r.ClosedReason, Version: 1,
	})
}
