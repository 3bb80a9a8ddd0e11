package store

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// changeInspection corrects the day, the inspector and the note of an
// inspection. Its findings follow the day; it stays of the assembly that was
// looked at, so that one must have sat there on the new day too.
func (t *tx) changeInspection(c register.ChangeInspection) error {
	before, err := known(t, inspections, c.Inspection.ID, c.Inspection.Version, "This inspection")
	if err != nil {
		return err
	}
	s, err := t.lockedSeat(before.PositionID)
	if err != nil {
		return err
	}
	row := *before
	row.On, row.By, row.Note, row.Version = c.Inspection.On, c.Inspection.By, c.Inspection.Note, before.Version+1
	if err := firstError(t.notAhead(s.machine.SiteID, "on", row.On), notGone(s, "on", row.On)); err != nil {
		return err
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.assembly(row.AssemblyID)
		t.touched.assembly(row.AssemblyID)
		if err := amend(t, inspections, before, &row, row.ID, before.Version, nil); err != nil {
			return err
		}
		if row.On == before.On {
			return nil
		}
		return t.findingsFollow(&row)
	})
}

// findingsFollow brings the findings of an inspection to its day.
func (t *tx) findingsFollow(look *register.Inspection) error {
	stays, err := placements.where(t.ctx, t.conn, "assembly_id = ?", look.AssemblyID)
	if err != nil {
		return err
	}
	seen, err := findings.where(t.ctx, t.conn, "inspection_id = ? ORDER BY id", look.ID)
	if err != nil {
		return err
	}
	for i := range seen {
		row := seen[i]
		row.SeenOn, row.Version = look.On, row.Version+1
		if row.ClosedHow == register.ClosedByRemoval || row.ClosedHow == "" {
			row.ClosedHow, row.ClosedOn = "", quantity.Date{}
			if p := stayOf(stays, look); p != nil && !p.To.IsZero() {
				row.ClosedHow, row.ClosedOn = register.ClosedByRemoval, p.To
			}
		}
		switch {
		case !row.ClosedOn.IsZero() && row.ClosedOn.Before(look.On):
			return refuse(register.Refused, "on", "A finding of this inspection was closed on %s, before %s; one of the two days is wrong.", row.ClosedOn, look.On)
		case !row.ActBy.IsZero() && row.ActBy.Before(look.On):
			return refuse(register.Refused, "on", "A finding of this inspection is to be acted on by %s, before %s; correct the finding first.", row.ActBy, look.On)
		}
		if err := amend(t, findings, &seen[i], &row, row.ID, seen[i].Version, nil); err != nil {
			return err
		}
	}
	return nil
}

// changeFinding corrects what was seen. How it was closed stays; the verdict of
// its inspection follows.
func (t *tx) changeFinding(c register.ChangeFinding) error {
	before, err := known(t, findings, c.Finding.ID, c.Finding.Version, "This finding")
	if err != nil {
		return err
	}
	look, err := inspections.one(t.ctx, t.conn, "id = ?", before.InspectionID)
	if err != nil {
		return err
	}
	if _, err := t.lockedSeat(look.PositionID); err != nil {
		return err
	}
	row := *before
	row.Number, row.Class, row.Place, row.ActBy, row.Note = c.Finding.Number, c.Finding.Class, c.Finding.Place, c.Finding.ActBy, c.Finding.Note
	row.Version = before.Version + 1
	switch {
	case !row.ActBy.IsZero() && row.ActBy.Before(row.SeenOn):
		return refuse(register.Invalid, "act_by", "The finding is to be acted on by %s, before it was seen on %s.", row.ActBy, row.SeenOn)
	case row.ClosedHow == register.ClosedDone && row.Class != life.Correct:
		return refuse(register.Refused, "class", "This finding was ticked done on %s, which is only for findings of class correct; it cannot be of class %s.", row.ClosedOn, row.Class)
	}
	if register.MilderFinding(before, &row) {
		defer t.needing(register.RightManage)()
	}
	return t.correctly(c.Reason, func(g *agreement) error {
		g.assembly(row.AssemblyID)
		t.touched.assembly(row.AssemblyID)
		return amend(t, findings, before, &row, row.ID, before.Version, nil)
	})
}

// judgeAll makes the verdict of every inspection of an assembly that of its
// findings.
func (t *tx) judgeAll(assemblyID int64) error {
	looks, err := inspections.where(t.ctx, t.conn, "assembly_id = ? ORDER BY id", assemblyID)
	if err != nil || len(looks) == 0 {
		return err
	}
	seen, err := findings.where(t.ctx, t.conn, "assembly_id = ?", assemblyID)
	if err != nil {
		return err
	}
	verdicts := map[int64]life.Class{}
	for i := range seen {
		id := seen[i].InspectionID
		verdicts[id] = life.Strictest(verdicts[id], seen[i].Class)
	}
	for i := range looks {
		row := looks[i]
		row.Version++
		if row.Verdict = verdicts[row.ID]; row.Verdict == "" {
			row.Verdict = life.Sound
		}
		if err := amend(t, inspections, &looks[i], &row, row.ID, looks[i].Version, nil); err != nil {
			return err
		}
	}
	return nil
}

// lockedSeat finds a position by its number and keeps other writers off.
func (t *tx) lockedSeat(positionID int64) (seat, error) {
	s, err := t.seatByID(positionID)
	if err != nil {
		return s, err
	}
	return s, t.lockMachine(s.machine)
}
