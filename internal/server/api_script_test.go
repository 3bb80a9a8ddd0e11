package server_test

import (
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/server/session"
	"hoseward/internal/testkit"
	"hoseward/web"
)

// program adds a program with a role at a site, or at all where site is empty,
// and returns its token.
func (s *site) program(name string, role register.Role, at string) string {
	s.t.Helper()
	s.apply(register.AddPerson{Name: name, Program: true, Roles: []register.GivenRole{{Role: role, Site: at}}})
	people, err := s.store.People(s.t.Context(), now, register.AllSites())
	if err != nil {
		s.t.Fatal(err)
	}
	for _, p := range people {
		if p.Name == name {
			token := "hw_" + session.NewSecret()
			s.apply(register.MakeToken{PersonID: p.ID, Hash: session.HashSecret(token), EndsAt: now.AddDate(1, 0, 0)})
			return token
		}
	}
	s.t.Fatalf("no program %s", name)
	return ""
}

// scriptOfManual is the example of the manual's page on the API, as it stands.
func scriptOfManual(t *testing.T) string {
	t.Helper()
	pages, err := web.Manual()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range pages {
		if p.Name != "api" {
			continue
		}
		for _, block := range strings.Split(string(p.Text), "```\n") {
			if strings.HasPrefix(block, "#!/bin/sh\n") {
				return block
			}
		}
	}
	t.Fatal("the manual has no script")
	return ""
}

// listen serves a site on loopback until the test ends.
func (s *site) listen(l net.Listener) string {
	s.t.Helper()
	h := &http.Server{Handler: s.server, ReadHeaderTimeout: 10 * time.Second}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = h.Serve(l) // ends with ErrServerClosed
	}()
	s.t.Cleanup(func() {
		_ = h.Close()
		<-done
	})
	return "http://" + l.Addr().String()
}

// TestAPI_ScriptOfTheManualWorks runs the manual's example, as it stands on the
// page, against a live server with a real token.
func TestAPI_ScriptOfTheManualWorks(t *testing.T) {
	testkit.NeedsTool(t, "curl", "the manual's example asks with it")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := ownFleet(t, func(c *server.Config, _ *server.Deps) { c.Addr = l.Addr().String() })
	token, address := s.program("telematics", register.Fitter, ""), s.listen(l)
	dir := t.TempDir()
	file := filepath.Join(dir, "hoses.sh")
	for name, text := range map[string]string{"hoses.sh": scriptOfManual(t), "date": "#!/bin/sh\necho " + now.Format(time.DateOnly) + "\n"} { // the day of the register
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	run := func(token string, args ...string) (string, error) {
		cmd := exec.CommandContext(t.Context(), "/bin/sh", append([]string{file}, args...)...)
		path := dir
		for _, v := range cmd.Environ() {
			if rest, ok := strings.CutPrefix(v, "PATH="); ok {
				path += ":" + rest
			}
		}
		cmd.Env = []string{"PATH=" + path, "HOSEWARD_URL=" + address, "HOSEWARD_TOKEN=" + token}
		out, err := cmd.CombinedOutput()
		return string(out), err
	}

	out, err := run(token)
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var due struct {
		Items []struct{ Assembly, Machine, Position string }
	}
	s.api(http.MethodGet, "/due?within_days=30&limit=1000", nil).says(t, http.StatusOK, &due)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != len(due.Items) || len(lines) < 2 {
		t.Fatalf("%d lines of %d hoses: %s", len(lines), len(due.Items), out)
	}
	for i, d := range due.Items {
		if !strings.Contains(lines[i], d.Assembly+"  "+d.Machine+", "+d.Position) {
			t.Errorf("line %d is %q, want %+v", i, lines[i], d)
		}
	}

	machine := due.Items[0].Machine
	readings := func() int {
		sheet, err := s.store.MachineSheet(t.Context(), now, machine)
		if err != nil {
			t.Fatal(err)
		}
		return len(sheet.Readings)
	}
	before, hours := readings(), strconv.FormatFloat(s.nextHours(machine), 'f', -1, 64)
	for range 2 { // the second time its key answers
		if out, err := run(token, machine, hours); err != nil || !strings.Contains(out, `"what":"readings"`) {
			t.Fatalf("note a reading: %v: %s", err, out)
		}
	}
	if n := readings() - before; n != 1 {
		t.Errorf("%d readings noted, want 1", n)
	}
	for what, args := range map[string][]string{"a falling meter": {machine, "1"}, "no such machine": {"NO-SUCH", "1"}} {
		if out, err := run(token, args...); err == nil || !strings.Contains(out, `"detail":`) {
			t.Errorf("%s: %v: %s", what, err, out)
		}
	}
	if out, err := run("hw_wrong"); err == nil || !strings.Contains(out, "unauthorized") {
		t.Errorf("a wrong token: %v: %s", err, out)
	}
}
