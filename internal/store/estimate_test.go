package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// agree wants the stored estimates, the first 200 of the due list, to be what
// the facts give when worked out again, with their working, through the page
// of the assembly.
func agree(t *testing.T, s *store.Store) {
	t.Helper()
	page, err := s.Lines(context.Background(), now, register.LineFilter{Limit: 200})
	if err != nil {
		t.Fatal(err)
	}
	if len(page.Lines) == 0 {
		t.Error("nothing is installed: this proves nothing")
	}
	for _, l := range page.Lines {
		e, a := l.Estimate, sheet(t, s, l.AssemblyCode)
		if e.Stale || !l.Estimated {
			t.Errorf("%s is stale", l.AssemblyCode)
			continue
		}
		if e.Problem != a.Problem || a.Estimate == nil {
			t.Errorf("%s: stored problem %q, worked out %q, estimate %v", l.AssemblyCode, e.Problem, a.Problem, a.Estimate)
			continue
		}
		type key struct {
			Due, Earliest, Latest, Inspect quantity.Date
			Governing                      life.ClockName
			Complete, Stop                 bool
			Rated, Hours                   *float64
			Warnings                       int
		}
		stored := key{e.Due, e.Earliest, e.Latest, e.InspectionDue, e.Governing, e.Complete, e.StopOpen, e.RatedBar, e.HoursNow, len(e.Warnings)}
		w := a.Estimate
		worked := key{w.Due, w.Earliest, w.Latest, w.InspectionDue, w.Governing, w.Complete, w.StopOpen, w.RatedBar, w.HoursNow, len(w.Warnings)}
		if d := cmp.Diff(stored, worked, sameDates); d != "" {
			t.Errorf("%s: stored (-) and worked out (+):\n%s", l.AssemblyCode, d)
		}
		if len(a.Working) == 0 {
			t.Errorf("%s has no working", l.AssemblyCode)
		}
	}
}

func TestEstimates_StoredAreThoseOfTheFacts(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		agree(t, s)
		made := storedEstimates(t, s)
		for _, e := range made {
			if e.InputHash == "" || e.AsOf != day("2026-11-25") || e.Due.IsZero() {
				t.Errorf("an estimate that says little: %+v", e)
			}
		}
		if n, err := s.ReestimateAll(context.Background(), now, nil); err != nil || n != len(made) {
			t.Fatalf("%d estimates, %v", n, err)
		}
		if d := cmp.Diff(made, storedEstimates(t, s), sameDates); d != "" {
			t.Errorf("made by the changes (-) and by the job (+):\n%s", d)
		}
	})
}

func TestEstimates_EveryChangeThatBearsOnThemIsFollowed(t *testing.T) {
	m := func(f func(*register.Machine)) func(*testing.T, *store.Store) register.Command {
		return func(t *testing.T, s *store.Store) register.Command {
			row := machine(t, s, "RT-01").Machine
			f(&row)
			return register.ChangeMachine{Machine: row}
		}
	}
	is := func(c register.Command) func(*testing.T, *store.Store) register.Command {
		return func(*testing.T, *store.Store) register.Command { return c }
	}
	for _, row := range []struct {
		why string
		cmd func(*testing.T, *store.Store) register.Command
	}{
		{"a reading", is(register.AddReading{Machine: "RT-01", On: day("2026-11-24"), Hours: 2050})},
		{"a lay-up", is(register.AddLayUp{Machine: "RT-01", From: day("2026-08-01"), To: day("2026-09-01")})},
		{"a meter event", is(register.AddMeterEvent{Machine: "RT-01", On: day("2026-11-24"), OldEnd: 2000, NewStart: 5})},
		{"a burst that can hurt", m(func(m *register.Machine) { m.CanHurt = true })},
		{"a duty of the kind", is(register.SetDuty{Kind: "refuse truck", Service: register.Service{FluidC: f64(95), Cycles: register.Cycles{{MaxBar: 250, Count: 400}}}})},
		{"conditions of the machine", is(register.SetConditions{Machine: "RT-01", From: day("2025-03-01"), Basis: register.Measured, Service: register.Service{Cycles: register.Cycles{{MaxBar: 260, Count: 100}}}})},
		{"conditions of the position", is(register.SetConditions{Machine: "RT-01", Position: "lift left", From: day("2025-03-01"), Basis: register.Measured, Service: register.Service{AdapterBar: f64(200)}})},
		{"an inspection", is(register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-20")})},
		{"another rating", func(t *testing.T, s *store.Store) register.Command {
			a := sheet(t, s, "H-A").Assembly
			a.RatedBar = f64(180)
			return register.ChangeAssembly{Assembly: a}
		}},
	} {
		t.Run(row.why, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				fill(t, s)
				before := storedEstimates(t, s)
				if r := apply(t, s, row.cmd(t, s)); r.Stale != 0 {
					t.Errorf("%d stale", r.Stale)
				}
				if cmp.Equal(before, storedEstimates(t, s), sameDates) {
					t.Error("no estimate changed")
				}
				agree(t, s)
			})
		})
	}
}

// A pressure above burst is a slip of somebody's; what was overdue stays so.
func TestEstimates_WhatContradictsItselfDoesNotLookBetter(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		a := sheet(t, s, "H-A").Assembly
		a.Made, a.Assembled = quantity.Day(day("2017-01-01")), quantity.Day(day("2017-02-01"))
		apply(t, s, register.ChangeAssembly{Assembly: a})
		if st := sheet(t, s, "H-A").Status; st != life.StatusOverdue {
			t.Fatalf("status %s, want overdue", st)
		}
		apply(t, s, register.SetConditions{
			Machine: "RT-01", Position: "lift left", From: day("2024-07-02"), Basis: register.Assumed,
			Service: register.Service{Cycles: register.Cycles{{MaxBar: 5000, Count: 1}}},
		})
		got := sheet(t, s, "H-A")
		if got.Status != life.StatusOverdue || got.Problem == "" || !got.Line.Incomplete() || len(got.Working) == 0 {
			t.Errorf("status %s, problem %q, incomplete %v, %d steps: want overdue, incomplete, with the working of what is certain", got.Status, got.Problem, got.Line.Incomplete(), len(got.Working))
		}
		agree(t, s)
	})
}

func TestEstimates_FollowTheMachineAnAssemblySatOnBefore(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02", PlannedHoursPerWeek: f64(40)},
			register.AddPosition{Machine: "RT-02", Name: "lift"},
			register.Remove{AssemblyCode: "H-A", On: day("2026-11-21"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent},
			register.Fit{AssemblyCode: "H-A", Machine: "RT-02", Position: "lift", On: day("2026-11-21")})
		before := sheet(t, s, "H-A").Line.Estimate
		apply(t, s, register.AddReading{Machine: "RT-01", On: day("2025-01-01"), Hours: 4100})
		after := sheet(t, s, "H-A").Line.Estimate
		if before.InputHash == after.InputHash {
			t.Error("the estimate does not know of the reading on the machine it sat on before")
		}
		agree(t, s)
	})
}

func TestEstimates_ManyAreLeftStaleAndMended(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		apply(t, s, depot()...)
		var cmds []register.Command
		for i := range 501 {
			cmds = append(cmds, register.AddPosition{Machine: "RT-01", Name: fmt.Sprintf("p%d", i)}, hose(""), register.Fit{
				Machine: "RT-01", Position: fmt.Sprintf("p%d", i), On: day("2024-07-02"),
			})
		}
		r := apply(t, s, cmds...)
		if r.Stale != 501 || len(r.Codes) != 501 {
			t.Fatalf("%d stale, %d codes, want 501", r.Stale, len(r.Codes))
		}
		apply(t, s, register.Inspect{Machine: "RT-01", Position: "p7", On: day("2026-11-01"), Findings: []register.NewFinding{{Number: 2, Class: life.Stop}}})
		c, err := s.Counts(ctx, now, "")
		if err != nil || c.Stale != 500 || c.Incomplete != 501 || c.Stop != 1 || c.Assemblies != 501 {
			t.Errorf("%+v, %v: want 500 stale and 1 estimated with a stop", c, err)
		}
		if r := apply(t, s, register.AddReading{Machine: "RT-01", On: day("2025-01-01"), Hours: 1000}); r.Stale != 501 {
			t.Errorf("%d stale, want 501: the machine has that many", r.Stale)
		}
		if r := apply(t, s, register.Inspect{Machine: "RT-01", Position: "p8", On: day("2026-11-02")}); r.Stale != 0 {
			t.Errorf("%d stale, want none: one inspection touches one", r.Stale)
		}
		if n, err := s.ReestimateStale(ctx, now, nil); err != nil || n != 500 {
			t.Errorf("mended %d, %v, want 500", n, err)
		}
		if n, err := s.ReestimateStale(ctx, now, nil); err != nil || n != 0 {
			t.Errorf("mended %d, %v, want none left", n, err)
		}
		agree(t, s)
	})
}

func TestEstimates_ARowComesBackAsItWasStored(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		want := storedEstimates(t, s)[:1]
		r := rand.New(rand.NewPCG(1, 2))
		f := func() *float64 { return f64(r.Float64() * 100) }
		d := func() quantity.Date { return day("2026-01-01").AddDays(r.IntN(1000)) }
		want[0] = register.Estimate{
			AssemblyID: want[0].AssemblyID, AsOf: d(), InputHash: "abc", Stale: true, RatedBar: f(), RatingConfirmed: true, Complete: true,
			Due: d(), Earliest: d(), Latest: d(), ActBy: d(), Governing: life.HeatClock, Used: f(), InspectionDue: d(), HoursNow: f(), HoursPerWeek: f(),
			StopOpen: true, CanHurt: true, Missing: register.Words{"a", "b"}, Warnings: register.Words{"c"}, Problem: "none",
		}
		if err := s.StoreEstimates(context.Background(), want); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, storedEstimates(t, s)[:1], sameDates); diff != "" {
			t.Errorf("stored (-) and read (+):\n%s", diff)
		}
	})
}

func TestReestimateAll_TellsHowFarItIsAndStopsWhenAsked(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	crowd(t, s, 2500)
	var steps []int
	n, err := s.ReestimateAll(context.Background(), now, func(done, total int) { steps = append(steps, done, total) })
	if err != nil || n != 2500 {
		t.Fatalf("%d, %v", n, err)
	}
	if d := cmp.Diff([]int{1000, 2500, 2000, 2500, 2500, 2500}, steps); d != "" {
		t.Error(d)
	}
	ctx, cancel := context.WithCancel(context.Background())
	n, err = s.ReestimateAll(ctx, now, func(int, int) { cancel() })
	if err == nil || n != 1000 {
		t.Errorf("%d estimates, %v: want to stop after one step", n, err)
	}
	agree(t, s)
}

func TestReestimateAll_NothingWrittenMeanwhileIsLost(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		crowd(t, s, 1000)
		done := make(chan error, 1)
		go func() {
			for range 3 {
				if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
		for i := range 40 {
			apply(t, s, register.AddReading{Machine: fmt.Sprintf("M-%d", i+1), On: day("2026-11-20"), Hours: 5370})
		}
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		agree(t, s)
	})
}

// A change that leaves many estimates to the job is never overtaken by a job
// that read the facts before it.
func TestReestimateAll_NeverStoresOverAMarkWhatItMadeBeforeIt(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		crowd(t, s, 3000)
		for i := range 3 {
			begun, done := make(chan bool, 3), make(chan error, 1)
			go func() {
				_, err := s.ReestimateAll(ctx, now, func(int, int) { begun <- true })
				done <- err
			}()
			<-begun // the job is at its second batch now
			apply(t, s, register.SetDuty{Kind: "refuse truck", Service: register.Service{FluidC: f64(60 + 10*float64(i)), Cycles: register.Cycles{{MaxBar: 180, Count: 30}}}})
			if err := <-done; err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.ReestimateStale(ctx, now, nil); err != nil {
			t.Fatal(err)
		}
		agree(t, s)
		kept := storedEstimates(t, s)
		if _, err := s.ReestimateAll(ctx, now, nil); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(kept, storedEstimates(t, s), sameDates); diff != "" {
			t.Errorf("estimates of older facts, not marked stale (-stored +made anew):\n%.2000s", diff)
		}
	})
}

func TestEstimates_ADayIsTheSites(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		far := time.Date(2026, 11, 25, 11, 30, 0, 0, time.UTC) // the 26th in Auckland, the 25th in Berlin, the 24th at the date line
		for i, zone := range []string{"Pacific/Auckland", "Europe/Berlin", "Etc/GMT+12"} {
			code := fmt.Sprintf("Z-%d", i)
			a := hose(code)
			a.Site = zone
			apply(t, s, register.AddSite{Name: zone, Zone: zone}, register.AddMachine{Site: zone, Code: code},
				register.AddPosition{Machine: code, Name: "lift"}, a,
				register.Fit{AssemblyCode: code, Machine: code, Position: "lift", On: day("2024-07-02")})
		}
		if _, err := s.ReestimateAll(context.Background(), far, nil); err != nil {
			t.Fatal(err)
		}
		for i, want := range []string{"2026-11-26", "2026-11-25", "2026-11-24"} {
			e := storedEstimates(t, s)[i]
			if e.AsOf != day(want) {
				t.Errorf("as of %s, want %s", e.AsOf, want)
			}
			// A hose due on the 24th: overdue, overdue, and due today.
			e.ActBy, e.StopOpen = day("2026-11-24"), false
			if err := s.StoreEstimates(context.Background(), []register.Estimate{e}); err != nil {
				t.Fatal(err)
			}
		}
		c, err := s.Counts(context.Background(), far, "")
		if err != nil || c.Overdue != 2 || c.Soon != 1 {
			t.Errorf("%+v, %v: want 2 overdue and 1 soon", c, err)
		}
		page, err := s.Lines(context.Background(), far, register.LineFilter{Status: life.StatusOverdue})
		if err != nil || page.Total != 2 || len(page.Lines) != 2 {
			t.Errorf("%d lines of %d, %v: want 2", len(page.Lines), page.Total, err)
		}
	})
}
