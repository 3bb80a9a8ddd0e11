package store_test

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit/marked"
)

// personAt adds a person with a role at a site, or at all where site is 0, and
// is who they are when they make changes.
func personAt(t *testing.T, s *store.Store, role register.Role, siteID int64) register.Actor {
	t.Helper()
	var id int64
	name := fmt.Sprint(role, " of ", siteID)
	if err := s.Raw().QueryRow("INSERT INTO people (name) VALUES ('" + name + "') RETURNING id").Scan(&id); err != nil {
		t.Fatal(err)
	}
	at := "NULL"
	if siteID != 0 {
		at = fmt.Sprint(siteID)
	}
	if _, err := s.Raw().Exec(fmt.Sprintf("INSERT INTO person_roles (person_id, site_id, role) VALUES (%d, %s, '%s')", id, at, role)); err != nil {
		t.Fatal(err)
	}
	return register.Actor{PersonID: id, Origin: register.FromPage}
}

// also gives a person another role.
func also(t *testing.T, s *store.Store, by register.Actor, role register.Role, siteID int64) {
	t.Helper()
	if _, err := s.Raw().Exec(fmt.Sprintf("INSERT INTO person_roles (person_id, site_id, role) VALUES (%d, %d, '%s')", by.PersonID, siteID, role)); err != nil {
		t.Fatal(err)
	}
}

// Rows of birch that commands name by number.
type numbered struct {
	machine  register.MachineSheet
	place    register.PositionSheet
	hose     register.AssemblySheet
	stored   register.AssemblySheet
	came     register.AssemblySheet // off, so with a removal
	site     register.Site
	kind     register.KindSheet
	policies []register.Policy
}

func numbersOf(t *testing.T, s *store.Store, at marked.Site) numbered {
	t.Helper()
	ctx := context.Background()
	var n numbered
	var err error
	must := func() {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	n.machine, err = s.MachineSheet(ctx, now, at.Machine())
	must()
	n.place, err = s.PositionSheet(ctx, now, at.Machine(), at.Position())
	must()
	n.hose, err = s.AssemblySheet(ctx, now, at.Fitted())
	must()
	n.stored, err = s.AssemblySheet(ctx, now, at.Stored())
	must()
	n.came, err = s.AssemblySheet(ctx, now, at.Mark+"-H6")
	must()
	n.site, err = s.Site(ctx, at.Name())
	must()
	n.kind, err = s.Kind(ctx, marked.Kind)
	must()
	n.policies, err = s.Policies(ctx)
	must()
	return n
}

// onOther is, for each command, changes of what belongs to birch, or of what
// belongs to no site, each a list to apply. The hoses and machines of alder are
// taken where something of one's own is brought together with birch.
func onOther(n numbered) map[string][][]register.Command {
	day, note := birch.Today.AddDays(-1), "changed"
	bar, hours := 200.0, 20.0
	service := register.Service{FluidC: &bar}
	machine, place, hose, site := n.machine.Machine, n.place.Position, n.hose.Assembly, n.site
	machine.Note, place.Note, hose.Note, site.Zone = note, note, note, "UTC"
	taken := n.stored.Assembly
	taken.SiteID = 1 // alder
	reading, event, layUp := n.machine.Readings[0], n.machine.MeterEvents[0], n.machine.LayUps[0]
	reading.Note, event.Note, layUp.Reason = note, note, note
	said, look, found, sat := n.machine.Conditions[0], n.hose.Inspections[0], n.hose.Findings[0], n.came.Placements[0]
	said.Note, look.Note, found.Note = note, note, note
	sat.Placement.From = sat.Placement.From.AddDays(1)
	yes, toAlder := true, alder.Name()
	one := func(c register.Command) [][]register.Command { return [][]register.Command{{c}} }
	var circuit register.Circuit
	for _, c := range n.machine.Circuits {
		circuit = c
	}
	circuit.Name = "other"
	usual := register.KindPosition{Name: "usual"}
	policy := life.NormalDemand()
	policy.Name = "own rule"
	all := map[string][][]register.Command{
		"AddSite":     one(register.AddSite{Name: "Dale", Zone: "UTC"}),
		"AddKind":     one(register.AddKind{Name: "crane"}),
		"SetDuty":     one(register.SetDuty{Kind: marked.Kind, Service: service}),
		"AddPolicy":   one(register.AddPolicy{Policy: register.Policy{Policy: policy, Source: "own"}}),
		"AddMachine":  one(register.AddMachine{Site: birch.Name(), Code: "NEW-1"}),
		"AddPosition": one(register.AddPosition{Machine: birch.Machine(), Name: "new"}),
		"AddAssembly": one(register.AddAssembly{Site: birch.Name(), Assembly: register.Assembly{Code: "NEW-H"}}),
		"Fit": {
			{register.Fit{AssemblyCode: birch.Stored(), Machine: birch.Machine(), Position: birch.Empty(), On: day}},
			{register.Fit{AssemblyCode: birch.Stored(), Machine: alder.Machine(), Position: alder.Empty(), On: day}}, // taken out of their store
			{register.Fit{AssemblyCode: alder.Stored(), Machine: birch.Machine(), Position: birch.Empty(), On: day}},
			{register.Fit{AssemblyCode: birch.Fitted(), Machine: alder.Machine(), Position: alder.Empty(), On: day}},
		},
		"Remove":         one(register.Remove{AssemblyCode: birch.Fitted(), On: day, Cause: register.CausePlanned, FoundBy: register.FoundByInspection}),
		"AddReading":     one(register.AddReading{Machine: birch.Machine(), On: day, Hours: 900}),
		"AddMeterEvent":  one(register.AddMeterEvent{Machine: birch.Machine(), On: day, OldEnd: 900}),
		"AddLayUp":       one(register.AddLayUp{Machine: birch.Machine(), From: day, Reason: note}),
		"SetConditions":  one(register.SetConditions{Machine: birch.Machine(), From: day, Service: service, Basis: register.Measured}),
		"Inspect":        {{register.Inspect{Machine: birch.Machine(), Position: birch.Position(), On: day, By: "me"}}},
		"CloseFinding":   one(register.CloseFinding{FindingID: found.ID, On: day, How: register.ClosedByRelease, Reason: note}),
		"ChangeSite":     one(register.ChangeSite{Site: site}),
		"ChangeKind":     one(register.ChangeKind{Kind: register.Kind{ID: n.kind.Kind.ID, Name: "other", Version: n.kind.Kind.Version}}),
		"TakeUsual":      one(register.TakeUsual{Machine: birch.Machine()}),
		"CopyPositions":  {{register.CopyPositions{Machine: birch.Machine(), From: alder.Machine()}}, {register.CopyPositions{Machine: alder.Machine(), From: birch.Machine()}}, {register.CopyPositions{Machine: birch.Machine()}}},
		"AddCircuit":     one(register.AddCircuit{Machine: birch.Machine(), Name: "new"}),
		"ChangeCircuit":  one(register.ChangeCircuit{Circuit: circuit}),
		"OrderPositions": one(register.OrderPositions{Machine: birch.Machine(), Names: []string{birch.Empty()}}),
		"ChangePositions": {
			{register.ChangePositions{Positions: []int64{place.ID}, Exposed: &yes}},
			{register.ChangePositions{Positions: []int64{1, place.ID}, Exposed: &yes}},
		},
		"ChangeMachines": {
			{register.ChangeMachines{Machines: []int64{machine.ID}, PlannedHoursPerWeek: &hours}},
			{register.ChangeMachines{Machines: []int64{1, machine.ID}, PlannedHoursPerWeek: &hours}},
			{register.ChangeMachines{Machines: []int64{machine.ID}, Site: &toAlder}},
		},
		"SetConditionsAt": {
			{register.SetConditionsAt{Positions: []int64{place.ID}, From: day, Service: service, Basis: register.Measured}},
			{register.SetConditionsAt{Positions: []int64{1, place.ID}, From: day, Service: service, Basis: register.Measured}},
		},
		"RetireMachine":      one(register.RetireMachine{Machine: birch.Machine(), On: birch.Today, Reason: note}),
		"RetirePosition":     one(register.RetirePosition{Machine: birch.Machine(), Position: birch.Empty(), On: birch.Today, Reason: note}),
		"Scrap":              one(register.Scrap{AssemblyCode: birch.Stored(), On: day, Reason: note}),
		"ChangeMachine":      one(register.ChangeMachine{Machine: machine}),
		"ChangePosition":     one(register.ChangePosition{Position: place}),
		"ChangeAssembly":     {{register.ChangeAssembly{Assembly: hose}}, {register.ChangeAssembly{Assembly: taken}}},
		"ChangePlacement":    one(register.ChangePlacement{Placement: sat.Placement, Removal: sat.Removal, Scrapped: true, Reason: note}),
		"ChangeReading":      one(register.ChangeReading{Reading: reading, Reason: note}),
		"ChangeMeterEvent":   one(register.ChangeMeterEvent{Event: event, Reason: note}),
		"ChangeLayUp":        one(register.ChangeLayUp{LayUp: layUp, Reason: note}),
		"ChangeConditions":   one(register.ChangeConditions{Conditions: said, Reason: note}),
		"ChangeInspection":   one(register.ChangeInspection{Inspection: look, Reason: note}),
		"ChangeFinding":      one(register.ChangeFinding{Finding: found, Reason: note}),
		"AddKindPosition":    one(register.AddKindPosition{Kind: marked.Kind, Position: usual}),
		"ChangeKindPosition": one(register.ChangeKindPosition{Position: register.KindPosition{ID: n.kind.Positions[0].ID, Name: "other", Version: n.kind.Positions[0].Version}}),
	}
	for _, p := range n.policies {
		if p.Name == "harbour" {
			p.Source = "changed"
			all["ChangePolicy"] = one(register.ChangePolicy{Policy: p})
		}
	}
	for _, what := range []struct {
		thing   register.Thing
		id      int64
		version int
	}{
		{register.ThingMachine, machine.ID, machine.Version},
		{register.ThingPosition, place.ID, place.Version},
		{register.ThingCircuit, circuit.ID, circuit.Version},
		{register.ThingAssembly, n.stored.Assembly.ID, n.stored.Assembly.Version},
		{register.ThingPlacement, sat.Placement.ID, sat.Placement.Version},
		{register.ThingRemoval, sat.Removal.ID, sat.Removal.Version},
		{register.ThingReading, reading.ID, reading.Version},
		{register.ThingMeterEvent, event.ID, event.Version},
		{register.ThingLayUp, layUp.ID, layUp.Version},
		{register.ThingConditions, said.ID, said.Version},
		{register.ThingInspection, look.ID, look.Version},
		{register.ThingFinding, found.ID, found.Version},
		{register.ThingKindPosition, n.kind.Positions[0].ID, n.kind.Positions[0].Version},
		{register.ThingDuty, n.kind.Duties[0].ID, n.kind.Duties[0].Version},
	} {
		all["TakeBack"] = append(all["TakeBack"], []register.Command{register.TakeBack{What: what.thing, ID: what.id, Version: what.version, Reason: note}})
	}
	return all
}

// decidedElsewhere are the commands about people, which have tests of their
// own, and about what is a person's own.
var decidedElsewhere = []string{
	"SetUnits", "SaveList", "ForgetList", "AddPerson", "ChangePerson", "SetRoles", "RetirePerson", "ReturnPerson", "FirstManager", "Invite", "ChoosePassword",
	"SignOutEverywhere", "EnrolDevice", "EndDevice", "MakeToken", "EndToken",
}

// commandNames are the types of commands there are, as their source says.
func commandNames(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../register/*.go")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^func \((\w+)\) command\(\)`).FindAllStringSubmatch(string(text), -1) {
			names = append(names, m[1])
		}
	}
	return names
}

// saidByThemselves are the texts that a list of commands has in it.
func saidByThemselves(cmds []register.Command) string { return fmt.Sprintf("%+v", cmds) }

// twoFilled is a register of alder and birch with what belongs to no site.
func twoFilled(t *testing.T, s *store.Store) numbered {
	t.Helper()
	filled(t, s, alder, birch)
	policy := life.NormalDemand()
	policy.Name = "harbour"
	fluid := 60.0
	apply(t, s, register.AddPolicy{Policy: register.Policy{Policy: policy, Source: "own"}},
		register.AddKindPosition{Kind: marked.Kind, Position: register.KindPosition{Name: "usual lift"}},
		register.SetDuty{Kind: marked.Kind, Circuit: "lift", Service: register.Service{FluidC: &fluid}})
	return numbersOf(t, s, birch)
}

// Nobody of one site changes, previews or learns anything of another, whatever
// their role: every command is told that nothing is there, or that a right is
// lacking, and no refusal has a word of the other site that was not asked with.
func TestPermit_NothingOfAnotherSite(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		all := onOther(twoFilled(t, s))
		for _, name := range commandNames(t) {
			if all[name] == nil && !strings.Contains(" "+strings.Join(decidedElsewhere, " ")+" ", " "+name+" ") {
				t.Errorf("no try of command %s", name)
			}
		}
		before := reads(t, s, birch)
		tried := 0
		for _, role := range register.Roles() {
			by := personAt(t, s, role, idOf(t, s, alder))
			for name, lists := range all {
				for _, cmds := range lists {
					tried++
					if got := reflect.TypeOf(cmds[0]).Name(); got != name {
						t.Fatalf("%s is tried as %s", got, name)
					}
					_, err := s.Apply(t.Context(), now, by, cmds...)
					refusedElsewhere(t, role, cmds, err)
					_, err = s.Preview(t.Context(), now, by, cmds...)
					refusedElsewhere(t, role, cmds, err)
				}
			}
		}
		differ(t, before, reads(t, s, birch))
		t.Logf("%d lists of commands of %d kinds, each applied and previewed", tried, len(all))
	})
}

func refusedElsewhere(t *testing.T, role register.Role, cmds []register.Command, err error) {
	t.Helper()
	if !isRefusal(err, register.NotFound) && !isRefusal(err, register.Forbidden) {
		t.Errorf("a %s of another site: %T %+v gives %v", role, cmds[0], cmds[0], err)
		return
	}
	asked := strings.Count(saidByThemselves(cmds), birch.Mark) > 0
	for _, word := range strings.Fields(err.Error()) {
		word = strings.Trim(word, ".,;:")
		if strings.Contains(word, birch.Mark) && !(asked && strings.Contains(saidByThemselves(cmds), word)) {
			t.Errorf("a %s of another site learns %q: %T gives %v", role, word, cmds[0], err)
		}
	}
}

// Whoever may only read at a site is told so by name: they see it.
func TestPermit_AViewerIsToldWhatIsLacking(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		all := onOther(twoFilled(t, s))
		by := personAt(t, s, register.Manager, idOf(t, s, alder))
		also(t, s, by, register.Viewer, idOf(t, s, birch))
		before := reads(t, s, alder, birch)
		for name, lists := range all {
			for _, cmds := range lists {
				if c, ok := cmds[0].(register.CopyPositions); ok && c.Machine == alder.Machine() {
					continue // from what one sees to what is one's own is allowed
				}
				// What cannot be done by anybody may say so first: it is of what they see.
				if _, err := s.Apply(t.Context(), now, by, cmds...); !isRefusal(err, register.Forbidden) && !isRefusal(err, register.Refused) {
					t.Errorf("%s: %+v gives %v", name, cmds[0], err)
				}
			}
		}
		differ(t, before, reads(t, s, alder, birch))
	})
}

// A hose that all-sites people sent from one site to a machine of another is
// that site's: its people take it off, keep it, and may undo that.
func TestPermit_AHoseOfAnotherSiteComesOffWhereItSits(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder, birch)
		hose := birch.Hose("SENT-1")
		hose.Assembly.Made, hose.Assembly.Assembled = quantity.Day(birch.Today.AddDays(-120)), quantity.Day(birch.Today.AddDays(-110))
		apply(t, s, hose, register.Fit{AssemblyCode: "SENT-1", Machine: alder.Machine(), Position: alder.Empty(), On: alder.Today.AddDays(-10)})
		by := personAt(t, s, register.Fitter, idOf(t, s, alder))
		off := register.Remove{AssemblyCode: "SENT-1", On: alder.Today, Cause: register.CausePlanned, FoundBy: register.FoundByInspection}
		if _, err := s.Apply(t.Context(), now, by, off); err != nil {
			t.Fatal(err)
		}
		sheet, err := s.AssemblySheet(t.Context(), now, "SENT-1")
		if err != nil || sheet.Site.Name != alder.Name() {
			t.Fatalf("it is kept at %s, %v", sheet.Site.Name, err)
		}
		acts, err := s.Acts(t.Context(), now, by.PersonID, 0)
		if err != nil || len(acts) != 1 {
			t.Fatalf("acts %+v, %v", acts, err)
		}
		if _, err := s.Undo(t.Context(), now, by, acts[0].ID); err != nil {
			t.Fatal(err)
		}
		sheet, err = s.AssemblySheet(t.Context(), now, "SENT-1")
		if err != nil || sheet.Line == nil || sheet.Assembly.SiteID != idOf(t, s, birch) {
			t.Errorf("after undoing %+v, %v", sheet.Assembly, err)
		}
	})
}

// What was brought by a file, or done, by somebody of another site is not to be
// undone, and is not there.
func TestPermit_OthersActsAndImports(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder, birch)
		theirs := personAt(t, s, register.Planner, idOf(t, s, birch))
		mine := personAt(t, s, register.Planner, idOf(t, s, alder))
		rows := &broken{rows: []register.ImportRow{{Number: 2, Machine: &register.MachineRow{Code: "BIRCH-M9", Name: birch.Mark}}}, err: io.EOF}
		report, err := s.Import(t.Context(), now, theirs, rows, register.ImportOptions{Kind: register.ImportMachines, FileName: birch.Mark + ".csv", FileHash: "x"})
		if err != nil || report.Added != 1 {
			t.Fatalf("a planner of one site brings a list without a site: %+v, %v", report, err)
		}
		here := s.For(register.Scope{Sites: []int64{idOf(t, s, alder)}})
		if list, err := here.Imports(t.Context(), mine.PersonID); err != nil || len(list) != 0 {
			t.Errorf("imports %+v, %v", list, err)
		}
		if row, err := here.FileImported(t.Context(), mine.PersonID, "x"); err != nil || row != nil {
			t.Errorf("the import %+v, %v", row, err)
		}
		_, undone := here.UndoImport(t.Context(), now, mine, report.ImportID)
		_, never := here.UndoImport(t.Context(), now, mine, report.ImportID+1)
		if !isRefusal(undone, register.NotFound) || strings.Replace(undone.Error(), fmt.Sprint(report.ImportID), fmt.Sprint(report.ImportID+1), 1) != never.Error() {
			t.Errorf("undoing another's import: %v; one that never was: %v", undone, never)
		}
		acts, err := s.Acts(t.Context(), now, theirs.PersonID, 0)
		if err != nil || len(acts) != 1 {
			t.Fatalf("acts %+v, %v", acts, err)
		}
		if _, err := s.Undo(t.Context(), now, mine, acts[0].ID); err == nil || strings.Contains(err.Error(), birch.Mark) {
			t.Errorf("undoing another's act: %v", err)
		}
		if _, err := s.Undo(t.Context(), now, theirs, acts[0].ID); err != nil {
			t.Errorf("undoing one's own: %v", err)
		}
	})
}

// What is one's own is for whoever has a role, and for nobody who has none.
func TestPermit_WhatIsOnesOwn(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder)
		viewer := personAt(t, s, register.Viewer, idOf(t, s, alder))
		own := []register.Command{register.SaveList{Name: "mine", Address: "/due"}, register.SetUnits{Units: register.Units{}}}
		for _, c := range own {
			if err := c.Check(); err != nil {
				t.Fatal(err)
			}
			if _, err := s.Apply(t.Context(), now, viewer, c); err != nil {
				t.Errorf("%T by a viewer: %v", c, err)
			}
		}
		lists, err := s.SavedLists(t.Context(), viewer.PersonID)
		if err != nil || len(lists) != 1 {
			t.Fatalf("lists %+v, %v", lists, err)
		}
		other := personAt(t, s, register.Manager, 0)
		if _, err := s.Apply(t.Context(), now, other, register.ForgetList{ID: lists[0].ID}); !isRefusal(err, register.NotFound) {
			t.Errorf("a manager takes another's list away: %v", err)
		}
		if _, err := s.Raw().Exec(fmt.Sprintf("DELETE FROM person_roles WHERE person_id = %d", viewer.PersonID)); err != nil {
			t.Fatal(err)
		}
		for _, c := range append(own, register.ForgetList{ID: lists[0].ID}) {
			if _, err := s.Apply(t.Context(), now, viewer, c); !isRefusal(err, register.Forbidden) {
				t.Errorf("%T by who has no role any more: %v", c, err)
			}
		}
	})
}
