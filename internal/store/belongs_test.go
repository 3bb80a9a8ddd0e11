package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// What is done to a machine after it moved belongs to where it moved to, also
// within one list of changes.
func TestNote_FollowsAMachineThatMovesInTheSameList(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, register.AddSite{Name: "Yard", Zone: "Europe/Berlin"})
		yard := "Yard"
		machine := idsOf(t, s, "SELECT id FROM machines")[0]
		apply(t, s, register.AddReading{Machine: "RT-01", On: day("2026-11-01"), Hours: 10},
			register.ChangeMachines{Machines: []int64{machine}, Site: &yard},
			register.AddReading{Machine: "RT-01", On: day("2026-11-02"), Hours: 20})
		at := idsOf(t, s, "SELECT site_id FROM changes WHERE entity = 'readings' ORDER BY seq")
		sites := idsOf(t, s, "SELECT id FROM sites ORDER BY id")
		if fmt.Sprint(at) != fmt.Sprint(sites) {
			t.Errorf("the readings belong to sites %v, want %v", at, sites)
		}
	})
}

// A refused row of a list leaves nothing behind, not even where its machine was.
func TestNote_ForgetsWhereARefusedRowWas(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		apply(t, s, hose("H-1"), fit("H-1", "lift left", "2024-07-01"), register.AddSite{Name: "Yard", Zone: "UTC"})
		before := idsOf(t, s, "SELECT seq FROM chain_head")[0]
		r, err := importSheet(t, s, "Site,Machine,Position,Assembly,Type,DN,Made,Fitted\n"+
			"Depot,A-1,boom,H-1,EN 853 2SN,12,3Q23,2024-08-05\n"+ // it sits elsewhere
			"Yard,B-1,boom,H-2,EN 853 2SN,12,3Q23,2024-05-05\n", store.ImportOptions{TakeGood: true})
		if err != nil || r.Added != 1 || r.Refused+r.Asked != 1 {
			t.Fatalf("%v\n%s", err, lines(r))
		}
		yard := idsOf(t, s, "SELECT id FROM sites WHERE name = 'Yard'")[0]
		for _, at := range idsOf(t, s, "SELECT site_id FROM changes WHERE entity IN ('positions', 'placements') AND seq > "+fmt.Sprint(before)) {
			if at != yard {
				t.Errorf("what was taken at Yard (%d) is said to belong to site %d", yard, at)
			}
		}
	})
}

// Copied positions bring no milder rule with them past a manager, and no service
// conditions past a planner.
func TestCopyPositions_NeedsWhatAddingThemNeeds(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		own := register.Policy{Policy: life.NormalDemand(), Source: "invented", Lengthened: "manager A., tests of 2025"}
		own.Name, own.MonthsFromAssembly = "longer", intOf(120)
		apply(t, s, register.AddPolicy{Policy: own}, register.AddMachine{Site: "Depot", Code: "RT-02", Name: "two"}, register.AddMachine{Site: "Depot", Code: "RT-03", Name: "three"})
		planner, inspector := personAs(t, s, "planner", register.Planner), personAs(t, s, "inspector", register.Inspector)
		as := func(who register.Actor, cmd register.Command) error {
			_, err := s.Apply(context.Background(), now, who, cmd)
			return err
		}
		forbidden := &register.Error{Code: register.Forbidden}
		if err := as(planner, register.CopyPositions{Machine: "RT-02", From: "RT-01"}); err != nil {
			t.Errorf("without a rule of their own: %v", err)
		}
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "mild", Policy: "longer"}, register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Assumed})
		if err := as(planner, register.CopyPositions{Machine: "RT-03", From: "RT-01"}); !errors.Is(err, forbidden) {
			t.Errorf("a planner copies a milder rule: %v", err)
		}
		if err := as(inspector, register.CopyPositions{Machine: "RT-02", From: "RT-01", Worked: true}); !errors.Is(err, forbidden) {
			t.Errorf("an inspector copies how a machine is worked: %v", err)
		}
		apply(t, s, register.CopyPositions{Machine: "RT-03", From: "RT-01", Worked: true})
	})
}

// An instant finer than what PostgreSQL keeps must not make the register differ
// from its log.
func TestMakeToken_EndIsKeptAsItIsLogged(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		program := apply(t, s, register.AddPerson{Name: "Reader", Program: true, Roles: []register.GivenRole{{Role: register.Viewer}}}).PersonID
		apply(t, s, register.MakeToken{PersonID: program, Hash: strings.Repeat("a", 64), EndsAt: now.Add(time.Hour + 1234567*time.Nanosecond + 89)})
		v, err := s.Verify(t.Context(), register.VerifyOptions{})
		if err != nil || !v.Whole() {
			t.Errorf("%+v, %v", v, err)
		}
	})
}
