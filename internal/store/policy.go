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
