package server_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"io"
	"maps"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit/marked"
	"hoseward/web"
)

// secret is the mark of the site that must not be seen.
const secret = "BIRCH"

// filledByItsOwn is a register of alder and birch, birch filled by a person of
// its own with its mark in their name; a hose of alder that was at birch before,
// with words of birch in its history; and what else of birch could come to light
// in a job, an import, a list.
func filledByItsOwn(t *testing.T) (s *site, wanderer string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "register.db")
	s = serve(t, openStore(t, file))
	s.file = file
	s.apply(alder.Fill()...)
	fill := birch.Fill()
	s.apply(fill[0]) // the site
	owner := s.apply(register.AddPerson{Name: "Owner of " + secret, Roles: []register.GivenRole{{Role: register.Manager, Site: birch.Name()}}}).PersonID
	theirs := register.Actor{PersonID: owner, Origin: register.FromPage, Reason: "for " + secret}
	if _, err := s.store.Apply(t.Context(), now, theirs, fill[1:]...); err != nil {
		t.Fatal(err)
	}

	const code = "WANDERER-1"
	hose := alder.Hose(code)
	hose.Site = birch.Name()
	hose.Assembly.Made, hose.Assembly.Assembled = quantity.Day(birch.Today.AddDays(-120)), quantity.Day(birch.Today.AddDays(-110))
	fitted, hours := birch.Today.AddDays(-85), 10.0
	if _, err := s.store.Apply(t.Context(), now, theirs, hose,
		register.Fit{AssemblyCode: code, Machine: birch.Machine(), Position: birch.Empty(), On: fitted, Hours: &hours, OnText: secret},
		register.Inspect{Machine: birch.Machine(), Position: birch.Empty(), On: fitted.AddDays(5), By: secret, Note: secret, Findings: []register.NewFinding{
			{Class: life.Watch, Place: secret, Note: secret},
		}},
		register.Remove{AssemblyCode: code, On: fitted.AddDays(30), Cause: register.CausePlanned, FoundBy: register.FoundByInspection, Reason: secret, Seen: secret},
	); err != nil {
		t.Fatal(err)
	}
	s.apply(register.Fit{AssemblyCode: code, Machine: alder.Machine(), Position: alder.Empty(), On: alder.Today.AddDays(-20)})
	run, _, err := s.store.StartJob(t.Context(), "nightly", quantity.Date{}, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.store.FinishJob(t.Context(), run, now, 0, "assembly "+birch.Fitted()+" cannot be estimated"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.store.ReestimateAll(t.Context(), now, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	if err := s.store.NoteKnown(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	s.apply(register.AddKindPosition{Kind: marked.Kind, Position: register.KindPosition{Name: usual}},
		register.AddPolicy{Policy: ownRule()}, register.SetDuty{Kind: marked.Kind, Circuit: "lift", Service: register.Service{FluidC: &hours}})
	return s, code
}

func ownRule() register.Policy {
	p := life.NormalDemand()
	p.Name = ownPolicy
	return register.Policy{Policy: p, Source: "own"}
}

// open is what an answer says: of an XLSX file the texts of its sheets.
func open(t *testing.T, resp *http.Response) string {
	t.Helper()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(b, []byte("PK")) {
		return string(b)
	}
	file, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, f := range file.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(&all, r); err != nil {
			t.Fatal(err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return all.String()
}

// tells are the words of an answer that have the mark in them and did not stand
// in the request.
func tells(answer string, asked ...string) []string {
	for _, text := range asked {
		if !strings.Contains(strings.ToUpper(text), secret) { // nothing to take out
			continue
		}
		for _, form := range []string{text, strings.ReplaceAll(text, "+", "&#43;"), url.QueryEscape(text), url.PathEscape(text), strings.ToLower(text)} {
			answer = strings.ReplaceAll(answer, form, "(asked)")
		}
	}
	var found []string
	upper := strings.ToUpper(answer)
	for i := 0; ; {
		at := strings.Index(upper[i:], secret)
		if at < 0 || len(found) > 3 {
			return found
		}
		i += at
		found = append(found, strings.Join(strings.Fields(answer[max(0, i-80):min(len(answer), i+80)]), " "))
		i += len(secret)
	}
}

// Whoever is of one site finds no word of another, whatever they ask for: on
// every page, in every list with every filter, in every file, by every address.
func TestScope_NoWordOfAnotherSite(t *testing.T) {
	s, wanderer := filledByItsOwn(t)
	s.apply(register.AddPerson{Name: "Somebody of " + secret, Roles: []register.GivenRole{{Role: register.Viewer, Site: birch.Name()}}})
	here := s.apply(register.AddPerson{Name: "Somebody of " + alder.Mark, Roles: []register.GivenRole{{Role: register.Viewer, Site: alder.Name()}}}).PersonID
	mine, theirs := s.paramsOf(alder, here), s.paramsOf(birch, register.LocalPersonID)

	var addresses []string
	for _, r := range s.server.Routes() {
		if r.Method != http.MethodGet || strings.HasSuffix(r.Path, "/*") {
			continue
		}
		addresses = append(addresses, slices.Collect(maps.Keys(mine.addresses(t, r.Path)))...)
		addresses = append(addresses, slices.Collect(maps.Keys(theirs.addresses(t, r.Path)))...)
		if strings.Contains(r.Path, "assemblies/:") {
			hose := maps.Clone(mine)
			for key := range hose {
				if strings.HasPrefix(key, "assemblies/") {
					hose[key] = wanderer
				}
			}
			addresses = append(addresses, slices.Collect(maps.Keys(hose.addresses(t, r.Path)))...)
		}
	}
	addresses = append(addresses, filtered()...)
	slices.Sort(addresses)
	addresses = slices.Compact(addresses)

	read := 0
	roles := []register.Role{register.Manager, register.Viewer} // who is offered most, and least
	for _, role := range roles {
		person := s.personWith("a "+string(role), register.GivenRole{Role: role, Site: alder.Name()})
		for _, address := range addresses {
			resp := person.get(address)
			read++
			if resp.StatusCode >= 500 {
				t.Errorf("%s answers %d", address, resp.StatusCode)
			}
			if found := tells(open(t, resp), askedIn(address)...); len(found) > 0 {
				t.Errorf("a %s of %s asks for %s (%d) and reads: %s", role, alder.Mark, address, resp.StatusCode, strings.Join(found, " | "))
			}
		}
	}
	t.Logf("%d addresses x %d roles of one site = %d answers without a word of the other", len(addresses), len(roles), read)

	// That the mark would be found: whoever sees all reads it on most of these.
	seen := 0
	for _, address := range addresses {
		if len(tells(open(t, s.get(address)), askedIn(address)...)) > 0 {
			seen++
		}
	}
	if seen < 60 {
		t.Errorf("whoever sees all sites reads the mark on %d of %d answers only", seen, len(addresses))
	}
	t.Logf("who sees all sites reads it in %d of them", seen)
}

// askedIn are the texts of a request that an answer may repeat.
func askedIn(address string) []string {
	u, err := url.Parse(address)
	if err != nil {
		return []string{address}
	}
	asked := []string{u.RequestURI(), u.Path, u.RawQuery}
	for _, part := range strings.Split(u.Path, "/") {
		if strings.Contains(strings.ToUpper(part), secret) {
			asked = append(asked, part)
		}
	}
	for _, values := range u.Query() {
		for _, v := range values {
			if strings.Contains(strings.ToUpper(v), secret) {
				asked = append(asked, v)
			}
		}
	}
	slices.SortFunc(asked, func(a, b string) int { return len(b) - len(a) })
	return asked
}

// filtered are the lists with all filters, and searches.
func filtered() []string {
	var all []string
	values := map[string][]string{
		"site": {birch.Name(), alder.Name()}, "machine": {birch.Machine()}, "kind": {marked.Kind}, "text": {secret, "2SN", "loader"}, "circuit": {birch.Circuit()},
		"policy": {life.NormalDemand().Name, ownPolicy}, "status": {"stop", "overdue", "soon", "ahead", "in service"}, "within": {"3000"}, "incomplete": {"yes"},
		"inspection": {"overdue", "soon"}, "over": {"yes"}, "hurt": {"yes"}, "where": {"fitted", "in store", "scrapped"}, "designation": {"2SN", secret}, "dn": {"12"},
		"empty": {"yes"}, "exposed": {"yes"}, "what": {string(register.GapCycles), string(register.GapRating)}, "from": {birch.Machine(), birch.Stored()},
		"position": {birch.Position()}, "like": {birch.Machine()}, "all": {"yes"}, "entity": {"machines"},
	}
	for _, list := range []string{
		"/", "/due", "/machines", "/assemblies", "/positions", "/unknown", "/readings", "/due.csv", "/due.xlsx", "/machines.csv", "/machines.xlsx", "/assemblies.csv", "/assemblies.xlsx",
		"/positions.csv", "/positions.xlsx", "/machines/change", "/positions/change", "/machines/new", "/assemblies/new", "/lists", "/changes", "/changes.csv", "/changes.xlsx",
		"/api/v1/due", "/api/v1/machines", "/api/v1/assemblies", "/api/v1/positions", "/api/v1/sites", "/api/v1/readings", "/api/v1/estimates",
		web.Path("machines", alder.Machine(), "copy"), web.Path("machines", alder.Machine(), "swap"), web.Path("machines", alder.Machine(), "hoses", "new"),
		web.Path("assemblies", alder.Stored(), "fit"), web.Path("assemblies", alder.Fitted(), "move"), web.Path("kinds", marked.Kind, "take"),
	} {
		all = append(all, list)
		for name, options := range values {
			for _, v := range options {
				all = append(all, address(list, name, v))
			}
		}
	}
	for _, q := range []string{
		secret, "birch", "b", "BIRCH-", birch.Machine(), birch.Fitted(), strings.ToLower(birch.Stored()), birch.Name(), "2SN", "yard", "loader", "serial", "spare place", "lift", "ALDER", "DN 12",
	} {
		all = append(all, address("/search", "q", q), address("/api/v1/search", "q", q))
	}
	return all
}

// What is sent with things of another site in it tells nothing of it either,
// and changes nothing there.
func TestScope_FormsTellNoWordOfAnotherSite(t *testing.T) {
	s, _ := filledByItsOwn(t)
	planner := s.personWith("a planner", register.GivenRole{Role: register.Planner, Site: alder.Name()}, register.GivenRole{Role: register.Manager, Site: alder.Name()})
	theirs := s.paramsOf(birch, register.LocalPersonID)
	position := theirs["history position"]
	machine := theirs["history machine"]
	before := s.pagesOf(birch)
	sent := 0
	for _, form := range []struct {
		path  string
		pairs []string
	}{
		{web.Path("machines", alder.Machine(), "copy"), []string{"from", birch.Machine()}},
		{web.Path("assemblies", alder.Stored(), "fit"), []string{"machine", birch.Machine(), "position", birch.Empty(), "on", now.Format("2006-01-02")}},
		{web.Path("assemblies", alder.Fitted(), "move"), []string{"machine", birch.Machine(), "position", birch.Empty(), "on", now.Format("2006-01-02")}},
		{web.Path("assemblies", alder.Stored(), "edit"), []string{"code", birch.Stored(), "site", birch.Name()}},
		{web.Path("machines", alder.Machine(), "edit"), []string{"code", birch.Machine(), "site", birch.Name()}},
		{"/machines/new", []string{"code", birch.Machine(), "site", alder.Name()}},
		{"/machines/new", []string{"code", "NEW-1", "site", birch.Name()}},
		{"/machines/new", []string{"code", "NEW-2", "site", alder.Name(), "from", birch.Machine()}},
		{"/assemblies/new", []string{"code", birch.Stored(), "site", alder.Name()}},
		{"/assemblies/new", []string{"code", "NEW-3", "site", birch.Name()}},
		{web.Path("machines", alder.Machine(), "swap"), []string{"position", alder.Position(), "from", birch.Stored()}},
		{"/positions/change", []string{"at", position, "exposed", "yes", "do", "save"}},
		{"/machines/change", []string{"at", machine, "planned", "20", "do", "save"}},
		{"/readings", []string{"hours-" + machine, "4000", "on", now.Format("2006-01-02")}},
		{"/sites/" + url.PathEscape(alder.Name()) + "/edit", []string{"name", birch.Name(), "zone", "UTC"}},
		{"/lists", []string{"name", "mine", "address", "/due?machine=" + birch.Machine()}},
		{"/imports/1/undo", nil},
	} {
		asked := slices.Clone(form.pairs)
		sent++
		resp := planner.post(form.path, form.pairs...)
		if resp.StatusCode >= 500 {
			t.Errorf("%s %v answers %d", form.path, form.pairs, resp.StatusCode)
		}
		body := open(t, resp) + resp.Header.Get("Location")
		if found := tells(body, append(askedIn(form.path), asked...)...); len(found) > 0 {
			t.Errorf("POST %s %v (%d) tells: %s", form.path, form.pairs, resp.StatusCode, strings.Join(found, " | "))
		}
	}
	for _, sheet := range []string{
		"machine;position;code;designation\n" + birch.Machine() + ";" + birch.Position() + ";" + birch.Fitted() + ";EN 853 2SN\n",
		"machine;position;code;designation;fitted\n" + alder.Machine() + ";" + alder.Empty() + ";" + birch.Fitted() + ";EN 853 2SN;2026-01-01\n",
		"machine;on;hours\n" + birch.Machine() + ";2026-11-20;4000\n",
		"code;site;name\n" + birch.Machine() + ";" + alder.Name() + ";mine\nNEW-9;" + birch.Name() + ";x\n",
	} {
		sent++
		r := planner.upload("list.csv", strings.NewReader(sheet), "")
		if r.StatusCode != http.StatusSeeOther {
			t.Errorf("the sheet is not read: %d", r.StatusCode)
			continue
		}
		report := planner.get(r.Header.Get("Location"))
		asked := []string{birch.Machine(), birch.Position(), birch.Fitted(), birch.Name()}
		if found := tells(open(t, report), asked...); len(found) > 0 {
			t.Errorf("the report on %q tells: %s", sheet, strings.Join(found, " | "))
		}
	}
	if after := s.pagesOf(birch); after != before {
		t.Error("something of the other site was changed")
	}
	t.Logf("%d forms and sheets", sent)
}

// pagesOf is what the register says of a site's machines and hoses.
func (s *site) pagesOf(of marked.Site) string {
	s.t.Helper()
	var all []any
	for _, code := range []string{of.Machine(), of.Second(), of.Gone()} {
		sheet, err := s.store.MachineSheet(s.t.Context(), now, code)
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, sheet)
	}
	for _, code := range []string{of.Fitted(), of.Stored(), of.Scrapped()} {
		sheet, err := s.store.AssemblySheet(s.t.Context(), now, code)
		if err != nil {
			s.t.Fatal(err)
		}
		all = append(all, sheet)
	}
	b, err := json.Marshal(all)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(b)
}
