package store

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

func (t *tx) inspect(c register.Inspect) error {
	s, err := t.seatOf(c.Machine, c.Position)
	if err != nil {
		return err
	}
	if err := firstError(t.notAhead(s.machine.SiteID, "on", c.On), notGone(s, "on", c.On)); err != nil {
		return err
	}
	p, err := t.sittingAt(s, c.On)
	if err != nil {
		return err
	}
	row := &register.Inspection{
		AssemblyID: p.AssemblyID, PositionID: p.PositionID, On: c.On, By: c.By, Verdict: life.Sound, Note: c.Note, Version: 1,
	}
	for _, f := range c.Findings {
		row.Verdict = life.Strictest(row.Verdict, f.Class)
	}
	if err := insert(t, inspections, row, &row.ID, nil); err != nil {
		return err
	}
	for _, f := range c.Findings {
		if err := t.addFinding(row, p, register.FindingRow{NewFinding: f}); err != nil {
			return err
		}
	}
	t.touched.assembly(p.AssemblyID)
	if row.Verdict == life.Stop && p.To.IsZero() {
		return t.showStop(p.AssemblyID)
	}
	return nil
}

// sittingAt is where the assembly that sat at a position on a day was placed.
// On the day of a swap that is the new one; the old one is found only where
// nothing followed it that still sat there the day after.
func (t *tx) sittingAt(s seat, on quantity.Date) (*register.Placement, error) {
	day := t.e.date(on)
	p, err := placements.one(t.ctx, t.conn, "position_id = ? AND from_on <= "+day+" AND (to_on IS NULL OR to_on >= "+day+
		") ORDER BY from_on DESC, CASE WHEN to_on = from_on THEN 1 ELSE 0 END, id DESC LIMIT 1", s.position.ID)
	if err == nil && p == nil {
		err = refuse(register.Refused, "position", "No assembly sat at %s on %s; note its fitting first or check the day.", s, on)
	}
	return p, err
}

// addFinding adds a finding as it stands; one that is open is closed where the
// hose came off since.
func (t *tx) addFinding(i *register.Inspection, p *register.Placement, f register.FindingRow) error {
	row := &register.Finding{
		InspectionID: i.ID, AssemblyID: i.AssemblyID, Number: f.Number, Class: f.Class, Place: f.Place,
		ActBy: f.ActBy, Note: f.Note, SeenOn: i.On, Version: 1,
		ClosedOn: f.ClosedOn, ClosedHow: f.ClosedHow, ClosedReason: f.ClosedReason,
	}
	if row.ClosedOn.IsZero() && !p.To.IsZero() {
		row.ClosedOn, row.ClosedHow = p.To, register.ClosedByRemoval
	}
	return insert(t, findings, row, &row.ID, nil)
}

func (t *tx) closeFinding(c register.CloseFinding) error {
	before, err := findings.one(t.ctx, t.conn, "id = ?", c.FindingID)
	before, err = orHidden(t, before, err)
	switch {
	case err != nil:
		return err
	case before == nil:
		return refuse(register.NotFound, "finding_id", "This finding is not in the register any more.")
	case !before.ClosedOn.IsZero():
		return refuse(register.Refused, "finding_id", "This finding was closed on %s already.", before.ClosedOn)
	case c.How == register.ClosedDone && before.Class != life.Correct:
		return refuse(register.Refused, "how", "Only a finding of class correct is ticked done; this one is of class %s.", before.Class)
	case c.On.Before(before.SeenOn):
		return refuse(register.Invalid, "on", "The finding was seen on %s, after %s; one of the two days is wrong.", before.SeenOn, c.On)
	}
	i, err := inspections.one(t.ctx, t.conn, "id = ?", before.InspectionID)
	if err != nil {
		return err
	}
	s, err := t.seatByID(i.PositionID)
	if err != nil {
		return err
	}
	if err := t.lockMachine(s.machine); err != nil {
		return err
	}
	if err := t.notAhead(s.machine.SiteID, "on", c.On); err != nil {
		return err
	}
	t.touched.assembly(before.AssemblyID)
	return t.close(before, c.On, c.How, c.Reason)
}

func (t *tx) close(before *register.Finding, on quantity.Date, how register.ClosedHow, reason string) error {
	row := *before
	row.ClosedOn, row.ClosedHow, row.ClosedReason, row.Version = on, how, reason, before.Version+1
	return update(t, findings, before, &row, row.ID, before.Version, nil)
}
