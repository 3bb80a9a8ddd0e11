package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/demo"
	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// exported is the list of one kind that a register writes.
func exported(t testing.TB, s *store.Store, kind register.ImportKind) string {
	t.Helper()
	var b bytes.Buffer
	w := exchange.NewWriter(&b, kind)
	if err := errors.Join(s.Export(context.Background(), kind, w.Write), w.Flush()); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestExport_ImportsBackToTheSameRegister(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fillByImport(t, a)
		b := open(t, address(t, a.Engine()))
		for _, kind := range exchange.Kinds() {
			mustImport(t, b, exported(t, a, kind), store.ImportOptions{})
		}
		for _, kind := range exchange.Kinds() {
			if diff := cmp.Diff(strings.Split(exported(t, a, kind), "\n"), strings.Split(exported(t, b, kind), "\n")); diff != "" {
				t.Errorf("the list of %s differs (-first +second):\n%s", kind, diff)
			}
		}
		if diff := cmp.Diff(strings.Split(tables(t, a), "\n"), strings.Split(tables(t, b), "\n")); diff != "" {
			t.Errorf("the registers differ (-first +second):\n%s", diff)
		}
		for _, kind := range exchange.Kinds() {
			r := mustImport(t, a, exported(t, a, kind), store.ImportOptions{})
			if r.Same != r.Rows || r.Rows == 0 || r.ImportID != 0 {
				t.Errorf("its own list of %s is not the same to a register:\n%s", kind, lines(r))
			}
		}
	})
}

// The demo fleet has what a fleet has, policies of its own and findings of
// every class included.
func TestExport_TheDemoFleetImportsBack(t *testing.T) {
	a := open(t, address(t, store.SQLite))
	apply(t, a, demo.Fleet(1, day("2026-11-25"))...)
	b := open(t, address(t, store.SQLite))
	for _, kind := range exchange.Kinds() {
		r := mustImport(t, b, exported(t, a, kind), store.ImportOptions{})
		if r.Added != r.Rows || r.Rows < 20 {
			t.Errorf("%s:\n%.2000s", kind, lines(r))
		}
	}
	for _, kind := range exchange.Kinds() {
		if diff := cmp.Diff(strings.Split(exported(t, a, kind), "\n"), strings.Split(exported(t, b, kind), "\n")); diff != "" {
			t.Errorf("the list of %s differs (-first +second):\n%.3000s", kind, diff)
		}
	}
	var due [2]string
	for i, s := range []*store.Store{a, b} {
		if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
			t.Fatal(err)
		}
		page, err := s.Lines(context.Background(), now, register.LineFilter{Limit: 1000})
		if err != nil || page.Total < 400 || page.Next != "" {
			t.Fatalf("%d lines: %v", page.Total, err)
		}
		for _, l := range page.Lines {
			e := l.Estimate
			due[i] += fmt.Sprintln(l.MachineCode, l.Position, l.AssemblyCode, l.Status, e.Due, e.Earliest, e.Latest, e.Governing, e.Complete, e.Problem, e.Missing, e.Warnings)
		}
	}
	if !strings.Contains(due[0], string(life.StatusStop)) {
		t.Error("no stop in the fleet: this proves little")
	}
	if diff := cmp.Diff(strings.Split(due[0], "\n"), strings.Split(due[1], "\n")); diff != "" {
		t.Errorf("the due dates differ (-first +second):\n%.4000s", diff)
	}
	if diff := cmp.Diff(strings.Split(tables(t, a), "\n"), strings.Split(tables(t, b), "\n")); diff != "" {
		t.Errorf("the registers differ (-first +second):\n%.6000s", diff)
	}
}

// A fit date known by its year counts from the first day, which may lie before
// the hose was made: the list says so in a column of its own.
func TestExport_AFitDateKnownByItsYearImportsBack(t *testing.T) {
	a, b := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
	mustImport(t, a, "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P1;X;EN 853 2SN;12;03/2024;2024\n", store.ImportOptions{})
	for _, kind := range exchange.Kinds() {
		mustImport(t, b, exported(t, a, kind), store.ImportOptions{})
	}
	if diff := cmp.Diff(strings.Split(tables(t, a), "\n"), strings.Split(tables(t, b), "\n")); diff != "" {
		t.Errorf("the registers differ (-first +second):\n%s", diff)
	}
	r, err := importSheet(t, b, "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P2;Y;EN 853 2SN;12;2024-03-05;2024-01-01\n", store.ImportOptions{})
	if err == nil {
		t.Errorf("a hose fitted on a day before it was made is taken:\n%s", lines(r))
	}
}

// Taken off and put back on one day, an open stop stays with the later stay;
// one that was released stays released.
func TestExport_FindingsComeBackAsTheyStand(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fill(t, a)
		replace := register.NewFinding{Number: 3, Class: life.Replace, Place: "end A", ActBy: day("2026-12-24"), Note: `"=1", rubs`}
		apply(t, a,
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-20"), By: "A", Findings: []register.NewFinding{{Number: 4, Class: life.Correct}, replace}},
			register.Remove{AssemblyCode: "H-A", On: day("2026-11-22"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent},
			register.Fit{AssemblyCode: "H-A", Machine: "RT-01", Position: "lift left", On: day("2026-11-22"), ReleasedBy: "M. Adler", Reason: "rubs no more"},
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-22"), By: "B", Note: "after", Findings: []register.NewFinding{{Number: 2, Class: life.Stop}, {Class: life.Watch}, {Number: 4, Class: life.Correct}}},
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-22"), By: "B", Note: "again"},
			register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-22"), By: "B", Note: "again"})
		for _, f := range sheet(t, a, "H-A").Open {
			switch f.Class {
			case life.Watch:
				apply(t, a, register.CloseFinding{FindingID: f.ID, On: day("2026-11-23"), How: register.ClosedByRelease, Reason: "only dirt"})
			case life.Correct:
				apply(t, a, register.CloseFinding{FindingID: f.ID, On: day("2026-11-24"), How: register.ClosedDone})
			}
		}
		b := open(t, address(t, a.Engine()))
		for range 2 {
			for _, kind := range exchange.Kinds() {
				mustImport(t, b, exported(t, a, kind), store.ImportOptions{})
			}
			if diff := cmp.Diff(strings.Split(tables(t, a), "\n"), strings.Split(tables(t, b), "\n")); diff != "" {
				t.Fatalf("the registers differ (-first +second):\n%s", diff)
			}
		}
		if st := sheet(t, b, "H-A").Status; st != life.StatusStop {
			t.Errorf("status %s, want stop", st)
		}
		agree(t, b)
	})
}

func TestImport_InspectionsSayWholeThings(t *testing.T) {
	head := "Machine;Position;Assembly;Type;DN;Made;Fitted;Inspections with findings\nA-1;P1;X;EN 853 2SN;12;3Q23;2024-05-05;"
	for cell, want := range map[string]string{
		`[{"on":"2025-01-01","findings":[{"class":"stop","how":"released","closed":"2025-01-02"}]}]`:               "reason",
		`[{"on":"2025-01-01","findings":[{"class":"stop","how":"done","closed":"2025-01-02"}]}]`:                   "class correct",
		`[{"on":"2025-01-01","findings":[{"class":"watch","how":"released","reason":"x","closed":"2024-12-02"}]}]`: "one of the two days",
		`[{"on":"2025-01-01","findings":[{"class":"watch","closed":"2025-01-02"}]}]`:                               "released or ticked done",
		`[{"on":"2025-01-01","findings":[{"class":"bad"}]}]`:                                                       "not a class",
		`[{"on":"2031-01-01"}]`:       "lies ahead",
		`[{"findings":[]}]`:           "Give a date",
		`2025-01-01`:                  "as the export writes it",
		`[{"on":"2025-01-01","x":1}]`: "as the export writes it",
	} {
		s := open(t, address(t, store.SQLite))
		r, err := importSheet(t, s, head+`"`+strings.ReplaceAll(cell, `"`, `""`)+`"`+"\n", store.ImportOptions{})
		if !errors.Is(err, &register.Error{Code: register.Refused}) || !strings.Contains(lines(r), want) || !strings.Contains(lines(r), "error at Inspections with findings") {
			t.Errorf("%s: %v\n%s; want %q", cell, err, lines(r), want)
		}
	}
}
