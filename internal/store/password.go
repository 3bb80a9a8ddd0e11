package store

import (
	"database/sql"
	"errors"
	"fmt"

	"hoseward/internal/register"
)

// firstManager adds the first person, unless somebody can sign in already.
func (t *tx) firstManager(c register.FirstManager) error {
	if err := t.lockPeople(); err != nil {
		return err
	}
	can, err := anyoneCanSignIn(t.ctx, t.conn)
	switch {
	case err != nil:
		return err
	case can:
		return refuse(register.Refused, "", "The first manager is there already; sign in, or ask them to add you.")
	case t.by.PersonID != register.LocalPersonID:
		return refuse(register.Forbidden, "", "Only the program itself adds the first manager.")
	}
	p := &register.Person{Name: c.Name, Email: c.Email, Version: 1, PasswordAt: &t.now}
	id, err := t.newPerson(p, register.PersonRoles{{Role: register.Manager}})
	if err != nil {
		return err
	}
	return t.setPassword(id, c.Hash)
}

// setPassword puts a hash in the place of a person's password and ends
// whatever was begun with the one before.
func (t *tx) setPassword(personID int64, hash string) error {
	if err := t.endSessions(personID); err != nil {
		return err
	}
	_, err := t.exec(t.ctx, "UPDATE credentials SET password_hash = ?, tries = 0, tried_at = NULL WHERE person_id = ?", hash, personID)
	if err != nil {
		return fmt.Errorf("set the password of person %d: %w", personID, err)
	}
	return nil
}

// endSessions ends all sessions and devices of a person: sessions carry the
// generation they were begun in.
func (t *tx) endSessions(personID int64) error {
	before, err := credentials.one(t.ctx, t.conn, "person_id = ?"+t.e.forUpdate, personID)
	if err != nil {
		return err
	}
	after, action := register.Credential{PersonID: personID, Generation: 1}, register.Added
	if before != nil {
		after.Generation, action = before.Generation+1, register.Changed
	}
	_, err = t.exec(t.ctx, `INSERT INTO credentials (person_id, generation) VALUES (?, ?)
		ON CONFLICT (person_id) DO UPDATE SET generation = EXCLUDED.generation`, personID, after.Generation)
	if err != nil {
		return fmt.Errorf("end the sessions of person %d: %w", personID, err)
	}
	t.generation = after.Generation
	if before == nil {
		err = t.note(credentials.name, personID, action, nil, &after)
	} else {
		err = t.note(credentials.name, personID, action, before, &after)
	}
	if err != nil {
		return err
	}
	rows, err := devices.where(t.ctx, t.conn, "person_id = ?", personID)
	if err != nil {
		return err
	}
	for i := range rows {
		if err := t.dropDevice(&rows[i]); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) signOutEverywhere(c register.SignOutEverywhere) error {
	if c.PersonID != t.by.PersonID {
		if _, _, err := t.personToManage(c.PersonID); err != nil {
			return err
		}
	}
	return t.endSessions(c.PersonID)
}

// invite makes a one-time address for a person and ends the password they had.
func (t *tx) invite(c register.Invite) error {
	p, _, err := t.personToManage(c.PersonID)
	switch {
	case err != nil:
		return err
	case c.PersonID == t.by.PersonID:
		return refuse(register.Forbidden, "", "You choose a new password yourself, on the page with your name.")
	case p.Program:
		return refuse(register.Refused, "", "A program has no password; make a token for it.")
	case !p.GoneOn.IsZero():
		return refuse(register.Refused, "", "%s left on %s; say first that they are back.", p.Name, p.GoneOn)
	case !c.EndsAt.After(t.now) || c.EndsAt.Sub(t.now) > register.InvitationLasts:
		return refuse(register.Invalid, "ends", "The address can count for at most %d days.", int(register.InvitationLasts.Hours()/24))
	}
	if _, err := t.exec(t.ctx, "UPDATE invitations SET used_at = ? WHERE person_id = ? AND used_at IS NULL", t.now, c.PersonID); err != nil {
		return fmt.Errorf("end the older invitations of person %d: %w", c.PersonID, err)
	}
	if err := t.setPassword(c.PersonID, ""); err != nil {
		return err
	}
	row := &register.Invitation{PersonID: c.PersonID, Hash: c.Hash, ExpiresAt: c.EndsAt.UTC()}
	return insert(t, invitations, row, &row.ID, nil)
}

// errInvitation is the refusal of a one-time address, the same whatever is
// wrong with it.
func errInvitation() error {
	return refuse(register.NotFound, "", "This address does not count any more: it was used, it is too old, or a newer one was made. Ask a manager for a new one.")
}

// choosePassword sets one's own password.
func (t *tx) choosePassword(c register.ChoosePassword) error {
	if err := t.lockPeople(); err != nil {
		return err
	}
	before, err := people.one(t.ctx, t.conn, "id = ?", t.by.PersonID)
	switch {
	case err != nil:
		return err
	case before == nil || before.ID == register.LocalPersonID || before.Program || !before.GoneOn.IsZero():
		return refuse(register.Forbidden, "", "You cannot have a password here; ask a manager.")
	case t.by.ByPIN:
		return refuse(register.Forbidden, "", "This needs your password; sign in with it, then do it again.")
	}
	if err := t.sameGeneration(c.Generation); err != nil {
		return err
	}
	if c.Invitation != "" {
		if err := t.useInvitation(c.Invitation); err != nil {
			return err
		}
	}
	row := *before
	row.PasswordAt, row.Version = &t.now, before.Version+1
	if err := update(t, people, before, &row, row.ID, before.Version, nil); err != nil {
		return err
	}
	return t.setPassword(row.ID, c.Hash)
}

// sameGeneration refuses who gave their password in a session that was ended,
// by a manager or by themselves elsewhere, while the request was on its way.
func (t *tx) sameGeneration(given int) error {
	if given == 0 {
		return nil
	}
	held, err := credentials.one(t.ctx, t.conn, "person_id = ?"+t.e.forUpdate, t.by.PersonID)
	if err == nil && (held == nil || held.Generation != given) {
		err = signedOutMeanwhile()
	}
	return err
}

func signedOutMeanwhile() error {
	return refuse(register.Conflict, "", "You were signed out everywhere meanwhile; sign in again, then do it once more.")
}

func (t *tx) useInvitation(hash string) error {
	row, err := invitations.one(t.ctx, t.conn, "hash = ? AND person_id = ?", hash, t.by.PersonID)
	switch {
	case err != nil:
		return err
	case row == nil || !row.Good(t.now):
		return errInvitation()
	}
	return t.endInvitation(row)
}

// endInvitationsBelow ends the open one-time addresses of a person that somebody
// made who does not manage what the person may now do: whoever holds one could
// choose the password, and with it get rights that were not theirs to give.
func (t *tx) endInvitationsBelow(personID int64, roles register.PersonRoles) error {
	open, err := invitations.where(t.ctx, t.conn, "person_id = ? AND used_at IS NULL AND expires_at > ?", personID, t.now)
	if err != nil {
		return err
	}
	for i := range open {
		by, err := changes.one(t.ctx, t.conn, "entity = ? AND entity_id = ? AND action = ?", invitations.name, open[i].ID, string(register.Added))
		if err != nil {
			return err
		}
		var maker register.PersonRoles
		if by != nil {
			if maker, err = rolesOf(t.ctx, t.conn, by.PersonID); err != nil {
				return err
			}
		}
		if manages(maker, roles) {
			continue
		}
		if err := t.endInvitation(&open[i]); err != nil {
			return err
		}
	}
	return nil
}

// endInvitation makes a one-time address count no more.
func (t *tx) endInvitation(row *register.Invitation) error {
	used := *row
	used.UsedAt = &t.now
	if _, err := t.exec(t.ctx, "UPDATE invitations SET used_at = ? WHERE id = ?", t.now, row.ID); err != nil {
		return fmt.Errorf("end invitation %d: %w", row.ID, err)
	}
	return t.note(invitations.name, row.ID, register.Changed, row, &used)
}

// notFound reports whether a row was looked for and not found.
func notFound(err error) bool { return errors.Is(err, sql.ErrNoRows) }
