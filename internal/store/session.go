package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// FindSession is what is kept under a session's token, if it has not ended.
func (s *Store) FindSession(ctx context.Context, token string, now time.Time) (data []byte, found bool, err error) {
	err = s.reader().row(ctx, "SELECT data FROM sessions WHERE token = ? AND expires_at > ?", token, now.UTC()).Scan(&data)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, false, nil
	case err != nil:
		return nil, false, fmt.Errorf("find a session: %w", translate(err))
	}
	return data, true, nil
}

// CommitSession keeps data under a session's token until it ends, and clears
// away the sessions that ended before now.
func (s *Store) CommitSession(ctx context.Context, now time.Time, token string, data []byte, ends time.Time) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "DELETE FROM sessions WHERE expires_at <= ?", now.UTC()); err != nil {
			return fmt.Errorf("clear ended sessions: %w", err)
		}
		// Several pages of one browser may be at this at once.
		_, err := c.exec(ctx, `INSERT INTO sessions (token, data, expires_at) VALUES (?, ?, ?)
			ON CONFLICT (token) DO UPDATE SET data = EXCLUDED.data, expires_at = EXCLUDED.expires_at`, token, data, ends.UTC())
		if err != nil {
			return fmt.Errorf("keep a session: %w", err)
		}
		return nil
	})
}

// DeleteSession forgets a session; one that is not there is no error.
func (s *Store) DeleteSession(ctx context.Context, token string) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "DELETE FROM sessions WHERE token = ?", token); err != nil {
			return fmt.Errorf("delete a session: %w", err)
		}
		return nil
	})
}
