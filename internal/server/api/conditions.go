package api

import (
	"net/http"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// Service is how something is worked. What is left out says nothing, and leaves
// what an earlier day or a wider level says.
type Service struct {
	FluidC        *float64      `json:"fluid_c,omitzero" minimum:"-60" maximum:"300" doc:"Temperature of the fluid, in degrees Celsius."`
	SurroundingsC *float64      `json:"surroundings_c,omitzero" minimum:"-60" maximum:"300" doc:"Temperature round the hose, in degrees Celsius."`
	AlwaysHot     *bool         `json:"always_hot,omitzero" doc:"Hot around the clock, not only while it runs."`
	Temperatures  []Temperature `json:"temperatures,omitzero" maxItems:"1000" doc:"The fluid's temperatures with their shares of the running time, which add to 1."`
	AdapterBar    *float64      `json:"adapter_bar,omitzero" minimum:"0" maximum:"10000" doc:"Rating of the adapter, in bar."`
	WorkingBar    *float64      `json:"working_bar,omitzero" minimum:"0" maximum:"10000" doc:"Highest working pressure, in bar."`
	Cycles        []Cycle       `json:"cycles,omitzero" maxItems:"1000" doc:"Pressure cycles."`
	NoCycles      *bool         `json:"no_cycles,omitzero" doc:"There are no pressure cycles."`
	Recorded      *bool         `json:"recorded,omitzero" doc:"The cycles come from a recorded pressure log."`
	AssessedOn    string        `json:"assessed_on,omitzero" format:"date" doc:"The day a longer interval was assessed in writing."`
}

// Temperature is a temperature with its share of the running time.
type Temperature struct {
	C     float64 `json:"c" minimum:"-60" maximum:"300" doc:"In degrees Celsius."`
	Share float64 `json:"share" minimum:"0" maximum:"1" doc:"Share of the running time, 0 to 1."`
}

// Cycle is pressure cycles of one height.
type Cycle struct {
	MinBar  float64  `json:"min_bar" minimum:"-1" maximum:"10000" doc:"Lowest pressure, in bar."`
	MaxBar  float64  `json:"max_bar" minimum:"0" maximum:"10000" doc:"Highest pressure, in bar."`
	Count   float64  `json:"count" minimum:"0" maximum:"100000" doc:"How many there are in a running hour, or in each of per."`
	Per     string   `json:"per,omitzero" maxLength:"200" doc:"What is counted, such as lift; left out: running hours."`
	PerHour *float64 `json:"per_hour,omitzero" minimum:"0" maximum:"100000" doc:"How many of per there are in a running hour."`
}

// ServiceValue is one value of how something is worked, with its source.
type ServiceValue struct {
	Field string  `json:"field" doc:"What it is." enum:"pressure cycles,fluid temperature,surroundings,hot around the clock,adapter rating,working pressure,assessed in writing"`
	Said  Service `json:"said" doc:"What was said; that value alone."`
	Level string  `json:"level" enum:"position,circuit,machine,kind" doc:"What it was said of."`
	Basis string  `json:"basis" enum:"measured,assumed" doc:"How it is known."`
	From  string  `json:"from,omitzero" format:"date" doc:"Since when; left out for what a kind of machine starts from."`
	Note  string  `json:"note,omitzero" doc:"Where it comes from."`
}

// Conditions are what is said of how a machine, a circuit or a position is
// worked from a day on.
type Conditions struct {
	ID       int64  `json:"id" doc:"Its number."`
	Machine  string `json:"machine" doc:"Code of the machine."`
	Level    string `json:"level" enum:"position,circuit,machine" doc:"What it is about."`
	Circuit  string `json:"circuit,omitzero" doc:"The circuit it is about."`
	Position string `json:"position,omitzero" doc:"The position it is about."`
	ConditionsFields
	Version int `json:"version" doc:"Rises with each change."`
}

// ConditionsFields are what is written of service conditions.
type ConditionsFields struct {
	From    string  `json:"from" format:"date" doc:"The first day it holds."`
	Service Service `json:"service" doc:"How it is worked."`
	Basis   string  `json:"basis" enum:"measured,assumed" doc:"How the values are known."`
	Note    string  `json:"note,omitzero" maxLength:"4000" doc:"Where the values come from."`
}

type setConditionsIn struct {
	Write
	OfMachine
	Body struct {
		Circuit  string `json:"circuit,omitzero" maxLength:"200" doc:"The circuit it is about; circuit and position left out: the whole machine."`
		Position string `json:"position,omitzero" maxLength:"200" doc:"The position it is about."`
		ConditionsFields
	}
}

type changeConditionsIn struct {
	Write
	Numbered
	Body struct {
		ConditionsFields
		Corrected
	}
}

// Numbered names a row in the path by its number.
type Numbered struct {
	ID int64 `path:"id" minimum:"1" doc:"Its number."`
}

// Corrected is what a correction takes beside the values.
type Corrected struct {
	Version int    `json:"version" minimum:"1" doc:"The version that was read."`
	Reason  string `json:"reason" minLength:"1" maxLength:"4000" doc:"Why; it stays beside the correction."`
}

func (a *API) conditions() {
	const tag = "use"
	listed(a, op{"listConditions", http.MethodGet, "/machines/{machine}/conditions", register.RightSee, tag, "List the service conditions of a machine", "Those of the machine, its circuits and its positions, by number."}, (*call).listConditions)
	read(a, op{"getConditions", http.MethodGet, "/conditions/{id}", register.RightSee, tag, "Get a row of service conditions", ""},
		func(k *call, in *Numbered) (Conditions, error) { return k.conditionsRow(in.ID) })
	write(a, op{"setConditions", http.MethodPost, "/machines/{machine}/conditions", register.RightPlan, tag, "Say how a machine, a circuit or a position is worked from a day on", ""},
		func(k *call, in *setConditionsIn) (change, error) {
			var r reader
			b := in.Body
			cmd := register.SetConditions{
				Machine: in.Machine, Circuit: b.Circuit, Position: b.Position, From: r.day("from", b.From), Service: b.Service.said(&r, "service."), Basis: register.Basis(b.Basis), Note: b.Note,
			}
			_, err := k.machine(in.Machine)
			return change{cmds: []register.Command{cmd}, names: serviceNames()}, firstOf(err, r.err())
		})
	write(a, op{"changeConditions", http.MethodPut, "/conditions/{id}", register.RightPlan, tag, "Correct a row of service conditions", "Replaces all that it says. What it is about stays."},
		func(k *call, in *changeConditionsIn) (change, error) {
			var r reader
			row, _, err := k.Store.Conditions(k.ctx, in.ID)
			b := in.Body
			row.From, row.Service, row.Basis, row.Note, row.Version = r.day("from", b.From), b.Service.said(&r, "service."), register.Basis(b.Basis), b.Note, b.Version
			return change{
				cmds: []register.Command{register.ChangeConditions{Conditions: row, Reason: b.Reason}}, names: serviceNames(),
				current: func() (any, error) { return k.conditionsRow(in.ID) },
			}, firstOf(err, r.err())
		})
	takeBack(a, register.ThingConditions, "conditions", tag, "a row of service conditions", func(k *call, id int64) error { _, _, err := k.Store.Conditions(k.ctx, id); return err })
}

// serviceNames are the fields of the body for those of the register.
func serviceNames() map[string]string {
	names := map[string]string{}
	for _, n := range []string{"fluid_c", "surroundings_c", "adapter_bar", "working_bar", "cycles", "temperatures", "assessed_on"} {
		names[n] = "service." + n
	}
	return names
}

func (k *call) conditionsRow(id int64) (Conditions, error) {
	row, machine, err := k.Store.Conditions(k.ctx, id)
	if err != nil {
		return Conditions{}, err
	}
	all, err := k.allConditions(machine)
	if err != nil {
		return Conditions{}, err
	}
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return conditionsOf(row, machine, "", ""), nil // of a position that ceased to be
}

func (k *call) listConditions(in *listOfMachineIn, after string, limit int) ([]Conditions, string, error) {
	all, err := k.allConditions(in.Machine)
	items, next := cut(all, after, limit, func(c Conditions) string { return byID(c.ID) })
	return items, next, err
}

// allConditions are the service conditions of a machine, its circuits and the
// positions it has now, by number.
func (k *call) allConditions(machine string) ([]Conditions, error) {
	sheet, err := k.machine(machine)
	if err != nil {
		return nil, err
	}
	code := sheet.Machine.Code
	circuits := map[int64]string{}
	for _, v := range sheet.Circuits {
		circuits[v.ID] = v.Name
	}
	var all []Conditions
	for _, c := range sheet.Conditions {
		name := ""
		if c.Level == register.AtCircuit {
			name = circuits[c.OwnerID]
		}
		all = append(all, conditionsOf(c, code, name, ""))
	}
	var names []string
	for _, l := range sheet.Lines {
		names = append(names, l.Position)
	}
	for _, p := range sheet.Empty {
		names = append(names, p.Name)
	}
	for _, name := range names {
		at, err := k.Store.PositionSheet(k.ctx, k.now, code, name)
		if err != nil {
			return nil, err
		}
		for _, c := range at.Conditions {
			all = append(all, conditionsOf(c, code, "", at.Position.Name))
		}
	}
	return sortedByID(all, func(c Conditions) int64 { return c.ID }), nil
}

func conditionsOf(c register.Conditions, machine, circuit, position string) Conditions {
	return Conditions{
		ID: c.ID, Machine: machine, Level: string(c.Level), Circuit: circuit, Position: position, Version: c.Version,
		ConditionsFields: ConditionsFields{From: dayText(c.From), Service: serviceOf(c.Service), Basis: string(c.Basis), Note: c.Note},
	}
}

func serviceOf(s register.Service) Service {
	return Service{
		FluidC: s.FluidC, SurroundingsC: s.SurroundingsC, AlwaysHot: s.AlwaysHot, AdapterBar: s.AdapterBar, WorkingBar: s.WorkingBar,
		NoCycles: s.NoCycles, Recorded: s.Recorded, AssessedOn: dayText(s.AssessedOn),
		Temperatures: someOf(s.Temperatures, func(t life.TemperatureShare) Temperature { return Temperature{t.C, t.Share} }),
		Cycles:       someOf(s.Cycles, func(y life.Cycle) Cycle { return Cycle{y.MinBar, y.MaxBar, y.Count, y.Per, y.PerHour} }),
	}
}

// someOf is mapped, nil for none, so that none is left out.
func someOf[A, B any](all []A, f func(A) B) []B {
	if len(all) == 0 {
		return nil
	}
	return mapped(all, f)
}

// said is what the register takes; at is where in the body it stands.
func (s Service) said(r *reader, at string) register.Service {
	return register.Service{
		FluidC: s.FluidC, SurroundingsC: s.SurroundingsC, AlwaysHot: s.AlwaysHot, AdapterBar: s.AdapterBar, WorkingBar: s.WorkingBar,
		NoCycles: s.NoCycles, Recorded: s.Recorded, AssessedOn: r.day(at+"assessed_on", s.AssessedOn),
		Temperatures: someOf(s.Temperatures, func(t Temperature) life.TemperatureShare { return life.TemperatureShare{C: t.C, Share: t.Share} }),
		Cycles: someOf(s.Cycles, func(y Cycle) life.Cycle {
			return life.Cycle{MinBar: y.MinBar, MaxBar: y.MaxBar, Count: y.Count, Per: y.Per, PerHour: y.PerHour}
		}),
	}
}

func serviceValues(all []register.ServiceValue) []ServiceValue {
	return mapped(all, func(v register.ServiceValue) ServiceValue {
		return ServiceValue{string(v.Field), serviceOf(v.Said), string(v.Level), string(v.Basis), dayText(v.From), v.Note}
	})
}
