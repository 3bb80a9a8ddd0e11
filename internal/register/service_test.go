package register_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// depot is a small set of facts: one machine of a kind with duties, a circuit,
// two positions, one assembly that sat at the first and now sits at the second.
func depot() *register.Facts {
	circuit := int64(7)
	kind := int64(3)
	return &register.Facts{
		Sites:    map[int64]register.Site{1: {ID: 1, Name: "Depot", Zone: "UTC", PolicyID: 1}},
		Policies: map[int64]register.Policy{1: {ID: 1, Policy: life.NormalDemand(), ExposedInspectMonths: months(6)}},
		Duties: map[int64][]register.Duty{3: {
			{ID: 1, KindID: 3, Service: register.Service{FluidC: f(60), Cycles: cycles(150)}},
			{ID: 2, KindID: 3, Circuit: "lift", Service: register.Service{Cycles: cycles(200)}},
		}},
		Machines: map[int64]*register.MachineFacts{1: {
			Machine:  register.Machine{ID: 1, SiteID: 1, KindID: &kind, Code: "RT-01", PlannedHoursPerWeek: f(40)},
			Circuits: map[int64]register.Circuit{7: {ID: 7, MachineID: 1, Name: "Lift"}},
			Conditions: map[register.Owner][]register.Conditions{
				{Level: register.AtMachine, ID: 1}: {
					{ID: 1, Level: register.AtMachine, OwnerID: 1, From: day("2024-01-01"), Basis: register.Measured, Service: register.Service{FluidC: f(70)}},
					{ID: 2, Level: register.AtMachine, OwnerID: 1, From: day("2025-01-01"), Basis: register.Assumed, Service: register.Service{SurroundingsC: f(35)}},
				},
				{Level: register.AtPosition, ID: 11}: {
					{ID: 3, Level: register.AtPosition, OwnerID: 11, From: day("2025-06-01"), Basis: register.Measured, Service: register.Service{Cycles: cycles(230), Recorded: flag(true)}},
				},
			},
		}},
		Positions: map[int64]*register.Position{
			11: {ID: 11, MachineID: 1, CircuitID: &circuit, Name: "lift rod side"},
			12: {ID: 12, MachineID: 1, Name: "brush motor", CanHurt: true, Exposed: true},
		},
		Assemblies: []register.AssemblyFacts{{
			Assembly: register.Assembly{ID: 100, Code: "K-1", Designation: "EN 853 2SN", DN: 12, Dash: 8, RatedBar: f(275), RatingSource: register.RatingPrinted, EndABar: f(250), EndBBar: f(350), Assembled: quantity.Day(day("2023-10-01"))},
			Placements: []register.Placement{
				{ID: 2, AssemblyID: 100, PositionID: 12, From: day("2026-01-01")},
				{ID: 1, AssemblyID: 100, PositionID: 11, From: day("2023-11-01"), To: day("2025-12-01")},
			},
		}},
	}
}

func cycles(max float64) register.Cycles { return register.Cycles{{MaxBar: max, Count: 30}} }

func months(n int) *int { return &n }

// saysOf prints every field that a row of service conditions says.
func saysOf(s register.Service) string {
	var says []string
	for _, c := range s.Cycles {
		says = append(says, fmt.Sprintf("%g to %g bar, %g per hour", c.MinBar, c.MaxBar, c.Count))
	}
	if s.Recorded != nil {
		says = append(says, fmt.Sprintf("recorded %t", *s.Recorded))
	}
	for _, v := range []*float64{s.FluidC, s.SurroundingsC} {
		if v != nil {
			says = append(says, fmt.Sprintf("%g °C", *v))
		}
	}
	return strings.Join(says, ", ")
}

func TestServiceOn_NearestWinsFieldByField(t *testing.T) {
	facts := depot()
	for _, c := range []struct {
		why      string
		position int64
		on       string
		want     []string
	}{
		{"before anything is said, the duties of the kind: cycles of the circuit, temperature of the whole machine", 11, "2023-06-01", []string{
			"pressure cycles 0 to 200 bar, 30 per hour kind assumed", "fluid temperature 60 °C kind assumed",
		}},
		{"the machine's temperature hides the kind's, the circuit's cycles stay", 11, "2024-01-01", []string{
			"pressure cycles 0 to 200 bar, 30 per hour kind assumed", "fluid temperature 70 °C machine measured",
		}},
		{"a later row that says something else leaves the earlier field", 11, "2025-01-01", []string{
			"pressure cycles 0 to 200 bar, 30 per hour kind assumed", "fluid temperature 70 °C machine measured", "surroundings 35 °C machine assumed",
		}},
		{"the position's cycles win from their day", 11, "2025-06-01", []string{
			"pressure cycles 0 to 230 bar, 30 per hour, recorded true position measured", "fluid temperature 70 °C machine measured", "surroundings 35 °C machine assumed",
		}},
		{"another position of the machine does not see them", 12, "2025-06-01", []string{
			"pressure cycles 0 to 150 bar, 30 per hour kind assumed", "fluid temperature 70 °C machine measured", "surroundings 35 °C machine assumed",
		}},
	} {
		var got []string
		for _, v := range facts.ServiceOn(c.position, day(c.on)) {
			got = append(got, string(v.Field)+" "+saysOf(v.Said)+" "+string(v.Level)+" "+string(v.Basis))
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.why, diff)
		}
	}
	if got := facts.ServiceOn(99, day("2025-01-01")); got != nil {
		t.Errorf("conditions of a position that was not loaded: %v", got)
	}
}

func TestLifeInput_FollowsTheAssemblyThroughItsPlacements(t *testing.T) {
	facts := depot()
	in, err := facts.LifeInput(&facts.Assemblies[0], day("2026-11-25"))
	if err != nil {
		t.Fatal(err)
	}
	if in.Fitted != day("2023-11-01") {
		t.Errorf("fitted %s, want the first fitting", in.Fitted)
	}
	var froms []string
	for _, c := range in.Conditions {
		froms = append(froms, c.From.String())
	}
	// The row of 2026-01-01 begins the second placement.
	if diff := cmp.Diff([]string{"2023-11-01", "2024-01-01", "2025-01-01", "2025-06-01", "2026-01-01"}, froms); diff != "" {
		t.Errorf("conditions begin (-want +got):\n%s", diff)
	}
	if len(in.Stints) != 2 || in.Stints[0].To != day("2025-12-01") || !in.Stints[1].To.IsZero() {
		t.Errorf("stints %+v, want one ended and one open", in.Stints)
	}
	if in.Stints[0].Hours == nil || in.Stints[0].Hours != in.Stints[1].Hours {
		t.Error("a machine's hours are worked out once and shared")
	}
	if !in.CanHurt {
		t.Error("a burst at its present position can hurt someone")
	}
	if in.Policy.InspectMonths == nil || *in.Policy.InspectMonths != 6 {
		t.Errorf("inspected every %v months, want 6 at an exposed position", in.Policy.InspectMonths)
	}
	if p := in.Hose.ImpulsePercent; p == nil || *p != 133 {
		t.Errorf("impulse point %v per cent, want 133 of EN 853 2SN", p)
	}
	if in.Hose.RatingUnconfirmed {
		t.Error("a printed rating counts as unconfirmed")
	}
}

func TestLifeInput_TakesATableRatingAsUnconfirmed(t *testing.T) {
	facts := depot()
	a := &facts.Assemblies[0]
	a.Assembly.RatedBar, a.Assembly.RatingSource = nil, ""
	in, err := facts.LifeInput(a, day("2026-11-25"))
	if err != nil {
		t.Fatal(err)
	}
	if in.Hose.RatedBar == nil || *in.Hose.RatedBar != 275 || !in.Hose.RatingUnconfirmed {
		t.Errorf("rating %v, unconfirmed %v; want 275 bar of the table (EN 853 2SN, DN 12), unconfirmed", in.Hose.RatedBar, in.Hose.RatingUnconfirmed)
	}
	a.Assembly.RatedBar, a.Assembly.RatingSource = f(240), register.RatingPrinted
	if in, err = facts.LifeInput(a, day("2026-11-25")); err != nil {
		t.Fatal(err)
	}
	if *in.Hose.RatedBar != 240 || in.TableBar == nil || *in.TableBar != 275 {
		t.Errorf("rating %v, table %v; want the printed 240 with the table's 275 beside it", in.Hose.RatedBar, in.TableBar)
	}
}

func today(string) func(int64) quantity.Date {
	return func(int64) quantity.Date { return day("2026-11-25") }
}

// What contradicts itself must not look better than what is known in spite of
// it.
func TestReestimate_KeepsWhatIsCertainWhereFactsContradictEachOther(t *testing.T) {
	falling := func(x *register.Facts) {
		x.Machines[1].Readings = []register.Reading{
			{ID: 1, MachineID: 1, On: day("2025-01-01"), Hours: 3000},
			{ID: 2, MachineID: 1, On: day("2026-01-01"), Hours: 2000},
		}
	}
	aboveBurst := func(x *register.Facts) {
		x.Duties[3][0].Cycles = cycles(1500)
	}
	overRating := func(x *register.Facts) {
		x.Duties[3][0].Cycles = cycles(300)
	}
	old := func(x *register.Facts) { x.Assemblies[0].Assembly.Assembled = quantity.Day(day("2017-01-01")) }
	stop := func(x *register.Facts) {
		x.Assemblies[0].Findings = []register.Finding{{SeenOn: day("2026-02-01"), Class: life.Stop}}
	}
	nonsense := func(x *register.Facts) { x.Assemblies[0].Assembly.RatedBar = f(-1) }
	for _, c := range []struct {
		why    string
		change []func(*register.Facts)
		act    string // the day to act by; empty for none
		stop   bool
	}{
		{"a falling meter leaves the calendar", []func(*register.Facts){falling}, "2029-10-01", false},
		{"a falling meter leaves what is overdue overdue", []func(*register.Facts){falling, old}, "2023-01-01", false},
		{"a falling meter leaves work above the rating", []func(*register.Facts){falling, overRating}, "2026-01-01", false},
		{"a falling meter leaves a stop", []func(*register.Facts){falling, stop}, "2026-02-01", true},
		{"a pressure above burst leaves what is overdue overdue", []func(*register.Facts){aboveBurst, old}, "2023-01-01", false},
		{"a pressure above burst and a falling meter leave the calendar", []func(*register.Facts){aboveBurst, falling}, "2029-10-01", false},
		{"where nothing agrees a stop is still a stop", []func(*register.Facts){nonsense, stop}, "", true},
	} {
		facts := depot()
		for _, change := range c.change {
			change(facts)
		}
		got := register.Reestimate(facts, today(""))
		if len(got) != 1 {
			t.Fatalf("%s: %d estimates of 1 installed assembly", c.why, len(got))
		}
		e := got[0]
		if e.Problem == "" || e.Complete || e.ActBy.String() != c.act || e.StopOpen != c.stop || !e.CanHurt {
			t.Errorf("%s: act by %q, stop %v, complete %v, can hurt %v, problem %q; want act by %q, stop %v", c.why, e.ActBy, e.StopOpen, e.Complete, e.CanHurt, e.Problem, c.act, c.stop)
		}
	}
}

func TestLifeInput_AnAssessmentSpeaksOfThePressuresKnownThen(t *testing.T) {
	for _, c := range []struct {
		why  string
		rows map[register.Owner][]register.Conditions
		want string
	}{
		{"said with the cycles, it holds", map[register.Owner][]register.Conditions{
			{Level: register.AtPosition, ID: 11}: {{ID: 1, Level: register.AtPosition, From: day("2024-01-01"), Service: register.Service{Cycles: cycles(290), AssessedOn: day("2024-01-01")}}},
		}, "2024-01-01"},
		{"said later than the cycles, it holds", map[register.Owner][]register.Conditions{
			{Level: register.AtPosition, ID: 11}: {
				{ID: 1, Level: register.AtPosition, From: day("2024-01-01"), Service: register.Service{Cycles: cycles(290)}},
				{ID: 2, Level: register.AtPosition, From: day("2024-06-01"), Service: register.Service{AssessedOn: day("2024-06-01")}},
			},
		}, "2024-06-01"},
		{"said of the machine, it holds for the duty of its kind", map[register.Owner][]register.Conditions{
			{Level: register.AtMachine, ID: 1}: {{ID: 1, Level: register.AtMachine, From: day("2024-01-01"), Service: register.Service{AssessedOn: day("2024-01-01")}}},
		}, "2024-01-01"},
		{"cycles said later were not assessed", map[register.Owner][]register.Conditions{
			{Level: register.AtPosition, ID: 11}: {
				{ID: 1, Level: register.AtPosition, From: day("2024-01-01"), Service: register.Service{Cycles: cycles(290), AssessedOn: day("2024-01-01")}},
				{ID: 2, Level: register.AtPosition, From: day("2024-06-01"), Service: register.Service{Cycles: cycles(500)}},
			},
		}, ""},
		{"a working pressure said later was not assessed", map[register.Owner][]register.Conditions{
			{Level: register.AtPosition, ID: 11}: {
				{ID: 1, Level: register.AtPosition, From: day("2024-01-01"), Service: register.Service{Cycles: cycles(290), AssessedOn: day("2024-01-01")}},
				{ID: 2, Level: register.AtPosition, From: day("2024-06-01"), Service: register.Service{WorkingBar: f(400)}},
			},
		}, ""},
		{"the position's own cycles were not assessed with the machine", map[register.Owner][]register.Conditions{
			{Level: register.AtMachine, ID: 1}:   {{ID: 1, Level: register.AtMachine, From: day("2024-01-01"), Service: register.Service{AssessedOn: day("2024-01-01")}}},
			{Level: register.AtPosition, ID: 11}: {{ID: 2, Level: register.AtPosition, From: day("2023-01-01"), Service: register.Service{Cycles: cycles(500)}}},
		}, ""},
	} {
		facts := depot()
		facts.Machines[1].Conditions = c.rows
		shown := ""
		for _, v := range facts.ServiceOn(11, day("2025-01-01")) {
			if v.Field == "assessed in writing" {
				shown = v.Said.AssessedOn.String()
			}
		}
		in, err := facts.LifeInput(&facts.Assemblies[0], day("2026-11-25"))
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, k := range in.Conditions {
			if !k.From.After(day("2025-01-01")) {
				got = k.Assessed.String()
			}
		}
		if got != c.want || shown != c.want {
			t.Errorf("%s: assessed %q, shown %q, want %q", c.why, got, shown, c.want)
		}
	}
}

func TestLifeInput_AFittingUndoneOnItsDayLeavesNoConditions(t *testing.T) {
	facts := depot()
	a := &facts.Assemblies[0]
	a.Placements = append([]register.Placement{{ID: 9, AssemblyID: 100, PositionID: 11, From: day("2026-01-01"), To: day("2026-01-01")}}, a.Placements[0])
	for range 2 {
		in, err := facts.LifeInput(a, day("2026-11-25"))
		if err != nil {
			t.Fatal(err)
		}
		if len(in.Conditions) != 1 || in.Conditions[0].Cycles[0].MaxBar != 150 || !in.CanHurt {
			t.Errorf("conditions %+v, can hurt %v: want those of the position it went to alone", in.Conditions, in.CanHurt)
		}
		a.Placements[0], a.Placements[1] = a.Placements[1], a.Placements[0]
	}
}

func TestLifeInput_AMakersNameInOtherLettersIsTheSameMaker(t *testing.T) {
	facts := depot()
	a := &facts.Assemblies[0]
	for ends, want := range map[string]bool{"Testco": false, " TESTCO ": false, "": false, "Otherco": true} {
		a.Assembly.Maker, a.Assembly.EndMake = "TESTCO", ends
		in, err := facts.LifeInput(a, day("2026-11-25"))
		if err != nil || in.MixedMakers != want {
			t.Errorf("ends of %q: mixed makers %v, %v; want %v", ends, in.MixedMakers, err, want)
		}
	}
}

func TestReestimate_GoesByTheEarliestDateWhereABurstCanHurt(t *testing.T) {
	facts := depot()
	got := register.Reestimate(facts, today(""))[0]
	if !got.CanHurt || got.ActBy != got.Earliest {
		t.Errorf("act by %s, earliest %s, can hurt %v", got.ActBy, got.Earliest, got.CanHurt)
	}
	facts = depot()
	facts.Positions[12].CanHurt = false
	got = register.Reestimate(facts, today(""))[0]
	if got.CanHurt || got.ActBy != got.Due {
		t.Errorf("act by %s, due %s, can hurt %v", got.ActBy, got.Due, got.CanHurt)
	}
}

func TestInputHash_ChangesWithEveryFactAndOnlyThen(t *testing.T) {
	hash := func(change func(*register.Facts)) string {
		facts := depot()
		change(facts)
		return register.Reestimate(facts, today(""))[0].InputHash
	}
	base := hash(func(*register.Facts) {})
	if base == "" || base != hash(func(*register.Facts) {}) {
		t.Fatal("the same facts give two digests")
	}
	same := hash(func(x *register.Facts) {
		p := x.Assemblies[0].Placements
		p[0], p[1] = p[1], p[0]
	})
	if same != base {
		t.Error("the order of rows changes the digest")
	}
	for why, change := range map[string]func(*register.Facts){
		"rating": func(x *register.Facts) { x.Assemblies[0].Assembly.RatedBar = f(276) },
		"end":    func(x *register.Facts) { x.Assemblies[0].Assembly.EndBBar = nil },
		"reading": func(x *register.Facts) {
			x.Machines[1].Readings = []register.Reading{{On: day("2026-01-01"), Hours: 1}}
		},
		"lay-up": func(x *register.Facts) {
			x.Machines[1].LayUps = []register.LayUp{{From: day("2026-01-01"), To: day("2026-02-01")}}
		},
		"duty": func(x *register.Facts) { x.Duties[3][0].FluidC = f(61) },
		"finding": func(x *register.Facts) {
			x.Assemblies[0].Findings = []register.Finding{{SeenOn: day("2026-02-01"), Class: life.Watch}}
		},
		"inspection":    func(x *register.Facts) { x.Assemblies[0].Inspections = []register.Inspection{{On: day("2026-02-01")}} },
		"can hurt":      func(x *register.Facts) { x.Positions[12].CanHurt = false },
		"policy":        func(x *register.Facts) { p := x.Policies[1]; p.HoursFromFitting = f(4000); x.Policies[1] = p },
		"fit date":      func(x *register.Facts) { x.Assemblies[0].Placements[1].From = day("2023-11-02") },
		"made":          func(x *register.Facts) { x.Assemblies[0].Assembly.Made = quarter(2023, 1) },
		"planned hours": func(x *register.Facts) { x.Machines[1].Machine.PlannedHoursPerWeek = f(41) },
	} {
		if hash(change) == base {
			t.Errorf("%s does not change the digest", why)
		}
	}
}
