package session_test

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/server/session"
)

// memory is a store in memory.
type memory struct {
	mu   sync.Mutex
	rows map[string]row
	err  error
}

type row struct {
	data []byte
	ends time.Time
}

func (m *memory) FindSession(_ context.Context, token string, now time.Time) ([]byte, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, ok := m.rows[token]
	return r.data, ok && now.Before(r.ends), m.err
}

func (m *memory) CommitSession(_ context.Context, _ time.Time, token string, data []byte, ends time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.rows == nil {
		m.rows = map[string]row{}
	}
	m.rows[token] = row{data, ends}
	return m.err
}

func (m *memory) DeleteSession(_ context.Context, token string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.rows, token)
	return m.err
}

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// desk is sessions with a clock that a test sets.
type desk struct {
	*session.Sessions
	store *memory
	now   time.Time
}

func newDesk(how session.Transport) *desk {
	d := &desk{store: &memory{}, now: noon}
	d.Sessions = session.New(d.store, func() time.Time { return d.now }, how)
	return d
}

func request(cookies ...*http.Cookie) *http.Request {
	r := httptest.NewRequest(http.MethodPost, "/sign-in", nil)
	for _, c := range cookies {
		r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	return r
}

// begin begins a session in a browser that holds cookies, and gives the one it
// then gets.
func (d *desk) begin(t *testing.T, lasts time.Duration, cookies ...*http.Cookie) *http.Cookie {
	t.Helper()
	w := httptest.NewRecorder()
	if err := d.Begin(w, request(cookies...), session.Session{PersonID: 7, Generation: 3, At: d.now}, lasts); err != nil {
		t.Fatal(err)
	}
	got := w.Result().Cookies()
	if len(got) != 1 {
		t.Fatalf("%d cookies", len(got))
	}
	return got[0]
}

func (d *desk) find(t *testing.T, cookies ...*http.Cookie) (session.Session, bool) {
	t.Helper()
	s, ok, err := d.Find(request(cookies...))
	if err != nil {
		t.Fatal(err)
	}
	return s, ok
}

func TestSession_IsKnownAgainUntilItEnds(t *testing.T) {
	for _, lasts := range []time.Duration{session.Shared, session.Alone} {
		d := newDesk(session.HTTP)
		c := d.begin(t, lasts)
		if s, ok := d.find(t, c); !ok || s.PersonID != 7 || s.Generation != 3 || !s.At.Equal(noon) || s.ByPIN {
			t.Errorf("found %+v, %v", s, ok)
		}
		d.now = noon.Add(lasts - time.Second)
		if _, ok := d.find(t, c); !ok {
			t.Errorf("ended a second before %s have passed", lasts)
		}
		d.now = noon.Add(lasts)
		if _, ok := d.find(t, c); ok {
			t.Errorf("counts still after %s", lasts)
		}
	}
}

func TestSession_CookiesAreForThisServerAndNoScript(t *testing.T) {
	for _, c := range []struct {
		how    session.Transport
		lasts  time.Duration
		name   string
		secure bool
		age    int
	}{
		{session.HTTP, session.Shared, "hoseward", false, 0},
		{session.HTTP, session.Alone, "hoseward", false, 30 * 24 * 3600},
		{session.HTTPS, session.Shared, "__Host-hoseward", true, 0},
		{session.HTTPS, session.Alone, "__Host-hoseward", true, 30 * 24 * 3600},
	} {
		got := newDesk(c.how).begin(t, c.lasts)
		// RFC 6265bis, 4.1.3.2: a name with __Host- needs Secure, Path=/ and no Domain.
		if got.Name != c.name || got.Secure != c.secure || !got.HttpOnly || got.SameSite != http.SameSiteLaxMode || got.Path != "/" || got.Domain != "" || got.MaxAge != c.age {
			t.Errorf("%s, %s: %s", c.how, c.lasts, got)
		}
		if len(got.Value) < 43 { // 256 bits in base64
			t.Errorf("a token of %d letters", len(got.Value))
		}
	}
}

// Whoever plants a token in somebody's browser does not know the one they sign
// in with.
func TestSession_SigningInNeverKeepsTheTokenThatWasThere(t *testing.T) {
	d := newDesk(session.HTTP)
	planted := &http.Cookie{Name: "hoseward", Value: "planted-by-somebody-else-0123456789abcdefghij"}
	first := d.begin(t, session.Shared, planted)
	if first.Value == planted.Value {
		t.Error("a token nobody made is taken over")
	}
	if _, ok := d.find(t, planted); ok {
		t.Error("a token nobody made counts")
	}
	second := d.begin(t, session.Shared, first)
	if second.Value == first.Value {
		t.Error("signing in again keeps the token")
	}
	if _, ok := d.find(t, first); ok {
		t.Error("the token before signing in again still counts")
	}
	if n := len(d.store.rows); n != 1 {
		t.Errorf("%d sessions are kept", n)
	}
}

func TestSession_TheStoreHoldsNoToken(t *testing.T) {
	d := newDesk(session.HTTP)
	c := d.begin(t, session.Shared)
	for key, r := range d.store.rows {
		if key == c.Value || strings.Contains(string(r.data), c.Value) {
			t.Error("whoever reads the store can sign in")
		}
		if _, ok := d.find(t, &http.Cookie{Name: "hoseward", Value: key}); ok {
			t.Error("what the store holds counts as a token")
		}
	}
}

func TestSession_EndingOneEndsItInTheStore(t *testing.T) {
	d := newDesk(session.HTTPS)
	c, other := d.begin(t, session.Shared), d.begin(t, session.Shared)
	w := httptest.NewRecorder()
	if err := d.End(w, request(c)); err != nil {
		t.Fatal(err)
	}
	if got := w.Result().Cookies(); len(got) != 1 || got[0].MaxAge >= 0 || got[0].Name != c.Name || !got[0].Secure {
		t.Errorf("the browser is told %v", got)
	}
	if _, ok := d.find(t, c); ok {
		t.Error("a copy of the cookie still counts")
	}
	if _, ok := d.find(t, other); !ok {
		t.Error("another browser is signed out too")
	}
	if err := d.End(httptest.NewRecorder(), request()); err != nil {
		t.Errorf("ending none: %v", err)
	}
}

func TestSession_WhatIsNoneIsNobodys(t *testing.T) {
	d := newDesk(session.HTTP)
	c := d.begin(t, session.Shared)
	for key := range d.store.rows {
		d.store.rows[key] = row{[]byte("no session"), noon.Add(time.Hour)}
	}
	for _, c := range []*http.Cookie{c, {Name: "hoseward", Value: ""}, {Name: "hoseward", Value: strings.Repeat("x", 5000)}, {Name: "other", Value: c.Value}} {
		if _, ok := d.find(t, c); ok {
			t.Errorf("%.40s counts", c)
		}
	}
	if c := d.begin(t, session.Shared, c); c == nil {
		t.Error("nobody can sign in over it")
	}
}

func TestSession_AStoreThatFailsLetsNobodyIn(t *testing.T) {
	d := newDesk(session.HTTP)
	c := d.begin(t, session.Shared)
	d.store.err = errors.New("no disk")
	if _, ok, err := d.Find(request(c)); ok || err == nil {
		t.Errorf("found %v, %v", ok, err)
	}
	w := httptest.NewRecorder()
	if err := d.Begin(w, request(), session.Session{PersonID: 7}, session.Shared); err == nil || len(w.Result().Cookies()) != 0 {
		t.Errorf("a session that is not kept begins: %v", err)
	}
	if err := d.End(httptest.NewRecorder(), request(c)); err == nil {
		t.Error("a session that could not be ended is told to be")
	}
}

func TestSession_ManyAtOnce(t *testing.T) {
	d := newDesk(session.HTTP)
	var all sync.WaitGroup
	for range 50 {
		all.Go(func() {
			w := httptest.NewRecorder()
			if err := d.Begin(w, request(), session.Session{PersonID: 7}, session.Shared); err != nil {
				t.Error(err)
				return
			}
			c := w.Result().Cookies()[0]
			if _, ok, err := d.Find(request(c)); !ok || err != nil {
				t.Error(ok, err)
			}
			if err := d.End(httptest.NewRecorder(), request(c)); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if n := len(d.store.rows); n != 0 {
		t.Errorf("%d sessions are left", n)
	}
}

func TestSession_MakingThemStartsNothing(t *testing.T) {
	before := runtime.NumGoroutine()
	for range 50 {
		newDesk(session.HTTP)
	}
	if after := runtime.NumGoroutine(); after > before+5 {
		t.Errorf("%d goroutines more run", after-before)
	}
}
