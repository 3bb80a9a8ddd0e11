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

func TestApply_GivesOutCodesAndNeverUsesOneAgain(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		r := apply(t, s, hose(""), hose("H-000003"), hose(""), hose(""))
		if got := strings.Join(r.Codes, " "); got != "H-000001 H-000003 H-000002 H-000004" {
			t.Errorf("codes %s: want those given out to leave out the typed one", got)
		}
		a := sheet(t, s, "H-000001").Assembly
		a.Code = "RENAMED"
		apply(t, s, register.ChangeAssembly{Assembly: a})
		refused(t, s, register.Exists, "code", hose("H-000001"))
		a = sheet(t, s, "RENAMED").Assembly
		a.Code = "H-000001" // its own code it may have again
		apply(t, s, register.ChangeAssembly{Assembly: a})
	})
}

// refused wants the commands to be refused with that code and field, and
// nothing of them to stay.
func refused(t *testing.T, s *store.Store, code register.Code, field string, cmds ...register.Command) {
	t.Helper()
	before := counts(t, s)
	_, err := s.Apply(context.Background(), now, me, cmds...)
	var e *register.Error
	switch {
	case !errors.As(err, &e):
		t.Errorf("%+v: %v, want a refusal %s %s", cmds, err, code, field)
		return
	case e.Code != code || e.Field != field:
		t.Errorf("%+v: %s %q (%s), want %s %q", cmds, e.Code, e.Field, e.Sentence, code, field)
	case !strings.HasSuffix(e.Sentence, "."):
		t.Errorf("%+v: %q is no sentence", cmds, e.Sentence)
	}
	for _, word := range []string{"SQL", "sql", "constraint", "UNIQUE", "SQLSTATE", "pq:", "0x"} {
		if strings.Contains(e.Sentence, word) {
			t.Errorf("a driver's word %q in %q", word, e.Sentence)
		}
	}
	for table, n := range counts(t, s) {
		if n != before[table] {
			t.Errorf("%+v: refused, but %s has %d rows, had %d", cmds, table, n, before[table])
		}
	}
}

func sheet(t testing.TB, s *store.Store, code string) register.AssemblySheet {
	t.Helper()
	a, err := s.AssemblySheet(context.Background(), now, code)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestApply_RefusesWhatARuleForbids(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		late := hose("H-LATE")
		late.Assembly.Made, late.Assembly.Assembled = quantity.Day(day("2026-01-10")), quantity.Day(day("2026-02-01"))
		old := hose("H-OLD")
		old.Assembly.Made, old.Assembly.Assembled = quantity.Day(day("2022-01-10")), quantity.Day(day("2022-02-01"))
		apply(t, s, late, old, register.AddPosition{Machine: "RT-01", Name: "spare"})
		inspect := func(position, on string) register.Inspect {
			return register.Inspect{Machine: "RT-01", Position: position, On: day(on)}
		}
		remove := func(code, on string) register.Remove {
			return register.Remove{AssemblyCode: code, On: day(on), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}
		}
		for _, row := range []struct {
			why   string
			code  register.Code
			field string
			cmds  []register.Command
		}{
			{"a site's name is unique", register.Exists, "name", []register.Command{register.AddSite{Name: "Depot", Zone: "UTC"}}},
			{"a site's zone exists", register.Invalid, "zone", []register.Command{register.AddSite{Name: "New", Zone: "Europe/Berln"}}},
			{"letters of another case are the same name", register.Exists, "name", []register.Command{register.AddSite{Name: "DEPOT", Zone: "UTC"}}},
			{"and the same kind", register.Exists, "name", []register.Command{register.AddKind{Name: "Refuse Truck"}}},
			{"and the same machine", register.Exists, "code", []register.Command{register.AddMachine{Site: "depot", Code: "rt-01"}}},
			{"and the same position", register.Exists, "name", []register.Command{register.AddPosition{Machine: "rt-01", Name: "Lift Left"}}},
			{"and the same assembly", register.Exists, "code", []register.Command{hose("h-a")}},
			{"and the same policy", register.Exists, "name", []register.Command{register.AddPolicy{Policy: register.Policy{Policy: renamed(strings.ToUpper(life.NormalDemand().Name))}}}},
			{"a site names a policy there is", register.NotFound, "policy", []register.Command{register.AddSite{Name: "New", Zone: "UTC", Policy: "none such"}}},
			{"a kind's name is unique", register.Exists, "name", []register.Command{register.AddKind{Name: "refuse truck"}}},
			{"a policy's name is unique", register.Exists, "name", []register.Command{register.AddPolicy{Policy: register.Policy{Policy: life.NormalDemand()}}}},
			{"a machine's code is unique", register.Exists, "code", []register.Command{register.AddMachine{Site: "Depot", Code: "RT-01"}}},
			{"a machine's site exists", register.NotFound, "site", []register.Command{register.AddMachine{Site: "Moon", Code: "RT-02"}}},
			{"a position's name is unique on its machine", register.Exists, "name", []register.Command{register.AddPosition{Machine: "RT-01", Name: "lift left"}}},
			{"a position's machine exists", register.NotFound, "machine", []register.Command{register.AddPosition{Machine: "RT-99", Name: "x"}}},
			{"an assembly's code is unique", register.Exists, "code", []register.Command{hose("H-A")}},
			{"what is fitted exists", register.NotFound, "assembly_code", []register.Command{fit("H-NONE", "spare", "2026-01-01")}},
			{"what is fitted is named", register.Invalid, "assembly_code", []register.Command{fit("", "spare", "2026-01-01")}},
			{"where it is fitted exists", register.NotFound, "position", []register.Command{fit("H-D", "nowhere", "2026-01-01")}},
			{"a position holds one assembly", register.Refused, "position", []register.Command{fit("H-D", "lift left", "2026-01-01")}},
			{"an assembly sits at one position", register.Refused, "assembly_code", []register.Command{fit("H-A", "spare", "2026-01-01")}},
			{"nothing is fitted before what holds the position now", register.Refused, "on", []register.Command{fit("H-D", "lift left", "2024-06-20")}},
			{"nothing is fitted while something else sat there", register.Refused, "on", []register.Command{fit("H-D", "lift right", "2025-01-01")}},
			{"a past fitting must end before the next begins", register.Refused, "on", []register.Command{fit("H-D", "lift left", "2024-06-20"), remove("H-D", "2024-08-01")}},
			{"a scrapped assembly is not fitted again", register.Refused, "assembly_code", []register.Command{fit("H-B", "spare", "2026-08-01")}},
			{"nothing is fitted in days to come", register.Invalid, "on", []register.Command{fit("H-D", "spare", "2026-11-26")}},
			{"nothing is fitted long before it was made", register.Refused, "made", []register.Command{fit("H-LATE", "spare", "2025-01-01")}},
			{"nothing is fitted the day before it was made", register.Refused, "made", []register.Command{fit("H-LATE", "spare", "2026-01-09")}},
			{"nothing is fitted after too long in store", register.Refused, "released_by", []register.Command{fit("H-OLD", "spare", "2026-11-01")}},
			{"what sits nowhere cannot be removed", register.Refused, "assembly_code", []register.Command{remove("H-D", "2026-01-01")}},
			{"nothing is removed before it was fitted", register.Invalid, "on", []register.Command{remove("H-A", "2024-07-01")}},
			{"nothing is removed before it was inspected there", register.Refused, "on", []register.Command{remove("H-A", "2026-05-29")}},
			{"nothing is removed in days to come", register.Invalid, "on", []register.Command{remove("H-A", "2026-11-26")}},
			{"a meter does not fall", register.Refused, "hours", []register.Command{register.AddReading{Machine: "RT-01", On: day("2025-06-01"), Hours: 100}}},
			{"a day has 24 hours", register.Refused, "hours", []register.Command{register.AddReading{Machine: "RT-01", On: day("2026-11-21"), Hours: 1999}}},
			{"hours at a fitting are a reading", register.Refused, "hours", []register.Command{register.Fit{AssemblyCode: "H-D", Machine: "RT-01", Position: "spare", On: day("2025-06-01"), Hours: f64(100)}}},
			{"hours at a removal are a reading", register.Refused, "hours", []register.Command{register.Remove{AssemblyCode: "H-A", On: day("2026-06-01"), Hours: f64(9000), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}}},
			{"a reading is noted once", register.Exists, "hours", []register.Command{register.AddReading{Machine: "RT-01", On: day("2025-07-01"), Hours: 4870}}},
			{"nothing is read in days to come", register.Invalid, "on", []register.Command{register.AddReading{Machine: "RT-01", On: day("2026-11-26"), Hours: 1980}}},
			{"a meter event agrees with the readings", register.Refused, "hours", []register.Command{register.AddMeterEvent{Machine: "RT-01", On: day("2026-11-21"), OldEnd: 10, NewStart: 0}}},
			{"an empty position cannot be inspected", register.Refused, "position", []register.Command{inspect("spare", "2026-01-01")}},
			{"nothing is inspected before it was fitted", register.Refused, "position", []register.Command{inspect("lift left", "2024-07-01")}},
			{"nothing is inspected in days to come", register.Invalid, "on", []register.Command{inspect("lift left", "2026-11-26")}},
			{"conditions name a circuit there is", register.NotFound, "circuit", []register.Command{register.SetConditions{Machine: "RT-01", Circuit: "none", From: day("2026-01-01"), Basis: register.Assumed}}},
			{"a finding there is is closed", register.NotFound, "finding_id", []register.Command{register.CloseFinding{FindingID: 9999, On: day("2026-01-01"), How: register.ClosedDone}}},
			{"a command is checked by itself first", register.Invalid, "planned_hours_per_week", []register.Command{register.AddMachine{Site: "Depot", Code: "RT-02", PlannedHoursPerWeek: f64(-1)}}},
			{"what stands before a refused command does not stay", register.NotFound, "site", []register.Command{hose("H-X"), register.AddMachine{Site: "Depot", Code: "RT-03"}, register.AddMachine{Site: "Moon", Code: "RT-04"}}},
		} {
			t.Run(row.why, func(t *testing.T) { refused(t, s, row.code, row.field, row.cmds...) })
		}
		if _, broken, err := s.VerifyChain(context.Background()); broken != 0 || err != nil {
			t.Errorf("chain broken at %d, %v", broken, err)
		}
	})
}

func renamed(name string) life.Policy {
	p := life.NormalDemand()
	p.Name = name
	return p
}

// A machine whose meter contradicts itself says nothing of how long a hose was
// in store.
func TestApply_RefusesWhatIsTooOldAlsoWhereFactsContradictEachOther(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		remove := register.Remove{AssemblyCode: "H-A", On: day("2026-11-21"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "spare"}, remove)
		a := sheet(t, s, "H-A").Assembly
		a.Made, a.Assembled = quantity.Day(day("2017-01-01")), quantity.Day(day("2017-02-01"))
		apply(t, s, register.ChangeAssembly{Assembly: a})
		refused(t, s, register.Refused, "released_by", fit("H-A", "spare", "2026-11-24"))
		apply(t, s, register.SetConditions{
			Machine: "RT-01", Position: "lift left", From: day("2024-07-02"), Basis: register.Assumed,
			Service: register.Service{Cycles: register.Cycles{{MaxBar: 5000, Count: 1}}},
		})
		refused(t, s, register.Refused, "released_by", fit("H-A", "spare", "2026-11-24"))
		if got := sheet(t, s, "H-A"); got.Problem == "" || len(got.Store) == 0 {
			t.Errorf("problem %q, %d warnings: want both", got.Problem, len(got.Store))
		}
	})
}

func TestApply_APastFittingElsewhereDoesNotMoveWhatIsInStore(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	fill(t, s)
	apply(t, s, register.AddSite{Name: "Yard", Zone: "UTC"}, register.AddMachine{Site: "Yard", Code: "Y-1"}, register.AddPosition{Machine: "Y-1", Name: "lift"},
		register.Remove{AssemblyCode: "H-A", On: day("2026-11-21"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
	apply(t, s, register.Fit{AssemblyCode: "H-A", Machine: "Y-1", Position: "lift", On: day("2024-06-20")},
		register.Remove{AssemblyCode: "H-A", On: day("2024-06-25"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
	if got := sheet(t, s, "H-A"); got.Site.Name != "Depot" || got.Status != life.StatusInStore {
		t.Errorf("kept at %q, %s; want where it came off last", got.Site.Name, got.Status)
	}
}

func TestApply_TakesWhatIsReleasedOrUnknown(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		old := hose("H-OLD")
		old.Assembly.Made, old.Assembly.Assembled = quantity.Day(day("2022-01-10")), quantity.Day(day("2022-02-01"))
		unknown := hose("H-UNKNOWN")
		unknown.Assembly.Made, unknown.Assembly.Assembled = quantity.Period{}, quantity.Period{}
		apply(t, s, old, unknown,
			register.AddPosition{Machine: "RT-01", Name: "spare"}, register.AddPosition{Machine: "RT-01", Name: "spare 2"},
			register.Fit{AssemblyCode: "H-OLD", Machine: "RT-01", Position: "spare", On: day("2026-11-01"), ReleasedBy: "M. Adler", Reason: "checked, no other at hand"},
			fit("H-UNKNOWN", "spare 2", "2026-11-01"))
		var reason string
		if err := s.Raw().QueryRow("SELECT reason FROM changes WHERE entity = 'placements' AND reason LIKE '%checked%'").Scan(&reason); err != nil || !strings.Contains(reason, "M. Adler") {
			t.Errorf("reason %q, %v: want who released it and why in the change log", reason, err)
		}
	})
}

func TestApply_TakesAPastFittingWithItsEnd(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		past := hose("H-PAST")
		past.Assembly.Made, past.Assembly.Assembled = quantity.Day(day("2022-01-01")), quantity.Day(day("2022-01-20"))
		apply(t, s, past, fit("H-PAST", "lift left", "2022-03-01"), register.Remove{
			AssemblyCode: "H-PAST", On: day("2024-07-02"), Hours: f64(3120), Cause: register.CauseHeat, FoundBy: register.FoundByInspection, Scrapped: true,
		})
		past.Assembly.Code = "H-PAST-2" // before and after what is known, and a second time on the same position
		apply(t, s, past, fit("H-PAST-2", "lift left", "2022-02-01"), register.Remove{
			AssemblyCode: "H-PAST-2", On: day("2022-03-01"), Cause: register.CauseOutside, FoundBy: register.FoundByEvent,
		}, fit("H-PAST-2", "lift right", "2022-03-01"), register.Remove{
			AssemblyCode: "H-PAST-2", On: day("2022-05-01"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent,
		})
		if a := sheet(t, s, "H-PAST"); a.Status != life.StatusRemoved || a.Line != nil {
			t.Errorf("status %s, want removed", a.Status)
		}
		if a := sheet(t, s, "H-PAST-2"); a.Status != life.StatusInStore || len(a.Story) < 6 {
			t.Errorf("status %s with %d events, want in store", a.Status, len(a.Story))
		}
		if a := sheet(t, s, "H-A"); a.Line == nil || a.Line.Position != "lift left" {
			t.Errorf("H-A is not where it was: %+v", a.Line)
		}
		everyInstalledHasAnEstimate(t, s)
	})
}

func everyInstalledHasAnEstimate(t *testing.T, s *store.Store) {
	t.Helper()
	var wrong int
	err := s.Raw().QueryRow(`SELECT
		(SELECT COUNT(*) FROM placements p WHERE p.to_on IS NULL AND NOT EXISTS (SELECT 1 FROM estimates e WHERE e.assembly_id = p.assembly_id)) +
		(SELECT COUNT(*) FROM estimates e WHERE NOT EXISTS (SELECT 1 FROM placements p WHERE p.to_on IS NULL AND e.assembly_id = p.assembly_id))`).Scan(&wrong)
	if err != nil || wrong != 0 {
		t.Errorf("%d installed assemblies without an estimate or estimates of what is not installed, %v", wrong, err)
	}
}

func TestApply_RemovalClosesFindingsAndKeepsTheAssemblyAtTheSite(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddSite{Name: "Yard", Zone: "UTC"})
		m := machine(t, s, "RT-01").Machine
		sites, err := s.Sites(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		m.SiteID = sites[1].ID // Yard
		apply(t, s, register.ChangeMachine{Machine: m})
		if n := len(sheet(t, s, "H-A").Open); n != 1 {
			t.Fatalf("%d open findings, want 1", n)
		}
		apply(t, s, register.Remove{AssemblyCode: "H-A", On: day("2026-11-25"), Cause: register.CauseOutside, FoundBy: register.FoundByEvent})
		a := sheet(t, s, "H-A")
		if len(a.Open) != 0 || a.Status != life.StatusInStore || a.Site.Name != "Yard" {
			t.Errorf("%d open findings, %s at %s; want none, in store at Yard", len(a.Open), a.Status, a.Site.Name)
		}
		everyInstalledHasAnEstimate(t, s)
	})
}

func machine(t testing.TB, s *store.Store, code string) register.MachineSheet {
	t.Helper()
	m, err := s.MachineSheet(context.Background(), now, code)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestApply_ClosesFindings(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-01"), Findings: []register.NewFinding{
			{Number: 15, Class: life.Correct}, {Number: 2, Class: life.Stop},
		}})
		if st := sheet(t, s, "H-A").Status; st != life.StatusStop {
			t.Fatalf("status %s with an open stop, want stop", st)
		}
		byClass := map[life.Class]int64{}
		for _, f := range sheet(t, s, "H-A").Open {
			byClass[f.Class] = f.ID
		}
		refused(t, s, register.Refused, "how", register.CloseFinding{FindingID: byClass[life.Stop], On: day("2026-11-02"), How: register.ClosedDone})
		refused(t, s, register.Invalid, "on", register.CloseFinding{FindingID: byClass[life.Correct], On: day("2026-10-31"), How: register.ClosedDone})
		refused(t, s, register.Invalid, "on", register.CloseFinding{FindingID: byClass[life.Correct], On: day("2026-11-26"), How: register.ClosedDone})
		apply(t, s,
			register.CloseFinding{FindingID: byClass[life.Correct], On: day("2026-11-02"), How: register.ClosedDone},
			register.CloseFinding{FindingID: byClass[life.Stop], On: day("2026-11-03"), How: register.ClosedByRelease, Reason: "it was paint"})
		refused(t, s, register.Refused, "finding_id", register.CloseFinding{FindingID: byClass[life.Stop], On: day("2026-11-04"), How: register.ClosedByRelease, Reason: "again"})
		if st := sheet(t, s, "H-A").Status; st == life.StatusStop {
			t.Error("still stop after its release")
		}
	})
}

func TestApply_AStaleVersionIsAConflict(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		m := machine(t, s, "RT-01").Machine
		a := sheet(t, s, "H-A").Assembly
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "spare"})
		p := machine(t, s, "RT-01").Empty[0]
		m.Name, a.Maker, p.Note = "first", "first", "first"
		first := []register.Command{register.ChangeMachine{Machine: m}, register.ChangeAssembly{Assembly: a}, register.ChangePosition{Position: p}}
		apply(t, s, first...)
		for _, c := range first {
			refused(t, s, register.Conflict, "version", c)
		}
		if got := machine(t, s, "RT-01").Machine; got.Name != "first" || got.Version != m.Version+1 {
			t.Errorf("machine %+v, want the first change and one version more", got)
		}
		m.ID, a.ID, p.ID = 999, 999, 999
		refused(t, s, register.NotFound, "", register.ChangeMachine{Machine: m})
		refused(t, s, register.NotFound, "", register.ChangeAssembly{Assembly: a})
		refused(t, s, register.NotFound, "", register.ChangePosition{Position: p})
	})
}

func TestApply_ChangesKeepEveryField(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		a := sheet(t, s, "H-A").Assembly
		a.RatedBar, a.RatingSource, a.Made, a.Note, a.Unconfirmed = nil, "", quantity.Period{}, "Ümlaut ' \" ; DROP TABLE sites; <b>", true
		apply(t, s, register.ChangeAssembly{Assembly: a})
		a.Version++
		if d := cmp.Diff(a, sheet(t, s, "H-A").Assembly, sameDates); d != "" {
			t.Errorf("written (-) and read (+):\n%s", d)
		}
		m := machine(t, s, "RT-01").Machine
		m.KindID, m.PlannedHoursPerWeek, m.CanHurt = nil, nil, true
		apply(t, s, register.ChangeMachine{Machine: m})
		m.Version++
		if d := cmp.Diff(m, machine(t, s, "RT-01").Machine, sameDates); d != "" {
			t.Errorf("written (-) and read (+):\n%s", d)
		}
	})
}

func TestApply_LayUpsEndAndRepeatNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddLayUp{Machine: "RT-01", From: day("2026-11-22"), Reason: "winter"})
		apply(t, s, register.AddLayUp{Machine: "RT-01", From: day("2026-11-22"), To: day("2027-03-01")})
		refused(t, s, register.Exists, "from", register.AddLayUp{Machine: "RT-01", From: day("2026-11-22"), To: day("2027-03-01")})
		l := machine(t, s, "RT-01").LayUps
		if len(l) != 2 || l[0].To != day("2027-03-01") || l[0].Reason != "winter" {
			t.Errorf("lay-ups %+v, want the open one ended and its reason kept", l)
		}
		before := counts(t, s)
		c := register.SetConditions{Machine: "RT-01", From: day("2026-02-01"), Basis: register.Assumed, Service: register.Service{FluidC: f64(70)}}
		apply(t, s, c)
		apply(t, s, c)
		if n := counts(t, s)["conditions"]; n != before["conditions"]+1 {
			t.Errorf("%d rows of conditions, want one more than %d: saying the same again changes nothing", n, before["conditions"])
		}
	})
}
