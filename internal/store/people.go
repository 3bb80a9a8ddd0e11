package store

import (
	"fmt"
	"slices"

	"hoseward/internal/register"
)

// changePeople carries out a command about people; false if it is none.
func (t *tx) changePeople(c register.Command) (bool, error) {
	switch c := c.(type) {
	case register.AddPerson:
		return true, t.addPerson(c)
	case register.ChangePerson:
		return true, t.changePerson(c)
	case register.SetRoles:
		return true, t.setRoles(c)
	case register.RetirePerson:
		return true, t.retirePerson(c)
	case register.ReturnPerson:
		return true, t.returnPerson(c)
	case register.FirstManager:
		return true, t.firstManager(c)
	case register.Invite:
		return true, t.invite(c)
	case register.ChoosePassword:
		return true, t.choosePassword(c)
	case register.SignOutEverywhere:
		return true, t.signOutEverywhere(c)
	case register.EnrolDevice:
		return true, t.enrolDevice(c)
	case register.EndDevice:
		return true, t.endDevice(c)
	case register.MakeToken:
		return true, t.makeToken(c)
	case register.EndToken:
		return true, t.endToken(c)
	}
	return false, nil
}

// lockPeople keeps off others who change people or their roles until the end
// of the transaction, so that two at once cannot do together what each alone
// may not. What who asks may do is read anew behind it: another may have taken
// that away while this one waited. SQLite has one writer anyway. What the program itself does meanwhile,
// such as a long import, refers to the row that is locked and is let through.
func (t *tx) lockPeople() error {
	lock := ""
	if t.e.name == Postgres {
		lock = " FOR NO KEY UPDATE"
	}
	var id int64
	if err := t.row(t.ctx, "SELECT id FROM people WHERE id = ?"+lock, register.LocalPersonID).Scan(&id); err != nil {
		return fmt.Errorf("lock people: %w", translate(err))
	}
	t.roles = nil
	return nil
}

// personToManage is a person whom the one who asks may change: they manage
// every site at which that person has a role, and all sites where one of these
// is at all. Nobody changes the program itself.
func (t *tx) personToManage(id int64) (*register.Person, register.PersonRoles, error) {
	if err := t.lockPeople(); err != nil {
		return nil, nil, err
	}
	p, err := byID(t.ctx, t.conn, people, id, "This person")
	if err != nil {
		return nil, nil, err
	}
	if id == register.LocalPersonID {
		return nil, nil, refuse(register.Refused, "", "This is the program itself, which nobody changes and which never signs in.")
	}
	had, err := personRoles.where(t.ctx, t.conn, "person_id = ? ORDER BY id", id)
	if err != nil {
		return nil, nil, err
	}
	if err := t.mayManage(had); err != nil {
		return nil, nil, err
	}
	return p, had, nil
}

// manages reports whether somebody manages all the places of some roles. No role
// at all is at no site, so it takes a manager of all.
func manages(mine, roles register.PersonRoles) bool {
	return mine.Everywhere(register.RightManage) || len(roles) > 0 && !slices.ContainsFunc(roles, func(r register.PersonRole) bool {
		return r.SiteID == nil || !mine.At(*r.SiteID, register.RightManage)
	})
}

// mayManage refuses whoever does not manage all the places of some roles.
func (t *tx) mayManage(roles register.PersonRoles) error {
	if t.by.ByPIN {
		return refuse(register.Forbidden, "", "This needs your password; sign in with it, then do it again.")
	}
	mine, err := t.myRoles()
	if err != nil {
		return err
	}
	if manages(mine, roles) {
		return nil
	}
	defer t.needing(register.RightManage)()
	for _, r := range roles {
		if r.SiteID == nil {
			return t.forbidden(belongs{})
		}
		if !mine.At(*r.SiteID, register.RightManage) {
			return t.forbidden(belongs{site: *r.SiteID})
		}
	}
	return t.forbidden(belongs{})
}

// given are roles as rows of a person.
func (t *tx) given(personID int64, roles []register.GivenRole) (register.PersonRoles, error) {
	rows := make(register.PersonRoles, 0, len(roles))
	for _, g := range roles {
		row := register.PersonRole{PersonID: personID, Role: g.Role}
		if g.Site != "" {
			site, err := t.site(g.Site)
			if err != nil {
				return nil, err
			}
			row.SiteID = &site.ID
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (t *tx) nameFree(name string, id int64) error {
	taken := refuse(register.Exists, "name", "Somebody is called %s already; choose another name, such as one with an initial.", name)
	other, err := people.one(t.ctx, t.conn, "LOWER(name) = ? AND id <> ?", fold(name), id)
	if err != nil || other != nil {
		return firstError(err, taken)
	}
	return nil
}

func (t *tx) addPerson(c register.AddPerson) error {
	if err := t.lockPeople(); err != nil {
		return err
	}
	roles, err := t.given(0, c.Roles)
	if err != nil {
		return err
	}
	if err := t.mayManage(roles); err != nil {
		return err
	}
	id, err := t.newPerson(&register.Person{Name: c.Name, Email: c.Email, Program: c.Program, Version: 1}, roles)
	if err != nil || c.Invite == nil {
		return err
	}
	return t.invite(register.Invite{PersonID: id, Hash: c.Invite.Hash, EndsAt: c.Invite.EndsAt})
}

// newPerson adds a person with roles that have no person yet.
func (t *tx) newPerson(p *register.Person, roles register.PersonRoles) (int64, error) {
	if err := t.nameFree(p.Name, 0); err != nil {
		return 0, err
	}
	if err := insert(t, people, p, &p.ID, nil); err != nil {
		return 0, err
	}
	for _, r := range roles {
		r.PersonID = p.ID
		if err := insert(t, personRoles, &r, &r.ID, nil); err != nil {
			return 0, err
		}
	}
	t.person = p.ID
	return p.ID, nil
}

func (t *tx) changePerson(c register.ChangePerson) error {
	before, _, err := t.personToManage(c.ID)
	switch {
	case err != nil:
		return err
	case before.Version != c.Version:
		return conflict()
	}
	if err := t.nameFree(c.Name, c.ID); err != nil {
		return err
	}
	row := *before
	row.Name, row.Email, row.Version = c.Name, c.Email, before.Version+1
	return amend(t, people, before, &row, row.ID, before.Version, nil)
}

func (t *tx) setRoles(c register.SetRoles) error {
	if t.by.PersonID == c.PersonID {
		return refuse(register.Forbidden, "", "Nobody changes their own roles; ask another manager.")
	}
	before, had, err := t.personToManage(c.PersonID)
	switch {
	case err != nil:
		return err
	case before.Version != c.Version:
		return conflict()
	}
	roles, err := t.given(c.PersonID, c.Roles)
	if err != nil {
		return err
	}
	if err := t.mayManage(roles); err != nil {
		return err
	}
	return t.keepingAManager(func() error {
		if err := t.replaceRoles(before, had, roles); err != nil {
			return err
		}
		return t.endInvitationsBelow(c.PersonID, roles)
	})
}

func sameRole(a, b register.PersonRole) bool {
	return a.Role == b.Role && (a.SiteID == nil) == (b.SiteID == nil) && (a.SiteID == nil || *a.SiteID == *b.SiteID)
}

// replaceRoles takes roles away and gives others, and raises the version of
// the person if that changes anything.
func (t *tx) replaceRoles(p *register.Person, had, roles register.PersonRoles) error {
	changed := false
	for _, r := range had {
		if slices.ContainsFunc(roles, func(o register.PersonRole) bool { return sameRole(r, o) }) {
			continue
		}
		changed = true
		if _, err := t.exec(t.ctx, "DELETE FROM person_roles WHERE id = ?", r.ID); err != nil {
			return fmt.Errorf("take a role away: %w", err)
		}
		if err := t.note(personRoles.name, r.ID, register.Deleted, &r, nil); err != nil {
			return err
		}
	}
	for _, r := range roles {
		if slices.ContainsFunc(had, func(o register.PersonRole) bool { return sameRole(r, o) }) {
			continue
		}
		changed = true
		if err := insert(t, personRoles, &r, &r.ID, nil); err != nil {
			return err
		}
	}
	if !changed {
		return nil
	}
	if _, err := t.exec(t.ctx, "UPDATE people SET version = version + 1 WHERE id = ?", p.ID); err != nil {
		return fmt.Errorf("raise the version of person %d: %w", p.ID, err)
	}
	return nil
}

// keepingAManager runs f and refuses it if the last person who manages all
// sites would be lost.
func (t *tx) keepingAManager(f func() error) error {
	before, err := t.managersOfAll()
	if err != nil {
		return err
	}
	if err := f(); err != nil {
		return err
	}
	after, err := t.managersOfAll()
	if err == nil && before > 0 && after == 0 {
		err = refuse(register.Refused, "", "This is the last manager of all sites; make somebody else one first.")
	}
	return err
}

func (t *tx) managersOfAll() (int, error) {
	var n int
	err := t.row(t.ctx, `SELECT COUNT(*) FROM people p WHERE p.id <> ? AND NOT p.program AND p.gone_on IS NULL
		AND EXISTS (SELECT 1 FROM person_roles r WHERE r.person_id = p.id AND r.role = 'manager' AND r.site_id IS NULL)`, register.LocalPersonID).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count the managers of all sites: %w", translate(err))
	}
	return n, nil
}

func (t *tx) retirePerson(c register.RetirePerson) error {
	if t.by.PersonID == c.ID {
		return refuse(register.Forbidden, "", "Nobody can say of themselves that they left; ask another manager.")
	}
	before, _, err := t.personToManage(c.ID)
	switch {
	case err != nil:
		return err
	case before.Version != c.Version:
		return conflict()
	case !before.GoneOn.IsZero():
		return refuse(register.Refused, "", "%s left on %s already.", before.Name, before.GoneOn)
	}
	row := *before
	row.GoneOn, row.GoneReason, row.Version = c.On, c.Reason, before.Version+1
	return t.keepingAManager(func() error {
		if err := update(t, people, before, &row, row.ID, before.Version, nil); err != nil {
			return err
		}
		if err := t.endTokensOf(c.ID); err != nil {
			return err
		}
		return t.endSessions(c.ID)
	})
}

func (t *tx) returnPerson(c register.ReturnPerson) error {
	before, _, err := t.personToManage(c.ID)
	switch {
	case err != nil:
		return err
	case before.Version != c.Version:
		return conflict()
	case before.GoneOn.IsZero():
		return refuse(register.Refused, "", "%s has not left.", before.Name)
	case t.by.PersonID == c.ID:
		return refuse(register.Forbidden, "", "Nobody brings themselves back; ask another manager.")
	}
	row := *before
	row.GoneOn, row.GoneReason, row.Version = register.Person{}.GoneOn, "", before.Version+1
	return update(t, people, before, &row, row.ID, before.Version, nil)
}
