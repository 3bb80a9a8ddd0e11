package register

import (
	"fmt"
	"strings"
)

// Title is what a list of commands is, in words, for those who look for what
// they did: "Swap at RT-04, lift cylinder". Of commands that do not belong
// together it names the first and counts the others; of none it is empty.
func Title(cmds ...Command) string {
	if len(cmds) == 0 {
		return ""
	}
	if title, ok := swapTitle(cmds); ok {
		return title
	}
	if title, ok := sameTitle(cmds); ok {
		return title
	}
	title := titleOf(cmds[0])
	if more := len(cmds) - 1; more > 0 {
		title += fmt.Sprintf(" and %d more", more)
	}
	return title
}

// swapTitle is the title of commands that take assemblies off, fit them or do
// both, alone or with what belongs to it.
func swapTitle(cmds []Command) (string, bool) {
	var fits []Fit
	var removes []Remove
	fitFirst := false
	for _, c := range cmds {
		switch c := c.(type) {
		case Fit:
			fits = append(fits, c)
			fitFirst = fitFirst || len(removes) == 0
		case Remove:
			removes = append(removes, c)
		case AddAssembly, ChangeAssembly, Scrap, AddReading, Inspect:
		default:
			return "", false
		}
	}
	switch {
	case len(fits) == 1 && len(removes) == 1 && fitFirst:
		return "Earlier fitting at " + place(fits[0].Machine, fits[0].Position), true
	case len(fits) == 1 && len(removes) == 1 && strings.EqualFold(fits[0].AssemblyCode, removes[0].AssemblyCode):
		return "Move of " + fits[0].AssemblyCode + " to " + place(fits[0].Machine, fits[0].Position), true
	case len(fits) == 1 && len(removes) <= 2 && len(removes) > 0:
		return "Swap at " + place(fits[0].Machine, fits[0].Position), true
	case len(fits) == 1 && len(removes) == 0:
		return titleOf(fits[0]), true
	case len(fits) == 0 && len(removes) == 1:
		return titleOf(removes[0]), true
	}
	return "", false
}

// sameTitle is the title of several commands of one kind.
func sameTitle(cmds []Command) (string, bool) {
	kind := fmt.Sprintf("%T", cmds[0])
	for _, c := range cmds[1:] {
		if fmt.Sprintf("%T", c) != kind {
			return "", false
		}
	}
	if len(cmds) == 1 {
		return titleOf(cmds[0]), true
	}
	n := len(cmds)
	switch c := cmds[0].(type) {
	case AddReading:
		return fmt.Sprintf("%d readings", n), true
	case Inspect:
		return fmt.Sprintf("%d inspections, first at %s", n, place(c.Machine, c.Position)), true
	case AddPosition:
		return fmt.Sprintf("%d new positions at %s", n, c.Machine), true
	case AddAssembly:
		return fmt.Sprintf("%d new assemblies", n), true
	case SetConditions:
		return fmt.Sprintf("Service conditions at %s", placeOf(c)), true
	}
	return "", false
}

func place(machine, position string) string {
	if position == "" {
		return machine
	}
	return machine + ", " + position
}

func placeOf(c SetConditions) string { return place(c.Machine, c.Circuit+c.Position) }

// titleOf is the title of one command.
func titleOf(c Command) string {
	for _, of := range []func(Command) string{addTitle, useTitle, changeTitle, manyTitle, personTitle} {
		if title := of(c); title != "" {
			return title
		}
	}
	return "Change"
}

// addTitle names what comes to be.
func addTitle(c Command) string {
	switch c := c.(type) {
	case AddSite:
		return "New site " + c.Name
	case AddKind:
		return "New kind of machine " + c.Name
	case AddPolicy:
		return "New policy " + c.Policy.Name
	case AddMachine:
		return "New machine " + c.Code
	case AddCircuit:
		return "New circuit " + c.Name + " at " + c.Machine
	case AddPosition:
		return "New position " + place(c.Machine, c.Name)
	case AddKindPosition:
		return "New usual position " + c.Position.Name + " of " + c.Kind
	case AddAssembly:
		return strings.TrimSpace("New assembly " + c.Assembly.Code)
	case SaveList:
		return "List " + c.Name + " kept"
	case ForgetList:
		return "List forgotten"
	}
	return ""
}

// useTitle names what happens to hoses and machines.
func useTitle(c Command) string {
	switch c := c.(type) {
	case Fit:
		return "Fitting at " + place(c.Machine, c.Position)
	case Remove:
		if c.Scrapped {
			return "Removal of " + c.AssemblyCode + ", scrapped"
		}
		return "Removal of " + c.AssemblyCode
	case Scrap:
		return "Scrapping of " + c.AssemblyCode
	case AddReading:
		return "Reading at " + c.Machine
	case AddMeterEvent:
		return "Meter event at " + c.Machine
	case AddLayUp:
		return "Lay-up of " + c.Machine
	case SetConditions:
		return "Service conditions at " + placeOf(c)
	case Inspect:
		return "Inspection at " + place(c.Machine, c.Position)
	case CloseFinding:
		if c.How == ClosedDone {
			return "Finding ticked done"
		}
		return "Finding released"
	case RetireMachine:
		return "Machine " + c.Machine + " left the fleet"
	case RetirePosition:
		return "Position " + place(c.Machine, c.Position) + " is no more"
	}
	return ""
}

// changeTitle names what is put right.
func changeTitle(c Command) string {
	switch c := c.(type) {
	case ChangeSite:
		return "Change of site " + c.Site.Name
	case ChangeKind:
		return "Change of kind of machine " + c.Kind.Name
	case ChangePolicy:
		return "Change of policy " + c.Policy.Name
	case ChangeMachine:
		return "Change of machine " + c.Machine.Code
	case ChangeCircuit:
		return "Change of circuit " + c.Circuit.Name
	case ChangePosition:
		return "Change of position " + c.Position.Name
	case ChangeKindPosition:
		return "Change of usual position " + c.Position.Name
	case ChangeAssembly:
		return "Change of assembly " + c.Assembly.Code
	case ChangePlacement:
		return "Correction of a fitting"
	case ChangeReading:
		return "Correction of a reading"
	case ChangeMeterEvent:
		return "Correction of a meter event"
	case ChangeLayUp:
		return "Change of a lay-up"
	case ChangeConditions:
		return "Correction of service conditions"
	case ChangeInspection:
		return "Correction of an inspection"
	case ChangeFinding:
		return "Correction of a finding"
	case TakeBack:
		return "Taken back: " + c.What.one()
	}
	return ""
}

// manyTitle names what is done to many things, or for a person.
func manyTitle(c Command) string {
	switch c := c.(type) {
	case SetDuty:
		return "Duty of " + place(c.Kind, c.Circuit)
	case TakeUsual:
		return "Usual positions as those of " + c.Machine
	case CopyPositions:
		return "Positions copied to " + c.Machine
	case OrderPositions:
		return "Order of positions of " + c.Machine
	case ChangePositions:
		return fmt.Sprintf("Change of %s", number(len(c.Positions), "position"))
	case ChangeMachines:
		return fmt.Sprintf("Change of %s", number(len(c.Machines), "machine"))
	case SetConditionsAt:
		return fmt.Sprintf("Service conditions at %s", number(len(c.Positions), "position"))
	case SetUnits:
		return "Units and style of dates"
	}
	return ""
}

func number(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// one is the thing in words: a reading, an inspection.
func (w Thing) one() string {
	switch w {
	case ThingMachine:
		return "a machine"
	case ThingPosition:
		return "a position"
	case ThingCircuit:
		return "a circuit"
	case ThingKindPosition:
		return "a usual position"
	case ThingDuty:
		return "a duty"
	case ThingAssembly:
		return "an assembly"
	case ThingPlacement:
		return "a fitting"
	case ThingRemoval:
		return "a removal"
	case ThingReading:
		return "a reading"
	case ThingMeterEvent:
		return "a meter event"
	case ThingLayUp:
		return "a lay-up"
	case ThingConditions:
		return "service conditions"
	case ThingInspection:
		return "an inspection"
	case ThingFinding:
		return "a finding"
	}
	return "something"
}

// personTitle names what is done about people; none of it holds a secret.
func personTitle(c Command) string {
	switch c := c.(type) {
	case AddPerson:
		if c.Program {
			return "New program " + c.Name
		}
		return "New person " + c.Name
	case ChangePerson:
		return "Change of person " + c.Name
	case SetRoles:
		return "Roles of a person"
	case RetirePerson:
		return "A person left"
	case ReturnPerson:
		return "A person is back"
	case FirstManager:
		return "First manager " + c.Name
	case Invite:
		return "One-time address to choose a password"
	case ChoosePassword:
		return "Password chosen"
	case SignOutEverywhere:
		return "Signed out everywhere"
	case EnrolDevice:
		return "PIN on " + c.Name
	case EndDevice:
		return "PIN ended"
	case MakeToken:
		return "New token"
	case EndToken:
		return "Token ended"
	}
	return ""
}
