package server_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/internal/store"
	"hoseward/web"
)

// full is a demo fleet with one more of each thing that a page can be about,
// made when the first test asks for it; for reading only.
var full struct {
	once  sync.Once
	dir   string
	store *store.Store
	err   error
}

// fullFleet is a server on it.
func fullFleet(t testing.TB, settings ...setting) *site {
	t.Helper()
	full.once.Do(func() {
		if full.dir, full.err = os.MkdirTemp("", "hoseward-full-*"); full.err != nil {
			return
		}
		if full.store, full.err = store.Open(context.Background(), filepath.Join(full.dir, "full.db"), store.Options{Migrate: true}); full.err == nil {
			fillDemo(t, full.store)
			fillFull(t, full.store)
		}
	})
	if full.err != nil {
		t.Fatal(full.err)
	}
	return serve(t, full.store, settings...)
}

// The things that fullFleet has besides the demo fleet.
const (
	inStore   = "IN-STORE-1"
	ownPolicy = "harbour"
	usual     = "lift cylinder, spare"
	saved     = "What is soon"
	somebody  = "A. Moor"
	welcome   = "secret-of-a-one-time-address"
)

func fillFull(t testing.TB, reg *store.Store) {
	t.Helper()
	s := &site{t: t, store: reg}
	l := s.first(register.LineFilter{Status: life.StatusStop})
	machines, _, err := reg.MachineLines(t.Context(), now, register.MachineFilter{Text: l.MachineCode})
	if err != nil || len(machines) == 0 {
		t.Fatalf("no machine %s: %v", l.MachineCode, err)
	}
	policy := life.NormalDemand()
	policy.Name = ownPolicy
	length := 1250.95
	s.apply(
		register.AddLayUp{Machine: l.MachineCode, From: l.Today.AddDays(-2), Reason: "waits for a part"},
		register.AddPolicy{Policy: register.Policy{Policy: policy, Source: "the fleet's own"}},
		register.AddAssembly{Site: l.Site, Assembly: register.Assembly{Code: inStore, Designation: "EN 853 2SN", DN: 12, Dash: 8, LengthMM: &length}},
		register.AddKindPosition{Kind: machines[0].Kind, Position: register.KindPosition{Name: usual, LengthMM: &length}},
		register.SaveList{Name: saved, Address: "/due?status=soon"},
	)
	s.apply( // an act of its own: what is about people is not undone
		register.AddPerson{Name: somebody, Email: "moor@example.org", Roles: []register.GivenRole{{Role: register.Manager}, {Role: register.Fitter, Site: l.Site}}},
		register.AddPerson{Name: "N. Dale", Roles: []register.GivenRole{{Role: register.Viewer}}, Invite: &register.Invite{Hash: session.HashSecret(welcome), EndsAt: now.AddDate(0, 0, 7)}},
	)
	program := s.apply(register.AddPerson{Name: "meter readings", Program: true, Roles: []register.GivenRole{{Role: register.Planner}}}).PersonID
	s.apply(register.MakeToken{PersonID: program, Hash: session.HashSecret("a token"), EndsAt: now.AddDate(1, 0, 0)})
	for _, p := range s.everybody() {
		if p.Name != somebody {
			continue
		}
		own := register.Actor{PersonID: p.ID, Origin: register.FromPage}
		if _, err := reg.Apply(t.Context(), now, own, register.ChoosePassword{Hash: strings.Repeat("x", 60)}); err != nil {
			t.Fatal(err)
		}
	}
}

// everybody are the people and programs of the register.
func (s *site) everybody() []register.PersonLine {
	s.t.Helper()
	list, err := s.store.People(s.t.Context(), now, register.AllSites())
	if err != nil {
		s.t.Fatal(err)
	}
	return list
}

// example is an address of a route.
type example struct {
	route   string
	address string
}

// examples are an address for each GET route: each part of a path that begins
// with a colon is filled with something the register has. A route with a part
// that this does not know is a mistake of whoever added the route: it goes into
// the table below, so that the tests on every page see it.
func examples(s *site) []example {
	s.t.Helper()
	known := s.known()
	var all []example
	for _, r := range s.server.Routes() {
		if r.Method != http.MethodGet || noPage(r.Path) {
			continue
		}
		if addresses, special := known[r.Path]; special {
			for _, a := range addresses {
				all = append(all, example{r.Path, a})
			}
			continue
		}
		pattern, address := "", ""
		for _, part := range strings.Split(strings.TrimPrefix(r.Path, "/"), "/") {
			pattern += "/" + part
			if strings.HasPrefix(part, ":") {
				values := known[pattern]
				if len(values) == 0 {
					s.t.Errorf("GET %s: no example of %s; add one to known in everypage_test.go", r.Path, pattern)
					values = []string{"/missing"}
				}
				address = values[0]
				continue
			}
			address += "/" + part
		}
		all = append(all, example{r.Path, address})
	}
	return all
}

// noPage reports whether a route has no page of this register to show: static
// files, what programs ask for, and the first start, which is over here.
func noPage(route string) bool {
	return strings.HasSuffix(route, "*") || strings.HasPrefix(route, "/api/") || route == "/api" ||
		slices.Contains([]string{"/healthz", "/readyz", "/metrics", "/set-up/:secret"}, route)
}

// known is, for each beginning of a path that ends in a colon part, addresses
// of it; the first is used for what lies below. A whole route may have more
// than one.
func (s *site) known() map[string][]string {
	s.t.Helper()
	stop, incomplete := s.first(register.LineFilter{Status: life.StatusStop}), s.first(register.LineFilter{Incomplete: true})
	machine := web.Path("machines", stop.MachineCode)
	sheet, err := s.store.MachineSheet(s.t.Context(), now, stop.MachineCode)
	if err != nil {
		s.t.Fatal(err)
	}
	kind, err := s.store.Kind(s.t.Context(), sheet.Kind)
	if err != nil || len(kind.Positions) == 0 || len(kind.Duties) == 0 {
		s.t.Fatalf("kind %q: %v", sheet.Kind, err)
	}
	known := map[string][]string{
		"/sites/:name":                    {web.Path("sites", stop.Site)},
		"/machines/:code":                 {machine, web.Path("machines", incomplete.MachineCode)},
		"/machines/:code/positions/:name": {web.Path("machines", stop.MachineCode, "positions", stop.Position)},
		"/machines/:code/lay-ups/:id":     {machine + "/lay-ups/" + number(sheet.LayUps[len(sheet.LayUps)-1].ID)},
		"/machines/:code/swap":            {address(machine+"/swap", "position", stop.Position), machine + "/swap"},
		"/machines/:code/remove":          {address(machine+"/remove", "position", stop.Position)},
		"/machines/:code/found":           {address(machine+"/found", "position", stop.Position)},
		"/assemblies/:code":               {web.Path("assemblies", stop.AssemblyCode), web.Path("assemblies", incomplete.AssemblyCode), web.Path("assemblies", inStore)},
		"/assemblies/:code/fit":           {web.Path("assemblies", inStore, "fit")},
		"/kinds/:name":                    {web.Path("kinds", sheet.Kind)},
		"/kinds/:name/positions/:id":      {web.Path("kinds", sheet.Kind, "positions", number(kind.Positions[0].ID))},
		"/kinds/:name/duties/:id":         {web.Path("kinds", sheet.Kind, "duties", number(kind.Duties[0].ID))},
		"/import/:id":                     {path(s.uploaded("liste.csv", germanList, ""))},
		"/manual/:page":                   {"/manual/import", "/manual/dates"},
		"/due":                            {"/due", "/due?within=nonsense", "/due?text=nothing+has+this"},
		"/tables":                         {"/tables", "/tables?designation=EN+853+2SN", "/tables?designation=nonsense"},
		"/positions/change":               {address("/positions/change", "machine", stop.MachineCode, "all", "yes")},
		"/machines/change":                {address("/machines/change", "text", stop.MachineCode, "all", "yes")},
		"/search":                         {"/search", "/search?q=2SN", "/search?q=nothing+has+this"},
	}
	place, err := s.store.PositionSheet(s.t.Context(), now, stop.MachineCode, stop.Position)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, thing := range []struct {
		path string
		id   int64
	}{{"machine", sheet.Machine.ID}, {"position", place.Position.ID}, {"assembly", stop.Estimate.AssemblyID}, {"kind", kind.Kind.ID}, {"site", sheet.Machine.SiteID}, {"policy", 1}} {
		known["/history/:thing/:id"] = append(known["/history/:thing/:id"], web.Path("history", thing.path, number(thing.id)))
	}
	for _, p := range s.everybody() {
		switch {
		case p.Name == somebody:
			known["/people/:id"] = append([]string{"/people/" + number(p.ID)}, known["/people/:id"]...)
		case p.Program:
			known["/people/:id"] = append(known["/people/:id"], "/people/"+number(p.ID))
		}
	}
	known["/welcome/:secret"] = []string{"/welcome/" + welcome}
	for pattern, addresses := range s.knownRows(sheet, stop) {
		known[pattern] = addresses
	}
	return known
}

// knownRows are the routes about single rows, by number.
func (s *site) knownRows(sheet register.MachineSheet, stop register.Line) map[string][]string {
	s.t.Helper()
	a, err := s.store.AssemblySheet(s.t.Context(), now, stop.AssemblyCode)
	if err != nil {
		s.t.Fatal(err)
	}
	policies, err := s.store.Policies(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	known := map[string][]string{}
	for _, p := range policies {
		if p.Name == ownPolicy {
			known["/policies/:id"] = []string{"/policies/" + number(p.ID)}
		}
	}
	acts, err := s.store.Acts(s.t.Context(), now, register.LocalPersonID, 10)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, act := range acts {
		known["/acts/:id"] = []string{"/acts/" + number(act.ID)}
	}
	if len(a.Open) > 0 {
		known["/findings/:id"] = []string{"/findings/" + number(a.Open[0].ID)}
	}
	correct := func(thing register.Thing, id int64) {
		known["/correct/:thing/:id"] = append(known["/correct/:thing/:id"], web.Path("correct", string(thing), number(id)))
	}
	correct(register.ThingReading, sheet.Readings[0].ID)
	correct(register.ThingLayUp, sheet.LayUps[len(sheet.LayUps)-1].ID)
	for _, c := range sheet.Conditions[:min(1, len(sheet.Conditions))] {
		correct(register.ThingConditions, c.ID)
	}
	for _, p := range a.Placements[:min(1, len(a.Placements))] {
		correct(register.ThingPlacement, p.Placement.ID)
	}
	for _, i := range a.Inspections[:min(1, len(a.Inspections))] {
		correct(register.ThingInspection, i.ID)
	}
	for _, f := range a.Findings[:min(1, len(a.Findings))] {
		correct(register.ThingFinding, f.ID)
	}
	return known
}

func address(path string, pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	return path + "?" + q.Encode()
}

func number(id int64) string { return strconv.FormatInt(id, 10) }

// file reports whether an address is that of a file to be taken away.
func file(address string) bool {
	return slices.Contains([]string{".csv", ".xlsx", ".json"}, filepath.Ext(path(address)))
}

// everyPage is an address of each kind of page of fullFleet.
func everyPage(s *site) []string {
	s.t.Helper()
	pages := []string{"/nowhere"}
	for _, e := range examples(s) {
		if !file(e.address) {
			pages = append(pages, e.address)
		}
	}
	return pages
}

// Each example is a page or a file and no error, so that the tests on every
// page look at what they mean to.
func TestEveryPage_Answers(t *testing.T) {
	s := fullFleet(t)
	seen := map[string]bool{}
	for _, e := range examples(s) {
		seen[e.route] = true
		r := s.get(e.address)
		kind := r.Header.Get("Content-Type")
		if r.StatusCode != http.StatusOK || file(e.address) == strings.HasPrefix(kind, "text/html") {
			t.Errorf("GET %s: %s answers %d with %s", e.route, e.address, r.StatusCode, kind)
		}
	}
	for route := range s.known() {
		if last := route[strings.LastIndexByte(route, '/')+1:]; !strings.HasPrefix(last, ":") && !seen[route] {
			t.Errorf("an example of GET %s, which is no route", route)
		}
	}
	if len(seen) < 20 {
		t.Error(fmt.Sprint("only ", len(seen), " routes"))
	}
}
