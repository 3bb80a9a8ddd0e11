package main_test

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"

	hoseward "hoseward/cmd/hoseward"
)

// within is the program served within this process, on a clock of the test's.
type within struct {
	address string
	stop    context.CancelFunc
	ended   chan int
	said    *lockedText
	ahead   atomic.Int64 // how far the clock is off, in nanoseconds
}

func serveWithin(t *testing.T, dsn, dir string) *within {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	s := &within{stop: cancel, ended: make(chan int, 1), said: &lockedText{}}
	read, write := io.Pipe()
	clock := sinceNoon()
	m := &hoseward.Main{Stdin: strings.NewReader(""), Stdout: write, Stderr: s.said, Now: func() time.Time { return clock().Add(time.Duration(s.ahead.Load())) }}
	go func() {
		code := m.Run(ctx, serving(dsn, dir)[1:])
		write.Close()
		s.ended <- code
	}()
	lines := bufio.NewScanner(read)
	for lines.Scan() {
		if _, address, ok := strings.Cut(lines.Text(), "serves at "); ok {
			s.address = address
			break
		}
	}
	go io.Copy(io.Discard, read)
	if s.address == "" {
		cancel()
		t.Fatalf("the program did not start: exit %d: %s", <-s.ended, s.said.String())
	}
	return s
}

// ends stops the program and wants it to end well.
func (s *within) ends(t *testing.T) {
	t.Helper()
	s.stop()
	if code := <-s.ended; code != 0 {
		t.Errorf("exit %d: %s", code, s.said.String())
	}
}

// The clock of the machine is set back an hour and then forward a year while
// people work: nothing is refused but what ran out, nothing is lost, the change
// log stays whole, and the nightly job makes up what is due once.
func TestFaults_ClockSetBackAndForward(t *testing.T) {
	onEngines(t, func(t *testing.T, engine string) {
		g := newGround(t, engine)
		g.people(t)
		dsn := g.register(t)
		s := serveWithin(t, dsn, t.TempDir())
		person, api := g.newClient(0), g.newClient(1)
		asks := &served{program: &program{address: s.address}, t: t, person: person, api: api}
		asks.works("before")
		s.ahead.Store(int64(-time.Hour))
		asks.works("an hour back")
		asks.reads("an hour back")
		if a, err := person.send(http.MethodGet, s.address+"/acts", "", "", ""); err != nil || a.status != http.StatusOK || !strings.Contains(a.body, "Undo") {
			t.Errorf("an hour back the acts cannot be undone: status %d, %v", a.status, err)
		}
		s.ahead.Store(int64(365 * 24 * time.Hour))
		// Sessions of 30 days and tokens of half a year have run out, and say so.
		if a, err := person.send(http.MethodGet, s.address+"/due", "", "", ""); err != nil || a.status != http.StatusSeeOther || !strings.Contains(a.header.Get("Location"), "/sign-in") {
			t.Errorf("a year on a session still counts: status %d, %v", a.status, err)
		}
		if a, err := api.send(http.MethodGet, s.address+"/api/v1/machines", "", "", ""); err != nil || a.status != http.StatusUnauthorized {
			t.Errorf("a year on a token still counts: status %d, %v", a.status, err)
		}
		s.ahead.Store(0)
		asks.works("back to what it was")
		s.ends(t)
		sound(t, dsn)
	})
}

// Nothing of the program is left running when it has stopped: no goroutine,
// after requests that were answered, refused and given up.
func TestFaults_NothingIsLeftRunning(t *testing.T) {
	onEngines(t, func(t *testing.T, engine string) {
		g := newGround(t, engine)
		g.people(t)
		dsn := g.register(t)
		before := goleak.IgnoreCurrent()
		for range 2 {
			s := serveWithin(t, dsn, t.TempDir())
			asks := &served{program: &program{address: s.address}, t: t, person: g.newClient(0), api: g.newClient(1)}
			for n := range 100 {
				ctx, cancel := context.WithCancel(context.Background())
				r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.address+[]string{"/", "/due", "/no/such/page", "/machines/M-000"}[n%4], nil)
				if err != nil {
					t.Fatal(err)
				}
				r.AddCookie(g.cookies[n%len(g.cookies)])
				if n%3 == 0 {
					time.AfterFunc(time.Duration(n%7)*time.Millisecond, cancel)
				}
				if resp, err := asks.person.http.Do(r); err == nil {
					_, _ = io.Copy(io.Discard, resp.Body)
					resp.Body.Close()
				}
				cancel()
			}
			asks.reads("with others given up")
			asks.person.http.CloseIdleConnections()
			asks.api.http.CloseIdleConnections()
			s.ends(t)
		}
		if err := goleak.Find(before); err != nil {
			t.Error(err)
		}
	})
}
