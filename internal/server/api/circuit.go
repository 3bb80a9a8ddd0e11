package api

import (
	"net/http"
	"slices"
	"strings"

	"hoseward/internal/register"
)

// Circuit is a hydraulic circuit of a machine.
type Circuit struct {
	ID      int64  `json:"id" doc:"Its number."`
	Name    string `json:"name" doc:"Its name, unique on its machine."`
	Version int    `json:"version" doc:"Rises with each change."`
}

type listOfMachineIn struct {
	Paging
	OfMachine
}

type newCircuitIn struct {
	Write
	OfMachine
	Body struct {
		Name string `json:"name" minLength:"1" maxLength:"200" doc:"Its name, unique on its machine."`
	}
}

type changeCircuitIn struct {
	Write
	OfMachine
	Circuit string `path:"circuit" doc:"Name of the circuit."`
	Body    struct {
		Name    string `json:"name" minLength:"1" maxLength:"200" doc:"Its new name."`
		Version int    `json:"version" minimum:"1" doc:"The version that was read."`
	}
}

func (a *API) circuits() {
	const tag = "machines"
	listed(a, op{"listCircuits", http.MethodGet, "/machines/{machine}/circuits", register.RightSee, tag, "List the circuits of a machine", "By number."},
		func(k *call, in *listOfMachineIn, after string, limit int) ([]Circuit, string, error) {
			sheet, err := k.machine(in.Machine)
			all := sortedByID(mapped(sheet.Circuits, circuitOf), func(v Circuit) int64 { return v.ID })
			items, next := cut(all, after, limit, func(v Circuit) string { return byID(v.ID) })
			return items, next, err
		})
	write(a, op{"addCircuit", http.MethodPost, "/machines/{machine}/circuits", register.RightPlace, tag, "Add a circuit", ""}, func(k *call, in *newCircuitIn) (change, error) {
		_, err := k.machine(in.Machine)
		return commands(register.AddCircuit{Machine: in.Machine, Name: in.Body.Name}), err
	})
	write(a, op{"changeCircuit", http.MethodPut, "/machines/{machine}/circuits/{circuit}", register.RightPlace, tag, "Rename a circuit", ""}, func(k *call, in *changeCircuitIn) (change, error) {
		v, err := k.circuit(in.Machine, in.Circuit)
		current := func() (any, error) {
			now, err := k.circuit(in.Machine, in.Circuit)
			return circuitOf(now), err
		}
		v.Name, v.Version = in.Body.Name, in.Body.Version
		return change{cmds: []register.Command{register.ChangeCircuit{Circuit: v}}, current: current}, err
	})
}

func circuitOf(v register.Circuit) Circuit { return Circuit{v.ID, v.Name, v.Version} }

func (k *call) circuit(machine, name string) (register.Circuit, error) {
	sheet, err := k.machine(machine)
	if err != nil {
		return register.Circuit{}, err
	}
	if i := slices.IndexFunc(sheet.Circuits, func(v register.Circuit) bool { return strings.EqualFold(v.Name, name) }); i >= 0 {
		return sheet.Circuits[i], nil
	}
	return register.Circuit{}, notThere("circuit", "Machine %s has no circuit %s; check its name.", sheet.Machine.Code, name)
}
