package server_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// storied is a register with one of everything that can be corrected.
func storied(t *testing.T) *site {
	t.Helper()
	s := worn(t)
	fluid := 60.5
	s.apply(
		register.AddPosition{Machine: "RT-01", Name: "steering"},
		register.AddReading{Machine: "RT-01", On: day("2026-01-10"), Hours: 100.25, Source: "page"},
		register.AddMeterEvent{Machine: "RT-01", On: day("2026-03-01"), OldEnd: 250.5, NewStart: 0},
		register.AddLayUp{Machine: "RT-01", From: day("2026-05-01"), Reason: "winter"},
		register.SetConditions{Machine: "RT-01", From: day("2024-03-01"), Basis: register.Assumed, Note: "a guess", Service: register.Service{
			FluidC: &fluid, Cycles: register.Cycles{{MinBar: 0, MaxBar: 180.5, Count: 30}},
		}},
	)
	return s
}

func (s *site) machineSheet() register.MachineSheet {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(s.t.Context(), now, "RT-01")
	if err != nil {
		s.t.Fatal(err)
	}
	return sheet
}

// correctable are the addresses of the forms for one of everything.
func (s *site) correctable() map[register.Thing]string {
	m, a := s.machineSheet(), s.sheet("H-000001")
	return map[register.Thing]string{
		register.ThingPlacement: fmt.Sprintf("/correct/placements/%d", a.Placements[0].Placement.ID), register.ThingReading: fmt.Sprintf("/correct/readings/%d", m.Readings[len(m.Readings)-1].ID),
		register.ThingMeterEvent: fmt.Sprintf("/correct/meter_events/%d", m.MeterEvents[0].ID), register.ThingLayUp: fmt.Sprintf("/correct/lay_ups/%d", m.LayUps[0].ID),
		register.ThingConditions: fmt.Sprintf("/correct/conditions/%d", m.Conditions[0].ID), register.ThingInspection: fmt.Sprintf("/correct/inspections/%d", a.Inspections[0].ID),
		register.ThingFinding: fmt.Sprintf("/correct/findings/%d", a.Findings[0].ID),
	}
}

// said is values in a row, with a space between them.
func said(values ...any) string { return strings.TrimSpace(fmt.Sprintln(values...)) }

func TestCorrect_EachThingByItsForm(t *testing.T) {
	for _, c := range []struct {
		thing  register.Thing
		over   []string
		to     string
		is     func(s *site) any
		should any
	}{
		{
			register.ThingPlacement,
			[]string{"fitted", "2024-03-05", "fitted_hours", "12,5"},
			"/assemblies/H-000001",
			func(s *site) any {
				p := s.sheet("H-000001").Placements[0].Placement
				return said(p.From, *p.FromHours)
			}, "2024-03-05 12.5",
		},
		{register.ThingPlacement, []string{"position", "steering"}, "/assemblies/H-000001", func(s *site) any { return s.sits("RT-01", "steering") }, "H-000001"},
		{
			register.ThingPlacement,
			[]string{"sits", "off", "off_on", "2026-11-24", "cause", "heat", "found_by", "inspection", "seen", "charred", "scrapped", "yes"},
			"/assemblies/H-000001",
			func(s *site) any {
				a := s.sheet("H-000001")
				return said(a.Status, a.Placements[0].Removal.Cause, a.Placements[0].Removal.Seen, len(a.Open))
			}, said(life.StatusRemoved, register.CauseHeat, "charred", 0),
		},
		{register.ThingReading, []string{"hours", "101"}, "/machines/RT-01", func(s *site) any { r := s.machineSheet().Readings; return r[len(r)-1].Hours }, 101.0},
		{register.ThingReading, []string{"disputed", "yes"}, "/machines/RT-01", func(s *site) any {
			r := s.machineSheet().Readings
			return said(r[len(r)-1].Disputed, r[len(r)-1].Hours)
		}, "true 100.25"},
		{register.ThingMeterEvent, []string{"old_end", "260"}, "/machines/RT-01", func(s *site) any { e := s.machineSheet().MeterEvents[0]; return said(e.OldEnd, e.NewStart) }, "260 0"},
		{register.ThingLayUp, []string{"to", "2026-06-01", "lay_up_reason", "repair"}, "/machines/RT-01", func(s *site) any { l := s.machineSheet().LayUps[0]; return said(l.To, l.Reason) }, "2026-06-01 repair"},
		{register.ThingConditions, []string{"fluid", "70 °C", "basis", "measured"}, "/machines/RT-01", func(s *site) any {
			k := s.machineSheet().Conditions[0]
			return said(*k.FluidC, k.Cycles[0].MaxBar, k.Basis, k.Note)
		}, "70 180.5 measured a guess"},
		{register.ThingInspection, []string{"on", "2026-11-18", "by", "K. Lind"}, "/machines/RT-01", func(s *site) any {
			a := s.sheet("H-000001")
			return said(a.Inspections[0].On, a.Inspections[0].By, a.Findings[0].SeenOn)
		}, "2026-11-18 K. Lind 2026-11-18"},
		{register.ThingFinding, []string{"class", "replace", "place", "end B", "act", "2026-12-20"}, "", func(s *site) any { f := s.sheet("H-000001").Findings[0]; return said(f.Class, f.Place, f.ActBy) }, "replace end B 2026-12-20"},
	} {
		t.Run(string(c.thing)+" "+c.over[0], func(t *testing.T) {
			s := storied(t)
			path := s.correctable()[c.thing]
			page := testkit.HTML(t, want(t, s.get(path), 200).Body)
			checkNames(t, path, page)
			testkit.HTML(t, want(t, s.post(path, typed(t, page, append(c.over, "reason", "")...)...), 422).Body, testkit.In("#reason-error", testkit.Text("Say why")))
			resp := s.told(path, s.post(path, typed(t, page, append(c.over, "reason", "misread")...)...))
			want(t, resp, http.StatusSeeOther)
			if to := resp.Header.Get("Location"); c.to != "" && to != c.to+"?done=corrected" {
				t.Errorf("sent on to %s", to)
			}
			if got := c.is(s); got != c.should {
				t.Errorf("is %v, want %v", got, c.should)
			}
		})
	}
}

// A form that is opened and saved changes nothing: not a digit, not a date.
func TestCorrect_SavedUntouchedItStaysTheSame(t *testing.T) {
	s := storied(t)
	machine, hose := s.machineSheet(), s.sheet("H-000001")
	for thing, path := range s.correctable() {
		want(t, s.told(path, s.fill(path, "reason", "looked again")), http.StatusSeeOther)
		m, h := s.machineSheet(), s.sheet("H-000001")
		r, was := m.Readings[len(m.Readings)-1], machine.Readings[len(machine.Readings)-1]
		if r.Hours != was.Hours || r.On != was.On || m.MeterEvents[0].OldEnd != machine.MeterEvents[0].OldEnd || m.LayUps[0].From != machine.LayUps[0].From ||
			*m.Conditions[0].FluidC != 60.5 || m.Conditions[0].Cycles[0] != machine.Conditions[0].Cycles[0] || m.Conditions[0].Basis != machine.Conditions[0].Basis ||
			h.Placements[0].Placement.From != hose.Placements[0].Placement.From || h.Findings[0].Class != hose.Findings[0].Class || h.Inspections[0].Verdict != hose.Inspections[0].Verdict {
			t.Errorf("%s: something changed", thing)
		}
	}
}

func TestCorrect_WhatIsWrongIsToldAtItsField(t *testing.T) {
	s := storied(t)
	paths := s.correctable()
	for _, c := range []struct {
		thing    register.Thing
		over     []string
		id, says string
	}{
		{register.ThingReading, []string{"hours", ""}, "hours-error", "Give what the hour meter shows"},
		{register.ThingReading, []string{"hours", "-3"}, "hours-error", ""},
		{register.ThingReading, []string{"on", "2026-12-24"}, "on-error", "still to come"},
		{register.ThingReading, []string{"hours", "99999"}, "hours-error", ""},
		{register.ThingMeterEvent, []string{"new_start", "x"}, "new_start-error", "x"},
		{register.ThingLayUp, []string{"to", "2026-04-01"}, "to-error", "not after its beginning"},
		{register.ThingConditions, []string{"fluid", "900 °C"}, "fluid-error", ""},
		{register.ThingInspection, []string{"on", ""}, "on-error", "Give the day"},
		{register.ThingFinding, []string{"kind", "0", "note", ""}, "note-error", "in your own words"},
		{register.ThingFinding, []string{"kind", "99"}, "kind-error", "from the list"},
		{register.ThingPlacement, []string{"fitted", ""}, "fitted-error", "Give the day it was fitted"},
		{register.ThingPlacement, []string{"fitted", "2026-11-24"}, "problems", ""}, // after its inspection
		{register.ThingPlacement, []string{"position", "nowhere"}, "position-error", "nowhere"},
		{register.ThingPlacement, []string{"machine", "NONE"}, "machine-error", "NONE"},
		{register.ThingPlacement, []string{"off_on", "2026-11-24"}, "sits-error", "You gave a day it came off"},
		{register.ThingPlacement, []string{"sits", "off"}, "off_on-error", "Give the day it came off"},
		{register.ThingPlacement, []string{"sits", "off", "off_on", "2026-11-24"}, "cause-error", "Say why it came off"},
		{register.ThingPlacement, []string{"sits", "off", "off_on", "2023-01-01", "cause", "heat", "found_by", "event"}, "off_on-error", ""},
	} {
		t.Run(string(c.thing)+" "+fmt.Sprint(c.over), func(t *testing.T) {
			before := changes(t, s)
			testkit.HTML(t, want(t, s.told(paths[c.thing], s.fill(paths[c.thing], append(c.over, "reason", "misread")...)), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
			if changes(t, s) != before {
				t.Error("something was saved")
			}
		})
	}
}

func TestCorrect_TakenBack(t *testing.T) {
	for _, c := range []struct {
		thing register.Thing
		gone  func(s *site) bool
	}{
		{register.ThingReading, func(s *site) bool { return len(s.machineSheet().Readings) == 0 }},
		{register.ThingLayUp, func(s *site) bool { return len(s.machineSheet().LayUps) == 0 }},
		{register.ThingConditions, func(s *site) bool { return len(s.machineSheet().Conditions) == 0 }},
		{register.ThingMeterEvent, func(s *site) bool { return len(s.machineSheet().MeterEvents) == 0 }},
		{register.ThingInspection, func(s *site) bool { return len(s.sheet("H-000001").Inspections) == 0 }},
		{register.ThingFinding, func(s *site) bool { return len(s.sheet("H-000001").Findings) == 0 }},
	} {
		t.Run(string(c.thing), func(t *testing.T) {
			s := storied(t)
			path := s.correctable()[c.thing] + "?do=back"
			want(t, s.fill(path), 422)
			if c.gone(s) {
				t.Fatal("taken back without a reason")
			}
			form := typed(t, testkit.HTML(t, want(t, s.get(path), 200).Body), "reason", "never was")
			resp := want(t, s.post(path, form...), http.StatusSeeOther)
			if !c.gone(s) {
				t.Error("it is there still")
			}
			after := changes(t, s)
			if again := want(t, s.post(path, form...), http.StatusSeeOther); again.Header.Get("Location") != resp.Header.Get("Location") || changes(t, s) != after {
				t.Error("taken back twice")
			}
			want(t, s.get(resp.Header.Get("Location")), 200)
		})
	}
}

func TestCorrect_APlacementThatIsBuiltUponIsNotTakenBack(t *testing.T) {
	s := storied(t)
	path := s.correctable()[register.ThingPlacement] + "?do=back"
	testkit.HTML(t, want(t, s.fill(path, "reason", "never was"), 422).Body, testkit.Has("#problems li"))
	if s.sits("RT-01", "lift") != "H-000001" {
		t.Error("it was taken back")
	}
}

func TestCorrect_ARemovalTakenBackPutsItWhereItSat(t *testing.T) {
	s := worn(t)
	want(t, s.told(removePath, s.fill(removePath, "cause", "heat", "found_by", "inspection", "went", "scrapped")), 303)
	path := fmt.Sprintf("/correct/placements/%d", s.sheet("H-000001").Placements[0].Placement.ID)
	page := testkit.HTML(t, want(t, s.get(path), 200).Body)
	var back string
	for _, a := range testkit.Find(page, "main a") {
		if testkit.TextOf(a) == "It never came off: take its removal back" {
			back = testkit.AttrOf(a, "href")
		}
	}
	s.wentTo(s.fill(back, "reason", "the wrong hose"), "/assemblies/H-000001?done=taken-back")
	if s.sits("RT-01", "lift") != "H-000001" || len(s.sheet("H-000001").Open) != 1 {
		t.Error("it does not sit there with its finding open")
	}
	want(t, s.get(back), 404)
}

// Two correct one reading: what only the other changed is taken over.
func TestCorrect_TwoAtOnce(t *testing.T) {
	s := storied(t)
	path := s.correctable()[register.ThingReading]
	page := testkit.HTML(t, want(t, s.get(path), 200).Body)
	want(t, s.told(path, s.fill(path, "hours", "120", "reason", "theirs")), 303)
	resp := want(t, s.post(path, typed(t, page, "hours", "110", "note", "mine", "reason", "mine")...), 422)
	testkit.HTML(t, resp.Body, testkit.In("section[aria-labelledby=both-h]", testkit.Text("Theirs: 120"), testkit.Text("110")))
	page = testkit.HTML(t, want(t, s.get(path+"?do=back"), 200).Body)
	want(t, s.told(path, s.fill(path, "hours", "130", "reason", "theirs again")), 303)
	testkit.HTML(t, want(t, s.post(path+"?do=back", typed(t, page, "reason", "x")...), 422).Body, testkit.In("#problems", testkit.Text("Somebody else changed this")))
}

func TestCorrect_NoSuchThing(t *testing.T) {
	s := storied(t)
	for _, path := range []string{"/correct/readings/99999", "/correct/readings/x", "/correct/readings/-1", "/correct/policies/1", "/correct/people/1", "/correct/assemblies/1", "/correct/removals/99999", "/correct/..%2freadings/1", "/findings/99999", "/findings/x"} {
		want(t, s.get(path), 404)
		want(t, s.post(path, "reason", "x"), 404)
	}
}

func TestFinding_TickReleaseAndClass(t *testing.T) {
	s := worn(t)
	s.apply(register.Inspect{Machine: "RT-01", Position: "lift", On: day("2026-11-21"), Findings: []register.NewFinding{{Number: 15, Class: life.Correct}}})
	var stop, clamp string
	for _, f := range s.sheet("H-000001").Open {
		path := fmt.Sprintf("/findings/%d", f.ID)
		if f.Class == life.Stop {
			stop = path
		} else {
			clamp = path
		}
		testkit.HTML(t, want(t, s.get("/assemblies/H-000001"), 200).Body, testkit.Has("a[href="+path+"]"))
	}
	page := testkit.HTML(t, want(t, s.get(stop), 200).Body, testkit.HasNot("#done_on"), testkit.In("main", testkit.Text("Only a finding of class correct is ticked done")))
	checkNames(t, stop, page)
	checkNames(t, clamp, testkit.HTML(t, want(t, s.get(clamp), 200).Body, testkit.Has("#done_on")))
	for _, c := range []struct {
		path     string
		pairs    []string
		id, says string
	}{
		{stop, []string{"do", "done"}, "problems", "Only a finding of class correct"},
		{stop, []string{"do", "release", "release_by", "K. Lind"}, "release_reason-error", "Say why"},
		{stop, []string{"do", "release", "release_reason", "it holds"}, "release_by-error", "Say who"},
		{stop, []string{"do", "class", "class", "watch"}, "class_reason-error", "Say why"},
		{stop, []string{"do", "class", "class", "stop", "class_reason", "x"}, "class-error", "has this class already"},
		{stop, []string{"do", "class", "class", "fine", "class_reason", "x"}, "class-error", ""},
		{stop, []string{"do", "explode"}, "problems", "Choose what is to be done"},
		{clamp, []string{"do", "done", "done_on", "2026-12-24"}, "done_on-error", "still to come"},
		{clamp, []string{"do", "done", "done_on", "2026-11-01"}, "done_on-error", "seen on 2026-11-21"},
		{clamp, []string{"do", "done", "version", "99"}, "problems", "Somebody else changed"},
	} {
		before := changes(t, s)
		testkit.HTML(t, want(t, s.post(c.path, c.pairs...), 422).Body, testkit.In("#"+c.id, testkit.Text(c.says)))
		if changes(t, s) != before {
			t.Errorf("%v: something was saved", c.pairs)
		}
	}
	s.wentTo(s.post(clamp, "do", "done", "done_note", "new clamp"), clamp+"?done=finding-done")
	s.wentTo(s.post(stop, "do", "class", "class", "replace", "class_reason", "K. Lind: cover only"), stop+"?done=finding-changed")
	page = s.wentTo(s.post(stop, "do", "release", "release_by", "K. Lind", "release_reason", "measured, sound"), stop+"?done=finding-released")
	if err := testkit.In("main", testkit.Text("released by K. Lind: measured, sound"))(page); err != nil {
		t.Error(err)
	}
	if open := s.sheet("H-000001").Open; len(open) != 0 {
		t.Errorf("open %+v", open)
	}
}

func TestCorrect_ConditionsOfOnePositionAreLinkedFromItsHose(t *testing.T) {
	s := storied(t)
	work := 210.0
	s.apply(register.SetConditions{Machine: "RT-01", Position: "lift", From: day("2024-06-01"), Basis: register.Measured, Service: register.Service{WorkingBar: &work}})
	var path string
	for _, row := range testkit.Find(testkit.HTML(t, want(t, s.get("/assemblies/H-000001"), 200).Body), "main tr") {
		if strings.Contains(testkit.TextOf(row), "How this position is worked") {
			path = testkit.AttrOf(testkit.Find(row, "a")[0], "href")
		}
	}
	want(t, s.told(path, s.fill(path, "working", "190 bar", "reason", "read the wrong gauge")), 303)
	at, err := s.store.PositionSheet(t.Context(), now, "RT-01", "lift")
	if err != nil || len(at.Conditions) != 1 || *at.Conditions[0].WorkingBar != 190 {
		t.Errorf("%+v %v", at.Conditions, err)
	}
}

// The machine's and the assembly's pages lead to every form.
func TestCorrect_EveryFormIsLinked(t *testing.T) {
	s := storied(t)
	linked := map[string]bool{}
	for _, path := range []string{"/machines/RT-01", "/assemblies/H-000001"} {
		for _, a := range testkit.Find(testkit.HTML(t, want(t, s.get(path), 200).Body), "main a") {
			linked[testkit.AttrOf(a, "href")] = true
		}
	}
	for thing, path := range s.correctable() {
		if thing == register.ThingFinding { // by the page of the finding
			path = fmt.Sprintf("/findings/%d", s.sheet("H-000001").Findings[0].ID)
		}
		if !linked[path] {
			t.Errorf("no link to %s", path)
		}
	}
	for _, path := range []string{swapPath, removePath, foundPath, "/assemblies/H-000001/move", "/assemblies/H-000001/edit"} {
		if !linked[path] {
			t.Errorf("no link to %s", path)
		}
	}
}
