package store

import (
	"context"
	"errors"
	"slices"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// inspectionsOf takes over the inspections a row holds that the register lacks,
// each with its findings as they stand.
func (im *importer) inspectionsOf(s seat, place *register.Placement, rows []register.InspectionRow) error {
	if len(rows) == 0 {
		return nil
	}
	have, err := lookedAt(im.t.ctx, im.t.conn, place)
	if err != nil {
		return err
	}
	for _, r := range rows {
		at := slices.IndexFunc(have, func(h register.InspectionRow) bool { return sameLook(h, r) })
		if at >= 0 {
			have = slices.Delete(have, at, at+1) // two looks alike are two
			continue
		}
		if !r.On.IsZero() && (r.On.Before(place.From) || !place.To.IsZero() && r.On.After(place.To)) {
			im.tell("inspections_with_findings", "on %s another hose sat there, or none; the inspection is not taken", r.On)
			continue
		}
		err := im.look(s, place, r)
		var no *register.Error
		if errors.As(err, &no) {
			return cellsError{im.about("inspections_with_findings", no.Sentence)}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// look adds an inspection with its findings.
func (im *importer) look(s seat, place *register.Placement, r register.InspectionRow) error {
	t := im.t
	seen := make([]register.NewFinding, len(r.Findings))
	for i, f := range r.Findings {
		seen[i] = f.NewFinding
		if err := closedRightly(r, f); err != nil {
			return err
		}
	}
	check := register.Inspect{Machine: s.machine.Code, Position: s.position.Name, On: r.On, By: r.By, Note: r.Note, Findings: seen}
	if err := firstError(check.Check(), t.notAhead(s.machine.SiteID, "on", r.On), notGone(s, "on", r.On)); err != nil {
		return err
	}
	row := &register.Inspection{AssemblyID: place.AssemblyID, PositionID: place.PositionID, On: r.On, By: r.By, Verdict: life.Sound, Note: r.Note, Version: 1}
	for _, f := range seen {
		row.Verdict = life.Strictest(row.Verdict, f.Class)
	}
	im.changes("inspections: one on %s", r.On)
	if err := insert(t, inspections, row, &row.ID, nil); err != nil {
		return err
	}
	for _, f := range r.Findings {
		if err := t.addFinding(row, place, f); err != nil {
			return err
		}
	}
	t.touched.assembly(place.AssemblyID)
	return nil
}

// closedRightly refuses a finding that says half of how it was closed.
func closedRightly(r register.InspectionRow, f register.FindingRow) error {
	if f.ClosedOn.IsZero() && f.ClosedHow == "" {
		return nil
	}
	c := register.CloseFinding{FindingID: 1, On: f.ClosedOn, How: f.ClosedHow, Reason: f.ClosedReason}
	if err := c.Check(); err != nil {
		return err
	}
	switch {
	case f.ClosedOn.Before(r.On):
		return refuse(register.Invalid, "on", "A finding seen on %s cannot have been closed on %s; one of the two days is wrong.", r.On, f.ClosedOn)
	case f.ClosedHow == register.ClosedDone && f.Class != life.Correct:
		return refuse(register.Refused, "how", "Only a finding of class correct is ticked done; this one is of class %s.", f.Class)
	}
	return nil
}

// lookedAt are the inspections during a stay, as a list holds them. Where the
// hose was taken off and put back on one day, those of that day are of the
// later stay.
func lookedAt(ctx context.Context, c conn, p *register.Placement) ([]register.InspectionRow, error) {
	until := ""
	if !p.To.IsZero() {
		back, err := placements.one(ctx, c, "assembly_id = ? AND position_id = ? AND id <> ? AND from_on = "+c.e.date(p.To)+" AND (to_on IS NULL OR to_on > from_on) LIMIT 1",
			p.AssemblyID, p.PositionID, p.ID)
		if err != nil {
			return nil, err
		}
		until = " AND on_day <= " + c.e.date(p.To)
		if back != nil {
			until = " AND on_day < " + c.e.date(p.To)
		}
	}
	looks, err := inspections.where(ctx, c, "assembly_id = ? AND position_id = ? AND on_day >= "+c.e.date(p.From)+until+" ORDER BY on_day, id", p.AssemblyID, p.PositionID)
	if err != nil {
		return nil, err
	}
	rows := make([]register.InspectionRow, len(looks))
	for i, l := range looks {
		rows[i] = register.InspectionRow{On: l.On, By: l.By, Note: l.Note}
		if l.Verdict == life.Sound {
			continue
		}
		seen, err := findings.where(ctx, c, "inspection_id = ? ORDER BY id", l.ID)
		if err != nil {
			return nil, err
		}
		for _, n := range seen {
			f := register.FindingRow{NewFinding: register.NewFinding{Number: n.Number, Class: n.Class, Place: n.Place, ActBy: n.ActBy, Note: n.Note}}
			if n.ClosedHow != register.ClosedByRemoval {
				f.ClosedOn, f.ClosedHow, f.ClosedReason = n.ClosedOn, n.ClosedHow, n.ClosedReason
			}
			rows[i].Findings = append(rows[i].Findings, f)
		}
	}
	return rows, nil
}

// sameLook reports whether the register has an inspection of a list. How a
// finding was closed makes no other inspection: the register may know better.
func sameLook(have, said register.InspectionRow) bool {
	if have.On != said.On || have.By != said.By || have.Note != said.Note {
		return false
	}
	return slices.EqualFunc(have.Findings, said.Findings, func(a, b register.FindingRow) bool { return a.NewFinding == b.NewFinding })
}

// lastLook is the day of the last of some inspections.
func lastLook(rows []register.InspectionRow) quantity.Date {
	if len(rows) == 0 {
		return quantity.Date{}
	}
	return rows[len(rows)-1].On
}
