package server_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

const swapPath = "/machines/RT-01/swap?position=lift"

// newLine is what is printed on the hose that comes on.
const newLine = "TESTCO EN 853 2SN DN 12 275 BAR 2Q26"

// worn is a register with a hose at lift that an inspection found damage on.
func worn(t *testing.T) *site {
	t.Helper()
	s := inspected(t)
	s.apply(register.Inspect{Machine: "RT-01", Position: "lift", On: day("2026-11-20"), By: "N. Ott", Findings: []register.NewFinding{{Number: 8, Class: life.Stop}}})
	return s
}

// inStore puts an assembly in store and gives its code.
func (s *site) inStore(a register.Assembly) string {
	s.t.Helper()
	return s.apply(register.AddAssembly{Site: "Depot", Assembly: a}).Codes[0]
}

func (s *site) sheet(code string) register.AssemblySheet {
	s.t.Helper()
	sheet, err := s.store.AssemblySheet(s.t.Context(), now, code)
	if err != nil {
		s.t.Fatal(err)
	}
	return sheet
}

// sits is the code of what sits at a position, empty if nothing does.
func (s *site) sits(machine, position string) string {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(s.t.Context(), now, machine)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, l := range sheet.Lines {
		if l.Position == position {
			return l.AssemblyCode
		}
	}
	return ""
}

// told sends a page's form again as long as the page shows it for something to
// look at, as a person does who has looked at it.
func (s *site) told(path string, r *http.Response) *http.Response {
	s.t.Helper()
	for range 3 {
		if r.StatusCode != 200 {
			return r
		}
		r = s.post(path, typed(s.t, testkit.HTML(s.t, r.Body))...)
	}
	return r
}

func TestSwap_OldOffNewOnAtOnce(t *testing.T) {
	s := worn(t)
	before := changes(t, s)
	resp := s.fill(swapPath, "hours", "1 234,5", "cause", "heat", "found_by", "inspection", "seen", "charred at end B", "layline", newLine)
	page := testkit.HTML(t, want(t, resp, 200).Body,
		testkit.In("main", testkit.Text("What was read of the printed line"), testkit.Text("2Q2026"), testkit.Text("Nothing is saved yet")))
	checkNames(t, swapPath, page)
	if changes(t, s) != before {
		t.Fatal("saved before what was read was shown")
	}
	page = s.wentTo(s.post(swapPath, typed(t, page)...), "/assemblies/H-000002?done=swapped")
	for _, says := range []testkit.Check{
		testkit.In(".done", testkit.Text("the old hose is off, the new one on"), testkit.In("a[href=/acts]", testkit.Text("Undo"))),
		testkit.In("#steps-h", testkit.Text("Fitting it, in short")),
		testkit.In("main", testkit.Text("never by hand"), testkit.Text("Common practice, from no published source")),
	} {
		if err := says(page); err != nil {
			t.Error(err)
		}
	}
	old := s.sheet("H-000001")
	if old.Status != life.StatusRemoved || old.Line != nil || len(old.Open) != 0 {
		t.Errorf("the old one is %s, sits at %v, open %v", old.Status, old.Line, old.Open)
	}
	r, p := old.Placements[0].Removal, old.Placements[0].Placement
	if r == nil || r.Cause != register.CauseHeat || r.FoundBy != register.FoundByInspection || r.Seen != "charred at end B" || p.To != day("2026-11-25") || *p.ToHours != 1234.5 {
		t.Errorf("removal %+v, placement %+v", r, p)
	}
	fresh := s.sheet("H-000002")
	q := fresh.Placements[0].Placement
	if fresh.Line == nil || fresh.Line.Position != "lift" || q.From != day("2026-11-25") || *q.FromHours != 1234.5 || *fresh.Assembly.RatedBar != 275 || fresh.Assembly.Made.String() != "2Q2026" {
		t.Errorf("the new one %+v at %+v", fresh.Assembly, q)
	}
	if !fresh.Line.Estimated {
		t.Error("the new one is not estimated")
	}
}

func TestSwap_OneFromStoreComesOn(t *testing.T) {
	s := worn(t)
	bar := 275.0
	fits := s.inStore(register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &bar, RatingSource: register.RatingPrinted, Assembled: month("2026-06"), Made: month("2026-05")})
	s.inStore(register.Assembly{Code: "A-OTHER", Designation: "EN 853 1SN", DN: 25, Assembled: month("2026-06")})
	s.inStore(register.Assembly{Code: "A-OLD", Designation: "EN 853 2SN", DN: 12, Assembled: month("2020-01")})
	page := testkit.HTML(t, want(t, s.get(swapPath), 200).Body)
	var offered []string
	for _, o := range testkit.Find(page, "#from option") {
		offered = append(offered, testkit.TextOf(o))
	}
	if len(offered) != 4 || !strings.HasPrefix(offered[1], fits) || !strings.Contains(offered[1], "same size") ||
		!strings.Contains(offered[2], "A-OTHER") || !strings.Contains(offered[2], "another size") || !strings.Contains(offered[3], "A-OLD") || !strings.Contains(offered[3], "needs a release") {
		t.Errorf("offered %q", offered)
	}
	resp := s.told(swapPath, s.post(swapPath, typed(t, page, "cause", "planned", "from", fits)...))
	s.wentTo(resp, "/assemblies/"+fits+"?done=swapped")
	if r := s.sheet("H-000001").Placements[0].Removal; r.FoundBy != register.FoundByInspection {
		t.Errorf("a planned removal was found by %q", r.FoundBy)
	}
	if s.sits("RT-01", "lift") != fits {
		t.Error("the one from store does not sit there")
	}
}

// One that was stored beyond its limit comes on only with a name and a reason.
func TestSwap_StoredTooLongNeedsARelease(t *testing.T) {
	s := worn(t)
	s.inStore(register.Assembly{Code: "A-OLD", Designation: "EN 853 2SN", DN: 12, Assembled: month("2024-01")})
	resp := s.told(swapPath, s.fill(swapPath, "cause", "heat", "found_by", "inspection", "from", "A-OLD"))
	page := testkit.HTML(t, want(t, resp, 422).Body, testkit.In("#released_by-error", testkit.Text("Only a release with a name and a reason")), testkit.Has("details[open] #released_by"))
	s.wentTo(s.told(swapPath, s.post(swapPath, typed(t, page, "released_by", "K. Lind", "reason", "no other one, until Friday")...)), "/assemblies/A-OLD?done=swapped")
}

func TestSwap_WhatIsWrongIsToldAtItsField(t *testing.T) {
	s := worn(t)
	for _, c := range []struct {
		why  string
		over []string
		id   string
		says string
	}{
		{"no cause", []string{"found_by", "event", "layline", newLine}, "cause-error", "Say why it came off"},
		{"not how it was found", []string{"cause", "heat", "layline", newLine}, "found_by-error", "Say how it was found"},
		{"not where it went", []string{"cause", "heat", "found_by", "event", "went", "", "layline", newLine}, "went-error", "scrapped or back in store"},
		{"no day", []string{"on", "", "cause", "heat", "found_by", "event", "layline", newLine}, "on-error", "Give the day"},
		{"a day to come", []string{"on", "2026-12-24", "cause", "heat", "found_by", "event", "layline", newLine}, "on-error", "still to come"},
		{"before the old one was fitted", []string{"on", "2023-01-01", "cause", "heat", "found_by", "event", "layline", "TESTCO EN 853 2SN DN 12 275 BAR 2Q22"}, "on-error", "was fitted on 2024-02-05"},
		{"before it was last inspected", []string{"on", "2026-11-01", "cause", "heat", "found_by", "event", "layline", newLine}, "on-error", "was inspected"},
		{"hours that are no number", []string{"hours", "many", "cause", "heat", "found_by", "event", "layline", newLine}, "hours-error", "many"},
		{"nothing that comes on", []string{"cause", "heat", "found_by", "event"}, "layline-error", "Say what was fitted"},
		{"a cause there is not", []string{"cause", "boredom", "found_by", "event", "designation", "EN 853 2SN"}, "cause-error", "Choose one of the causes"},
		{"found in a way there is not", []string{"cause", "heat", "found_by", "magic", "designation", "EN 853 2SN"}, "found_by-error", "by an event or by looking"},
		{"gone where nothing goes", []string{"cause", "heat", "found_by", "event", "went", "moon", "designation", "EN 853 2SN"}, "went-error", "scrapped or back in store"},
		{"from a store that has it not", []string{"cause", "heat", "found_by", "event", "from", "<b>NONE</b>"}, "problems", "There is no assembly"},
		{"a hose made later than it is fitted", []string{"on", "2026-11-21", "cause", "heat", "found_by", "event", "designation", "EN 853 2SN", "size", "DN 12", "assembled", "2026-11-24"}, "assembled-error", "one of the two dates is wrong"},
	} {
		t.Run(c.why, func(t *testing.T) {
			before := changes(t, s)
			resp := s.fill(swapPath, c.over...)
			for range 2 {
				if resp.StatusCode == 200 {
					resp = s.post(swapPath, typed(t, testkit.HTML(t, resp.Body))...)
				}
			}
			page := testkit.HTML(t, want(t, resp, 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
			checkNames(t, swapPath, page)
			known := map[string]bool{"heat": true, "event": true, newLine: true, "many": true, "2026-12-24": true, "2023-01-01": true}
			kept := map[string]string{}
			for pairs := typed(t, page); len(pairs) > 1; pairs = pairs[2:] {
				kept[pairs[0]] = pairs[1]
			}
			for i := 0; i < len(c.over); i += 2 {
				if known[c.over[i+1]] && kept[c.over[i]] != c.over[i+1] {
					t.Errorf("%s was %q and is %q", c.over[i], c.over[i+1], kept[c.over[i]])
				}
			}
			if changes(t, s) != before {
				t.Error("something was saved")
			}
		})
	}
}

// What was read of the layline is shown before anything is checked; a slip in
// the day or the hours is told with it and not a page later.
func TestSwap_ASlipInTheHoursIsToldWithWhatWasRead(t *testing.T) {
	s := worn(t)
	s.page(s.fill(swapPath, "hours", "many", "layline", newLine), 422, testkit.In("#hours-error", testkit.Text("many")), testkit.In("main", testkit.Text("What was read of the printed line")), testkit.HasNot("#cause-error"))
}

func TestSwap_SentTwiceDoesNothingTwice(t *testing.T) {
	s := worn(t)
	page := testkit.HTML(t, want(t, s.fill(swapPath, "cause", "heat", "found_by", "event", "layline", newLine), 200).Body)
	form := typed(t, page)
	s.wentTo(s.post(swapPath, form...), "/assemblies/H-000002?done=swapped")
	after := changes(t, s)
	s.wentTo(s.post(swapPath, form...), "/assemblies/H-000002?done=swapped")
	if changes(t, s) != after || s.sits("RT-01", "lift") != "H-000002" {
		t.Error("the second one did something")
	}
	// The same from a page that was opened anew on the old state.
	for i := range form {
		if form[i] == "once" {
			form[i+1] = "ANOTHER"
		}
	}
	want(t, s.post(swapPath, form...), http.StatusSeeOther)
	if changes(t, s) != after || s.sits("RT-01", "lift") != "H-000002" {
		t.Error("the third one did something")
	}
}

func TestSwap_SentTwiceAtOnceSwapsOnce(t *testing.T) {
	s := worn(t)
	form := typed(t, testkit.HTML(t, want(t, s.fill(swapPath, "cause", "heat", "found_by", "event", "layline", newLine), 200).Body))
	answers := make(chan *http.Response, 4)
	for range cap(answers) {
		go func() { answers <- s.post(swapPath, form...) }()
	}
	for range cap(answers) {
		if r := <-answers; r.Header.Get("Location") != "/assemblies/H-000002?done=swapped" {
			t.Errorf("%d to %q", r.StatusCode, r.Header.Get("Location"))
		}
	}
	sheet := s.sheet("H-000001")
	if len(sheet.Placements) != 1 || s.sits("RT-01", "lift") != "H-000002" {
		t.Error("it was swapped more than once")
	}
}

// Somebody swapped it while the page was open: nothing is done before that was
// shown.
func TestSwap_WhatChangedMeanwhileIsShownFirst(t *testing.T) {
	s := worn(t)
	page := testkit.HTML(t, want(t, s.fill(swapPath, "cause", "heat", "found_by", "event", "layline", newLine), 200).Body)
	s.apply(register.Remove{AssemblyCode: "H-000001", On: day("2026-11-24"), Cause: register.CauseHeat, FoundBy: register.FoundByEvent, Scrapped: true},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "THEIRS", Designation: "EN 853 2SN", DN: 12, Assembled: month("2026-10")}},
		register.Fit{Machine: "RT-01", Position: "lift", On: day("2026-11-24")})
	testkit.HTML(t, want(t, s.post(swapPath, typed(t, page)...), 422).Body, testkit.In("#problems", testkit.Text("THEIRS was fitted here meanwhile in place of H-000001")))
	if s.sits("RT-01", "lift") != "THEIRS" {
		t.Error("theirs came off")
	}
}

// That stays so where the same form shows for the first time what was read of
// the printed line: it must not be lost behind that.
func TestSwap_WhatChangedMeanwhileIsNotLostBehindWhatWasRead(t *testing.T) {
	for path, over := range map[string][]string{
		swapPath:  {"cause", "heat", "found_by", "event", "layline", newLine},
		foundPath: {"went", "scrapped", "layline", newLine},
	} {
		s := worn(t)
		form := typed(t, testkit.HTML(t, want(t, s.get(path), 200).Body), over...)
		s.apply(register.Remove{AssemblyCode: "H-000001", On: day("2026-11-24"), Cause: register.CauseHeat, FoundBy: register.FoundByEvent, Scrapped: true},
			register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "THEIRS", Designation: "EN 853 2SN", DN: 12, Assembled: month("2026-10")}},
			register.Fit{Machine: "RT-01", Position: "lift", On: day("2026-11-24")})
		testkit.HTML(t, want(t, s.post(path, form...), 422).Body, testkit.In("#problems", testkit.Text("eanwhile")), testkit.In("main", testkit.Text("What was read of the printed line")))
	}
}

// What a fitter must see stands on the page before anything is saved.
func TestSwap_ChecksAreShownBeforeItIsSaved(t *testing.T) {
	high, low, long := 275.0, 180.0, 1500.0
	length := 1000.0
	for _, c := range []struct {
		why  string
		hose register.Assembly
		says string
	}{
		{"a lower rating than before", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &low}, "The rating is lower than before: 180 bar in place of 275 bar"},
		{"an unknown rating", register.Assembly{Designation: "own make", DN: 12}, "The rating of the new hose is not known"},
		{"another size", register.Assembly{Designation: "EN 853 2SN", DN: 16, RatedBar: &high}, "The size differs: the new hose is DN 16, -10, DN 12, -8 was here"},
		{"another length", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &high, LengthMM: &long}, "The length differs: the new hose is 1500 mm, 1000 mm belongs here"},
		{"another designation", register.Assembly{Designation: "EN 857 2SC", DN: 12, RatedBar: &high}, "The designation differs: EN 857 2SC in place of EN 853 2SN"},
		{"other ends", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &high, EndA: "60 degree cone"}, "The ends differ"},
		{"a hose too old when assembled", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &high, Made: month("2021-01"), Assembled: month("2026-05")}, "more than 48 months old when it was assembled"},
		{"no date at all", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &high}, "counts as 48 months older than its fitting"},
		{"nothing of the kind", register.Assembly{Designation: "EN 853 2SN", DN: 12, RatedBar: &high, LengthMM: &length, EndA: "24 degree cone", EndB: "24 degree cone", Made: month("2026-05"), Assembled: month("2026-06")}, ""},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := depot(t)
			s.apply(register.AddPosition{Machine: "RT-01", Name: "lift"}, register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
				Code: "OLD", Designation: "EN 853 2SN", DN: 12, RatedBar: &high, RatingSource: register.RatingPrinted, LengthMM: &length, EndA: "24 degree cone", EndB: "24 degree cone", Assembled: month("2024-01"),
			}}, register.Fit{Machine: "RT-01", Position: "lift", On: day("2024-02-05")})
			c.hose.Code = "NEW"
			if c.hose.RatedBar != nil {
				c.hose.RatingSource = register.RatingPrinted
			}
			s.inStore(c.hose)
			resp := s.fill(swapPath, "cause", "planned", "from", "NEW")
			if c.says == "" {
				s.wentTo(resp, "/assemblies/NEW?done=swapped")
				return
			}
			page := testkit.HTML(t, want(t, resp, 200).Body, testkit.In("section[aria-labelledby=checks-h]", testkit.Text(c.says), testkit.Text("Nothing is saved yet")))
			if s.sits("RT-01", "lift") != "OLD" {
				t.Fatal("saved before it was shown")
			}
			want(t, s.post(swapPath, typed(t, page)...), http.StatusSeeOther)
		})
	}
}

// The pressure it works at is what the rating must bear: 250 bar of a named
// circuit against a hose of 225 bar.
func TestSwap_ARatingBelowTheWorkingPressureIsToldStrictly(t *testing.T) {
	s := inspected(t)
	work := 250.0
	low := 225.0
	s.apply(register.SetConditions{Machine: "RT-01", Position: "lift", From: day("2024-02-05"), Basis: register.Measured, Service: register.Service{WorkingBar: &work}})
	s.inStore(register.Assembly{Code: "LOW", Designation: "EN 853 2SN", DN: 12, RatedBar: &low, RatingSource: register.RatingPrinted, Assembled: month("2026-06")})
	testkit.HTML(t, want(t, s.fill(swapPath, "cause", "planned", "from", "LOW"), 200).Body,
		testkit.In("section[aria-labelledby=checks-h]", testkit.Text("The rating is too low: the new hose has 225 bar, here it works at up to 250 bar. Do not fit it.")))
}

// The button copies what the old one is, never when it was made.
// What sat here last may work elsewhere by now: it is the position that says
// which pressure there is.
func TestSwap_ThePressureIsThatOfThePositionNotOfWhatSatThere(t *testing.T) {
	s := inspected(t)
	work, easy, low := 250.0, 20.0, 225.0
	s.apply(register.AddPosition{Machine: "RT-01", Name: "return line"},
		register.SetConditions{Machine: "RT-01", Position: "lift", From: day("2024-02-05"), Basis: register.Measured, Service: register.Service{WorkingBar: &work}},
		register.SetConditions{Machine: "RT-01", Position: "return line", From: day("2024-02-05"), Basis: register.Measured, Service: register.Service{WorkingBar: &easy}},
		register.Remove{AssemblyCode: "H-000001", On: day("2026-11-01"), Cause: register.CausePlanned, FoundBy: register.FoundByInspection},
		register.Fit{AssemblyCode: "H-000001", Machine: "RT-01", Position: "return line", On: day("2026-11-01")})
	s.inStore(register.Assembly{Code: "LOW", Designation: "EN 853 2SN", DN: 12, RatedBar: &low, RatingSource: register.RatingPrinted, Assembled: month("2026-06")})
	testkit.HTML(t, want(t, s.fill(swapPath, "from", "LOW"), 200).Body,
		testkit.In("section[aria-labelledby=checks-h]", testkit.Text("The rating is too low: the new hose has 225 bar, here it works at up to 250 bar. Do not fit it.")))
}

// A rating is never printed higher than it is, and what it must bear is not
// printed lower.
func TestSwap_RatingsAreRoundedDown(t *testing.T) {
	s := inspected(t)
	work, low := 300.0, 275.7903
	s.apply(register.SetConditions{Machine: "RT-01", Position: "lift", From: day("2024-02-05"), Basis: register.Measured, Service: register.Service{WorkingBar: &work}})
	s.inStore(register.Assembly{Code: "LOW", Designation: "EN 853 2SN", DN: 12, RatedBar: &low, RatingSource: register.RatingPrinted, Assembled: month("2026-06")})
	testkit.HTML(t, want(t, s.fill(swapPath, "cause", "planned", "from", "LOW"), 200).Body,
		testkit.In("section[aria-labelledby=checks-h]", testkit.Text("the new hose has 275.7 bar")))
	page := testkit.HTML(t, want(t, s.get("/assemblies/LOW/edit"), 200).Body)
	if v := testkit.AttrOf(testkit.Find(page, "#rated")[0], "value"); v != "275.7 bar" {
		t.Errorf("its form says %s", v)
	}
}

func TestSwap_SameAsTheOldOneCopiesNoDates(t *testing.T) {
	s := depot(t)
	high, length := 275.0, 1250.0
	s.apply(register.AddPosition{Machine: "RT-01", Name: "lift"}, register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
		Code: "OLD", Layline: layline, Designation: "EN 853 2SN", DN: 12, Dash: 8, RatedBar: &high, RatingSource: register.RatingPrinted, LengthMM: &length,
		EndA: "24 degree cone 15L", EndABar: &high, EndB: "60 degree cone", Made: month("2023-12"), MadeText: "4Q23", Assembled: month("2024-01"),
	}}, register.Fit{Machine: "RT-01", Position: "lift", On: day("2024-02-05")})
	before := changes(t, s)
	testkit.HTML(t, want(t, s.get(swapPath), 200).Body, testkit.In("#designation-hint", testkit.Text("Here: EN 853 2SN")), testkit.In("#length-hint", testkit.Text("Here: 1250 mm")),
		testkit.In("#end_b-hint", testkit.Text("Here: 60 degree cone")), testkit.In("#designation", testkit.Attr("value", "")))
	page := testkit.HTML(t, want(t, s.fill(swapPath, "same", "yes", "seen", "worn", "hours", "77"), 200).Body)
	got := map[string]string{}
	for pairs := typed(t, page); len(pairs) > 1; pairs = pairs[2:] {
		got[pairs[0]] = pairs[1]
	}
	for name, value := range map[string]string{
		"designation": "EN 853 2SN", "size": "DN 12, -8", "length": "1250 mm", "end_a": "24 degree cone 15L", "end_b": "60 degree cone",
		"rated": "", "end_a_bar": "", "made": "", "assembled": "", "layline": "", "code": "", "seen": "worn", "hours": "77",
	} {
		if got[name] != value {
			t.Errorf("%s is %q, want %q", name, got[name], value)
		}
	}
	if changes(t, s) != before {
		t.Error("something was saved")
	}
}

// What can be read in two ways is asked, and nothing is said to be unknown
// meanwhile.
func TestSwap_AnAmbiguousDateIsAsked(t *testing.T) {
	s := worn(t)
	page := testkit.HTML(t, want(t, s.fill(swapPath, "cause", "heat", "found_by", "event", "layline", "TESTCO EN 853 2SN DN 12 275 BAR 0612"), 200).Body,
		testkit.In("#made_reading", testkit.Text("2012-06"), testkit.Text("2006-12")), testkit.In("main", testkit.NoText("counts as 48 months older")))
	testkit.HTML(t, want(t, s.post(swapPath, typed(t, page)...), 422).Body, testkit.In("#made_reading-error", testkit.Text("more than one way")))
	resp := s.told(swapPath, s.post(swapPath, typed(t, page, "made_reading", "2012-06", "released_by", "K. Lind", "reason", "none newer")...))
	want(t, resp, http.StatusSeeOther)
	if a := s.sheet("H-000002").Assembly; a.Made.String() != "2012-06" || a.MadeAmbiguous {
		t.Errorf("made %s, ambiguous %v", a.Made, a.MadeAmbiguous)
	}
}

// A position without a hose has the same form, for the new one alone.
func TestSwap_AtAnEmptyPositionItFits(t *testing.T) {
	s := depot(t)
	s.apply(register.AddPosition{Machine: "RT-01", Name: "lift"})
	page := testkit.HTML(t, want(t, s.get(swapPath), 200).Body, testkit.HasNot("#cause"), testkit.In("h1", testkit.Text("Fit a hose at RT-01, lift")))
	resp := s.told(swapPath, s.post(swapPath, typed(t, page, "layline", newLine)...))
	s.wentTo(resp, "/assemblies/H-000001?done=fitted")
}

func TestSwap_NoSuchPositionIsNotFound(t *testing.T) {
	s := inspected(t)
	want(t, s.get("/machines/RT-01/swap?position=elsewhere"), 404)
	want(t, s.get("/machines/NOBODY/swap?position=lift"), 404)
	want(t, s.post("/machines/RT-01/swap", "cause", "heat"), 404)
	testkit.HTML(t, want(t, s.get("/machines/RT-01/swap"), 200).Body, testkit.In("main ul.plain", testkit.Text("lift"), testkit.Text("H-000001")))
}

func TestSwap_CautionsStandBeforeTheForm(t *testing.T) {
	s := inspected(t)
	for _, path := range []string{swapPath, "/machines/RT-01/remove?position=lift"} {
		text := body(t, want(t, s.get(path), 200))
		for _, line := range []string{life.SafetyPressure, life.SafetySkin, life.SafetyInjection} {
			if i := strings.Index(text, line); i < 0 || i > strings.Index(text, "<form method=\"post\"") {
				t.Errorf("%s: %q does not stand before the form", path, line)
			}
		}
	}
}

// Hours that contradict the readings are told at their field, and the swap is
// not half done.
func TestSwap_HoursBelowTheLastReadingAreRefused(t *testing.T) {
	s := worn(t)
	s.apply(register.AddReading{Machine: "RT-01", On: day("2026-11-22"), Hours: 500, Source: "page"})
	before := changes(t, s)
	testkit.HTML(t, want(t, s.get(swapPath), 200).Body, testkit.In("#hours-hint", testkit.Text("Last reading: 500 h on 2026-11-22")))
	resp := s.told(swapPath, s.fill(swapPath, "hours", "400", "cause", "heat", "found_by", "event", "layline", newLine))
	testkit.HTML(t, want(t, resp, 422).Body, testkit.In("#hours-error", testkit.Text("400")))
	if changes(t, s) != before || s.sits("RT-01", "lift") != "H-000001" {
		t.Error("half of it was done")
	}
}

// What an attacker types stays text on every page it comes to.
func TestStory_WhatIsTypedStaysText(t *testing.T) {
	for _, evil := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `{{.Static}}`, `</textarea></title></svg><b>x`, `'; DROP TABLE placements;--`} {
		s := storied(t)
		paths := []string{"/acts", "/assemblies/H-000001", "/assemblies/H-000001/edit", "/assemblies/H-000001/move?machine=RT-01", "/machines/RT-01", swapPath, removePath, foundPath}
		want(t, s.told("/assemblies/H-000001/edit", s.fill("/assemblies/H-000001/edit", "designation", evil, "end_a", evil, "end_b", evil, "fluid", evil, "construction", evil, "note", evil, "maker", evil)), 303)
		for thing, path := range s.correctable() {
			paths = append(paths, path, path+"?do=back")
			over := []string{"reason", evil, "note", evil}
			if thing == register.ThingLayUp {
				over = append(over, "lay_up_reason", evil)
			}
			want(t, s.told(path, s.fill(path, over...)), 303)
		}
		finding := fmt.Sprintf("/findings/%d", s.sheet("H-000001").Findings[0].ID)
		want(t, s.post(finding, "do", "release", "release_by", evil, "release_reason", evil), 303)
		paths = append(paths, finding)
		want(t, s.told(swapPath, s.fill(swapPath, "cause", "heat", "found_by", "event", "seen", evil, "layline", evil, "designation", evil, "end_a", evil)), 303)
		paths = append(paths, "/assemblies/H-000002", "/assemblies/H-000002/edit", fmt.Sprintf("/correct/placements/%d", s.sheet("H-000001").Placements[0].Placement.ID))
		shown := 0
		for _, path := range paths {
			page := testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.HasNot("b"), testkit.HasNot("[onerror]"), testkit.Count("script", 1))
			if strings.Contains(testkit.TextOf(page), strings.Join(strings.Fields(evil), " ")) {
				shown++
			}
		}
		if shown < 3 {
			t.Errorf("%q is shown on %d pages only", evil, shown)
		}
		if evil != `<script>alert(1)</script>` { // once is enough
			continue
		}
		// Values no form offers are refused or read as text, never an error of the program.
		for _, path := range append(paths, "/assemblies/new", "/acts/1/undo") {
			for _, field := range []string{"position", "machine", "from", "cause", "class", "kind", "sits", "old", "version", "site", "basis", "on", "hours", "do"} {
				if r := s.post(path, field, evil); r.StatusCode >= 500 {
					t.Errorf("%s with %s=%q gives %d", path, field, evil, r.StatusCode)
				}
			}
		}
	}
}
