package store_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// read wants a getter to go well.
func read[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func siteNow(t testing.TB, s *store.Store, name string) register.Site {
	t.Helper()
	return read[register.Site](t)(s.Site(context.Background(), name))
}

func kindNow(t testing.TB, s *store.Store, name string) register.KindSheet {
	t.Helper()
	return read[register.KindSheet](t)(s.Kind(context.Background(), name))
}

func positionNow(t testing.TB, s *store.Store, machine, name string) register.PositionSheet {
	t.Helper()
	return read[register.PositionSheet](t)(s.PositionSheet(context.Background(), now, machine, name))
}

func policyNow(t testing.TB, s *store.Store, name string) register.Policy {
	t.Helper()
	for _, p := range read[[]register.Policy](t)(s.Policies(context.Background())) {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no policy %s", name)
	return register.Policy{}
}

// stale is how many estimates wait for the job.
func stale(t testing.TB, s *store.Store) (n int) {
	t.Helper()
	if err := s.Raw().QueryRow("SELECT COUNT(*) FROM estimates WHERE stale").Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// freshAfter wants every stored estimate to be what making all anew gives.
func freshAfter(t testing.TB, s *store.Store, what string) {
	t.Helper()
	have := read[[]register.Estimate](t)(s.Estimates(context.Background()))
	if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(have, read[[]register.Estimate](t)(s.Estimates(context.Background())), sameDates); d != "" {
		t.Errorf("%s: estimates stored (-) and made anew (+):\n%s", what, d)
	}
}

func TestChange_AnOldVersionIsAConflictAndAnUnknownOneIsNotThere(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		site, kind, at, own := siteNow(t, s, "Depot"), kindNow(t, s, "refuse truck"), positionNow(t, s, "RT-01", "lift left"), policyNow(t, s, "night shift")
		m := machine(t, s, "RT-01")
		circuit := m.Circuits[0]
		for _, c := range []struct {
			what string
			cmd  func(id int64, version int, name string) register.Command
			id   int64
		}{
			{"site", func(id int64, v int, name string) register.Command {
				row := site
				row.ID, row.Version, row.Name = id, v, name
				return register.ChangeSite{Site: row}
			}, site.ID},
			{"kind", func(id int64, v int, name string) register.Command {
				return register.ChangeKind{Kind: register.Kind{ID: id, Version: v, Name: name}}
			}, kind.Kind.ID},
			{"usual position", func(id int64, v int, name string) register.Command {
				row := kind.Positions[0]
				row.ID, row.Version, row.Name = id, v, name
				return register.ChangeKindPosition{Position: row}
			}, kind.Positions[0].ID},
			{"policy", func(id int64, v int, name string) register.Command {
				row := own
				row.ID, row.Version, row.Name = id, v, name
				return register.ChangePolicy{Policy: row}
			}, own.ID},
			{"circuit", func(id int64, v int, name string) register.Command {
				return register.ChangeCircuit{Circuit: register.Circuit{ID: id, MachineID: circuit.MachineID, Version: v, Name: name}}
			}, circuit.ID},
			{"machine", func(id int64, v int, name string) register.Command {
				row := m.Machine
				row.ID, row.Version, row.Name = id, v, name
				return register.ChangeMachine{Machine: row}
			}, m.Machine.ID},
			{"position", func(id int64, v int, name string) register.Command {
				row := at.Position
				row.ID, row.Version, row.Name = id, v, name
				return register.ChangePosition{Position: row}
			}, at.Position.ID},
		} {
			refused(t, s, register.NotFound, "", c.cmd(99999, 1, "new name"))
			refused(t, s, register.Conflict, "version", c.cmd(c.id, 2, "new name"))
			apply(t, s, c.cmd(c.id, 1, "first "+c.what))
			refused(t, s, register.Conflict, "version", c.cmd(c.id, 1, "second "+c.what))
			apply(t, s, c.cmd(c.id, 2, "third "+c.what))
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestChangeSite_ZoneAndPolicyMoveTheDatesOfItsMachines(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "UTC"})
		site := siteNow(t, s, "depot")
		zoned, moved, named := site, site, site
		zoned.Zone = "Europe/Berln"
		refused(t, s, register.Invalid, "zone", register.ChangeSite{Site: zoned})
		moved.PolicyID = 9999
		refused(t, s, register.NotFound, "policy", register.ChangeSite{Site: moved})
		named.Name = "QUAY"
		refused(t, s, register.Exists, "name", register.ChangeSite{Site: named})

		before := sheet(t, s, "H-A").Line.Estimate
		site.PolicyID = policyNow(t, s, "night shift").ID
		apply(t, s, register.ChangeSite{Site: site})
		if after := sheet(t, s, "H-A").Line.Estimate; !after.ActBy.Before(before.ActBy) {
			t.Errorf("act by %s, was %s: want the stricter policy to bring it nearer", after.ActBy, before.ActBy)
		}
		freshAfter(t, s, "another policy")
		site.Version, site.Zone = 2, "Pacific/Auckland" // there it is tomorrow
		apply(t, s, register.ChangeSite{Site: site})
		if after := sheet(t, s, "H-A").Line.Estimate; after.AsOf != day("2026-11-26") {
			t.Errorf("estimated as of %s, want the day it is in the new zone", after.AsOf)
		}
		freshAfter(t, s, "another zone")
		apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-11-26"), Hours: 1980})
	})
}

func TestChangeSite_TheNewZoneHoldsWithinTheSameList(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		site := siteNow(t, s, "Depot")
		site.Name, site.Zone = "Wharf", "Pacific/Auckland"
		apply(t, s,
			register.AddReading{Machine: "RT-01", On: day("2026-11-25"), Hours: 1978}, // the old zone's day is looked up
			register.ChangeSite{Site: site},
			register.AddReading{Machine: "RT-01", On: day("2026-11-26"), Hours: 1980},
			register.AddMachine{Site: "wharf", Code: "W-1"})
		refused(t, s, register.NotFound, "site", register.AddMachine{Site: "Depot", Code: "W-2"})
	})
}

func TestChangeSite_ManyEstimatesAreLeftToTheJob(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 600)
		site := siteNow(t, s, "Depot")
		site.PolicyID = policyNow(t, s, life.HeightenedDemand().Name).ID
		if r := apply(t, s, register.ChangeSite{Site: site}); r.Stale != 600 || stale(t, s) != 600 {
			t.Errorf("%d stale, %d marked; want 600", r.Stale, stale(t, s))
		}
	})
}

func TestChangePolicy_MovesWhateverIsHeldToIt(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		shipped := policyNow(t, s, life.NormalDemand().Name)
		shipped.Shipped, shipped.Source = false, "changed"
		refused(t, s, register.Refused, "name", register.ChangePolicy{Policy: shipped})
		own := policyNow(t, s, "night shift")
		taken := own
		taken.Name = strings.ToUpper(life.NormalDemand().Name)
		refused(t, s, register.Exists, "name", register.ChangePolicy{Policy: taken})
		milder := own
		milder.MonthsFromAssembly = nil
		refused(t, s, register.Invalid, "months_from_assembly", register.ChangePolicy{Policy: milder})

		there, other := sheet(t, s, "H-C").Line.Estimate, sheet(t, s, "H-A").Line.Estimate
		months := 20
		own.MonthsFromAssembly = &months
		apply(t, s, register.ChangePolicy{Policy: own})
		if after := sheet(t, s, "H-C").Line.Estimate; after.ActBy == there.ActBy {
			t.Errorf("act by %s as before, want it to follow the position's own policy", after.ActBy)
		}
		if after := sheet(t, s, "H-A").Line.Estimate; after.ActBy != other.ActBy {
			t.Errorf("act by %s, was %s; want it to be held to the site's policy still", after.ActBy, other.ActBy)
		}
		freshAfter(t, s, "a policy of positions")
		if got := policyNow(t, s, "night shift"); got.Version != 2 || *got.MonthsFromAssembly != 20 || got.Shipped {
			t.Errorf("policy %+v", got)
		}

		site := siteNow(t, s, "Depot")
		site.PolicyID = own.ID
		apply(t, s, register.ChangeSite{Site: site})
		before := sheet(t, s, "H-A").Line.Estimate
		months = 18
		own.Version, own.MonthsFromAssembly = 2, &months
		apply(t, s, register.ChangePolicy{Policy: own})
		if after := sheet(t, s, "H-A").Line.Estimate; !after.ActBy.Before(before.ActBy) {
			t.Errorf("act by %s, was %s; want it to follow the policy of its site", after.ActBy, before.ActBy)
		}
		freshAfter(t, s, "a policy of a site")
	})
}

func TestKind_UsualPositionsAreKeptInOrder(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		add := func(name string, order int) register.AddKindPosition {
			return register.AddKindPosition{Kind: "Refuse Truck", Position: register.KindPosition{Name: name, WalkOrder: order, CanHurt: true, Note: "behind the cab"}}
		}
		apply(t, s, add("tail lift", 5), add("steering", 2), add("return", 0))
		refused(t, s, register.Exists, "name", add("TAIL lift", 0))
		refused(t, s, register.NotFound, "kind", register.AddKindPosition{Kind: "none such", Position: register.KindPosition{Name: "x"}})
		k := kindNow(t, s, "REFUSE truck")
		var got []string
		for _, p := range k.Positions {
			got = append(got, fmt.Sprintf("%d %s", p.WalkOrder, p.Name))
		}
		if want := "1 lift left, 2 steering, 5 tail lift, 6 return"; strings.Join(got, ", ") != want {
			t.Errorf("%v, want %s", got, want)
		}
		if !slices.ContainsFunc(k.Duties, func(d register.Duty) bool { return d.Note == "invented" }) || strings.Join(k.Machines, " ") != "RT-01" {
			t.Errorf("%d duties, machines %v", len(k.Duties), k.Machines)
		}
		row := k.Positions[1]
		row.Name, row.LengthMM, row.Exposed, row.CanHurt = "Steering left", f64(450), true, false
		apply(t, s, register.ChangeKindPosition{Position: row})
		row.Version = 2
		if d := cmp.Diff(row, kindNow(t, s, "refuse truck").Positions[1], sameDates); d != "" {
			t.Errorf("written (-) and read (+):\n%s", d)
		}
		row.Name = "return"
		refused(t, s, register.Exists, "name", register.ChangeKindPosition{Position: row})

		apply(t, s, register.AddKind{Name: "snow groomer"})
		refused(t, s, register.Exists, "name", register.ChangeKind{Kind: register.Kind{ID: k.Kind.ID, Version: 1, Name: "SNOW groomer"}})
		apply(t, s, register.ChangeKind{Kind: register.Kind{ID: k.Kind.ID, Version: 1, Name: "Refuse Truck"}}) // its own name in other letters
		if m := machine(t, s, "RT-01"); m.Kind != "Refuse Truck" {
			t.Errorf("the machine is a %s", m.Kind)
		}
		if _, err := s.Kind(context.Background(), "nothing"); !isRefusal(err, register.NotFound) {
			t.Errorf("an unknown kind: %v", err)
		}
	})
}

func TestTakeUsual_ReplacesWhatTheKindHad(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s,
			register.AddKindPosition{Kind: "refuse truck", Position: register.KindPosition{Name: "old one"}},
			register.AddMachine{Site: "Depot", Code: "NO-KIND"}, register.AddPosition{Machine: "NO-KIND", Name: "a"},
			register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "BARE"},
			register.AddPosition{Machine: "RT-01", Name: "gone"},
			register.RetirePosition{Machine: "RT-01", Position: "gone", On: day("2026-11-01"), Reason: "rebuilt"},
			register.OrderPositions{Machine: "RT-01", Names: []string{"return", "lift right"}})
		refused(t, s, register.Refused, "machine", register.TakeUsual{Machine: "NO-KIND"})
		refused(t, s, register.Refused, "machine", register.TakeUsual{Machine: "BARE"})
		refused(t, s, register.NotFound, "machine", register.TakeUsual{Machine: "NONE"})
		before := kindNow(t, s, "refuse truck")
		apply(t, s, register.TakeUsual{Machine: "RT-01"})
		after := kindNow(t, s, "refuse truck")
		var got []string
		for _, p := range after.Positions {
			got = append(got, fmt.Sprintf("%d %s/%s %v %v", p.WalkOrder, p.Name, p.Circuit, p.CanHurt, p.Exposed))
		}
		if want := "1 return/ false true, 2 lift right/lift true false, 3 lift left/lift false false"; strings.Join(got, ", ") != want {
			t.Errorf("%s, want %s", strings.Join(got, ", "), want)
		}
		if p := after.Positions[2]; p.ID != before.Positions[0].ID || p.Version != 2 {
			t.Errorf("lift left is row %d of version %d; want row %d changed", p.ID, p.Version, before.Positions[0].ID)
		}
		n := counts(t, s)["changes"]
		apply(t, s, register.TakeUsual{Machine: "RT-01"})
		if counts(t, s)["changes"] != n {
			t.Error("taking the same again changed something")
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestCircuits_AreAddedAndRenamed(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddCircuit{Machine: "rt-01", Name: "steering"})
		refused(t, s, register.Exists, "name", register.AddCircuit{Machine: "RT-01", Name: "LIFT"})
		refused(t, s, register.NotFound, "machine", register.AddCircuit{Machine: "RT-99", Name: "lift"})
		lift := machine(t, s, "RT-01").Circuits[0]
		lift.Name = "STEERING"
		refused(t, s, register.Exists, "name", register.ChangeCircuit{Circuit: lift})
		before := sheet(t, s, "H-A").Line.Estimate
		apply(t, s, register.SetDuty{Kind: "refuse truck", Circuit: "work", Service: register.Service{Cycles: register.Cycles{{MinBar: 5, MaxBar: 270, Count: 400}}}, Note: "invented"})
		lift.Name = "Work"
		apply(t, s, register.ChangeCircuit{Circuit: lift}, register.AddPosition{Machine: "RT-01", Circuit: "work", Name: "another"})
		if got := positionNow(t, s, "RT-01", "another"); got.Circuit != "Work" || *got.Position.CircuitID != lift.ID {
			t.Errorf("circuit %q, want the renamed one to be used within the list", got.Circuit)
		}
		if after := sheet(t, s, "H-A").Line.Estimate; after.InputHash == before.InputHash {
			t.Error("the duty of a circuit of the new name does not hold")
		}
		freshAfter(t, s, "a renamed circuit")
	})
}

func TestOrderPositions_NumbersThemAndLeavesTheRestAsTheyWere(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s) // lift left, lift right, return
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "spare", WalkOrder: 40}, register.AddPosition{Machine: "RT-01", Name: "gone", WalkOrder: 2},
			register.RetirePosition{Machine: "RT-01", Position: "gone", On: day("2026-11-01"), Reason: "rebuilt"})
		versions := func() string {
			var out []string
			for _, name := range []string{"lift left", "lift right", "return", "spare", "gone"} {
				p := positionNow(t, s, "RT-01", name).Position
				out = append(out, fmt.Sprintf("%d v%d", p.WalkOrder, p.Version))
			}
			return strings.Join(out, ", ")
		}
		refused(t, s, register.NotFound, "names", register.OrderPositions{Machine: "RT-01", Names: []string{"nowhere"}})
		refused(t, s, register.NotFound, "names", register.OrderPositions{Machine: "RT-01", Names: []string{"gone"}})
		refused(t, s, register.Invalid, "names", register.OrderPositions{Machine: "RT-01", Names: []string{"return", "RETURN"}})
		apply(t, s, register.OrderPositions{Machine: "RT-01", Names: []string{"Lift Left", "return"}})
		if got, want := versions(), "1 v1, 3 v2, 2 v2, 4 v2, 2 v2"; got != want {
			t.Errorf("%s, want %s", got, want)
		}
		apply(t, s, register.OrderPositions{Machine: "RT-01", Names: []string{"lift left", "return"}})
		if got, want := versions(), "1 v1, 3 v2, 2 v2, 4 v2, 2 v2"; got != want {
			t.Errorf("the same order again: %s, want %s", got, want)
		}
		page := read[register.LinePage](t)(s.Lines(context.Background(), now, register.LineFilter{Machine: "RT-01"}))
		if len(page.Lines) != 3 {
			t.Fatalf("%d lines", len(page.Lines))
		}
		for _, l := range machine(t, s, "RT-01").Lines {
			if p := positionNow(t, s, "RT-01", l.Position).Position; p.WalkOrder != l.WalkOrder || l.Estimate.WalkOrder != p.WalkOrder {
				t.Errorf("%s: the list walks %d, its estimate %d, the position says %d", l.Position, l.WalkOrder, l.Estimate.WalkOrder, p.WalkOrder)
			}
		}
	})
}
