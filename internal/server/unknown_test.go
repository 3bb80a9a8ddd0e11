package server_test

import (
	"context"
	"strings"
	"testing"

	"hoseward/internal/register"
)

func TestUnknown_SaysWhatIsMissingAndWhereToEnterIt(t *testing.T) {
	s := empty(t)
	s.apply(register.AddSite{Name: "Depot", Zone: "UTC"}, register.AddMachine{Site: "Depot", Code: "RT-1", Kind: "lathe"},
		register.AddPosition{Machine: "RT-1", Circuit: "lift", Name: "left"},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "K-1", Designation: "EN 853 2SN", DN: 12}},
		register.Fit{AssemblyCode: "K-1", Machine: "RT-1", Position: "left", On: day("2025-01-10")})
	page := body(t, s.get("/unknown"))
	for _, want := range []string{
		`href="/assemblies/K-1/edit#rated"`, `href="/assemblies/K-1/edit#assembled"`, `href="/machines/RT-1/readings/new"`,
		`href="/machines/RT-1/conditions/new?circuit=lift"`, "0 %",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no %s on the page", want)
		}
	}
	if page = body(t, s.get("/unknown?what=running+hours")); strings.Contains(page, "#assembled") {
		t.Error("the filter shows something else")
	}
	if err := s.store.NoteKnown(context.Background(), now.AddDate(0, -1, 0)); err != nil {
		t.Fatal(err)
	}
	if err := s.store.NoteKnown(context.Background(), now); err != nil {
		t.Fatal(err)
	}
	if page = body(t, s.get("/unknown")); !strings.Contains(page, `class="strip shares"`) {
		t.Error("the share over time is not drawn")
	}
}

func TestUnknown_AFilterThatCannotBeMeantIsToldAndLeftOut(t *testing.T) {
	s := demoFleet(t)
	page := body(t, s.get("/unknown?what=foo"))
	if !strings.Contains(page, "There is no such kind of value") || !strings.Contains(page, "Complete the hose") {
		t.Error("the filter is not told, or hides everything")
	}
}

func TestUnknown_ARegisterWithoutHosesSaysHowToBegin(t *testing.T) {
	if page := body(t, empty(t).get("/unknown")); !strings.Contains(page, "/import") {
		t.Error(page)
	}
}
