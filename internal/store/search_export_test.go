package store

import (
	"context"
	"fmt"
)

// Finds are the texts search looks in, by table and id.
func (s *Store) Finds(ctx context.Context) (map[string]string, error) {
	out := map[string]string{}
	for _, f := range []findTable{findAssemblies, findMachines, findPositions} {
		rows, err := s.reader().query(ctx, "SELECT "+s.e.findID()+", text FROM "+f.name)
		if err != nil {
			return nil, err
		}
		defer rows.Close()
		for rows.Next() {
			var id int64
			var text string
			if err := rows.Scan(&id, &text); err != nil {
				return nil, err
			}
			out[fmt.Sprintf("%s %d", f.name, id)] = text
		}
		if err := rows.Err(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Pieces are what a search looks for.
func Pieces(text string) []string { return pieces(text) }
