package server_test

import (
	"net/http"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// stored is the assembly a form was sent on to.
func (s *site) stored(r *http.Response) register.Assembly {
	s.t.Helper()
	want(s.t, r, http.StatusSeeOther)
	code := strings.TrimSuffix(strings.TrimPrefix(r.Header.Get("Location"), "/assemblies/"), "?done=hose-added")
	sheet, err := s.store.AssemblySheet(s.t.Context(), now, code)
	if err != nil {
		s.t.Fatal(err)
	}
	return sheet.Assembly
}

// The line is printed with 275 bar, the rating of EN 853 2SN DN 12 (two public
// tables).
func TestHoseForm_ThePrintedRatingWinsOverAHigherOne(t *testing.T) {
	for _, c := range []struct {
		why, typed string
		bar        float64
		source     register.RatingSource
		says       string
	}{
		{"nothing is typed", "", 275, register.RatingPrinted, ""},
		{"the same is typed", "275 bar", 275, register.RatingPrinted, ""},
		{"the same within the rounding of the trade", "4000 psi", 275, register.RatingPrinted, ""},
		{"a higher one is typed", "400 bar", 275, register.RatingPrinted, "275 bar is printed on the hose and wins over the 400 bar typed"},
		{"a lower one is typed", "200 bar", 200, register.RatingTyped, "the lower of the two, 200 bar, is stored"},
		{"a higher one without unit", "400", 275, register.RatingPrinted, "“400” – "},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := depot(t)
			path := "/machines/RT-01/hoses/new"
			page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "layline", layline, "rated", c.typed, "fitted", "2024-10-05"), 200).Body)
			checkNames(t, path, page)
			told := testkit.Find(page, "#told-h")
			if (len(told) > 0) != (c.says != "") {
				t.Errorf("%d times told how it is read", len(told))
			}
			if err := testkit.In("main", testkit.Text(c.says))(page); err != nil {
				t.Error(err)
			}
			a := s.stored(s.post(path, typed(t, page)...))
			if a.RatedBar == nil || *a.RatedBar != c.bar || a.RatingSource != c.source {
				t.Errorf("stored %v as %s, want %v as %s", a.RatedBar, a.RatingSource, c.bar, c.source)
			}
		})
	}
}

// A rating that is changed after the line was read is told before it is saved.
func TestHoseForm_ARatingTypedAfterTheReadingIsToldToo(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "layline", layline, "fitted", "2024-10-05"), 200).Body)
	before := changes(t, s)
	page = testkit.HTML(t, want(t, s.post(path, typed(t, page, "rated", "400 bar")...), 200).Body, testkit.In("main", testkit.Text("wins over the 400 bar typed")))
	if changes(t, s) != before {
		t.Error("saved before it was told")
	}
	if a := s.stored(s.post(path, typed(t, page)...)); *a.RatedBar != 275 {
		t.Errorf("stored %v bar", *a.RatedBar)
	}
}

func TestHoseForm_WhatIsTakenForGrantedIsToldFirst(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	before := changes(t, s)
	page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "rated", "275", "end_a_bar", "250", "length", "1.250", "fitted", "2024-10-05"), 200).Body,
		testkit.In("main", testkit.Text("Rating of the hose: “275” – "), testkit.Text("no unit, bar is taken"), testkit.Text("Rating of end A: “250” – "), testkit.Text("Length: “1.250” – 1.250 is read as 1250, which makes 1250 mm"), testkit.Text("Nothing is saved yet")))
	if changes(t, s) != before {
		t.Fatal("saved before it was told")
	}
	// Another value is told anew.
	page = testkit.HTML(t, want(t, s.post(path, typed(t, page, "length", "1.350")...), 200).Body, testkit.In("main", testkit.Text("1.350 is read as 1350, which makes 1350 mm")))
	a := s.stored(s.post(path, typed(t, page)...))
	if *a.RatedBar != 275 || *a.EndABar != 250 || *a.LengthMM != 1350 {
		t.Errorf("stored %v bar, end A %v bar, %v mm", *a.RatedBar, *a.EndABar, *a.LengthMM)
	}
}

func TestHoseForm_ATakenPositionLeadsToASwap(t *testing.T) {
	s := inspected(t)
	resp := want(t, s.fill("/machines/RT-01/hoses/new", "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "fitted", "2025-01-05"), 422)
	page := testkit.HTML(t, resp.Body, testkit.In("#position-error", testkit.Text("holds assembly")), testkit.In("p.verdict", testkit.Text("Did the hose that was there come off?")))
	link := testkit.Find(page, "p.verdict a")[0]
	testkit.HTML(t, want(t, s.get(testkit.AttrOf(link, "href")), 200).Body, testkit.In("h1", testkit.Text("Swap the hose at RT-01, lift")))
}

func TestHoseForm_SentTwiceAddsOneHose(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/hoses/new"
	form := typed(t, testkit.HTML(t, want(t, s.get(path), 200).Body), "position", "lift", "designation", "EN 853 2SN", "size", "DN 12", "fitted", "2024-02-05")
	for range 2 {
		s.wentTo(s.post(path, form...), "/assemblies/H-000001?done=hose-added")
	}
	if n := s.totalAssemblies(); n != 1 {
		t.Errorf("%d assemblies", n)
	}
}

func (s *site) totalAssemblies() int {
	s.t.Helper()
	page, err := s.store.Assemblies(s.t.Context(), now, register.AssemblyFilter{})
	if err != nil {
		s.t.Fatal(err)
	}
	return page.Total
}

func TestHoseForm_WhatDiffersFromThePrintedLineIsTold(t *testing.T) {
	path := "/machines/RT-01/hoses/new"
	for _, c := range []struct{ name, typed, says string }{
		{"designation", "EN 857 2SC", "Designation: the printed line says EN 853 2SN; EN 857 2SC, as typed, is kept"},
		{"designation", "EN 853 2SN", ""},
		{"size", "DN 10", "Size: the printed line says DN 12, -8; DN 10, -6, as typed, is kept"},
		{"size", "DN 12", ""},
		{"made", "2Q20", "Hose made: the printed line says 3Q2024; 2Q2020, as typed, is kept"},
		{"made", "08/2024", ""},
	} {
		s := depot(t)
		page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "layline", layline, c.name, c.typed, "fitted", "2024-10-05"), 200).Body)
		told := ""
		for _, n := range testkit.Find(page, "section[aria-labelledby=told-h] li") {
			told += testkit.TextOf(n)
		}
		if !strings.Contains(told, c.says) || (c.says == "") != (told == "") {
			t.Errorf("%s %q: told %q, want %q", c.name, c.typed, told, c.says)
		}
	}
}
