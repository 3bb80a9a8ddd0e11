package store

import (
	"context"

	"hoseward/internal/register"
)

// rolesOf are the roles of a person; none of one who left or is not there.
func rolesOf(ctx context.Context, c conn, personID int64) (register.PersonRoles, error) {
	return personRoles.where(ctx, c, "person_id = ? AND EXISTS (SELECT 1 FROM people p WHERE p.id = person_id AND p.gone_on IS NULL) ORDER BY id", personID)
}

// RolesOf are the roles of a person; none of one who left or is not there.
func (s *Store) RolesOf(ctx context.Context, personID int64) (register.PersonRoles, error) {
	return rolesOf(ctx, s.reader(), personID)
}
