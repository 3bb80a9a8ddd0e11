package store_test

import (
	"context"
	"errors"
	"testing"

	"hoseward/internal/store"
)

func TestMigrate_SeveralProgramsAtOnceStoreWhatIsShippedOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		before := counts(t, s)
		for _, q := range []string{"DELETE FROM duties", "DELETE FROM kinds"} {
			if _, err := s.Raw().Exec(q); err != nil {
				t.Fatal(err)
			}
		}
		errs := make(chan error)
		const programs = 6
		for range programs {
			go func() { errs <- s.Migrate(context.Background()) }()
		}
		var err error
		for range programs {
			err = errors.Join(err, <-errs)
		}
		if err != nil {
			t.Error(err)
		}
		if after := counts(t, s); after["kinds"] != before["kinds"] || after["duties"] != before["duties"] || after["kinds"] == 0 {
			t.Errorf("kinds %d, before %d; duties %d, before %d", after["kinds"], before["kinds"], after["duties"], before["duties"])
		}
	})
}
