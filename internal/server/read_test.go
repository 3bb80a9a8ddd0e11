package server_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
	"hoseward/web"
)

func isDemo(c *server.Config, _ *server.Deps) { c.Demo = true }

// first is a line of the demo fleet that the filter chooses.
func (s *site) first(f register.LineFilter) register.Line {
	s.t.Helper()
	f.Limit = 1
	page, err := s.store.Lines(context.Background(), now, f)
	if err != nil {
		s.t.Fatal(err)
	}
	if len(page.Lines) == 0 {
		s.t.Fatalf("the demo fleet has no line for %+v", f)
	}
	return page.Lines[0]
}

func TestToday_CountsLeadToTheirLists(t *testing.T) {
	s := demoFleet(t)
	page := testkit.HTML(t, want(t, s.get("/"), 200).Body, testkit.In("h1", testkit.Text("Today")))
	rows := testkit.Find(page, "table.counts tbody tr")
	if len(rows) != 8 {
		t.Fatalf("%d counts", len(rows))
	}
	for _, row := range rows {
		count, err := strconv.Atoi(testkit.TextOf(testkit.Find(row, "td.num")[0]))
		if err != nil {
			t.Fatal(err)
		}
		links := testkit.Find(row, "a")
		if count == 0 {
			continue
		}
		if len(links) != 1 {
			t.Errorf("%q leads nowhere", testkit.TextOf(row))
			continue
		}
		href := testkit.AttrOf(links[0], "href")
		list := testkit.HTML(t, want(t, s.get(href), 200).Body)
		if text := testkit.TextOf(testkit.Find(list, "main p")[0]); !strings.HasPrefix(text, web.Count(count, "hose assembly", "hose assemblies")) {
			t.Errorf("%s: counted %d, the list says %q", href, count, text)
		}
	}
}

func TestToday_AnEmptyRegisterSaysWhereToBegin(t *testing.T) {
	testkit.HTML(t, want(t, empty(t).get("/"), 200).Body,
		testkit.In("main", testkit.Text("This register is empty")), testkit.Has(`a[href=/import]`), testkit.Has(`a[href=/machines/new]`), testkit.HasNot("table.counts"))
}

func TestToday_TellsOfAJobThatFailed(t *testing.T) {
	s := empty(t)
	ctx := t.Context()
	today := quantity.DateOf(now, now.Location())
	id, _, err := s.store.StartJob(ctx, "nightly estimate", today, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.store.FinishJob(ctx, id, now, 3, "the disk is full"); err != nil {
		t.Fatal(err)
	}
	testkit.HTML(t, s.get("/").Body, testkit.In("[role=alert]", testkit.Text("the disk is full")))
	testkit.HTML(t, s.get("/jobs").Body, testkit.In("table.rows tbody", testkit.Text("nightly estimate"), testkit.Text("failed:"), testkit.Text("the disk is full")))
	id, _, err = s.store.StartJob(ctx, "nightly estimate", today.AddDays(1), now.AddDate(0, 0, 1))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.store.FinishJob(ctx, id, now.AddDate(0, 0, 1), 3, ""); err != nil {
		t.Fatal(err)
	}
	testkit.HTML(t, s.get("/").Body, testkit.HasNot("[role=alert]"))
}

func TestDemo_IsNamedOnEveryPageAndOnlyThere(t *testing.T) {
	demo, own := demoFleet(t, isDemo), demoFleet(t)
	machine := demo.first(register.LineFilter{})
	for _, path := range append(readablePages(), web.Path("machines", machine.MachineCode), web.Path("assemblies", machine.AssemblyCode)) {
		testkit.HTML(t, demo.get(path).Body, testkit.In(".title-block .demo", testkit.Text("demo"), testkit.Has(`a[href=/start]`)))
		testkit.HTML(t, own.get(path).Body, testkit.HasNot(".demo"))
	}
}

// readablePages are the pages that need no machine.
func readablePages() []string {
	return []string{"/", "/due", "/machines", "/machines/new", "/import", "/policies", "/tables", "/jobs", "/manual", "/manual/dates", "/start"}
}

func TestPages_HaveATitleBlockAndOneHeading(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{})
	machine := web.Path("machines", l.MachineCode)
	for _, path := range append(readablePages(), machine, machine+"/readings/new", machine+"/hoses/new", machine+"/inspections/new", web.Path("assemblies", l.AssemblyCode)) {
		page := testkit.HTML(t, want(t, s.get(path), 200).Body,
			testkit.Count("h1", 1), testkit.Count("main", 1), testkit.Has("a.skip[href=#content]"), testkit.Has("nav[aria-label=Main]"),
			testkit.In("dl.title-block", testkit.Text("Site"), testkit.Text("Machine"), testkit.Text("Date 2026-11-25"), testkit.Text("Who local")),
			testkit.HasNot("[style]"), testkit.HasNot("style"), testkit.HasNot("[onclick]"))
		if strings.HasPrefix(path, machine) {
			testkit.In("dl.title-block", testkit.Text(l.Site), testkit.Text(l.MachineCode))(page)
		}
		checkNames(t, path, page)
	}
}

// checkNames holds a page to what readers that do not see it need: each field
// has a label, each id is there once, whatever is pointed to is there.
func checkNames(t *testing.T, path string, page *html.Node) {
	t.Helper()
	ids, labels := map[string]int{}, map[string]bool{}
	for _, n := range testkit.Find(page, "[id]") {
		ids[testkit.AttrOf(n, "id")]++
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%s: id %s stands %d times", path, id, n)
		}
	}
	for _, n := range testkit.Find(page, "label[for]") {
		labels[testkit.AttrOf(n, "for")] = true
	}
	inLabel := map[*html.Node]bool{}
	for _, n := range testkit.Find(page, "label input") {
		inLabel[n] = true
	}
	for _, tag := range []string{"input", "select", "textarea"} {
		for _, n := range testkit.Find(page, tag) {
			if testkit.AttrOf(n, "type") != "hidden" && !inLabel[n] && !labels[testkit.AttrOf(n, "id")] {
				t.Errorf("%s: %s %q has no label", path, tag, testkit.AttrOf(n, "name"))
			}
		}
	}
	for _, attr := range []string{"aria-describedby", "aria-labelledby", "for", "list"} {
		for _, n := range testkit.Find(page, "["+attr+"]") {
			for _, id := range strings.Fields(testkit.AttrOf(n, attr)) {
				if ids[id] == 0 {
					t.Errorf("%s: %s points to %q, which is not there", path, attr, id)
				}
			}
		}
	}
	for _, n := range testkit.Find(page, "button") {
		if testkit.TextOf(n) == "" {
			t.Errorf("%s: a button without words", path)
		}
	}
	for _, n := range testkit.Find(page, "a") {
		if testkit.TextOf(n) == "" {
			t.Errorf("%s: a link without words to %s", path, testkit.AttrOf(n, "href"))
		}
	}
}

func TestSafety_StandsWhereDatesAre(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{})
	machine := web.Path("machines", l.MachineCode)
	for _, path := range []string{"/", "/due", machine, web.Path("assemblies", l.AssemblyCode), machine + "/hoses/new", machine + "/inspections/new", "/policies"} {
		page := testkit.HTML(t, s.get(path).Body)
		for _, line := range life.SafetyLines() {
			if err := testkit.In(".safety", testkit.Text(line))(page); err != nil {
				t.Errorf("%s: %v", path, err)
			}
		}
	}
	testkit.HTML(t, s.get(web.Path("assemblies", l.AssemblyCode)).Body, testkit.In(".verdict", testkit.Text(life.SafetyVisible)))
}

func TestDue_ShowsEveryLineOnceInOrder(t *testing.T) {
	s := demoFleet(t)
	counts, err := s.store.Counts(t.Context(), now, "")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	total, lacking := 0, 0
	for path := "/due"; path != ""; {
		page := testkit.HTML(t, want(t, s.get(path), 200).Body)
		for _, table := range testkit.Find(page, "table.due") {
			codes := testkit.Find(table, "td a")
			if strings.Contains(testkit.AttrOf(table, "class"), "lacking") {
				if len(seen) > counts.Stop+counts.Overdue {
					t.Error("what is incomplete does not come before all but what is stopped or overdue")
				}
				lacking += len(codes)
				continue
			}
			for _, a := range codes {
				code := testkit.TextOf(a)
				if seen[code] {
					t.Errorf("%s stands twice", code)
				}
				seen[code] = true
			}
		}
		path = ""
		if next := testkit.Find(page, ".pager a"); len(next) > 0 {
			path = testkit.AttrOf(next[0], "href")
		}
		if total++; total > 20 {
			t.Fatal("the pages do not end")
		}
	}
	if len(seen) != counts.Assemblies {
		t.Errorf("%d lines on the pages, %d assemblies installed", len(seen), counts.Assemblies)
	}
	if lacking != min(counts.Incomplete, 5) {
		t.Errorf("%d incomplete ones lead the list, %d are incomplete", lacking, counts.Incomplete)
	}
}

func TestDue_GroupsByMonthAndMachine(t *testing.T) {
	s := demoFleet(t)
	page := testkit.HTML(t, want(t, s.get("/due?status=ahead"), 200).Body)
	months := testkit.Find(page, "main section h2")
	if len(months) < 2 {
		t.Fatalf("%d months", len(months))
	}
	for _, m := range months[:len(months)-1] {
		if text := testkit.TextOf(m); !strings.HasSuffix(text, "2026") && !strings.HasSuffix(text, "2027") && text != "Before you trust a date" {
			t.Errorf("month %q", text)
		}
	}
	for _, table := range testkit.Find(page, "table.due") {
		machines := map[string]bool{}
		for _, a := range testkit.Find(table, "tr.group a") {
			if machines[testkit.TextOf(a)] {
				t.Errorf("machine %s is twice in a month", testkit.TextOf(a))
			}
			machines[testkit.TextOf(a)] = true
		}
	}
}

func TestDueCSV_IsTheListWhole(t *testing.T) {
	s := demoFleet(t)
	resp := want(t, s.get("/due.csv"), 200)
	if got := resp.Header.Get("Content-Disposition"); got != `attachment; filename="due-2026-11-25.csv"` {
		t.Errorf("name: %s", got)
	}
	rows, err := csv.NewReader(resp.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	counts, _ := s.store.Counts(t.Context(), now, "")
	if len(rows) != counts.Assemblies+1 {
		t.Errorf("%d rows, %d assemblies", len(rows), counts.Assemblies)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	first := s.first(register.LineFilter{})
	for name, want := range map[string]string{"assembly": first.AssemblyCode, "machine": first.MachineCode, "act_by": first.Estimate.ActBy.String(), "status": string(first.Status)} {
		if got := rows[1][column[name]]; got != want {
			t.Errorf("%s of the first row is %q, want %q", name, got, want)
		}
	}
	overdue, err := csv.NewReader(want(t, s.get("/due.csv?status=overdue"), 200).Body).ReadAll()
	if err != nil || len(overdue) != counts.Overdue+1 {
		t.Errorf("overdue: %d rows, want %d and a header: %v", len(overdue), counts.Overdue, err)
	}
}

func TestMachine_ShowsEachPositionWithItsStrip(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{Status: life.StatusStop})
	sheet, err := s.store.MachineSheet(t.Context(), now, l.MachineCode)
	if err != nil {
		t.Fatal(err)
	}
	ticks := 0
	for _, days := range sheet.Inspected {
		ticks += len(days)
	}
	if ticks <= len(sheet.Lines) {
		t.Fatalf("%d inspections of %d assemblies show nothing of a tick for each", ticks, len(sheet.Lines))
	}
	page := testkit.HTML(t, want(t, s.get(web.Path("machines", l.MachineCode)), 200).Body,
		testkit.Count("svg.strip line.inspection", ticks), testkit.Count(".positions li", len(sheet.Lines)), testkit.Count("svg.strip[role=img]", len(sheet.Lines)),
		testkit.In(".verdict", testkit.Text("Take this machine out of service")))
	for i, n := range testkit.Find(page, ".positions li") {
		want := sheet.Lines[i]
		if got := testkit.TextOf(testkit.Find(n, "h3")[0]); got != want.Position {
			t.Errorf("position %d is %q, want %q", i+1, got, want.Position)
		}
		if err := testkit.Text(string(want.Status))(n); err != nil {
			t.Error(err)
		}
		if !want.Estimate.ActBy.IsZero() {
			if err := testkit.Text(want.Estimate.ActBy.String())(n); err != nil {
				t.Error(err)
			}
		}
	}
}

func TestAssembly_ShowsTheWorkingOfItsDate(t *testing.T) {
	s := demoFleet(t)
	for _, f := range []register.LineFilter{{Status: life.StatusInService}, {Status: life.StatusStop}, {Status: life.StatusOverdue}, {Incomplete: true}, {OverRating: true}, {CanHurt: true}} {
		l := s.first(f)
		t.Run(fmt.Sprintf("%s %s", l.AssemblyCode, l.Status), func(t *testing.T) {
			sheet, err := s.store.AssemblySheet(t.Context(), now, l.AssemblyCode)
			if err != nil {
				t.Fatal(err)
			}
			checks := []testkit.Check{
				testkit.In(".verdict .status", testkit.Text(string(l.Status))),
				testkit.Count("table.clocks tbody tr", len(sheet.Estimate.Clocks)),
				testkit.Count("details#working tbody tr", len(sheet.Working)),
				testkit.Count("ol.story li", len(sheet.Story)),
			}
			if l.Status != life.StatusStop && !l.Estimate.ActBy.IsZero() {
				says := "Replace by "
				if l.Status == life.StatusOverdue {
					says = "Was to be replaced by "
				}
				checks = append(checks, testkit.In(".big-date", testkit.Text(says+l.Estimate.ActBy.String())))
			}
			if l.Estimate.Governing != "" {
				checks = append(checks, testkit.Count(".governs", 1))
			}
			for _, w := range sheet.Estimate.Warnings {
				checks = append(checks, testkit.In(".warnings", testkit.Text(strings.Join(strings.Fields(w.Text), " "))))
			}
			for _, v := range sheet.Service {
				checks = append(checks, testkit.In("main", testkit.Text(string(v.Field)+" "+strings.Join(strings.Fields(server.ServiceText(v)), " ")+" "+string(v.Level))))
			}
			if l.Incomplete() {
				checks = append(checks, testkit.Has(".status-incomplete"))
			}
			testkit.HTML(t, want(t, s.get(web.Path("assemblies", l.AssemblyCode)), 200).Body, checks...)
			if len(sheet.Working) < 5 || len(sheet.Service) == 0 && f.OverRating {
				t.Errorf("%d steps of working, %d service values", len(sheet.Working), len(sheet.Service))
			}
		})
	}
}

func TestTables_ShowConfidenceAndSource(t *testing.T) {
	s := empty(t)
	// EN 853 2SN DN 12 has 275 bar in two public tables: confidence A.
	testkit.HTML(t, want(t, s.get("/tables?designation=EN+853+2SN"), 200).Body, testkit.Count("main details[open]", 1),
		testkit.In("details[open]", testkit.Text("DN 12 (-8) 275"), testkit.Text("133 %")),
		testkit.In("main", testkit.Text("Confidence A two public tables and memory agree"), testkit.Text("The pressure printed on the hose wins over any table.")))
	testkit.HTML(t, want(t, s.get("/tables?designation=nonsense"), 200).Body, testkit.In(".field.wrong", testkit.Text("There is no table for “nonsense”")))
}

func TestPolicies_MarkWhatIsAChoice(t *testing.T) {
	page := testkit.HTML(t, want(t, empty(t).get("/policies"), 200).Body, testkit.In("main", testkit.Text("from assembly 72 months"), testkit.Text("DIN 20066"), testkit.Text("damage limit 0.5")))
	for _, row := range testkit.Find(page, "tbody tr") {
		text := testkit.TextOf(row)
		if strings.HasPrefix(text, "damage limit") && !strings.HasSuffix(text, "choice") {
			t.Errorf("not marked: %q", text)
		}
		if strings.HasPrefix(text, "from assembly") && strings.HasSuffix(text, "choice") {
			t.Errorf("marked: %q", text)
		}
	}
	if n := len(testkit.Find(page, "#findings")); n != 1 {
		t.Errorf("%d lists of findings", n)
	}
}

func TestManual_LinksLeadSomewhere(t *testing.T) {
	s := empty(t)
	contents := testkit.HTML(t, want(t, s.get("/manual"), 200).Body)
	checked := 0
	for _, a := range testkit.Find(contents, "ol.contents a") {
		page := testkit.HTML(t, want(t, s.get(testkit.AttrOf(a, "href")), 200).Body)
		for _, l := range testkit.Find(page, ".prose a") {
			want(t, s.get(testkit.AttrOf(l, "href")), 200)
			checked++
		}
	}
	if checked < 3 {
		t.Errorf("%d links in the manual", checked)
	}
	want(t, s.get("/manual/nothing"), 404)
}

// Nothing in an address makes the program fail, or is taken for a part of the
// page.
func TestAddresses_NonsenseIsNoFailure(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{})
	nonsense := []string{
		"-1", "99999999999999999999", "NaN", "' OR 1=1 --", `"><script>alert(1)</script>`, "\x00", "\xff\xfe", "%", "../../etc/passwd", "{{.}}", strings.Repeat("a", 5000), "stop", "yes", "\u202e", "${7*7}", "2026-02-30", "e30", "bnVsbA",
	}
	names := []string{"site", "machine", "kind", "status", "within", "inspection", "text", "incomplete", "hurt", "over", "after", "designation", "done", "position", "sheet", "different", "taken"}
	machine := web.Path("machines", l.MachineCode)
	paths := append(readablePages(), "/due.csv", machine, machine+"/readings/new", machine+"/hoses/new", machine+"/inspections/new", web.Path("assemblies", l.AssemblyCode), "/import/"+strings.Repeat("a", 64))
	for _, path := range paths {
		for _, v := range nonsense {
			q := url.Values{}
			for _, name := range names {
				q.Set(name, v)
			}
			checkAnswer(t, s, path+"?"+q.Encode())
		}
	}
	for _, name := range names {
		for _, v := range nonsense {
			checkAnswer(t, s, "/due?"+url.Values{name: {v}}.Encode())
			checkAnswer(t, s, "/machines?"+url.Values{name: {v}}.Encode())
		}
	}
	for _, v := range nonsense {
		for _, path := range []string{"/machines/", "/assemblies/", "/import/", "/manual/", "/imports/"} {
			checkAnswer(t, s, path+url.PathEscape(v))
			checkAnswer(t, s, path+url.PathEscape(v)+"/inspections/new")
		}
	}
}

func checkAnswer(t *testing.T, s *site, path string) {
	t.Helper()
	resp := s.get(path)
	text := body(t, resp)
	if resp.StatusCode >= 500 {
		t.Errorf("%.200s: status %d, log: %.600s", path, resp.StatusCode, s.log.String())
	}
	if strings.Contains(text, "<script>alert") {
		t.Errorf("%.200s: a script stands on the page", path)
	}
	if resp.StatusCode == http.StatusOK && len(text) == 0 {
		t.Errorf("%.200s: empty", path)
	}
}
