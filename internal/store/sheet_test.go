package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

func TestMachineSheet_ShowsAllThatItsPageNeeds(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "first", WalkOrder: 1}, register.AddPosition{Machine: "RT-01", Name: "spare"})
		m := machine(t, s, "RT-01")
		var at []string
		for _, l := range m.Lines {
			at = append(at, l.Position+" "+l.AssemblyCode)
		}
		if got := strings.Join(at, ", "); got != "lift left H-A, lift right H-E, return H-C" {
			t.Errorf("in walking order: %s", got)
		}
		if len(m.Empty) != 2 || m.Empty[0].Name != "first" || m.Empty[1].Name != "spare" {
			t.Errorf("empty positions %+v", m.Empty)
		}
		if m.Site.Name != "Depot" || m.Kind != "refuse truck" || m.Policy != "normal demand" || m.Today != day("2026-11-25") {
			t.Errorf("%s, %s, %s, %s", m.Site.Name, m.Kind, m.Policy, m.Today)
		}
		if len(m.Readings) != 4 || m.Readings[0].On != day("2026-11-20") || m.Readings[1].Source != "removal" || len(m.MeterEvents) != 1 || len(m.LayUps) != 1 {
			t.Errorf("readings %+v, events %+v, lay-ups %+v", m.Readings, m.MeterEvents, m.LayUps)
		}
		if len(m.Circuits) != 1 || len(m.Conditions) != 1 || len(m.Conditions[0].Temperatures) != 2 {
			t.Errorf("circuits %+v, conditions %+v", m.Circuits, m.Conditions)
		}
		if l := m.Lines[0]; l.LastInspected != day("2026-05-30") || l.Fitted != day("2024-07-02") || l.DN != 12 || l.Circuit != "lift" {
			t.Errorf("line %+v", l)
		}
		if _, err := s.MachineSheet(context.Background(), now, "NONE"); !errors.Is(err, &register.Error{Code: register.NotFound}) {
			t.Errorf("%v, want not found", err)
		}
	})
}

func TestAssemblySheet_TellsTheLifeStory(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s,
			register.AddPosition{Machine: "RT-01", Name: "spare"},
			register.Remove{AssemblyCode: "H-A", On: day("2026-11-20"), Hours: f64(1974), Cause: register.CausePlanned, FoundBy: register.FoundByEvent, Reason: "moved"},
			register.Fit{AssemblyCode: "H-A", Machine: "RT-01", Position: "spare", On: day("2026-11-20")},
			register.Remove{AssemblyCode: "H-A", On: day("2026-11-22"), Cause: register.CauseOutside, FoundBy: register.FoundByInspection, Seen: "crushed"})
		a := sheet(t, s, "H-A")
		var got []string
		for _, e := range a.Story {
			got = append(got, e.On.String()+" "+string(e.What))
		}
		want := []string{
			"2026-11-22 stored", "2026-11-22 removed", "2026-11-20 moved", "2026-11-20 removed",
			"2026-05-30 finding", "2026-05-30 inspected", "2024-07-02 fitted", "2024-06-18 assembled", "2024-04-01 made",
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("want (-) and got (+):\n%s", d)
		}
		for _, e := range a.Story {
			switch e.What {
			case register.EventInspected:
				if e.By != "N. Ott" {
					t.Errorf("inspected by %q", e.By)
				}
			case register.EventFitted:
				if e.By != "local" || !strings.Contains(e.Text, "position lift left of machine RT-01") {
					t.Errorf("fitted: %+v", e)
				}
			}
		}
		if a.Status != life.StatusInStore || a.Line != nil || a.Estimate == nil || a.Policy.Name != "normal demand" {
			t.Errorf("%s, %+v", a.Status, a.Line)
		}
		if b := sheet(t, s, "H-B"); b.Status != life.StatusRemoved {
			t.Errorf("status of a scrapped one: %s", b.Status)
		}
		if _, err := s.AssemblySheet(context.Background(), now, "NONE"); !errors.Is(err, &register.Error{Code: register.NotFound}) {
			t.Errorf("%v, want not found", err)
		}
	})
}

func TestAssemblySheet_ShowsServicePolicyAndWorking(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		a := sheet(t, s, "H-C")
		if a.Policy.Name != "night shift" || a.Line == nil || a.Line.Position != "return" {
			t.Errorf("policy %s, line %+v", a.Policy.Name, a.Line)
		}
		if a.Estimate == nil || len(a.Working) == 0 || a.Input == nil || a.Problem != "" {
			t.Fatalf("no estimate: %s", a.Problem)
		}
		found := false
		for _, v := range a.Service {
			if v.Field == "pressure cycles" {
				found = v.Level == register.AtPosition && v.Said.NoCycles != nil && *v.Said.NoCycles
			}
		}
		if !found {
			t.Errorf("service %+v: want the position's own word on cycles", a.Service)
		}
	})
}

func TestAssemblySheet_InStoreSaysWhenItIsTooOld(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		old := hose("OLD")
		old.Assembly.Made, old.Assembly.Assembled = quantity.Day(day("2022-01-10")), quantity.Day(day("2022-02-01"))
		apply(t, s, old, hose("NEW"), register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "BARE"}})
		if a := sheet(t, s, "OLD"); a.Status != life.StatusInStore || len(a.Store) == 0 {
			t.Errorf("%s, warnings %+v: want one that it is too old", a.Status, a.Store)
		}
		if a := sheet(t, s, "NEW"); a.Status != life.StatusInStore || len(a.Store) != 1 || a.Store[0].Code != life.WarnStoredTooLong {
			// 24 months from June 2024 ended in June 2026.
			t.Errorf("%s, warnings %+v", a.Status, a.Store)
		}
		if a := sheet(t, s, "BARE"); a.Status != life.StatusInStore || len(a.Store) != 1 || a.Store[0].Code != life.WarnDataMissing {
			t.Errorf("%s %s, warnings %+v: want one that its age is unknown", a.Status, a.Problem, a.Store)
		}
		young := hose("YOUNG")
		young.Assembly.Made, young.Assembly.Assembled = quantity.Day(day("2026-01-10")), quantity.Day(day("2026-02-01"))
		apply(t, s, young)
		if a := sheet(t, s, "YOUNG"); a.Status != life.StatusInStore || len(a.Store) != 0 || a.Estimate == nil {
			t.Errorf("%s, warnings %+v: want none", a.Status, a.Store)
		}
	})
}

func TestLists_OfAnEmptyRegisterAreEmpty(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		page, err1 := s.Lines(ctx, now, register.LineFilter{Status: life.StatusSoon})
		c, err2 := s.Counts(ctx, now, "")
		lines, next, err3 := s.MachineLines(ctx, now, register.MachineFilter{})
		n, err4 := s.ReestimateAll(ctx, now, nil)
		rows, broken, err5 := s.VerifyChain(ctx)
		if err := errors.Join(err1, err2, err3, err4, err5); err != nil {
			t.Fatal(err)
		}
		if page.Total != 0 || len(page.Lines) != 0 || c != (register.Counts{}) || len(lines) != 0 || next != "" || n != 0 || rows != 0 || broken != 0 {
			t.Errorf("%+v %+v %+v %q %d %d %d", page, c, lines, next, n, rows, broken)
		}
	})
}

func TestNames_ForForms(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		fill(t, s)
		kinds, err := s.Kinds(ctx)
		if err != nil || len(kinds) != len(register.ShippedKinds()) || kinds[0].Name != "backhoe loader" {
			t.Errorf("kinds %v, %v; want the shipped ones, of which the fleet's is one", kinds, err)
		}
		all, err := s.Policies(ctx)
		if err != nil || len(all) != 4 || all[3].Name != "night shift" || all[3].Shipped {
			t.Fatalf("policies %v, %v", all, err)
		}
		if p, err := s.Policy(ctx, all[3].ID); err != nil || !cmp.Equal(p, all[3]) {
			t.Errorf("policy %+v, %v", p, err)
		}
		if _, err := s.Policy(ctx, 999); !errors.Is(err, &register.Error{Code: register.NotFound}) {
			t.Errorf("%v, want not found", err)
		}
	})
}
