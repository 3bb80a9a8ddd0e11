package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// RolesAt are the roles of a person with the names of their sites, also those
// of one who left.
func (s *Store) RolesAt(ctx context.Context, personID int64) ([]register.RoleAt, error) {
	of, err := s.rolesAt(ctx, "r.person_id = ?", personID)
	return of[personID], err
}

// rolesAt are roles by person: those at all sites first, then by site.
func (s *Store) rolesAt(ctx context.Context, where string, args ...any) (map[int64][]register.RoleAt, error) {
	rows, err := s.reader().query(ctx, `SELECT r.person_id, r.role, COALESCE(t.name, '') FROM person_roles r LEFT JOIN sites t ON t.id = r.site_id
		WHERE `+where+` ORDER BY r.person_id, LOWER(COALESCE(t.name, '')), r.id`, args...)
	if err != nil {
		return nil, fmt.Errorf("read roles: %w", translate(err))
	}
	defer rows.Close()
	of := map[int64][]register.RoleAt{}
	for rows.Next() {
		var id int64
		var r register.RoleAt
		if err := rows.Scan(&id, &r.Role, &r.Site); err != nil {
			return nil, fmt.Errorf("read a role: %w", err)
		}
		of[id] = append(of[id], r)
	}
	return of, rows.Err()
}

// managed limits a list of people p to those whom somebody changes who manages
// the sites of a scope: everybody, or those all of whose roles are there. The
// program itself is nobody's.
func managed(by register.Scope) string {
	cond := fmt.Sprintf("p.id <> %d", register.LocalPersonID)
	switch {
	case by.All:
		return cond
	case len(by.Sites) == 0:
		return "1 = 0"
	}
	return cond + ` AND EXISTS (SELECT 1 FROM person_roles r WHERE r.person_id = p.id)
		AND NOT EXISTS (SELECT 1 FROM person_roles r WHERE r.person_id = p.id AND (r.site_id IS NULL OR r.site_id NOT IN (` + idList(by.Sites) + ")))"
}

// People are the people and programs whom somebody changes who manages the
// sites of a scope, those who left last, by name.
func (s *Store) People(ctx context.Context, now time.Time, by register.Scope) ([]register.PersonLine, error) {
	return s.personLines(ctx, now, managed(by))
}

func (s *Store) personLines(ctx context.Context, now time.Time, where string) ([]register.PersonLine, error) {
	rows, err := s.reader().query(ctx, "SELECT "+people.prefixed("p")+`, COALESCE(k.password_hash, '') <> '', COALESCE(k.tries, 0),
		(SELECT MAX(i.expires_at) FROM invitations i WHERE i.person_id = p.id AND i.used_at IS NULL AND i.expires_at > ?),
		(SELECT COUNT(*) FROM tokens t WHERE t.person_id = p.id AND t.ended_at IS NULL AND t.ends_at > ?)
		FROM people p LEFT JOIN credentials k ON k.person_id = p.id WHERE `+where+` ORDER BY p.gone_on IS NOT NULL, LOWER(p.name), p.id`, now.UTC(), now.UTC())
	if err != nil {
		return nil, fmt.Errorf("list people: %w", translate(err))
	}
	defer rows.Close()
	var list []register.PersonLine
	for rows.Next() {
		var l register.PersonLine
		var tries int
		var invited timeOrNil
		if err := rows.Scan(append(people.dest(nil, &l.Person), &l.Password, &tries, &invited, &l.Tokens)...); err != nil {
			return nil, fmt.Errorf("read a person: %w", err)
		}
		l.Locked, l.Invited = register.TriesLocked(tries), invited.at
		list = append(list, l)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("list people: %w", translate(err))
	}
	of, err := s.rolesAt(ctx, "EXISTS (SELECT 1 FROM people p WHERE p.id = r.person_id AND "+where+")")
	for i := range list {
		list[i].Roles = of[list[i].ID]
	}
	return list, err
}

// timeOrNil scans a time that an expression gives: SQLite does not know the
// type of one and hands out its text.
type timeOrNil struct{ at *time.Time }

// Scan takes a time, its text or nothing.
func (t *timeOrNil) Scan(v any) error {
	t.at = nil
	switch v := v.(type) {
	case nil:
		return nil
	case time.Time:
		t.at = &v
		return nil
	case string:
		at, err := parseTime(v)
		if err != nil {
			return err
		}
		t.at = &at
		return nil
	}
	return fmt.Errorf("read a time: %T is none", v)
}

// parseTime reads a time as the driver of SQLite writes it.
func parseTime(s string) (time.Time, error) {
	at, err := time.Parse("2006-01-02 15:04:05.999999999 -0700 MST", s)
	if err != nil {
		return at, fmt.Errorf("read the time %q: %w", s, err)
	}
	return at, nil
}

// PersonSheet is what somebody sees of a person who manages the sites of a
// scope; a *register.Error of code NotFound if they do not change that person.
func (s *Store) PersonSheet(ctx context.Context, now time.Time, by register.Scope, id int64) (register.PersonSheet, error) {
	list, err := s.personLines(ctx, now, fmt.Sprintf("p.id = %d AND %s", id, managed(by)))
	if err != nil {
		return register.PersonSheet{}, err
	}
	if len(list) == 0 {
		return register.PersonSheet{}, notThere("This person")
	}
	sheet := register.PersonSheet{PersonLine: list[0]}
	if sheet.Listed, err = tokens.where(ctx, s.reader(), "person_id = ? ORDER BY id DESC LIMIT 100", id); err != nil {
		return sheet, err
	}
	have, err := s.Devices(ctx, id, now)
	sheet.Devices = len(have)
	return sheet, err
}

// PersonNamed is the person or program of that name, whatever its capitals; a
// *register.Error of code NotFound if there is none.
func (s *Store) PersonNamed(ctx context.Context, name string) (register.Person, error) {
	p, err := people.one(ctx, s.reader(), "LOWER(name) = ? AND id <> ?", fold(name), register.LocalPersonID)
	if err != nil {
		return register.Person{}, err
	}
	if p == nil {
		return register.Person{}, refuse(register.NotFound, "name", "There is nobody called %s; see hoseward person list.", name)
	}
	return *p, nil
}
