package register_test

import (
	"slices"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// The table of who may do what, written out a second time.
func TestRoles_MayDoWhatTheTableSays(t *testing.T) {
	table := `
		            manager planner inspector fitter viewer
		own         yes     yes     yes       yes    yes
		see         yes     yes     yes       yes    yes
		note        yes     yes     yes       yes    -
		inspect     yes     -       yes       -      -
		fit         yes     yes     yes       yes    -
		place       yes     yes     yes       -      -
		plan        yes     yes     -         -      -
		manage      yes     -       -         -      -`
	lines := strings.Split(strings.TrimSpace(table), "\n")
	roles := strings.Fields(lines[0])
	if len(roles) != len(register.Roles()) || len(lines)-1 != len(register.Rights()) {
		t.Fatalf("%d roles and %d rights in the table", len(roles), len(lines)-1)
	}
	for _, line := range lines[1:] {
		cells := strings.Fields(line)
		for i, role := range roles {
			if got := register.Role(role).May(register.Right(cells[0])); got != (cells[i+1] == "yes") {
				t.Errorf("a %s and the right to %s: %t", role, cells[0], got)
			}
		}
	}
	for _, role := range []register.Role{"", "admin", "Manager"} {
		for _, right := range register.Rights() {
			if role.May(right) {
				t.Errorf("role %q has the right to %s", role, right)
			}
		}
	}
	for _, role := range register.Roles() {
		if role.May("") || role.May("rule") {
			t.Errorf("a %s has rights that there are not", role)
		}
	}
}

func TestPersonRoles_HoldWhereTheyAreGiven(t *testing.T) {
	north, south := int64(1), int64(2)
	both := register.PersonRoles{{SiteID: &north, Role: register.Planner}, {SiteID: &south, Role: register.Viewer}, {SiteID: &north, Role: register.Inspector}}
	for _, row := range []struct {
		what string
		ok   bool
	}{
		{"a planner of north plans at north", both.At(north, register.RightPlan)},
		{"and not at south", !both.At(south, register.RightPlan)},
		{"and not at all sites", !both.Everywhere(register.RightPlan) && !both.At(0, register.RightPlan)},
		{"but somewhere", both.Anywhere(register.RightPlan)},
		{"sees both", both.At(north, register.RightSee) && both.At(south, register.RightSee)},
		{"and no third", !both.At(3, register.RightSee)},
		{"manages nowhere", !both.Anywhere(register.RightManage)},
		{"the scope of seeing is both, in order, each once", slices.Equal(both.Scope(register.RightSee).Sites, []int64{north, south})},
		{"the scope of planning is north", slices.Equal(both.Scope(register.RightPlan).Sites, []int64{north})},
		{"nobody's scope holds nothing", !register.PersonRoles{}.Scope(register.RightSee).Holds(north)},
		{"a role at all sites is one at each", register.PersonRoles{{Role: register.Fitter}}.At(7, register.RightFit)},
		{"and its scope is all", register.PersonRoles{{SiteID: &north, Role: register.Viewer}, {Role: register.Fitter}}.Scope(register.RightSee).All},
	} {
		if !row.ok {
			t.Errorf("%s: it is not so", row.what)
		}
	}
}

func TestRightFor_WhatMakesThingsMilderNeedsAManager(t *testing.T) {
	for _, row := range []struct {
		cmd  register.Command
		want register.Right
	}{
		{register.Inspect{}, register.RightInspect},
		{register.Inspect{Findings: []register.NewFinding{{Class: life.Watch}}}, register.RightNote},
		{register.CloseFinding{How: register.ClosedDone}, register.RightNote},
		{register.CloseFinding{How: register.ClosedByRelease}, register.RightManage},
		{register.Fit{}, register.RightFit},
		{register.Fit{ReleasedBy: "somebody"}, register.RightManage},
		{register.TakeBack{What: register.ThingReading}, register.RightNote},
		{register.TakeBack{What: register.ThingPlacement}, register.RightFit},
		{register.TakeBack{What: register.ThingFinding}, register.RightManage},
		{register.TakeBack{What: register.ThingInspection}, register.RightManage},
		{register.TakeBack{What: "something else"}, register.RightManage},
		{register.AddPolicy{}, register.RightManage},
		{register.ChangePolicy{}, register.RightManage},
		{register.SetDuty{}, register.RightManage},
		{register.AddSite{}, register.RightManage},
		{register.RetireMachine{}, register.RightPlan},
		{register.SetUnits{}, register.RightOwn},
	} {
		if got := register.RightFor(row.cmd); got != row.want {
			t.Errorf("%T %+v needs the right to %s, want %s", row.cmd, row.cmd, got, row.want)
		}
	}
}

func TestForbiddenSentence_SaysWhoMay(t *testing.T) {
	if got, want := register.ForbiddenSentence(register.RightPlan, "Depot"), "the role planner at Depot"; !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
	if got, want := register.ForbiddenSentence(register.RightManage, ""), "the role manager at all sites"; !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
}
