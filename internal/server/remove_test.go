package server_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

func month(s string) quantity.Period {
	p, err := quantity.ParsePeriod(s)
	if err != nil {
		panic(err)
	}
	return p
}

const removePath = "/machines/RT-01/remove?position=lift"

func TestRemove_BackInStoreOrScrapped(t *testing.T) {
	for _, c := range []struct {
		went, to string
		status   life.Status
	}{
		{"in store", "/machines/RT-01?done=removed-to-store", life.StatusInStore},
		{"scrapped", "/machines/RT-01?done=removed", life.StatusRemoved},
	} {
		s := worn(t)
		resp := s.told(removePath, s.fill(removePath, "hours", "99", "cause", "outside", "found_by", "event", "went", c.went, "seen", "cut"))
		s.wentTo(resp, c.to)
		sheet := s.sheet("H-000001")
		if sheet.Status != c.status || len(sheet.Open) != 0 || s.sits("RT-01", "lift") != "" {
			t.Errorf("%s: %s, open %v", c.went, sheet.Status, sheet.Open)
		}
	}
}

// Damage that was found is not lost from sight when a hose goes back in store.
func TestRemove_DamageIsToldBeforeItGoesBackInStore(t *testing.T) {
	s := worn(t)
	page := testkit.HTML(t, want(t, s.fill(removePath, "cause", "planned", "went", "in store"), 200).Body, testkit.In("section[aria-labelledby=checks-h]",
		testkit.Text("It goes back in store although an inspection found: Hard, stiff, cracked by heat or charred (class stop)"), testkit.Text("Planned is chosen although an inspection found")))
	checkNames(t, removePath, page)
	if s.sits("RT-01", "lift") != "H-000001" {
		t.Error("it was removed before that was shown")
	}
}

func TestRemove_WhatIsWrongIsToldAtItsField(t *testing.T) {
	s := worn(t)
	for _, c := range []struct {
		over     []string
		id, says string
	}{
		{[]string{"found_by", "event", "went", "scrapped"}, "cause-error", "Say why it came off"},
		{[]string{"cause", "heat", "went", "scrapped"}, "found_by-error", "Say how it was found"},
		{[]string{"cause", "heat", "found_by", "event"}, "went-error", "Say whether"},
		{[]string{"cause", "heat", "found_by", "event", "went", "scrapped", "on", "yesterday"}, "on-error", "yesterday"},
		{[]string{"cause", "heat", "found_by", "event", "went", "scrapped", "on", "2026-11-19"}, "on-error", "inspected"},
		{[]string{"cause", "heat", "found_by", "event", "went", "scrapped", "hours", "-5"}, "hours-error", ""},
	} {
		before := changes(t, s)
		testkit.HTML(t, want(t, s.fill(removePath, c.over...), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
		if changes(t, s) != before {
			t.Errorf("%v: something was saved", c.over)
		}
	}
}

func TestRemove_SentTwiceDoesNothingTwice(t *testing.T) {
	s := inspected(t)
	form := typed(t, testkit.HTML(t, want(t, s.get(removePath), 200).Body), "cause", "planned", "went", "scrapped")
	s.wentTo(s.post(removePath, form...), "/machines/RT-01?done=removed")
	after := changes(t, s)
	want(t, s.post(removePath, form...), 303)
	if changes(t, s) != after {
		t.Error("the second one did something")
	}
	testkit.HTML(t, want(t, s.get(removePath), 200).Body, testkit.In("main", testkit.Text("nothing to remove")))
}

func TestScrap_FromStore(t *testing.T) {
	s := depot(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12})
	s.wentTo(s.fill("/assemblies/A-1/scrap", "reason", "stored too long"), "/assemblies/A-1?done=scrapped")
	if sheet := s.sheet("A-1"); sheet.Status != life.StatusRemoved || sheet.Assembly.ScrappedReason != "stored too long" {
		t.Errorf("%s, %q", sheet.Status, sheet.Assembly.ScrappedReason)
	}
	want(t, s.fill("/assemblies/A-1/scrap", "reason", "again"), 422)
	want(t, s.get("/assemblies/NONE/scrap"), 404)
}

func TestScrap_OneThatSitsSomewhereIsRemovedFirst(t *testing.T) {
	s := inspected(t)
	testkit.HTML(t, want(t, s.get("/assemblies/H-000001/scrap"), 200).Body, testkit.In("main", testkit.Text("It sits at RT-01, lift")))
	want(t, s.fill("/assemblies/H-000001/scrap"), 422)
}

func TestScrap_NotedByMistakeIsCorrectedOnItsForm(t *testing.T) {
	s := depot(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12})
	s.wentTo(s.fill("/assemblies/A-1/scrap", "reason", "stored too long"), "/assemblies/A-1?done=scrapped")
	s.wentTo(s.fill("/assemblies/A-1/edit", "scrapped_on", "", "scrapped_reason", ""), "/assemblies/A-1?done=assembly-changed")
	if sheet := s.sheet("A-1"); sheet.Status != life.StatusInStore {
		t.Errorf("it is %s", sheet.Status)
	}
}
