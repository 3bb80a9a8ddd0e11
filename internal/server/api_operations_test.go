package server_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	failures "github.com/pb33f/libopenapi-validator/errors"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/server/api"
)

// j is an object of JSON.
type j map[string]any

// checked is a site whose requests to the API and their answers are held to the
// document of the API.
type checked struct {
	*site
	rules    validator.Validator
	covered  map[string]bool // operations that were asked
	document struct {
		Paths map[string]map[string]struct {
			ID string `json:"operationId"`
		} `json:"paths"`
	}
}

func checkedSite(t *testing.T, s *site) *checked {
	t.Helper()
	text := s.api(http.MethodGet, "/openapi.json", nil)
	c := &checked{site: s, covered: map[string]bool{}}
	text.says(t, http.StatusOK, &c.document)
	document, err := libopenapi.NewDocument([]byte(text.text))
	if err != nil {
		t.Fatal(err)
	}
	rules, errs := validator.NewValidator(document)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	c.rules = rules
	return c
}

func (c *checked) operations() map[string]bool {
	all := map[string]bool{}
	for _, methods := range c.document.Paths {
		for _, o := range methods {
			all[o.ID] = true
		}
	}
	return all
}

func told(errs []*failures.ValidationError) string {
	var b strings.Builder
	for _, e := range errs {
		fmt.Fprintf(&b, "\n%s: %s", e.Message, e.Reason)
		for _, s := range e.SchemaValidationErrors {
			fmt.Fprintf(&b, "\n    %s: %s", s.FieldPath, s.Reason)
		}
	}
	return b.String()
}

// ask sends an operation its example and holds both ways to the document. A
// change is first asked for as a dry run, which must change nothing.
func (c *checked) ask(operation, method, path string, body, into any) {
	c.t.Helper()
	if method != http.MethodGet && operation != "readLayline" {
		before := c.changes()
		var dry struct {
			Preview *struct{ Touched int }
			Changes []any
		}
		sep := "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		c.send(operation, method, path+sep+"dry_run=true", body, &dry)
		if dry.Preview == nil || len(dry.Changes) > 0 || c.changes() != before {
			c.t.Errorf("%s: a dry run changed something or foresaw nothing: %+v", operation, dry)
		}
	}
	c.send(operation, method, path, body, into)
}

func (c *checked) changes() int64 {
	c.t.Helper()
	rows, broken, err := c.store.VerifyChain(c.t.Context())
	if err != nil || broken != 0 {
		c.t.Fatal(broken, err)
	}
	return rows
}

func (c *checked) send(operation, method, path string, body, into any) {
	c.t.Helper()
	c.covered[operation] = true
	a := c.api(method, path, body)
	a.says(c.t, http.StatusOK, into)
	text, err := json.Marshal(body)
	if err != nil {
		c.t.Fatal(err)
	}
	r := httptest.NewRequest(method, "http://"+c.addr+"/api/v1"+path, nil)
	if body != nil {
		r = httptest.NewRequest(method, "http://"+c.addr+"/api/v1"+path, bytes.NewReader(text))
		r.Header.Set("Content-Type", "application/json")
	}
	r.Header.Set("Authorization", "Bearer hw_example")
	answer := a.Response
	answer.Body = io.NopCloser(strings.NewReader(a.text))
	if ok, errs := c.rules.ValidateHttpRequestResponse(r, answer); !ok {
		c.t.Errorf("%s %s %s does not keep to the document:%s\n%.600s", operation, method, path, told(errs), a.text)
	}
}

// ownFleet is a server on a full demo fleet of its own, which may be changed.
func ownFleet(t *testing.T, settings ...setting) *site {
	t.Helper()
	reg := openStore(t, filepath.Join(t.TempDir(), "register.db"))
	fillDemo(t, reg)
	fillFull(t, reg)
	return serve(t, reg, settings...)
}

func seg(parts ...string) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString("/" + url.PathEscape(p))
	}
	return b.String()
}

// row is what a change tells of a row.
type row struct {
	What, Did   string
	ID, Version int64
}

// done is the answer to a change.
type doneAnswer struct {
	Codes   []string
	Changes []row
}

// of is the first row of a kind.
func (d doneAnswer) of(t testing.TB, what string) row {
	t.Helper()
	for _, r := range d.Changes {
		if r.What == what {
			return r
		}
	}
	t.Fatalf("no row of %s among %+v", what, d.Changes)
	return row{}
}

func TestAPI_DocumentIsOpenAPI31(t *testing.T) {
	c := checkedSite(t, fullFleet(t))
	if ok, errs := c.rules.ValidateDocument(); !ok {
		t.Fatal(told(errs))
	}
	var head struct{ OpenAPI string }
	text := c.api(http.MethodGet, "/openapi.json", nil)
	text.says(t, http.StatusOK, &head)
	if !strings.HasPrefix(head.OpenAPI, "3.1") {
		t.Errorf("version %q", head.OpenAPI)
	}
	for _, word := range []string{"ErrorModel", "$schema", "https://", "http://", "cdn"} {
		if strings.Contains(text.text, word) {
			t.Errorf("the document holds %q", word)
		}
	}
	if got, routes := len(c.operations()), c.server.Routes(); got != countAPI(routes)-1 { // the document itself is no operation
		t.Errorf("%d operations in the document, %d routes", got, countAPI(routes))
	}
}

// TestAPI_EveryValueSaysWhatItIs walks the schemas: each value and parameter has
// a description, each number a unit in its name or a description that names it.
func TestAPI_EveryValueSaysWhatItIs(t *testing.T) {
	s := fullFleet(t)
	var document struct {
		Components struct {
			Schemas map[string]struct {
				Properties map[string]struct{ Description string }
			}
		}
		Paths map[string]map[string]struct {
			Summary    string
			Parameters []struct{ Name, Description string }
		}
	}
	s.api(http.MethodGet, "/openapi.json", nil).says(t, http.StatusOK, &document)
	n := 0
	for name, schema := range document.Components.Schemas {
		for property, v := range schema.Properties {
			n++
			if v.Description == "" {
				t.Errorf("%s.%s says nothing", name, property)
			}
		}
	}
	for path, methods := range document.Paths {
		for method, o := range methods {
			if o.Summary == "" {
				t.Errorf("%s %s says nothing", method, path)
			}
			for _, p := range o.Parameters {
				n++
				if p.Description == "" {
					t.Errorf("%s %s: %s says nothing", method, path, p.Name)
				}
			}
		}
	}
	t.Logf("%d values and parameters", n)
}

// TestAPI_EveryOperationKeepsToItsSchema sends every operation an example on a
// full fleet and holds request and answer to the document by a second library.
func TestAPI_EveryOperationKeepsToItsSchema(t *testing.T) {
	c := checkedSite(t, ownFleet(t))
	c.readAll()
	c.changeMachines()
	c.changeHoses()
	c.changeUse()
	c.changeInspections()
	for operation := range c.operations() {
		if !c.covered[operation] {
			t.Errorf("%s has no example", operation)
		}
	}
	t.Logf("%d operations", len(c.covered))
}

func (c *checked) readAll() {
	stop := c.first(register.LineFilter{Status: life.StatusStop})
	machine, hose := seg("machines", stop.MachineCode), seg("assemblies", stop.AssemblyCode)
	sheet, err := c.store.AssemblySheet(c.t.Context(), now, stop.AssemblyCode)
	if err != nil {
		c.t.Fatal(err)
	}
	var kinds struct{ Items []struct{ Name string } }
	for operation, path := range map[string]string{
		"listSites": "/sites", "getSite": seg("sites", stop.Site), "listKinds": "/kinds", "listPolicies": "/policies", "listMachines": "/machines?text=a&limit=3",
		"getMachine": machine, "listPositions": "/positions?limit=5&can_hurt=true&exposed=false", "listMachinePositions": machine + "/positions", "getPosition": machine + seg("positions", stop.Position),
		"listCircuits": machine + "/circuits", "listAssemblies": "/assemblies?where=fitted&dn=12&limit=1000", "getAssembly": hose, "listFittings": hose + "/fittings",
		"listReadings": machine + "/readings?limit=5", "listMeterEvents": machine + "/meter-events", "listLayUps": machine + "/lay-ups", "listConditions": machine + "/conditions",
		"listInspections": hose + "/inspections", "listFindings": hose + "/findings?open=true", "listDue": "/due?within_days=30&limit=1000", "getEstimate": hose + "/estimate",
		"getCounts": "/counts?site=" + url.QueryEscape(stop.Site), "search": "/search?text=cylinder", "getFitting": fmt.Sprintf("/fittings/%d", sheet.Placements[0].Placement.ID),
	} {
		c.ask(operation, http.MethodGet, path, nil, nil)
	}
	c.ask("listKinds", http.MethodGet, "/kinds", nil, &kinds)
	c.ask("getKind", http.MethodGet, seg("kinds", kinds.Items[0].Name), nil, nil)
	for _, text := range []string{"EN 853 2SN DN 12 275 BAR 3Q24", "07/10 DN 8", "???"} {
		c.ask("readLayline", http.MethodPost, "/laylines", j{"text": text}, nil)
	}
	for _, f := range []register.LineFilter{{Incomplete: true}, {OverRating: true}, {Status: life.StatusSoon}} {
		c.ask("getEstimate", http.MethodGet, seg("assemblies", c.first(f).AssemblyCode)+"/estimate", nil, nil)
	}
	c.ask("getEstimate", http.MethodGet, seg("assemblies", inStore)+"/estimate", nil, nil)
	c.ask("listAssemblies", http.MethodGet, "/assemblies?where=in+store", nil, nil)
	c.ask("listDue", http.MethodGet, "/due?limit=1000", nil, nil)
}

func (c *checked) changeMachines() {
	site := c.first(register.LineFilter{}).Site
	var d doneAnswer
	c.ask("addMachine", http.MethodPost, "/machines", j{"code": "API 1/a", "site": site, "kind": "sweeper", "can_hurt": true, "planned_hours_per_week": 20}, &d)
	if r := d.of(c.t, "machines"); r.Did != "added" || r.Version != 1 || r.ID == 0 {
		c.t.Errorf("an added machine is told as %+v", r)
	}
	machine := seg("machines", "API 1/a") // with a space and a slash
	c.ask("changeMachine", http.MethodPut, machine, j{"code": "API 1/a", "site": site, "name": "by a program", "can_hurt": false, "version": 1, "note": nil}, nil)
	c.ask("addCircuit", http.MethodPost, machine+"/circuits", j{"name": "lft"}, nil)
	c.ask("changeCircuit", http.MethodPut, machine+"/circuits/lft", j{"name": "lift", "version": 1}, nil)
	c.ask("addCircuit", http.MethodPost, machine+"/circuits", j{"name": "mistake"}, nil)
	c.ask("takeBackCircuit", http.MethodPost, machine+"/circuits/mistake/take-back", j{"version": 1, "reason": "never was"}, nil)
	for _, name := range []string{"left", "right", "spare", "mistake"} {
		c.ask("addPosition", http.MethodPost, machine+"/positions", j{"name": name, "circuit": "lift", "can_hurt": true, "exposed": false, "length_mm": 900.5}, nil)
	}
	c.ask("changePosition", http.MethodPut, machine+"/positions/left", j{"name": "left", "circuit": "lift", "can_hurt": true, "exposed": true, "policy": "heightened demand", "version": 1}, nil)
	c.ask("orderPositions", http.MethodPut, machine+"/walking-order", j{"names": []string{"right", "left"}}, nil)
	c.ask("copyPositions", http.MethodPost, machine+"/positions/copy", j{"from": c.first(register.LineFilter{}).MachineCode, "worked": true}, nil)
	var position struct{ Version int }
	c.ask("getPosition", http.MethodGet, machine+"/positions/mistake", nil, &position)
	c.ask("takeBackPosition", http.MethodPost, machine+"/positions/mistake/take-back", j{"version": position.Version, "reason": "never was"}, nil)
	c.ask("retirePosition", http.MethodPost, machine+"/positions/spare/retire", j{"on": "2026-11-25", "reason": "rebuilt"}, nil)

	c.ask("addMachine", http.MethodPost, "/machines", j{"code": "API-2", "site": site, "can_hurt": false}, nil)
	c.ask("retireMachine", http.MethodPost, "/machines/API-2/retire", j{"on": "2026-11-24", "reason": "sold"}, nil)
	c.ask("getMachine", http.MethodGet, "/machines/API-2", nil, nil)
	c.ask("returnMachine", http.MethodPost, "/machines/API-2/return", j{"version": 2, "reason": "bought back"}, nil)
	c.ask("takeBackMachine", http.MethodPost, "/machines/API-2/take-back", j{"version": 3, "reason": "never was"}, nil)
}

func (c *checked) changeHoses() {
	site := c.first(register.LineFilter{}).Site
	at := seg("machines", "API 1/a", "positions")
	var d doneAnswer
	c.ask("addAssembly", http.MethodPost, "/assemblies", j{
		"site": site, "layline": "EN 853 2SN DN 12 275 BAR 3Q24", "designation": "EN 853 2SN", "dn": 12, "dash": 8, "rated_bar": 300, "made": "3Q2024", "assembled": "2024-11",
	}, &d)
	code := d.Codes[0]
	hose := seg("assemblies", code)
	var got struct {
		RatedBar     float64 `json:"rated_bar"`
		RatingSource string  `json:"rating_source"`
		Version      int
	}
	c.ask("getAssembly", http.MethodGet, hose, nil, &got)
	if got.RatedBar != 275 || got.RatingSource != "printed" {
		c.t.Errorf("300 bar in place of the printed 275 is stored as %+v", got)
	}
	c.ask("changeAssembly", http.MethodPut, hose, j{"code": code, "designation": "EN 853 2SN", "dn": 12, "dash": 8, "length_mm": 900, "end_a_bar": 250, "version": got.Version}, nil)
	c.ask("fitAssembly", http.MethodPost, hose+"/fit", j{"machine": "API 1/a", "position": "left", "on": "2026-10-01", "hours": 100}, nil)
	c.ask("moveAssembly", http.MethodPost, hose+"/move", j{"machine": "API 1/a", "position": "right", "on": "2026-10-05", "hours": 105}, nil)
	c.ask("swap", http.MethodPost, at+"/right/swap", j{
		"on": "2026-11-01", "hours": 150, "off": j{"assembly": code, "cause": "heat", "found_by": "event", "seen": "cover hard", "scrapped": true},
		"new": j{"site": site, "code": "API-NEW", "designation": "EN 853 2SN", "dn": 12, "dash": 8, "made": "2026-01", "assembled": "2026-02"},
	}, nil)
	c.ask("getEstimate", http.MethodGet, "/assemblies/API-NEW/estimate", nil, nil)
	c.ask("swap", http.MethodPost, at+"/left/swap", j{"on": "2026-11-02", "assembly": inStore, "released_by": "A. Manager", "reason": "age not known, bench tested"}, nil)
	c.ask("removeAssembly", http.MethodPost, "/assemblies/API-NEW/remove", j{"on": "2026-11-10", "hours": 160, "cause": "planned", "found_by": "inspection", "scrapped": false}, nil)

	var list struct {
		Items []struct {
			ID, Version int64
			From        string
			Removal     *struct{ ID, Version int64 }
		}
	}
	c.ask("listFittings", http.MethodGet, "/assemblies/API-NEW/fittings", nil, &list)
	f := list.Items[0]
	fitting := fmt.Sprintf("/fittings/%d", f.ID)
	c.ask("correctFitting", http.MethodPut, fitting, j{
		"machine": "API 1/a", "position": "right", "from": "2026-11-02", "to": "2026-11-09", "removal": j{"cause": "outside", "found_by": "event", "scrapped": false}, "version": f.Version, "reason": "a day late",
	}, nil)
	c.ask("listFittings", http.MethodGet, "/assemblies/API-NEW/fittings", nil, &list)
	f = list.Items[0]
	c.ask("takeBackRemoval", http.MethodPost, fitting+"/removal/take-back", j{"version": f.Removal.Version, "reason": "it is there"}, nil)
	c.ask("listFittings", http.MethodGet, "/assemblies/API-NEW/fittings", nil, &list)
	c.ask("takeBackFitting"+"s", http.MethodPost, fitting+"/take-back", j{"version": list.Items[0].Version, "reason": "never fitted"}, nil)
	c.ask("scrapAssembly", http.MethodPost, "/assemblies/API-NEW/scrap", j{"on": "2026-11-25", "reason": "fell off the truck"}, nil)
	c.ask("addAssembly", http.MethodPost, "/assemblies", j{"site": site, "code": "API-OOPS"}, nil)
	c.ask("takeBackAssembly", http.MethodPost, "/assemblies/API-OOPS/take-back", j{"version": 1, "reason": "never was"}, nil)
}

func (c *checked) changeUse() {
	machine := seg("machines", "API 1/a")
	var d doneAnswer
	c.ask("addReading", http.MethodPost, machine+"/readings", j{"on": "2026-11-20", "hours": 200}, &d)
	reading := fmt.Sprintf("/readings/%d", d.of(c.t, "readings").ID)
	c.ask("getReading", http.MethodGet, reading, nil, nil)
	c.ask("changeReading", http.MethodPut, reading, j{"on": "2026-11-20", "hours": 201, "version": 1, "reason": "misread"}, nil)
	c.ask("takeBackReadings", http.MethodPost, reading+"/take-back", j{"version": 2, "reason": "other machine"}, nil)
	c.ask("addReadings", http.MethodPost, "/readings", j{"items": []j{{"machine": "API 1/a", "on": "2026-11-21", "hours": 202}, {"machine": "api 1/A", "on": "2026-11-22", "hours": 203, "disputed": true}}}, nil)

	c.ask("addMeterEvent", http.MethodPost, machine+"/meter-events", j{"on": "2026-11-23", "old_end": 205, "new_start": 0}, &d)
	event := fmt.Sprintf("/meter-events/%d", d.of(c.t, "meter_events").ID)
	c.ask("getMeterEvent", http.MethodGet, event, nil, nil)
	c.ask("changeMeterEvent", http.MethodPut, event, j{"on": "2026-11-23", "old_end": 206, "new_start": 0, "version": 1, "reason": "misread"}, nil)
	c.ask("takeBackMeterEvents", http.MethodPost, event+"/take-back", j{"version": 2, "reason": "same meter"}, nil)

	c.ask("addLayUp", http.MethodPost, machine+"/lay-ups", j{"from": "2026-11-24", "why": "winter"}, &d)
	layUp := fmt.Sprintf("/lay-ups/%d", d.of(c.t, "lay_ups").ID)
	c.ask("getLayUp", http.MethodGet, layUp, nil, nil)
	c.ask("changeLayUp", http.MethodPut, layUp, j{"from": "2026-11-24", "to": "2026-11-25", "why": "winter", "version": 1}, nil)
	c.ask("takeBackLayUps", http.MethodPost, layUp+"/take-back", j{"version": 2, "reason": "it ran"}, nil)

	c.ask("setConditions", http.MethodPost, machine+"/conditions", j{
		"circuit": "lift", "from": "2026-10-01", "basis": "measured",
		"service": j{"fluid_c": 60, "cycles": []j{{"min_bar": 0, "max_bar": 200, "count": 60}, {"min_bar": 5, "max_bar": 120, "count": 2, "per": "lift", "per_hour": 12}}, "assessed_on": "2026-01-01"},
	}, &d)
	conditions := fmt.Sprintf("/conditions/%d", d.of(c.t, "conditions").ID)
	c.ask("setConditions", http.MethodPost, machine+"/conditions", j{"position": "left", "from": "2026-10-01", "basis": "assumed", "service": j{"temperatures": []j{{"c": 50, "share": 0.5}, {"c": 80, "share": 0.5}}}}, nil)
	c.ask("getConditions", http.MethodGet, conditions, nil, nil)
	c.ask("listConditions", http.MethodGet, machine+"/conditions", nil, nil)
	c.ask("changeConditions", http.MethodPut, conditions, j{"from": "2026-10-01", "basis": "measured", "service": j{"no_cycles": true, "working_bar": 180}, "version": 1, "reason": "measured anew"}, nil)
	c.ask("takeBackConditions", http.MethodPost, conditions+"/take-back", j{"version": 2, "reason": "other machine"}, nil)
	c.ask("getEstimate", http.MethodGet, seg("assemblies", inStore)+"/estimate", nil, nil)
}

func (c *checked) changeInspections() {
	at := seg("machines", "API 1/a", "positions", "left") + "/inspections"
	var d doneAnswer
	c.ask("inspect", http.MethodPost, at, j{"on": "2026-11-24", "by": "I. Spector", "verdict": "sound"}, &d)
	inspection := fmt.Sprintf("/inspections/%d", d.of(c.t, "inspections").ID)
	c.ask("getInspection", http.MethodGet, inspection, nil, nil)
	c.ask("changeInspection", http.MethodPut, inspection, j{"on": "2026-11-23", "by": "I. Spector", "version": 1, "reason": "the day before"}, nil)
	c.ask("takeBackInspections", http.MethodPost, inspection+"/take-back", j{"version": 2, "reason": "other hose"}, nil)
	c.ask("inspect", http.MethodPost, at, j{"on": "2026-11-25", "verdict": "found", "findings": []j{
		{"number": 15, "class": "correct", "place": "middle"}, {"number": 0, "class": "watch", "note": "rubs", "act_by": "2026-12-24"}, {"number": 1, "class": "stop"},
	}}, &d)
	var ids []int64
	for _, r := range d.Changes {
		if r.What == "findings" {
			ids = append(ids, r.ID)
		}
	}
	finding := func(i int) string { return fmt.Sprintf("/findings/%d", ids[i]) }
	c.ask("getFinding", http.MethodGet, finding(0), nil, nil)
	c.ask("tickFindingDone", http.MethodPost, finding(0)+"/done", j{"on": "2026-11-25", "reason": "new clamp"}, nil)
	c.ask("changeFinding", http.MethodPut, finding(1), j{"number": 0, "class": "replace", "note": "rubs", "version": 1, "reason": "looked again"}, nil)
	c.ask("takeBackFindings", http.MethodPost, finding(1)+"/take-back", j{"version": 2, "reason": "other hose"}, nil)
	c.ask("releaseFinding", http.MethodPost, finding(2)+"/release", j{"on": "2026-11-25", "released_by": "A. Manager", "reason": "a wet hand, no leak"}, nil)
	c.ask("listFindings", http.MethodGet, seg("assemblies", inStore)+"/findings", nil, nil)
	c.ask("listInspections", http.MethodGet, seg("assemblies", inStore)+"/inspections", nil, nil)
}

// TestAPI_TheDocumentIsHeldTo alters good answers: the library that holds them
// to the document must see it.
func TestAPI_TheDocumentIsHeldTo(t *testing.T) {
	c := checkedSite(t, fullFleet(t))
	good := c.api(http.MethodGet, "/sites", nil).text
	for what, text := range map[string]string{
		"a value too many":         strings.Replace(good, `"id":1`, `"id":1,"more":2`, 1),
		"a value missing":          strings.Replace(good, `"id":1,`, "", 1),
		"a text for a number":      strings.Replace(good, `"id":1`, `"id":"1"`, 1),
		"a list that is no object": "[]",
	} {
		r := httptest.NewRequest(http.MethodGet, "http://"+c.addr+"/api/v1/sites", nil)
		r.Header.Set("Authorization", "Bearer hw_example")
		answer := &http.Response{StatusCode: http.StatusOK, Header: http.Header{"Content-Type": {"application/json"}}, Body: io.NopCloser(strings.NewReader(text))}
		if ok, _ := c.rules.ValidateHttpRequestResponse(r, answer); ok || text == good {
			t.Errorf("%s is let through: %s", what, text)
		}
	}
}

func countAPI(routes []serverRoute) int {
	n := 0
	for _, r := range routes {
		if strings.HasPrefix(r.Path, api.Prefix+"/") {
			n++
		}
	}
	return n
}
