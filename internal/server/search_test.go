package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// twoSites is a register with two machines, a hose on one of them and one in store.
func twoSites(t testing.TB) *site {
	t.Helper()
	s := depot(t)
	made := func(code string, dn int) register.AddAssembly {
		return register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: code, Designation: "EN 853 2SN", DN: dn, Made: quantity.Day(day("2024-04-01")), Assembled: quantity.Day(day("2024-06-18"))}}
	}
	s.apply(register.AddSite{Name: "Quarry", Zone: "Europe/Berlin"}, register.AddMachine{Site: "Quarry", Kind: "excavator", Code: "EX-02", Name: "Crawler"},
		register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift left"}, register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift right"},
		register.AddPosition{Machine: "EX-02", Name: "boom <b>", Exposed: true},
		made("H-1", 12), register.Fit{AssemblyCode: "H-1", Machine: "RT-01", Position: "lift left", On: day("2024-07-02")},
		made("H-2", 8), made("H/3 %", 8),
		register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 5000})
	return s
}

func TestSearch_TheCodeOfOneThingLeadsStraightToIt(t *testing.T) {
	s := twoSites(t)
	for text, to := range map[string]string{"rt-01": "/machines/RT-01", " H-1 ": "/assemblies/H-1", "h/3 %": "/assemblies/H%2F3%20%25"} {
		r := want(t, s.get("/search?q="+url.QueryEscape(text)), http.StatusSeeOther)
		if got := r.Header.Get("Location"); got != to {
			t.Errorf("%q leads to %s, want %s", text, got, to)
		}
		want(t, s.get(to), 200)
	}
}

func TestSearch_GroupsWhatItFindsAndKeepsTheText(t *testing.T) {
	s := twoSites(t)
	page := testkit.HTML(t, want(t, s.get("/search?q=depot+"), 200).Body,
		testkit.Has("#find-q[value=depot]"),
		testkit.In("section[aria-labelledby=found-machines]", testkit.Text("RT-01")),
		testkit.In("section[aria-labelledby=found-fitted]", testkit.Text("H-1"), testkit.Text("RT-01 lift left"), testkit.Text("EN 853 2SN")),
		testkit.In("section[aria-labelledby=found-store]", testkit.Text("H-2"), testkit.Text("in store")),
		testkit.In("section[aria-labelledby=found-positions]", testkit.Text("lift right")),
		testkit.HasNot("section[aria-labelledby=found-scrapped]"))
	for _, a := range testkit.Find(page, "main tbody a") {
		want(t, s.get(testkit.AttrOf(a, "href")), 200)
	}
	testkit.HTML(t, want(t, s.get("/search?q=boom"), 200).Body, testkit.In("main", testkit.Text("boom <b>"), testkit.HasNot("main b")))
	testkit.HTML(t, want(t, s.get("/search?q=nowhere"), 200).Body, testkit.In(".verdict", testkit.Text("Nothing has all of “nowhere” in it")))
	testkit.HTML(t, want(t, s.get("/search"), 200).Body, testkit.In("main", testkit.Text("Type a code")))
}

func TestSearch_TheBoxIsOnEveryPage(t *testing.T) {
	s := twoSites(t)
	for _, path := range readablePages() {
		testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.In("header form.find", testkit.Attr("action", "/search"), testkit.Has("label[for=find-q]"), testkit.Has("button")))
	}
}

func TestSearch_HostileTextsGetAPage(t *testing.T) {
	s := twoSites(t)
	for _, text := range []string{
		`"`, `'; DROP TABLE machines; --`, "a*", "NEAR(a b)", "AND", "%", "_", `\`, "a\x00b", "\xff\xfe", "<script>alert(1)</script>", strings.Repeat("a", 5000), strings.Repeat("ab ", 3000),
		"液压软管", "שלום עולם", "\u202eabc", "{{.}}", "$1", "dn 999",
	} {
		for _, path := range []string{"/search?q=", "/assemblies?text=", "/assemblies?site=", "/assemblies?dn=", "/assemblies?where=", "/positions?text=", "/positions?circuit=", "/positions?hurt=", "/positions?empty=", "/readings?text=", "/machines?text="} {
			r := want(t, s.get(path+url.QueryEscape(text)), 200)
			if b := body(t, r); strings.Contains(b, "<script>alert") || strings.Contains(b, "SQL") {
				t.Errorf("%s%.40q shows what it should not", path, text)
			}
		}
		for _, path := range []string{"/assemblies?after=", "/positions?after=", "/readings?after="} {
			if r := s.get(path + url.QueryEscape(text)); text != "\xff\xfe" && r.StatusCode != 422 && r.StatusCode != 400 {
				t.Errorf("%s%.40q: status %d", path, text, r.StatusCode)
			}
		}
	}
}

func TestAssemblies_FiltersStayInTheAddress(t *testing.T) {
	s := twoSites(t)
	testkit.HTML(t, want(t, s.get("/assemblies?where=in+store&dn=8&site=Depot"), 200).Body,
		testkit.Count("tbody tr", 2), testkit.In("tbody", testkit.Text("H-2"), testkit.NoText("H-1")), testkit.In("main", testkit.Text("2 hose assemblies.")),
		testkit.In("select[name=where] option[selected]", testkit.Text("in store")), testkit.Has("input[name=dn][value=8]"),
		testkit.Has(`details.keep input[name=address][value=/assemblies?dn=8&site=Depot&where=in+store]`), testkit.Has(`a[href=/assemblies]`))
	for _, c := range []struct{ why, query, says string }{
		{"a place that is none", "where=lost", "all are shown"},
		{"a size that is none", "dn=huge", "all sizes are shown"},
	} {
		testkit.HTML(t, want(t, s.get("/assemblies?"+c.query), 200).Body, testkit.In("[role=alert]", testkit.Text(c.says)), testkit.Count("tbody tr", 3))
	}
	for text, n := range map[string]int{"12": 1, "13": 1, "-8": 1, "1/2": 1, "DN 8": 2} {
		testkit.HTML(t, want(t, s.get("/assemblies?dn="+url.QueryEscape(text)), 200).Body, testkit.Count("tbody tr", n))
	}
}

func TestAssemblies_WarnOfWhatIsTooOldInStore(t *testing.T) {
	s := demoFleet(t)
	page := testkit.HTML(t, want(t, s.get("/assemblies?where=in+store"), 200).Body)
	warned := 0
	for _, row := range testkit.Find(page, "tbody tr") {
		if len(testkit.Find(row, "strong")) > 0 {
			warned++
		}
	}
	if rows := len(testkit.Find(page, "tbody tr")); warned == 0 || warned == rows {
		t.Errorf("%d of %d warned of", warned, rows)
	}
}

func TestPositions_FiltersAndPages(t *testing.T) {
	s := twoSites(t)
	testkit.HTML(t, want(t, s.get("/positions"), 200).Body, testkit.Count("tbody tr", 3), testkit.In("main", testkit.Text("3 positions.")),
		testkit.Has("a[href=/positions/change?all=yes]"))
	testkit.HTML(t, want(t, s.get("/positions?empty=yes&machine=rt-01"), 200).Body, testkit.Count("tbody tr", 1), testkit.In("tbody", testkit.Text("lift right"), testkit.Text("none")),
		testkit.Has("form input[type=hidden][name=machine][value=rt-01]"), testkit.Has("a[href=/positions/change?all=yes&empty=yes&machine=rt-01]"))
	testkit.HTML(t, want(t, s.get("/positions?exposed=yes"), 200).Body, testkit.Count("tbody tr", 1), testkit.In("tbody", testkit.Text("EX-02")))
	testkit.HTML(t, want(t, s.get("/positions?exposed=maybe"), 200).Body, testkit.In("[role=alert]", testkit.Text("Choose yes or no")), testkit.Count("tbody tr", 3))
	fleet := demoFleet(t)
	seen, path := map[string]bool{}, "/positions"
	for range 20 {
		page := testkit.HTML(t, want(t, fleet.get(path), 200).Body)
		for _, n := range testkit.Find(page, "tbody input[type=checkbox]") {
			id := testkit.AttrOf(n, "value")
			if seen[id] {
				t.Errorf("position %s is on two pages", id)
			}
			seen[id] = true
		}
		next := testkit.Find(page, ".pager a")
		if len(next) == 0 {
			break
		}
		path = testkit.AttrOf(next[0], "href")
	}
	all, err := fleet.store.PositionIDs(t.Context(), register.PositionFilter{})
	if err != nil || len(all) != len(seen) || len(all) < 200 {
		t.Errorf("%d positions on the pages of %d, %v", len(seen), len(all), err)
	}
}

func TestToday_LeadsToWhatIsInStoreAndToEmptyPositions(t *testing.T) {
	s := twoSites(t)
	page := testkit.HTML(t, want(t, s.get("/"), 200).Body)
	for path, n := range map[string]int{"/positions?empty=yes": 2, "/assemblies?where=in+store": 2} {
		if len(testkit.Find(page, "dl.facts a[href="+path+"]")) != 1 {
			t.Errorf("Today does not lead to %s", path)
		}
		testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.Count("tbody tr", n))
	}
}
