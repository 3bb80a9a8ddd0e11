package server_test

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"

	"golang.org/x/net/html"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
	"hoseward/web"
)

// shop is how a workshop prints that thinks in psi.
var shop = register.Units{PressureUnit: "psi", TemperatureUnit: "degF", LengthUnit: "inch", DateStyle: "mdy"}

// unitStore is a register whose one person has chosen units.
type unitStore struct {
	server.Store
	units register.Units
	asked *atomic.Int32
	err   error
}

func (s unitStore) SignedIn(ctx context.Context, id int64) (register.SignedIn, error) {
	if s.asked != nil {
		s.asked.Add(1)
	}
	if s.err != nil {
		return register.SignedIn{}, s.err
	}
	known, err := s.Store.SignedIn(ctx, id)
	known.Person.Units = s.units
	return known, err
}

func units(u register.Units) setting {
	return func(_ *server.Config, d *server.Deps) {
		d.For = only(unitStore{Store: d.For(register.AllSites()), units: u})
	}
}

// ours is what is in bar, °C, mm or ISO in a text of a page for shop.
var ours = regexp.MustCompile(`[0-9] ?(bar|MPa|°C|mm)\b|\b[12][0-9]{3}-[0-9]{2}-[0-9]{2}\b`)

// kept are the parts of pages that stay in bar, °C, mm and ISO for everybody:
// the working and the words of life, hints that name several units, what was
// printed on a hose. The page of units says so.
func kept() []string {
	return []string{"#working", ".warnings", ".hint", ".layline", "datalist", "textarea"}
}

// printedOn is a rating as the laylines of the demo fleet have it, or what
// somebody there wrote in their own words.
var printedOn = regexp.MustCompile(`MAX WP [0-9.]+ BAR( / [0-9.]+ MPa)?|over [0-9]+ mm`)

// keptPage tells the pages that show standards, manuals, sheets and whole registers
// as they are.
func keptPage(path string) bool {
	for _, p := range []string{"/manual", "/tables", "/policies", "/import", "/me", "/register"} {
		if strings.HasPrefix(path, p) {
			return true
		}
	}
	return false
}

func TestUnits_EveryPageIsInThoseOfThePerson(t *testing.T) {
	s := fullFleet(t, units(shop))
	inches, psi := 0, 0
	for _, path := range everyPage(s) {
		if keptPage(path) {
			continue
		}
		page := testkit.HTML(t, s.get(path).Body)
		for _, part := range kept() {
			for _, n := range testkit.Find(page, part) {
				n.Parent.RemoveChild(n)
			}
		}
		text := printedOn.ReplaceAllString(testkit.TextOf(testkit.Find(page, "body")[0])+" "+values(page), "")
		if found := ours.FindAllString(text, 3); found != nil {
			at := strings.Index(text, found[0])
			t.Errorf("%s prints %q: …%s…", path, found, text[max(0, at-80):min(len(text), at+80)])
		}
		inches += strings.Count(text, " in ")
		psi += strings.Count(text, " psi")
		for _, n := range testkit.Find(page, "time") {
			if _, err := parseISO(testkit.AttrOf(n, "datetime")); err != nil {
				t.Errorf("%s: datetime %q", path, testkit.AttrOf(n, "datetime"))
			}
		}
	}
	if psi < 10 || inches < 1 {
		t.Errorf("%d pressures in psi, %d lengths in inches on all pages", psi, inches)
	}
}

func parseISO(s string) (string, error) {
	if !regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}(T.*)?$`).MatchString(s) {
		return "", errors.New("not a day")
	}
	return s, nil
}

// values is what stands in the fields of a page.
func values(page *html.Node) string {
	var all []string
	for _, n := range testkit.Find(page, "input") {
		if kind := testkit.AttrOf(n, "type"); kind != "hidden" {
			all = append(all, testkit.AttrOf(n, "value"))
		}
	}
	return strings.Join(all, " ; ")
}

func TestUnits_ABareNumberOnAFormIsInThePersonsUnit(t *testing.T) {
	s := serve(t, depot(t).store, units(shop))
	path := "/machines/RT-01/hoses/new"
	testkit.HTML(t, s.get(path).Body, testkit.In("#rated-hint", testkit.Text("In psi")), testkit.In("#length-hint", testkit.Text("In inches")),
		testkit.In("#max_c-hint", testkit.Text("In °F")), testkit.In("#fitted-hint", testkit.Text("11/25/2026")))
	a := s.stored(s.fill(path, "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "rated", "4000", "end_a_bar", "275 bar", "max_c", "212", "length", "49 1/4", "fitted", "03/04/2026"))
	if *a.RatedBar != 4000*0.06894757293168361 || *a.EndABar != 275 || *a.MaxC != 100 || *a.LengthMM != 1250.95 {
		t.Errorf("stored %v bar, end A %v bar, %v °C, %v mm", *a.RatedBar, *a.EndABar, *a.MaxC, *a.LengthMM)
	}
	page := testkit.HTML(t, want(t, s.get(web.Path("assemblies", a.Code)), 200).Body, testkit.In("main", testkit.Text("4000 psi"), testkit.Text("212 °F"), testkit.Text("49 1/4 in")))
	if placed := testkit.Find(page, ".story time"); testkit.AttrOf(placed[0], "datetime") != "2026-03-04" || testkit.TextOf(placed[0]) != "03/04/2026" {
		t.Errorf("fitted %s, shown as %s", testkit.AttrOf(placed[0], "datetime"), testkit.TextOf(placed[0]))
	}
}

// What a page says of units at its fields holds for what is typed there, though
// the person chooses others on another page before it is sent.
func TestUnits_AFormIsReadInThoseItWasPrintedIn(t *testing.T) {
	s := depot(t)
	s.apply(register.SetUnits{Units: shop})
	path := "/machines/RT-01/hoses/new"
	form := typed(t, testkit.HTML(t, s.get(path).Body, testkit.In("#rated-hint", testkit.Text("In psi"))),
		"position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "rated", "500", "length", "10", "fitted", "03/04/2026")
	s.apply(register.SetUnits{Units: register.Units{PressureUnit: "bar", TemperatureUnit: "degC", LengthUnit: "mm", DateStyle: "dmy/"}})
	a := s.stored(s.post(path, form...))
	if *a.RatedBar != 500*0.06894757293168361 || *a.LengthMM != 254 {
		t.Errorf("stored %v bar, %v mm", *a.RatedBar, *a.LengthMM)
	}
	page := testkit.HTML(t, want(t, s.get(web.Path("assemblies", a.Code)), 200).Body)
	if placed := testkit.Find(page, ".story time"); testkit.AttrOf(placed[0], "datetime") != "2026-03-04" {
		t.Errorf("fitted %s", testkit.AttrOf(placed[0], "datetime"))
	}
}

func TestUnits_ADateInAnotherSignIsToldBeforeItIsSaved(t *testing.T) {
	for style, says := range map[string]string{"mdy": "read month first, as 4 March 2026", "dmy/": "read day first, as 3 April 2026", "dmy": "", "": ""} {
		s := serve(t, depot(t).store, units(register.Units{DateStyle: style}))
		path := "/machines/RT-01/hoses/new"
		r := s.fill(path, "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "fitted", "03.04.2026")
		if says == "" {
			want(t, r, http.StatusSeeOther)
			continue
		}
		page := testkit.HTML(t, want(t, r, 200).Body, testkit.In("main", testkit.Text(says)))
		s.stored(s.post(path, typed(t, page)...))
	}
}

// The forms for a reading and for an inspection tell it too, and the yard's.
func TestUnits_EveryFormTellsHowADateWasRead(t *testing.T) {
	s := inspected(t)
	for _, c := range [][]string{
		{"/machines/RT-01/readings/new", "on", "01/02/2026", "hours", "7000"},
		{"/machines/RT-01/inspections/new", "on", "01/02/2026", "position", "lift", "verdict", "sound"},
		{"/readings", "on", "08/02/2026", "hours.RT-01", "7030"},
	} {
		path, fields := c[0], c[1:]
		says := "“" + fields[1] + "” is read day first, as " + strings.TrimPrefix(fields[1][:2], "0") + " February 2026."
		before := changes(t, s)
		page := testkit.HTML(t, want(t, s.fill(path, fields...), 200).Body, testkit.In("section[aria-labelledby=told-h]", testkit.Text(says)))
		if changes(t, s) != before {
			t.Errorf("%s saves before it tells", path)
		}
		want(t, s.post(path, typed(t, page)...), http.StatusSeeOther)
		if changes(t, s) == before {
			t.Errorf("%s does not save what it told", path)
		}
	}
}

func TestUnits_ThePersonIsReadOnceForEachRequest(t *testing.T) {
	var asked atomic.Int32
	s := demoFleet(t, func(_ *server.Config, d *server.Deps) {
		d.For = only(unitStore{Store: d.For(register.AllSites()), units: shop, asked: &asked})
	})
	l := s.first(register.LineFilter{})
	for _, path := range []string{"/", "/due", web.Path("machines", l.MachineCode), web.Path("assemblies", l.AssemblyCode), "/nowhere"} {
		asked.Store(0)
		s.get(path)
		if n := asked.Load(); n != 1 {
			t.Errorf("%s asks for the person %d times", path, n)
		}
	}
}

func TestUnits_WithoutThePersonThereIsNoPage(t *testing.T) {
	s := demoFleet(t, func(_ *server.Config, d *server.Deps) {
		d.For = only(unitStore{Store: d.For(register.AllSites()), err: errors.New("no such table")})
	})
	l := s.first(register.LineFilter{})
	testkit.HTML(t, want(t, s.get(web.Path("machines", l.MachineCode)), 500).Body, testkit.In("h1", testkit.Text("Something went wrong")), testkit.In(".title-block", testkit.Text("2026-11-25")))
	if !strings.Contains(s.log.String(), "no such table") {
		t.Error("nobody is told")
	}
}

// Each printing of a value for a page goes through the style of the person.
func TestUnits_NothingIsPrintedForNobody(t *testing.T) {
	sources, err := filepath.Glob("*.go")
	if err != nil || len(sources) < 10 {
		t.Fatalf("%d sources, %v", len(sources), err)
	}
	without := regexp.MustCompile(`\bweb\.(Bar|Celsius|MM|Date|Period|Band)\b`)
	for _, name := range sources {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(text), "\n") {
			if without.MatchString(line) {
				t.Errorf("%s:%d prints in no one's units: %s", name, i+1, strings.TrimSpace(line))
			}
		}
	}
}

func TestMe_SetsTheUnitsOfThePerson(t *testing.T) {
	s := depot(t)
	page := testkit.HTML(t, want(t, s.get("/me"), 200).Body, testkit.In("h1", testkit.Text("Units and dates")), testkit.In("main", testkit.Text("275 bar"), testkit.Text("2026-11-25")))
	checkNames(t, "/me", page)
	r := want(t, s.post("/me", typed(t, page, "pressure_unit", "psi", "temperature_unit", "degF", "length_unit", "inch", "date_style", "mdy")...), http.StatusSeeOther)
	page = testkit.HTML(t, want(t, s.get(r.Header.Get("Location")), 200).Body, testkit.Has(".done"), testkit.In("dl.facts", testkit.Text("3988 psi"), testkit.Text("212 °F"), testkit.Text("49.21 in"), testkit.Text("11/25/2026")),
		testkit.In(".title-block", testkit.Text("11/25/2026")))
	for name, value := range map[string]string{"pressure_unit": "psi", "temperature_unit": "degF", "length_unit": "inch", "date_style": "mdy"} {
		if chosen := testkit.Find(page, "#"+name+" option[selected]"); len(chosen) != 1 || testkit.AttrOf(chosen[0], "value") != value {
			t.Errorf("%s is not shown as chosen", name)
		}
	}
	if p, err := s.store.Person(t.Context(), register.LocalPersonID); err != nil || p.Units != shop {
		t.Errorf("kept %+v, %v", p.Units, err)
	}
	before := changes(t, s)
	testkit.HTML(t, want(t, s.post("/me", "pressure_unit", "atm", "temperature_unit", "degF", "length_unit", "inch", "date_style", "mdy"), 422).Body, testkit.Has("#pressure_unit-error"))
	if changes(t, s) != before {
		t.Error("something was saved of a choice that is none")
	}
}
