package api

import (
	"net/http"
	"slices"
	"strings"

	"hoseward/internal/register"
)

// Machine is what carries hoses.
type Machine struct {
	ID int64 `json:"id" doc:"Its number."`
	MachineFields
	GoneOn     string `json:"gone_on,omitzero" format:"date" doc:"The day it left the fleet; left out while it belongs to it."`
	GoneReason string `json:"gone_reason,omitzero" doc:"Why it left."`
	Version    int    `json:"version" doc:"Rises with each change."`
}

// MachineFields are what is written of a machine.
type MachineFields struct {
	Code                string   `json:"code" minLength:"1" maxLength:"60" doc:"What people call it; unique in the register, whether RT-1 or rt-1."`
	Site                string   `json:"site" minLength:"1" doc:"Name of its site."`
	Kind                string   `json:"kind,omitzero" maxLength:"200" doc:"Kind of machine. For a new machine it is added if the register lacks it."`
	Name                string   `json:"name,omitzero" maxLength:"200" doc:"Its name."`
	Serial              string   `json:"serial,omitzero" maxLength:"200" doc:"Its serial number."`
	PlannedHoursPerWeek *float64 `json:"planned_hours_per_week,omitzero" minimum:"0" maximum:"168" doc:"Hours a week to go by until readings say better, in h."`
	CanHurt             bool     `json:"can_hurt" doc:"A burst on this machine can hurt someone."`
	Note                string   `json:"note,omitzero" maxLength:"4000" doc:"A note."`
}

// MachineLine is a machine as the list of machines has it.
type MachineLine struct {
	Machine
	Positions    int      `json:"positions" doc:"How many positions it has."`
	NextActBy    string   `json:"next_act_by,omitzero" format:"date" doc:"The first day on which one of its hoses is to be replaced."`
	HoursPerWeek *float64 `json:"hours_per_week,omitzero" doc:"How much it runs, in h a week."`
	Reading      *Reading `json:"reading,omitzero" doc:"Its last reading."`
	Counts       Counts   `json:"counts" doc:"How its hoses stand."`
}

// Counts are how many hoses stand how. Incomplete stands beside any of the
// others.
type Counts struct {
	Stop               int `json:"stop" doc:"Hoses with an open finding of class stop."`
	Overdue            int `json:"overdue" doc:"Hoses past their day."`
	Soon               int `json:"soon" doc:"Due within 30 days."`
	Ahead              int `json:"ahead" doc:"Due within 31 to 90 days."`
	InService          int `json:"in_service" doc:"Due later."`
	Incomplete         int `json:"incomplete" doc:"Of all these, those whose date lacks a value."`
	InspectionsOverdue int `json:"inspections_overdue" doc:"Hoses whose inspection is overdue."`
	EmptyPositions     int `json:"empty_positions" doc:"Positions without a hose."`
}

type machinesIn struct {
	Paging
	Site string `query:"site" maxLength:"200" doc:"Only machines of this site."`
	Kind string `query:"kind" maxLength:"200" doc:"Only machines of this kind."`
	Text string `query:"text" maxLength:"200" doc:"Only machines whose code, name or serial number holds this."`
}

type newMachineIn struct {
	Write
	Body MachineFields
}

type changeMachineIn struct {
	Write
	OfMachine
	Body struct {
		MachineFields
		Version int `json:"version" minimum:"1" doc:"The version that was read."`
	}
}

// OfMachine names a machine in the path.
type OfMachine struct {
	Machine string `path:"machine" doc:"Code of the machine."`
}

// Why is the reason of a change.
type Why struct {
	Reason string `json:"reason" minLength:"1" maxLength:"4000" doc:"Why; it stays beside the change."`
}

// WhyOn is the day and the reason of a change.
type WhyOn struct {
	On string `json:"on" format:"date" doc:"The day it happened, not after today."`
	Why
}

type retireMachineIn struct {
	Write
	OfMachine
	Body WhyOn
}

type returnMachineIn struct {
	Write
	OfMachine
	Body struct {
		Why
		Version int `json:"version" minimum:"1" doc:"The version that was read."`
	}
}

func (a *API) machines() {
	const tag = "machines"
	listed(a, op{"listMachines", http.MethodGet, "/machines", register.RightSee, tag, "List machines", "By code. Machines that left the fleet are on no list."}, (*call).listMachines)
	read(a, op{"getMachine", http.MethodGet, "/machines/{machine}", register.RightSee, tag, "Get a machine", "Also one that left the fleet."},
		func(k *call, in *OfMachine) (Machine, error) {
			sheet, err := k.machine(in.Machine)
			return machineOf(sheet.Machine, sheet.Site.Name, sheet.Kind), err
		})
	write(a, op{"addMachine", http.MethodPost, "/machines", register.RightPlan, tag, "Add a machine", ""}, func(k *call, in *newMachineIn) (change, error) {
		if err := k.siteSeen(in.Body.Site); err != nil {
			return change{}, err
		}
		b := in.Body
		return change{names: map[string]string{"machine": "code"}, cmds: []register.Command{register.AddMachine{
			Site: b.Site, Kind: b.Kind, Code: b.Code, Name: b.Name, Serial: b.Serial, PlannedHoursPerWeek: b.PlannedHoursPerWeek, CanHurt: b.CanHurt, Note: b.Note,
		}}}, nil
	})
	write(a, op{"changeMachine", http.MethodPut, "/machines/{machine}", register.RightPlan, tag, "Change a machine", "Replaces all that is written of it; what is left out is taken away."}, (*call).changeMachine)
	write(a, op{"retireMachine", http.MethodPost, "/machines/{machine}/retire", register.RightPlan, tag, "Take a machine out of the fleet", "What sits on it goes with it: it is removed as planned and scrapped."},
		func(k *call, in *retireMachineIn) (change, error) {
			var r reader
			cmd := register.RetireMachine{Machine: in.Machine, On: r.day("on", in.Body.On), Reason: in.Body.Reason}
			_, err := k.machine(in.Machine)
			return commands(cmd), firstOf(err, r.err())
		})
	write(a, op{"returnMachine", http.MethodPost, "/machines/{machine}/return", register.RightPlan, tag, "Take a machine back into the fleet", "What sat on it stays scrapped."}, (*call).returnMachine)
}

// machine is the sheet of a machine the caller may see.
func (k *call) machine(code string) (register.MachineSheet, error) {
	return k.Store.MachineSheet(k.ctx, k.now, code)
}

func (k *call) listMachines(in *machinesIn, after string, limit int) ([]MachineLine, string, error) {
	lines, next, err := k.Store.MachineLines(k.ctx, k.now, register.MachineFilter{Site: in.Site, Kind: in.Kind, Text: in.Text, After: after, Limit: limit})
	return mapped(lines, machineLineOf), next, err
}

func machineOf(m register.Machine, site, kind string) Machine {
	return Machine{
		ID: m.ID, GoneOn: dayText(m.GoneOn), GoneReason: m.GoneReason, Version: m.Version,
		MachineFields: MachineFields{Code: m.Code, Site: site, Kind: kind, Name: m.Name, Serial: m.Serial, PlannedHoursPerWeek: m.PlannedHoursPerWeek, CanHurt: m.CanHurt, Note: m.Note},
	}
}

func machineLineOf(l register.MachineLine) MachineLine {
	out := MachineLine{Machine: machineOf(l.Machine, l.Site, l.Kind), Positions: l.Positions, NextActBy: dayText(l.NextActBy), HoursPerWeek: l.HoursPerWeek, Counts: countsOf(l.Counts)}
	if l.LastReading != nil {
		out.Reading = ptr(readingOf(*l.LastReading, l.Machine.Code))
	}
	return out
}

func countsOf(c register.Counts) Counts {
	return Counts{c.Stop, c.Overdue, c.Soon, c.Ahead, c.InService, c.Incomplete, c.InspectionsOverdue, c.EmptyPositions}
}

func (k *call) changeMachine(in *changeMachineIn) (change, error) {
	sheet, err := k.machine(in.Machine)
	if err != nil {
		return change{}, err
	}
	m, b := sheet.Machine, in.Body
	m.Code, m.Name, m.Serial, m.PlannedHoursPerWeek, m.CanHurt, m.Note, m.Version = b.Code, b.Name, b.Serial, b.PlannedHoursPerWeek, b.CanHurt, b.Note, b.Version
	if m.SiteID, err = k.siteID(b.Site); err != nil {
		return change{}, err
	}
	if m.KindID, err = k.kindID(b.Kind); err != nil {
		return change{}, err
	}
	return change{cmds: []register.Command{register.ChangeMachine{Machine: m}}, current: k.currentMachine(in.Machine)}, nil
}

func (k *call) currentMachine(code string) func() (any, error) {
	return func() (any, error) {
		sheet, err := k.machine(code)
		return machineOf(sheet.Machine, sheet.Site.Name, sheet.Kind), err
	}
}

func (k *call) returnMachine(in *returnMachineIn) (change, error) {
	sheet, err := k.machine(in.Machine)
	if err != nil {
		return change{}, err
	}
	if sheet.Machine.GoneOn.IsZero() {
		return change{}, &register.Error{Code: register.Refused, Sentence: "Machine " + sheet.Machine.Code + " belongs to the fleet; it did not leave."}
	}
	m := sheet.Machine.Returned(sheet.Today, in.Body.Reason)
	m.Version = in.Body.Version
	return change{cmds: []register.Command{register.ChangeMachine{Machine: m}}, names: map[string]string{"note": "reason"}, current: k.currentMachine(in.Machine)}, nil
}

// siteID is the number of a site the caller may see.
func (k *call) siteID(name string) (int64, error) {
	all, err := k.Store.Sites(k.ctx)
	if err != nil {
		return 0, err
	}
	if i := slices.IndexFunc(all, func(s register.Site) bool { return strings.EqualFold(s.Name, name) }); i >= 0 {
		return all[i].ID, nil
	}
	return 0, notThereIn("site", "There is no site "+name+"; check its name.")
}

func (k *call) siteSeen(name string) error {
	_, err := k.siteID(name)
	return err
}

func (k *call) kindID(name string) (*int64, error) {
	if name == "" {
		return nil, nil
	}
	all, err := k.Store.Kinds(k.ctx)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(all, func(v register.Kind) bool { return strings.EqualFold(v.Name, name) }); i >= 0 {
		return &all[i].ID, nil
	}
	return nil, notThereIn("kind", "There is no kind of machine "+name+"; check its name.")
}

// notThereIn is a value of the body that names something that is not there.
func notThereIn(field, says string) error {
	return &refused{at: "body." + field, err: &register.Error{Code: register.NotFound, Field: field, Sentence: says}}
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
