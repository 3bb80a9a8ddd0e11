package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

func (t *tx) addSite(c register.AddSite) error {
	if _, err := time.LoadLocation(c.Zone); err != nil {
		return refuse(register.Invalid, "zone", "There is no time zone %s; write it like Europe/Berlin, America/Chicago or UTC.", c.Zone)
	}
	p, err := t.policy(orElse(c.Policy, normalDemand()))
	if err != nil {
		return err
	}
	taken := refuse(register.Exists, "name", "There is a site %s already; choose another name.", c.Name)
	if have, err := sites.one(t.ctx, t.conn, "LOWER(name) = ?", fold(c.Name)); err != nil || have != nil {
		return firstError(err, taken)
	}
	t.keys.frame = nil
	row := &register.Site{Name: c.Name, Zone: c.Zone, PolicyID: p.ID, Version: 1}
	return insert(t, sites, row, &row.ID, taken)
}

func (t *tx) addKind(c register.AddKind) error {
	taken := refuse(register.Exists, "name", "There is a kind of machine %s already.", c.Name)
	if have, err := kinds.one(t.ctx, t.conn, "LOWER(name) = ?", fold(c.Name)); err != nil || have != nil {
		return firstError(err, taken)
	}
	row := &register.Kind{Name: c.Name, Version: 1}
	return insert(t, kinds, row, &row.ID, taken)
}

// kind is the kind of that name, added if the register lacks it; nil for no
// name.
func (t *tx) kind(name string) (*register.Kind, error) {
	if name == "" {
		return nil, nil
	}
	t.keys.room()
	k, err := lookUp(t, t.keys.kinds, fold(name), kinds, "LOWER(name) = ?", fold(name))
	if err != nil || k != nil {
		return k, err
	}
	if err := t.addKind(register.AddKind{Name: name}); err != nil {
		return nil, err
	}
	return lookUp(t, t.keys.kinds, fold(name), kinds, "LOWER(name) = ?", fold(name))
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Sites are all sites by name.
func (s *Store) Sites(ctx context.Context) ([]register.Site, error) {
	return sites.where(ctx, s.reader(), "1 = 1 ORDER BY name")
}

// Kinds are all kinds of machines by name.
func (s *Store) Kinds(ctx context.Context) ([]register.Kind, error) {
	return kinds.where(ctx, s.reader(), "1 = 1 ORDER BY name")
}

// MachineCodes are the codes of all machines in order.
func (s *Store) MachineCodes(ctx context.Context) ([]string, error) {
	return s.texts(ctx, "SELECT code FROM machines ORDER BY code")
}

func (s *Store) texts(ctx context.Context, query string, args ...any) ([]string, error) {
	rows, err := s.reader().query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read names: %w", translate(err))
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, fmt.Errorf("read names: %w", err)
		}
		out = append(out, text)
	}
	return out, rows.Err()
}
