package store

import (
	"fmt"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// seat is a position with its machine.
type seat struct {
	machine  *register.Machine
	position *register.Position
	// elsewhere: it is at a site that who makes the changes may not see.
	elsewhere bool
}

func (s seat) String() string {
	if s.elsewhere {
		return "another site"
	}
	return fmt.Sprintf("position %s of machine %s", s.position.Name, s.machine.Code)
}

// seatOf finds a position by its names, and keeps other writers off.
func (t *tx) seatOf(machine, position string) (seat, error) {
	m, err := t.machine(machine)
	if err != nil {
		return seat{}, err
	}
	if err := t.lockMachine(m); err != nil { // first, so that the position is read as it is
		return seat{}, err
	}
	p, err := t.position(m, position)
	return seat{machine: m, position: p}, err
}

// seatByID finds the position of a placement.
func (t *tx) seatByID(positionID int64) (seat, error) {
	p, err := positions.one(t.ctx, t.conn, "id = ?", positionID)
	if err != nil {
		return seat{}, err
	}
	if p == nil {
		return seat{}, fmt.Errorf("find position %d: not there", positionID)
	}
	m, err := machines.one(t.ctx, t.conn, "id = ?", p.MachineID)
	if err != nil {
		return seat{}, err
	}
	if m == nil {
		return seat{}, fmt.Errorf("find machine %d: not there", p.MachineID)
	}
	shown, err := t.sees(m.SiteID)
	return seat{machine: m, position: p, elsewhere: !shown}, err
}

func (t *tx) fit(c register.Fit, rest []register.Command) error {
	code := c.AssemblyCode
	if code == "" {
		code = t.justAdded
	}
	if code == "" {
		return refuse(register.Invalid, "assembly_code", "Name the assembly to fit.")
	}
	s, err := t.seatOf(c.Machine, c.Position)
	if err != nil {
		return err
	}
	a, err := t.assembly(code)
	if err != nil {
		return err
	}
	if err := firstError(t.lockAssembly(a), t.mayTake(a), t.notAhead(s.machine.SiteID, "on", c.On)); err != nil {
		return err
	}
	until := removedOn(a.Code, c.On, rest)
	if err := t.mayFit(a, s, c, until); err != nil {
		return err
	}
	row := &register.Placement{
		AssemblyID: a.ID, PositionID: s.position.ID,
		From: c.On, FromHours: c.Hours, FromText: c.OnText, To: until, Version: 1,
	}
	taken := refuse(register.Conflict, "position", "Someone fitted an assembly there meanwhile; look at it anew.")
	if err := t.noteReason(c.ReleasedBy, c.Reason, func() error {
		return insert(t, placements, row, &row.ID, taken)
	}); err != nil {
		return err
	}
	if until.IsZero() {
		if err := t.awaitEstimate(a.ID); err != nil {
			return err
		}
	} else {
		t.waits(a.ID, row.ID)
	}
	t.touched.assembly(a.ID)
	if err := t.openByFitting(row); err != nil {
		return err
	}
	return t.alsoRead(s.machine, c.On, c.Hours, "fitting")
}

// removedOn is the day on which a later command of the same list takes the
// assembly off again, no date if none does.
func removedOn(code string, fitted quantity.Date, rest []register.Command) quantity.Date {
	for _, c := range rest {
		switch c := c.(type) {
		case register.Fit:
			if fold(c.AssemblyCode) == fold(code) {
				return quantity.Date{}
			}
		case register.Remove:
			if fold(c.AssemblyCode) == fold(code) {
				if c.On.Before(fitted) {
					return quantity.Date{} // remove refuses it
				}
				return c.On
			}
		}
	}
	return quantity.Date{}
}

// mayFit holds the rules of fitting: those of every placement, and that nothing
// is fitted after it was stored too long.
func (t *tx) mayFit(a *register.Assembly, s seat, c register.Fit, until quantity.Date) error {
	row := &register.Placement{AssemblyID: a.ID, PositionID: s.position.ID, From: c.On, FromText: c.OnText, To: until}
	if err := t.maySit(a, s, row); err != nil {
		return err
	}
	if err := t.notDamaged(a, c); err != nil {
		return err
	}
	return t.storedNotTooLong(a, s, c)
}

// waits remembers a placement that was written with its end, for the Remove
// that follows.
func (t *tx) waits(assemblyID, placementID int64) {
	if t.ahead == nil {
		t.ahead = map[int64]int64{}
	}
	t.ahead[assemblyID] = placementID
}

// toEnd is the placement a Remove ends: the one whose Fit looked ahead to it,
// else the open one.
func (t *tx) toEnd(a *register.Assembly) (*register.Placement, error) {
	if id, ok := t.ahead[a.ID]; ok {
		delete(t.ahead, a.ID)
		return placements.one(t.ctx, t.conn, "id = ?", id)
	}
	p, err := placements.one(t.ctx, t.conn, "assembly_id = ? AND to_on IS NULL", a.ID)
	if err == nil && p == nil {
		err = refuse(register.Refused, "assembly_code", "Assembly %s sits at no position now, so it cannot be removed.", a.Code)
	}
	return p, err
}

func (t *tx) remove(c register.Remove) error {
	a, err := t.assembly(c.AssemblyCode)
	if err != nil {
		return err
	}
	p, err := t.toEnd(a)
	if err != nil {
		return err
	}
	s, err := t.seatByID(p.PositionID)
	if err != nil {
		return err
	}
	if err := t.lockMachine(s.machine); err != nil {
		return err
	}
	if err := t.mayRemove(a, p, s, c); err != nil {
		return err
	}
	ended := *p
	ended.To, ended.ToHours, ended.Version = c.On, c.Hours, p.Version+1
	if err := update(t, placements, p, &ended, p.ID, p.Version, nil); err != nil {
		return err
	}
	row := &register.Removal{
		PlacementID: p.ID, Cause: c.Cause, FoundBy: c.FoundBy, Reason: c.Reason, Seen: c.Seen, Version: 1,
	}
	if err := insert(t, removals, row, &row.ID, nil); err != nil {
		return err
	}
	if err := t.closeByRemoval(a.ID); err != nil {
		return err
	}
	if err := t.following(func() error { return t.whereAfter(a, &ended, s.machine.SiteID, c.Scrapped) }); err != nil {
		return err
	}
	if err := t.dropEstimate(a.ID); err != nil {
		return err
	}
	t.touched.assembly(a.ID)
	return t.alsoRead(s.machine, c.On, c.Hours, "removal")
}

func (t *tx) mayRemove(a *register.Assembly, p *register.Placement, s seat, c register.Remove) error {
	if err := t.notAhead(s.machine.SiteID, "on", c.On); err != nil {
		return err
	}
	if c.On.Before(p.From) {
		return refuse(register.Invalid, "on", "Assembly %s was fitted on %s, after %s; one of the two days is wrong.", a.Code, p.From, c.On)
	}
	if err := notGone(s, "on", c.On); err != nil {
		return err
	}
	if c.Scrapped {
		if err := t.mayScrap(a, p, c.On); err != nil {
			return err
		}
	}
	later, err := inspections.one(t.ctx, t.conn,
		"assembly_id = ? AND position_id = ? AND on_day > "+t.e.date(c.On)+t.before("on_day", p.To)+" ORDER BY on_day LIMIT 1", a.ID, s.position.ID)
	if err == nil && later != nil {
		err = refuse(register.Refused, "on", "Assembly %s was inspected at %s on %s, after %s; one of the two days is wrong.", a.Code, s, later.On, c.On)
	}
	return err
}

// before limits a column to days before a day, if there is one.
func (t *tx) before(column string, day quantity.Date) string {
	if day.IsZero() {
		return ""
	}
	return " AND " + column + " < " + t.e.date(day)
}

// whereAfter notes the site an assembly came off at, where it is kept, or that
// it was thrown away there, unless it was fitted again since.
func (t *tx) whereAfter(a *register.Assembly, p *register.Placement, siteID int64, scrapped bool) error {
	if a.SiteID == siteID && !scrapped {
		return nil
	}
	later, err := t.later(p)
	if err != nil || later != nil {
		return err
	}
	moved := *a
	moved.SiteID = siteID
	if scrapped {
		moved.ScrappedOn = p.To
	}
	return t.store(a, &moved)
}

// store writes an assembly as it is now, if that is not as it was.
func (t *tx) store(before, after *register.Assembly) error {
	if *before == *after {
		return nil
	}
	after.Version = before.Version + 1
	if err := update(t, assemblies, before, after, after.ID, before.Version, nil); err != nil {
		return err
	}
	t.keys.assemblies[fold(after.Code)] = after
	return nil
}

// later is where an assembly was fitted next after a placement, nil if nowhere.
func (t *tx) later(p *register.Placement) (*register.Placement, error) {
	from := t.e.date(p.From)
	return placements.one(t.ctx, t.conn, "assembly_id = ? AND id <> ? AND (from_on > "+from+" OR from_on = "+from+
		" AND (to_on IS NULL OR to_on > from_on)) ORDER BY from_on LIMIT 1", p.AssemblyID, p.ID)
}

// lastOf is the latest of the placements of one assembly, nil of none.
func lastOf(stays []register.Placement) *register.Placement {
	var last *register.Placement
	for i := range stays {
		if last == nil || comesAfter(&stays[i], last) {
			last = &stays[i]
		}
	}
	return last
}

// comesAfter reports whether a placement came after another one of the same
// assembly or position.
func comesAfter(p, q *register.Placement) bool {
	if p.From != q.From {
		return p.From.After(q.From)
	}
	if (p.To == p.From) != (q.To == q.From) {
		return q.To == q.From
	}
	return p.ID > q.ID
}

// noteReason runs f with who released what and why as the reason of its
// changes.
func (t *tx) noteReason(by, reason string, f func() error) error {
	if by == "" && reason == "" {
		return f()
	}
	kept := t.by.Reason
	defer func() { t.by.Reason = kept }()
	t.by.Reason = reason
	if by != "" {
		t.by.Reason = "released by " + by + ": " + reason
	}
	return f()
}

// capital is a text as a sentence begins.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
