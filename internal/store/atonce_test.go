package store_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Pages of one browser that are loaded at once keep their session at once.
func TestCommitSession_BearsManyAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		for round := range 10 {
			token := fmt.Sprint("token ", round)
			if err := s.CommitSession(t.Context(), now, token, []byte("first"), now.Add(time.Hour)); err != nil {
				t.Fatal(err)
			}
			var all sync.WaitGroup
			for i := range 8 {
				all.Go(func() {
					if err := s.CommitSession(context.Background(), now, token, []byte{byte(i)}, now.Add(time.Hour)); err != nil {
						t.Error(err)
					}
				})
			}
			all.Wait()
			if data, found, err := s.FindSession(t.Context(), token, now); err != nil || !found || len(data) != 1 {
				t.Errorf("after all: %q, %v, %v", data, found, err)
			}
		}
	})
}

// What ends once is told once, whoever ends it at the same moment.
func TestEndings_AreLoggedOnceHoweverManyAskAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ana := personAt(t, s, register.Manager, 0).PersonID
		program := apply(t, s, register.AddPerson{Name: "Reader", Program: true, Roles: []register.GivenRole{{Role: register.Viewer}}}).PersonID
		for round := range 10 {
			apply(t, s, register.MakeToken{PersonID: program, Hash: fmt.Sprintf("%064d", round), EndsAt: now.Add(24 * time.Hour)})
			if _, err := s.Raw().Exec(fmt.Sprintf("INSERT INTO devices (person_id, hash, pin_hash, tries, made_at, expires_at) VALUES (%d, 'device %d', 'x', %d, '2026-11-25 00:00:00+00:00', '2027-01-01 00:00:00+00:00')",
				ana, round, register.MaxPINTries)); err != nil {
				t.Fatal(err)
			}
			token := idsOf(t, s, "SELECT MAX(id) FROM tokens")[0]
			device := idsOf(t, s, "SELECT MAX(id) FROM devices")[0]
			var all sync.WaitGroup
			for range 6 {
				all.Go(func() {
					_, err := s.Apply(context.Background(), now, me, register.EndToken{ID: token})
					if err != nil && !errors.Is(err, &register.Error{Code: register.Refused}) {
						t.Error(err)
					}
				})
				all.Go(func() {
					if _, err := s.PINWrong(context.Background(), now, device); err != nil {
						t.Error(err)
					}
				})
			}
			all.Wait()
		}
		for what, query := range map[string]string{
			"tokens ended":  "SELECT COUNT(*) FROM changes WHERE entity = 'tokens' AND action = 'changed'",
			"devices ended": "SELECT COUNT(*) FROM changes WHERE entity = 'devices' AND action = 'deleted'",
		} {
			if n := idsOf(t, s, query)[0]; n != 10 {
				t.Errorf("%s: %d times in the log, want 10", what, n)
			}
		}
	})
}

// Whoever changes people does not wait for what the program itself is doing.
func TestLockPeople_LetsTheProgramWork(t *testing.T) {
	onPostgres(t, func(t *testing.T, s *store.Store) {
		own, err := s.Raw().Begin()
		if err != nil {
			t.Fatal(err)
		}
		defer own.Rollback()
		if _, err := own.Exec("INSERT INTO acts (at, person_id, origin, title) VALUES (now(), 1, 'command line', 'Import of a long list')"); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		if _, err := s.Apply(ctx, now, me, register.AddPerson{Name: "Ana", Roles: []register.GivenRole{{Role: register.Viewer}}}); err != nil {
			t.Errorf("while the program is at work: %v", err)
		}
	})
}

// A preview reads what is stored beside the transaction it works in; many at
// once must not wait for one another's connections.
func TestPreview_ManyAtOnceDoNotStarve(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"), fit("H-A", "lift left", "2026-01-01"))
		site := siteNow(t, s, "Depot")
		site.PolicyID = policyNow(t, s, "heightened demand").ID
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		var all sync.WaitGroup
		for range 48 {
			all.Go(func() {
				if p, err := s.Preview(ctx, now, me, register.ChangeSite{Site: site, Reason: "tried"}); err != nil || p.Touched != 1 {
					t.Errorf("%+v, %v", p, err)
				}
			})
		}
		all.Wait()
	})
}
