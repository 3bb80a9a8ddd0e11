package server_test

import (
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// twoPlaces is a register with a hose at lift, an empty position, a second
// machine and one assembly in store.
func twoPlaces(t *testing.T) *site {
	t.Helper()
	s := inspected(t)
	bar := 275.0
	s.apply(register.AddPosition{Machine: "RT-01", Name: "steering"}, register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02"},
		register.AddPosition{Machine: "RT-02", Name: "boom"},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12, RatedBar: &bar, RatingSource: register.RatingPrinted, Assembled: month("2026-06")}})
	return s
}

func TestFit_FromStoreToAnEmptyPosition(t *testing.T) {
	s := twoPlaces(t)
	page := testkit.HTML(t, want(t, s.get("/assemblies/A-1/fit"), 200).Body, testkit.Has("form[method=get] #machine option[value=RT-02]"), testkit.HasNot("#position"))
	checkNames(t, "/assemblies/A-1/fit", page)
	path := "/assemblies/A-1/fit?machine=RT-01"
	page = testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.Has("#position option[value=steering]"), testkit.HasNot("#position option[value=lift]"),
		testkit.In("details ul.plain", testkit.Text("lift"), testkit.Text("holds H-000001")))
	resp := s.told("/assemblies/A-1/fit", s.post("/assemblies/A-1/fit", typed(t, page, "position", "steering", "hours", "55")...))
	s.wentTo(resp, "/assemblies/A-1?done=fitted")
	if s.sits("RT-01", "steering") != "A-1" {
		t.Error("it does not sit there")
	}
}

func TestFit_WhatIsWrongIsToldAtItsField(t *testing.T) {
	s := twoPlaces(t)
	for _, c := range []struct {
		over     []string
		id, says string
	}{
		{[]string{"position", ""}, "position-error", "Choose the position"},
		{[]string{"position", "steering", "on", ""}, "on-error", "Give the day"},
		{[]string{"position", "steering", "on", "2026-12-24"}, "on-error", "still to come"},
		{[]string{"position", "steering", "hours", "x"}, "hours-error", "x"},
		{[]string{"position", "lift", "machine", "RT-01"}, "position-error", "holds assembly H-000001"},
		{[]string{"position", "steering", "machine", "NONE"}, "machine-error", "There is no machine"},
		{[]string{"position", "steering", "machine", ""}, "machine-error", "Choose the machine"},
		{[]string{"position", "<script>"}, "position-error", ""},
	} {
		page := testkit.HTML(t, want(t, s.get("/assemblies/A-1/fit?machine=RT-01"), 200).Body)
		before := changes(t, s)
		testkit.HTML(t, want(t, s.told("/assemblies/A-1/fit", s.post("/assemblies/A-1/fit", typed(t, page, c.over...)...)), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)), testkit.Count("script", 1))
		if changes(t, s) != before {
			t.Errorf("%v: something was saved", c.over)
		}
	}
}

// A move is a removal and a fitting on the same day; what wore it counts on.
func TestMove_ToAnotherMachineInOneAct(t *testing.T) {
	s := twoPlaces(t)
	page := testkit.HTML(t, want(t, s.get("/assemblies/H-000001/move?machine=RT-02"), 200).Body, testkit.Has("#hours_off"))
	resp := s.told("/assemblies/H-000001/move", s.post("/assemblies/H-000001/move", typed(t, page, "position", "boom", "hours_off", "900", "hours", "12", "on", "2026-11-24")...))
	s.wentTo(resp, "/assemblies/H-000001?done=moved")
	sheet := s.sheet("H-000001")
	if len(sheet.Placements) != 2 || s.sits("RT-02", "boom") != "H-000001" || s.sits("RT-01", "lift") != "" {
		t.Fatalf("placements %+v", sheet.Placements)
	}
	now, was := sheet.Placements[0], sheet.Placements[1]
	if was.Placement.To != day("2026-11-24") || *was.Placement.ToHours != 900 || now.Placement.From != day("2026-11-24") || *now.Placement.FromHours != 12 ||
		was.Removal.Cause != register.CausePlanned || was.Scrapped {
		t.Errorf("was %+v %+v, is %+v", was.Placement, was.Removal, now.Placement)
	}
	acts, err := s.store.Acts(t.Context(), nowLater, me.PersonID, 1)
	if err != nil || len(acts) != 1 {
		t.Fatalf("%v %v", acts, err)
	}
	s.wentTo(s.fill(actPath(acts[0].ID)), "/acts?done=undone")
	if s.sits("RT-01", "lift") != "H-000001" || s.sits("RT-02", "boom") != "" {
		t.Error("undoing the move did not put it back")
	}
}

func TestFit_SaysWhyNot(t *testing.T) {
	s := twoPlaces(t)
	s.apply(register.Scrap{AssemblyCode: "A-1", On: day("2026-11-20")})
	testkit.HTML(t, want(t, s.get("/assemblies/A-1/fit"), 200).Body, testkit.In("main .verdict", testkit.Text("It was scrapped")), testkit.HasNot("main form"))
	testkit.HTML(t, want(t, s.get("/assemblies/A-1/move"), 200).Body, testkit.In("main .verdict", testkit.Text("It was scrapped")))
	testkit.HTML(t, want(t, s.get("/assemblies/H-000001/fit"), 200).Body, testkit.In("main .verdict", testkit.Text("It sits at RT-01, lift; move it instead")))
	want(t, s.post("/assemblies/H-000001/fit", "machine", "RT-02", "position", "boom", "on", "2026-11-25"), 422)
	want(t, s.post("/assemblies/A-1/move", "machine", "RT-02", "position", "boom", "on", "2026-11-25"), 422)
	if s.sits("RT-02", "boom") != "" {
		t.Error("something was fitted")
	}
}
