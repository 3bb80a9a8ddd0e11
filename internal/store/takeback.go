package store

import (
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// notTakenBack is how a refusal to take something back begins.
const notTakenBack = "This cannot be taken back"

// takeBack deletes what was noted by mistake and nothing was built upon. The
// code of an assembly taken back is free again: nothing ever bore it.
func (t *tx) takeBack(c register.TakeBack) error {
	return t.correctly(c.Reason, func(g *agreement) error {
		u := &undoing{begin: notTakenBack}
		var err error
		switch c.What {
		case register.ThingPlacement:
			err = t.takeBackPlacement(u, c)
		case register.ThingRemoval:
			err = t.takeBackRemoval(u, c)
		case register.ThingInspection:
			err = t.takeBackInspection(u, c)
		case register.ThingFinding:
			err = t.takeBackFinding(u, c)
		default:
			r, ok := rowsOf()[string(c.What)]
			if !ok {
				return refuse(register.Invalid, "what", "%q is nothing that can be taken back.", c.What)
			}
			err = r.takeBack(t, u, c.ID, c.Version)
		}
		*g = u.agreement
		return err
	})
}

// takeBackPlacement takes back a placement with its removal and the readings
// that came with it.
func (t *tx) takeBackPlacement(u *undoing, c register.TakeBack) error {
	p, err := known(t, placements, c.ID, c.Version, "This fitting")
	if err != nil {
		return err
	}
	s, err := t.lockedSeat(p.PositionID)
	if err != nil {
		return err
	}
	if looks, err := t.looksOf(p); err != nil || len(looks) > 0 {
		return firstError(err, u.refuse("the assembly was inspected there on %s; take that back first.", dayOf(looks)))
	}
	if err := t.unscrap(p); err != nil {
		return err
	}
	why, err := removals.one(t.ctx, t.conn, "placement_id = ?", p.ID)
	if err != nil {
		return err
	}
	if why != nil {
		if err := remove(t, u, removals, why, why.ID, "the removal"); err != nil {
			return err
		}
	}
	u.placement(p)
	if err := drop(t, u, placements, p, p.ID); err != nil {
		return err
	}
	for _, look := range looksAt(s, p) {
		if err := t.dropReading(look); err != nil {
			return err
		}
	}
	return nil
}

func dayOf(looks []register.Inspection) quantity.Date {
	if len(looks) == 0 {
		return quantity.Date{}
	}
	return looks[0].On
}

// unscrap takes back that an assembly was thrown away at the end of p.
func (t *tx) unscrap(p *register.Placement) error {
	a, err := assemblies.one(t.ctx, t.conn, "id = ?", p.AssemblyID)
	if err != nil {
		return err
	}
	scrapped, err := t.scrappedWith(a, p)
	if err != nil || !scrapped {
		return err
	}
	row := *a
	row.ScrappedOn, row.ScrappedReason = quantity.Date{}, ""
	return t.store(a, &row)
}

// takeBackRemoval puts an assembly back where it sat: its findings are open
// again, and the reading that came with the removal goes.
func (t *tx) takeBackRemoval(u *undoing, c register.TakeBack) error {
	why, err := known(t, removals, c.ID, c.Version, "This removal")
	if err != nil {
		return err
	}
	p, err := placements.one(t.ctx, t.conn, "id = ?", why.PlacementID)
	if err != nil {
		return err
	}
	s, err := t.lockedSeat(p.PositionID)
	if err != nil {
		return err
	}
	if err := t.unscrap(p); err != nil {
		return err
	}
	a, err := assemblies.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, p.AssemblyID)
	if err != nil {
		return err
	}
	open := *p
	open.To, open.ToHours, open.Version = quantity.Date{}, nil, p.Version+1
	if err := t.maySit(a, s, &open); err != nil {
		return err
	}
	if err := remove(t, u, removals, why, why.ID, "the removal"); err != nil {
		return err
	}
	if err := update(t, placements, p, &open, p.ID, p.Version, nil); err != nil {
		return err
	}
	u.placement(&open)
	if err := t.bears(&open); err != nil {
		return err
	}
	return t.dropReading(looksAt(s, p)[1])
}

// takeBackInspection takes back an inspection with its findings.
func (t *tx) takeBackInspection(u *undoing, c register.TakeBack) error {
	look, err := known(t, inspections, c.ID, c.Version, "This inspection")
	if err != nil {
		return err
	}
	if _, err := t.lockedSeat(look.PositionID); err != nil {
		return err
	}
	seen, err := findings.where(t.ctx, t.conn, "inspection_id = ? ORDER BY id", look.ID)
	if err != nil {
		return err
	}
	for i := range seen {
		if err := remove(t, u, findings, &seen[i], seen[i].ID, "the finding"); err != nil {
			return err
		}
	}
	return remove(t, u, inspections, look, look.ID, "the inspection")
}

// takeBackFinding takes back one finding; the verdict of its inspection follows.
func (t *tx) takeBackFinding(u *undoing, c register.TakeBack) error {
	row, err := known(t, findings, c.ID, c.Version, "This finding")
	if err != nil {
		return err
	}
	look, err := inspections.one(t.ctx, t.conn, "id = ?", row.InspectionID)
	if err != nil {
		return err
	}
	if _, err := t.lockedSeat(look.PositionID); err != nil {
		return err
	}
	u.assembly(row.AssemblyID) // the verdict follows
	return remove(t, u, findings, row, row.ID, "the finding")
}

// scrap notes that an assembly in store was thrown away.
func (t *tx) scrap(c register.Scrap) error {
	a, err := t.assembly(c.AssemblyCode)
	if err != nil {
		return err
	}
	if err := firstError(t.lockAssembly(a), t.notAhead(a.SiteID, "on", c.On)); err != nil {
		return err
	}
	if !a.ScrappedOn.IsZero() {
		return refuse(register.Refused, "assembly_code", "Assembly %s was scrapped on %s already.", a.Code, a.ScrappedOn)
	}
	last, err := placements.one(t.ctx, t.conn, "assembly_id = ? ORDER BY CASE WHEN to_on IS NULL THEN 0 ELSE 1 END, to_on DESC LIMIT 1", a.ID)
	if err != nil {
		return err
	}
	if last != nil {
		s, err := t.lockedSeat(last.PositionID)
		switch {
		case err != nil:
			return err
		case last.To.IsZero():
			return refuse(register.Refused, "assembly_code", "Assembly %s sits at %s; remove it there, and say that it is thrown away.", a.Code, s)
		case last.To.After(c.On):
			return refuse(register.Refused, "on", "Assembly %s came off %s on %s, after %s; one of the two days is wrong.", a.Code, s, last.To, c.On)
		}
	}
	row := *a
	row.ScrappedOn, row.ScrappedReason = c.On, c.Reason
	return t.store(a, &row)
}
