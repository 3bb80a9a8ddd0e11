package main_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/internal/testkit"
)

// peopleAndPrograms is how many people, and as many programs, write: a person
// may not ask for everything at once.
const peopleAndPrograms = 50

// people adds who may write to the register that the others are copies of.
func (g *ground) people(t *testing.T) {
	t.Helper()
	ctx, reg := context.Background(), opened(t, g.first)
	defer reg.Close()
	sessions := session.New(reg, func() time.Time { return faultNoon }, session.HTTP)
	all := []register.GivenRole{{Role: register.Manager}}
	for n := range peopleAndPrograms {
		person, err := reg.Apply(ctx, faultNoon, faultActor, register.AddPerson{Name: fmt.Sprintf("person %d", n), Roles: all})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := reg.Apply(ctx, faultNoon, register.Actor{PersonID: person.PersonID, Origin: register.FromPage}, register.ChoosePassword{Hash: strings.Repeat("no hash of a password ", 3)}); err != nil {
			t.Fatal(err)
		}
		known, err := reg.SignedIn(ctx, person.PersonID)
		if err != nil {
			t.Fatal(err)
		}
		w := httptest.NewRecorder()
		err = sessions.Begin(w, httptest.NewRequest(http.MethodPost, "/sign-in", nil), session.Session{PersonID: person.PersonID, Generation: known.Generation, At: faultNoon}, session.Alone)
		if err != nil {
			t.Fatal(err)
		}
		g.cookies = append(g.cookies, w.Result().Cookies()[0])

		program, err := reg.Apply(ctx, faultNoon, faultActor, register.AddPerson{Name: fmt.Sprintf("program %d", n), Program: true, Roles: all})
		if err != nil {
			t.Fatal(err)
		}
		token := "hw_" + session.NewSecret()
		if _, err := reg.Apply(ctx, faultNoon, faultActor, register.MakeToken{PersonID: program.PersonID, Hash: session.HashSecret(token), EndsAt: faultNoon.AddDate(0, 6, 0)}); err != nil {
			t.Fatal(err)
		}
		g.tokens = append(g.tokens, token)
	}
}

// program is the program serving a register, as a process of its own.
type program struct {
	address string
	cmd     *exec.Cmd
	said    *lockedText // on standard error
	ended   chan error
}

// lockedText is text that one goroutine writes and another reads.
type lockedText struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write appends.
func (l *lockedText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// String is all of it so far.
func (l *lockedText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// serving is the arguments of the program that serves a register, with its
// files in a folder.
func serving(dsn, dir string) []string {
	return []string{asProgram, "serve", "--listen", "127.0.0.1:0", "--db", dsn, "--files", filepath.Join(dir, "files"), "--backups", filepath.Join(dir, "backups")}
}

// start starts the program and waits until it serves. Where it ends instead
// the address is empty.
func start(t *testing.T, args ...string) *program {
	t.Helper()
	p := &program{cmd: testkit.Again(t, args...), said: &lockedText{}, ended: make(chan error, 1)}
	p.cmd.Stderr = p.said
	out, err := p.cmd.StdoutPipe()
	if err == nil {
		err = p.cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "serves at "); ok {
			p.address = address
			break
		}
	}
	go func() {
		_, _ = io.Copy(io.Discard, out)
		p.ended <- p.cmd.Wait()
	}()
	return p
}

// kill kills the program and waits until it is gone.
func (p *program) kill() {
	_ = p.cmd.Process.Kill()
	<-p.ended
}

// client asks the program for one who is known by a cookie or a token, from an
// address of its own on one connection that is kept.
type client struct {
	http   *http.Client
	cookie *http.Cookie
	token  string
}

// newClient is the client of that number. Each has another address, as each
// would have in a workshop: one address may not ask for everything at once.
func (g *ground) newClient(n int) *client {
	dialer := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, byte(1+n/250), byte(1+n%250))}}
	c := &client{http: &http.Client{
		Timeout:       time.Minute,
		Transport:     &http.Transport{DialContext: dialer.DialContext, MaxIdleConnsPerHost: 1, DisableCompression: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
	if n%2 == 0 {
		c.cookie = g.cookies[n/2%len(g.cookies)]
	} else {
		c.token = g.tokens[n/2%len(g.tokens)]
	}
	return c
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   string
}

// send sends a request; key is the key under which a program asks for a change.
// An error is a line that broke.
func (c *client) send(method, url, kind, key, body string) (answer, error) {
	r, err := http.NewRequest(method, url, strings.NewReader(body))
	if err != nil {
		return answer{}, err
	}
	if body != "" {
		r.Header.Set("Content-Type", kind)
	}
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	if c.cookie != nil {
		r.AddCookie(c.cookie)
	}
	if c.token != "" {
		r.Header.Set("Authorization", "Bearer "+c.token)
	}
	resp, err := c.http.Do(r)
	if err != nil {
		return answer{}, err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	return answer{resp.StatusCode, resp.Header, string(text)}, err
}

const (
	asForm = "application/x-www-form-urlencoded"
	asJSON = "application/json"
)

// done reports whether an answer says that a change was carried out.
func (a answer) done() bool {
	return a.status == http.StatusSeeOther && strings.Contains(a.header.Get("Location"), "done=") || a.status/100 == 2 && strings.HasPrefix(a.header.Get("Content-Type"), asJSON)
}
