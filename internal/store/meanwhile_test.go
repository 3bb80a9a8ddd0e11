package store_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// Whoever made an address may have opened it themselves: it must not let them
// into rights that they could not give.
func TestInvitation_EndsWhereItsMakerDoesNotManage(t *testing.T) {
	fitter := role(register.Fitter, "North")
	for _, c := range []struct {
		why  string
		by   string
		then []register.GivenRole
		open bool
	}{
		{"a site manager's, then a role at another site", "North manager", []register.GivenRole{fitter, role(register.Viewer, "South")}, false},
		{"a site manager's, then all sites", "North manager", []register.GivenRole{role(register.Manager, "")}, false},
		{"a site manager's, then more at that site", "North manager", []register.GivenRole{role(register.Manager, "North")}, true},
		{"a manager's of all sites", "Boss", []register.GivenRole{role(register.Manager, "")}, true},
	} {
		t.Run(c.why, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				crew := newCrew(t, s)
				by := map[string]int64{"Boss": crew.add("Boss", role(register.Manager, "")), "North manager": crew.add("North manager", role(register.Manager, "North"))}
				id := crew.mustAs(by[c.by], register.AddPerson{
					Name: "New", Roles: []register.GivenRole{fitter}, Invite: &register.Invite{Hash: hashOf("secret"), EndsAt: now.Add(time.Hour)},
				}).PersonID
				crew.mustAs(by["Boss"], register.SetRoles{PersonID: id, Version: crew.sheet(id).Version, Roles: c.then})
				if open := crew.sheet(id).Invited != nil; open != c.open {
					t.Errorf("open is %t, want %t", open, c.open)
				}
				if _, err := crew.as(id, register.ChoosePassword{Hash: hashOf("chosen"), Invitation: hashOf("secret")}); (err == nil) != c.open || err != nil && !isRefusal(err, register.NotFound) {
					t.Errorf("choosing a password there: %v", err)
				}
				if _, broken, err := s.VerifyChain(t.Context()); broken != 0 || err != nil {
					t.Errorf("row %d of the log is broken: %v", broken, err)
				}
			})
		})
	}
}

// What a manager asked before they lost their role counts, or it does not; it
// is never carried out after they lost it.
func TestPeople_ARoleLostWhileWaitingIsLost(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, fitter := c.add("Boss", role(register.Manager, "")), c.add("Fitter", role(register.Fitter, "North"))
		late := 0
		for i := range 20 {
			name := "Manager " + string(rune('A'+i))
			other := c.add(name, role(register.Manager, ""))
			lose := register.SetRoles{PersonID: other, Version: c.sheet(other).Version, Roles: []register.GivenRole{role(register.Viewer, "North")}}
			var both sync.WaitGroup
			var lost, invited error
			both.Go(func() {
				_, lost = s.Apply(context.Background(), now, register.Actor{PersonID: boss, Origin: register.FromPage}, lose)
			})
			both.Go(func() {
				_, invited = s.Apply(context.Background(), now, register.Actor{PersonID: other, Origin: register.FromPage}, register.Invite{PersonID: fitter, Hash: hashOf(name), EndsAt: now.Add(time.Hour)})
			})
			both.Wait()
			if lost != nil {
				t.Fatal(lost)
			}
			if invited != nil {
				late++
				continue
			}
			page, err := s.Changes(t.Context(), register.ChangeFilter{People: true, Limit: 50})
			if err != nil {
				t.Fatal(err)
			}
			for _, ch := range page.Changes { // the latest first
				if ch.Entity == "invitations" && ch.PersonID == other {
					t.Fatalf("round %d: made an address after the role was lost", i)
				}
				if ch.Entity == "person_roles" && ch.PersonID == boss {
					break
				}
			}
		}
		t.Logf("%d of 20 came too late", late)
	})
}

// A password given before it was ended chooses no other, and takes no PIN.
func TestPassword_OneThatWasEndedMeanwhileChoosesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		boss, fitter := c.add("Boss", role(register.Manager, "")), c.add("Fitter", role(register.Fitter, "North"))
		choose := func(generation int) (register.Result, error) {
			return c.as(fitter, register.ChoosePassword{Hash: hashOf("another"), Generation: generation})
		}
		enrol := func(generation int) error {
			_, err := c.as(fitter, register.EnrolDevice{Name: "phone", Hash: hashOf("device"), PINHash: hashOf("pin"), EndsAt: now.Add(time.Hour), Generation: generation})
			return err
		}
		given := c.signedIn(fitter).Generation
		c.mustAs(fitter, register.SignOutEverywhere{PersonID: fitter})
		if err := enrol(given); !isRefusal(err, register.Conflict) {
			t.Errorf("a PIN after signing out everywhere: %v", err)
		}
		if _, err := choose(given); !isRefusal(err, register.Conflict) {
			t.Errorf("a password after signing out everywhere: %v", err)
		}
		given = c.signedIn(fitter).Generation
		if err := enrol(given); err != nil {
			t.Error(err)
		}
		c.mustAs(boss, register.Invite{PersonID: fitter, Hash: hashOf("secret"), EndsAt: now.Add(time.Hour)})
		if _, err := choose(given); !isRefusal(err, register.Conflict) {
			t.Errorf("a password after a manager ended it: %v", err)
		}
		if held := read[register.Credential](t)(s.TryPassword(t.Context(), "Fitter", now)); held.PersonID != 0 {
			t.Error("what a manager ended counts again")
		}
		r, err := choose(c.signedIn(fitter).Generation)
		if err != nil || r.Generation != c.signedIn(fitter).Generation || r.Generation == given {
			t.Errorf("%+v, %v, want the generation it began", r, err)
		}
	})
}
