package server_test

import (
	"context"
	"database/sql"
	"html/template"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/server/session"
	"hoseward/internal/testkit"
)

// password is the password of everybody in the tests.
const password = "five loose gravel boats"

// passwordHash is its hash, made once: it takes a while.
var passwordHash = sync.OnceValue(func() string {
	hash, err := session.NewPasswords().Hash(context.Background(), password)
	if err != nil {
		panic(err)
	}
	return hash
})

// person adds a person who signs in by password, and gives their number.
func (s *site) person(name string, roles ...register.GivenRole) int64 {
	s.t.Helper()
	id := s.apply(register.AddPerson{Name: name, Email: "mail@example.org", Roles: roles}).PersonID
	s.applyAs(id, register.ChoosePassword{Hash: passwordHash()})
	return id
}

// applyAs changes the register as a person.
func (s *site) applyAs(id int64, cmds ...register.Command) {
	s.t.Helper()
	if _, err := s.store.Apply(s.t.Context(), now, register.Actor{PersonID: id, Origin: register.FromPage}, cmds...); err != nil {
		s.t.Fatal(err)
	}
}

var everywhere = []register.GivenRole{{Role: register.Manager}}

// clock is a time that a test sets.
type clock struct{ at time.Time }

func (c *clock) set(_ *server.Config, d *server.Deps) { d.Now = func() time.Time { return c.at } }

// fileSite is a site whose database a test can reach from behind.
type fileSite struct {
	*site
	path string
}

func onFile(t *testing.T, path string, settings ...setting) *fileSite {
	t.Helper()
	return &fileSite{serve(t, openStore(t, path), settings...), path}
}

func (s *fileSite) open() *sql.DB {
	s.t.Helper()
	db, err := sql.Open("sqlite", s.path) // the driver is the register's
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { db.Close() })
	return db
}

// behind changes the database behind the program's back.
func (s *fileSite) behind(query string) {
	s.t.Helper()
	if _, err := s.open().Exec(query); err != nil {
		s.t.Fatal(err)
	}
}

// browser is a browser with the cookies it was given.
type browser struct {
	*site
	cookies map[string]*http.Cookie
}

func (s *site) browser() *browser {
	return &browser{s.signedOut(), map[string]*http.Cookie{}}
}

func (b *browser) send(r *http.Request) *http.Response {
	b.t.Helper()
	for _, c := range b.cookies {
		r.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	resp := b.do(r)
	for _, c := range resp.Cookies() {
		if c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		} else {
			b.cookies[c.Name] = c
		}
	}
	return resp
}

func (b *browser) get(path string) *http.Response {
	b.t.Helper()
	return b.send(httptest.NewRequest(http.MethodGet, path, nil))
}

func (b *browser) post(path string, pairs ...string) *http.Response {
	b.t.Helper()
	v := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		v.Add(pairs[i], pairs[i+1])
	}
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return b.send(r)
}

func (b *browser) signIn(name string, more ...string) *http.Response {
	b.t.Helper()
	return b.post("/sign-in", append([]string{"name", name, "password", password}, more...)...)
}

// isIn reports whether somebody is signed in with the browser.
func (b *browser) isIn() bool {
	b.t.Helper()
	return b.get("/me").StatusCode == http.StatusOK
}

func to(t *testing.T, r *http.Response, where string) {
	t.Helper()
	if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != where {
		b, _ := io.ReadAll(r.Body)
		t.Errorf("status %d to %q, want %q: %.300s", r.StatusCode, r.Header.Get("Location"), where, b)
	}
}

func TestSignIn_LeadsInAndOutAgain(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	b := s.browser()
	to(t, b.get("/due?within=30"), "/sign-in?next=%2Fdue%3Fwithin%3D30")
	to(t, b.get("/"), "/sign-in")
	page := testkit.HTML(t, want(t, b.get("/sign-in?next=%2Fdue%3Fwithin%3D30"), 200).Body, testkit.Has("#name[autocomplete=username]"), testkit.Has("#password[type=password][autocomplete=current-password]"))
	to(t, b.post("/sign-in", typed(t, page, "name", " a.  MOOR", "password", password)...), "/due?within=30")
	testkit.HTML(t, want(t, b.get("/due"), 200).Body, testkit.In(".title-block", testkit.Text("Who A. Moor")), testkit.Has("form.out button"))
	old := *b.cookies["hoseward"]
	to(t, b.post("/sign-out"), "/sign-in?done=signed-out")
	if b.isIn() {
		t.Error("still in")
	}
	b.cookies["hoseward"] = &old
	if b.isIn() {
		t.Error("a copy of the cookie still counts after signing out")
	}
}

// What is said, and how, is the same whether there is anybody of a name or not.
func TestSignIn_TellsNobodyWhoIsThere(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	s.person("A. Moor", everywhere...)
	gone := s.person("Gone", register.GivenRole{Role: register.Viewer})
	s.apply(register.RetirePerson{ID: gone, Version: 2, On: quantity.DateOf(now, time.UTC), Reason: "left"})
	s.apply(register.AddPerson{Name: "Invited", Roles: everywhere})
	s.apply(register.AddPerson{Name: "gate", Program: true, Roles: everywhere})
	names := []string{"A. Moor", "Gone", "Invited", "gate", "local", "Nobody", "nobody at all", "' OR 1=1 --"}
	for try := range 12 {
		var first string
		for i, name := range names {
			r := s.signedOut().post("/sign-in", "name", name, "password", "wrong password "+name)
			b := body(t, r)
			said := strings.ReplaceAll(b[strings.Index(b, "<main"):], `value="`+template.HTMLEscapeString(name)+`"`, "")
			said = http.StatusText(r.StatusCode) + r.Header.Get("Retry-After") + said
			if i == 0 {
				first = said
			} else if said != first {
				t.Errorf("try %d: %s is answered otherwise than %s:\n%s\n%s", try+1, name, names[0], said, first)
			}
			wantStatus := 422
			if try >= 5 {
				wantStatus = 429
			}
			if r.StatusCode != wantStatus {
				t.Errorf("try %d of %s: status %d, want %d", try+1, name, r.StatusCode, wantStatus)
			}
		}
		c.at = c.at.Add(time.Second)
	}
	log := s.log.String()
	for _, typed := range []string{"Nobody", "OR 1=1", "wrong password", password} {
		if strings.Contains(log, typed) {
			t.Errorf("the log holds what was typed: %s", typed)
		}
	}
	if !strings.Contains(log, "sign-in failed") || !strings.Contains(log, "person=2") || !strings.Contains(log, "sign-in has to wait") {
		t.Errorf("the log does not tell of failed tries:\n%s", log)
	}
}

func TestSignIn_SlowsDownAndLocks(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	id := s.person("A. Moor", everywhere...)
	wrong := func() int { return s.signedOut().post("/sign-in", "name", "A. Moor", "password", "wrong").StatusCode }
	right := func() *http.Response { return s.browser().signIn("A. Moor") }
	for range 5 {
		if got := wrong(); got != 422 {
			t.Fatalf("a slip gives %d", got)
		}
	}
	r := want(t, right(), 429) // also the right one has to wait, or guessing would go on
	if got := r.Header.Get("Retry-After"); got != "30" {
		t.Errorf("Retry-After %s", got)
	}
	testkit.HTML(t, r.Body, testkit.In("#problems", testkit.Text("try again in 30 seconds")))
	c.at = c.at.Add(30 * time.Second)
	if got := wrong(); got != 422 {
		t.Errorf("after waiting: %d", got)
	}
	c.at = c.at.Add(59 * time.Second)
	want(t, right(), 429)
	c.at = c.at.Add(time.Second)
	to(t, right(), "/")
	for range 5 { // the right one made it begin anew
		if got := wrong(); got != 422 {
			t.Errorf("a slip after signing in gives %d", got)
		}
	}
	for range 45 {
		c.at = c.at.Add(15 * time.Minute)
		wrong()
	}
	c.at = c.at.Add(15 * time.Minute)
	testkit.HTML(t, want(t, right(), 429).Body, testkit.In("#problems", testkit.Text("Ask a manager")))
	c.at = c.at.Add(365 * 24 * time.Hour)
	want(t, right(), 429)
	s.apply(register.Invite{PersonID: id, Hash: session.HashSecret("secret"), EndsAt: now.Add(time.Hour)})
	s.applyAs(id, register.ChoosePassword{Hash: passwordHash(), Invitation: session.HashSecret("secret")})
	to(t, right(), "/")
	if !strings.Contains(s.log.String(), "sign-in locked") {
		t.Error("nobody is told that somebody is locked out")
	}
}

// Tries sent at once are all counted, so that they are not more than one after
// the other.
func TestSignIn_ManyAtOnceAreCounted(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	var all sync.WaitGroup
	var mu sync.Mutex
	status := map[int]int{}
	for range 20 {
		all.Go(func() {
			r := s.signedOut().post("/sign-in", "name", "A. Moor", "password", "wrong")
			mu.Lock()
			defer mu.Unlock()
			status[r.StatusCode]++
		})
	}
	all.Wait()
	if status[422] != 5 || status[429] != 15 {
		t.Errorf("%v, want five that were looked at", status)
	}
}

func TestSignIn_OnlyLeadsToThisServer(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	for _, c := range []struct{ next, to string }{
		{"/due", "/due"},
		{"/due?within=30&text=a+b", "/due?within=30&text=a+b"},
		{"/machines/A%2F1", "/machines/A%2F1"},
		{"", "/"},
		{"//evil.example", "/"},
		{"///evil.example", "/"},
		{"/\\evil.example", "/"},
		{"\\\\evil.example", "/"},
		{"\\/evil.example", "/"},
		{"/%5cevil.example", "/"},
		{"/%5Cevil.example", "/"},
		{"/%2fevil.example", "/"},
		{"/%2f%2fevil.example", "/"},
		{"%2f%2fevil.example", "/"},
		{"https:evil.example", "/"},
		{"https://evil.example/", "/"},
		{"http:/evil.example", "/"},
		{"javascript:alert(1)", "/"},
		{"data:text/html,x", "/"},
		{"/\t/evil.example", "/"},
		{"/\n/evil.example", "/"},
		{"/\r\nSet-Cookie: a=b", "/"},
		{"\t//evil.example", "/"},
		{" //evil.example", "/"},
		{"/%0d%0aSet-Cookie: a=b", "/"},
		{"/%09/evil.example", "/"},
		{"evil.example", "/"},
		{"due", "/"},
		{"?next=x", "/"},
		{"#x", "/"},
		{"/@evil.example", "/@evil.example"},
		{"//user@evil.example", "/"},
		{"/due\x00", "/"},
		{"/" + strings.Repeat("x", 3000), "/"},
	} {
		to(t, s.browser().signIn("A. Moor", "next", c.next), c.to)
		page := testkit.HTML(t, want(t, s.browser().get("/sign-in?next="+url.QueryEscape(c.next)), 200).Body)
		if got := testkit.AttrOf(testkit.Find(page, "input[name=next]")[0], "value"); !strings.HasPrefix(got, "/") || strings.HasPrefix(got, "//") || strings.Contains(got, "\\") {
			t.Errorf("%q: the page holds %q", c.next, got)
		}
	}
}

func TestSignIn_CookiesByTransport(t *testing.T) {
	public, err := url.Parse("https://hoses.example.org")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		why    string
		set    setting
		name   string
		secure bool
	}{
		{"plain, on this computer", func(*server.Config, *server.Deps) {}, "hoseward", false},
		{"https", func(c *server.Config, _ *server.Deps) { c.PublicURL = public }, "__Host-hoseward", true},
	} {
		s := empty(t, c.set)
		s.person("A. Moor", everywhere...)
		for alone, age := range map[string]int{"": 0, "yes": 30 * 24 * 3600} {
			cookies := s.browser().signIn("A. Moor", "alone", alone).Cookies()
			if len(cookies) != 1 {
				t.Fatalf("%s: %d cookies", c.why, len(cookies))
			}
			got := cookies[0]
			if got.Name != c.name || got.Secure != c.secure || !got.HttpOnly || got.SameSite != http.SameSiteLaxMode || got.Path != "/" || got.Domain != "" || got.MaxAge != age {
				t.Errorf("%s: %s", c.why, got)
			}
		}
	}
}

func TestSignIn_ATokenThatWasPlantedIsNotKept(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	victim, attacker := s.browser(), s.browser()
	attacker.signIn("A. Moor")
	planted := attacker.cookies["hoseward"].Value
	victim.cookies["hoseward"] = attacker.cookies["hoseward"]
	victim.signIn("A. Moor")
	if victim.cookies["hoseward"].Value == planted {
		t.Error("signing in keeps the token that was there")
	}
	if attacker.isIn() {
		t.Error("the token that was planted still counts")
	}
}

// A session ends with what it rests on, at the next request.
func TestSession_EndsWithWhatItRestsOn(t *testing.T) {
	for _, row := range []struct {
		why string
		do  func(s *fileSite, id int64)
		in  bool
	}{
		{"nothing happens", func(*fileSite, int64) {}, true},
		{"signed out everywhere", func(s *fileSite, id int64) { s.applyAs(id, register.SignOutEverywhere{PersonID: id}) }, false},
		{"another password", func(s *fileSite, id int64) { s.applyAs(id, register.ChoosePassword{Hash: passwordHash()}) }, false},
		{"reset by a manager", func(s *fileSite, id int64) {
			s.apply(register.Invite{PersonID: id, Hash: session.HashSecret("x"), EndsAt: now.Add(time.Hour)})
		}, false},
		{"they left", func(s *fileSite, id int64) {
			s.apply(register.RetirePerson{ID: id, Version: 2, On: quantity.DateOf(now, time.UTC), Reason: "left"})
		}, false},
		{"another role", func(s *fileSite, id int64) {
			s.apply(register.SetRoles{PersonID: id, Version: 2, Roles: []register.GivenRole{{Role: register.Viewer}}})
		}, true},
		{"every role was lost, whatever way", func(s *fileSite, _ int64) {
			s.behind("DELETE FROM person_roles WHERE person_id <> 1")
		}, false},
		{"the session is not in the register any more", func(s *fileSite, _ int64) {
			s.behind("DELETE FROM sessions")
		}, false},
	} {
		s := onFile(t, filepath.Join(t.TempDir(), "register.db"))
		s.person("Boss", everywhere...)
		id := s.person("A. Moor", register.GivenRole{Role: register.Fitter})
		b := s.browser()
		to(t, b.signIn("A. Moor"), "/")
		row.do(s, id)
		if b.isIn() != row.in {
			t.Errorf("%s: in %v", row.why, !row.in)
		}
	}
}

func TestSession_LastsAsLongAsSaid(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	s.person("A. Moor", everywhere...)
	shared, alone := s.browser(), s.browser()
	shared.signIn("A. Moor")
	alone.signIn("A. Moor", "alone", "yes")
	for _, row := range []struct {
		after         time.Duration
		shared, alone bool
	}{{12*time.Hour - time.Second, true, true}, {12 * time.Hour, false, true}, {30*24*time.Hour - time.Second, false, true}, {30 * 24 * time.Hour, false, false}} {
		c.at = now.Add(row.after)
		if got := shared.isIn(); got != row.shared {
			t.Errorf("%s on a device of several: in %v", row.after, got)
		}
		if got := alone.isIn(); got != row.alone {
			t.Errorf("%s on one's own: in %v", row.after, got)
		}
	}
}

// Reading pages writes nothing.
func TestSession_NoPageWritesToTheRegister(t *testing.T) {
	s := onFile(t, filepath.Join(t.TempDir(), "register.db"))
	s.person("A. Moor", everywhere...)
	b := s.browser()
	b.signIn("A. Moor")
	other, err := s.open().Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	version := func() (n int) { // another one as soon as another connection wrote
		if err := other.QueryRowContext(t.Context(), "PRAGMA data_version").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	before := version()
	for _, path := range []string{"/", "/due", "/machines", "/me", "/people", "/manual", "/nowhere"} {
		b.get(path)
	}
	if after := version(); after != before {
		t.Error("something was written")
	}
	b.post("/sign-out")
	if version() == before {
		t.Error("writing is not noticed")
	}
}

// A form sent after the session ended is not lost: the page holds what was
// typed, and it can be sent from there.
func TestSession_AFormOfNobodyIsKeptForSendingAgain(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	b := s.browser()
	r := want(t, b.post("/machines/new", "code", "RT-01", "site", `"Depot" <script>`, "note", "two\nlines"), 401)
	if codes, _ := s.store.MachineCodes(t.Context()); len(codes) != 0 {
		t.Error("something was saved")
	}
	page := testkit.HTML(t, r.Body, testkit.In("main", testkit.Text("Nothing was saved yet")), testkit.Has("main a[target=_blank]"))
	b.signIn("A. Moor")
	to(t, b.post("/machines/new", typed(t, page, "site", "Depot")...), "/machines/RT-01?done=machine-added")
	// Passwords and sheets are not repeated.
	for _, path := range []string{"/me/password", "/me/devices"} {
		r := want(t, s.browser().post(path, "old", "hunter2hunter2", "pin", "493817"), 401)
		if text := body(t, r); strings.Contains(text, "hunter2") || strings.Contains(text, "493817") {
			t.Errorf("%s repeats a secret", path)
		}
	}
}

func TestPages_TellNothingToWhoIsNotSignedIn(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{})
	for _, path := range []string{"/machines/" + url.PathEscape(l.MachineCode), "/nowhere", "/search?q=RT", "/due.csv"} {
		r := s.signedOut().get(path)
		if text := body(t, r); strings.Contains(text, "nav aria-label=\"Main\"><ul><li><a href=\"/\"") || strings.Contains(text, l.MachineCode) && path != "/machines/"+l.MachineCode {
			t.Errorf("%s tells too much", path)
		}
		if r.StatusCode == 200 {
			t.Errorf("%s is shown to nobody known", path)
		}
	}
}

func TestFirstStart_TheAddressOnTheConsole(t *testing.T) {
	secret := session.NewSecret()
	path := filepath.Join(t.TempDir(), "register.db")
	s := onFile(t, path, func(c *server.Config, _ *server.Deps) { c.SetUp = secret })
	b := s.browser()
	to(t, b.get("/machines"), "/sign-in?next=%2Fmachines")
	testkit.HTML(t, want(t, b.get("/sign-in?next=%2Fmachines"), 200).Body, testkit.In(".verdict", testkit.Text("Nobody can sign in here yet")), testkit.In("main", testkit.Text("console")), testkit.HasNot("#password"))
	for _, wrong := range []string{"x", strings.ToUpper(secret), secret[:51], secret + "x", "%00"} {
		want(t, b.get("/set-up/"+wrong), 404)
		want(t, b.post("/set-up/"+wrong, "name", "A. Moor", "password", password, "again", password), 404)
	}
	page := testkit.HTML(t, want(t, b.get("/set-up/"+secret), 200).Body, testkit.Has("#password[autocomplete=new-password]"), testkit.Has("#again[autocomplete=new-password]"))
	for _, c := range []struct{ why, name, password, again, at string }{
		{"no name", "", password, password, "#name-error"},
		{"too short", "A. Moor", "short", "short", "#password-error"},
		{"two different", "A. Moor", password, password + "x", "#again-error"},
		{"a common one", "A. Moor", "password1234", "password1234", "#password-error"},
		{"the own name", "A. Moor", "long a. moor long", "long a. moor long", "#password-error"},
	} {
		r := want(t, b.post("/set-up/"+secret, typed(t, page, "name", c.name, "password", c.password, "again", c.again)...), 422)
		text := body(t, r)
		testkit.HTML(t, strings.NewReader(text), testkit.Has(c.at))
		if strings.Contains(text, `value="`+c.password) {
			t.Errorf("%s: the page sends the password back", c.why)
		}
	}
	to(t, b.post("/set-up/"+secret, typed(t, page, "name", "A. Moor", "password", password, "again", password)...), "/")
	testkit.HTML(t, want(t, b.get("/people"), 200).Body, testkit.In("main", testkit.Text("A. Moor"), testkit.Text("manager at all sites")))
	want(t, b.get("/set-up/"+secret), 404)
	want(t, s.browser().post("/set-up/"+secret, "name", "B. Ruhr", "password", password, "again", password), 404)
	// And it stays dead, though nobody can sign in any more.
	s.behind("UPDATE credentials SET password_hash = ''")
	want(t, s.browser().get("/set-up/"+secret), 404)
	if log := s.log.String(); strings.Contains(log, secret) || strings.Contains(log, password) {
		t.Error("the log holds a secret")
	}
	none := serve(t, openStore(t, filepath.Join(t.TempDir(), "register.db")))
	want(t, none.browser().get("/set-up/"), 404)
}

func TestWelcome_SomebodyChoosesTheirOwnPassword(t *testing.T) {
	s := empty(t)
	s.person("Boss", everywhere...)
	b := s.browser()
	b.signIn("Boss")
	page := testkit.HTML(t, want(t, b.get("/people/new"), 200).Body)
	r := b.post("/people/new", typed(t, page, "name", "B. Ruhr", "role-0", "fitter")...)
	at := strings.TrimSuffix(r.Header.Get("Location"), "?done=person-added")
	want(t, b.get(at), 200)
	shown := testkit.HTML(t, want(t, b.post(at+"/invite"), 200).Body)
	address := testkit.TextOf(testkit.Find(shown, "main code")[0])
	path := strings.TrimPrefix(address, "http://"+addr)
	if !strings.HasPrefix(path, "/welcome/") || len(path) < 60 {
		t.Fatalf("the address is %q", address)
	}
	other := s.browser()
	form := testkit.HTML(t, want(t, other.get(path), 200).Body, testkit.Has("#name[readonly][autocomplete=username]"), testkit.In("h1", testkit.Text("Choose your password")))
	want(t, other.post(path, typed(t, form, "password", "short", "again", "short")...), 422)
	to(t, other.post(path, typed(t, form, "password", "wooden shelf river", "again", "wooden shelf river")...), "/")
	testkit.HTML(t, want(t, other.get("/me/sign-in"), 200).Body, testkit.In("dl.facts", testkit.Text("B. Ruhr"), testkit.Text("fitter at all sites")))
	want(t, s.browser().get(path), 404)
	want(t, s.browser().post(path, "password", "wooden shelf rivers", "again", "wooden shelf rivers"), 404)
	to(t, s.browser().post("/sign-in", "name", "b. ruhr", "password", "wooden shelf river"), "/")
	if log := s.log.String(); strings.Contains(log, path) || strings.Contains(log, "wooden shelf") {
		t.Error("the log holds a secret")
	}
}
