package store

import (
	"fmt"
	"maps"
	"slices"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// What must hold of a register whatever was done to it, in one place: fitting,
// correcting, taking back and undoing all ask here. Each rule refuses with a
// sentence that names what is in the way.

// maySit holds the rules of a placement against all others: nothing fitted
// before it was made or after it was scrapped, one assembly at a position and
// one position for an assembly at a time, nothing on what has left the fleet.
// p may be in the register already as another version of itself, by its ID.
func (t *tx) maySit(a *register.Assembly, s seat, p *register.Placement) error {
	if err := firstError(madeBefore(a, p.From, p.FromText), staysWithin(s, p)); err != nil {
		return err
	}
	if err := t.positionFree(s, p); err != nil {
		return err
	}
	if err := t.assemblyFree(a, p); err != nil {
		return err
	}
	return notScrapped(a, p)
}

// overlapping is the condition for other placements that meet the days of p.
func (t *tx) overlapping(p *register.Placement) string {
	q := fmt.Sprintf("id <> %d AND (to_on IS NULL OR to_on > ", p.ID) + t.e.date(p.From) + ")"
	if !p.To.IsZero() {
		q += " AND from_on < " + t.e.date(p.To)
	}
	return q + " ORDER BY from_on, id LIMIT 1"
}

func (t *tx) positionFree(s seat, p *register.Placement) error {
	there, err := placements.one(t.ctx, t.conn, "position_id = ? AND "+t.overlapping(p), s.position.ID)
	if err != nil || there == nil {
		return err
	}
	other, err := assemblies.one(t.ctx, t.conn, "id = ?", there.AssemblyID)
	if err != nil || other == nil {
		return firstError(err, fmt.Errorf("find assembly %d: not there", there.AssemblyID))
	}
	switch {
	case there.From.After(p.From) && p.To.IsZero():
		return refuse(register.Refused, "on", "From %s on %s held assembly %s; say when the one fitted on %s came off.", there.From, s, other.Code, p.From)
	case there.To.IsZero() && !there.From.After(p.From):
		return refuse(register.Refused, "position", "Since %s %s holds assembly %s; remove that one first.", there.From, s, other.Code)
	case there.To.IsZero():
		return refuse(register.Refused, "on", "Since %s %s holds assembly %s; one of the dates is wrong.", there.From, s, other.Code)
	}
	return refuse(register.Refused, "on", "From %s to %s %s held assembly %s; one of the dates is wrong.", there.From, there.To, s, other.Code)
}

func (t *tx) assemblyFree(a *register.Assembly, p *register.Placement) error {
	there, err := placements.one(t.ctx, t.conn, "assembly_id = ? AND "+t.overlapping(p), a.ID)
	if err != nil || there == nil {
		return err
	}
	at, err := t.seatByID(there.PositionID)
	switch {
	case err != nil:
		return err
	case there.From.After(p.From) && p.To.IsZero():
		return refuse(register.Refused, "on", "From %s on assembly %s sat at %s; say when it came off where it was fitted on %s.", there.From, a.Code, at, p.From)
	case there.To.IsZero() && !there.From.After(p.From):
		return refuse(register.Refused, "assembly_code", "Assembly %s sits at %s since %s; remove it there first.", a.Code, at, there.From)
	case there.To.IsZero():
		return refuse(register.Refused, "on", "Since %s assembly %s sits at %s; one of the dates is wrong.", there.From, a.Code, at)
	}
	return refuse(register.Refused, "on", "From %s to %s assembly %s sat at %s; one of the dates is wrong.", there.From, there.To, a.Code, at)
}

// notScrapped refuses a placement that goes beyond the day its assembly was
// thrown away. One that ended on that very day may have begun on it.
func notScrapped(a *register.Assembly, p *register.Placement) error {
	on := a.ScrappedOn
	switch {
	case on.IsZero(), p.From.Before(on) && !p.To.IsZero() && !p.To.After(on), p.From == on && p.To == on:
		return nil
	case p.From.Before(on):
		return refuse(register.Refused, "on", "Assembly %s was scrapped on %s, so it came off by then; say when, or correct that day.", a.Code, on)
	}
	return refuse(register.Refused, "assembly_code", "Assembly %s was scrapped on %s; a scrapped assembly is never fitted again.", a.Code, on)
}

// mayScrap refuses to say that an assembly was thrown away when it came off at
// the end of p, where something is known of it since.
func (t *tx) mayScrap(a *register.Assembly, p *register.Placement, on quantity.Date) error {
	later, err := t.later(p)
	if err != nil {
		return err
	}
	if later != nil {
		return refuse(register.Refused, "scrapped", "Assembly %s was fitted again on %s, so it was not scrapped on %s.", a.Code, later.From, on)
	}
	if !a.ScrappedOn.IsZero() {
		return refuse(register.Refused, "scrapped", "Assembly %s was in store then: it was scrapped on %s.", a.Code, a.ScrappedOn)
	}
	return nil
}

// staysWithin refuses a placement that goes beyond the day its machine left the
// fleet or its position ceased to be.
func staysWithin(s seat, p *register.Placement) error {
	if err := notGone(s, "on", p.From); err != nil {
		return err
	}
	gone := s.gone()
	if gone.IsZero() || !p.To.IsZero() && !p.To.After(gone) && !p.From.After(gone) {
		return nil
	}
	return refuse(register.Refused, "on", "%s is there only until %s; say when the assembly came off by then.", capital(s.String()), gone)
}

// gone is the first day on which the position or its machine was no more, no
// date while both are there.
func (s seat) gone() quantity.Date {
	m, p := s.machine.GoneOn, s.position.GoneOn
	if m.IsZero() || !p.IsZero() && p.Before(m) {
		return p
	}
	return m
}

// notGone refuses a day after a position or its machine ceased to be.
func notGone(s seat, field string, on quantity.Date) error {
	if err := machineNotGone(s.machine, field, on); err != nil {
		return err
	}
	if gone := s.position.GoneOn; !gone.IsZero() && on.After(gone) {
		return refuse(register.Refused, field, "%s is no more since %s; %s lies after that.", capital(s.String()), gone, on)
	}
	return nil
}

func machineNotGone(m *register.Machine, field string, on quantity.Date) error {
	if m.GoneOn.IsZero() || !on.After(m.GoneOn) {
		return nil
	}
	return refuse(register.Refused, field, "Machine %s left the fleet on %s; %s lies after that.", m.Code, m.GoneOn, on)
}

// agreement is what a correction bears on and must leave in agreement.
type agreement struct{ assemblies, positions, machines map[int64]bool }

func (g *agreement) assembly(id int64) { mark(&g.assemblies, id) }
func (g *agreement) position(id int64) { mark(&g.positions, id) }
func (g *agreement) machine(id int64)  { mark(&g.machines, id) }

func (g *agreement) placement(p *register.Placement) {
	g.assembly(p.AssemblyID)
	g.position(p.PositionID)
}

// agree refuses what is in the register now if it contradicts itself where a
// correction bore on it. What follows from other facts is brought in step:
// which findings are closed by a removal, and the verdicts of inspections.
func (t *tx) agree(g *agreement) error {
	for _, id := range slices.Sorted(maps.Keys(g.assemblies)) {
		a, err := assemblies.one(t.ctx, t.conn, "id = ?", id)
		if err != nil {
			return err
		}
		if a == nil {
			continue // taken back itself
		}
		if err := t.staysAgree(a); err != nil {
			return err
		}
		if err := t.inspectionsAgree(a); err != nil {
			return err
		}
		if err := t.settleFindings(a.ID); err != nil {
			return err
		}
		if err := t.judgeAll(a.ID); err != nil {
			return err
		}
	}
	for _, id := range slices.Sorted(maps.Keys(g.positions)) {
		if err := t.positionAgrees(id); err != nil {
			return err
		}
	}
	for _, id := range slices.Sorted(maps.Keys(g.machines)) {
		if err := t.machineAgrees(id); err != nil {
			return err
		}
	}
	return nil
}

// staysAgree holds the rules of placements for all those of an assembly as it
// is to be.
func (t *tx) staysAgree(a *register.Assembly) error {
	stays, err := placements.where(t.ctx, t.conn, "assembly_id = ? ORDER BY from_on, id", a.ID)
	if err != nil {
		return err
	}
	for i := range stays {
		s, err := t.seatByID(stays[i].PositionID)
		if err != nil {
			return err
		}
		if err := t.maySit(a, s, &stays[i]); err != nil {
			return err
		}
	}
	return nil
}

// positionAgrees holds the rules of placements for all those at a position.
func (t *tx) positionAgrees(id int64) error {
	stays, err := placements.where(t.ctx, t.conn, "position_id = ? ORDER BY from_on, id", id)
	if err != nil || len(stays) == 0 {
		return err
	}
	s, err := t.seatByID(id)
	if err != nil {
		return err
	}
	for i := range stays {
		if err := firstError(staysWithin(s, &stays[i]), t.positionFree(s, &stays[i])); err != nil {
			return err
		}
	}
	return nil
}

// inspectionsAgree refuses an inspection on a day on which its assembly did not
// sit where it was looked at.
func (t *tx) inspectionsAgree(a *register.Assembly) error {
	look, err := inspections.one(t.ctx, t.conn, `assembly_id = ? AND NOT EXISTS (SELECT 1 FROM placements p
		WHERE p.assembly_id = inspections.assembly_id AND p.position_id = inspections.position_id
		AND p.from_on <= inspections.on_day AND (p.to_on IS NULL OR p.to_on >= inspections.on_day)) ORDER BY on_day, id LIMIT 1`, a.ID)
	if err != nil || look == nil {
		return err
	}
	s, err := t.seatByID(look.PositionID)
	if err != nil {
		return err
	}
	return refuse(register.Refused, "on", "Assembly %s was inspected at %s on %s, when it would not have sat there; one of the days is wrong.", a.Code, s, look.On)
}

// machineAgrees refuses readings, meter events and lay-ups that contradict each
// other or come after the machine left the fleet, and placements that do.
func (t *tx) machineAgrees(id int64) error {
	m, err := machines.one(t.ctx, t.conn, "id = ?", id)
	if err != nil || m == nil {
		return err
	}
	delete(t.keys.hours, id)
	f, err := t.hoursOf(m)
	if err != nil {
		return err
	}
	for _, r := range f.Readings {
		if err := machineNotGone(m, "on", r.On); err != nil {
			return err
		}
	}
	for _, e := range f.Events {
		if err := machineNotGone(m, "on", e.On); err != nil {
			return err
		}
	}
	if err := notedTwice(f); err != nil {
		return err
	}
	today, err := t.today(m.SiteID)
	if err != nil {
		return err
	}
	return f.CheckHours(today)
}

// notedTwice refuses a meter event or a lay-up that is there a second time.
func notedTwice(f *register.MachineFacts) error {
	events := map[register.MeterEvent]bool{}
	for _, e := range f.Events {
		e = register.MeterEvent{On: e.On, OldEnd: e.OldEnd, NewStart: e.NewStart}
		if events[e] {
			return refuse(register.Exists, "on", "Machine %s has this meter event of %s already.", f.Machine.Code, e.On)
		}
		events[e] = true
	}
	layUps := map[register.LayUp]bool{}
	for _, l := range f.LayUps {
		l = register.LayUp{From: l.From, To: l.To}
		if layUps[l] {
			return refuse(register.Exists, "from", "Machine %s has this lay-up from %s already.", f.Machine.Code, l.From)
		}
		layUps[l] = true
	}
	return nil
}

// stayOf is the placement an inspection was of: the latest that covers its day
// at its position, nil if none does.
func stayOf(stays []register.Placement, look *register.Inspection) *register.Placement {
	var found *register.Placement
	for i := range stays {
		p := &stays[i]
		covers := p.PositionID == look.PositionID && p.AssemblyID == look.AssemblyID && !p.From.After(look.On) && (p.To.IsZero() || !p.To.Before(look.On))
		if covers && (found == nil || comesAfter(p, found)) {
			found = p
		}
	}
	return found
}

// settleFindings brings what removals close in step with the placements: a
// finding that nobody released or ticked done is open while the assembly sits
// where it was seen, and closed on the day it came off.
func (t *tx) settleFindings(assemblyID int64) error {
	seen, err := findings.where(t.ctx, t.conn, "assembly_id = ? AND closed_how IN ('', 'removed') ORDER BY id", assemblyID)
	if err != nil || len(seen) == 0 {
		return err
	}
	looks, err := inspections.where(t.ctx, t.conn, "assembly_id = ?", assemblyID)
	if err != nil {
		return err
	}
	stays, err := placements.where(t.ctx, t.conn, "assembly_id = ?", assemblyID)
	if err != nil {
		return err
	}
	until := map[int64]quantity.Date{} // by inspection
	for i := range looks {
		if p := stayOf(stays, &looks[i]); p != nil {
			until[looks[i].ID] = p.To
		}
	}
	for i := range seen {
		f := &seen[i]
		to, ok := until[f.InspectionID]
		if !ok || to == f.ClosedOn {
			continue
		}
		how := register.ClosedByRemoval
		if to.IsZero() {
			how = ""
		}
		if err := t.close(f, to, how, ""); err != nil {
			return err
		}
	}
	return nil
}

// openByFitting opens again what a removal closed on the day on which the
// assembly was fitted again where it sat: what was seen that day is of it as it
// sits there now.
func (t *tx) openByFitting(p *register.Placement) error {
	closed, err := findings.one(t.ctx, t.conn, "assembly_id = ? AND closed_how = 'removed' AND closed_on = "+t.e.date(p.From)+" LIMIT 1", p.AssemblyID)
	if err != nil || closed == nil {
		return err
	}
	return t.settleFindings(p.AssemblyID)
}

// closeByRemoval closes what was open on an assembly where it came off.
func (t *tx) closeByRemoval(assemblyID int64) error {
	open, err := findings.one(t.ctx, t.conn, "assembly_id = ? AND closed_on IS NULL LIMIT 1", assemblyID)
	if err != nil || open == nil {
		return err
	}
	return t.settleFindings(assemblyID)
}

// madeBefore refuses an assembly made or assembled after the day of a fitting.
// Where the fit date was written as a month, a quarter or a year, asWritten, up
// to a year is taken: it is known by its first day only.
func madeBefore(a *register.Assembly, fitted quantity.Date, asWritten string) error {
	latest := fitted
	if asWritten != "" {
		latest = fitted.AddDays(register.DaysOutOfOrder)
	}
	for _, p := range [...]struct {
		field, what string
		when        quantity.Period
	}{{"made", "hose was made", a.Made}, {"assembled", "assembly was made", a.Assembled}} {
		if !p.when.IsZero() && latest.Before(p.when.From) {
			return refuse(register.Refused, p.field, "The %s in %s but fitted on %s; one of the two dates is wrong.", p.what, p.when, fitted)
		}
	}
	return nil
}
