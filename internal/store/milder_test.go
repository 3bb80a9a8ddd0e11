package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// personAs puts a person with one role at all sites into the register.
func personAs(t testing.TB, s *store.Store, name string, role register.Role) register.Actor {
	t.Helper()
	var id int64
	if err := s.Raw().QueryRow("INSERT INTO people (name) VALUES ('" + name + "') RETURNING id").Scan(&id); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Raw().Exec("INSERT INTO person_roles (person_id, role) VALUES (" + fmt.Sprint(id) + ", '" + string(role) + "')"); err != nil {
		t.Fatal(err)
	}
	return register.Actor{PersonID: id, Origin: register.FromPage}
}

// What makes something milder is refused to a planner whatever is typed, and
// to a manager who does not say why.
func TestMilder_NeedsAManagerAndAReason(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"), fit("H-A", "lift left", "2026-01-01"))
		own := register.Policy{Policy: life.NormalDemand(), Source: "invented"}
		own.Name, own.MonthsFromAssembly = "own", intOf(60)
		apply(t, s, register.AddPolicy{Policy: own}, register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-10-01"), By: "I", Findings: []register.NewFinding{{Number: 3, Class: life.Replace, ActBy: day("2026-12-01")}}})
		planner, manager := personAs(t, s, "planner", register.Planner), personAs(t, s, "manager", register.Manager)

		heightened := policyNow(t, s, "heightened demand").ID
		strict := positionNow(t, s, "RT-01", "lift right").Position
		strict.PolicyID = &heightened
		if _, err := s.Apply(ctx, now, planner, register.ChangePosition{Position: strict}); err != nil {
			t.Fatalf("a stricter policy is a planner's: %v", err)
		}
		milderAt := positionNow(t, s, "RT-01", "lift right").Position
		milderAt.PolicyID = nil
		site := siteNow(t, s, "Depot")
		site.PolicyID = policyNow(t, s, "thermoplastic or PTFE tube").ID
		longer := policyNow(t, s, "own")
		longer.MonthsFromAssembly = intOf(66)
		var finding int64
		if err := s.Raw().QueryRow("SELECT id FROM findings").Scan(&finding); err != nil {
			t.Fatal(err)
		}
		d, _, err := s.Finding(ctx, finding)
		if err != nil {
			t.Fatal(err)
		}
		watch, later := d, d
		watch.Class = life.Watch
		later.ActBy = day("2027-03-01")
		none := ""
		for _, row := range []struct {
			what   string
			field  string // blamed where the reason is missing
			change func(reason string) register.Command
		}{
			{"a position's milder policy", "reason", func(why string) register.Command {
				return register.ChangePosition{Position: milderAt, Reason: why}
			}},
			{"the same, of many", "reason", func(why string) register.Command {
				return register.ChangePositions{Positions: []int64{milderAt.ID}, Policy: &none, Reason: why}
			}},
			{"a site's milder policy", "reason", func(why string) register.Command { return register.ChangeSite{Site: site, Reason: why} }},
			{"a longer limit", "months_from_assembly", func(why string) register.Command {
				p := longer
				p.Lengthened = why
				return register.ChangePolicy{Policy: p}
			}},
			{"a milder class", "reason", func(why string) register.Command { return register.ChangeFinding{Finding: watch, Reason: why} }},
			{"a later day to act by", "reason", func(why string) register.Command { return register.ChangeFinding{Finding: later, Reason: why} }},
			{"a release of a finding", "reason", func(why string) register.Command {
				return register.CloseFinding{FindingID: finding, On: day("2026-11-20"), How: register.ClosedByRelease, Reason: why}
			}},
		} {
			if _, err := s.Preview(ctx, now, planner, row.change("because")); !errors.Is(err, &register.Error{Code: register.Forbidden}) {
				t.Errorf("%s by a planner: %v", row.what, err)
			}
			if _, err := s.Preview(ctx, now, manager, row.change("")); !errors.Is(err, &register.Error{Code: register.Invalid, Field: row.field}) {
				t.Errorf("%s without a reason: %v", row.what, err)
			}
			if _, err := s.Preview(ctx, now, manager, row.change("because")); err != nil {
				t.Errorf("%s by a manager: %v", row.what, err)
			}
			byPIN := manager
			byPIN.ByPIN = true
			if _, err := s.Preview(ctx, now, byPIN, row.change("because")); !errors.Is(err, &register.Error{Code: register.Forbidden}) || !strings.Contains(err.Error(), "password") {
				t.Errorf("%s after signing in with a PIN: %v", row.what, err)
			}
		}
		stricter := d
		stricter.Class = life.Stop
		if _, err := s.Preview(ctx, now, personAs(t, s, "fitter", register.Fitter), register.ChangeFinding{Finding: stricter, Reason: "worse than it looked"}); err != nil {
			t.Errorf("a stricter class is anybody's who notes findings: %v", err)
		}
	})
}

// A hose on which damage was found stays off machines until a manager releases
// it, whoever asks.
func TestFit_ADamagedHoseOnlyByRelease(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		apply(t, s, hose("H-A"), fit("H-A", "lift left", "2026-01-01"),
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-10-01"), By: "I", Findings: []register.NewFinding{{Number: 3, Class: life.Stop}}},
			register.Remove{AssemblyCode: "H-A", On: day("2026-10-02"), Cause: register.CauseOutside, FoundBy: register.FoundByInspection})
		fitter, manager := personAs(t, s, "fitter", register.Fitter), personAs(t, s, "manager", register.Manager)
		again := fit("H-A", "lift right", "2026-10-10")
		for who, by := range map[string]register.Actor{"a fitter": fitter, "a manager": manager} {
			if _, err := s.Apply(ctx, now, by, again); !errors.Is(err, &register.Error{Code: register.Refused, Field: "released_by"}) {
				t.Errorf("%s without a release: %v", who, err)
			}
		}
		released := again
		released.ReleasedBy, released.Reason = "M. Adler", "only the cover, seen by two"
		if _, err := s.Apply(ctx, now, fitter, released); !errors.Is(err, &register.Error{Code: register.Forbidden}) {
			t.Errorf("a release typed by a fitter: %v", err)
		}
		if _, err := s.Apply(ctx, now, manager, released); err != nil {
			t.Errorf("released by a manager: %v", err)
		}
	})
}

func intOf(n int) *int { return &n }
