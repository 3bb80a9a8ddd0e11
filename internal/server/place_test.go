package server_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// yard is a register with a machine that has two positions, a hose on the
// first, and another machine of its kind without any.
func yard(t testing.TB) *site {
	t.Helper()
	s := depot(t)
	rated := 275.0
	s.apply(
		register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift, left", WalkOrder: 1},
		register.AddPosition{Machine: "RT-01", Circuit: "steering", Name: "steering", WalkOrder: 2},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
			Code: "A-1", Designation: "EN 853 2SN", DN: 12, RatedBar: &rated, RatingSource: register.RatingPrinted,
			Made: quantity.Day(day("2024-03-01")), Assembled: quantity.Day(day("2024-06-01")),
		}},
		register.Fit{AssemblyCode: "A-1", Machine: "RT-01", Position: "lift, left", On: day("2024-07-01")},
		register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02"},
	)
	return s
}

// position is a position of a machine with all that is known of it.
func (s *site) position(machine, name string) register.PositionSheet {
	s.t.Helper()
	p, err := s.store.PositionSheet(s.t.Context(), now, machine, name)
	if err != nil {
		s.t.Fatal(err)
	}
	return p
}

func (s *site) kind(name string) register.KindSheet {
	s.t.Helper()
	k, err := s.store.Kind(s.t.Context(), name)
	if err != nil {
		s.t.Fatal(err)
	}
	return k
}

// positionNames are the positions of a machine in walking order.
func (s *site) positionNames(code string) []string {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(s.t.Context(), now, code)
	if err != nil {
		s.t.Fatal(err)
	}
	byOrder := map[int]string{}
	for _, l := range sheet.Lines {
		byOrder[l.WalkOrder] = l.Position
	}
	for _, p := range sheet.Empty {
		byOrder[p.WalkOrder] = p.Name
	}
	var names []string
	for order := range 1000 {
		if n, ok := byOrder[order]; ok {
			names = append(names, n)
		}
	}
	return names
}

func TestSiteForms_AddAndChange(t *testing.T) {
	s := depot(t)
	s.wentTo(s.fill("/sites/new", "name", "Yard / South", "zone", "America/Chicago", "policy", "heightened demand"), "/sites?done=site-added")
	s.page(s.get("/sites"), 200, testkit.In("table.rows tbody", testkit.Text("Yard / South"), testkit.Text("America/Chicago"), testkit.Text("heightened demand")))
	path := "/sites/Yard%20%2F%20South/edit"
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), "name", "South", "policy", "normal demand", "reason", "one shift now"), "/sites?done=site-changed")
	site, err := s.store.Site(t.Context(), "South")
	if err != nil || site.Zone != "America/Chicago" {
		t.Errorf("%+v, %v", site, err)
	}
	s.page(s.get("/sites/nowhere/edit"), http.StatusNotFound)
}

func TestSiteForm_ShowsWhichDatesMoveBeforeThePolicyChanges(t *testing.T) {
	s := yard(t)
	shown := s.page(s.fill("/sites/Depot/edit", "policy", "heightened demand"), 200,
		testkit.In("#preview", testkit.Text("1 date moves earlier"), testkit.Has("a[href=/assemblies/A-1]"), testkit.Text("2026-07-01"), testkit.Text("overdue")))
	if site, err := s.store.Site(t.Context(), "Depot"); err != nil || site.Version != 1 {
		t.Fatalf("saved before it was shown: %+v, %v", site, err)
	}
	s.wentTo(s.post("/sites/Depot/edit", typed(t, shown)...), "/sites?done=site-changed")
	if l := s.first(register.LineFilter{}); l.Status != life.StatusOverdue {
		t.Errorf("after heightened demand the hose is %s", l.Status)
	}
}

// A preview is of what was typed: something else typed is shown anew.
func TestPreview_IsOfWhatIsSaved(t *testing.T) {
	s := yard(t)
	shown := s.page(s.fill("/sites/Depot/edit", "policy", "heightened demand"), 200, testkit.Has("#preview"))
	s.page(s.post("/sites/Depot/edit", typed(t, shown, "zone", "UTC")...), 200, testkit.Has("#preview"))
	if site, err := s.store.Site(t.Context(), "Depot"); err != nil || site.Version != 1 {
		t.Errorf("saved what was not shown: %+v, %v", site, err)
	}
}

func TestKindForms_UsualPositionsFromAddingToANewMachine(t *testing.T) {
	s := depot(t)
	s.wentTo(s.fill("/kinds/new", "name", "road roller"), "/kinds/road%20roller?done=kind-added")
	kind := "/kinds/road%20roller"
	r := s.post(kind+"/positions/new", append(typed(t, s.page(s.get(kind+"/positions/new"), 200), "name", "drum, left", "circuit", "vibration", "length", "1.25 m", "hurt", "yes"), "do", "next")...)
	s.page(s.get(want(t, r, http.StatusSeeOther).Header.Get("Location")), 200, testkit.In("input[name=circuit]", testkit.Attr("value", "vibration")), testkit.Has(".done"))
	s.wentTo(s.fill(kind+"/positions/new", "name", "steering", "note", "under the seat"), kind+"?done=usual-added")
	s.wentTo(s.fill(kind+"/positions/new", "name", "spare"), kind+"?done=usual-added")

	sheet := s.kind("road roller")
	if len(sheet.Positions) != 3 || *sheet.Positions[0].LengthMM != 1250 || !sheet.Positions[0].CanHurt || sheet.Positions[1].Note != "under the seat" {
		t.Fatalf("usual positions %+v", sheet.Positions)
	}
	edit := func(i int) string {
		return kind + "/positions/" + quantity.FormatNumber(float64(sheet.Positions[i].ID), 0) + "/edit"
	}
	s.wentTo(s.fill(edit(1), "name", "steering, front", "exposed", "yes"), kind+"?done=usual-changed")
	r = s.post(edit(2), append(typed(t, s.page(s.get(edit(2)), 200)), "do", "take-back")...)
	s.wentTo(r, kind+"?done=usual-gone")
	r = s.fill(kind+"/order", "order-0", "9")
	s.wentTo(r, kind+"?done=order-saved")
	if got := s.kind("road roller").Positions; len(got) != 2 || got[0].Name != "steering, front" || !got[0].Exposed || got[1].Name != "drum, left" {
		t.Errorf("usual positions %+v", got)
	}

	s.wentTo(s.fill("/machines/new", "code", "RR-1", "kind", "road roller"), "/machines/RR-1?done=machine-added")
	if got := s.positionNames("RR-1"); !slices.Equal(got, []string{"steering, front", "drum, left"}) {
		t.Errorf("the new machine has %v", got)
	}
	s.wentTo(s.fill("/machines/new", "code", "RR-2", "kind", "Road Roller", "start", "none"), "/machines/RR-2?done=machine-added")
	if got := s.positionNames("RR-2"); len(got) != 0 {
		t.Errorf("asked for none, it has %v", got)
	}
	s.wentTo(s.fill("/machines/RR-2/copy"), "/machines/RR-2?done=positions-copied")
	if got := s.positionNames("RR-2"); len(got) != 2 {
		t.Errorf("copied later, it has %v", got)
	}
}

func TestKindForm_TakesThePositionsOfAMachine(t *testing.T) {
	s := yard(t)
	kind := "/kinds/refuse%20truck"
	s.page(s.fill(kind+"/take", "machine", "XX"), http.StatusUnprocessableEntity, testkit.In("#machine-error", testkit.Text("no machine XX of this kind")))
	s.wentTo(s.fill(kind+"/take", "machine", "rt-01"), kind+"?done=usual-taken")
	if got := s.kind("refuse truck").Positions; len(got) != 2 || got[0].Name != "lift, left" || got[0].Circuit != "lift" {
		t.Errorf("usual positions %+v", got)
	}
	s.wentTo(s.fill(kind+"/edit", "name", "waste truck"), "/kinds/waste%20truck?done=kind-changed")
}

func TestDutyForm_ShowsWhichDatesMoveAndSaysTheyAreAssumed(t *testing.T) {
	s := yard(t)
	kind := "/kinds/refuse%20truck"
	s.page(s.get(kind), 200, testkit.In("main", testkit.Text("Assumed starting value"), testkit.Text("circuit lift"), testkit.Text("0 to 180 bar")))
	sheet := s.kind("refuse truck")
	i := slices.IndexFunc(sheet.Duties, func(d register.Duty) bool { return d.Circuit == "lift" })
	path := kind + "/duties/" + quantity.FormatNumber(float64(sheet.Duties[i].ID), 0) + "/edit"
	page := s.page(s.get(path), 200, testkit.In("main", testkit.Text("Assumed starting value")), testkit.In("input[name=cycle_max-0]", testkit.Attr("value", "180 bar")))

	// Another row keeps what was typed.
	more := s.page(s.post(path, append(typed(t, page, "cycle_max-0", "260 bar", "note", "from the log"), "do", "cycle_rows")...), 200,
		testkit.Has("input[name=cycle_max-1]"), testkit.In("input[name=cycle_max-0]", testkit.Attr("value", "260 bar")), testkit.In("input[name=note]", testkit.Attr("value", "from the log")))
	shown := s.page(s.post(path, typed(t, more, "cycle_count-0", "200", "cycle_max-1", "100 bar", "cycle_count-1", "5")...), 200, testkit.In("#preview", testkit.Text("earlier")))
	s.wentTo(s.post(path, typed(t, shown)...), kind+"?done=duty-set")
	d := s.kind("refuse truck").Duties[i]
	if len(d.Cycles) != 2 || d.Cycles[0].MaxBar != 260 || d.Cycles[0].Count != 200 || d.Cycles[1].MaxBar != 100 || d.Note != "from the log" || d.Starting() {
		t.Errorf("the duty is %+v", d)
	}

	s.wentTo(s.allowing(kind+"/duties/new", s.page(s.get(kind+"/duties/new"), 200), "circuit", "winch", "no_cycles", "yes", "working", "12 bar"), kind+"?done=duty-set")
	s.page(s.fill(kind+"/duties/new", "circuit", "Winch", "working", "13 bar"), http.StatusUnprocessableEntity, testkit.In("#circuit-error", testkit.Text("has a duty for that already")))
	sheet = s.kind("refuse truck")
	i = slices.IndexFunc(sheet.Duties, func(d register.Duty) bool { return d.Circuit == "winch" })
	path = kind + "/duties/" + quantity.FormatNumber(float64(sheet.Duties[i].ID), 0) + "/edit"
	s.wentTo(s.post(path, append(typed(t, s.page(s.get(path), 200)), "do", "take-back")...), kind+"?done=duty-gone")
	if n := len(s.kind("refuse truck").Duties); n != len(sheet.Duties)-1 {
		t.Errorf("%d duties, had %d", n, len(sheet.Duties))
	}
}

func TestMachineForms_ChangeWithANewSiteAndKind(t *testing.T) {
	s := yard(t)
	path := "/machines/RT-02/edit"
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), "code", "RT-2b", "site", "Yard", "kind", "road roller", "planned", "12,5", "hurt", "yes"), "/machines/RT-2b?done=machine-changed")
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-2b")
	if err != nil {
		t.Fatal(err)
	}
	if sheet.Site.Name != "Yard" || sheet.Kind != "road roller" || *sheet.Machine.PlannedHoursPerWeek != 12.5 || !sheet.Machine.CanHurt {
		t.Errorf("%+v at %s, %s", sheet.Machine, sheet.Site.Name, sheet.Kind)
	}
	path = "/machines/RT-2b/edit"
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), "site", "depot", "kind", ""), "/machines/RT-2b?done=machine-changed")
	if sheet, err = s.store.MachineSheet(t.Context(), now, "RT-2b"); err != nil || sheet.Site.Name != "Depot" || sheet.Kind != "" {
		t.Errorf("%s, %s, %v", sheet.Site.Name, sheet.Kind, err)
	}
}

func TestMachineForms_StartFromASister(t *testing.T) {
	s := yard(t)
	fluid := 81.0
	s.apply(register.SetConditions{Machine: "RT-01", Circuit: "lift", From: day("2026-01-01"), Service: register.Service{FluidC: &fluid}, Basis: register.Measured})
	page := s.page(s.get("/machines/new?from=RT-01"), 200, testkit.In("input[name=kind]", testkit.Attr("value", "refuse truck")),
		testkit.In("input[name=code]", testkit.Attr("value", "")), testkit.In("input[name=from]", testkit.Attr("value", "RT-01")))
	s.wentTo(s.post("/machines/new", typed(t, page, "code", "RT-03")...), "/machines/RT-03?done=machine-added")
	if got := s.positionNames("RT-03"); !slices.Equal(got, []string{"lift, left", "steering"}) {
		t.Errorf("the new machine has %v", got)
	}
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-03")
	if err != nil {
		t.Fatal(err)
	}
	if len(sheet.Conditions) != 1 || sheet.Conditions[0].FluidC == nil || *sheet.Conditions[0].FluidC != 81 || sheet.Conditions[0].Basis != register.Assumed {
		t.Errorf("it is worked as %+v", sheet.Conditions)
	}
	s.page(s.fill("/machines/RT-02/copy", "start", "machine", "from", "XX"), http.StatusUnprocessableEntity, testkit.In("#from-error", testkit.Text("XX")))
	s.wentTo(s.fill("/machines/RT-02/copy", "from", "RT-01"), "/machines/RT-02?done=positions-copied")
	if got := s.positionNames("RT-02"); len(got) != 2 {
		t.Errorf("it has %v", got)
	}
}

func TestMachineForms_LeaveTheFleetAndComeBack(t *testing.T) {
	s := yard(t)
	s.page(s.fill("/machines/RT-01/leave", "reason", ""), http.StatusUnprocessableEntity, testkit.In("#reason-error", testkit.Text("Say why it leaves")))
	s.page(s.get("/machines/RT-01/leave"), 200, testkit.In("main", testkit.Text("1 hose assembly is noted as removed")))
	page := s.wentTo(s.fill("/machines/RT-01/leave", "reason", "sold"), "/machines/RT-01?done=machine-gone")
	if err := testkit.In(".verdict", testkit.Text("left the fleet on 2026-11-25: sold"))(page); err != nil {
		t.Error(err)
	}
	s.page(s.get("/machines"), 200, testkit.In("table.rows", testkit.NoText("RT-01")))
	s.wentTo(s.fill("/machines/RT-01/return", "reason", "bought back"), "/machines/RT-01?done=machine-back")
	m := s.machineOf("RT-01")
	if !m.GoneOn.IsZero() || !strings.Contains(m.Note, "bought back") {
		t.Errorf("%+v", m)
	}
	s.page(s.get("/machines"), 200, testkit.In("table.rows", testkit.Text("RT-01")))
}

func TestPositionForms_AddChangeAndEnd(t *testing.T) {
	s := yard(t)
	s.wentTo(s.fill("/machines/RT-01/positions/new", "name", "tipper / rear", "circuit", "tipping", "length", "49 1/4 in", "bend", "120 mm", "exposed", "yes", "policy", "heightened demand", "order", "7"),
		"/machines/RT-01?done=position-added")
	p := s.position("RT-01", "tipper / rear")
	if p.Circuit != "tipping" || *p.Position.BendMM != 120 || !p.Position.Exposed || p.Policy != "heightened demand" || p.Position.WalkOrder != 7 {
		t.Errorf("added %+v", p)
	}
	path := "/machines/RT-01/positions/tipper%20%2F%20rear/edit"
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), "name", "tipper", "circuit", "new circuit", "policy", "", "exposed", "", "reason", "one shift now"), "/machines/RT-01?done=position-changed")
	p = s.position("RT-01", "tipper")
	if p.Circuit != "new circuit" || p.Policy != "" || p.Position.Exposed || *p.Position.LengthMM != 49.25*25.4 {
		t.Errorf("changed to %+v", p)
	}
	s.wentTo(s.fill("/machines/RT-01/positions/tipper/end", "reason", "taken out"), "/machines/RT-01?done=position-ended")
	if p = s.position("RT-01", "tipper"); p.Position.GoneReason != "taken out" {
		t.Errorf("%+v", p.Position)
	}
	s.page(s.fill("/machines/RT-01/positions/lift,%20left/end", "reason", "taken out"), http.StatusUnprocessableEntity, testkit.In("#problems", testkit.Text("A-1")))
}

func TestPositionForm_ShowsWhichDatesMove(t *testing.T) {
	s := yard(t)
	path := "/machines/RT-01/positions/lift,%20left/edit"
	shown := s.page(s.fill(path, "policy", "heightened demand"), 200, testkit.In("#preview", testkit.Text("1 date moves earlier")))
	s.wentTo(s.post(path, typed(t, shown)...), "/machines/RT-01?done=position-changed")
	// A new name moves no date, and is saved at once.
	s.wentTo(s.fill(path, "name", "lift"), "/machines/RT-01?done=position-changed")
}

func TestOrderForm_NumbersAndButtons(t *testing.T) {
	s := yard(t)
	s.apply(register.AddPosition{Machine: "RT-01", Name: "tailgate", WalkOrder: 3})
	path := "/machines/RT-01/order"
	page := s.page(s.get(path), 200, testkit.Count("ol.order li", 3))
	// A number is typed and a button pressed: both count, nothing is saved.
	moved := s.page(s.post(path, append(typed(t, page, "order-2", "0"), "do", "down-lift, left")...), 200, testkit.In(".done", testkit.Text("lift, left moved down, to place 3"), testkit.Text("Not saved yet")))
	if got := s.positionNames("RT-01"); !slices.Equal(got, []string{"lift, left", "steering", "tailgate"}) {
		t.Fatalf("saved already: %v", got)
	}
	s.wentTo(s.post(path, typed(t, moved)...), "/machines/RT-01?done=order-saved")
	if got := s.positionNames("RT-01"); !slices.Equal(got, []string{"tailgate", "steering", "lift, left"}) {
		t.Errorf("in order %v", got)
	}
	s.page(s.fill(path, "order-1", "second"), http.StatusUnprocessableEntity, testkit.In("#order-1-error", testkit.Text("not a number")), testkit.In("input[name=order-1]", testkit.Attr("value", "second")))
}

func TestCircuitsForm_RenamesAndAdds(t *testing.T) {
	s := yard(t)
	path := "/machines/RT-01/circuits"
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil {
		t.Fatal(err)
	}
	field := "circuit-" + quantity.FormatNumber(float64(sheet.Circuits[0].ID), 0)
	s.page(s.fill(path, field, ""), http.StatusUnprocessableEntity, testkit.In("#"+field+"-error", testkit.Text("Give the circuit a name")))
	s.page(s.fill(path, "new", sheet.Circuits[1].Name), http.StatusConflict+13, testkit.In("#new-error", testkit.Text(sheet.Circuits[1].Name)))
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), field, "main lift", "new", "tailgate"), "/machines/RT-01?done=circuits-changed")
	if sheet, err = s.store.MachineSheet(t.Context(), now, "RT-01"); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, v := range sheet.Circuits {
		names = append(names, v.Name)
	}
	if slices.Sort(names); !slices.Equal(names, []string{"main lift", "steering", "tailgate"}) {
		t.Errorf("circuits %v", names)
	}
}

func TestConditionsForm_PreviewsAndSaves(t *testing.T) {
	s := yard(t)
	path := "/machines/RT-01/conditions/new?position=lift%2C+left"
	page := s.page(s.get(path), 200, testkit.In("select[name=where] option[selected]", testkit.Attr("value", "position:lift, left")))
	shown := s.page(s.post(path, typed(t, page, "from", "01.01.2026", "basis", "measured", "note", "logger", "cycle_max-0", "3500 psi", "cycle_count-0", "90", "recorded", "yes",
		"temp-0", "60 °C", "share-0", "70", "temp-1", "88", "share-1", "30 %")...), 200, testkit.In("#preview", testkit.Has("a[href=/assemblies/A-1]")))
	s.wentTo(s.post(path, typed(t, shown)...), "/machines/RT-01?done=conditions-set")
	c := s.position("RT-01", "lift, left").Conditions
	if len(c) != 1 || c[0].Basis != register.Measured || c[0].From != day("2026-01-01") || len(c[0].Cycles) != 1 || c[0].Cycles[0].Count != 90 ||
		c[0].Recorded == nil || len(c[0].Temperatures) != 2 || c[0].Temperatures[1].C != 88 || c[0].Temperatures[1].Share != 0.3 {
		t.Errorf("%+v", c)
	}
}

// It would let a hose be worked over its rating from a day on, with nobody
// having looked.
func TestConditionsForm_AnAssessmentStillToComeIsNone(t *testing.T) {
	s := yard(t)
	path := "/machines/RT-01/conditions/new"
	s.page(s.fill(path, "basis", "measured", "working", "100 bar", "assessed", "2027-06-01"), 422,
		testkit.In("#assessed-error", testkit.Text("2027-06-01 is still to come")))
}

func TestLayUpForms_BeginAndEnd(t *testing.T) {
	s := yard(t)
	page := s.wentTo(s.fill("/machines/RT-01/lay-ups/new", "from", "2026-11-20", "reason", "no driver"), "/machines/RT-01?done=lay-up-noted")
	links := testkit.Find(page, ".verdict a")
	if err := testkit.In(".verdict", testkit.Text("Out of use since 2026-11-20: no driver"))(page); err != nil || len(links) == 0 {
		t.Fatal(err, len(links))
	}
	end := testkit.AttrOf(links[0], "href")
	s.page(s.fill(end, "to", "2026-11-19"), http.StatusUnprocessableEntity, testkit.In("#to-error", testkit.Text("not after its beginning")))
	page = s.wentTo(s.fill(end), "/machines/RT-01?done=lay-up-ended")
	if err := testkit.In("main", testkit.NoText("Out of use since"), testkit.Text("From 2026-11-20 to 2026-11-25"))(page); err != nil {
		t.Error(err)
	}
}
