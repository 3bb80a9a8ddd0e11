package server_test

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
	"hoseward/web"
)

// depot is a register with one machine.
func depot(t testing.TB) *site {
	t.Helper()
	s := empty(t)
	planned := 30.0
	s.apply(register.AddSite{Name: "Depot", Zone: "Europe/Berlin"},
		register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-01", Name: "Refuse truck", PlannedHoursPerWeek: &planned})
	return s
}

func day(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// typed is a form as the browser would send it from the page: every field with
// what stands in it, then what the person types over it.
func typed(t testing.TB, page *html.Node, over ...string) []string {
	t.Helper()
	values := map[string]string{}
	var order []string
	put := func(name, value string) {
		if _, ok := values[name]; !ok {
			order = append(order, name)
		}
		values[name] = value
	}
	for _, n := range testkit.Find(page, "main form[method=post] input") {
		kind := testkit.AttrOf(n, "type")
		_, checked := attr(n, "checked")
		if (kind == "checkbox" || kind == "radio") && !checked {
			continue
		}
		put(testkit.AttrOf(n, "name"), testkit.AttrOf(n, "value"))
	}
	for _, n := range testkit.Find(page, "main form[method=post] textarea") {
		put(testkit.AttrOf(n, "name"), strings.TrimPrefix(testkit.TextOf(n), "\n"))
	}
	for _, n := range testkit.Find(page, "main form[method=post] select") {
		value := ""
		for _, o := range testkit.Find(n, "option[selected]") {
			value = testkit.AttrOf(o, "value")
		}
		put(testkit.AttrOf(n, "name"), value)
	}
	for i := 0; i+1 < len(over); i += 2 {
		put(over[i], over[i+1])
	}
	var pairs []string
	for _, name := range order {
		pairs = append(pairs, name, values[name])
	}
	return pairs
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// fill opens a form, types over it and sends it.
func (s *site) fill(path string, over ...string) *http.Response {
	s.t.Helper()
	page := testkit.HTML(s.t, want(s.t, s.get(path), 200).Body)
	return s.post(path, typed(s.t, page, over...)...)
}

// wentTo wants the browser to be sent on to an address, and opens it.
func (s *site) wentTo(r *http.Response, path string) *html.Node {
	s.t.Helper()
	want(s.t, r, http.StatusSeeOther)
	if got := r.Header.Get("Location"); got != path {
		s.t.Fatalf("sent on to %s, want %s", got, path)
	}
	return testkit.HTML(s.t, want(s.t, s.get(path), 200).Body)
}

func TestMachineForm_AddsTheFirstMachineOfARegister(t *testing.T) {
	s := empty(t)
	page := s.wentTo(s.fill("/machines/new", "code", "A/1 ß", "name", "Loader", "site", "Yard", "kind", "wheel loader", "planned", "12,5 ", "hurt", "yes"), "/machines/A%2F1%20%C3%9F?done=machine-added")
	if err := testkit.In(".done", testkit.Text("The machine is in the register"))(page); err != nil {
		t.Error(err)
	}
	sheet, err := s.store.MachineSheet(t.Context(), now, "A/1 ß")
	if err != nil {
		t.Fatal(err)
	}
	m := sheet.Machine
	if m.Name != "Loader" || sheet.Site.Name != "Yard" || sheet.Kind != "wheel loader" || *m.PlannedHoursPerWeek != 12.5 || !m.CanHurt {
		t.Errorf("added %+v at %s, %s", m, sheet.Site.Name, sheet.Kind)
	}
}

// Every refusal is told at its field, and what was typed stays.
func TestForms_TellAtTheFieldAndKeepWhatWasTyped(t *testing.T) {
	s := depot(t)
	s.apply(register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 5000})
	machine := "/machines/RT-01"
	for _, c := range []struct {
		why, path   string
		over        []string
		field, says string
	}{
		{"no code", "/machines/new", []string{"name", "Loader"}, "code", "Give the machine a code."},
		{"a code that is taken", "/machines/new", []string{"code", "RT-01", "site", "Depot"}, "code", "RT-01"},
		{"no number", "/machines/new", []string{"code", "X", "planned", "many"}, "planned", "is not a plain number"},
		{"a site's name of a thousand letters", "/machines/new", []string{"code", "X", "site", strings.Repeat("x", 1000)}, "site", "at most"},
		{"planned hours that can be two things", "/machines/new", []string{"code", "X", "planned", "1.260"}, "planned", "can be 1260 or 1.260"},
		{"more hours than a week has", "/machines/new", []string{"code", "X", "planned", "169"}, "planned", "outside 0 to 168"},
		{"a code of a thousand letters", "/machines/new", []string{"code", strings.Repeat("x", 1000)}, "code", "at most 60"},
		{"a reading without day", machine + "/readings/new", []string{"on", "", "hours", "5100"}, "on", "Give the day"},
		{"a day the calendar lacks", machine + "/readings/new", []string{"on", "31.02.2026", "hours", "5100"}, "on", "no day 31"},
		{"a month is no day", machine + "/readings/new", []string{"on", "11/2026", "hours", "5100"}, "on", "is not one day"},
		{"a day to come", machine + "/readings/new", []string{"on", "2027-01-01", "hours", "5100"}, "on", "lies ahead"},
		{"a falling meter", machine + "/readings/new", []string{"hours", "4000"}, "hours", "5000"},
		{"a negative meter", machine + "/readings/new", []string{"hours", "-3"}, "hours", "below zero"},
		{"hours that can be two things", machine + "/readings/new", []string{"hours", "812.375"}, "hours", "can be 812375 or 812.375"},
		{"half a meter change", machine + "/readings/new", []string{"hours", "5", "old_end", "5200"}, "new_start", "Give where the new meter began"},
		{"no position", machine + "/hoses/new", []string{"fitted", "2026-01-01"}, "position", "Name the position"},
		{"no fitting day", machine + "/hoses/new", []string{"position", "lift"}, "fitted", "Give the day"},
		{"an unknown unit", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "rated", "275 furlong"}, "rated", "furlong"},
		{"an absurd pressure", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "rated", "275000 bar"}, "rated", "too much for any hose"},
		{"no rating at all", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "rated", "0"}, "rated", "above zero"},
		{"no size", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "size", "big"}, "size", "is not a hose size"},
		{"a date that is none", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "made", "long ago"}, "made", "long ago"},
		{"a bare number that is too much for bar", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "rated", "4000"}, "rated", "too much for bar"},
		{"a rating that can be two things", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "rated", "1.250"}, "rated", "too much for bar"},
		{"a length too short for mm", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "length", "1.25"}, "length", "too short for mm"},
		{"hours at fitting that can be two things", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "fitted_hours", "1.260"}, "fitted_hours", "can be 1260 or 1.260"},
		{"made in a quarter to come", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "made", "3Q2099"}, "made", "still to come"},
		{"made next year", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "made", "11/2027"}, "made", ""},
		{"assembled on a day to come", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "assembled", "2027-03-01"}, "assembled", "still to come"},
		{"fitted on a day to come", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-11-27"}, "fitted", "still to come"},
		{"an end below zero", machine + "/hoses/new", []string{"position", "lift", "fitted", "2026-01-01", "end_a_bar", "-5"}, "end_a_bar", "below zero"},
	} {
		t.Run(c.why, func(t *testing.T) {
			before := changes(t, s)
			resp := want(t, s.fill(c.path, c.over...), 422)
			page := testkit.HTML(t, resp.Body, testkit.In("#"+c.field+"-error", testkit.Text(c.says)),
				testkit.In("#problems", testkit.Has("a[href=#"+c.field+"]")), testkit.Has("#"+c.field+"[aria-invalid=true]"))
			checkNames(t, c.path, page)
			sent := typed(t, page)
			for i := 0; i+1 < len(c.over); i += 2 {
				kept := false
				for j := 0; j+1 < len(sent); j += 2 {
					kept = kept || sent[j] == c.over[i] && sent[j+1] == c.over[i+1]
				}
				if !kept {
					t.Errorf("%s=%q is lost", c.over[i], c.over[i+1])
				}
			}
			if after := changes(t, s); after != before {
				t.Errorf("%d rows were changed", after-before)
			}
		})
	}
}

func changes(t *testing.T, s *site) int64 {
	t.Helper()
	rows, broken, err := s.store.VerifyChain(context.Background())
	if err != nil || broken != 0 {
		t.Fatalf("verify the change log: broken at %d, %v", broken, err)
	}
	return rows
}

func TestReadingForm_NotesTheReading(t *testing.T) {
	s := depot(t)
	page := s.wentTo(s.fill("/machines/RT-01/readings/new", "on", "25.11.2026", "hours", "5 120,5", "note", "by hand"), "/machines/RT-01?done=reading-noted")
	if err := testkit.In("main", testkit.Text("5120.5 h on 2026-11-25"))(page); err != nil {
		t.Error(err)
	}
	s.wentTo(s.fill("/machines/RT-01/readings/new", "old_end", "5120,5", "new_start", "0"), "/machines/RT-01?done=reading-noted")
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil || len(sheet.MeterEvents) != 1 || sheet.MeterEvents[0].OldEnd != 5120.5 || len(sheet.Readings) != 1 {
		t.Errorf("%+v %+v %v", sheet.MeterEvents, sheet.Readings, err)
	}
}

// The line is example 11 of the facts' style: EN 853 2SN DN 12 is rated 275 bar
// (two public tables).
const layline = "TESTCO EN 853 2SN DN 12 275 BAR 3Q24"

func TestHoseForm_ShowsWhatWasReadBeforeItSaves(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	before := changes(t, s)
	resp := want(t, s.fill(path, "position", "lift left", "circuit", "lift", "layline", layline, "fitted", "2024-10-05", "fitted_hours", "3120", "hurt", "yes"), 200)
	page := testkit.HTML(t, resp.Body,
		testkit.In(".reading", testkit.Text("designation EN 853 2SN"), testkit.Text("rating 275 bar"), testkit.Text("hose made 3Q2024"), testkit.Text("Nothing is saved yet")),
		testkit.HasNot("#problems"))
	checkNames(t, path, page)
	if after := changes(t, s); after != before {
		t.Fatalf("%d rows were saved before the person saw what was read", after-before)
	}
	resp = s.post(path, typed(t, page)...)
	want(t, resp, http.StatusSeeOther)
	to := resp.Header.Get("Location")
	if !strings.HasPrefix(to, "/assemblies/") {
		t.Fatalf("sent on to %s", to)
	}
	testkit.HTML(t, want(t, s.get(to), 200).Body, testkit.In("main", testkit.Text("RT-01 , lift left (circuit lift)"), testkit.Text("Designation EN 853 2SN"), testkit.Text("275 bar printed on the hose"), testkit.Text("Hose made 3Q2024"), testkit.Text("wire braid")))
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil || len(sheet.Lines) != 1 || !sheet.Lines[0].Estimate.CanHurt || sheet.Lines[0].Fitted != day("2024-10-05") {
		t.Errorf("%+v %v", sheet.Lines, err)
	}
}

func TestHoseForm_AsksWhereADateHasTwoReadings(t *testing.T) {
	for _, c := range []struct {
		answer    string
		made      string
		ambiguous bool
	}{
		{"2010-07", "2010-07", false},
		{"2007-10", "2007-10", false},
		{"unsure", "2007-10", true}, // the earlier one is the safer one
	} {
		s := depot(t)
		path := "/machines/RT-01/hoses/new"
		first := want(t, s.fill(path, "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "made", "07/10", "fitted", "2011-01-05"), 422)
		page := testkit.HTML(t, first.Body, testkit.In("#made_reading", testkit.Text("2007-10"), testkit.Text("2010-07"), testkit.Text("not sure")), testkit.Has("#made_reading-error"))
		checkNames(t, path, page)
		resp := want(t, s.post(path, typed(t, page, "made_reading", c.answer, "released_by", "M. Adler", "reason", "found in the store, sound")...), http.StatusSeeOther)
		code := strings.TrimSuffix(strings.TrimPrefix(resp.Header.Get("Location"), "/assemblies/"), "?done=hose-added")
		sheet, err := s.store.AssemblySheet(t.Context(), now, code)
		if err != nil {
			t.Fatal(err)
		}
		if a := sheet.Assembly; a.Made.String() != c.made || a.MadeAmbiguous != c.ambiguous || a.MadeText != "07/10" {
			t.Errorf("answer %s: made %s (%q), ambiguous %v", c.answer, a.Made, a.MadeText, a.MadeAmbiguous)
		}
	}
}

func TestHoseForm_AsksWhereASizeHasTwoReadings(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "size", "8", "fitted", "2024-01-05"), 422).Body,
		testkit.In("#size_reading", testkit.Text("DN 8, -5"), testkit.Text("DN 12, -8")))
	want(t, s.post(path, typed(t, page, "size_reading", "1")...), http.StatusSeeOther)
	sheet, _ := s.store.MachineSheet(t.Context(), now, "RT-01")
	if l := sheet.Lines[0]; l.DN != 12 || l.Dash != 8 {
		t.Errorf("size DN %d -%d, want the second reading", l.DN, l.Dash)
	}
}

// A layline that is mended takes back what the first one filled in, and leaves
// what was typed.
func TestHoseForm_ALaylineThatIsMendedIsReadAnew(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "layline", layline, "tube", "CR", "fitted", "2024-10-05"), 200).Body)
	page = testkit.HTML(t, want(t, s.post(path, typed(t, page, "layline", "TESTCO EN 856 4SP DN 19 350 BAR 2Q23")...), 200).Body)
	got := typed(t, page)
	for name, value := range map[string]string{"designation": "EN 856 4SP", "rated": "350 bar", "made": "2Q2023", "tube": "CR", "position": "lift"} {
		found := ""
		for i := 0; i+1 < len(got); i += 2 {
			if got[i] == name {
				found = got[i+1]
			}
		}
		if found != value {
			t.Errorf("%s is %q, want %q", name, found, value)
		}
	}
}

func TestHoseForm_ATakenPositionIsRefusedInOneSentence(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	for i, status := range []int{303, 409} {
		resp := s.fill(path, "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "fitted", "2024-01-05")
		if resp.StatusCode != status && !(i == 1 && resp.StatusCode == 422) {
			t.Fatalf("hose %d: status %d", i+1, resp.StatusCode)
		}
		if i == 1 {
			testkit.HTML(t, resp.Body, testkit.Has("#problems li"), testkit.In("#problems", testkit.Text("lift")))
		}
	}
}

func inspected(t *testing.T) *site {
	t.Helper()
	s := depot(t)
	want(t, s.fill("/machines/RT-01/hoses/new", "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "assembled", "2024-01", "fitted", "2024-02-05"), 303)
	return s
}

func TestInspectionForm_SoundIsSaidNotAssumed(t *testing.T) {
	s := inspected(t)
	path := "/machines/RT-01/inspections/new"
	for _, c := range []struct {
		why  string
		over []string
		id   string
		says string
	}{
		{"no verdict", []string{"position", "lift"}, "verdict-error", "Say whether it is sound"},
		{"sound and a finding", []string{"position", "lift", "verdict", "sound", "kind-1", "2"}, "verdict-error", "cannot both be right"},
		{"found and nothing said", []string{"position", "lift", "verdict", "found"}, "kind-1-error", "Say what was seen"},
		{"own words without words", []string{"position", "lift", "verdict", "found", "kind-1", "0", "class-1", "watch"}, "note-1-error", "in your own words"},
		{"own words without class", []string{"position", "lift", "verdict", "found", "kind-1", "0", "note-1", "odd"}, "class-1-error", "Choose a class"},
		{"a class without a finding", []string{"position", "lift", "verdict", "found", "kind-1", "2", "class-2", "stop"}, "kind-2-error", "Say what was seen"},
		{"to be done before it was seen", []string{"position", "lift", "verdict", "found", "kind-1", "3", "act-1", "2020-01-01"}, "act-1-error", "before it was seen"},
		{"no such finding", []string{"position", "lift", "verdict", "found", "kind-1", "99"}, "kind-1-error", "from the list"},
		{"no position", []string{"verdict", "sound"}, "position-error", "Choose the position"},
	} {
		t.Run(c.why, func(t *testing.T) {
			before := changes(t, s)
			page := testkit.HTML(t, want(t, s.fill(path, c.over...), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
			checkNames(t, path, page)
			if changes(t, s) != before {
				t.Error("something was saved")
			}
		})
	}
}

func TestInspectionForm_AStopFindingStopsTheMachine(t *testing.T) {
	s := inspected(t)
	page := s.wentTo(s.fill("/machines/RT-01/inspections/new?position=lift", "by", "N. Ott", "verdict", "found", "kind-1", "2", "place-1", "end A", "kind-2", "15", "note-2", "clamp gone"), "/machines/RT-01?done=inspection-stop")
	for _, says := range []testkit.Check{
		testkit.In(".verdict", testkit.Text("Take this machine out of service")),
		testkit.In(".done", testkit.Text("take the machine out of service now"), testkit.Text("depressurise it"), testkit.Text("mark it")),
	} {
		if err := says(page); err != nil {
			t.Error(err)
		}
	}
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil || sheet.Lines[0].Status != life.StatusStop {
		t.Fatalf("%+v %v", sheet.Lines, err)
	}
	testkit.HTML(t, s.get(web.Path("assemblies", sheet.Lines[0].AssemblyCode)).Body,
		testkit.In(".big-date", testkit.Text("Do not work with it")),
		testkit.In("main", testkit.Text("stop – do not work with it"), testkit.Text("wire visible, broken or rusty – end A"), testkit.Text("clamp gone")))
}

// What is typed into any field comes back as the text it is, on every page it
// shows on.
func TestText_ComesBackEscaped(t *testing.T) {
	for _, evil := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `'; DROP TABLE machines;--`, `{{.Static}}`, `</textarea></title></svg><b>x`, `javascript:alert(1)`, `&lt;b&gt;&amp;`, `Ω≈ç√∫˜µ≤ 日本語 😀`} {
		s := empty(t)
		want(t, s.fill("/machines/new", "code", evil, "name", evil, "site", evil, "kind", evil, "serial", evil, "note", evil), 303)
		machine := web.Path("machines", evil)
		resp := s.fill(machine+"/hoses/new", "position", evil, "circuit", evil, "layline", evil, "designation", evil, "fitted", "2024-01-05",
			"end_a", evil, "end_b", evil, "tube", evil, "maker", evil, "note", evil, "code", evil)
		page := testkit.HTML(t, want(t, resp, 200).Body)
		want(t, s.post(machine+"/hoses/new", typed(t, page)...), 303)
		want(t, s.fill(machine+"/readings/new", "hours", "10", "note", evil), 303)
		want(t, s.fill(machine+"/inspections/new", "position", evil, "by", evil, "verdict", "found", "kind-1", "0", "class-1", "watch", "note-1", evil, "note", evil), 303)
		shown := 0
		for _, path := range []string{"/", "/due", "/machines", machine, web.Path("assemblies", evil), machine + "/hoses/new", machine + "/readings/new", machine + "/inspections/new", "/machines/new", "/due?machine=" + "x", "/policies"} {
			raw := body(t, want(t, s.get(path), 200))
			page := testkit.HTML(t, strings.NewReader(raw), testkit.HasNot("b"), testkit.HasNot("[onerror]"), testkit.Count("script", 1))
			for _, a := range testkit.Find(page, "a") {
				if strings.HasPrefix(testkit.AttrOf(a, "href"), "javascript") {
					t.Errorf("%s: a link is a script", path)
				}
			}
			if strings.Contains(testkit.TextOf(page), strings.Join(strings.Fields(evil), " ")) {
				shown++
			}
		}
		if shown < 5 {
			t.Errorf("%q is shown on %d pages only", evil, shown)
		}
		csv, err := io.ReadAll(s.get("/due.csv").Body)
		if err != nil || !strings.Contains(string(csv), strings.ReplaceAll(evil, `"`, `""`)) {
			t.Errorf("the CSV lacks %q: %s", evil, csv)
		}
		if strings.Contains(string(csv), "\n=") || strings.Contains(string(csv), ",=") {
			t.Errorf("a formula stands in the CSV: %s", csv)
		}
	}
}

func TestCSV_NoTextIsAFormula(t *testing.T) {
	s := empty(t)
	want(t, s.fill("/machines/new", "code", "=1+1", "site", "@SUM(A1)", "name", "-x"), 303)
	want(t, s.fill("/machines/=1+1/hoses/new", "position", "+7", "designation", "EN 853 2SN", "size", "DN 12", "fitted", "2024-01-05"), 303)
	csv := body(t, s.get("/due.csv"))
	for _, safe := range []string{",'=1+1,", ",'@SUM(A1),", ",'+7,", ",'-x,"} {
		if !strings.Contains(csv, safe) {
			t.Errorf("no %s in %s", safe, csv)
		}
	}
}
