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

// changeSite replaces what is known of a site. Where its zone or its policy
// changes, every estimate there is made anew.
func (t *tx) changeSite(c register.ChangeSite) error {
	row := c.Site
	if _, err := time.LoadLocation(row.Zone); err != nil {
		return refuse(register.Invalid, "zone", "There is no time zone %s; write it like Europe/Berlin, America/Chicago or UTC.", row.Zone)
	}
	before, err := known(t, sites, row.ID, row.Version, "This site")
	if err != nil {
		return err
	}
	if p, err := policies.one(t.ctx, t.conn, "id = ?", row.PolicyID); err != nil || p == nil {
		return firstError(err, refuse(register.NotFound, "policy", "There is no such policy; choose one of those the register has."))
	}
	taken := refuse(register.Exists, "name", "There is a site %s already; choose another name.", row.Name)
	if other, err := sites.one(t.ctx, t.conn, "LOWER(name) = ? AND id <> ?", fold(row.Name), row.ID); err != nil || other != nil {
		return firstError(err, taken)
	}
	row.Version++
	if *before == (register.Site{ID: row.ID, Name: row.Name, Zone: row.Zone, PolicyID: row.PolicyID, Version: before.Version}) {
		return nil
	}
	if before.Zone != row.Zone || before.PolicyID != row.PolicyID {
		if err := t.touchAndLock("site_id = ?", row.ID); err != nil {
			return err
		}
	}
	what, err := t.milderPolicy(before.PolicyID, row.PolicyID)
	if err != nil {
		return err
	}
	err = t.milder(c.Reason, what, func() error {
		return update(t, sites, before, &row, row.ID, before.Version, taken)
	})
	if err != nil {
		return err
	}
	t.keys.frame = nil
	delete(t.keys.sites, fold(before.Name))
	delete(t.keys.today, row.ID)
	return nil
}

// touchAndLock marks many machines before what holds of them all changes, and
// keeps other writers off, so that nobody fits a hose there under the old rule
// and is not found.
func (t *tx) touchAndLock(where string, args ...any) error {
	of, err := ids(t.ctx, t.conn, "SELECT id FROM machines WHERE "+where+" ORDER BY id"+t.e.forUpdate, args...)
	if err != nil {
		return fmt.Errorf("find the machines touched: %w", err)
	}
	for _, id := range of {
		t.touched.machine(id)
	}
	return nil
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

// Sites are the sites by name.
func (s *Store) Sites(ctx context.Context) ([]register.Site, error) {
	return sites.where(ctx, s.reader(), "1 = 1"+s.within("id")+" ORDER BY name")
}

// Site is the site of that name; a *register.Error of code NotFound if there
// is none.
func (s *Store) Site(ctx context.Context, name string) (register.Site, error) {
	site, err := sites.one(ctx, s.reader(), "LOWER(name) = ?"+s.within("id"), fold(name))
	if err == nil && site == nil {
		err = refuse(register.NotFound, "site", "There is no site %s; check its name.", name)
	}
	if err != nil {
		return register.Site{}, err
	}
	return *site, nil
}

// Kinds are all kinds of machines by name.
func (s *Store) Kinds(ctx context.Context) ([]register.Kind, error) {
	return kinds.where(ctx, s.reader(), "1 = 1 ORDER BY name")
}

// MachineCodes are the codes of all machines of the fleet in order.
func (s *Store) MachineCodes(ctx context.Context) ([]string, error) {
	return s.texts(ctx, "SELECT code FROM machines WHERE gone_on IS NULL"+s.within("site_id")+" ORDER BY code")
}

// FewMachineCodes are the codes of all machines in order, none where there are
// more than most.
func (s *Store) FewMachineCodes(ctx context.Context, most int) ([]string, error) {
	codes, err := s.texts(ctx, fmt.Sprintf("SELECT code FROM machines WHERE gone_on IS NULL%s ORDER BY code LIMIT %d", s.within("site_id"), most+1))
	if len(codes) > most {
		return nil, err
	}
	return codes, err
}

func (s *Store) texts(ctx context.Context, query string, args ...any) ([]string, error) {
	return texts(ctx, s.reader(), query, args...)
}

func (t *tx) texts(query string, args ...any) ([]string, error) {
	return texts(t.ctx, t.conn, query, args...)
}

// texts reads a column of texts.
func texts(ctx context.Context, c conn, query string, args ...any) ([]string, error) {
	rows, err := c.query(ctx, query, args...)
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
