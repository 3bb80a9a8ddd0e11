package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// placementOf is the latest placement of an assembly.
func placementOf(t *testing.T, s *store.Store, code string) register.PlacementSheet {
	t.Helper()
	list := sheet(t, s, code).Placements
	if len(list) == 0 {
		t.Fatalf("assembly %s was never fitted", code)
	}
	p, err := s.PlacementSheet(context.Background(), list[0].Placement.ID)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func correction(p register.PlacementSheet, change func(*register.ChangePlacement)) register.ChangePlacement {
	c := register.ChangePlacement{Placement: p.Placement, Removal: p.Removal, Scrapped: p.Scrapped, Reason: "mistyped"}
	change(&c)
	return c
}

// yard is a register in which things are in each other's way.
func yard(t *testing.T, s *store.Store) {
	t.Helper()
	apply(t, s, depot()...)
	apply(t, s, hose("H-A"), fit("H-A", "lift left", "2024-07-01"))
	apply(t, s, register.AddReading{Machine: "RT-01", On: day("2024-06-01"), Hours: 100})
	apply(t, s, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2025-03-01"), Findings: []register.NewFinding{{Class: "watch"}}})
	apply(t, s,
		register.Remove{AssemblyCode: "H-A", On: day("2025-06-01"), Hours: f64(1000), Cause: register.CauseOutside, FoundBy: register.FoundByEvent},
		hose("H-B"), register.Fit{Machine: "RT-01", Position: "lift left", On: day("2025-06-01"), Hours: f64(1000), ReleasedBy: "B. Wise", Reason: "tested"})
	apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-06-01"), Hours: 2000})
}

func TestCorrect_RefusesAndNamesWhatIsInTheWay(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	yard(t, s)
	ctx := context.Background()
	a, b := placementOf(t, s, "H-A"), placementOf(t, s, "H-B")
	seen := sheet(t, s, "H-A").Findings[0]
	look := sheet(t, s, "H-A").Inspections[0]
	read := machine(t, s, "RT-01").Readings[0]
	for _, tc := range []struct {
		name  string
		cmd   register.Command
		words string
	}{
		{"it came off after the next one was fitted", correction(a, func(c *register.ChangePlacement) { c.Placement.To = day("2025-07-01") }), "holds assembly H-B"},
		{"it came off, and nobody says why", correction(a, func(c *register.ChangePlacement) {
			c.Removal = nil
		}), "Say why it came off"},
		{"it came off before it was looked at", correction(a, func(c *register.ChangePlacement) { c.Placement.To = day("2025-02-01") }), "inspected at position lift left of machine RT-01 on 2025-03-01"},
		{"it was fitted before it was made", correction(a, func(c *register.ChangePlacement) { c.Placement.From = day("2024-01-01") }), "made in"},
		{"it was fitted when another one sat there", correction(b, func(c *register.ChangePlacement) { c.Placement.From = day("2025-05-01") }), "held assembly H-A"},
		{"its hours would make the meter fall", correction(b, func(c *register.ChangePlacement) { c.Placement.FromHours = f64(2500) }), "falls"},
		{"a day to come", correction(b, func(c *register.ChangePlacement) { c.Placement.From = day("2026-12-01") }), "lies ahead"},
		{"no reason", correction(b, func(c *register.ChangePlacement) { c.Reason = "" }), "Say why"},
		{"an inspection when another one sat there", register.ChangeInspection{Inspection: register.Inspection{ID: look.ID, Version: look.Version, On: day("2025-08-01")}, Reason: "x"}, "H-A was inspected"},
		{"a reading below an earlier one", register.ChangeReading{Reading: register.Reading{ID: read.ID, Version: read.Version, On: read.On, Hours: 900}, Reason: "x"}, "falls"},
		{"a finding to be acted on before it was seen", register.ChangeFinding{Finding: register.Finding{ID: seen.ID, Version: seen.Version, SeenOn: seen.SeenOn, Class: "watch", ActBy: day("2025-02-01")}, Reason: "x"}, "before it was seen"},
		{"to take back the removal", register.TakeBack{What: register.ThingRemoval, ID: a.Removal.ID, Version: a.Removal.Version, Reason: "x"}, "H-B"},
		{"to take back a fitting with an inspection", register.TakeBack{What: register.ThingPlacement, ID: a.Placement.ID, Version: a.Placement.Version, Reason: "x"}, "inspected there on 2025-03-01"},
		{"to take back a machine with positions", register.TakeBack{What: register.ThingMachine, ID: 1, Version: 1, Reason: "x"}, "machine RT-01 has positions"},
		{"to take back an assembly that was fitted", register.TakeBack{What: register.ThingAssembly, ID: a.Placement.AssemblyID, Version: 1, Reason: "x"}, "assembly H-A has fittings"},
		{"to scrap what sits somewhere", register.Scrap{AssemblyCode: "H-B", On: day("2026-01-01")}, "remove it there"},
		{"to scrap it before it came off", register.Scrap{AssemblyCode: "H-A", On: day("2025-01-01")}, "came off position lift left"},
		{"at a position that is not there", correction(a, func(c *register.ChangePlacement) { c.Placement.PositionID = 99 }), "no such position"},
	} {
		before := tables(t, s)
		_, err := s.Apply(ctx, now, me, tc.cmd)
		if no := refusedWith(err); no == "" || !strings.Contains(no, tc.words) {
			t.Errorf("%s: want a refusal with %q, got %v", tc.name, tc.words, err)
		}
		if tables(t, s) != before {
			t.Errorf("%s: a refused correction changed something", tc.name)
		}
	}
	_, err := s.Apply(ctx, now, me, correction(b, func(c *register.ChangePlacement) { c.Placement.Version++ }))
	wantRefused(t, err, register.Conflict, "changed this meanwhile")
}

// One look at the meter served both hoses of a swap and left one reading: hours
// once mistyped are put right in all three by one correction.
func TestCorrect_HoursOfASwapArePutRightOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yard(t, s)
		apply(t, s, correction(placementOf(t, s, "H-B"), func(c *register.ChangePlacement) { c.Placement.FromHours = f64(1100) }))
		if h := placementOf(t, s, "H-A").Placement.ToHours; h == nil || *h != 1100 {
			t.Errorf("the removed one says %v", h)
		}
		for _, r := range machine(t, s, "RT-01").Readings {
			if r.On == day("2025-06-01") && r.Hours != 1100 {
				t.Errorf("the reading says %v", r.Hours)
			}
		}
		// And from the reading's side.
		for _, r := range machine(t, s, "RT-01").Readings {
			if r.On == day("2025-06-01") {
				r.Hours = 1050
				apply(t, s, register.ChangeReading{Reading: r, Reason: "mistyped again"})
			}
		}
		if h := placementOf(t, s, "H-B").Placement.FromHours; h == nil || *h != 1050 {
			t.Errorf("the fitted one says %v", h)
		}
		everyInstalledHasAnEstimate(t, s)
		agree(t, s)
	})
}

// An assembly put down at the wrong position is moved there with what was seen
// of it, and the reading that came with it goes to the other machine.
func TestCorrect_APlacementMovesWithWhatBelongsToIt(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		apply(t, s, register.AddMachine{Site: "Depot", Code: "RT-02"}, register.AddPosition{Machine: "RT-02", Name: "boom"})
		wrong := fit("H-A", "lift left", "2024-07-01")
		wrong.Hours = f64(500)
		apply(t, s, hose("H-A"), wrong)
		apply(t, s, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2025-03-01"), Findings: []register.NewFinding{{Class: "stop"}}})
		p := placementOf(t, s, "H-A")
		var boom int64
		if err := s.Raw().QueryRow("SELECT id FROM positions WHERE name = 'boom'").Scan(&boom); err != nil {
			t.Fatal(err)
		}
		apply(t, s, correction(p, func(c *register.ChangePlacement) { c.Placement.PositionID = boom }))
		a := sheet(t, s, "H-A")
		if a.Line == nil || a.Line.MachineCode != "RT-02" || !a.Line.Estimate.StopOpen {
			t.Errorf("it sits at %+v", a.Line)
		}
		if _, code, err := s.Inspection(ctx, a.Inspections[0].ID); err != nil || code != "RT-02" {
			t.Errorf("it was looked at on %s, %v", code, err)
		}
		if _, code, err := s.Finding(ctx, a.Findings[0].ID); err != nil || code != "RT-02" {
			t.Errorf("the finding is on %s, %v", code, err)
		}
		if n := len(machine(t, s, "RT-01").Readings); n != 0 {
			t.Errorf("%d readings stayed", n)
		}
		if r := machine(t, s, "RT-02").Readings; len(r) != 1 || r[0].Hours != 500 {
			t.Errorf("readings of the right machine: %+v", r)
		}
		agree(t, s)
	})
}

func TestApply_NothingHappensOnWhatLeftTheFleet(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	yard(t, s)
	ctx := context.Background()
	for _, q := range []string{
		"UPDATE machines SET gone_on = '2026-07-01'",
		"UPDATE placements SET to_on = '2026-07-01' WHERE to_on IS NULL", "DELETE FROM gaps", "DELETE FROM estimates",
	} {
		if _, err := s.Raw().Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	apply(t, s, hose("H-C"))
	for name, cmd := range map[string]register.Command{
		"a fitting":      fit("H-C", "lift right", "2026-08-01"),
		"one that lasts": fit("H-C", "lift right", "2026-05-01"),
		"a reading":      register.AddReading{Machine: "RT-01", On: day("2026-08-01"), Hours: 2100},
		"a meter event":  register.AddMeterEvent{Machine: "RT-01", On: day("2026-08-01"), OldEnd: 2100},
		"a lay-up":       register.AddLayUp{Machine: "RT-01", From: day("2026-08-01")},
		"an inspection":  register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-08-01")},
	} {
		_, err := s.Apply(ctx, now, me, cmd)
		if no := refusedWith(err); !strings.Contains(no, "2026-07-01") {
			t.Errorf("%s: %v", name, err)
		}
	}
	apply(t, s, fit("H-C", "lift right", "2026-05-01"), register.Remove{AssemblyCode: "H-C", On: day("2026-06-01"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
	apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-06-20"), Hours: 2050})
}

// refusedWith is the sentence of a refusal, empty for anything else.
func refusedWith(err error) string {
	var no *register.Error
	if errors.As(err, &no) {
		return no.Sentence
	}
	return ""
}

// What was seen on the day of a move belongs to where the hose sits since: back
// at its position the same day, its stop is open again.
func TestApply_AHoseFittedAgainTheSameDayKeepsItsStop(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"), fit("H-A", "lift left", "2024-07-01"))
		apply(t, s, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-20"), Findings: []register.NewFinding{{Class: "stop"}}})
		back := fit("H-A", "lift left", "2026-11-20")
		back.ReleasedBy, back.Reason = "B. Wise", "tested"
		apply(t, s, register.Remove{AssemblyCode: "H-A", On: day("2026-11-20"), Cause: register.CausePlanned, FoundBy: register.FoundByInspection}, back)
		if a := sheet(t, s, "H-A"); len(a.Open) != 1 || a.Line == nil || !a.Line.Estimate.StopOpen {
			t.Errorf("open: %+v, line %+v", a.Open, a.Line)
		}
		agree(t, s)
	})
}
