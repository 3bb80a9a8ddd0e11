package api

import (
	"net/http"
	"strings"
	"unicode"

	"hoseward/internal/register"
)

type takeBackIn struct {
	Write
	Numbered
	Body Corrected
}

type takeBackMachineIn struct {
	Write
	OfMachine
	Body Corrected
}

type takeBackPositionIn struct {
	Write
	OfPosition
	Body Corrected
}

type takeBackCircuitIn struct {
	Write
	OfMachine
	Circuit string `path:"circuit" doc:"Name of the circuit."`
	Body    Corrected
}

type takeBackAssemblyIn struct {
	Write
	OfAssembly
	Body Corrected
}

const takesBack = "Only where nothing was built upon it. The change log keeps what was there."

// takeBack adds the operation that takes a row back that was noted by mistake.
// there is an error where the caller sees no such row.
func takeBack(a *API, thing register.Thing, path, tag, what string, there func(k *call, id int64) error) {
	write(a, op{"takeBack" + camel(path), http.MethodPost, "/" + path + "/{id}/take-back", thing.Right(), tag, "Take back " + what + " that was noted by mistake", takesBack},
		func(k *call, in *takeBackIn) (change, error) { return in.Body.takeBack(thing, in.ID), there(k, in.ID) })
}

func (c Corrected) takeBack(thing register.Thing, id int64) change {
	return commands(register.TakeBack{What: thing, ID: id, Version: c.Version, Reason: c.Reason})
}

// takeBacks take back what is named by its name.
func (a *API) takeBacks() {
	write(a, op{"takeBackMachine", http.MethodPost, "/machines/{machine}/take-back", register.ThingMachine.Right(), "machines", "Take back a machine that was added by mistake", takesBack},
		func(k *call, in *takeBackMachineIn) (change, error) {
			sheet, err := k.machine(in.Machine)
			return in.Body.takeBack(register.ThingMachine, sheet.Machine.ID), err
		})
	write(a, op{"takeBackPosition", http.MethodPost, "/machines/{machine}/positions/{position}/take-back", register.ThingPosition.Right(), "machines", "Take back a position that was added by mistake", takesBack},
		func(k *call, in *takeBackPositionIn) (change, error) {
			at, err := k.position(in.OfPosition)
			return in.Body.takeBack(register.ThingPosition, at.ID), err
		})
	write(a, op{"takeBackCircuit", http.MethodPost, "/machines/{machine}/circuits/{circuit}/take-back", register.ThingCircuit.Right(), "machines", "Take back a circuit that was added by mistake", takesBack},
		func(k *call, in *takeBackCircuitIn) (change, error) {
			v, err := k.circuit(in.Machine, in.Circuit)
			return in.Body.takeBack(register.ThingCircuit, v.ID), err
		})
	write(a, op{"takeBackAssembly", http.MethodPost, "/assemblies/{assembly}/take-back", register.ThingAssembly.Right(), "assemblies", "Take back an assembly that was added by mistake", "Where it was fitted, take that back first. " + takesBack},
		func(k *call, in *takeBackAssemblyIn) (change, error) {
			sheet, err := k.assembly(in.Assembly)
			return in.Body.takeBack(register.ThingAssembly, sheet.Assembly.ID), err
		})
}

// camel is a path as a part of a name: meter-events as MeterEvents.
func camel(path string) string {
	var b strings.Builder
	up := true
	for _, r := range path {
		if r == '-' {
			up = true
			continue
		}
		if up {
			r = unicode.ToUpper(r)
		}
		b.WriteRune(r)
		up = false
	}
	return b.String()
}
