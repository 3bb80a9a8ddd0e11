package main_test

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// served is a program that serves a register with the fleet in it, and who asks
// it: a person and a program.
type served struct {
	*program
	t       *testing.T
	person  *client
	api     *client
	reading int // the next one to be noted
}

func (g *ground) served(t *testing.T, dsn, dir string) *served {
	t.Helper()
	p := start(t, serving(dsn, dir)...)
	if p.address == "" {
		t.Fatalf("the program did not start: %s", p.said.String())
	}
	return &served{program: p, t: t, person: g.newClient(0), api: g.newClient(1)}
}

// note notes a reading through the page, and again through the API.
func (s *served) note() (page, api answer) {
	s.t.Helper()
	send := func(c *client, kind, path, body string) answer {
		a, err := c.send(http.MethodPost, s.address+path, kind, "", body)
		if err != nil {
			s.t.Fatal(err)
		}
		return a
	}
	s.reading++
	day := faultBegin.AddDays(s.reading)
	hours := fmt.Sprint(faultHours(day))
	page = send(s.person, asForm, "/machines/M-000/readings/new", url.Values{"on": {day.String()}, "hours": {hours}, "note": {"typed by hand"}}.Encode())
	api = send(s.api, asJSON, "/api/v1/machines/M-001/readings", fmt.Sprintf(`{"on": "%s", "hours": %s}`, day, hours))
	return page, api
}

// works wants both ways to be carried out.
func (s *served) works(when string) {
	s.t.Helper()
	page, api := s.note()
	if !page.done() || !api.done() {
		s.t.Errorf("%s: status %d and %d: %s; %s", when, page.status, api.status, firstSentence(page), firstSentence(api))
	}
}

// refuses wants both ways to be refused with a sentence, and what was typed to
// be kept. Where the register cannot even be read there is no form to keep it.
func (s *served) refuses(when string, status int, says string, kept bool) {
	s.t.Helper()
	page, api := s.note()
	for _, a := range []answer{page, api} {
		if a.status != status || !strings.Contains(a.body, says) || a.header.Get("Retry-After") == "" {
			s.t.Errorf("%s: status %d, retry after %q, says %q; want %d and %q", when, a.status, a.header.Get("Retry-After"), firstSentence(a), status, says)
		}
		for _, word := range []string{"SQL", "database is", "errno", "EOF", "dial tcp"} {
			if strings.Contains(a.body, word) {
				s.t.Errorf("%s: people are told of %q", when, word)
			}
		}
	}
	if kept && !strings.Contains(page.body, "typed by hand") {
		s.t.Errorf("%s: what was typed is lost", when)
	}
}

// reads wants pages to be shown.
func (s *served) reads(when string) {
	s.t.Helper()
	for _, path := range []string{"/", "/due", "/machines/M-000"} {
		if a, err := s.person.send(http.MethodGet, s.address+path, "", "", ""); err != nil || a.status != http.StatusOK {
			s.t.Errorf("%s: %s has status %d, %v: %s", when, path, a.status, err, firstSentence(a))
		}
	}
}

// upload brings a sheet.
func (s *served) upload(bytesLong int) answer {
	s.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	part, err := w.CreateFormFile("file", "readings.csv")
	if err == nil {
		_, err = fmt.Fprintf(part, "machine,date,hours\nM-000,2026-11-20,%g\n%s", faultHours(faultBegin)+9000, strings.Repeat("\n", bytesLong))
	}
	if err = errors.Join(err, w.Close()); err != nil {
		s.t.Fatal(err)
	}
	a, err := s.person.send(http.MethodPost, s.address+"/import", w.FormDataContentType(), "", b.String())
	if err != nil {
		s.t.Fatal(err)
	}
	return a
}

// onDisk is a ground whose register lies on a small disk.
func onDisk(t *testing.T, size string) (*ground, *testkit.Disk, string) {
	t.Helper()
	disk := testkit.SmallDisk(t, size)
	g := newGround(t, store.SQLite)
	g.people(t)
	content, err := os.ReadFile(g.first)
	path := filepath.Join(disk.Dir, "register.db")
	if err == nil {
		err = os.WriteFile(path, content, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return g, disk, path
}

func TestFaults_FullDiskIsToldAndPasses(t *testing.T) {
	t.Parallel()
	g, disk, path := onDisk(t, "24m")
	s := g.served(t, path, disk.Dir)
	s.works("before")
	disk.Fill(t)
	for range 40 { // what there was room for in the log is taken
		if page, api := s.note(); !page.done() && !api.done() {
			break
		}
	}
	s.refuses("full", http.StatusInsufficientStorage, "is full; nothing of this was saved", true)
	s.reads("full")
	if a := s.upload(100 << 10); a.status != http.StatusInsufficientStorage || !strings.Contains(a.body, "is full") {
		t.Errorf("an upload: status %d, %s", a.status, firstSentence(a))
	}
	disk.MakeRoom(t)
	s.works("after room was made")
	if a := s.upload(10); a.status != http.StatusSeeOther {
		t.Errorf("an upload after room was made: status %d, %s", a.status, firstSentence(a))
	}
	s.kill()
	sound(t, path)
}

func TestFaults_ReadOnlyDiskIsToldAndPasses(t *testing.T) {
	t.Parallel()
	g, disk, path := onDisk(t, "24m")
	dir := t.TempDir()
	s := g.served(t, path, dir)
	s.works("before")
	s.kill()
	disk.TakeChanges(t, false)
	p := start(t, serving(path, dir)...)
	if p.address != "" {
		p.kill()
		t.Fatal("it serves what it cannot write")
	}
	exits(t, p, "cannot be written to")
	disk.TakeChanges(t, true)
	after := g.served(t, path, dir)
	after.reading = 100
	after.works("after it may be written to again")
}

// exits wants a program to end with the code for a failing environment and one
// line that says what is wrong and what to do.
func exits(t *testing.T, p *program, says string) {
	t.Helper()
	var exit *exec.ExitError
	err := <-p.ended
	said := p.said.String()
	if !errors.As(err, &exit) || exit.ExitCode() != 3 || !strings.Contains(said, says) || strings.Count(said, "\n") != 1 {
		t.Errorf("ends with %v and says %q; want code 3 and %q on one line", err, said, says)
	}
	t.Logf("says: %s", said)
}

func TestFaults_LockedRegisterIsToldAndPasses(t *testing.T) {
	t.Parallel()
	g := newGround(t, store.SQLite)
	g.people(t)
	path := g.register(t)
	s := g.served(t, path, t.TempDir())
	s.works("before")
	other, err := sql.Open("sqlite", path+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	other.SetMaxOpenConns(1)
	if _, err := other.Exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	begin := time.Now()
	s.refuses("locked", http.StatusServiceUnavailable, "busy with other changes", true)
	if waited := time.Since(begin); waited < 8*time.Second {
		t.Errorf("two requests gave up after %s, want the five seconds of patience for each", waited)
	}
	s.reads("locked")
	time.AfterFunc(2*time.Second, func() { _, _ = other.Exec("ROLLBACK") })
	s.works("released while it is waited for")
	s.kill()
	sound(t, path)
}

func TestFaults_PostgresGoneIsToldAndPasses(t *testing.T) {
	t.Parallel()
	g := newGround(t, store.Postgres)
	g.people(t)
	dsn := g.register(t)
	s := g.served(t, dsn, t.TempDir())
	s.works("before")
	for name, stop := range map[string]func(){
		"stopped in order": func() { g.server.Stop(t, testkit.Fast) },
		"stopped at once":  func() { g.server.Stop(t, testkit.Immediate) },
		"killed":           func() { g.server.Kill(t) },
	} {
		stop()
		s.refuses(name, http.StatusServiceUnavailable, "cannot be reached at the moment", false)
		if a, err := s.person.send(http.MethodGet, s.address+"/due", "", "", ""); err != nil || a.status != http.StatusServiceUnavailable {
			t.Errorf("%s: a page has status %d, %v: whoever is signed in must not be taken for a stranger", name, a.status, err)
		}
		if name == "killed" {
			p := start(t, serving(dsn, t.TempDir())...)
			exits(t, p, "does not answer")
		}
		g.server.Start(t)
		s.works("after it was " + name)
	}
	for _, how := range []string{"on", "off"} {
		db := raw(t, dsn)
		if _, err := db.Exec("BEGIN READ WRITE; ALTER DATABASE " + table(t, db, "SELECT current_database()")[0] + " SET default_transaction_read_only = " + how + "; COMMIT"); err != nil {
			t.Fatal(err)
		}
		db.Close()
		g.server.Stop(t, testkit.Fast)
		g.server.Start(t)
		if how == "off" {
			s.works("after it took changes again")
			break
		}
		s.refuses("a standby, or set so", http.StatusServiceUnavailable, "may only be read", true)
		s.reads("a standby, or set so")
	}
	s.kill()
	sound(t, dsn)
}
