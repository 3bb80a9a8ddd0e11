package server_test

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/demo"
	"hoseward/internal/files"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/server/session"
	"hoseward/internal/store"
)

// addr is the address the servers of the tests say they listen at.
const addr = "127.0.0.1:8460"

// now is noon of 25 November 2026 in UTC.
var now = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

var me = register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage}

// site is a server on a register of its own.
type site struct {
	t      testing.TB
	store  *store.Store
	server *server.Server
	addr   string // that it says it listens at
	log    *lockedBuffer
	cookie *http.Cookie // of the session requests are sent in; nil: signed out
	file   string       // of the register, where a test has to alter it from outside
}

// lockedBuffer is a buffer that several goroutines may write to.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// setting changes how a server of a test is set up.
type setting func(*server.Config, *server.Deps)

// empty is a server on an empty register.
func empty(t testing.TB, settings ...setting) *site {
	t.Helper()
	return serve(t, openStore(t, filepath.Join(t.TempDir(), "register.db")), settings...)
}

func openStore(t testing.TB, path string) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), path, store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func serve(t testing.TB, reg *store.Store, settings ...setting) *site {
	t.Helper()
	folder, err := files.Open(filepath.Join(t.TempDir(), "files"))
	if err != nil {
		t.Fatal(err)
	}
	log := &lockedBuffer{}
	cfg := server.Config{Addr: addr, Limits: unlimited()}
	deps := server.Deps{For: func(sc register.Scope) server.Store { return reg.For(sc) }, Uploads: folder, Now: func() time.Time { return now }, Zone: time.UTC, Log: slog.New(slog.NewTextHandler(log, nil))}
	for _, set := range settings {
		set(&cfg, &deps)
	}
	s, err := server.New(cfg, deps)
	if err != nil {
		t.Fatal(err)
	}
	return (&site{t: t, store: reg, server: s, addr: cfg.Addr, log: log}).as(register.LocalPersonID)
}

// signedOut is the same server, asked by a browser that did not sign in.
func (s *site) signedOut() *site {
	out := *s
	out.cookie = nil
	return &out
}

// as is the same server, asked by a browser in which a person signed in; a
// manager of all sites unless a test asks for another.
func (s *site) as(personID int64) *site {
	s.t.Helper()
	known, err := s.store.SignedIn(context.Background(), personID)
	if err != nil {
		s.t.Fatal(err)
	}
	in := *s
	if in.cookie, err = s.server.SessionFor(session.Session{PersonID: personID, Generation: known.Generation, At: now}, session.Shared); err != nil {
		s.t.Fatal(err)
	}
	return &in
}

// signedIn adds the session of the site to each request that has none.
func (s *site) signedIn(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.addSession(r)
		next.ServeHTTP(w, r)
	})
}

func (s *site) addSession(r *http.Request) {
	if s.cookie == nil {
		return
	}
	if _, err := r.Cookie(s.cookie.Name); err != nil {
		r.AddCookie(&http.Cookie{Name: s.cookie.Name, Value: s.cookie.Value})
	}
}

// only is one register whatever the scope.
func only(reg server.Store) func(register.Scope) server.Store {
	return func(register.Scope) server.Store { return reg }
}

// shared is the demo register all tests that only read work on, made when the
// first asks for it.
var shared struct {
	once  sync.Once
	dir   string
	store *store.Store
	err   error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared.store != nil {
		shared.store.Close()
	}
	if full.store != nil {
		full.store.Close()
		os.RemoveAll(full.dir)
	}
	if shared.dir != "" {
		os.RemoveAll(shared.dir)
	}
	os.Exit(code)
}

// demoFleet is a server on the demo fleet, for reading only.
func demoFleet(t testing.TB, settings ...setting) *site {
	t.Helper()
	shared.once.Do(func() {
		if shared.dir, shared.err = os.MkdirTemp("", "hoseward-demo-*"); shared.err != nil {
			return
		}
		shared.store, shared.err = store.Open(context.Background(), filepath.Join(shared.dir, "demo.db"), store.Options{Migrate: true})
		if shared.err == nil {
			fillDemo(t, shared.store)
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return serve(t, shared.store, settings...)
}

func fillDemo(t testing.TB, s *store.Store) {
	t.Helper()
	ctx := context.Background()
	by := register.Actor{PersonID: register.LocalPersonID, Origin: register.FromDemo}
	if _, err := s.Apply(ctx, now, by, demo.Fleet(1, quantity.DateOf(now, time.UTC))...); err != nil {
		t.Fatal(err)
	}
	if _, err := s.ReestimateAll(ctx, now, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
}

// apply changes the register under a server.
func (s *site) apply(cmds ...register.Command) register.Result {
	s.t.Helper()
	r, err := s.store.Apply(context.Background(), now, me, cmds...)
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// do sends one request.
func (s *site) do(r *http.Request) *http.Response {
	s.t.Helper()
	if r.Host == "example.com" { // what httptest sets
		r.Host = s.addr
	}
	s.addSession(r)
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	return w.Result()
}

func (s *site) get(path string) *http.Response {
	s.t.Helper()
	return s.do(httptest.NewRequest(http.MethodGet, path, nil))
}

// post sends a form as a browser does from a page here; pairs are names and
// values.
func (s *site) post(path string, pairs ...string) *http.Response {
	s.t.Helper()
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Add(pairs[i], pairs[i+1])
	}
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return s.do(r)
}

// upload sends a file as a browser does.
func (s *site) upload(name string, content io.Reader, kind string) *http.Response {
	s.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	if err := w.WriteField("kind", kind); err != nil {
		s.t.Fatal(err)
	}
	part, err := w.CreateFormFile("file", name)
	if err != nil {
		s.t.Fatal(err)
	}
	if _, err := io.Copy(part, content); err != nil {
		s.t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodPost, "/import", &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return s.do(r)
}

// want checks the status of an answer.
func want(t testing.TB, r *http.Response, status int) *http.Response {
	t.Helper()
	if r.StatusCode != status {
		body, _ := io.ReadAll(r.Body)
		t.Fatalf("status %d, want %d: %.2000s", r.StatusCode, status, body)
	}
	return r
}

func body(t testing.TB, r *http.Response) string {
	t.Helper()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
