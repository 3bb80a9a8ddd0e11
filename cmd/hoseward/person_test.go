package main

import (
	"encoding/json"
	"net/http"
	"regexp"
	"strings"
	"testing"
)

func TestPerson_AddListReset(t *testing.T) {
	t.Chdir(t.TempDir())
	welcome := regexp.MustCompile(`http://127\.0\.0\.1:8460/welcome/[a-z2-7]{52}\n`)
	first := welcome.FindString(must(t, "person", "add", "A. Moor", "--role", "manager", "--email", "moor@example.org"))
	second := welcome.FindString(must(t, "person", "reset", "a. moor"))
	if first == "" || second == "" || first == second {
		t.Errorf("addresses %q and %q", first, second)
	}
	if got := welcome.FindString(must(t, "person", "add", "B. Ruhr", "--role", "viewer", "--public-url", "http://127.0.0.1:8460/")); got == "" {
		t.Error("the public URL is not what the address begins with")
	}
	list := must(t, "person", "list")
	for _, want := range []string{"A. Moor", "manager at all sites", "B. Ruhr", "one-time address until 2026-12-02"} {
		if !strings.Contains(list, want) {
			t.Errorf("the list lacks %q:\n%s", want, list)
		}
	}
	if strings.Contains(list, "local") {
		t.Error("the program itself is listed as a person")
	}
	var p personOut
	if err := json.Unmarshal([]byte(strings.SplitN(must(t, "person", "list", "--json"), "\n", 2)[0]), &p); err != nil || p.Name != "A. Moor" || p.Email != "moor@example.org" || p.Password || len(p.Roles) != 1 {
		t.Errorf("%+v, %v", p, err)
	}
	for _, c := range []struct {
		why  string
		args []string
		code int
	}{
		{"no role", []string{"person", "add", "C"}, exitCall},
		{"a role that is none", []string{"person", "add", "C", "--role", "king"}, exitData},
		{"a site that is none", []string{"person", "add", "C", "--role", "viewer", "--site", "Nowhere"}, exitData},
		{"a name that is taken", []string{"person", "add", "a. moor", "--role", "viewer"}, exitData},
		{"nobody of that name", []string{"person", "reset", "Nobody"}, exitData},
		{"the program itself", []string{"person", "reset", "local"}, exitData},
		{"no register", []string{"person", "list", "--db", "absent.db"}, exitEnvironment},
		{"no register to reset in", []string{"person", "reset", "A. Moor", "--db", "absent.db"}, exitEnvironment},
	} {
		code, out, stderr := call(t, "", c.args...)
		if code != c.code || strings.Count(stderr, "\n") != 1 || strings.Contains(out, "/welcome/") {
			t.Errorf("%s: exit %d, want %d: %s%s", c.why, code, c.code, out, stderr)
		}
	}
}

// Each person of the demo gets in by the password on the console, which is
// another one after each start, and nobody without one.
func TestServeDemo_ItsPeopleSignIn(t *testing.T) {
	t.Chdir(t.TempDir())
	s := serveDemoAt(t, noon)
	for name, people := range map[string]int{"manager": http.StatusOK, "planner": http.StatusForbidden, "inspector": http.StatusForbidden, "fitter": http.StatusForbidden, "viewer": http.StatusForbidden} {
		client := s.signIn(t, name)
		if status, body := get(t, client, s.address+"/"); status != http.StatusOK || !strings.Contains(body, "<dd>"+name+"</dd>") {
			t.Errorf("%s sees Today with status %d", name, status)
		}
		if status, _ := get(t, client, s.address+"/people"); status != people {
			t.Errorf("%s asks for people: status %d, want %d", name, status, people)
		}
	}
	if _, body := get(t, http.DefaultClient, s.address+"/machines"); strings.Contains(body, "RT-01") || !strings.Contains(body, "current-password") {
		t.Error("nobody known reads the machines, or is not asked to sign in")
	}
	ways := s.ways
	s.mustStop(t)
	again := serveDemoAt(t, noon)
	defer again.mustStop(t)
	if again.ways == ways || again.said != "" {
		t.Errorf("the second start says %q%q", again.said, again.ways)
	}
	again.signIn(t, "manager")
}
