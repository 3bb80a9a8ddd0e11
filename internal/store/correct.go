package store

import (
	"cmp"
	"slices"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// known finds the row a correction is of, by its number and the version that
// was read.
func known[T any](t *tx, tab *table[T], id int64, version int, gone string) (*T, error) {
	row, err := tab.one(t.ctx, t.conn, "id = ?", id)
	row, err = orHidden(t, row, err)
	switch {
	case err != nil:
		return nil, err
	case row == nil:
		return nil, refuse(register.NotFound, "", "%s is not in the register any more.", gone)
	case versionOf(row) != version:
		return nil, conflict()
	}
	return row, nil
}

// amend replaces a row by what it should have been, if that is anything else.
func amend[T any](t *tx, tab *table[T], before, after *T, id int64, version int, taken error) error {
	if sameButVersion(before, after) {
		return nil
	}
	return update(t, tab, before, after, id, version, taken)
}

// correctly runs f, whose changes have a reason of their own, and then refuses
// what would leave the register in contradiction with itself.
func (t *tx) correctly(reason string, f func(*agreement) error) error {
	var g agreement
	err := t.noteReason("", reason, func() error {
		if err := f(&g); err != nil {
			return err
		}
		t.keys.clear()
		return t.agree(&g)
	})
	t.keys.clear() // names and hours may be others now
	return err
}

// changePlacement corrects where and when an assembly sat. Its inspections
// follow it to another position, what its removal closed follows the day, and
// the readings that came with its hours follow those.
func (t *tx) changePlacement(c register.ChangePlacement) error {
	before, err := known(t, placements, c.Placement.ID, c.Placement.Version, "This fitting")
	if err != nil {
		return err
	}
	row := c.Placement
	if row.AssemblyID != 0 && row.AssemblyID != before.AssemblyID {
		return refuse(register.Invalid, "assembly_code", "The assembly of a fitting stays; take the fitting back and fit the other assembly.")
	}
	row.AssemblyID, row.Version = before.AssemblyID, before.Version+1
	if row.PositionID == 0 {
		row.PositionID = before.PositionID
	}
	m, err := t.moving(before, &row)
	if err != nil {
		return err
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.placement(before)
		g.placement(&row)
		g.machine(m.from.machine.ID)
		g.machine(m.to.machine.ID)
		return t.movePlacement(m, c)
	})
}

// moving is a placement on its way to what it should have been.
type moving struct {
	before, after *register.Placement
	from, to      seat
	assembly      *register.Assembly
	looks         []register.Inspection // of the placement
	wasScrapped   bool                  // thrown away when it came off
}

// moving gathers what a correction bears on, and refuses what no agreement
// with other facts could mend.
func (t *tx) moving(before, after *register.Placement) (*moving, error) {
	m := &moving{before: before, after: after}
	var err error
	if m.from, err = t.seatByID(before.PositionID); err != nil {
		return nil, err
	}
	to, err := positions.one(t.ctx, t.conn, "id = ?", after.PositionID)
	if to, err = orHidden(t, to, err); err != nil || to == nil {
		return nil, firstError(err, refuse(register.NotFound, "position", "There is no such position; choose one of those the register has."))
	}
	if m.to, err = t.seatByID(after.PositionID); err != nil {
		return nil, err
	}
	locks := []*register.Machine{m.from.machine, m.to.machine}
	slices.SortFunc(locks, func(a, b *register.Machine) int { return cmp.Compare(a.ID, b.ID) })
	for _, of := range locks {
		if err := t.lockMachine(of); err != nil {
			return nil, err
		}
	}
	if m.to.machine.ID == m.from.machine.ID {
		m.to.machine = m.from.machine // as it is now that it is locked
	}
	site := m.to.machine.SiteID
	if err := firstError(t.notAhead(site, "from_on", after.From), t.notAhead(site, "to_on", after.To)); err != nil {
		return nil, err
	}
	if m.assembly, err = assemblies.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, before.AssemblyID); err != nil {
		return nil, err
	}
	if m.looks, err = t.looksOf(before); err != nil {
		return nil, err
	}
	m.wasScrapped, err = t.scrappedWith(m.assembly, before)
	return m, err
}

// looksOf are the inspections that were of a placement and of no other.
func (t *tx) looksOf(p *register.Placement) ([]register.Inspection, error) {
	stays, err := placements.where(t.ctx, t.conn, "assembly_id = ? AND position_id = ?", p.AssemblyID, p.PositionID)
	if err != nil {
		return nil, err
	}
	looks, err := inspections.where(t.ctx, t.conn, "assembly_id = ? AND position_id = ? ORDER BY id", p.AssemblyID, p.PositionID)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(looks, func(l register.Inspection) bool {
		of := stayOf(stays, &l)
		return of == nil || of.ID != p.ID
	}), nil
}

// scrappedWith reports whether an assembly was thrown away when it came off at
// the end of a placement.
func (t *tx) scrappedWith(a *register.Assembly, p *register.Placement) (bool, error) {
	if p.To.IsZero() || a.ScrappedOn != p.To {
		return false, nil
	}
	later, err := t.later(p)
	return later == nil, err
}

func (t *tx) movePlacement(m *moving, c register.ChangePlacement) error {
	// Asked before the row is written, so that what is in the way has a name.
	a := *m.assembly
	if m.wasScrapped || c.Scrapped {
		a.ScrappedOn = quantity.Date{}
	}
	if err := t.maySit(&a, m.to, m.after); err != nil {
		return err
	}
	if c.Scrapped {
		if err := t.mayScrap(&a, m.after, m.after.To); err != nil {
			return err
		}
	}
	taken := refuse(register.Refused, "position", "Another assembly sits there; remove that one first.")
	if err := amend(t, placements, m.before, m.after, m.after.ID, m.before.Version, taken); err != nil {
		return err
	}
	if err := t.correctRemoval(m.after, c.Removal); err != nil {
		return err
	}
	if err := t.moveLooks(m); err != nil {
		return err
	}
	if err := t.keptAfter(m, c.Scrapped); err != nil {
		return err
	}
	if err := t.bears(m.after); err != nil {
		return err
	}
	t.touched.machine(m.from.machine.ID)
	t.touched.machine(m.to.machine.ID)
	return t.hoursFollow(m)
}

// correctRemoval brings to what is said why an assembly came off.
func (t *tx) correctRemoval(p *register.Placement, said *register.Removal) error {
	have, err := removals.one(t.ctx, t.conn, "placement_id = ?", p.ID)
	switch {
	case err != nil, have == nil && said == nil:
		return err
	case said == nil:
		return remove(t, &undoing{begin: notTakenBack}, removals, have, have.ID, "the removal")
	}
	row := *said
	row.ID, row.PlacementID, row.Version = 0, p.ID, 1
	if have == nil {
		return insert(t, removals, &row, &row.ID, nil)
	}
	row.ID, row.Version = have.ID, have.Version+1
	return amend(t, removals, have, &row, row.ID, have.Version, nil)
}

// moveLooks takes the inspections of a placement to its right position.
func (t *tx) moveLooks(m *moving) error {
	if m.after.PositionID == m.before.PositionID {
		return nil
	}
	for i := range m.looks {
		look := m.looks[i]
		look.PositionID, look.Version = m.after.PositionID, look.Version+1
		if err := amend(t, inspections, &m.looks[i], &look, look.ID, m.looks[i].Version, nil); err != nil {
			return err
		}
	}
	return nil
}

// keptAfter puts right where an assembly is kept since it came off, and
// whether it was thrown away then.
func (t *tx) keptAfter(m *moving, scrapped bool) error {
	row := *m.assembly
	if m.wasScrapped && !scrapped {
		row.ScrappedOn, row.ScrappedReason = quantity.Date{}, ""
	}
	if scrapped {
		row.ScrappedOn = m.after.To
	}
	cameOff := !m.after.To.IsZero() && (m.before.To.IsZero() || m.to.machine.SiteID != m.from.machine.SiteID)
	if cameOff {
		later, err := t.later(m.after)
		if err != nil {
			return err
		}
		if later == nil {
			row.SiteID = m.to.machine.SiteID
		}
	}
	return t.store(m.assembly, &row)
}
