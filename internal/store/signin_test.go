package store_test

import (
	"bytes"
	"context"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

func TestSessions_AreKeptUntilTheyEnd(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		find := func(token string, at time.Time) []byte {
			t.Helper()
			data, found, err := s.FindSession(ctx, token, at)
			if err != nil || found != (data != nil) {
				t.Fatalf("%s: %q, %v, %v", token, data, found, err)
			}
			return data
		}
		commit := func(token string, data string, at, ends time.Time) {
			t.Helper()
			if err := s.CommitSession(ctx, at, token, []byte(data), ends); err != nil {
				t.Fatal(err)
			}
		}
		berlin := time.FixedZone("CET", 3600) // a zone must not change when a session ends
		commit("a", "first", now, now.Add(time.Hour).In(berlin))
		commit("b", "\x00\xff", now, now.Add(2*time.Hour))
		if got := find("a", now.Add(time.Hour-time.Microsecond).In(berlin)); string(got) != "first" {
			t.Errorf("a: %q", got)
		}
		if got := find("b", now); !bytes.Equal(got, []byte{0, 0xff}) {
			t.Errorf("b: %q", got)
		}
		if find("a", now.Add(time.Hour)) != nil || find("c", now) != nil {
			t.Error("one that ended, or that is none, is found")
		}
		commit("a", "second", now, now.Add(time.Hour))
		if got := find("a", now); string(got) != "second" {
			t.Errorf("a: %q", got)
		}
		commit("d", "x", now.Add(time.Hour), now.Add(3*time.Hour))
		var n int
		if err := s.Raw().QueryRow("SELECT COUNT(*) FROM sessions").Scan(&n); err != nil || n != 2 {
			t.Errorf("%d sessions are kept, want those that have not ended: %v", n, err)
		}
		for range 2 { // the second time there is none
			if err := s.DeleteSession(ctx, "b"); err != nil || find("b", now) != nil {
				t.Errorf("deleting: %v", err)
			}
		}
	})
}

func TestTryPassword_CountsBeforeItIsLookedAt(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		id := c.add("A. Moor", role(register.Fitter, "North"))
		try := func(at time.Time) register.Credential {
			t.Helper()
			return read[register.Credential](t)(s.TryPassword(t.Context(), "a. moor", at))
		}
		var all sync.WaitGroup
		var mu sync.Mutex
		looked := 0
		for range 20 {
			all.Go(func() {
				held, err := s.TryPassword(context.Background(), "A. MOOR", now)
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					t.Error(err)
				}
				if held.Waits(now) == 0 {
					looked++
				}
			})
		}
		all.Wait()
		if looked != 5 {
			t.Errorf("%d of 20 at once are looked at, want 5", looked)
		}
		if held := try(now.Add(29 * time.Second)); held.Waits(now.Add(29*time.Second)) != time.Second || held.Tries != 5 {
			t.Errorf("%+v", held)
		}
		if held := try(now.Add(30 * time.Second)); held.Waits(now.Add(30*time.Second)) != 0 || held.PersonID != id || held.PasswordHash != hashOf("A. Moor") {
			t.Errorf("%+v", held)
		}
		if held := try(now.Add(31 * time.Second)); held.Tries != 6 || held.Waits(now.Add(31*time.Second)) != 59*time.Second {
			t.Errorf("%+v", held)
		}
		if err := s.PasswordGiven(t.Context(), id); err != nil {
			t.Fatal(err)
		}
		if held := try(now.Add(32 * time.Second)); held.Tries != 0 || held.Waits(now) != 0 {
			t.Errorf("after the right one: %+v", held)
		}
	})
}

// A name that is nobody's writes as one that is somebody's does, and gives
// nobody; the program itself stays what it is.
func TestTryPassword_NamesThatAreNobodys(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		c.mustAs(register.LocalPersonID, register.AddPerson{Name: "Invited", Roles: []register.GivenRole{role(register.Viewer, "")}})
		before := c.signedIn(register.LocalPersonID).Generation
		for i, name := range []string{"nobody", "local", "LOCAL", "Invited", "", "%", "' OR 1=1 --", "a\x00b"[:1]} {
			held, err := s.TryPassword(t.Context(), name, now)
			if err != nil || held.PersonID != 0 || held.PasswordHash != "" {
				t.Errorf("%q: %+v, %v", name, held, err)
			}
			var tries int
			if err := s.Raw().QueryRow("SELECT tries FROM credentials WHERE person_id = 1").Scan(&tries); err != nil || tries != i+1 {
				t.Errorf("%q: %d tries are counted, %v", name, tries, err)
			}
		}
		if after := c.signedIn(register.LocalPersonID); after.Generation != before || len(after.Roles) != 1 {
			t.Errorf("the program itself is %+v", after)
		}
		if can := read[bool](t)(s.AnyoneCanSignIn(t.Context())); can {
			t.Error("somebody can sign in now")
		}
	})
}

func TestTryPIN_FiveInARowEndTheDevice(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		c := newCrew(t, s)
		id := c.add("A. Moor", role(register.Fitter, "North"))
		ends := now.Add(register.DeviceLasts)
		enrol := func(secret string) *register.Device {
			t.Helper()
			c.mustAs(id, register.EnrolDevice{Name: "phone", Hash: hashOf(secret), PINHash: hashOf("pin"), EndsAt: ends})
			d, who, err := s.Device(t.Context(), hashOf(secret), now)
			if err != nil || d == nil || who.Person.ID != id || d.PINHash != hashOf("pin") {
				t.Fatalf("%+v, %v", d, err)
			}
			return d
		}
		d := enrol("one")
		var all sync.WaitGroup
		var mu sync.Mutex
		looked := 0
		for range 20 {
			all.Go(func() {
				hash, err := s.TryPIN(context.Background(), d.ID, now)
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					t.Error(err)
				}
				if hash != "" {
					looked++
				}
			})
		}
		all.Wait()
		if looked != register.MaxPINTries {
			t.Errorf("%d of 20 at once are looked at, want %d", looked, register.MaxPINTries)
		}
		if left, err := s.PINWrong(t.Context(), now, d.ID); left != 0 || err != nil {
			t.Errorf("%d left, %v", left, err)
		}
		if d, _, err := s.Device(t.Context(), hashOf("one"), now); d != nil || err != nil {
			t.Errorf("the device counts still: %v", err)
		}
		if left, err := s.PINWrong(t.Context(), now, d.ID); left != 0 || err != nil {
			t.Errorf("a second time: %d left, %v", left, err)
		}
		d = enrol("two")
		if d, _, _ := s.Device(t.Context(), hashOf("two"), ends); d != nil {
			t.Error("counts when its time is over")
		}
		if hash := read[string](t)(s.TryPIN(t.Context(), d.ID, ends)); hash != "" {
			t.Error("is looked at when its time is over")
		}
		for i := 2; i <= 20; i++ {
			enrol("many" + string(rune('a'+i)))
		}
		if _, err := c.as(id, register.EnrolDevice{Name: "phone", Hash: hashOf("more"), PINHash: hashOf("pin"), EndsAt: ends}); !isRefusal(err, register.Refused) {
			t.Errorf("a device too many: %v", err)
		}
		if _, err := c.as(id, register.EnrolDevice{Name: "phone", Hash: hashOf("longer"), PINHash: hashOf("pin"), EndsAt: ends.Add(time.Second)}); !isRefusal(err, register.Invalid) {
			t.Errorf("longer than it may count: %v", err)
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}
