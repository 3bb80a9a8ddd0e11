package store_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// TestApply_RandomLivesFollowASimpleModel fits, removes and inspects a few
// assemblies at a few positions on a few days in random order. A model that is
// no more than a list of stays says which of it must be taken; both engines
// must agree with it and with each other.
func TestApply_RandomLivesFollowASimpleModel(t *testing.T) {
	stores := []*store.Store{open(t, address(t, store.SQLite))}
	if !testing.Short() {
		t.Run("with PostgreSQL", func(t *testing.T) { // skips by itself where there is none
			lives(t, append(stores, open(t, address(t, store.Postgres))))
		})
	}
	t.Run("on SQLite", func(t *testing.T) { lives(t, []*store.Store{open(t, address(t, store.SQLite))}) })
}

func lives(t *testing.T, stores []*store.Store) {
	for _, s := range stores {
		apply(t, s, depot()...)
	}
	run := 0
	rapid.Check(t, func(r *rapid.T) {
		run++
		w := &world{r: r, stores: stores, run: run}
		w.begin()
		r.Repeat(map[string]func(*rapid.T){
			"fit":     func(*rapid.T) { w.fit() },
			"past":    func(*rapid.T) { w.fitPast() },
			"remove":  func(*rapid.T) { w.remove() },
			"inspect": func(*rapid.T) { w.inspect() },
		})
		w.compare(t)
	})
	for _, s := range stores {
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("%s: chain broken at %d", s.Engine(), broken)
		}
		everyInstalledHasAnEstimate(t, s)
	}
}

// stay is one placement of the model.
type stay struct {
	assembly, position int
	from, to           quantity.Date // no date: still there
	scrapped           bool
}

func (s stay) meets(from, to quantity.Date) bool {
	return (s.to.IsZero() || s.to.After(from)) && (to.IsZero() || s.from.Before(to))
}

type world struct {
	r       *rapid.T
	stores  []*store.Store
	run     int
	stays   []stay
	visited map[[2]int]quantity.Date // by position and assembly: latest inspection
}

const modelSize = 3

func (w *world) machine() string       { return fmt.Sprintf("R-%d", w.run) }
func (w *world) assembly(i int) string { return fmt.Sprintf("R-%d-%d", w.run, i) }
func (w *world) position(i int) string { return fmt.Sprintf("p%d", i) }
func (w *world) pick(label string) int { return rapid.IntRange(0, modelSize-1).Draw(w.r, label) }
func (w *world) day(l string) quantity.Date {
	return day("2026-11-18").AddDays(rapid.IntRange(0, 8).Draw(w.r, l)) // the last one lies ahead
}

func (w *world) begin() {
	w.visited = map[[2]int]quantity.Date{}
	cmds := []register.Command{register.AddMachine{Site: "Depot", Kind: "refuse truck", Code: w.machine()}}
	for i := range modelSize {
		a := hose(w.assembly(i))
		a.Assembly.Made, a.Assembly.Assembled = quantity.Day(day("2026-09-01")), quantity.Day(day("2026-10-01"))
		cmds = append(cmds, register.AddPosition{Machine: w.machine(), Name: w.position(i)}, a)
	}
	w.apply("", cmds...)
}

// apply wants the commands to be taken, or refused with that code, by every
// store.
func (w *world) apply(code register.Code, cmds ...register.Command) {
	for _, s := range w.stores {
		_, err := s.Apply(context.Background(), now, me, cmds...)
		if code == "" && err != nil || code != "" && !errors.Is(err, &register.Error{Code: code}) {
			w.r.Fatalf("%s: %+v: %v, want %q; model %+v", s.Engine(), cmds, err, code, w.stays)
		}
	}
}

// free is the refusal of a stay, empty if it may be.
func (w *world) free(n stay) register.Code {
	if n.from.After(day("2026-11-25")) {
		return register.Invalid
	}
	for _, s := range w.stays {
		if (s.position == n.position || s.assembly == n.assembly) && s.meets(n.from, n.to) {
			return register.Refused
		}
		if s.assembly == n.assembly && s.scrapped && !s.to.After(n.from) {
			return register.Refused
		}
	}
	return ""
}

func (w *world) fit() {
	n := stay{assembly: w.pick("assembly"), position: w.pick("position"), from: w.day("on")}
	code := w.free(n)
	w.apply(code, register.Fit{AssemblyCode: w.assembly(n.assembly), Machine: w.machine(), Position: w.position(n.position), On: n.from})
	if code == "" {
		w.stays = append(w.stays, n)
	}
}

// fitPast notes a stay with its end in one go.
func (w *world) fitPast() {
	n := stay{assembly: w.pick("assembly"), position: w.pick("position"), from: w.day("from"), to: w.day("to"), scrapped: w.r != nil && rapid.Bool().Draw(w.r, "scrapped")}
	if n.to.Before(n.from) {
		n.from, n.to = n.to, n.from
	}
	code := w.free(n)
	if code == "" && n.to.After(day("2026-11-25")) {
		code = register.Invalid
	}
	w.apply(code, register.Fit{AssemblyCode: w.assembly(n.assembly), Machine: w.machine(), Position: w.position(n.position), On: n.from},
		w.removal(n.assembly, n.to, n.scrapped))
	if code == "" {
		w.stays = append(w.stays, n)
	}
}

func (w *world) removal(assembly int, on quantity.Date, scrapped bool) register.Remove {
	return register.Remove{AssemblyCode: w.assembly(assembly), On: on, Cause: register.CauseOutside, FoundBy: register.FoundByEvent, Scrapped: scrapped}
}

func (w *world) remove() {
	assembly, on, scrapped := w.pick("assembly"), w.day("on"), rapid.Bool().Draw(w.r, "scrapped")
	at := -1
	for i, s := range w.stays {
		if s.assembly == assembly && s.to.IsZero() {
			at = i
		}
	}
	code := register.Code("")
	switch {
	case at < 0:
		code = register.Refused
	case on.After(day("2026-11-25")), on.Before(w.stays[at].from):
		code = register.Invalid
	case w.visited[[2]int{w.stays[at].position, assembly}].After(on):
		code = register.Refused
	}
	w.apply(code, w.removal(assembly, on, scrapped))
	if code == "" {
		w.stays[at].to, w.stays[at].scrapped = on, scrapped
	}
}

func (w *world) inspect() {
	position, on := w.pick("position"), w.day("on")
	found, latest := -1, quantity.Date{}
	for i, s := range w.stays {
		if s.position == position && !s.from.After(on) && (s.to.IsZero() || !s.to.Before(on)) && !s.from.Before(latest) {
			found, latest = i, s.from
		}
	}
	code := register.Code("")
	switch {
	case on.After(day("2026-11-25")):
		code = register.Invalid
	case found < 0:
		code = register.Refused
	}
	class := rapid.SampledFrom([]life.Class{life.Stop, life.Replace, life.Watch}).Draw(w.r, "class")
	w.apply(code, register.Inspect{Machine: w.machine(), Position: w.position(position), On: on, Findings: []register.NewFinding{{Number: 1, Class: class}}})
	if code == "" {
		key := [2]int{position, w.stays[found].assembly}
		if on.After(w.visited[key]) {
			w.visited[key] = on
		}
	}
}

// compare wants every store to show what the model has, and all the same.
func (w *world) compare(t *testing.T) {
	for i := range modelSize {
		at, scrapped := "", false
		for _, s := range w.stays {
			if s.assembly == i && s.to.IsZero() {
				at = w.position(s.position)
			}
			scrapped = scrapped || s.assembly == i && s.scrapped
		}
		var first register.AssemblySheet
		for n, s := range w.stores {
			a := sheet(t, s, w.assembly(i))
			got := ""
			if a.Line != nil {
				got = a.Line.Position
			}
			if got != at || (a.Status == life.StatusRemoved) != (scrapped && at == "") {
				w.r.Fatalf("%s: %s sits at %q, %s; model %+v", s.Engine(), w.assembly(i), got, a.Status, w.stays)
			}
			if n == 0 {
				first = a
				continue
			}
			if d := cmp.Diff(first, a, sameDates, withoutIDs()); d != "" {
				w.r.Fatalf("the engines differ on %s:\n%s", w.assembly(i), d)
			}
		}
	}
}

// withoutIDs leaves out numbers that the engines give out differently.
func withoutIDs() cmp.Option {
	return cmp.Options{
		cmpopts.IgnoreFields(register.Assembly{}, "ID", "SiteID"), cmpopts.IgnoreFields(register.Site{}, "ID", "PolicyID"),
		cmpopts.IgnoreFields(register.Estimate{}, "AssemblyID"), cmpopts.IgnoreFields(register.Finding{}, "ID", "InspectionID", "AssemblyID"),
		cmpopts.IgnoreFields(register.Policy{}, "ID"),
	}
}
