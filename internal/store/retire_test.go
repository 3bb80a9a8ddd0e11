package store_test

import (
	"context"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// anyhow fits what was stored too long.
func anyhow(f register.Fit) register.Fit {
	f.ReleasedBy, f.Reason = "M. Adler", "nothing else at hand"
	return f
}

func retire(on string) register.RetireMachine {
	return register.RetireMachine{Machine: "RT-01", On: day(on), Reason: "sold to a farm"}
}

func TestRetireMachine_TakesWhatSitsOnItAlong(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		story := sheet(t, s, "H-B")
		apply(t, s, retire("2026-11-24"))
		m := machine(t, s, "rt-01")
		if m.Machine.GoneOn != day("2026-11-24") || m.Machine.GoneReason != "sold to a farm" || m.Machine.Version != 2 || len(m.Lines) != 0 {
			t.Errorf("%+v, %d lines", m.Machine, len(m.Lines))
		}
		for _, code := range []string{"H-A", "H-C", "H-E"} {
			a := sheet(t, s, code)
			p := a.Placements[0]
			if a.Assembly.ScrappedOn != day("2026-11-24") || a.Status != life.StatusRemoved || a.Line != nil || len(a.Open) != 0 {
				t.Errorf("%s: %s, scrapped on %s, %d open findings", code, a.Status, a.Assembly.ScrappedOn, len(a.Open))
			}
			if p.Placement.To != day("2026-11-24") || p.Removal == nil || p.Removal.Cause != register.CausePlanned || p.Removal.FoundBy != register.FoundByEvent || p.Removal.Reason != "sold to a farm" || !p.Scrapped {
				t.Errorf("%s: %+v, removal %+v", code, p.Placement, p.Removal)
			}
		}
		if after := sheet(t, s, "H-B"); len(after.Story) != len(story.Story) || cmp.Diff(story.Assembly, after.Assembly, sameDates) != "" {
			t.Errorf("what came off before was changed: %+v", after)
		}
		if n := len(read[[]register.Estimate](t)(s.Estimates(context.Background()))); n != 0 {
			t.Errorf("%d estimates are left", n)
		}
		tally(t, s, "retiring a machine")
		refused(t, s, register.Refused, "machine", retire("2026-11-24"))
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestRetireMachine_IsOnNoListButKeepsItsPage(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		ctx := context.Background()
		apply(t, s, register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02"}, register.AddPosition{Machine: "RT-02", Name: "boom"}, retire("2026-11-24"))
		if codes := read[[]string](t)(s.MachineCodes(ctx)); slices.Contains(codes, "RT-01") || !slices.Contains(codes, "RT-02") {
			t.Errorf("machine codes %v", codes)
		}
		lines, _, err := s.MachineLines(ctx, now, register.MachineFilter{})
		if err != nil || len(lines) != 1 || lines[0].Machine.Code != "RT-02" {
			t.Errorf("machine lines %+v, %v", lines, err)
		}
		c := read[register.Counts](t)(s.Counts(ctx, now, ""))
		if c.Machines != 1 || c.Positions != 1 || c.EmptyPositions != 1 || c.Assemblies != 0 || c.Stop != 0 {
			t.Errorf("counts %+v", c)
		}
		if k := kindNow(t, s, "refuse truck"); !slices.Equal(k.Machines, []string{"RT-02"}) {
			t.Errorf("the kind's machines are %v", k.Machines)
		}
		if f := read[register.Found](t)(s.Search(ctx, now, "return", 10)); len(f.Positions) != 0 {
			t.Errorf("search finds empty places of it: %+v", f.Positions)
		}
		if p := read[register.PositionPage](t)(s.Positions(ctx, now, register.PositionFilter{})); len(p.Lines) != 1 {
			t.Errorf("%d positions are listed, want that of the other machine", len(p.Lines))
		}
		if m := machine(t, s, "RT-01"); len(m.Readings) == 0 || len(m.LayUps) == 0 {
			t.Errorf("its history is gone: %+v", m)
		}
		if p := positionNow(t, s, "RT-01", "lift left"); len(p.Placements) != 1 || p.Line != nil {
			t.Errorf("%+v", p)
		}
	})
}

func TestRetireMachine_NeedsADayThatAgreesWithWhatIsKnown(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		for _, row := range []struct{ why, on string }{
			{"the last reading was on 20 November", "2026-11-19"},
			{"long before everything", "2020-01-01"},
		} {
			t.Run(row.why, func(t *testing.T) { refused(t, s, register.Refused, "on", retire(row.on)) })
		}
		refused(t, s, register.Invalid, "on", retire("2026-11-26"))
		refused(t, s, register.NotFound, "machine", register.RetireMachine{Machine: "RT-9", On: day("2026-11-24"), Reason: "x"})
		refused(t, s, register.Invalid, "reason", register.RetireMachine{Machine: "RT-01", On: day("2026-11-24"), Reason: " "})

		// Each kind of fact by itself keeps a machine there.
		own := func(code string) []register.Command {
			return []register.Command{register.AddMachine{Site: "Depot", Code: code}, register.AddPosition{Machine: code, Name: "p"}, hose("H-" + code)}
		}
		fitted := func(code, on string) register.Fit {
			return anyhow(register.Fit{AssemblyCode: "H-" + code, Machine: code, Position: "p", On: day(on)})
		}
		for code, cmds := range map[string][]register.Command{
			"read":      {register.AddReading{Machine: "read", On: day("2026-11-10"), Hours: 10}},
			"metered":   {register.AddMeterEvent{Machine: "metered", On: day("2026-11-10"), OldEnd: 10, NewStart: 0}},
			"laid-up":   {register.AddLayUp{Machine: "laid-up", From: day("2026-11-10"), To: day("2026-11-12")}},
			"fitted":    {fitted("fitted", "2026-11-10")},
			"removed":   {fitted("removed", "2026-10-10"), register.Remove{AssemblyCode: "H-removed", On: day("2026-11-10"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent}},
			"inspected": {fitted("inspected", "2026-10-10"), register.Inspect{Machine: "inspected", Position: "p", On: day("2026-11-10"), By: "N. Ott"}},
		} {
			apply(t, s, append(own(code), cmds...)...)
			refused(t, s, register.Refused, "on", register.RetireMachine{Machine: code, On: day("2026-11-09"), Reason: "sold"})
			apply(t, s, register.RetireMachine{Machine: code, On: day("2026-11-10"), Reason: "sold"})
		}
		freshAfter(t, s, "retiring several")
		tally(t, s, "retiring several")
	})
}

func TestRetireMachine_NothingHappensOnItAfterwards(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		seats := idsOf(t, s, "SELECT id FROM positions ORDER BY id")
		apply(t, s, hose("H-N"), register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: "RT-02"}, retire("2026-11-22"))
		m := machine(t, s, "RT-01")
		other := m.Machine
		other.GoneOn = day("2026-11-23")
		for _, row := range []struct {
			why   string
			code  register.Code
			field string
			cmd   register.Command
		}{
			{"nothing is fitted", register.Refused, "on", fit("H-N", "lift left", "2026-11-23")},
			{"nothing stays fitted", register.Refused, "on", fit("H-N", "lift left", "2026-11-22")},
			{"nothing is read", register.Refused, "on", register.AddReading{Machine: "RT-01", On: day("2026-11-23"), Hours: 1980}},
			{"no meter is replaced", register.Refused, "on", register.AddMeterEvent{Machine: "RT-01", On: day("2026-11-23"), OldEnd: 1980, NewStart: 0}},
			{"it is not laid up", register.Refused, "from", register.AddLayUp{Machine: "RT-01", From: day("2026-11-23")}},
			{"nothing is inspected", register.Refused, "on", register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-23")}},
			{"it is not worked", register.Refused, "from", register.SetConditions{Machine: "RT-01", From: day("2026-11-23"), Basis: register.Assumed, Service: hard()}},
			{"nor is one of its circuits", register.Refused, "from", register.SetConditions{Machine: "RT-01", Circuit: "lift", From: day("2026-11-23"), Basis: register.Assumed, Service: hard()}},
			{"nor one of its positions", register.Refused, "from", register.SetConditions{Machine: "RT-01", Position: "return", From: day("2026-11-23"), Basis: register.Assumed, Service: hard()}},
			{"nor many", register.Refused, "machine", register.SetConditionsAt{Positions: seats, From: day("2026-11-23"), Basis: register.Assumed, Service: hard()}},
			{"no position is added", register.Refused, "machine", register.AddPosition{Machine: "RT-01", Name: "new"}},
			{"no circuit is added", register.Refused, "machine", register.AddCircuit{Machine: "RT-01", Name: "new"}},
			{"no position is copied to it", register.Refused, "machine", register.CopyPositions{Machine: "RT-01", From: "RT-02"}},
			{"its positions are not ordered", register.Refused, "machine", register.OrderPositions{Machine: "RT-01", Names: []string{"return"}}},
			{"its positions are not changed with others", register.Refused, "machine", register.ChangePositions{Positions: seats, CanHurt: yes()}},
			{"it is not changed with others", register.Refused, "machine", register.ChangeMachines{Machines: []int64{m.Machine.ID}, CanHurt: yes()}},
			{"its positions do not end after it", register.Refused, "on", register.RetirePosition{Machine: "RT-01", Position: "return", On: day("2026-11-23"), Reason: "x"}},
			{"it does not leave on another day by a change", register.Invalid, "gone_on", register.ChangeMachine{Machine: other}},
		} {
			t.Run(row.why, func(t *testing.T) { refused(t, s, row.code, row.field, row.cmd) })
		}
		// What lies before it may still be noted.
		apply(t, s,
			register.AddReading{Machine: "RT-01", On: day("2026-11-22"), Hours: 1978},
			register.SetConditions{Machine: "RT-01", From: day("2026-01-01"), Basis: register.Assumed, Service: hard()},
			register.CopyPositions{Machine: "RT-02", From: "RT-01"})
		if got := seatsOf(t, s, "RT-02"); got == "" {
			t.Error("its positions cannot be copied any more")
		}
	})
}

func TestChangeMachine_OneThatIsBackIsInTheFleetAgain(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		m := machine(t, s, "RT-01").Machine
		m.GoneOn = day("2026-11-24")
		refused(t, s, register.Invalid, "gone_on", register.ChangeMachine{Machine: m})
		apply(t, s, retire("2026-11-22"))
		m = machine(t, s, "RT-01").Machine
		m.Name = "renamed"
		apply(t, s, register.ChangeMachine{Machine: m})
		if m = machine(t, s, "RT-01").Machine; m.GoneOn != day("2026-11-22") || m.Name != "renamed" {
			t.Errorf("%+v: want it renamed and gone still", m)
		}
		m.GoneOn, m.GoneReason = register.Machine{}.GoneOn, "left over"
		apply(t, s, register.ChangeMachine{Machine: m}, register.AddReading{Machine: "RT-01", On: day("2026-11-23"), Hours: 1980})
		if m = machine(t, s, "RT-01").Machine; !m.GoneOn.IsZero() || m.GoneReason != "" {
			t.Errorf("%+v: want it back", m)
		}
		if a := sheet(t, s, "H-A").Assembly; a.ScrappedOn.IsZero() {
			t.Error("what was scrapped with it came back")
		}
		tally(t, s, "taking it back")
	})
}

func TestRetirePosition_OnlyAnEmptyOneEnds(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		end := func(name, on string) register.RetirePosition {
			return register.RetirePosition{Machine: "RT-01", Position: name, On: day(on), Reason: "rebuilt"}
		}
		refused(t, s, register.Refused, "position", end("lift left", "2026-11-24"))
		refused(t, s, register.NotFound, "position", end("nowhere", "2026-11-24"))
		apply(t, s,
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-05"), By: "N. Ott"},
			register.Remove{AssemblyCode: "H-A", On: day("2026-11-10"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent})
		refused(t, s, register.Refused, "on", end("lift left", "2026-11-09"))
		refused(t, s, register.Invalid, "on", end("lift left", "2026-11-26"))
		apply(t, s, end("LIFT left", "2026-11-10"))
		p := positionNow(t, s, "RT-01", "lift left")
		if p.Position.GoneOn != day("2026-11-10") || p.Position.GoneReason != "rebuilt" || p.Position.Version != 2 || len(p.Placements) != 1 {
			t.Errorf("%+v", p.Position)
		}
		for _, e := range machine(t, s, "RT-01").Empty {
			if e.Name == "lift left" {
				t.Error("it is listed as empty")
			}
		}
		refused(t, s, register.Refused, "position", end("lift left", "2026-11-12"))
		refused(t, s, register.Refused, "on", fit("H-D", "lift left", "2026-11-12"))
		refused(t, s, register.Refused, "on", register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-12")})
		refused(t, s, register.Refused, "from", register.SetConditions{Machine: "RT-01", Position: "lift left", From: day("2026-11-12"), Basis: register.Assumed, Service: hard()})
		refused(t, s, register.Refused, "positions", register.SetConditionsAt{Positions: []int64{p.Position.ID}, From: day("2026-11-12"), Basis: register.Assumed, Service: hard()})
		refused(t, s, register.Refused, "positions", register.ChangePositions{Positions: []int64{p.Position.ID}, CanHurt: yes()})
		refused(t, s, register.Exists, "name", register.AddPosition{Machine: "RT-01", Name: "lift left"})
		c := read[register.Counts](t)(s.Counts(context.Background(), now, ""))
		if c.Positions != 2 || c.EmptyPositions != 0 {
			t.Errorf("counts %+v, want the two that are left", c)
		}
		tally(t, s, "ending a position")
		row := p.Position
		row.GoneOn = register.Position{}.GoneOn // it was a mistake
		apply(t, s, register.ChangePosition{Position: row}, anyhow(fit("H-D", "lift left", "2026-11-12")))
		row = positionNow(t, s, "RT-01", "lift left").Position
		row.GoneOn = day("2026-11-24")
		refused(t, s, register.Invalid, "gone_on", register.ChangePosition{Position: row})
		freshAfter(t, s, "ending a position and taking it back")
		tally(t, s, "ending a position and taking it back")
	})
}
