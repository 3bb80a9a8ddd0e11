package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// tokensKept bounds the tokens of one program that count at once.
const tokensKept = 20

func (t *tx) makeToken(c register.MakeToken) error {
	p, _, err := t.personToManage(c.PersonID)
	switch {
	case err != nil:
		return err
	case !p.Program:
		return refuse(register.Refused, "", "%s is a person; tokens are for programs. Add the program first.", p.Name)
	case !p.GoneOn.IsZero():
		return refuse(register.Refused, "", "%s is in use no more; say first that it is back.", p.Name)
	case !c.EndsAt.After(t.now):
		return refuse(register.Invalid, "ends", "The last day of the token has passed; give a later one.")
	case c.EndsAt.Sub(t.now) > register.TokenLasts:
		return refuse(register.Invalid, "ends", "A token counts for at most two years; give an earlier day.")
	}
	var n int
	err = t.row(t.ctx, "SELECT COUNT(*) FROM tokens WHERE person_id = ? AND ended_at IS NULL AND ends_at > ?", c.PersonID, t.now).Scan(&n)
	switch {
	case err != nil:
		return fmt.Errorf("count the tokens of person %d: %w", c.PersonID, translate(err))
	case n >= tokensKept:
		return refuse(register.Refused, "", "%s has %d tokens that count; end one first.", p.Name, n)
	}
	row := &register.Token{PersonID: c.PersonID, Hash: c.Hash, MadeAt: t.now, MadeBy: t.by.PersonID, EndsAt: c.EndsAt.UTC().Truncate(time.Microsecond)} // as fine as both engines keep it
	return insert(t, tokens, row, &row.ID, nil)
}

func (t *tx) endToken(c register.EndToken) error {
	row, err := byID(t.ctx, t.conn, tokens, c.ID, "This token")
	if err != nil {
		return err
	}
	if _, _, err := t.personToManage(row.PersonID); err != nil {
		return err
	}
	// Read again now that nobody else can end it.
	if row, err = byID(t.ctx, t.conn, tokens, c.ID, "This token"); err != nil {
		return err
	}
	if row.EndedAt != nil {
		return refuse(register.Refused, "", "This token was ended already.")
	}
	return t.stopToken(row)
}

func (t *tx) endTokensOf(personID int64) error {
	rows, err := tokens.where(t.ctx, t.conn, "person_id = ? AND ended_at IS NULL", personID)
	if err != nil {
		return err
	}
	for i := range rows {
		if err := t.stopToken(&rows[i]); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) stopToken(row *register.Token) error {
	ended := *row
	ended.EndedAt = &t.now
	if _, err := t.exec(t.ctx, "UPDATE tokens SET ended_at = ? WHERE id = ?", t.now, row.ID); err != nil {
		return fmt.Errorf("end token %d: %w", row.ID, err)
	}
	return t.note(tokens.name, row.ID, register.Changed, row, &ended)
}

// usedEvery is how exactly the last use of a token is kept, so that not each
// request of a program writes.
const usedEvery = time.Hour

// TokenUsed is the program a token stands for, by its hash; nil if none does at
// that time. The use is noted, about.
func (s *Store) TokenUsed(ctx context.Context, hash string, now time.Time) (*register.SignedIn, error) {
	row, err := tokens.one(ctx, s.reader(), "hash = ?", hash)
	if err != nil || row == nil || !row.Good(now) {
		return nil, err
	}
	who, err := s.SignedIn(ctx, row.PersonID)
	if err != nil || len(who.Roles) == 0 {
		return nil, err
	}
	if row.UsedAt == nil || now.Sub(*row.UsedAt) >= usedEvery {
		err = s.inTx(ctx, func(c conn) error {
			_, err := c.exec(ctx, "UPDATE tokens SET used_at = ? WHERE id = ?", now.UTC(), row.ID)
			return err
		})
		if err != nil {
			return nil, fmt.Errorf("note the use of token %d: %w", row.ID, err)
		}
	}
	return &who, nil
}
