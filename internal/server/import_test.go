package server_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

// germanList is a list as a depot keeps it: a title above the headers,
// semicolons, decimal commas, three kinds of dates, one column nobody knows.
// Row 5 has a day the calendar lacks.
const germanList = `Schlauchliste Betriebshof;;;;;;
;;;;;;
Fahrzeug;Einbauort;Aufdruck;Eingebaut am;Farbe;Länge mm;Bemerkung
BAG-1;Ausleger links;TESTCO/EN 853/2SN/DN 10/2Q16;12.05.2016;rot;1250;
BAG-1;Ausleger rechts;TESTCO/EN 853/2SN/DN 10/2Q16;31.06.2016;rot;1200;
BAG-2;Kippen;MUSTERSCHLAUCH - EN 853:2015 - 1SN - 12 - MAX WP 160 BAR / 16.0 MPa - 3Q25;01.11.2025;;700,5;<b>neu</b>
`

// uploaded sends a file and gives the address of the report on it.
func (s *site) uploaded(name, content, kind string) string {
	s.t.Helper()
	r := want(s.t, s.upload(name, strings.NewReader(content), kind), http.StatusSeeOther)
	return r.Header.Get("Location")
}

func path(address string) string {
	p, _, _ := strings.Cut(address, "?")
	return p
}

func (s *site) counts() (machines, assemblies int) {
	s.t.Helper()
	n, err := s.store.Counts(s.t.Context(), now, "")
	if err != nil {
		s.t.Fatal(err)
	}
	return n.Machines, n.Assemblies
}

func TestImport_ReportsByRowAndColumnAndSavesNothing(t *testing.T) {
	s := empty(t)
	report := s.uploaded("liste.csv", germanList, "")
	page := testkit.HTML(t, want(t, s.get(report), 200).Body,
		testkit.In(".verdict", testkit.Text("Nothing is saved yet"), testkit.Text("Of 3 rows of hoses"), testkit.Text("added 2"), testkit.Text("refused 1")),
		testkit.In("main", testkit.Text("Row 5 Eingebaut am 31.06.2016"), testkit.Text("no day 31")),
		testkit.In("tr.unread", testkit.Text("Farbe"), testkit.Text("not known – not read")),
		testkit.Has("details#columns[open]"), testkit.Has("button[value=good]"), testkit.HasNot("button[value=all]"))
	checkNames(t, report, page)
	if m, a := s.counts(); m != 0 || a != 0 {
		t.Errorf("%d machines and %d assemblies were saved by looking", m, a)
	}
}

func TestImport_WhatStandsInTheColumnsIsSeenWhereOneIsMissing(t *testing.T) {
	s := empty(t)
	report := s.uploaded("book.csv", "Unit;Spot;Size\nWL3;lift LH;DN 12\n\"\"\"\";lift RH;DN 16\n", "hoses")
	testkit.HTML(t, want(t, s.get(report), 422).Body, testkit.In("main", testkit.Text("has no column for Position"), testkit.Text("lift LH · lift RH")))
}

func TestImport_AMachineWrittenOnceIsToldRowByRow(t *testing.T) {
	s := empty(t)
	report := s.uploaded("book.csv", "Unit;Where it sits;Type;Size;Put on\nWL3;lift LH;EN 853 2SN;DN 12;2024-01-02\n;lift RH;EN 853 2SN;DN 12;2024-01-02\n;WL3 shovel: 2 hoses;;;\n", "")
	testkit.HTML(t, want(t, s.get(report), 200).Body, testkit.In(".verdict", testkit.Text("added 2"), testkit.Text("refused 1")),
		testkit.In("main", testkit.Text("empty; WL3 of the row above is taken"), testkit.Text("looks like a heading or a sub-total")))
}

func TestImport_TakesTheGoodRowsAndHandsBackTheRest(t *testing.T) {
	s := empty(t)
	report := s.uploaded("liste.csv", germanList, "hoses")
	page := testkit.HTML(t, want(t, s.get(report), 200).Body)
	r := want(t, s.post(path(report), typed(t, page, "do", "good")...), http.StatusSeeOther)
	taken := testkit.HTML(t, want(t, s.get(r.Header.Get("Location")), 200).Body, testkit.In(".done", testkit.Text("2 rows added, 0 changed, 0 as before, 1 not taken")))
	if m, a := s.counts(); m != 2 || a != 2 {
		t.Errorf("%d machines, %d assemblies; want 2 and 2", m, a)
	}
	rest := testkit.Find(taken, "ul.actions a.first")
	if len(rest) != 1 {
		t.Fatal("no link to the rest")
	}
	back := want(t, s.get(testkit.AttrOf(rest[0], "href")), 200)
	if got := back.Header.Get("Content-Disposition"); got != "attachment; filename=liste-not-taken.csv" {
		t.Errorf("name %s", got)
	}
	given := csv.NewReader(strings.NewReader(strings.TrimPrefix(body(t, back), "\ufeff")))
	given.Comma = ';'
	rows, err := given.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 2 || rows[1][1] != "Ausleger rechts" || !strings.Contains(rows[1][len(rows[1])-1], "no day 31") {
		t.Errorf("handed back %q", rows)
	}
	// Mended, the rest goes in as it is.
	rows[1][3] = "30.06.2016"
	var mended bytes.Buffer
	w := csv.NewWriter(&mended)
	w.Comma = ';'
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	report = s.uploaded("rest.csv", mended.String(), "")
	page = testkit.HTML(t, want(t, s.get(report), 200).Body, testkit.Has("button[value=all]"))
	want(t, s.post(path(report), typed(t, page, "do", "all")...), http.StatusSeeOther)
	if _, a := s.counts(); a != 3 {
		t.Errorf("%d assemblies after the rest, want 3", a)
	}
}

func TestImport_TheSameFileTwiceAddsNothing(t *testing.T) {
	s := empty(t)
	list := strings.Replace(germanList, "31.06.2016", "30.06.2016", 1)
	report := s.uploaded("liste.csv", list, "")
	page := testkit.HTML(t, s.get(report).Body)
	want(t, s.post(path(report), typed(t, page, "do", "all")...), http.StatusSeeOther)
	before := changes(t, s)
	report = s.uploaded("nochmal.csv", list, "")
	page = testkit.HTML(t, want(t, s.get(report), 200).Body, testkit.In("main", testkit.Text("This very file was taken before"), testkit.Text("there is nothing to take")),
		testkit.HasNot("button[value=all]"), testkit.HasNot("button[value=good]"))
	want(t, s.post(path(report), typed(t, page, "do", "all")...), http.StatusSeeOther)
	if after := changes(t, s); after != before {
		t.Errorf("%d rows were changed", after-before)
	}
}

func TestImport_CanBeUndoneOnce(t *testing.T) {
	s := empty(t)
	report := s.uploaded("liste.csv", germanList, "")
	page := testkit.HTML(t, s.get(report).Body)
	want(t, s.post(path(report), typed(t, page, "do", "good")...), http.StatusSeeOther)
	page = testkit.HTML(t, want(t, s.get("/import"), 200).Body, testkit.In("table.rows", testkit.Text("liste.csv"), testkit.Text("2 added")))
	undo := testkit.AttrOf(testkit.Find(page, "table.rows form")[0], "action")
	s.wentTo(s.post(undo), "/import?done=import-undone")
	testkit.HTML(t, want(t, s.get("/import"), 200).Body, testkit.In("table.rows", testkit.Text("undone 2026-11-25")), testkit.HasNot("table.rows form"))
	if m, a := s.counts(); m != 0 || a != 0 {
		t.Errorf("%d machines, %d assemblies are left", m, a)
	}
	testkit.HTML(t, want(t, s.post(undo), 409).Body, testkit.In(".verdict", testkit.Text("undone already")))
	want(t, s.post("/imports/77/undo"), 404)
	want(t, s.post("/imports/x/undo"), 404)
}

func TestImport_AMeaningIsKeptForTheSameHeaders(t *testing.T) {
	s := empty(t)
	report := s.uploaded("liste.csv", germanList, "")
	page := testkit.HTML(t, s.get(report).Body)
	r := want(t, s.post(path(report), typed(t, page, "meaning-4", "fluid", "meaning-6", "-", "do", "check")...), http.StatusSeeOther)
	checks := []testkit.Check{testkit.In("table.columns-table", testkit.Text("Fluid (chosen)"), testkit.Text("left out"))}
	testkit.HTML(t, want(t, s.get(r.Header.Get("Location")), 200).Body, append(checks, testkit.HasNot("tr.unread"))...)
	other := s.uploaded("other.csv", strings.ReplaceAll(germanList, "BAG", "LKW"), "")
	testkit.HTML(t, want(t, s.get(other), 200).Body, checks...)
}

func TestImport_ADifferentHoseIsAskedAboutOnce(t *testing.T) {
	const first = "machine,position,assembly,designation,dn,fitted\nRT-1,lift,H-1,EN 853 2SN,12,2020-01-05\nRT-1,tilt,H-2,EN 853 2SN,12,2020-01-05\n"
	second := strings.NewReplacer("H-1", "H-8", "H-2", "H-9", "2020-01-05", "2024-06-01").Replace(first)
	for answer, open := range map[string]int{"swap": 2, "correct": 2} {
		s := empty(t)
		report := s.uploaded("a.csv", first, "")
		page := testkit.HTML(t, want(t, s.get(report), 200).Body)
		want(t, s.post(path(report), typed(t, page, "do", "all")...), http.StatusSeeOther)
		report = s.uploaded("b.csv", second, "")
		page = testkit.HTML(t, want(t, s.get(report), 200).Body, testkit.Count("fieldset#different", 1), testkit.In(".outcome", testkit.Text("asked about 2")), testkit.HasNot("button[value=all]"))
		checkNames(t, report, page)
		r := want(t, s.post(path(report), typed(t, page, "different", answer, "do", "check")...), http.StatusSeeOther)
		page = testkit.HTML(t, want(t, s.get(r.Header.Get("Location")), 200).Body, testkit.Has("button[value=all]"), testkit.Has("input[name=different][value="+answer+"][checked]"))
		want(t, s.post(path(report), typed(t, page, "do", "all")...), http.StatusSeeOther)
		sheet, err := s.store.MachineSheet(t.Context(), now, "RT-1")
		if err != nil || len(sheet.Lines) != open || sheet.Lines[0].AssemblyCode != "H-8" {
			t.Errorf("%s: %+v, %v", answer, sheet.Lines, err)
		}
	}
}

// bomb is a workbook whose sheet is many megabytes of one letter.
func bomb(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for name, size := range map[string]int{"[Content_Types].xml": 100, "xl/workbook.xml": 100, "xl/worksheets/sheet1.xml": 600 << 20} {
		f, err := w.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.CopyN(f, letters{}, int64(size)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

type letters struct{}

func (letters) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'a'
	}
	return len(p), nil
}

func TestImport_WhatIsNoListGetsOneSentence(t *testing.T) {
	s := empty(t)
	for name, content := range map[string]string{
		"empty.csv": "", "noise.csv": "\x00\x01\x02\xff\xfe\x00\xd8\xff", "prose.txt": "Dear colleague,\nhere is the list.\nBest regards\n",
		"broken.xlsx": "PK\x03\x04 not a workbook", "bomb.xlsx": bomb(t), "image.csv": "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
		"unclosed.csv": "machine,position,fitted\n\"RT-1,lift,2024-01-01\nRT-2,lift,2024-01-01\n", "quotes.csv": strings.Repeat("\"", 99999),
	} {
		t.Run(name, func(t *testing.T) {
			report := s.uploaded(name, content, "")
			page := testkit.HTML(t, want(t, s.get(report), 422).Body, testkit.Count("#problems", 1), testkit.HasNot("button[value=all]"), testkit.HasNot("button[value=good]"))
			sentence := testkit.TextOf(testkit.Find(page, "#problems p")[0])
			if len(sentence) < 15 || len(sentence) > 400 || strings.Contains(sentence, "zip:") || strings.Contains(sentence, "strconv") {
				t.Errorf("sentence %q", sentence)
			}
			checkNames(t, name, page)
		})
	}
	if m, _ := s.counts(); m != 0 {
		t.Errorf("%d machines came of it", m)
	}
}

func TestUpload_TellsWhatIsWrongWithIt(t *testing.T) {
	s := empty(t, func(c *server.Config, _ *server.Deps) { c.MaxUpload = 1 << 20 })
	big := want(t, s.upload("big.csv", strings.NewReader(germanList+strings.Repeat("BAG-1;a;b;c;d;e;f\n", 200000)), ""), 422)
	testkit.HTML(t, big.Body, testkit.In("#problems", testkit.Text("larger than the 1 MB taken here")))
	testkit.HTML(t, want(t, s.post("/import"), 422).Body, testkit.In("#problems", testkit.Text("Choose a file.")))
	testkit.HTML(t, want(t, s.upload("", strings.NewReader(""), ""), 422).Body, testkit.In("#problems", testkit.Text("Choose a file.")))
	// A form that breaks off.
	r := httptest.NewRequest(http.MethodPost, "/import", strings.NewReader("--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\nabc"))
	r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	if status := s.do(r).StatusCode; status != 400 {
		t.Errorf("a broken upload gives %d, want 400", status)
	}
	for _, id := range []string{strings.Repeat("0", 64), "..%2f..%2fetc%2fpasswd", "x"} {
		want(t, s.get("/import/"+id), 404)
		want(t, s.get("/import/"+id+"/refused.csv"), 404)
		want(t, s.post("/import/"+id, "do", "all"), 404)
	}
}

// A list of many rows is taken as a whole; the report shows the first of what
// is wrong and counts all of it.
func TestImport_AReportStaysShort(t *testing.T) {
	s := empty(t)
	var b strings.Builder
	b.WriteString("machine,position,fitted\n")
	for i := range 2000 {
		fmt.Fprintf(&b, "M-%d,p,2024-13-%02d\n", i, i%28+1)
	}
	page := testkit.HTML(t, want(t, s.get(s.uploaded("many.csv", b.String(), "hoses")), 200).Body, testkit.In(".outcome", testkit.Text("refused 2000")),
		testkit.In("main", testkit.Text("Columns that are wrong in the first"), testkit.Text("the most frequent first: fitted (")))
	if n := len(testkit.Find(page, "th[scope=row]")); n > 600 {
		t.Errorf("%d rows shown", n)
	}
}

// Rows are taken as they were shown: what is changed in the same click is
// shown first.
func TestImport_ChangedChoicesAreShownBeforeRowsAreTaken(t *testing.T) {
	for _, c := range []struct{ why, name, value string }{
		{"a meaning", "meaning-4", "fluid"},
		{"the site", "site", "Yard"},
		{"no report was shown", "shown", ""},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := empty(t)
			report := s.uploaded("liste.csv", germanList, "")
			page := testkit.HTML(t, want(t, s.get(report), 200).Body)
			r := want(t, s.post(path(report), typed(t, page, c.name, c.value, "do", "good")...), http.StatusSeeOther)
			if _, a := s.counts(); a != 0 {
				t.Fatalf("%d assemblies were taken unseen", a)
			}
			page = testkit.HTML(t, want(t, s.get(r.Header.Get("Location")), 200).Body, testkit.In(".done", testkit.Text("nothing was taken")))
			want(t, s.post(path(report), typed(t, page, "do", "good")...), http.StatusSeeOther)
			if _, a := s.counts(); a != 2 {
				t.Errorf("%d assemblies after the second look, want 2", a)
			}
		})
	}
}

func TestImport_AnotherImportsCountsAreNotThisFiles(t *testing.T) {
	s := empty(t)
	report := s.uploaded("liste.csv", germanList, "")
	page := testkit.HTML(t, s.get(report).Body)
	r := want(t, s.post(path(report), typed(t, page, "do", "good")...), http.StatusSeeOther)
	_, taken, _ := strings.Cut(r.Header.Get("Location"), "taken=")
	other := s.uploaded("other.csv", strings.ReplaceAll(germanList, "BAG", "LKW"), "")
	testkit.HTML(t, want(t, s.get(path(other)+"?taken="+taken), 200).Body, testkit.In("h1", testkit.Text("Import other.csv")), testkit.In(".verdict", testkit.Text("Nothing is saved yet")))
}
