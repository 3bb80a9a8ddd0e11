package server_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/internal/testkit"
)

// yards is a register with two sites.
func yards(t *testing.T) *site {
	t.Helper()
	s := empty(t)
	s.apply(register.AddSite{Name: "North", Zone: "UTC"}, register.AddSite{Name: "South", Zone: "UTC"})
	return s
}

func TestPeople_AreAddedChangedAndLeave(t *testing.T) {
	s := yards(t)
	boss := s.as(s.person("Boss", everywhere...))
	page := testkit.HTML(t, want(t, boss.get("/people/new"), 200).Body)
	checkNames(t, "/people/new", page)
	for _, c := range []struct {
		why   string
		pairs []string
		at    string
	}{
		{"no name", []string{"role-0", "fitter"}, "#name-error"},
		{"no role", []string{"name", "A. Moor"}, "#role-0-error"},
		{"a name that is taken", []string{"name", "BOSS", "role-0", "fitter"}, "#name-error"},
		{"no address of mail", []string{"name", "A. Moor", "email", "nobody", "role-0", "fitter"}, "#email-error"},
	} {
		testkit.HTML(t, want(t, boss.post("/people/new", typed(t, page, c.pairs...)...), http.StatusUnprocessableEntity).Body, testkit.Has(c.at))
	}
	r := boss.post("/people/new", typed(t, page, "name", "A. Moor", "email", "moor@example.org", "role-0", "fitter", "at-0", "North", "role-1", "viewer", "at-1", "")...)
	path, _, _ := strings.Cut(r.Header.Get("Location"), "?")
	testkit.HTML(t, want(t, boss.get(path), 200).Body, testkit.In("dl.facts", testkit.Text("no password yet"), testkit.Text("viewer at all sites; fitter at North")), testkit.In("h1", testkit.Text("A. Moor")))

	edit := testkit.HTML(t, want(t, boss.get(path+"/edit"), 200).Body)
	to(t, boss.post(path+"/edit", typed(t, edit, "name", "A. Moore")...), path+"?done=person-changed")
	roles := testkit.HTML(t, want(t, boss.get(path+"/roles"), 200).Body)
	checkNames(t, path+"/roles", roles)
	to(t, boss.post(path+"/roles", typed(t, roles, "role-0", "", "role-1", "inspector")...), path+"?done=roles-set")
	testkit.HTML(t, want(t, boss.get(path), 200).Body, testkit.In("dl.facts", testkit.Text("inspector at North")), testkit.In("h1", testkit.Text("A. Moore")))

	leave := testkit.HTML(t, want(t, boss.get(path+"/leave"), 200).Body)
	testkit.HTML(t, want(t, boss.post(path+"/leave", typed(t, leave, "reason", "")...), 422).Body, testkit.Has("#reason-error"))
	to(t, boss.post(path+"/leave", typed(t, leave, "reason", "works elsewhere")...), path+"?done=person-left")
	testkit.HTML(t, want(t, boss.get("/people"), 200).Body, testkit.In("main", testkit.Text("left on 2026-11-25")))
	to(t, boss.post(path+"/return"), path+"?done=person-back")
	to(t, boss.post(path+"/return"), path) // twice is once
	if _, broken, err := verifyChain(s); err != nil || broken != 0 {
		t.Errorf("chain broken at %d, %v", broken, err)
	}
}

func verifyChain(s *site) (rows, broken int64, err error) { return s.store.VerifyChain(s.t.Context()) }

// Nobody changes their own role, and a manager of one site does nothing about
// people of another, whatever address they type.
func TestPeople_RightsEndAtOnesSiteAndAtOneself(t *testing.T) {
	s := yards(t)
	bossID := s.person("Boss", everywhere...)
	boss := s.as(bossID)
	north := s.as(s.person("North manager", register.GivenRole{Role: register.Manager, Site: "North"}))
	here := s.person("Here", register.GivenRole{Role: register.Fitter, Site: "North"})
	there := s.person("There", register.GivenRole{Role: register.Fitter, Site: "South"})
	planner := s.as(s.person("Planner", register.GivenRole{Role: register.Planner}))
	path := func(id int64) string { return "/people/" + number(id) }

	list := testkit.HTML(t, want(t, north.get("/people"), 200).Body)
	text := testkit.TextOf(testkit.Find(list, "main")[0])
	if !strings.Contains(text, "Here") || strings.Contains(text, "There") || strings.Contains(text, "Boss") || strings.Contains(text, "local") {
		t.Errorf("the manager of North sees %s", text)
	}
	add := testkit.HTML(t, want(t, north.get("/people/new"), 200).Body)
	if options := testkit.TextOf(testkit.Find(add, "#at-0")[0]); strings.Contains(options, "South") || strings.Contains(options, "all sites") {
		t.Errorf("is offered %s", options)
	}
	for _, more := range []string{"", "/edit", "/roles", "/leave"} {
		want(t, north.get(path(here)+more), 200)
		want(t, north.get(path(there)+more), 404)
		want(t, north.get(path(bossID)+more), 404)
		want(t, north.get(path(register.LocalPersonID)+more), 404)
		want(t, boss.get(path(register.LocalPersonID)+more), 404)
		want(t, planner.get(path(here)+more), 403)
	}
	for _, more := range []string{"/edit", "/roles", "/leave", "/return", "/invite", "/sign-out", "/tokens", "/tokens/1/end"} {
		want(t, north.post(path(there)+more, "name", "Taken", "role-0", "manager", "on", "2026-11-25", "reason", "x", "until", "2027-01-01"), 404)
		want(t, planner.post(path(here)+more), 403)
	}
	want(t, north.post("/people/new", "name", "S", "role-0", "fitter", "at-0", "South"), 422)
	want(t, north.post("/people/new", "name", "S", "role-0", "fitter", "at-0", ""), 422)
	r := boss.post(path(bossID)+"/roles", "version", "2", "role-0", "viewer", "was.role-0", "manager")
	if text := body(t, r); !strings.Contains(text, "Nobody changes their own roles") {
		t.Errorf("one's own roles: %d", r.StatusCode)
	}
	if known, err := s.store.SignedIn(t.Context(), bossID); err != nil || !known.Roles.Everywhere(register.RightManage) {
		t.Errorf("the boss is %+v, %v", known.Roles, err)
	}
	want(t, boss.post(path(bossID)+"/invite"), 403)
}

func TestPrograms_TokensAreShownOnceAndEnd(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	boss := s.as(s.person("Boss", everywhere...))
	page := testkit.HTML(t, want(t, boss.get("/programs/new"), 200).Body)
	r := boss.post("/programs/new", typed(t, page, "name", "meter readings", "role-0", "fitter")...)
	path, _, _ := strings.Cut(r.Header.Get("Location"), "?")
	sheet := testkit.HTML(t, want(t, boss.get(path), 200).Body)
	if until := testkit.AttrOf(testkit.Find(sheet, "#until")[0], "value"); until != "2027-11-25" {
		t.Errorf("a token lasts until %s unless another day is given", until)
	}
	for _, wrong := range []string{"", "soon", "2026-11-24", "2028-12-01", "2027"} {
		testkit.HTML(t, want(t, boss.post(path+"/tokens", "until", wrong), 422).Body, testkit.Has("#until-error"))
	}
	shown := testkit.HTML(t, want(t, boss.post(path+"/tokens", "until", "2026-12-24"), 200).Body)
	token := testkit.TextOf(testkit.Find(shown, "main code")[0])
	if !strings.HasPrefix(token, "hw_") || len(token) != 55 {
		t.Fatalf("the token is %q", token)
	}
	if strings.Contains(body(t, want(t, boss.get(path), 200)), token) || strings.Contains(s.log.String(), token) {
		t.Error("the token is shown again, or in the log")
	}
	used := func() *register.SignedIn {
		known, err := s.store.TokenUsed(t.Context(), session.HashSecret(token), c.at)
		if err != nil {
			t.Fatal(err)
		}
		return known
	}
	if known := used(); known == nil || known.Person.Name != "meter readings" || !known.Roles.Anywhere(register.RightFit) {
		t.Errorf("the token stands for %+v", known)
	}
	testkit.HTML(t, want(t, boss.get(path), 200).Body, testkit.In("table", testkit.Text("2026-11-25"), testkit.NoText("never")))
	c.at = time.Date(2026, 12, 24, 23, 59, 59, 0, time.UTC) // to the end of its last day
	if used() == nil {
		t.Error("ends before the end of its last day")
	}
	c.at = time.Date(2026, 12, 25, 0, 0, 0, 0, time.UTC)
	if used() != nil {
		t.Error("counts after its last day")
	}
	c.at = now
	to(t, boss.post(path+"/tokens/1/end"), path+"?done=token-ended")
	if used() != nil {
		t.Error("counts after it was ended")
	}
	// A token is for programs: it opens no page, and nobody signs in as a program.
	get := httptest.NewRequest(http.MethodGet, "/due", nil)
	get.Header.Set("Authorization", "Bearer "+token)
	to(t, s.signedOut().do(get), "/sign-in?next=%2Fdue")
	want(t, boss.post(path+"/invite"), 409)
	want(t, boss.post("/people/"+number(1+register.LocalPersonID)+"/tokens", "until", "2026-12-24"), 422)
}

// The last use is kept about, so that not each request of a program writes.
func TestPrograms_TheLastUseIsKeptToTheHour(t *testing.T) {
	s := empty(t)
	id := s.apply(register.AddPerson{Name: "gate", Program: true, Roles: everywhere}).PersonID
	s.apply(register.MakeToken{PersonID: id, Hash: session.HashSecret("hw_x"), EndsAt: now.AddDate(1, 0, 0)})
	for _, c := range []struct{ after, kept time.Duration }{{0, 0}, {59 * time.Minute, 0}, {time.Hour, time.Hour}, {90 * time.Minute, time.Hour}, {3 * time.Hour, 3 * time.Hour}} {
		if _, err := s.store.TokenUsed(t.Context(), session.HashSecret("hw_x"), now.Add(c.after)); err != nil {
			t.Fatal(err)
		}
		sheet, err := s.store.PersonSheet(t.Context(), now, register.AllSites(), id)
		if err != nil || sheet.Listed[0].UsedAt == nil || !sheet.Listed[0].UsedAt.Equal(now.Add(c.kept)) {
			t.Errorf("after %s: %v, want %s", c.after, sheet.Listed[0].UsedAt, now.Add(c.kept))
		}
	}
}
