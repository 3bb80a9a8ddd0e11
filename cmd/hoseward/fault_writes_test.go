package main_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// The fleet that is written to: each writer has a position of its own, five
// share a machine.
const (
	faultWriters    = 500
	writersAMachine = 5
	// Each round of writers has so many steps for each, and days of its own
	// for them; a register serves so many rounds.
	stepsARound    = 8
	roundsAFleet   = 20
	faultFleetDays = writersAMachine * stepsARound * roundsAFleet
)

// faultBegin is the day on which everything of the fleet was fitted.
var faultBegin = quantity.DateOf(faultNoon, time.UTC).AddDays(-faultFleetDays - 10)

func faultMachine(writer int) string { return fmt.Sprintf("M-%03d", writer/writersAMachine) }

func faultPosition(writer int) string { return fmt.Sprintf("place %d", writer%writersAMachine+1) }

// faultHours is what the meter of every machine shows on a day.
func faultHours(on quantity.Date) float64 { return 1000 + 6*float64(on.Sub(faultBegin)) }

func faultHose(code, note string) register.AddAssembly {
	bar := 275.0
	return register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
		Code: code, Designation: "EN 853 2SN", DN: 12, Dash: 8, RatedBar: &bar, RatingSource: register.RatingPrinted, Tube: "NBR", Note: note,
		Made: quantity.Day(faultBegin.AddDays(-60)), Assembled: quantity.Day(faultBegin.AddDays(-30)),
	}}
}

// faultFleet is the register before anybody writes to it.
func faultFleet() []register.Command {
	hours := 30.0
	cmds := []register.Command{register.AddSite{Name: "Depot", Zone: "UTC"}}
	for w := range faultWriters {
		machine, position, code := faultMachine(w), faultPosition(w), fmt.Sprintf("FIRST-%d", w)
		if w%writersAMachine == 0 {
			cmds = append(cmds, register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: machine, PlannedHoursPerWeek: &hours},
				register.AddReading{Machine: machine, On: faultBegin, Hours: faultHours(faultBegin)})
		}
		cmds = append(cmds, register.AddPosition{Machine: machine, Circuit: "lift", Name: position, CanHurt: w%3 == 0},
			faultHose(code, ""), register.Fit{AssemblyCode: code, Machine: machine, Position: position, On: faultBegin})
	}
	return cmds
}

// writeKind is a kind of write, in the mark it leaves in the register.
type writeKind string

const (
	writeSwap      writeKind = "swap" // an old hose off, a new one on
	writeReading   writeKind = "reading"
	writeLook      writeKind = "look" // an inspection with two findings
	writeMachine   writeKind = "machine"
	writeHose      writeKind = "hose"
	writeCorrect   writeKind = "correct" // an assembly is described anew
	writeMove      writeKind = "move"    // the day of a fitting is corrected
	writeMany      writeKind = "many"    // how all positions of a machine are worked
	writeKindCount           = 8
)

// wholeOf is what a write leaves in the change log: all of it or nothing.
func wholeOf(k writeKind) string {
	return map[writeKind]string{
		writeSwap:    "added assemblies, added placements, added removals, changed placements",
		writeReading: "added readings",
		writeLook:    "added findings, added findings, added inspections",
		writeMachine: "added assemblies, added circuits, added machines, added placements, added positions, added positions",
		writeHose:    "added assemblies",
		writeCorrect: "changed assemblies",
		writeMove:    "changed placements",
		writeMany:    "added conditions, added conditions, added conditions, added conditions, added conditions",
	}[k]
}

// mark is the mark that a write leaves in the register. No two are alike.
func mark(k writeKind, round, writer, step int) string {
	return fmt.Sprintf("w-%s-%d-%d-%d.", k, round, writer, step)
}

// codeOf is the code of what a write adds; it is no mark.
func codeOf(m string) string { return strings.Trim(strings.ReplaceAll(m, "-", "/"), ".") }

// writer is one of many who write at the same time, each about a position of
// its own and about the machine it shares with others.
type writer struct {
	reg           *store.Store
	by            register.Actor
	round, number int
	dice          *rand.Rand
	day           quantity.Date // of the step it is at
	moved         bool          // the day of the last fitting was corrected
}

var faultActor = register.Actor{PersonID: register.LocalPersonID, Origin: register.FromCommand}

// dayOf is the day a writer has for a step: no other writer of its machine has
// it, and it lies behind those of all rounds before.
func dayOf(round, number, step int) quantity.Date {
	return faultBegin.AddDays(1 + writersAMachine*(round*stepsARound+step) + number%writersAMachine)
}

// write tries one write and leaves its mark.
func (w *writer) write(ctx context.Context, kind writeKind, m string) error {
	cmds, err := w.commands(ctx, kind, m)
	if err == nil {
		_, err = w.reg.Apply(ctx, faultNoon, w.by, cmds...)
	}
	if err == nil && kind == writeSwap {
		w.moved = false
	}
	return err
}

// What a writer does where it is told to try again: it does, and is patient.
const (
	againAfter = 50 * time.Millisecond
	againTimes = 1000
)

// step does one write, as often as it is told that nothing of it was saved, and
// says so.
func (w *writer) step(ctx context.Context, n int) {
	w.day = dayOf(w.round, w.number, n)
	kinds := [writeKindCount]writeKind{writeSwap, writeReading, writeLook, writeMachine, writeHose, writeCorrect, writeMove, writeMany}
	kind := kinds[w.dice.IntN(len(kinds))]
	m := mark(kind, w.round, w.number, n)
	for range againTimes {
		err := w.write(ctx, kind, m)
		var refused *register.Error
		_, trouble := register.Trouble(err)
		switch { // each is one write to the pipe
		case err == nil:
			fmt.Println("done", m)
		case errors.As(err, &refused):
			fmt.Println("refused", m, err)
		case trouble == register.ErrUnsure:
			fmt.Println("trouble", m, trouble)
		case trouble != nil:
			fmt.Println("trouble", m, trouble)
			time.Sleep(againAfter)
			continue
		default:
			fmt.Println("strange", m, err)
		}
		return
	}
}

func (w *writer) commands(ctx context.Context, kind writeKind, m string) ([]register.Command, error) {
	machine, position := faultMachine(w.number), faultPosition(w.number)
	switch kind {
	case writeReading:
		return []register.Command{register.AddReading{Machine: machine, On: w.day, Hours: faultHours(w.day), Note: m}}, nil
	case writeMachine:
		code := "N-" + codeOf(m)
		return []register.Command{
			register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: code},
			register.AddPosition{Machine: code, Circuit: "lift", Name: "left"},
			register.AddPosition{Machine: code, Name: "right"},
			faultHose("A-"+codeOf(m), m),
			register.Fit{AssemblyCode: "A-" + codeOf(m), Machine: code, Position: "left", On: w.day},
		}, nil
	case writeHose:
		return []register.Command{faultHose("H-"+codeOf(m), m)}, nil
	case writeLook:
		return []register.Command{register.Inspect{Machine: machine, Position: position, On: w.day, By: "N. Ott", Note: m, Findings: []register.NewFinding{
			{Number: 3, Class: life.Replace, Place: "end A"}, {Number: 15, Class: life.Correct},
		}}}, nil
	case writeMany:
		return w.conditions(m), nil
	}
	at, err := w.reg.PositionSheet(ctx, faultNoon, machine, position)
	if err != nil {
		return nil, err
	}
	if at.Line == nil {
		return nil, errors.New("nothing sits at " + machine + ", " + position)
	}
	sits := at.Line.AssemblyCode
	if kind == writeSwap {
		return []register.Command{
			register.Remove{AssemblyCode: sits, On: w.day, Cause: register.CausePressure, FoundBy: register.FoundByEvent},
			faultHose("S-"+codeOf(m), m),
			register.Fit{AssemblyCode: "S-" + codeOf(m), Machine: machine, Position: position, On: w.day},
		}, nil
	}
	sheet, err := w.reg.AssemblySheet(ctx, faultNoon, sits)
	if err != nil {
		return nil, err
	}
	if kind == writeMove {
		p := sheet.Placements[len(sheet.Placements)-1].Placement
		p.From = p.From.AddDays(1)
		if w.moved { // and back, so that it stays before what is noted later
			p.From = p.From.AddDays(-2)
		}
		w.moved = !w.moved
		return []register.Command{register.ChangePlacement{Placement: p, Reason: m}}, nil
	}
	sheet.Assembly.Note = m
	return []register.Command{register.ChangeAssembly{Assembly: sheet.Assembly}}, nil
}

func (w *writer) conditions(m string) []register.Command {
	first := int64(w.number - w.number%writersAMachine + 1) // positions were made in this order
	var ids []int64
	for i := range int64(writersAMachine) {
		ids = append(ids, first+i)
	}
	warm := 60 + float64(w.number%20)
	return []register.Command{register.SetConditionsAt{Positions: ids, From: w.day, Basis: register.Measured, Note: m, Service: register.Service{FluidC: &warm}}}
}

// beWriters is the child that writes: its arguments are the address of the
// register, the number of the round, what its dice begin with and how many
// writers there are. It prints a line for each write that was carried out, and
// for each that was not.
func beWriters(args []string) int {
	round, err1 := strconv.Atoi(args[1])
	dice, err2 := strconv.ParseUint(args[2], 10, 64)
	writers, err3 := strconv.Atoi(args[3])
	reg, err4 := store.Open(context.Background(), args[0], store.Options{Migrate: true})
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return failed("begin to write", err)
	}
	fmt.Println("ready")
	var all sync.WaitGroup
	for n := range writers {
		w := &writer{reg: reg, by: faultActor, round: round, number: n, dice: rand.New(rand.NewPCG(dice, uint64(n)))}
		all.Go(func() {
			for n := range stepsARound {
				w.step(context.Background(), n)
			}
		})
	}
	all.Wait()
	if err := reg.Close(); err != nil {
		return failed("close the register", err)
	}
	return 0
}
