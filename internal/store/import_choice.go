package store

import (
	"context"
	"encoding/json"
	"fmt"

	"hoseward/internal/register"
)

// HeaderChoice is what the columns of a set of headers were said to mean,
// header to field name, "" for a column to leave out; nil if nobody said.
func (s *Store) HeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string) (map[string]string, error) {
	row, err := headerChoices.one(ctx, s.reader(), "kind = ? AND header_hash = ?", string(kind), headerHash)
	if err != nil || row == nil {
		return nil, err
	}
	var meanings map[string]string
	if err := json.Unmarshal([]byte(row.Meanings), &meanings); err != nil {
		return nil, fmt.Errorf("read the meanings of headers %s: %w", headerHash, err)
	}
	return meanings, nil
}

// SaveHeaderChoice keeps what the columns of a set of headers mean, in place of
// what was said before; nil meanings forget it. It is a help for the next
// import and no change of the register.
func (s *Store) SaveHeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string, meanings map[string]string) error {
	return s.inTx(ctx, func(c conn) error {
		if _, err := c.exec(ctx, "DELETE FROM header_choices WHERE kind = ? AND header_hash = ?", string(kind), headerHash); err != nil {
			return fmt.Errorf("forget the meanings of headers: %w", err)
		}
		if meanings == nil {
			return nil
		}
		b, err := json.Marshal(meanings)
		if err != nil {
			return fmt.Errorf("keep the meanings of headers: %w", err)
		}
		if _, err := c.exec(ctx, "INSERT INTO header_choices (kind, header_hash, meanings) VALUES (?, ?, ?)", string(kind), headerHash, string(b)); err != nil {
			return fmt.Errorf("keep the meanings of headers: %w", err)
		}
		return nil
	})
}
