package server_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

func TestStored_PutsOneInStoreOnce(t *testing.T) {
	s := depot(t)
	page := testkit.HTML(t, want(t, s.fill("/assemblies/new", "layline", layline), 200).Body, testkit.In("main", testkit.Text("What was read of the printed line")))
	checkNames(t, "/assemblies/new", page)
	form := typed(t, page)
	for range 2 {
		s.wentTo(s.post("/assemblies/new", form...), "/assemblies/H-000001?done=store-added")
	}
	if n := s.totalAssemblies(); n != 1 {
		t.Errorf("%d assemblies, want 1", n)
	}
	a := s.sheet("H-000001").Assembly
	if a.Designation != "EN 853 2SN" || *a.RatedBar != 275 || a.Layline != layline {
		t.Errorf("stored %+v", a)
	}
	// What is typed anew on the same page is another one, not the same sent twice.
	for i := range form {
		if form[i] == "code" {
			form[i+1] = "A-2"
		}
	}
	s.wentTo(s.post("/assemblies/new", form...), "/assemblies/A-2?done=store-added")
}

func TestStored_SaysWhatIsWrong(t *testing.T) {
	s := depot(t)
	s.inStore(register.Assembly{Code: "A-1"})
	for _, c := range []struct {
		over     []string
		id, says string
	}{
		{nil, "layline-error", "Say what it is"},
		{[]string{"designation", "EN 853 2SN", "site", ""}, "site-error", "Say where it is kept"},
		{[]string{"designation", "EN 853 2SN", "site", "Elsewhere"}, "site-error", ""},
		{[]string{"designation", "EN 853 2SN", "code", "a-1"}, "code-error", "codes are never used again"},
		{[]string{"designation", "EN 853 2SN", "length", "long"}, "length-error", "long"},
		{[]string{"designation", "EN 853 2SN", "made", "2024-05", "assembled", "2023-01"}, "assembled-error", "before its hose"},
	} {
		before := changes(t, s)
		testkit.HTML(t, want(t, s.fill("/assemblies/new", c.over...), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
		if changes(t, s) != before {
			t.Errorf("%v: something was saved", c.over)
		}
	}
}

// filled is an assembly with every field filled, some with more digits than a
// page prints.
func filled() register.Assembly {
	rated, end, length, max := 275.4321, 250.0, 1249.76, 99.87
	return register.Assembly{
		Code: "A-1", Layline: "TESTCO X 853\nsecond line", Maker: "Testco", Designation: "EN 853 2SN", Construction: "wire braid", Tube: "NBR", DN: 12, Dash: 8,
		RatedBar: &rated, RatingSource: register.RatingTyped, MaxC: &max, Fluid: "mineral oil", LengthMM: &length,
		EndA: "24 degree cone", EndABar: &end, EndB: "flange", EndBBar: &end, EndMake: "Endco",
		Made: month("3Q2024"), MadeText: "3Q24", Assembled: month("2024-10"), AssembledText: "1024", Unconfirmed: true, Note: "a note\nof two lines",
	}
}

// A form that is opened and saved changes nothing, however many digits a value
// has and however a date was printed.
func TestAssemblyForm_SavedUntouchedItStaysTheSame(t *testing.T) {
	s := depot(t)
	ambiguous := filled()
	ambiguous.Code, ambiguous.MadeText, ambiguous.Made, ambiguous.MadeAmbiguous = "A-2", "0612", month("2006-12"), true
	odd := filled()
	odd.Code, odd.MadeText = "A-3", "no date at all"
	for _, a := range []register.Assembly{filled(), ambiguous, odd, {Code: "A-4"}} {
		code := s.inStore(a)
		path := "/assemblies/" + code + "/edit"
		before := s.sheet(code).Assembly
		page := testkit.HTML(t, want(t, s.get(path), 200).Body)
		checkNames(t, path, page)
		s.wentTo(s.told(path, s.post(path, typed(t, page)...)), "/assemblies/"+code+"?done=assembly-changed")
		after := s.sheet(code).Assembly
		after.Version = before.Version
		if diff := cmp.Diff(before.Layline, strings.ReplaceAll(after.Layline, "\r\n", "\n")); diff != "" && !strings.Contains(before.Layline, "\n") {
			t.Error(diff)
		}
		after.Layline, after.Note = before.Layline, before.Note // the test's own reading of a text field folds lines
		if diff := cmp.Diff(before, after, cmp.Comparer(func(a, b register.Assembly) bool { return same(a, b) })); diff != "" {
			t.Errorf("%s: %+v is now %+v", code, before, after)
		}
	}
}

func same(a, b register.Assembly) bool {
	number := func(x, y *float64) bool { return (x == nil) == (y == nil) && (x == nil || *x == *y) }
	ok := number(a.RatedBar, b.RatedBar) && number(a.MaxC, b.MaxC) && number(a.LengthMM, b.LengthMM) && number(a.EndABar, b.EndABar) && number(a.EndBBar, b.EndBBar)
	for _, v := range []*register.Assembly{&a, &b} {
		v.RatedBar, v.MaxC, v.LengthMM, v.EndABar, v.EndBBar = nil, nil, nil, nil, nil
	}
	return ok && a == b
}

func TestAssemblyForm_ChangesWhatIsTyped(t *testing.T) {
	s := depot(t)
	s.inStore(filled())
	path := "/assemblies/A-1/edit"
	s.wentTo(s.told(path, s.fill(path, "code", "A-9", "length", "2 m", "end_b", "60 degree cone", "unconfirmed", "", "tube", "CR")), "/assemblies/A-9?done=assembly-changed")
	a := s.sheet("A-9").Assembly
	if *a.LengthMM != 2000 || a.EndB != "60 degree cone" || a.Tube != "CR" || *a.RatedBar != 275.4321 || a.RatingSource != register.RatingTyped {
		t.Errorf("changed to %+v", a)
	}
}

// Two people change it at once: what only the other changed stays, what both
// changed is asked.
func TestAssemblyForm_ADateThatMovesIsShownBeforeItIsSaved(t *testing.T) {
	s := empty(t)
	s.apply(
		register.AddSite{Name: "Depot", Zone: "UTC"}, register.AddMachine{Site: "Depot", Code: "M-1"}, register.AddPosition{Machine: "M-1", Name: "P1"},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12, Assembled: quantity.Day(day("2022-03-01"))}},
		register.Fit{AssemblyCode: "A-1", Machine: "M-1", Position: "P1", On: day("2022-04-01")})
	path := "/assemblies/A-1/edit"
	page := testkit.HTML(t, want(t, s.fill(path, "assembled", "2021-03-01"), 200).Body)
	if err := testkit.In("#preview", testkit.Text("earlier"))(page); err != nil {
		t.Fatal(err)
	}
	sheet, err := s.store.AssemblySheet(t.Context(), now, "A-1")
	if err != nil || sheet.Assembly.Version != 1 {
		t.Fatalf("saved before it was seen: version %d, %v", sheet.Assembly.Version, err)
	}
	want(t, s.post(path, typed(t, page)...), http.StatusSeeOther)
	if sheet, err = s.store.AssemblySheet(t.Context(), now, "A-1"); err != nil || sheet.Assembly.Assembled.String() != "2021-03-01" {
		t.Errorf("not saved: %v %v", sheet.Assembly.Assembled, err)
	}
}

func TestAssemblyForm_TwoAtOnce(t *testing.T) {
	s := depot(t)
	s.inStore(filled())
	path := "/assemblies/A-1/edit"
	page := testkit.HTML(t, want(t, s.get(path), 200).Body)
	theirs := s.sheet("A-1").Assembly
	theirs.Tube, theirs.EndA = "EPDM", "theirs"
	s.apply(register.ChangeAssembly{Assembly: theirs})
	resp := want(t, s.post(path, typed(t, page, "end_a", "mine", "maker", "Mine")...), 422)
	page = testkit.HTML(t, resp.Body, testkit.In("section[aria-labelledby=both-h]", testkit.Text("Theirs: theirs"), testkit.Text("EPDM")))
	s.wentTo(s.told(path, s.post(path, typed(t, page, "keep.end_a", "mine", "end_a", "mine")...)), "/assemblies/A-1?done=assembly-changed")
	if a := s.sheet("A-1").Assembly; a.Tube != "EPDM" || a.EndA != "mine" || a.Maker != "Mine" {
		t.Errorf("tube %s, end A %s, maker %s", a.Tube, a.EndA, a.Maker)
	}
}

func TestAssembly_PutInByMistakeIsTakenBack(t *testing.T) {
	s := depot(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN"})
	page := testkit.HTML(t, want(t, s.get("/assemblies/A-1/edit"), 200).Body)
	var back string
	for _, a := range testkit.Find(page, "main a") {
		if testkit.TextOf(a) == "Take it back" {
			back = testkit.AttrOf(a, "href")
		}
	}
	want(t, s.fill(back), 422) // no reason
	s.wentTo(s.fill(back, "reason", "typed twice"), "/machines?done=taken-back")
	want(t, s.get("/assemblies/A-1"), 404)
}
