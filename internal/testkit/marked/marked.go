// Package marked makes a site of a register with one of everything that pages
// and lists show, every text of which has a mark in it: who sees the mark has
// seen that site. Only what belongs to no site goes without: the kind of
// machine and the policies.
package marked

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Kind is the kind of the machines, which all sites share.
const Kind = "wheel loader"

// Site is a site whose texts have a mark in them. Codes and names begin with
// it.
type Site struct {
	Mark  string
	Today quantity.Date
}

// Name is its name.
func (s Site) Name() string { return s.Mark + " yard" }

// Machine is the code of the machine that has nearly everything.
func (s Site) Machine() string { return s.Mark + "-M1" }

// Second is the code of one like it, with a meter that falls.
func (s Site) Second() string { return s.Mark + "-M2" }

// Gone is the code of one that left the fleet.
func (s Site) Gone() string { return s.Mark + "-M3" }

// Position is a place of Machine.
func (s Site) Position() string { return s.Mark + " lift" }

// Empty is a place without a hose.
func (s Site) Empty() string { return s.Mark + " spare place" }

// Circuit is a circuit of Machine.
func (s Site) Circuit() string { return s.Mark + " circuit" }

// Fitted is the code of the hose at Position of Machine.
func (s Site) Fitted() string { return s.Mark + "-H1" }

// Stored is the code of one in store.
func (s Site) Stored() string { return s.Mark + "-H3" }

// Scrapped is the code of one thrown away.
func (s Site) Scrapped() string { return s.Mark + "-H4" }

// say is a text with the mark.
func (s Site) say(text string) string { return text + " " + s.Mark }

// Fill is what makes the site, in order.
func (s Site) Fill() []register.Command {
	return append(append(s.places(), s.hoses()...), s.life()...)
}

func (s Site) places() []register.Command {
	pressure := register.Service{Cycles: register.Cycles{{MinBar: 5, MaxBar: 180, Count: 40}}}
	cmds := []register.Command{register.AddSite{Name: s.Name(), Zone: "Europe/Berlin"}}
	for _, code := range []string{s.Machine(), s.Second(), s.Gone()} {
		hours := 40.0
		cmds = append(cmds,
			register.AddMachine{Site: s.Name(), Kind: Kind, Code: code, Name: s.say("loader"), Serial: s.say("serial"), PlannedHoursPerWeek: &hours, CanHurt: true, Note: s.say("note")},
			register.AddPosition{Machine: code, Circuit: s.Circuit(), Name: s.Position(), CanHurt: true, Note: s.say("note")},
			register.AddPosition{Machine: code, Circuit: s.Circuit(), Name: s.Mark + " tilt", Exposed: true, Policy: life.HeightenedDemand().Name, Note: s.say("note")},
			register.AddPosition{Machine: code, Name: s.Empty(), Note: s.say("note")},
			register.SetConditions{Machine: code, From: s.Today.AddDays(-900), Basis: register.Assumed, Note: s.say("note"), Service: pressure},
			register.SetConditions{Machine: code, Circuit: s.Circuit(), From: s.Today.AddDays(-800), Basis: register.Measured, Note: s.say("note"), Service: pressure},
			register.SetConditions{Machine: code, Position: s.Position(), From: s.Today.AddDays(-700), Basis: register.Measured, Note: s.say("note"), Service: pressure},
			register.AddReading{Machine: code, On: s.Today.AddDays(-600), Hours: 1000, Source: s.say("read"), Note: s.say("note")},
			register.AddReading{Machine: code, On: s.Today.AddDays(-100), Hours: 3500, Source: s.say("read"), Note: s.say("note")},
			register.AddMeterEvent{Machine: code, On: s.Today.AddDays(-90), OldEnd: 3510, NewStart: 0, Note: s.say("note")},
			register.AddLayUp{Machine: code, From: s.Today.AddDays(-80), To: s.Today.AddDays(-70), Reason: s.say("reason")},
		)
	}
	return cmds
}

// Hose is an assembly whose every text has the mark.
func (s Site) Hose(code string) register.AddAssembly {
	bar, ends, length := 275.0, 315.0, 1200.0
	made := s.Today.AddDays(-1000)
	return register.AddAssembly{Site: s.Name(), Assembly: register.Assembly{
		Code: code, Layline: s.say("layline"), Maker: s.say("maker"), Designation: s.say("EN 853 2SN"), Construction: s.say("braid"), Tube: s.say("NBR"),
		DN: 12, Dash: 8, RatedBar: &bar, RatingSource: register.RatingPrinted, Fluid: s.say("oil"), LengthMM: &length,
		EndA: s.say("end"), EndABar: &ends, EndB: s.say("end"), EndBBar: &ends, EndMake: s.say("ends"),
		Made: quantity.Day(made), MadeText: s.say("as printed"), Assembled: quantity.Day(made.AddDays(10)), AssembledText: s.say("as printed"), Note: s.say("note"),
	}}
}

func (s Site) hoses() []register.Command {
	fitted := s.Today.AddDays(-650)
	fit := func(code, machine, position string) register.Fit {
		return register.Fit{AssemblyCode: code, Machine: machine, Position: position, On: fitted, OnText: s.say("as written")}
	}
	var cmds []register.Command
	for _, code := range []string{s.Fitted(), s.Mark + "-H2", s.Stored(), s.Scrapped(), s.Mark + "-H5", s.Mark + "-H6", s.Mark + "-H7"} {
		cmds = append(cmds, s.Hose(code))
	}
	return append(cmds,
		fit(s.Mark+"-H6", s.Machine(), s.Position()),
		register.Remove{
			AssemblyCode: s.Mark + "-H6", On: fitted.AddDays(50), Cause: register.CauseOutside, FoundBy: register.FoundByInspection,
			Reason: s.say("reason"), Seen: s.say("seen"), Scrapped: true,
		},
		register.Fit{AssemblyCode: s.Fitted(), Machine: s.Machine(), Position: s.Position(), On: fitted.AddDays(50), OnText: s.say("as written")},
		fit(s.Mark+"-H2", s.Machine(), s.Mark+" tilt"),
		fit(s.Mark+"-H5", s.Second(), s.Position()),
		fit(s.Mark+"-H7", s.Gone(), s.Position()),
		register.Scrap{AssemblyCode: s.Scrapped(), On: s.Today.AddDays(-20), Reason: s.say("reason")},
	)
}

// life is what was seen of the hoses, and a machine that left.
func (s Site) life() []register.Command {
	look := func(position string, days int, found ...register.NewFinding) register.Inspect {
		return register.Inspect{Machine: s.Machine(), Position: position, On: s.Today.AddDays(-days), By: s.say("inspector"), Note: s.say("note"), Findings: found}
	}
	found := func(class life.Class) register.NewFinding {
		return register.NewFinding{Class: class, Place: s.say("end A"), Note: s.say("worn")}
	}
	return []register.Command{
		look(s.Position(), 400),
		look(s.Position(), 30, found(life.Stop), found(life.Correct)),
		look(s.Mark+" tilt", 300, found(life.Watch)),
		// A meter that falls without an event: its facts contradict each other.
		register.AddReading{Machine: s.Second(), On: s.Today.AddDays(-50), Hours: 50, Source: s.say("read"), Disputed: true, Note: s.say("note")},
		register.RetirePosition{Machine: s.Second(), Position: s.Empty(), On: s.Today.AddDays(-5), Reason: s.say("reason")},
		register.RetireMachine{Machine: s.Gone(), On: s.Today.AddDays(-10), Reason: s.say("reason")},
	}
}
