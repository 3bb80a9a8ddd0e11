package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

func isRefusal(err error, code register.Code) bool {
	return errors.Is(err, &register.Error{Code: code})
}

// seatsOf are the positions of a machine that are empty, in walking order, in
// words.
func seatsOf(t *testing.T, s *store.Store, code string) string {
	t.Helper()
	var out []string
	for _, p := range machine(t, s, code).Empty {
		at := positionNow(t, s, code, p.Name)
		out = append(out, fmt.Sprintf("%d %s/%s%s", p.WalkOrder, p.Name, at.Circuit, map[bool]string{true: " hurts"}[p.CanHurt]))
	}
	return strings.Join(out, ", ")
}

func sister() []register.Command {
	return []register.Command{
		register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02"},
		register.AddPosition{Machine: "RT-02", Name: "own", WalkOrder: 7},
		register.AddPosition{Machine: "RT-02", Name: "Lift Left", Note: "not as on the other"},
	}
}

func TestCopyPositions_AddsWhatTheMachineLacks(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddPosition{
			Machine: "RT-01", Circuit: "steering", Name: "all of it", CanHurt: true, Exposed: true, Twisted: true, Policy: "night shift",
			LengthMM: f64(800), BendMM: f64(130), StraightMM: f64(40), Note: "behind the axle",
		}, register.AddPosition{Machine: "RT-01", Name: "gone"},
			register.RetirePosition{Machine: "RT-01", Position: "gone", On: day("2026-11-01"), Reason: "rebuilt"})
		apply(t, s, sister()...)
		apply(t, s, register.CopyPositions{Machine: "RT-02", From: "rt-01"})
		if got, want := seatsOf(t, s, "RT-02"), "7 own/, 8 Lift Left/, 9 lift right/lift hurts, 10 return/, 11 all of it/steering hurts"; got != want {
			t.Errorf("%s\nwant %s", got, want)
		}
		from, to := positionNow(t, s, "RT-01", "all of it").Position, positionNow(t, s, "RT-02", "all of it").Position
		if !to.Exposed || !to.Twisted || *to.PolicyID != *from.PolicyID || *to.LengthMM != 800 || *to.BendMM != 130 || *to.StraightMM != 40 || to.Note != from.Note || to.Version != 1 {
			t.Errorf("%+v", to)
		}
		if *to.CircuitID == *from.CircuitID {
			t.Error("the circuit is the other machine's")
		}
		if n := len(positionNow(t, s, "RT-02", "return").Conditions); n != 0 {
			t.Errorf("%d rows of conditions were copied without asking", n)
		}
		n := counts(t, s)["changes"]
		apply(t, s, register.CopyPositions{Machine: "RT-02", From: "RT-01"})
		if counts(t, s)["changes"] != n {
			t.Error("copying again added something")
		}
		refused(t, s, register.NotFound, "from", register.CopyPositions{Machine: "RT-02", From: "RT-99"})
		refused(t, s, register.NotFound, "machine", register.CopyPositions{Machine: "RT-99", From: "RT-01"})
		refused(t, s, register.Invalid, "from", register.CopyPositions{Machine: "RT-02", From: "rt-02"})
	})
}

func TestCopyPositions_ANewMachineStartsFromItsKindOrASister(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s,
			register.AddKindPosition{Kind: "refuse truck", Position: register.KindPosition{Name: "steering", Circuit: "Steer", WalkOrder: 3, CanHurt: true, Exposed: true, LengthMM: f64(420), Note: "short"}},
			register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-03"}, register.CopyPositions{Machine: "RT-03"},
			register.AddPosition{Machine: "RT-03", Circuit: "steer", Name: "later in the same list"},
			register.AddMachine{Site: "Depot", Code: "RT-04"}, register.CopyPositions{Machine: "RT-04", From: "RT-01"},
			hose("H-Z"), anyhow(register.Fit{AssemblyCode: "H-Z", Machine: "RT-03", Position: "steering", On: day("2026-11-01")}))
		if got, want := seatsOf(t, s, "RT-03"), "1 lift left/lift, 4 later in the same list/Steer"; got != want {
			t.Errorf("%s, want %s", got, want)
		}
		p := positionNow(t, s, "RT-03", "steering")
		if !p.Position.CanHurt || !p.Position.Exposed || *p.Position.LengthMM != 420 || p.Position.Note != "short" || p.Line == nil || p.Line.AssemblyCode != "H-Z" {
			t.Errorf("%+v, line %+v", p.Position, p.Line)
		}
		if got, want := seatsOf(t, s, "RT-04"), "1 lift left/lift, 2 lift right/lift hurts, 3 return/"; got != want {
			t.Errorf("%s, want %s", got, want)
		}
		refused(t, s, register.Refused, "from", register.CopyPositions{Machine: "RT-04"})
	})
}

func TestCopyPositions_WorkedAsTheOtherIsAnAssumption(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s,
			register.SetConditions{Machine: "RT-01", From: day("2024-01-01"), Basis: register.Measured, Note: "logged in May", Service: register.Service{FluidC: f64(66)}},
			register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Measured, Service: register.Service{FluidC: f64(71)}})
		apply(t, s, sister()...)
		apply(t, s, register.CopyPositions{Machine: "RT-02", From: "RT-01", Worked: true})
		m := machine(t, s, "RT-02")
		all := m.Conditions
		for _, name := range []string{"lift right", "return", "Lift Left"} {
			all = append(all, positionNow(t, s, "RT-02", name).Conditions...)
		}
		var got []string
		for _, c := range all {
			what := fmt.Sprintf("%v %v %d", c.FluidC != nil, c.NoCycles != nil, len(c.Temperatures))
			got = append(got, strings.Join([]string{string(c.Level), c.From.String(), string(c.Basis), c.Note, what}, " | "))
		}
		want := []string{
			"machine | 2026-01-01 | assumed | as on RT-01 | true false 0",
			"machine | 2024-01-01 | assumed | as on RT-01: logged in May | true false 0",
			"circuit | 2025-01-01 | assumed | as on RT-01 | false false 2",
			"position | 2024-07-02 | assumed | as on RT-01 | false true 0",
		}
		if strings.Join(got, "\n") != strings.Join(want, "\n") {
			t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		for _, c := range machine(t, s, "RT-01").Conditions {
			if c.Basis != register.Measured || c.Version != 1 {
				t.Errorf("the other machine's own row is %+v now", c)
			}
		}
	})
}

// What is said of the machine itself is better than what holds of another.
func TestCopyPositions_LeavesWhatIsSaidOfTheMachineItself(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Measured, Service: register.Service{FluidC: f64(71)}})
		apply(t, s, sister()...)
		apply(t, s, register.SetConditions{Machine: "RT-02", From: day("2020-01-01"), Basis: register.Measured, Service: register.Service{FluidC: f64(50)}})
		apply(t, s, hose("H-Y"), anyhow(register.Fit{AssemblyCode: "H-Y", Machine: "RT-02", Position: "Lift Left", On: day("2026-11-01")}))
		apply(t, s, register.CopyPositions{Machine: "RT-02", From: "RT-01", Worked: true})
		for _, c := range machine(t, s, "RT-02").Conditions {
			if c.Level == register.AtMachine && (*c.FluidC != 50 || c.Basis != register.Measured) {
				t.Errorf("%+v, want the machine's own row alone", c)
			}
		}
		freshAfter(t, s, "copying how another is worked")
	})
}

func TestPositionSheet_TellsAllOfAPosition(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		p := positionNow(t, s, "rt-01", "LIFT right")
		if p.Machine.Code != "RT-01" || p.Site.Name != "Depot" || p.Today != day("2026-11-25") || p.Circuit != "lift" || p.Policy != "" {
			t.Errorf("%+v", p)
		}
		if p.Line == nil || p.Line.AssemblyCode != "H-E" || len(p.Placements) != 2 || p.Placements[0].AssemblyCode != "H-E" || p.Placements[1].Removal.Cause != register.CausePressure || !p.Placements[1].Scrapped {
			t.Errorf("line %+v, placements %+v", p.Line, p.Placements)
		}
		levels := map[register.Level]bool{}
		for _, v := range p.Service {
			levels[v.Level] = true
		}
		if !levels[register.AtCircuit] || !levels[register.AtKind] {
			t.Errorf("service %+v, want what its circuit and its kind say", p.Service)
		}
		if p := positionNow(t, s, "RT-01", "return"); p.Policy != "night shift" || len(p.Conditions) != 1 || p.Circuit != "" {
			t.Errorf("%+v", p)
		}
		for _, c := range []struct{ machine, name string }{{"RT-99", "x"}, {"RT-01", "nowhere"}} {
			if _, err := s.PositionSheet(context.Background(), now, c.machine, c.name); !isRefusal(err, register.NotFound) {
				t.Errorf("%v: %v", c, err)
			}
		}
	})
}
