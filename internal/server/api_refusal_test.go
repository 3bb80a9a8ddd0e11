package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/server/api"
	"hoseward/web"
)

// problem is a refusal as the API tells it.
type problem struct {
	Type, Title, Detail, Instance string
	Status                        int
	Errors                        []struct{ Location, Message string }
	Current                       map[string]any
}

// problem is what was refused, checked for what every refusal has: its type is
// a heading of the manual, and no word is of a driver or of Go.
func (a asked) problem(t testing.TB) problem {
	t.Helper()
	var p problem
	if got := a.Header.Get("Content-Type"); got != "application/problem+json" {
		t.Fatalf("status %d has content type %q: %.500s", a.StatusCode, got, a.text)
	}
	if err := json.Unmarshal([]byte(a.text), &p); err != nil {
		t.Fatalf("%v: %s", err, a.text)
	}
	if p.Status != a.StatusCode || p.Title == "" || p.Detail == "" || p.Instance != "urn:request:"+a.Header.Get("X-Request-Id") {
		t.Errorf("status %d says %s", a.StatusCode, a.text)
	}
	if anchor, ok := strings.CutPrefix(p.Type, "/manual/api#"); !ok || !slices.Contains(api.ProblemKinds(), anchor) {
		t.Errorf("type %q is no heading of the manual", p.Type)
	}
	for _, word := range []string{"SQL", "sqlite", "gorm", "constraint", "json:", "goroutine", "unmarshal", "runtime", "strconv", "nil pointer"} {
		if strings.Contains(strings.ReplaceAll(a.text, p.Instance, ""), word) {
			t.Errorf("a refusal says %q: %s", word, a.text)
		}
	}
	return p
}

func TestAPI_KindsOfProblemsAreHeadingsOfTheManual(t *testing.T) {
	pages, err := web.Manual()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(pages, func(p web.ManualPage) bool { return p.Name == "api" })
	if i < 0 {
		t.Fatal("the manual has no page on the API")
	}
	html := string(web.Markdown(pages[i].Text))
	for _, kind := range api.ProblemKinds() {
		if !strings.Contains(html, `<h2 id="`+kind+`">`) {
			t.Errorf("the manual has no heading for %q", kind)
		}
	}
}

func TestAPI_SaysWhatIsWrongAndWhere(t *testing.T) {
	s := ownFleet(t)
	l := s.first(register.LineFilter{Status: life.StatusSoon})
	readings := seg("machines", l.MachineCode) + "/readings"
	good := `{"on":"2026-11-25","hours":99999}`
	before, _, err := s.store.VerifyChain(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, method, path, body string
		header                   []string
		status                   int
		kind, at                 string
	}{
		{name: "an address that is none", method: "GET", path: "/nothing", status: 404, kind: "not-found"},
		{name: "a method that is not taken", method: "DELETE", path: "/machines", status: 405, kind: "method-not-allowed"},
		{name: "a machine that is not there", method: "GET", path: "/machines/NO-SUCH", status: 404, kind: "not-found"},
		{name: "a number that is none", method: "GET", path: "/readings/one", status: 422, kind: "invalid", at: "path.id"},
		{name: "a row that is not there", method: "GET", path: "/readings/999999999", status: 404, kind: "not-found"},
		{name: "a number beyond counting", method: "GET", path: "/readings/99999999999999999999", status: 422, kind: "invalid", at: "path.id"},
		{name: "a query that is not known", method: "GET", path: "/due?within=30", status: 422, kind: "invalid", at: "query.within"},
		{name: "a filter that is none of the choices", method: "GET", path: "/due?status=late", status: 422, kind: "invalid", at: "query.status"},
		{name: "a page too large", method: "GET", path: "/due?limit=1001", status: 422, kind: "invalid", at: "query.limit"},
		{name: "a page of none", method: "GET", path: "/due?limit=0", status: 422, kind: "invalid", at: "query.limit"},
		{name: "a search for nothing", method: "GET", path: "/search", status: 422, kind: "invalid", at: "query.text"},
		{name: "no body", method: "POST", path: readings, body: "", status: 400, kind: "unreadable"},
		{name: "half a body", method: "POST", path: readings, body: `{"on":"2026-`, status: 400, kind: "unreadable", at: "body.on"},
		{name: "no JSON", method: "POST", path: readings, body: `on=2026-11-25`, status: 400, kind: "unreadable", at: "body"},
		{name: "two bodies", method: "POST", path: readings, body: good + good, status: 400, kind: "unreadable", at: "body"},
		{name: "a list in place of an object", method: "POST", path: readings, body: `[]`, status: 422, kind: "invalid", at: "body"},
		{name: "a form", method: "POST", path: readings, body: good, header: []string{"Content-Type", "application/x-www-form-urlencoded"}, status: 415, kind: "media-type", at: "header.Content-Type"},
		{name: "a name that is not known", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":1,"hrs":2}`, status: 422, kind: "invalid", at: "body.hrs"},
		{name: "a name in capitals", method: "POST", path: readings, body: `{"on":"2026-11-25","Hours":1}`, status: 400, kind: "unreadable", at: "body.Hours"},
		{name: "a name twice", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":1,"hours":2}`, status: 400, kind: "unreadable", at: "body.hours"},
		{name: "a value missing", method: "POST", path: readings, body: `{"on":"2026-11-25"}`, status: 422, kind: "invalid", at: "body"},
		{name: "a text for a number", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":"7"}`, status: 422, kind: "invalid", at: "body.hours"},
		{name: "a number for a text", method: "POST", path: readings, body: `{"on":20261125,"hours":7}`, status: 422, kind: "invalid", at: "body.on"},
		{name: "a day that is none", method: "POST", path: readings, body: `{"on":"2026-02-30","hours":7}`, status: 422, kind: "invalid", at: "body.on"},
		{name: "a day that lies ahead", method: "POST", path: readings, body: `{"on":"2026-11-26","hours":99999}`, status: 422, kind: "invalid", at: "body.on"},
		{name: "a number that is not a number", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":NaN}`, status: 400, kind: "unreadable", at: "body.hours"},
		{name: "a number beyond all numbers", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":1e999}`, status: 400, kind: "unreadable", at: "body.hours"},
		{name: "more hours than there are", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":1e300}`, status: 422, kind: "invalid", at: "body.hours"},
		{name: "bytes that are no letters", method: "POST", path: readings, body: "{\"on\":\"2026-11-25\",\"hours\":1,\"note\":\"\xff\"}", status: 400, kind: "unreadable", at: "body"},
		{name: "a control character", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":99999,"note":"a\u0000b"}`, status: 422, kind: "invalid", at: "body.note"},
		{name: "nested without end", method: "POST", path: readings, body: strings.Repeat("[", 100000), status: 400, kind: "unreadable"},
		{name: "a falling hour meter", method: "POST", path: readings, body: `{"on":"2026-11-25","hours":1}`, status: 409, kind: "refused", at: "body.hours"},
		{name: "a key of two lines", method: "POST", path: readings, body: good, header: []string{"Idempotency-Key", "a\tb"}, status: 422, kind: "invalid", at: "header.Idempotency-Key"},
		{name: "a key too long", method: "POST", path: readings, body: good, header: []string{"Idempotency-Key", strings.Repeat("k", 201)}, status: 422, kind: "invalid", at: "header.Idempotency-Key"},
		{name: "one of many", method: "POST", path: "/readings", body: `{"items":[{"machine":"` + l.MachineCode + `","on":"2026-11-25","hours":99999},{"machine":"NO","on":"2026-11-25","hours":1}]}`, status: 422, kind: "invalid", at: "body.items[1].machine"},
		{name: "the second of many, by a rule", method: "POST", path: "/readings", body: fmt.Sprintf(`{"items":[{"machine":%q,"on":"2026-11-25","hours":%v},{"machine":%q,"on":"2026-11-24","hours":3}]}`, l.MachineCode, s.nextHours(l.MachineCode), l.MachineCode), status: 409, kind: "refused", at: "body.items[1].hours"},
		{name: "a code that is taken", method: "POST", path: "/machines", body: fmt.Sprintf(`{"code":%q,"site":%q,"can_hurt":false}`, strings.ToLower(l.MachineCode), l.Site), status: 409, kind: "exists", at: "body.code"},
		{name: "a value within a value", method: "POST", path: seg("machines", l.MachineCode) + "/conditions", body: `{"from":"2026-01-01","basis":"assumed","service":{"cycles":[{"min_bar":9,"max_bar":8,"count":1}]}}`, status: 422, kind: "invalid", at: "body.service.cycles[0].max_bar"},
		{name: "sound with a finding", method: "POST", path: seg("machines", l.MachineCode, "positions", l.Position) + "/inspections", body: `{"on":"2026-11-25","verdict":"sound","findings":[{"number":1,"class":"stop"}]}`, status: 422, kind: "invalid", at: "body.verdict"},
		{name: "no verdict", method: "POST", path: seg("machines", l.MachineCode, "positions", l.Position) + "/inspections", body: `{"on":"2026-11-25"}`, status: 422, kind: "invalid", at: "body"},
		{name: "a swap of what is not there", method: "POST", path: seg("machines", l.MachineCode, "positions", l.Position) + "/swap", body: `{"on":"2026-11-25","off":{"assembly":"OTHER","cause":"heat","found_by":"event","scrapped":true},"assembly":"` + inStore + `"}`, status: 409, kind: "conflict", at: "body.off.assembly"},
		{name: "a cursor that is none", method: "GET", path: "/due?cursor=abc", status: 400, kind: "unreadable", at: "query.cursor"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var body any
			if c.method != "GET" && c.method != "DELETE" {
				body = c.body
			}
			a := s.api(c.method, c.path, body, c.header...)
			p := a.problem(t)
			if p.Status != c.status || p.Type != "/manual/api#"+c.kind {
				t.Errorf("status %d, type %s, want %d %s: %s", p.Status, p.Type, c.status, c.kind, a.text)
			}
			if c.at != "" && (len(p.Errors) == 0 || p.Errors[0].Location != c.at || p.Errors[0].Message == "") {
				t.Errorf("wrong at %+v, want %s", p.Errors, c.at)
			}
			if after, _, err := s.store.VerifyChain(t.Context()); err != nil || after != before {
				t.Errorf("a refused request changed something: %v", err)
			}
		})
	}
}

func TestAPI_RefusesWhatIsTooLarge(t *testing.T) {
	s := ownFleet(t)
	l := s.first(register.LineFilter{})
	body := `{"on":"2026-11-25","hours":99999,"note":"` + strings.Repeat("x", api.MaxBody) + `"}`
	p := s.api(http.MethodPost, seg("machines", l.MachineCode)+"/readings", body).problem(t)
	if p.Status != http.StatusRequestEntityTooLarge || p.Type != "/manual/api#too-large" {
		t.Errorf("a body of more than 1 MB: %+v", p)
	}
	items := make([]j, 1001)
	for i := range items {
		items[i] = j{"machine": l.MachineCode, "on": "2026-11-25", "hours": 99999}
	}
	if p := s.api(http.MethodPost, "/readings", j{"items": items}).problem(t); p.Status != http.StatusUnprocessableEntity || p.Errors[0].Location != "body.items" {
		t.Errorf("1001 readings: %+v", p)
	}
	// Just below either limit it is taken.
	note := strings.Repeat("x", 4000)
	s.apply(register.AddMachine{Site: l.Site, Code: "LARGE"})
	list := make([]j, 250)
	for i := range list {
		list[i] = j{"machine": "LARGE", "on": now.AddDate(0, 0, i-249).Format(time.DateOnly), "hours": 90000 + i, "note": note}
	}
	s.api(http.MethodPost, "/readings", j{"items": list}).says(t, http.StatusOK, nil)
}

func TestAPI_AsksWhoAndRefusesPagesElsewhere(t *testing.T) {
	s := fullFleet(t)
	out := s.signedOut()
	for _, header := range [][]string{nil, {"Authorization", "Bearer hw_wrong"}, {"Authorization", "Basic abc"}, {"Authorization", "Bearer"}} {
		a := out.api(http.MethodGet, "/due", nil, header...)
		if p := a.problem(t); p.Status != http.StatusUnauthorized || a.Header.Get("WWW-Authenticate") != "Bearer" || p.Type != "/manual/api#unauthorized" {
			t.Errorf("%v: %s %v", header, a.text, a.Header)
		}
	}
	// A token that does not count is not made up for by a session.
	if a := s.api(http.MethodGet, "/due", nil, "Authorization", "Bearer hw_wrong"); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("a wrong token beside a session: %d", a.StatusCode)
	}
	a := s.api(http.MethodPost, "/laylines", j{"text": "2SN"}, "Sec-Fetch-Site", "cross-site")
	if p := a.problem(t); p.Status != http.StatusForbidden {
		t.Errorf("a page elsewhere: %+v", p)
	}
	r := httptest.NewRequest(http.MethodGet, "/api/v1/due", nil)
	r.Host = "elsewhere.example"
	answer := s.do(r)
	if p := (asked{answer, body(t, answer)}).problem(t); p.Status != http.StatusMisdirectedRequest {
		t.Errorf("another host: %+v", p)
	}
	for _, path := range []string{"/api", "/api/", "/api/v2/due", "/api/v1", "/api/v1/"} {
		answer := s.get(path)
		if p := (asked{answer, body(t, answer)}).problem(t); p.Status != http.StatusNotFound {
			t.Errorf("%s: %+v", path, p)
		}
	}
}

func TestAPI_TellsWhoAsksTooOften(t *testing.T) {
	s := empty(t, func(c *server.Config, _ *server.Deps) {
		few := *c.Limits
		few.Person = server.Rate{Every: time.Hour, Burst: 2}
		c.Limits = &few
	})
	for range 2 {
		s.api(http.MethodGet, "/sites", nil).says(t, http.StatusOK, nil)
	}
	a := s.api(http.MethodGet, "/sites", nil)
	if p := a.problem(t); p.Status != http.StatusTooManyRequests || p.Type != "/manual/api#too-many" || a.Header.Get("Retry-After") == "" {
		t.Errorf("a third request: %+v %v", p, a.Header)
	}
}

// panicStore is a register that breaks.
type panicStore struct{ server.Store }

// Sites panics.
func (panicStore) Sites(context.Context) ([]register.Site, error) {
	panic("goroutine trouble in sqlite")
}

func TestAPI_TellsOfAPanicWithoutItsWords(t *testing.T) {
	s := empty(t, func(_ *server.Config, d *server.Deps) {
		whole := d.For(register.AllSites())
		d.For = only(panicStore{whole})
	})
	if p := s.api(http.MethodGet, "/sites", nil).problem(t); p.Status != http.StatusInternalServerError || p.Type != "/manual/api#failed" {
		t.Errorf("%+v", p)
	}
	if !strings.Contains(s.log.String(), "goroutine trouble") {
		t.Error("the log says nothing of the panic")
	}
}

// TestAPI_HostileBodiesAreRefused sends pieces of JSON thrown together to every
// operation that takes a body: it must never break or take a half of it.
func TestAPI_HostileBodiesAreRefused(t *testing.T) {
	s := ownFleet(t)
	l := s.first(register.LineFilter{})
	var targets []asking
	for _, r := range s.server.Routes() {
		if strings.HasPrefix(r.Path, api.Prefix) && r.Method != http.MethodGet {
			path := strings.NewReplacer(":machine", seg(l.MachineCode)[1:], ":position", seg(l.Position)[1:], ":assembly", l.AssemblyCode, ":id", "1", ":circuit", seg(l.Circuit)[1:]).Replace(strings.TrimPrefix(r.Path, api.Prefix))
			targets = append(targets, asking{r.Method, path})
		}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 1500 {
		target := targets[i%len(targets)]
		s.hostile(t, target, hostileBody(rng, 0))
	}
}

type asking struct{ method, path string }

func (s *site) hostile(t *testing.T, to asking, body string) {
	t.Helper()
	a := s.api(to.method, to.path, body)
	switch {
	case a.StatusCode >= 500:
		t.Errorf("%s %s of %q: %d %s", to.method, to.path, body, a.StatusCode, a.text)
	case a.StatusCode >= 400:
		a.problem(t)
	}
}

// hostileBody is JSON, or nearly, of names the API knows and values it may not
// take.
func hostileBody(rng *rand.Rand, depth int) string {
	pick := func(all []string) string { return all[rng.IntN(len(all))] }
	names := []string{
		"on", "hours", "version", "reason", "code", "site", "name", "items", "machine", "position", "service", "cycles", "findings", "number", "class", "verdict", "off", "new",
		"assembly", "from", "to", "removal", "names", "id", "__proto__", "", "é", "on ", "ON",
	}
	values := []string{
		"null", "true", "0", "-0", "-1", "1e308", "1e309", "1E-400", "0.1", "9007199254740993", "18446744073709551616", "NaN", "Infinity", `""`, `"2026-11-25"`, `"0000-00-00"`, `"9999-12-31"`,
		`"\u0000"`, `"\ud800"`, `"\u202e"`, "\"\xff\"", `"' OR 1=1 --"`, `"<script>"`, `"stop"`, `"sound"`, `"` + strings.Repeat("a", 5000) + `"`, "[]", "{}", "[[[]]]", "'a'", "", "1 2", "// c",
	}
	if depth > 4 || rng.IntN(3) == 0 {
		return pick(values)
	}
	var parts []string
	for range rng.IntN(6) {
		if rng.IntN(8) == 0 {
			parts = append(parts, hostileBody(rng, depth+1))
			continue
		}
		name, _ := json.Marshal(pick(names))
		parts = append(parts, string(name)+":"+hostileBody(rng, depth+1))
	}
	return "{" + strings.Join(parts, ",") + "}"
}

func FuzzAPI_Bodies(f *testing.F) {
	for _, seed := range []string{`{"on":"2026-11-25","hours":99999}`, `{"items":[{"machine":"RT-01","on":"2026-11-25","hours":1}]}`, `{"text":"EN 853 2SN DN 12"}`, `[`, `{"a":1e999}`, "null"} {
		f.Add(seed, uint8(0))
	}
	s := fullFleet(f)
	l := s.first(register.LineFilter{})
	machine := seg("machines", l.MachineCode)
	targets := []asking{
		{http.MethodPost, machine + "/readings?dry_run=true"},
		{http.MethodPost, "/readings?dry_run=true"},
		{http.MethodPost, "/laylines"},
		{http.MethodPost, machine + "/conditions?dry_run=true"},
		{http.MethodPut, seg("assemblies", l.AssemblyCode) + "?dry_run=true"},
		{http.MethodPost, machine + seg("positions", l.Position) + "/swap?dry_run=true"},
		{http.MethodPost, machine + seg("positions", l.Position) + "/inspections?dry_run=true"},
		{http.MethodPut, machine + "?dry_run=true"},
		{http.MethodPut, "/fittings/1?dry_run=true"},
	}
	f.Fuzz(func(t *testing.T, text string, which uint8) {
		s := *s
		s.t = t
		s.hostile(t, targets[int(which)%len(targets)], text)
	})
}
