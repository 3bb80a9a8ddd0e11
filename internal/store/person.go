package store

import (
	"context"
	"fmt"

	"hoseward/internal/register"
)

// listsKept bounds the lists a person may keep.
const listsKept = 100

// setUnits says how values are printed for the person who asks.
func (t *tx) setUnits(c register.SetUnits) error {
	before, err := people.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, t.by.PersonID)
	if err != nil {
		return err
	}
	if before == nil {
		return refuse(register.NotFound, "", "You are not known to this register; sign in anew.")
	}
	row := *before
	row.Units, row.Version = c.Units, before.Version+1
	return amend(t, people, before, &row, row.ID, before.Version, nil)
}

// saveList keeps a list for the person who asks. It is that person's own mark
// and nothing of the fleet, so the change log does not tell of it.
func (t *tx) saveList(c register.SaveList) error {
	if _, err := people.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, t.by.PersonID); err != nil {
		return err
	}
	have, err := savedLists.where(t.ctx, t.conn, "person_id = ?", t.by.PersonID)
	if err != nil {
		return err
	}
	for _, l := range have {
		if fold(l.Name) != fold(c.Name) {
			continue
		}
		if _, err := t.exec(t.ctx, "UPDATE saved_lists SET name = ?, address = ? WHERE id = ?", c.Name, c.Address, l.ID); err != nil {
			return fmt.Errorf("keep list %s: %w", c.Name, err)
		}
		return nil
	}
	if len(have) >= listsKept {
		return refuse(register.Refused, "name", "You keep %d lists already; take one away first.", listsKept)
	}
	row := &register.SavedList{PersonID: t.by.PersonID, Name: c.Name, Address: c.Address}
	if row.ID, err = savedLists.insert(t.ctx, t.conn, row); err != nil {
		return t.explain("keep list "+c.Name, err, nil)
	}
	return nil
}

// forgetList takes away a list of the person who asks.
func (t *tx) forgetList(c register.ForgetList) error {
	r, err := t.exec(t.ctx, "DELETE FROM saved_lists WHERE id = ? AND person_id = ?", c.ID, t.by.PersonID)
	if err != nil {
		return fmt.Errorf("forget list %d: %w", c.ID, err)
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		return firstError(err, refuse(register.NotFound, "id", "You keep no such list any more."))
	}
	return nil
}

// Person is the person of that id; a *register.Error of code NotFound if there
// is none.
func (s *Store) Person(ctx context.Context, id int64) (register.Person, error) {
	p, err := byID(ctx, s.reader(), people, id, "This person")
	if err != nil {
		return register.Person{}, err
	}
	return *p, nil
}

// SavedLists are the lists a person keeps, by name.
func (s *Store) SavedLists(ctx context.Context, personID int64) ([]register.SavedList, error) {
	return savedLists.where(ctx, s.reader(), "person_id = ? ORDER BY LOWER(name), id", personID)
}
