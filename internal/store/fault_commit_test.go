package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Whoever gives up while a commit is on its way is told that it may be done: told
// that it was not, they would do it twice.
func TestCommit_GivenUpOnItsWayIsUnsure(t *testing.T) {
	onPostgres(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		for _, q := range []string{
			"CREATE FUNCTION slowly() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN PERFORM pg_sleep(1); RETURN NULL; END $$",
			"CREATE CONSTRAINT TRIGGER slow_commit AFTER INSERT ON readings DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION slowly()",
		} {
			if _, err := s.Raw().Exec(q); err != nil {
				t.Fatal(err)
			}
		}
		ctx, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
		defer cancel()
		_, err := s.Apply(ctx, now, me, register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 10})
		if !errors.Is(err, register.ErrUnsure) {
			t.Errorf("given up in mid-commit: %v", err)
		}
	})
}

// What is given up before its commit was certainly not done.
func TestCommit_GivenUpBeforeIsNotDone(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		ctx, cancel := context.WithCancel(t.Context())
		_, _, err := s.ApplyOnce(ctx, now, me, register.Once{}, func(register.Result) (int, []byte, error) {
			cancel()
			return 200, nil, nil
		}, register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 10})
		if !errors.Is(err, context.Canceled) || errors.Is(err, register.ErrUnsure) || readingsOf(t, s) != 0 {
			t.Errorf("%v, %d readings", err, readingsOf(t, s))
		}
	})
}
