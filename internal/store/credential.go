package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// SignedIn is a person as each of their requests needs them; a *register.Error of
// code NotFound if there is none of that id.
func (s *Store) SignedIn(ctx context.Context, personID int64) (register.SignedIn, error) {
	c := s.reader()
	p, err := byID(ctx, c, people, personID, "This person")
	if err != nil {
		return register.SignedIn{}, err
	}
	k := register.SignedIn{Person: *p}
	if k.Roles, err = rolesOf(ctx, c, personID); err != nil {
		return register.SignedIn{}, err
	}
	err = c.row(ctx, "SELECT generation FROM credentials WHERE person_id = ?", personID).Scan(&k.Generation)
	if err != nil && !notFound(err) {
		return register.SignedIn{}, fmt.Errorf("read the credential of person %d: %w", personID, translate(err))
	}
	return k, nil
}

// anyoneCanSignIn reports whether somebody has a password and has not left.
func anyoneCanSignIn(ctx context.Context, c conn) (bool, error) {
	var n int
	err := c.row(ctx, `SELECT COUNT(*) FROM people p JOIN credentials k ON k.person_id = p.id
		WHERE k.password_hash <> '' AND NOT p.program AND p.gone_on IS NULL AND EXISTS (SELECT 1 FROM person_roles r WHERE r.person_id = p.id)`).Scan(&n)
	if err != nil {
		return false, fmt.Errorf("look whether anybody can sign in: %w", translate(err))
	}
	return n > 0, nil
}

// AnyoneCanSignIn reports whether somebody has a password and has not left.
func (s *Store) AnyoneCanSignIn(ctx context.Context) (bool, error) {
	return anyoneCanSignIn(ctx, s.reader())
}

// decoy is whose credential counts the tries of names that are nobody's, so
// that these cost what others cost: the program itself, which never signs in.
const decoy = register.LocalPersonID

// TryPassword counts a try to sign in by a name before its password is looked
// at, so that tries sent at once are all counted, and returns the credential
// it is held to. Its PersonID is 0 where nobody can sign in by the name. Where
// somebody has to wait, or is locked out, the try is not counted; see
// register.TryWait.
func (s *Store) TryPassword(ctx context.Context, name string, now time.Time) (register.Credential, error) {
	var found register.Credential
	err := s.inTx(ctx, func(c conn) error {
		found = register.Credential{}
		lock := ""
		if c.e.forUpdate != "" {
			lock = c.e.forUpdate + " OF k" // tries sent at once are looked at one after the other
		}
		r := c.row(ctx, `SELECT k.person_id, k.password_hash, k.generation, k.tries, k.tried_at FROM people p JOIN credentials k ON k.person_id = p.id
			WHERE LOWER(p.name) = ? AND k.password_hash <> '' AND NOT p.program AND p.gone_on IS NULL AND p.id <> ?`+lock, fold(name), decoy)
		err := r.Scan(&found.PersonID, &found.PasswordHash, &found.Generation, &found.Tries, &found.TriedAt)
		switch {
		case notFound(err):
			return countTry(ctx, c, decoy, now)
		case err != nil:
			return fmt.Errorf("look for a credential: %w", translate(err))
		case found.Waits(now) > 0 || register.TriesLocked(found.Tries):
			return nil
		}
		return countTry(ctx, c, found.PersonID, now)
	})
	return found, err
}

func countTry(ctx context.Context, c conn, personID int64, now time.Time) error {
	_, err := c.exec(ctx, `INSERT INTO credentials (person_id, generation, tries, tried_at) VALUES (?, 0, 1, ?)
		ON CONFLICT (person_id) DO UPDATE SET tries = credentials.tries + 1, tried_at = EXCLUDED.tried_at`, personID, now.UTC())
	if err != nil {
		return fmt.Errorf("count a try to sign in: %w", err)
	}
	return nil
}

// PasswordGiven notes that a person gave the right password.
func (s *Store) PasswordGiven(ctx context.Context, personID int64) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "UPDATE credentials SET tries = 0, tried_at = NULL WHERE person_id = ?", personID); err != nil {
			return fmt.Errorf("note a right password: %w", err)
		}
		return nil
	})
}

// Invited is the person a one-time address is for, by the hash of its secret; a
// *register.Error of code NotFound if it counts no more.
func (s *Store) Invited(ctx context.Context, hash string, now time.Time) (register.Person, error) {
	row, err := invitations.one(ctx, s.reader(), "hash = ?", hash)
	if err != nil {
		return register.Person{}, err
	}
	if row == nil || !row.Good(now) {
		return register.Person{}, errInvitation()
	}
	p, err := byID(ctx, s.reader(), people, row.PersonID, "This person")
	switch {
	case err != nil:
		return register.Person{}, err
	case !p.GoneOn.IsZero():
		return register.Person{}, errInvitation()
	}
	return *p, nil
}
