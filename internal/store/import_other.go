package store

import (
	"fmt"
	"reflect"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// otherHose answers a row whose hose is not the one the register has at that
// position at that time.
func (im *importer) otherHose(s seat, a *register.Assembly, sat []register.Placement, i int, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	there, on := &sat[i], h.Fitted.Start()
	other, err := assemblies.one(t.ctx, t.conn, "id = ?", there.AssemblyID)
	if err != nil {
		return nil, err
	}
	earlier := int(im.seen.rows[im.seen.key("placement", fmt.Sprint(there.ID))])
	switch im.opts.Different {
	case register.DifferentSwap:
		switch {
		case there.To.IsZero() && on.After(there.From):
			if err := im.swapOut(other, on); err != nil {
				return nil, err
			}
			return im.fitHose(s, a, h)
		case on.Before(there.From) && h.Removed.IsZero():
			// The list is older than the register: it came off when the next
			// one was fitted.
			h.Removed = there.From
			h.Reason = orElse(h.Reason, replacedReason)
			if h.Scrapped == nil {
				yes := true
				h.Scrapped = &yes
			}
			im.tell("fitted", "it came off on %s, when assembly %s was fitted", there.From, other.Code)
			return im.newPlacement(s, a, sat, h)
		}
		if !there.To.IsZero() {
			return nil, refuse(register.Refused, "on", "From %s to %s %s held assembly %s, so no other one was fitted there on %s; one of the dates is wrong.", there.From, there.To, s, other.Code, on)
		}
		return nil, refuse(register.Refused, "on", "Since %s %s holds assembly %s; a hose fitted on %s cannot have replaced it. Correct the fit date, or answer that the register was wrong.", there.From, s, other.Code, on)
	case register.DifferentCorrect:
		if earlier > 0 {
			return nil, im.contradicts(earlier, s.String(), struct{}{}, struct{}{})
		}
		return im.correct(s, a, other, there, h)
	}
	who := "another hose"
	if h.Code != "" {
		who = "assembly " + h.Code
	}
	has := "assembly " + other.Code
	if im.made[other.Code] {
		has = "another hose"
	}
	sentence := fmt.Sprintf("The register has assembly %s at %s since %s; the row says %s fitted on %s. Was it swapped on that day, or was the register wrong?", other.Code, s, there.From, who, on)
	if earlier > 0 {
		sentence = fmt.Sprintf("Row %d of the file has %s at %s since %s; this row says %s fitted on %s. Was it swapped on that day, or is one of the rows wrong?", earlier, has, s, there.From, who, on)
	}
	return nil, &asked{sentence}
}

const replacedReason = "replaced; the imported list does not say why"

// swapOut takes off the hose that a row's hose replaced. Why it came off is
// not known, and nothing is made of it.
func (im *importer) swapOut(other *register.Assembly, on quantity.Date) error {
	im.changes("assembly %s: removed on %s", other.Code, on)
	return im.t.apply(register.Remove{
		AssemblyCode: other.Code, On: on, Cause: register.CauseUnknown, FoundBy: register.FoundByInspection, Reason: replacedReason, Scrapped: true,
	})
}

// corrected is an assembly with what the row says. Where the row says that it
// is another type of hose, what was read off the wrong one is not known of the
// right one.
func corrected(a register.Assembly, h *register.HoseRow) register.Assembly {
	if otherType(&a, h) {
		a = register.Assembly{ID: a.ID, SiteID: a.SiteID, Code: a.Code, Note: a.Note, Version: a.Version}
	}
	a = merged(a, h)
	setText(&a.Code, h.Code)
	return a
}

// correct makes the register's hose at a position the row's: what was known of
// it was wrong. Of an assembly that the register knows by its code only the
// placement is put right.
func (im *importer) correct(s seat, a, other *register.Assembly, there *register.Placement, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	if a == nil {
		row := corrected(*other, h)
		there, err := im.changeDays(s, row, there, h)
		if err != nil {
			return nil, err
		}
		if !reflect.DeepEqual(row, *other) {
			im.changes("assembly %s", other.Code)
			if err := t.apply(register.ChangeAssembly{Assembly: row}); err != nil {
				return nil, err
			}
		}
		im.seen.note("assembly", row.Code)
		return im.changeEnd(row.Code, there, h)
	}
	if err := im.changeAssembly(a, h, "", im.seen.note("assembly", a.Code)); err != nil {
		return nil, err
	}
	if err := t.assemblyFree(a, there); err != nil {
		return nil, err
	}
	row := *there
	row.AssemblyID, row.Version = a.ID, there.Version+1
	im.changes("%s: it holds assembly %s, not %s", s, a.Code, other.Code)
	if err := update(t, placements, there, &row, row.ID, there.Version, nil); err != nil {
		return nil, err
	}
	if err := t.moveInspections(there, a.ID); err != nil {
		return nil, err
	}
	if err := t.dropEstimate(other.ID); err != nil {
		return nil, err
	}
	if row.To.IsZero() {
		if err := t.awaitEstimate(a.ID); err != nil {
			return nil, err
		}
	}
	t.touched.assembly(a.ID)
	there, err := im.changeDays(s, merged(*a, h), &row, h)
	if err != nil {
		return nil, err
	}
	return im.changeEnd(a.Code, there, h)
}

// moveInspections gives an assembly what was seen at a position while the
// register wrongly had another one there: it was this one that was looked at.
func (t *tx) moveInspections(stay *register.Placement, assemblyID int64) error {
	until := ""
	if !stay.To.IsZero() {
		until = " AND on_day <= " + t.e.date(stay.To)
	}
	looks, err := inspections.where(t.ctx, t.conn, "assembly_id = ? AND position_id = ? AND on_day >= "+t.e.date(stay.From)+until+" ORDER BY id", stay.AssemblyID, stay.PositionID)
	if err != nil {
		return err
	}
	for i := range looks {
		seen, err := findings.where(t.ctx, t.conn, "inspection_id = ? ORDER BY id", looks[i].ID)
		if err != nil {
			return err
		}
		look := looks[i]
		look.AssemblyID, look.Version = assemblyID, looks[i].Version+1
		if err := update(t, inspections, &looks[i], &look, look.ID, looks[i].Version, nil); err != nil {
			return err
		}
		for j := range seen {
			finding := seen[j]
			finding.AssemblyID, finding.Version = assemblyID, seen[j].Version+1
			if err := update(t, findings, &seen[j], &finding, finding.ID, seen[j].Version, nil); err != nil {
				return err
			}
		}
	}
	return nil
}
