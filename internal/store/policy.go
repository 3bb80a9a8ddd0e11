package store

import (
	"context"

	"hoseward/internal/register"
)

func (t *tx) addPolicy(c register.AddPolicy) error {
	taken := refuse(register.Exists, "name", "There is a policy %s already; choose another name.", c.Policy.Name)
	if have, err := policies.one(t.ctx, t.conn, "LOWER(name) = ?", fold(c.Policy.Name)); err != nil || have != nil {
		return firstError(err, taken)
	}
	t.keys.frame = nil
	row := c.Policy
	row.ID, row.Version, row.Shipped = 0, 1, false
	return insert(t, policies, &row, &row.ID, taken)
}

// changePolicy replaces a policy of the fleet's own; whatever is held to it is
// estimated anew.
func (t *tx) changePolicy(c register.ChangePolicy) error {
	row := c.Policy
	before, err := known(t, policies, row.ID, row.Version, "This policy")
	if err != nil {
		return err
	}
	if before.Shipped {
		return refuse(register.Refused, "name", "Policy %s comes with the program and cannot be changed; add one of your own that differs.", before.Name)
	}
	taken := refuse(register.Exists, "name", "There is a policy %s already; choose another name.", row.Name)
	if other, err := policies.one(t.ctx, t.conn, "LOWER(name) = ? AND id <> ?", fold(row.Name), row.ID); err != nil || other != nil {
		return firstError(err, taken)
	}
	if sameButVersion(before, &row) {
		return nil
	}
	if field := register.MilderPolicy(&row, before); field != "" && (row.Lengthened == "" || row.Lengthened == before.Lengthened) {
		return refuse(register.Invalid, field, "This limit may be milder than it was; say anew who lengthened it and why.")
	}
	err = t.touchAndLock(`(site_id IN (SELECT id FROM sites WHERE policy_id = ?)
		OR id IN (SELECT machine_id FROM positions WHERE policy_id = ?))`, row.ID, row.ID)
	if err != nil {
		return err
	}
	row.Version, row.Shipped = before.Version+1, false
	t.keys.frame = nil
	return update(t, policies, before, &row, row.ID, before.Version, taken)
}

// Policies are all policies, the shipped ones first, then by name.
func (s *Store) Policies(ctx context.Context) ([]register.Policy, error) {
	return policies.where(ctx, s.reader(), "1 = 1 ORDER BY shipped DESC, name")
}

// Policy is the policy of that id; a *register.Error of code NotFound if there
// is none.
func (s *Store) Policy(ctx context.Context, id int64) (register.Policy, error) {
	p, err := policies.one(ctx, s.reader(), "id = ?", id)
	if err != nil {
		return register.Policy{}, err
	}
	if p == nil {
		return register.Policy{}, refuse(register.NotFound, "", "There is no such policy.")
	}
	return *p, nil
}
