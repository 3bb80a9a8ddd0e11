package server_test

import (
	"slices"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

const foundPath = "/machines/RT-01/found?position=lift"

// The strict day: when the old one was last seen there, or when the found one
// was made if that is later.
func TestFound_CountsFromTheEarliestDayItCanHaveBeenFitted(t *testing.T) {
	for _, c := range []struct {
		why, line string
		looked    string // an inspection of the old one
		from      string
	}{
		{"never inspected: since the old one was fitted", "TESTCO EN 853 2SN DN 12 275 BAR 4Q23", "", "2024-02-05"},
		{"inspected: since it was last seen", "TESTCO EN 853 2SN DN 12 275 BAR 4Q23", "2025-05-10", "2025-05-10"},
		{"made later: since it was made", "TESTCO EN 853 2SN DN 12 275 BAR 2Q26", "2025-05-10", "2026-04-01"},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := inspected(t)
			if c.looked != "" {
				s.apply(register.Inspect{Machine: "RT-01", Position: "lift", On: day(c.looked)})
			}
			resp := s.told(foundPath, s.fill(foundPath, "layline", c.line, "went", "scrapped"))
			s.wentTo(resp, "/assemblies/H-000002?done=found-noted")
			p := s.sheet("H-000002").Placements[0].Placement
			if p.From != day(c.from) || p.FromText != "found on 2026-11-25" {
				t.Errorf("fitted from %s (%s), want %s", p.From, p.FromText, c.from)
			}
			old := s.sheet("H-000001")
			if r := old.Placements[0].Removal; old.Status != life.StatusRemoved || r.Cause != register.CauseUnknown || old.Placements[0].Placement.To != day(c.from) {
				t.Errorf("the old one is %s, removed %+v", old.Status, r)
			}
		})
	}
}

func TestFound_OneOfTheStoreHangsThere(t *testing.T) {
	s := inspected(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12, Assembled: month("2024-06")})
	s.wentTo(s.told(foundPath, s.fill(foundPath, "from", "A-1", "went", "in store")), "/assemblies/A-1?done=found-noted")
	if s.sheet("H-000001").Status != life.StatusInStore || s.sits("RT-01", "lift") != "A-1" {
		t.Error("they did not change places")
	}
}

// The removal closes what is open: a damaged one does not go back in store
// without a word.
func TestFound_ADamagedOneGoesBackInStoreOnlyWithAWord(t *testing.T) {
	s := worn(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12, Assembled: month("2026-06")})
	page := testkit.HTML(t, want(t, s.fill(foundPath, "from", "A-1", "went", "in store"), 200).Body,
		testkit.In("section[aria-labelledby=checks-h]", testkit.Text("It goes back in store although an inspection found")))
	s.wentTo(s.post(foundPath, typed(t, page)...), "/assemblies/A-1?done=found-noted")
}

// One that sat elsewhere after the old one was last seen here cannot have come
// on before it came off there.
func TestFound_OneThatSatElsewhereCountsFromWhenItCameOffThere(t *testing.T) {
	s := inspected(t)
	s.inStore(register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12, Assembled: month("2024-06")})
	s.apply(register.AddPosition{Machine: "RT-01", Name: "tilt"}, register.Fit{AssemblyCode: "A-1", Machine: "RT-01", Position: "tilt", On: day("2024-08-01")},
		register.Remove{AssemblyCode: "A-1", On: day("2026-05-10"), Cause: register.CausePlanned, FoundBy: register.FoundByInspection})
	s.wentTo(s.told(foundPath, s.fill(foundPath, "from", "A-1", "went", "scrapped")), "/assemblies/A-1?done=found-noted")
	placed := s.sheet("A-1").Placements
	if i := slices.IndexFunc(placed, func(v register.PlacementSheet) bool { return v.PositionName == "lift" }); i < 0 || placed[i].Placement.From != day("2026-05-10") {
		t.Errorf("%+v", placed)
	}
}

func TestFound_SaysWhatIsWrong(t *testing.T) {
	s := inspected(t)
	page := testkit.HTML(t, want(t, s.get(foundPath), 200).Body, testkit.In("main", testkit.Text("It came off between 2024-02-05, when it was last seen here, and today"), testkit.Text("never taken for younger than it is")))
	checkNames(t, foundPath, page)
	for _, c := range []struct {
		over     []string
		id, says string
	}{
		{[]string{"went", "scrapped"}, "layline-error", "Say what was fitted"},
		{[]string{"went", "", "designation", "EN 853 2SN"}, "went-error", "Say where the old one is"},
		{[]string{"went", "scrapped", "designation", "EN 853 2SN", "assembled", "2027-03"}, "assembled-error", "still to come"},
		{[]string{"went", "scrapped", "designation", "EN 853 2SN", "old", "OTHER"}, "problems", "Meanwhile the register says"},
	} {
		before := changes(t, s)
		testkit.HTML(t, want(t, s.fill(foundPath, c.over...), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
		if changes(t, s) != before {
			t.Errorf("%v: something was saved", c.over)
		}
	}
	want(t, s.get("/machines/RT-01/found?position=nowhere"), 404)
}
