package server_test

import (
	"database/sql"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit/marked"
	"hoseward/web"
)

// Two sites whose every text has their mark in it.
var (
	alder = marked.Site{Mark: "ALDER", Today: quantity.DateOf(now, time.UTC)}
	birch = marked.Site{Mark: "BIRCH", Today: quantity.DateOf(now, time.UTC)}
)

// markedSites is a register of both, with one more of what belongs to no site.
func markedSites(t testing.TB, settings ...setting) *site {
	t.Helper()
	file := filepath.Join(t.TempDir(), "register.db")
	s := serve(t, openStore(t, file), settings...)
	s.file = file
	s.apply(alder.Fill()...)
	s.apply(birch.Fill()...)
	policy := life.NormalDemand()
	policy.Name = ownPolicy
	fluid := 60.0
	s.apply(register.AddPolicy{Policy: register.Policy{Policy: policy, Source: "own"}},
		register.AddKindPosition{Kind: marked.Kind, Position: register.KindPosition{Name: usual}},
		register.SetDuty{Kind: marked.Kind, Circuit: "lift", Service: register.Service{FluidC: &fluid}})
	if _, err := s.store.ReestimateAll(t.Context(), now, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	if err := s.store.NoteKnown(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	return s
}

// personWith adds a person with roles and is the browser in which they signed in.
func (s *site) personWith(name string, roles ...register.GivenRole) *site {
	s.t.Helper()
	return s.as(s.apply(register.AddPerson{Name: name, Roles: roles}).PersonID)
}

// outside changes the register as nothing in the program does.
func (s *site) outside(query string) {
	s.t.Helper()
	db, err := sql.Open("sqlite", "file:"+s.file+"?_pragma=busy_timeout(5000)")
	if err != nil {
		s.t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(query); err != nil {
		s.t.Fatal(err)
	}
}

// params fills the parts of addresses that begin with a colon with things of a
// site: by the part before it and its own name.
type params map[string]string

// paramsOf are the things of a site. person is somebody of the site.
func (s *site) paramsOf(of marked.Site, person int64) params {
	s.t.Helper()
	machine, err := s.store.MachineSheet(s.t.Context(), now, of.Machine())
	if err != nil {
		s.t.Fatal(err)
	}
	hose, err := s.store.AssemblySheet(s.t.Context(), now, of.Fitted())
	if err != nil {
		s.t.Fatal(err)
	}
	machineCode, fitted := of.Machine(), of.Fitted()
	p := params{
		"machines/:code": machineCode, "machines/:machine": machineCode,
		"assemblies/:code": fitted, "assemblies/:assembly": fitted,
		"assemblies/:code/fit": of.Stored(), "assemblies/:code/scrap": of.Stored(),
		"sites/:name": of.Name(), "sites/:site": of.Name(),
		"positions/:name": of.Position(), "positions/:position": of.Position(), "circuits/:circuit": of.Circuit(),
		"lay-ups/:id": number(machine.LayUps[0].ID), "readings/:id": number(machine.Readings[0].ID), "meter-events/:id": number(machine.MeterEvents[0].ID),
		"conditions/:id": number(machine.Conditions[0].ID), "fittings/:id": number(hose.Placements[0].Placement.ID),
		"inspections/:id": number(hose.Inspections[0].ID), "findings/:id": number(hose.Open[0].ID),
		"people/:id": number(person), "tokens/:token": "1",
	}
	for thing, id := range map[register.Thing]int64{
		register.ThingReading: machine.Readings[0].ID, register.ThingMeterEvent: machine.MeterEvents[0].ID, register.ThingLayUp: machine.LayUps[0].ID,
		register.ThingConditions: machine.Conditions[0].ID, register.ThingPlacement: hose.Placements[0].Placement.ID,
		register.ThingInspection: hose.Inspections[0].ID, register.ThingFinding: hose.Open[0].ID,
	} {
		p["correct "+string(thing)] = number(id)
	}
	row, err := s.store.Site(s.t.Context(), of.Name())
	if err != nil {
		s.t.Fatal(err)
	}
	for path, id := range map[string]int64{
		"site": row.ID, "machine": machine.Machine.ID, "circuit": machine.Circuits[0].ID, "assembly": hose.Assembly.ID, "position": hose.Placements[0].Placement.PositionID,
		"placement": hose.Placements[0].Placement.ID, "reading": machine.Readings[0].ID, "meter-event": machine.MeterEvents[0].ID, "lay-up": machine.LayUps[0].ID,
		"conditions": machine.Conditions[0].ID, "inspection": hose.Inspections[0].ID, "finding": hose.Open[0].ID,
	} {
		p["history "+path] = number(id)
	}
	s.ofNoSite(p)
	return p
}

// ofNoSite fills in what belongs to no site, the same for all.
func (s *site) ofNoSite(p params) {
	s.t.Helper()
	kind, err := s.store.Kind(s.t.Context(), marked.Kind)
	if err != nil {
		s.t.Fatal(err)
	}
	policies, err := s.store.Policies(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	for _, policy := range policies {
		if policy.Name == ownPolicy {
			p["policies/:id"] = number(policy.ID)
		}
	}
	p["kinds/:name"], p["kinds/:kind"] = marked.Kind, marked.Kind
	p["kinds/:name/positions/:id"], p["kinds/:name/duties/:id"] = number(kind.Positions[0].ID), number(kind.Duties[0].ID)
	p["manual/:page"], p["import/:id"], p["imports/:number"], p["acts/:id"], p["lists/:id"], p["devices/:id"] = "import", strings.Repeat("0", 64), "1", "1", "1", "1"
	p["set-up/:secret"], p["welcome/:secret"] = "nothing", "nothing"
}

// never are things that are nowhere, for all params of a site.
func never(of params) params {
	none := maps.Clone(of)
	for key, value := range of {
		switch {
		case strings.Contains(value, "ALDER") || strings.Contains(value, "BIRCH"):
			none[key] = strings.NewReplacer("ALDER", "NEVER", "BIRCH", "NEVER").Replace(value)
		case strings.HasPrefix(key, "correct ") || strings.HasPrefix(key, "history ") || slices.Contains([]string{
			"lay-ups/:id", "readings/:id", "meter-events/:id", "conditions/:id", "fittings/:id", "inspections/:id", "findings/:id", "people/:id",
		}, key):
			none[key] = "987654"
		}
	}
	return none
}

// addresses are a route's with the params filled in: one, or for corrections
// one for each thing. A part that nothing fills is a mistake of whoever added
// the route.
func (p params) addresses(t *testing.T, path string) map[string]register.Right {
	t.Helper()
	if strings.HasPrefix(path, "/correct/:thing/:id") {
		all := map[string]register.Right{}
		for thing, need := range map[register.Thing]register.Right{
			register.ThingReading: register.RightNote, register.ThingMeterEvent: register.RightNote, register.ThingFinding: register.RightNote,
			register.ThingInspection: register.RightInspect, register.ThingPlacement: register.RightFit,
			register.ThingLayUp: register.RightPlan, register.ThingConditions: register.RightPlan,
		} {
			all[web.Path("correct", string(thing), p["correct "+string(thing)])] = need
		}
		return all
	}
	if path == "/history/:thing/:id" {
		all := map[string]register.Right{}
		for key, id := range p {
			if thing, ok := strings.CutPrefix(key, "history "); ok {
				all[web.Path("history", thing, id)] = ""
			}
		}
		return all
	}
	names := strings.Split(strings.TrimPrefix(path, "/"), "/")
	parts := slices.Clone(names)
	for i, part := range names {
		if !strings.HasPrefix(part, ":") {
			continue
		}
		value := ""
		for from := 0; from < i && value == ""; from++ { // the longest that is known and is about this part
			for to := len(names); to > i && value == ""; to-- {
				if !strings.Contains(strings.Join(names[i+1:to], "/"), ":") {
					value = p[strings.Join(names[from:to], "/")]
				}
			}
		}
		if value == "" {
			t.Errorf("%s: no example of %s; add one to paramsOf in rights_walk_test.go", path, part)
			value = "missing"
		}
		parts[i] = value
	}
	return map[string]register.Right{strings.Replace(web.Path(parts...), "%2A", "*", 1): ""}
}

// ofAll reports whether a route changes what belongs to no site: who manages
// some sites may not.
func ofAll(r server.Route) bool {
	if r.Right != string(register.RightManage) {
		return false
	}
	return r.Path == "/sites/new" || strings.HasPrefix(r.Path, "/kinds/") || strings.HasPrefix(r.Path, "/policies/") || strings.HasPrefix(r.Path, "/register.")
}

// aboutPeople are decided by who manages whom; tests of people hold what the
// pages say, the walk only who comes in.
func aboutPeople(path string) bool {
	return strings.HasPrefix(path, "/people") || strings.HasPrefix(path, "/programs")
}

// asker is somebody who asks for every route.
type asker struct {
	name  string
	site  *site
	roles register.PersonRoles // as the one table of roles sees them
	known bool
}

// ask sends one request: a form, or JSON to the API, with nothing in it.
func (a asker) ask(method, address string) *http.Response {
	r := httptest.NewRequest(method, address, http.NoBody)
	if method != http.MethodGet && method != http.MethodHead {
		kind := "application/x-www-form-urlencoded"
		if strings.HasPrefix(address, "/api/") {
			kind = "application/json"
			r = httptest.NewRequest(method, address, strings.NewReader("{}"))
		}
		r.Header.Set("Content-Type", kind)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	return a.site.do(r)
}

// expect says what is wrong with the answer to an asker, who asks for a thing
// of a site, or of none; empty if nothing is.
func (a asker) expect(r server.Route, extra register.Right, siteID int64, theirs bool, status int) string {
	must := func(want ...int) string {
		if slices.Contains(want, status) {
			return ""
		}
		return fmt.Sprintf("answers %d, want %v", status, want)
	}
	need := register.Right(r.Right)
	api := strings.HasPrefix(r.Path, "/api/")
	switch {
	case status >= 500:
		return fmt.Sprintf("answers %d", status)
	case need == register.RightAnyone:
		return ""
	case !a.known && (api || r.Method != http.MethodGet):
		return must(http.StatusUnauthorized)
	case !a.known:
		return must(http.StatusSeeOther)
	case !a.roles.Anywhere(need):
		return must(http.StatusForbidden)
	case ofAll(r) && !a.roles.Everywhere(need):
		return must(http.StatusForbidden)
	case aboutPeople(r.Path) && !a.roles.Everywhere(need):
		return ""
	case theirs && api && r.Method != http.MethodGet: // what is sent is looked at first; see the comparison with what never was
		return ""
	case theirs:
		return must(http.StatusNotFound)
	case extra != "" && !a.roles.At(siteID, extra):
		return must(http.StatusForbidden)
	case status == http.StatusUnauthorized || status == http.StatusForbidden:
		return fmt.Sprintf("answers %d to who has the right", status)
	case r.Method == http.MethodGet && status == http.StatusNotFound && !strings.HasPrefix(r.Path, "/import/"):
		return "is not there for who has the right"
	}
	return ""
}

// Everybody is let in exactly where the one table of roles says, and finds
// nothing of another site: each route, each role at all sites and at one.
func TestRights_TheWalk(t *testing.T) {
	s := markedSites(t)
	ids := map[string]int64{}
	for _, of := range []marked.Site{alder, birch} {
		row, err := s.store.Site(t.Context(), of.Name())
		if err != nil {
			t.Fatal(err)
		}
		ids[of.Mark] = row.ID
	}
	there := s.apply(register.AddPerson{Name: "Somebody of " + birch.Mark, Roles: []register.GivenRole{{Role: register.Viewer, Site: birch.Name()}}}).PersonID
	here := s.apply(register.AddPerson{Name: "Somebody of " + alder.Mark, Roles: []register.GivenRole{{Role: register.Viewer, Site: alder.Name()}}}).PersonID
	mine, theirs := s.paramsOf(alder, here), s.paramsOf(birch, there)
	nowhere := never(theirs)

	askers := []asker{{name: "nobody", site: s.signedOut()}}
	noRole := s.personWith("no role", register.GivenRole{Role: register.Viewer})
	s.outside("DELETE FROM person_roles WHERE person_id = (SELECT id FROM people WHERE name = 'no role')")
	askers = append(askers, asker{name: "a person without a role", site: noRole})
	at := ids[alder.Mark]
	for _, role := range register.Roles() {
		askers = append(askers,
			asker{"a " + string(role) + " of all sites", s.personWith(string(role)+" of all", register.GivenRole{Role: role}), register.PersonRoles{{Role: role}}, true},
			asker{"a " + string(role) + " of one site", s.personWith(string(role)+" of one", register.GivenRole{Role: role, Site: alder.Name()}), register.PersonRoles{{Role: role, SiteID: &at}}, true})
	}

	routes, requests, elsewhere := s.server.Routes(), 0, 0
	for _, a := range askers {
		for _, r := range routes {
			if strings.HasSuffix(r.Path, "/*") || strings.HasPrefix(r.Path, "/me/sign-out") || r.Path == "/sign-out" {
				continue // files for anyone; and what would end the walk
			}
			if strings.HasPrefix(r.Path, "/me/password") || strings.HasPrefix(r.Path, "/me/devices") {
				continue // asks for one's own password, and locks after some tries
			}
			for address, extra := range mine.addresses(t, r.Path) {
				requests++
				resp := a.ask(r.Method, address)
				if wrong := a.expect(r, extra, at, false, resp.StatusCode); wrong != "" {
					t.Errorf("%s: %s %s (%s) %s: %.300s", a.name, r.Method, address, r.Right, wrong, text(resp))
				}
			}
			oneSite := a.known && !a.roles.Everywhere(register.RightSee)
			if !oneSite {
				continue
			}
			inMine := mine.addresses(t, r.Path)
			other := slices.Sorted(maps.Keys(theirs.addresses(t, r.Path)))
			none := slices.Sorted(maps.Keys(nowhere.addresses(t, r.Path)))
			for i, address := range other {
				if _, ofNone := inMine[address]; ofNone { // of no site
					continue
				}
				elsewhere++
				resp := a.ask(r.Method, address)
				if wrong := a.expect(r, "", at, true, resp.StatusCode); wrong != "" {
					t.Errorf("%s asks for another's: %s %s (%s) %s", a.name, r.Method, address, r.Right, wrong)
				}
				cannotTell(t, a, r, address, resp, none[i], a.ask(r.Method, none[i]))
			}
		}
	}
	t.Logf("rights walk: %d routes x %d callers = %d requests, and %d for things of another site", len(routes), len(askers), requests, elsewhere)
	if len(routes) < 150 || requests < 1500 || elsewhere < 400 {
		t.Error("the walk is too short to mean anything")
	}
}

// text is the body of an answer.
func text(resp *http.Response) string {
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// cannotTell holds the answer about a thing of another site to that about one that
// never was: nobody can tell them apart.
func cannotTell(t *testing.T, a asker, r server.Route, address string, other *http.Response, none string, absent *http.Response) {
	t.Helper()
	if other.StatusCode != absent.StatusCode {
		t.Errorf("%s: %s %s answers %d, what never was %d", a.name, r.Method, address, other.StatusCode, absent.StatusCode)
		return
	}
	plain := func(body, address string) string {
		body = strings.NewReplacer(birch.Mark, "NEVER", strings.ToLower(birch.Mark), "never").Replace(body)
		address = strings.ReplaceAll(address, birch.Mark, "NEVER")
		return strings.ReplaceAll(body, address, "ADDRESS")
	}
	got, want := plain(text(other), address), plain(text(absent), none)
	for _, id := range []string{"X-Request-Id"} { // each answer has its own
		got, want = strings.ReplaceAll(got, other.Header.Get(id), "ID"), strings.ReplaceAll(want, absent.Header.Get(id), "ID")
	}
	if got != want {
		t.Errorf("%s: %s %s can be told from what never was:\n%.600s\n%.600s", a.name, r.Method, address, got, want)
	}
}

// What is not in the table is no way in: every other method is refused.
func TestRights_NoMethodBesidesTheTable(t *testing.T) {
	s := markedSites(t)
	p := s.paramsOf(alder, register.LocalPersonID)
	allowed := map[string][]string{}
	for _, r := range s.server.Routes() {
		if strings.HasSuffix(r.Path, "/*") {
			continue
		}
		for address := range p.addresses(t, r.Path) {
			allowed[address] = append(allowed[address], r.Method)
		}
	}
	tried := 0
	for address, methods := range allowed {
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			if slices.Contains(methods, method) || strings.HasSuffix(address, "/positions/copy") { // copy may be the name of a position, too
				continue
			}
			tried++
			for _, a := range []asker{{site: s}, {site: s.signedOut()}} {
				if resp := a.ask(method, address); resp.StatusCode != http.StatusMethodNotAllowed {
					t.Errorf("%s %s answers %d, want 405", method, address, resp.StatusCode)
				}
			}
		}
	}
	t.Logf("%d addresses, %d methods that are not theirs", len(allowed), tried)
}
