package store

import (
	"fmt"
	"reflect"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// removal is the Remove a row asks for. Without a cause it is unknown; without
// a word on it the hose is thrown away, so that it is never counted on, unless
// the register knows of it since.
func (t *tx) removal(code string, h *register.HoseRow) (register.Remove, error) {
	r := register.Remove{
		AssemblyCode: code, On: h.Removed, Hours: h.RemovedHours, Cause: h.Cause, FoundBy: h.FoundBy,
		Reason: h.Reason, Seen: h.Seen, Scrapped: isYes(h.Scrapped),
	}
	if h.Scrapped == nil {
		a, err := t.assembly(code)
		if err != nil {
			return r, err
		}
		later, err := placements.one(t.ctx, t.conn, "assembly_id = ? AND from_on >= "+t.e.date(h.Removed)+" LIMIT 1", a.ID)
		if err != nil {
			return r, err
		}
		r.Scrapped = later == nil && a.ScrappedOn.IsZero()
	}
	if r.Cause == "" {
		r.Cause = register.CauseUnknown
	}
	if r.FoundBy == "" {
		r.FoundBy = register.FoundByInspection
	}
	return r, nil
}

// changeDays brings the days and hours of a placement to what the row says,
// where no other placement of the position or the assembly is in the way. a is
// the assembly as it will be.
func (im *importer) changeDays(s seat, a register.Assembly, p *register.Placement, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	earlier := im.seen.note("placement", fmt.Sprint(p.ID))
	row := *p
	if on := h.Fitted.Start(); !on.IsZero() && on != p.From {
		row.From, row.FromText = on, ""
	}
	if !h.Fitted.IsZero() {
		setText(&row.FromText, h.FittedText)
	}
	setValue(&row.FromHours, h.FittedHours)
	if !p.To.IsZero() && !h.Removed.IsZero() {
		row.To = h.Removed
		setValue(&row.ToHours, h.RemovedHours)
	}
	if reflect.DeepEqual(row, *p) {
		return p, nil
	}
	if earlier > 0 {
		return nil, im.contradicts(earlier, "when "+im.sitting(a.Code, h)+" sat at "+s.String(), *p, row)
	}
	if err := firstError(t.maySit(&a, s, &row), t.notAhead(s.machine.SiteID, "on", row.From), t.notAhead(s.machine.SiteID, "on", row.To)); err != nil {
		return nil, err
	}
	if err := t.inspectedWithin(s, p, &row); err != nil {
		return nil, err
	}
	row.Version = p.Version + 1
	im.changes("when assembly %s sat at %s", a.Code, s)
	if err := update(t, placements, p, &row, p.ID, p.Version, nil); err != nil {
		return nil, err
	}
	t.touched.assembly(p.AssemblyID)
	if err := t.alsoRead(s.machine, row.From, row.FromHours, "fitting"); err != nil {
		return nil, err
	}
	return &row, t.alsoRead(s.machine, row.To, row.ToHours, "removal")
}

// inspectedWithin refuses days that leave out an inspection of the placement
// as it was.
func (t *tx) inspectedWithin(s seat, before, after *register.Placement) error {
	outside := "on_day < " + t.e.date(after.From)
	if !after.To.IsZero() {
		outside = "(" + outside + " OR on_day > " + t.e.date(after.To) + ")"
	}
	until := ""
	if !before.To.IsZero() {
		until = " AND on_day <= " + t.e.date(before.To)
	}
	look, err := inspections.one(t.ctx, t.conn, "assembly_id = ? AND position_id = ? AND on_day >= "+t.e.date(before.From)+until+" AND "+outside+" ORDER BY on_day LIMIT 1",
		before.AssemblyID, before.PositionID)
	if err != nil || look == nil {
		return err
	}
	return refuse(register.Refused, "on", "The assembly was inspected at %s on %s, which these dates leave out; one of the days is wrong.", s, look.On)
}

// changeEnd takes the assembly off where the row says so, or brings to what it
// says why it came off.
func (im *importer) changeEnd(code string, p *register.Placement, h *register.HoseRow) (*register.Placement, error) {
	t := im.t
	if h.Removed.IsZero() {
		return p, nil
	}
	if p.To.IsZero() {
		im.changes("assembly %s: removed on %s", code, h.Removed)
		remove, err := t.removal(code, h)
		if err == nil {
			err = t.apply(remove)
		}
		if err != nil {
			return nil, err
		}
	} else if err := firstError(im.changeRemoval(code, p, h), im.changeScrapped(code, p, h)); err != nil {
		return nil, err
	}
	if h.KeptAt != "" {
		if err := im.keptElsewhere(code, h); err != nil {
			return nil, err
		}
	}
	return placements.one(t.ctx, t.conn, "id = ?", p.ID)
}

func (im *importer) changeRemoval(code string, p *register.Placement, h *register.HoseRow) error {
	t := im.t
	before, err := removals.one(t.ctx, t.conn, "placement_id = ?", p.ID)
	if err != nil || before == nil {
		return err
	}
	row := *before
	if h.Cause != "" {
		row.Cause = h.Cause
	}
	if h.FoundBy != "" {
		row.FoundBy = h.FoundBy
	}
	setText(&row.Reason, h.Reason)
	setText(&row.Seen, h.Seen)
	if row == *before {
		return nil
	}
	row.Version = before.Version + 1
	im.changes("why assembly %s came off", code)
	return update(t, removals, before, &row, row.ID, before.Version, nil)
}

// changeScrapped brings to what the row says whether an assembly was thrown
// away when it came off for the last time.
func (im *importer) changeScrapped(code string, p *register.Placement, h *register.HoseRow) error {
	t := im.t
	if h.Scrapped == nil {
		return nil
	}
	a, err := t.assembly(code)
	if err != nil || (a.ScrappedOn == p.To) == *h.Scrapped {
		return err
	}
	if !*h.Scrapped {
		im.changes("assembly %s: back in store on %s", code, p.To)
		row := *a
		row.ScrappedOn, row.ScrappedReason = quantity.Date{}, ""
		return t.apply(register.ChangeAssembly{Assembly: row})
	}
	im.changes("assembly %s: scrapped on %s", code, p.To)
	return t.whereAfter(a, p, a.SiteID, true)
}
