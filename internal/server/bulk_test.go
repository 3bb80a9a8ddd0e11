package server_test

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// preview sends the form of a change of many, and wants to be shown what it
// would do. It gives the form as it is to be sent again, and where to.
func (s *site) preview(path string, over ...string) (action string, form []string) {
	s.t.Helper()
	page := testkit.HTML(s.t, want(s.t, s.get(path), 200).Body)
	action = testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action")
	page = testkit.HTML(s.t, want(s.t, s.post(action, typed(s.t, page, over...)...), 200).Body, testkit.In("#preview", testkit.Text("Nothing is saved yet")))
	return testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action"), typed(s.t, page)
}

func positionsOf(t testing.TB, s *site, f register.PositionFilter) string {
	t.Helper()
	page, err := s.store.Positions(context.Background(), now, f)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, l := range page.Lines {
		out = append(out, l.MachineCode+" "+l.Name)
	}
	return strings.Join(out, ", ")
}

func TestChangeMany_AllOfAListAfterItsPreview(t *testing.T) {
	s := twoSites(t)
	action, form := s.preview("/positions/change?all=yes&machine=rt-01", "policy", "is:heightened demand", "hurt", "yes")
	if got := positionsOf(t, s, register.PositionFilter{Policy: "heightened demand"}); got != "" {
		t.Errorf("changed before it was confirmed: %s", got)
	}
	s.wentTo(s.post(action, form...), "/positions?machine=rt-01&done=positions-changed")
	yes := true
	if got := positionsOf(t, s, register.PositionFilter{Policy: "heightened demand", CanHurt: &yes}); got != "RT-01 lift left, RT-01 lift right" {
		t.Errorf("changed %s", got)
	}
}

func TestChangeMany_TheTickedOnes(t *testing.T) {
	s := twoSites(t)
	page, err := s.store.Positions(t.Context(), now, register.PositionFilter{})
	if err != nil {
		t.Fatal(err)
	}
	ids := map[string]int64{}
	for _, l := range page.Lines {
		ids[l.Name] = l.ID
	}
	path := fmt.Sprintf("/positions/change?at=%d&at=%d&site=", ids["lift left"], ids["boom <b>"])
	action, form := s.preview(path, "circuit", "tail", "from", "2026-11-01", "working", "200 bar", "no_cycles", "yes", "basis", "measured")
	s.wentTo(s.post(action, form...), "/positions?done=positions-changed")
	if got := positionsOf(t, s, register.PositionFilter{Circuit: "tail"}); got != "EX-02 boom <b>, RT-01 lift left" {
		t.Errorf("changed %s", got)
	}
	sheet, err := s.store.PositionSheet(t.Context(), now, "RT-01", "lift left")
	if err != nil || len(sheet.Conditions) != 1 {
		t.Fatalf("%+v, %v", sheet.Conditions, err)
	}
	if c := sheet.Conditions[0]; c.From != day("2026-11-01") || *c.WorkingBar != 200 || !*c.NoCycles || c.Basis != register.Measured {
		t.Errorf("conditions %+v", c)
	}
}

func TestChangeMany_SaysThatTheListChangedMeanwhile(t *testing.T) {
	s := twoSites(t)
	action, form := s.preview("/positions/change?all=yes&circuit=lift", "hurt", "yes")
	s.apply(register.AddPosition{Machine: "RT-01", Circuit: "lift", Name: "lift middle"})
	page := testkit.HTML(t, want(t, s.post(action, form...), 422).Body, testkit.In("#problems", testkit.Text("The list changed since you opened this page")), testkit.In("h1", testkit.Text("Change 3 positions")))
	yes := true
	if got := positionsOf(t, s, register.PositionFilter{CanHurt: &yes}); got != "" {
		t.Errorf("changed %s", got)
	}
	action = testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action")
	page = testkit.HTML(t, want(t, s.post(action, typed(t, page)...), 200).Body, testkit.Has("#preview"))
	s.wentTo(s.post(testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action"), typed(t, page)...), "/positions?circuit=lift&done=positions-changed")
	if got := positionsOf(t, s, register.PositionFilter{CanHurt: &yes}); got != "RT-01 lift left, RT-01 lift right, RT-01 lift middle" {
		t.Errorf("changed %s", got)
	}
}

func TestChangeMany_RefusesAtTheField(t *testing.T) {
	s := twoSites(t)
	for _, c := range []struct {
		why, path, says string
		over            []string
	}{
		{"nothing chosen", "/positions/change?all=yes", "Nothing is to be changed yet", nil},
		{"no such choice", "/positions/change?all=yes", "Choose one of the list", []string{"policy", "whatever"}},
		{"a policy that is gone", "/positions/change?all=yes", "no policy", []string{"policy", "is:gone"}},
		{"a circuit and none", "/positions/change?all=yes", "not both", []string{"circuit", "tail", "no_circuit", "yes"}},
		{"conditions without a day", "/positions/change?all=yes", "Give the day", []string{"from", "", "fluid", "70"}},
		{"a fluid too hot", "/positions/change?all=yes", "", []string{"fluid", "7000 °C"}},
		{"nothing chosen of machines", "/machines/change?all=yes", "Nothing is to be changed yet", nil},
		{"too many hours", "/machines/change?all=yes", "outside 0 to 168", []string{"planned", "200"}},
	} {
		t.Run(c.why, func(t *testing.T) {
			page := testkit.HTML(t, want(t, s.get(c.path), 200).Body)
			action := testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action")
			testkit.HTML(t, want(t, s.post(action, typed(t, page, c.over...)...), 422).Body, testkit.In("#problems", testkit.Text(c.says)))
		})
	}
	for _, path := range []string{"/positions/change?at=x", "/positions/change?at=-1", "/machines/change?at=1,2,,3", "/machines/change?at=" + strings.Repeat("1,", 500) + "1"} {
		want(t, s.get(path), 422)
	}
	for _, path := range []string{"/positions", "/machines"} {
		s.wentTo(s.get(path+"/change"), path+"?done=none-ticked")
	}
}

func TestChangeMany_Machines(t *testing.T) {
	s := twoSites(t)
	page := testkit.HTML(t, want(t, s.get("/machines"), 200).Body, testkit.Count("tbody input[type=checkbox]", 2), testkit.Has("a[href=/machines/change?all=yes]"))
	id := testkit.AttrOf(testkit.Find(page, "tbody input[type=checkbox]")[1], "value") // RT-01
	path := "/machines/change?at=" + id
	action, form := s.preview(path, "site", "is:Quarry", "planned", "12,5", "hurt", "yes", "kind", "none")
	s.wentTo(s.post(action, form...), "/machines?done=machines-changed")
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil {
		t.Fatal(err)
	}
	if m := sheet.Machine; sheet.Site.Name != "Quarry" || *m.PlannedHoursPerWeek != 12.5 || !m.CanHurt || m.KindID != nil {
		t.Errorf("%+v at %s", m, sheet.Site.Name)
	}
	if r := want(t, s.get("/search?q=quarry+lift"), 200); !strings.Contains(body(t, r), "H-1") {
		t.Error("what sits on the moved machine is not found at its new site")
	}
}

// TestChangeMany_TenThousandPositions changes what 10 000 positions are worked
// by, and wants both answers, the preview and the change, in good time.
func TestChangeMany_TenThousandPositions(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a while")
	}
	s := depot(t)
	for m := range 10 {
		cmds := []register.Command{register.AddMachine{Site: "Depot", Code: fmt.Sprintf("M-%d", m)}}
		for p := range 1000 {
			cmds = append(cmds, register.AddPosition{Machine: fmt.Sprintf("M-%d", m), Circuit: "lift", Name: fmt.Sprintf("P%d", p)})
		}
		s.apply(cmds...)
	}
	start := time.Now()
	page := testkit.HTML(t, want(t, s.get("/positions/change?all=yes&circuit=lift"), 200).Body, testkit.In("h1", testkit.Text("Change 10 000 positions")))
	action := testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action")
	if len(action) > 500 {
		t.Errorf("the form carries %d letters in its address", len(action))
	}
	r := s.post(action, typed(t, page, "fluid", "70 °C", "exposed", "yes")...)
	if r.StatusCode == 200 { // a preview
		page = testkit.HTML(t, r.Body)
		r = s.post(testkit.AttrOf(testkit.Find(page, "main form[method=post]")[0], "action"), typed(t, page)...)
	}
	want(t, r, http.StatusSeeOther)
	t.Logf("opened, shown and changed in %v", time.Since(start))
	yes := true
	all, err := s.store.PositionIDs(t.Context(), register.PositionFilter{Exposed: &yes})
	if err != nil || len(all) != 10000 {
		t.Errorf("%d positions changed, %v", len(all), err)
	}
}
