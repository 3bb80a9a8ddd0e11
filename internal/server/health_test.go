package server_test

import (
	"context"
	"errors"
	"net/http"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/web"
)

func TestHealth_AnsweredByAnyNameToAnybody(t *testing.T) {
	s := empty(t, behind("10.0.0.0/24")).signedOut()
	for _, peer := range []string{"127.0.0.1:1", "192.0.2.9:1", "10.0.0.7:1"} {
		for _, host := range []string{"10.244.0.7:8460", "hoses.example.org", "127.0.0.1:8460", "evil.example"} {
			for path, says := range map[string]string{"/healthz": "ok\n", "/readyz": "ready\n"} {
				r := want(t, s.from(peer, http.MethodGet, path, "Host", host), 200)
				if got := body(t, r); got != says {
					t.Errorf("%s by %s from %s says %q", path, host, peer, got)
				}
				want(t, s.from(peer, http.MethodHead, path, "Host", host), 200)
			}
		}
	}
	// Nothing else comes through that door.
	for _, path := range []string{"/healthz/", "/healthz/x", "/readyz/../", "//healthz", "/metrics", "/", "/HEALTHZ"} {
		if r := s.from("192.0.2.9:1", http.MethodGet, path, "Host", "evil.example"); r.StatusCode != 403 {
			t.Errorf("%s past the proxy: %d, want 403", path, r.StatusCode)
		}
		if r := s.from("127.0.0.1:1", http.MethodGet, path, "Host", "evil.example"); r.StatusCode != 421 {
			t.Errorf("%s by another name: %d, want 421", path, r.StatusCode)
		}
	}
	if r := s.from("192.0.2.9:1", http.MethodPost, "/healthz"); r.StatusCode != 403 {
		t.Errorf("POST /healthz: %d", r.StatusCode)
	}
}

// sickStore is a register that does not answer.
type sickStore struct {
	server.Store
	slow bool
}

func (s sickStore) Answers(ctx context.Context) error {
	if s.slow {
		<-ctx.Done()
		return ctx.Err()
	}
	return errors.New("password hunter2 is wrong")
}

func (s sickStore) Vitals(ctx context.Context) (register.Vitals, error) {
	return register.Vitals{}, s.Answers(ctx)
}

func TestReady_SaysNoAndNothingElse(t *testing.T) {
	for _, slow := range []bool{false, true} {
		s := empty(t, func(_ *server.Config, d *server.Deps) { d.For = only(sickStore{d.For(register.AllSites()), slow}) })
		began := time.Now()
		r := want(t, s.get("/readyz"), 503)
		if got := body(t, r); got != "the register does not answer\n" {
			t.Errorf("says %q", got)
		}
		if took := time.Since(began); took > 4*time.Second {
			t.Errorf("took %s", took)
		}
		want(t, s.get("/healthz"), 200)
	}
	s := empty(t)
	want(t, s.get("/readyz"), 200)
	s.server.Stopping()
	if r := want(t, s.get("/readyz"), 503); body(t, r) != "stopping\n" {
		t.Error("does not say that it stops")
	}
	want(t, s.get("/policies"), 200) // what comes still is answered
}

// personWith adds a person with one role; no site is all sites.
func personWith(t testing.TB, s *site, role register.Role, at string) int64 {
	t.Helper()
	r, err := s.store.Apply(context.Background(), now, me, register.AddPerson{
		Name: string(role) + " of " + web.Or(at, "all"), Roles: []register.GivenRole{{Role: role, Site: at}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r.PersonID
}
