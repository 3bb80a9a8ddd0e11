package server_test

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

func TestRights_EveryRouteHasARow(t *testing.T) {
	s := empty(t).server
	open := []string{"/sign-in", "/sign-in/pin", "/sign-out", "/set-up/:secret", "/welcome/:secret"} // of whoever is not known yet
	reads := "/api/v1/laylines"                                                                      // reads what is sent, and keeps nothing
	rows := map[string]string{}
	for _, r := range s.Routes() {
		if r.Right == "" {
			t.Errorf("%s %s has no right", r.Method, r.Path)
		}
		rows[r.Method+" "+r.Path] = r.Right
		if r.Method == http.MethodGet {
			rows[http.MethodHead+" "+r.Path] = r.Right
		}
		if r.Method != http.MethodGet && r.Path != reads && (r.Right == "see" || r.Right == "anyone" && !slices.Contains(open, r.Path)) {
			t.Errorf("%s %s changes something and needs only the right to %s", r.Method, r.Path, r.Right)
		}
	}
	known := s.EchoRoutes()
	for _, r := range known {
		if rows[r] == "" {
			t.Errorf("route %s is not in the table of rights", r)
		}
	}
	if len(known) < 40 {
		t.Errorf("the router knows %d routes only", len(known))
	}
}

func TestHost_OnlyOurOwnAreAnswered(t *testing.T) {
	public, err := url.Parse("https://Hoses.example.org")
	if err != nil {
		t.Fatal(err)
	}
	plain, behind := empty(t), empty(t, func(c *server.Config, _ *server.Deps) { c.PublicURL = public })
	for _, c := range []struct {
		why    string
		on     *site
		host   string
		status int
	}{
		{"the listen address", plain, "127.0.0.1:8460", 200},
		{"another name of loopback", plain, "localhost:8460", 200},
		{"loopback by IPv6", plain, "[::1]:8460", 200},
		{"upper case is the same name", plain, "LOCALHOST:8460", 200},
		{"another port", plain, "127.0.0.1:8461", 421},
		{"no port", plain, "localhost", 421},
		{"a name that was made to point here", plain, "evil.example:8460", 421},
		{"a name that only begins like ours", plain, "localhost:8460.evil.example", 421},
		{"none at all", plain, "", 421},
		{"the public URL, where there is none", plain, "hoses.example.org", 421},
		{"the public URL", behind, "hoses.example.org", 200},
		{"the public URL with its standard port", behind, "hoses.example.org:443", 200},
		{"the public URL with another port", behind, "hoses.example.org:8443", 421},
	} {
		for _, path := range []string{"/", "/nowhere"} {
			r := httptest.NewRequest(http.MethodGet, path, nil)
			r.Host = c.host
			resp := c.on.do(r)
			status := c.status
			if path == "/nowhere" && status == 200 {
				status = 404
			}
			if resp.StatusCode != status {
				t.Errorf("%s (%q) at %s: %d, want %d", c.why, c.host, path, resp.StatusCode, status)
			}
			if c.status == 421 && strings.Contains(body(t, resp), "This register is empty") {
				t.Errorf("%s: a foreign host reads the register", c.why)
			}
		}
	}
}

func TestCrossOrigin_ChangesFromElsewhereAreDenied(t *testing.T) {
	public, _ := url.Parse("https://hoses.example.org")
	s := empty(t, func(c *server.Config, _ *server.Deps) { c.PublicURL = public })
	for i, c := range []struct {
		why, site, origin, host string
		denied                  bool
	}{
		{"a form of ours", "same-origin", "http://" + addr, addr, false},
		{"a form of a page elsewhere", "cross-site", "https://evil.example", addr, true},
		{"a form of another page on this computer", "same-site", "http://127.0.0.1:9999", addr, true},
		{"an old browser, a page elsewhere", "", "https://evil.example", addr, true},
		{"an old browser, ours", "", "http://" + addr, addr, false},
		{"no browser at all", "", "", addr, false},
		{"ours behind a proxy", "same-origin", "https://hoses.example.org", "hoses.example.org", false},
	} {
		code := "M-" + string(rune('A'+i))
		form := url.Values{"code": {code}, "site": {"Depot"}}
		r := httptest.NewRequest(http.MethodPost, "/machines/new", strings.NewReader(form.Encode()))
		r.Host = c.host
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if c.site != "" {
			r.Header.Set("Sec-Fetch-Site", c.site)
		}
		if c.origin != "" {
			r.Header.Set("Origin", c.origin)
		}
		resp := s.do(r)
		codes, err := s.store.MachineCodes(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if added := slices.Contains(codes, code); added == c.denied || c.denied != (resp.StatusCode == 403) {
			t.Errorf("%s: status %d, machine added: %v", c.why, resp.StatusCode, added)
		}
		if c.denied {
			testkit.HTML(t, resp.Body, testkit.In(".verdict", testkit.Text("Nothing was changed")))
		}
	}
}

func TestHeaders_EveryAnswerIsGuarded(t *testing.T) {
	s := empty(t)
	static := testkit.AttrOf(testkit.Find(testkit.HTML(t, s.get("/").Body), "link[rel=stylesheet]")[0], "href")
	for path, status := range map[string]int{"/": 200, "/nowhere": 404, static: 200, "/due.csv": 200, "/machines/none": 404} {
		h := want(t, s.get(path), status).Header
		for name, value := range map[string]string{
			"Content-Security-Policy": "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
			"X-Content-Type-Options":  "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
		} {
			if h.Get(name) != value {
				t.Errorf("%s: %s is %q, want %q", path, name, h.Get(name), value)
			}
		}
		if h.Get("X-Request-Id") == "" {
			t.Errorf("%s: no request id", path)
		}
		wantCache := "no-store"
		if path == static {
			wantCache = "public, max-age=31536000, immutable"
		}
		if h.Get("Cache-Control") != wantCache {
			t.Errorf("%s: Cache-Control %q, want %q", path, h.Get("Cache-Control"), wantCache)
		}
	}
}

func TestStatic_NothingButTheFiles(t *testing.T) {
	s := empty(t)
	href := testkit.AttrOf(testkit.Find(testkit.HTML(t, s.get("/").Body), "link[rel=stylesheet]")[0], "href")
	dir := href[:strings.LastIndexByte(href, '/')]
	for path, status := range map[string]int{
		href: 200, dir + "/sheet.js": 200, dir + "/icon.svg": 200,
		dir + "/": 404, dir: 404, dir + "/../../go.mod": 404, dir + "/%2e%2e/templates/layout.html": 404, "/static/0000/sheet.css": 404, dir + "/nothing.css": 404,
	} {
		if got := s.get(path).StatusCode; got != status {
			t.Errorf("%s: %d, want %d", path, got, status)
		}
	}
	if strings.Contains(body(t, s.get(dir+"/sheet.css")), "http") {
		t.Error("the style sheet asks for something elsewhere")
	}
}

func TestBody_TooLargeIsRefusedInOneSentence(t *testing.T) {
	s := empty(t)
	resp := want(t, s.post("/machines/new", "code", "A", "site", "B", "note", strings.Repeat("x", 300<<10)), 413)
	testkit.HTML(t, resp.Body, testkit.In(".verdict", testkit.Text("larger than the 256 kB taken here")))
	if codes, _ := s.store.MachineCodes(t.Context()); len(codes) != 0 {
		t.Errorf("added %v", codes)
	}
}

// brokenStore is a register whose lists fail.
type brokenStore struct {
	server.Store
	fail func()
}

func (b brokenStore) JobRuns(context.Context, int) ([]register.JobRun, error) {
	b.fail()
	return nil, errors.New(`pq: password "hunter2" of relation jobs`)
}

func TestErrors_UnforeseenOnesTellNothing(t *testing.T) {
	for name, fail := range map[string]func(){"an error": func() {}, "a panic": func() { panic("hunter2 in a panic") }} {
		t.Run(name, func(t *testing.T) {
			s := empty(t, func(_ *server.Config, d *server.Deps) { d.For = only(brokenStore{d.For(register.AllSites()), fail}) })
			resp := want(t, s.get("/jobs"), 500)
			id := resp.Header.Get("X-Request-Id")
			page := body(t, resp)
			if strings.Contains(page, "hunter2") || strings.Contains(page, "goroutine") {
				t.Errorf("the page tells what only operators may know: %s", page)
			}
			testkit.HTML(t, strings.NewReader(page), testkit.In("h1", testkit.Text("Something went wrong")), testkit.In(".verdict", testkit.Text(id)))
			if log := s.log.String(); !strings.Contains(log, "hunter2") || !strings.Contains(log, id) || !strings.Contains(log, "level=ERROR") {
				t.Errorf("the log does not tell: %s", log)
			}
			want(t, s.get("/"), 500) // Today asks for jobs too
			want(t, s.get("/machines"), 200)
		})
	}
}

func TestErrors_EachCodeHasItsStatus(t *testing.T) {
	table := server.StatusOfCode()
	for code, status := range map[register.Code]int{
		register.Invalid: 422, register.NotFound: 404, register.Exists: 409, register.Conflict: 409, register.Refused: 409, register.TooLarge: 413, register.Forbidden: 403, register.KeyTaken: 422,
	} {
		if table[code] != status {
			t.Errorf("%s is %d, want %d", code, table[code], status)
		}
	}
	if len(table) != 8 {
		t.Errorf("%d codes in the table", len(table))
	}
}

func TestLog_OneLinePerRequest(t *testing.T) {
	s := empty(t)
	s.get("/due?text=x")
	lines := strings.Split(strings.TrimSpace(s.log.String()), "\n")
	if len(lines) != 1 || !strings.Contains(lines[0], "path=/due") || !strings.Contains(lines[0], "status=200") || !strings.Contains(lines[0], "from=192.0.2.1") {
		t.Errorf("log: %q", lines)
	}
	// A header that claims another address is not believed.
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	r.Header.Set("X-Forwarded-For", "6.6.6.6")
	s.do(r)
	if strings.Contains(s.log.String(), "6.6.6.6") {
		t.Error("an address was taken from a header")
	}
}

func TestMethods_OnlyThoseOfTheTable(t *testing.T) {
	s := empty(t)
	r := httptest.NewRequest(http.MethodHead, "/", nil)
	if resp := s.do(r); resp.StatusCode != 200 {
		t.Errorf("HEAD / gives %d", resp.StatusCode)
	}
	if resp := s.do(httptest.NewRequest(http.MethodDelete, "/due", bytes.NewReader(nil))); resp.StatusCode != 405 {
		t.Errorf("DELETE /due gives %d, want 405", resp.StatusCode)
	}
}
