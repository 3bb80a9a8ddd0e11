package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/pressly/goose/v3"

	"hoseward/internal/store"
)

// A register from before there were tallies is counted when its schema is
// brought up: what later migrations do to estimates leaves some tallies, which
// must not pass for all of them.
func TestMigrate_CountsARegisterFromBeforeTallies(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		fill(t, s)
		if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
			t.Fatal(err)
		}
		err := s.WithProvider(ctx, func(p *goose.Provider) error {
			_, err := p.DownTo(ctx, 6)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Migrate(ctx); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(plainTallies(t, s), talliesOf(t, s)); d != "" {
			t.Errorf("plain counts (-) and tallies (+):\n%s", d)
		}
	})
}
