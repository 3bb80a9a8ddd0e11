// Package session knows a browser again between requests, and passwords by
// their hashes.
//
// The main idea: what a browser holds is a random token and nothing else; what
// it stands for lies in the register, under the token's hash, so that neither
// the cookie nor a copy of the database lets anybody in. A session never says
// what its person may do: that is read anew with each request. It ends at a
// time set when it began, so that no request needs to write.
//
// The package decides nothing about people, counts no tries and prints no
// page.
package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/alexedwards/scs/v2"
)

// How long a session lasts: on a device that others use too, and on one that
// is its owner's alone.
const (
	Shared = 12 * time.Hour
	Alone  = 30 * 24 * time.Hour
)

// Session is what is kept of a browser that signed in.
type Session struct {
	PersonID   int64     `json:"person"`
	Generation int       `json:"generation"` // of the person's credential when they signed in
	ByPIN      bool      `json:"pin,omitempty"`
	DeviceID   int64     `json:"device,omitempty"` // the enrolled device a PIN was given on
	At         time.Time `json:"at"`
}

// Store keeps sessions under the hashes of their tokens.
type Store interface {
	// FindSession gives what was kept, if it has not ended.
	FindSession(ctx context.Context, token string, now time.Time) (data []byte, found bool, err error)
	// CommitSession keeps data until ends.
	CommitSession(ctx context.Context, now time.Time, token string, data []byte, ends time.Time) error
	// DeleteSession forgets a token; an unknown one is no error.
	DeleteSession(ctx context.Context, token string) error
}

// Sessions begins, finds and ends sessions. It may be used by many requests at
// once.
type Sessions struct {
	manager *scs.SessionManager
	now     func() time.Time
}

// New makes sessions kept in a store. Secure says that browsers reach the
// server by https; their cookies then never travel otherwise.
func New(store Store, now func() time.Time, secure Transport) *Sessions {
	// Not made by scs.New, which starts a store of its own with a goroutine
	// that nothing ends.
	m := &scs.SessionManager{
		Lifetime: Shared, Store: &kept{store, now}, Codec: scs.GobCodec{}, HashTokenInStore: true,
		Cookie: scs.SessionCookie{
			Name: secure.CookieName("hoseward"), Path: "/", Secure: secure == HTTPS, HttpOnly: true, SameSite: http.SameSiteLaxMode,
		},
	}
	return &Sessions{manager: m, now: now}
}

// Transport is how browsers reach the server.
type Transport string

// The transports.
const (
	HTTP  Transport = "http"
	HTTPS Transport = "https"
)

// CookieName is the name of a cookie: by https with the prefix that makes
// browsers refuse it from any other host, path or transport.
func (t Transport) CookieName(name string) string {
	if t == HTTPS {
		return "__Host-" + name
	}
	return name
}

const valueKey = "session"

// Find is the session of a request; false if it has none that counts.
func (s *Sessions) Find(r *http.Request) (Session, bool, error) {
	ctx, ok, err := s.load(r)
	if err != nil || !ok {
		return Session{}, false, err
	}
	var found Session
	if err := json.Unmarshal([]byte(s.manager.GetString(ctx, valueKey)), &found); err != nil {
		return Session{}, false, nil // of another version of the program
	}
	return found, found.PersonID != 0, nil
}

// load finds what is kept for the cookie of a request.
func (s *Sessions) load(r *http.Request) (context.Context, bool, error) {
	cookie, err := r.Cookie(s.manager.Cookie.Name)
	if err != nil || cookie.Value == "" || len(cookie.Value) > 200 {
		return r.Context(), false, nil
	}
	ctx, err := s.manager.Load(r.Context(), cookie.Value)
	switch {
	case errors.Is(err, errUnreadable):
		return r.Context(), false, nil
	case err != nil:
		return nil, false, fmt.Errorf("find the session: %w", err)
	}
	return ctx, s.manager.Token(ctx) != "", nil
}

// Begin begins a session under a token of its own, never one that the browser
// brought, and forgets the one it had. It ends after lasts; the browser forgets
// one of at most Shared when it is closed.
func (s *Sessions) Begin(w http.ResponseWriter, r *http.Request, begun Session, lasts time.Duration) error {
	if err := s.forget(r); err != nil {
		return err
	}
	ctx, err := s.manager.Load(r.Context(), "")
	if err != nil {
		return fmt.Errorf("begin a session: %w", err)
	}
	value, err := json.Marshal(begun)
	if err != nil {
		return fmt.Errorf("write a session: %w", err)
	}
	ends := s.now().Add(lasts)
	s.manager.SetDeadline(ctx, ends.UTC())
	s.manager.Put(ctx, valueKey, string(value))
	token, _, err := s.manager.Commit(ctx)
	if err != nil {
		return fmt.Errorf("begin a session: %w", err)
	}
	c := s.cookie(token)
	if lasts > Shared {
		c.MaxAge = int(lasts / time.Second)
	}
	http.SetCookie(w, c)
	return nil
}

// End ends the session of a request, if it has one.
func (s *Sessions) End(w http.ResponseWriter, r *http.Request) error {
	if err := s.forget(r); err != nil {
		return err
	}
	c := s.cookie("")
	c.MaxAge = -1
	http.SetCookie(w, c)
	return nil
}

func (s *Sessions) forget(r *http.Request) error {
	ctx, ok, err := s.load(r)
	if err != nil || !ok {
		return err
	}
	if err := s.manager.Destroy(ctx); err != nil {
		return fmt.Errorf("end the session: %w", err)
	}
	return nil
}

func (s *Sessions) cookie(value string) *http.Cookie {
	c := s.manager.Cookie
	return &http.Cookie{Name: c.Name, Value: value, Path: c.Path, Secure: c.Secure, HttpOnly: c.HttpOnly, SameSite: c.SameSite}
}

// kept is a Store as the library asks for it.
type kept struct {
	store Store
	now   func() time.Time
}

// errUnreadable is kept data that is none.
var errUnreadable = errors.New("a session that cannot be read")

func (k *kept) FindCtx(ctx context.Context, token string) ([]byte, bool, error) {
	b, found, err := k.store.FindSession(ctx, token, k.now())
	if err != nil || !found {
		return nil, false, err
	}
	if _, _, err := (scs.GobCodec{}).Decode(b); err != nil {
		return nil, false, fmt.Errorf("%w: %w", errUnreadable, err)
	}
	return b, true, nil
}

func (k *kept) CommitCtx(ctx context.Context, token string, b []byte, ends time.Time) error {
	return k.store.CommitSession(ctx, k.now(), token, b, ends)
}

func (k *kept) DeleteCtx(ctx context.Context, token string) error {
	return k.store.DeleteSession(ctx, token)
}

// The library wants these too; it never calls them where those above are.
func (k *kept) Find(token string) ([]byte, bool, error) { return k.FindCtx(context.TODO(), token) }

func (k *kept) Commit(token string, b []byte, ends time.Time) error {
	return k.CommitCtx(context.TODO(), token, b, ends)
}
func (k *kept) Delete(token string) error { return k.DeleteCtx(context.TODO(), token) }
