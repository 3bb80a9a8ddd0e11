package store

import (
	"database/sql"
	"errors"
	"fmt"

	"hoseward/internal/register"
)

// belongs is what a row belongs to: a site, a machine, an assembly, as far as
// it belongs to one; 0 is none.
type belongs struct {
	site, machine, assembly int64
}

// belongsTo is what a row belongs to.
func (t *tx) belongsTo(row any) (belongs, error) {
	switch r := row.(type) {
	case *register.Site:
		return belongs{site: r.ID}, nil
	case *register.Machine:
		return belongs{site: r.SiteID, machine: r.ID}, nil
	case *register.PersonRole:
		if r.SiteID != nil {
			return belongs{site: *r.SiteID}, nil
		}
	case *register.Circuit:
		return t.ofMachine(r.MachineID)
	case *register.Position:
		return t.ofMachine(r.MachineID)
	case *register.Reading:
		return t.ofMachine(r.MachineID)
	case *register.MeterEvent:
		return t.ofMachine(r.MachineID)
	case *register.LayUp:
		return t.ofMachine(r.MachineID)
	case *register.Conditions:
		return t.ofOwner(r.Level, r.OwnerID)
	case *register.Assembly:
		return t.ofAssembly(r)
	case *register.Placement:
		return t.ofPlace(r.PositionID, r.AssemblyID)
	case *register.Inspection:
		return t.ofPlace(r.PositionID, r.AssemblyID)
	case *register.Removal:
		return t.through(placements.name, "id", r.PlacementID)
	case *register.Finding:
		return t.through(inspections.name, "id", r.InspectionID)
	}
	return belongs{}, nil // kinds, policies, duties, people, imports: of no site
}

// placesKept bounds what a transaction remembers of where machines and
// positions are.
const placesKept = 20000

// places remembers within one transaction where machines and positions are.
type places struct {
	siteOf    map[int64]int64 // by machine
	machineOf map[int64]int64 // by position
}

func remember(m *map[int64]int64, key, value int64) {
	if *m == nil || len(*m) >= placesKept {
		*m = map[int64]int64{}
	}
	(*m)[key] = value
}

// moved forgets where a machine or a position was: it may be elsewhere now, or
// gone and its number another's.
func (t *tx) moved(row any) {
	switch r := row.(type) {
	case *register.Machine:
		delete(t.places.siteOf, r.ID)
	case *register.Position:
		delete(t.places.machineOf, r.ID)
	}
}

func (t *tx) ofMachine(id int64) (belongs, error) {
	site, ok := t.places.siteOf[id]
	if !ok {
		if err := t.row(t.ctx, "SELECT site_id FROM machines WHERE id = ?", id).Scan(&site); err != nil {
			return belongs{}, fmt.Errorf("find the site of machine %d: %w", id, translate(err))
		}
		remember(&t.places.siteOf, id, site)
	}
	return belongs{site: site, machine: id}, nil
}

func (t *tx) ofPlace(positionID, assemblyID int64) (belongs, error) {
	machine, ok := t.places.machineOf[positionID]
	if !ok {
		if err := t.row(t.ctx, "SELECT machine_id FROM positions WHERE id = ?", positionID).Scan(&machine); err != nil {
			return belongs{}, fmt.Errorf("find the machine of position %d: %w", positionID, translate(err))
		}
		remember(&t.places.machineOf, positionID, machine)
	}
	b, err := t.ofMachine(machine)
	b.assembly = assemblyID
	return b, err
}

func (t *tx) ofOwner(level register.Level, id int64) (belongs, error) {
	switch level {
	case register.AtMachine:
		return t.ofMachine(id)
	case register.AtPosition:
		return t.ofPlace(id, 0)
	}
	var machine int64
	if err := t.row(t.ctx, "SELECT machine_id FROM circuits WHERE id = ?", id).Scan(&machine); err != nil {
		return belongs{}, fmt.Errorf("find the machine of circuit %d: %w", id, translate(err))
	}
	return t.ofMachine(machine)
}

// ofAssembly is the site an assembly is at: that of the machine it sits on,
// else the one that keeps it.
func (t *tx) ofAssembly(a *register.Assembly) (belongs, error) {
	b := belongs{site: a.SiteID, assembly: a.ID}
	var position int64
	err := t.row(t.ctx, "SELECT position_id FROM placements WHERE assembly_id = ? AND to_on IS NULL", a.ID).Scan(&position)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return b, nil
	case err != nil:
		return b, fmt.Errorf("find where assembly %d sits: %w", a.ID, translate(err))
	}
	return t.ofPlace(position, a.ID)
}

// through is what the row of another table that has a position and an assembly
// belongs to. A row that is gone already, taken back with what hung on it, was
// judged itself.
func (t *tx) through(table, column string, id int64) (belongs, error) {
	var position, assembly int64
	err := t.row(t.ctx, "SELECT position_id, assembly_id FROM "+table+" WHERE "+column+" = ?", id).Scan(&position, &assembly)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return belongs{}, nil
	case err != nil:
		return belongs{}, fmt.Errorf("find the row %d of %s: %w", id, table, translate(err))
	}
	return t.ofPlace(position, assembly)
}

// permit decides whether who makes the changes of this transaction may change
// a row: they need the right t.need where it was and where it is. It returns
// what the row belongs to. What is of no site needs the right at all sites.
func (t *tx) permit(entity string, action register.Action, before, after any) (belongs, error) {
	t.moved(firstRow(after, before))
	of, err := t.belongsTo(firstRow(after, before))
	if err != nil {
		return of, err
	}
	mine, err := t.myRoles()
	if err != nil {
		return of, err
	}
	if t.by.ByPIN && t.need == register.RightManage {
		return of, refuse(register.Forbidden, "", "This needs your password; sign in with it, then do it again.")
	}
	if t.follows > 0 || mine.Everywhere(t.need) || t.ownWay(entity, action, mine) {
		return of, nil
	}
	was := of
	if before != nil && after != nil {
		if was, err = t.belongsTo(before); err != nil {
			return of, err
		}
	}
	for _, b := range []belongs{was, of} {
		if !mine.At(b.site, t.need) {
			return of, t.forbidden(b)
		}
	}
	return of, nil
}

// needing makes rows need a right until what it returns is called.
func (t *tx) needing(right register.Right) (end func()) {
	before := t.need
	t.need = right
	return func() { t.need = before }
}

func firstRow(a, b any) any {
	if a != nil {
		return a
	}
	return b
}

// ownWay reports whether a row of no site is decided elsewhere: people by the
// commands that change them, an import by the rows it takes, a kind that comes
// along with its machine, and what is one's own.
func (t *tx) ownWay(entity string, action register.Action, mine register.PersonRoles) bool {
	switch entity {
	case people.name, personRoles.name, credentials.name, tokens.name, invitations.name, devices.name:
		return true
	case imports.name:
		return mine.Anywhere(t.need)
	case kinds.name:
		return action != register.Changed && t.need == register.RightPlan && mine.Anywhere(t.need)
	}
	return t.need == register.RightOwn
}

// forbidden is the refusal of a right that is lacking at a site. Of a site that
// is not to be seen it says that nothing is there.
func (t *tx) forbidden(b belongs) error {
	shown, err := t.sees(b.site)
	if err != nil {
		return err
	}
	if !shown {
		return hidden()
	}
	name, err := t.nameOfSite(b.site)
	if err != nil {
		return err
	}
	return refuse(register.Forbidden, "", "%s", register.ForbiddenSentence(t.need, name))
}

// myRoles are the roles of who makes the changes of this transaction; none of
// somebody who left.
func (t *tx) myRoles() (register.PersonRoles, error) {
	if t.roles != nil {
		return *t.roles, nil
	}
	list, err := rolesOf(t.ctx, t.conn, t.by.PersonID)
	if err == nil {
		t.roles = &list
	}
	return list, err
}
