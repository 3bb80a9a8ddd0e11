package store_test

import (
	"cmp"
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// scatter gives the estimates of a crowd random dates, so that every status,
// tie and gap occurs.
func scatter(t *testing.T, s *store.Store) {
	t.Helper()
	rows := storedEstimates(t, s)
	r := rand.New(rand.NewPCG(5, 6))
	for i := range rows {
		e := &rows[i]
		e.AsOf, e.Stale = day("2026-11-24"), r.IntN(5) == 0
		e.ActBy = day("2026-11-25").AddDays(r.IntN(20)*10 - 60)
		if r.IntN(6) == 0 {
			e.ActBy = quantity.Date{}
		}
		e.InspectionDue = day("2026-11-25").AddDays(r.IntN(100) - 50)
		e.StopOpen, e.Complete, e.CanHurt = r.IntN(15) == 0, r.IntN(4) != 0, r.IntN(3) == 0
		e.Warnings = nil
		if r.IntN(9) == 0 {
			e.Warnings = register.Words{"over-rating", "twisted"}
		}
	}
	if err := s.StoreEstimates(context.Background(), rows); err != nil {
		t.Fatal(err)
	}
}

// everyLine reads the list page by page.
func everyLine(t *testing.T, s *store.Store, f register.LineFilter) (lines []register.Line, total int) {
	t.Helper()
	for {
		page, err := s.Lines(context.Background(), now, f)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, page.Lines...)
		if page.Next == "" {
			return lines, page.Total
		}
		f.After = page.Next
	}
}

func dueOrder(x, y register.Line) int {
	rank := func(l register.Line) int {
		if l.Estimate.StopOpen {
			return 0
		}
		return 1
	}
	act := func(l register.Line) quantity.Date {
		if l.Estimate.ActBy.IsZero() {
			return quantity.MaxDate
		}
		return l.Estimate.ActBy
	}
	return cmp.Or(cmp.Compare(rank(x), rank(y)), act(x).Compare(act(y)), cmp.Compare(x.MachineCode, y.MachineCode), cmp.Compare(x.WalkOrder, y.WalkOrder))
}

func TestLines_FilterOrderAndPagesAgreeWithThePlainList(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 400)
		scatter(t, s)
		all, total := everyLine(t, s, register.LineFilter{Limit: 1000})
		if len(all) != 400 || total != 400 {
			t.Fatalf("%d lines of %d, want 400", len(all), total)
		}
		if !slices.IsSortedFunc(all, dueOrder) {
			t.Error("the list is not in the order of the due list")
		}
		today := day("2026-11-25")
		thirty, none := 30, 0
		for _, row := range []struct {
			why string
			f   register.LineFilter
			is  func(register.Line) bool
		}{
			{"all, in small pages", register.LineFilter{}, func(register.Line) bool { return true }},
			{"stop", register.LineFilter{Status: life.StatusStop}, func(l register.Line) bool { return l.Status == life.StatusStop }},
			{"overdue", register.LineFilter{Status: life.StatusOverdue}, func(l register.Line) bool { return l.Status == life.StatusOverdue }},
			{"soon", register.LineFilter{Status: life.StatusSoon}, func(l register.Line) bool { return l.Status == life.StatusSoon }},
			{"ahead", register.LineFilter{Status: life.StatusAhead}, func(l register.Line) bool { return l.Status == life.StatusAhead }},
			{"in service", register.LineFilter{Status: life.StatusInService}, func(l register.Line) bool { return l.Status == life.StatusInService }},
			{"in store: none is installed", register.LineFilter{Status: life.StatusInStore}, func(register.Line) bool { return false }},
			{"incomplete", register.LineFilter{Incomplete: true}, register.Line.Incomplete},
			{"inspection overdue", register.LineFilter{InspectionOverdue: true}, func(l register.Line) bool { return l.Estimate.InspectionDue.Before(today) }},
			{"inspection soon", register.LineFilter{InspectionSoon: true}, func(l register.Line) bool {
				return !l.Estimate.InspectionDue.Before(today) && !l.Estimate.InspectionDue.After(today.AddDays(30))
			}},
			{"over rating", register.LineFilter{OverRating: true}, func(l register.Line) bool { return slices.Contains(l.Estimate.Warnings, "over-rating") }},
			{"a burst can hurt", register.LineFilter{CanHurt: true}, func(l register.Line) bool { return l.Position == "P7" }},
			{"within 30 days", register.LineFilter{WithinDays: &thirty}, func(l register.Line) bool {
				return !l.Estimate.ActBy.IsZero() && !l.Estimate.ActBy.After(today.AddDays(30))
			}},
			{"due today or before", register.LineFilter{WithinDays: &none}, func(l register.Line) bool {
				return !l.Estimate.ActBy.IsZero() && !l.Estimate.ActBy.After(today)
			}},
			{"one machine", register.LineFilter{Machine: "M-3"}, func(l register.Line) bool { return l.MachineCode == "M-3" }},
			{"one machine's overdue", register.LineFilter{Machine: "M-3", Status: life.StatusOverdue}, func(l register.Line) bool { return l.MachineCode == "M-3" && l.Status == life.StatusOverdue }},
			{"the site", register.LineFilter{Site: "Depot"}, func(register.Line) bool { return true }},
			{"another site", register.LineFilter{Site: "Moon"}, func(register.Line) bool { return false }},
			{"the kind", register.LineFilter{Kind: "refuse truck", Incomplete: true}, register.Line.Incomplete},
			{"a text of the machine", register.LineFilter{Text: "m-1"}, func(l register.Line) bool { return strings.HasPrefix(l.MachineCode, "M-1") }},
			{"a text of the assembly", register.LineFilter{Text: "h-399"}, func(l register.Line) bool { return l.AssemblyCode == "H-399" }},
			{"signs of LIKE are letters", register.LineFilter{Text: "%_"}, func(register.Line) bool { return false }},
		} {
			for _, limit := range []int{7, 1000} {
				row.f.Limit = limit
				want := slices.DeleteFunc(slices.Clone(all), func(l register.Line) bool { return !row.is(l) })
				got, total := everyLine(t, s, row.f)
				if total != len(want) {
					t.Errorf("%s: total %d, want %d", row.why, total, len(want))
				}
				if d := gocmp.Diff(codes(want), codes(got)); d != "" {
					t.Errorf("%s, pages of %d: want (-) and got (+):\n%s", row.why, limit, d)
				}
			}
		}
		if _, err := s.Lines(context.Background(), now, register.LineFilter{After: "nonsense"}); !errors.Is(err, &register.Error{Code: register.Invalid}) {
			t.Errorf("%v, want a refusal of a cursor that is none", err)
		}
	})
}

func codes(lines []register.Line) []string {
	out := []string{}
	for _, l := range lines {
		out = append(out, l.AssemblyCode)
	}
	return out
}

func TestCounts_AgreeWithThePlainList(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 400)
		apply(t, s, register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "IN-STORE"}})
		apply(t, s, register.Remove{AssemblyCode: "H-5", On: day("2026-11-25"), Cause: register.CauseHeat, FoundBy: register.FoundByEvent, Scrapped: true},
			register.Remove{AssemblyCode: "H-6", On: day("2026-11-25"), Cause: register.CauseHeat, FoundBy: register.FoundByEvent})
		scatter(t, s)
		all, _ := everyLine(t, s, register.LineFilter{Limit: 1000})
		want := register.Counts{Machines: 20, Positions: 400, EmptyPositions: 2, InStore: 2, Assemblies: 398}
		perMachine := map[string]register.Counts{}
		for _, l := range all {
			m := perMachine[l.MachineCode]
			for _, c := range []*register.Counts{&want, &m} {
				count(c, l)
			}
			m.Assemblies++
			perMachine[l.MachineCode] = m
		}
		for _, site := range []string{"", "Depot"} {
			got, err := s.Counts(context.Background(), now, site)
			if err != nil {
				t.Fatal(err)
			}
			if d := gocmp.Diff(want, got); d != "" {
				t.Errorf("site %q: want (-) and got (+):\n%s", site, d)
			}
		}
		if got, err := s.Counts(context.Background(), now, "Moon"); err != nil || got != (register.Counts{}) {
			t.Errorf("a site that is none: %+v, %v", got, err)
		}
		var lines []register.MachineLine
		f := register.MachineFilter{Limit: 6}
		for {
			page, next, err := s.MachineLines(context.Background(), now, f)
			if err != nil {
				t.Fatal(err)
			}
			lines = append(lines, page...)
			if f.After = next; next == "" {
				break
			}
		}
		if len(lines) != 20 || !slices.IsSortedFunc(lines, func(x, y register.MachineLine) int { return cmp.Compare(x.Machine.Code, y.Machine.Code) }) {
			t.Errorf("%d machines, want 20 by code", len(lines))
		}
		for _, l := range lines {
			m := perMachine[l.Machine.Code]
			m.Machines, m.Positions = 1, 20
			m.EmptyPositions = 20 - m.Assemblies
			if d := gocmp.Diff(m, l.Counts); d != "" {
				t.Errorf("machine %s: want (-) and got (+):\n%s", l.Machine.Code, d)
			}
			if l.Positions != 20 || l.Site != "Depot" || l.Kind != "refuse truck" || l.LastReading == nil || l.NextActBy != nextOf(all, l.Machine.Code) {
				t.Errorf("machine line %+v", l)
			}
		}
	})
}

func count(c *register.Counts, l register.Line) { countOn(c, l, day("2026-11-25")) }

func countOn(c *register.Counts, l register.Line, today quantity.Date) {
	switch l.Status {
	case life.StatusStop:
		c.Stop++
	case life.StatusOverdue:
		c.Overdue++
	case life.StatusSoon:
		c.Soon++
	case life.StatusAhead:
		c.Ahead++
	case life.StatusInService:
		c.InService++
	}
	if l.Incomplete() {
		c.Incomplete++
	}
	if l.Estimate.Stale {
		c.Stale++
	}
	if l.Estimate.InspectionDue.Before(today) {
		c.InspectionsOverdue++
	} else if !l.Estimate.InspectionDue.After(today.AddDays(30)) {
		c.InspectionsSoon++
	}
	if slices.Contains(l.Estimate.Warnings, "over-rating") {
		c.OverRating++
	}
}

func nextOf(all []register.Line, machine string) quantity.Date {
	var dates []quantity.Date
	for _, l := range all {
		if l.MachineCode == machine {
			dates = append(dates, l.Estimate.ActBy)
		}
	}
	return quantity.Earliest(dates...)
}

func TestMachineLines_Filters(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 100)
		apply(t, s, register.AddMachine{Site: "Depot", Code: "Z-9", Name: "Sweeper, small", Serial: "S-77"})
		for _, row := range []struct {
			f    register.MachineFilter
			want int
		}{
			{register.MachineFilter{}, 6},
			{register.MachineFilter{Kind: "refuse truck"}, 5},
			{register.MachineFilter{Text: "SWEEP"}, 1},
			{register.MachineFilter{Text: "s-77"}, 1},
			{register.MachineFilter{Site: "Moon"}, 0},
			{register.MachineFilter{Site: "Depot", Text: "m-"}, 5},
		} {
			got, _, err := s.MachineLines(context.Background(), now, row.f)
			if err != nil || len(got) != row.want {
				t.Errorf("%+v: %d machines, %v; want %d", row.f, len(got), err, row.want)
			}
		}
	})
}

// TestLines_WalkAlongAnIndex holds the lists to what makes them quick at 100 000
// lines: they are found in the order they are shown in, and nothing is sorted.
func TestLines_WalkAlongAnIndex(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	crowd(t, s, 2000)
	scatter(t, s)
	apply(t, s, register.AddSite{Name: "Quay", Zone: "Europe/Berlin"})
	within := 30
	for _, row := range []struct {
		f     register.LineFilter
		index string
	}{
		{register.LineFilter{}, "estimates_by_due"},
		{register.LineFilter{Status: life.StatusSoon}, "estimates_by_due"},
		{register.LineFilter{WithinDays: &within}, "estimates_by_due"},
		{register.LineFilter{Site: "Depot"}, "estimates_by_site"},
		{register.LineFilter{Site: "Depot", Status: life.StatusOverdue}, "estimates_by_site"},
		{register.LineFilter{Incomplete: true}, "estimates_incomplete"},
		{register.LineFilter{Site: "Depot", Incomplete: true}, "estimates_incomplete_by_site"},
		{register.LineFilter{OverRating: true}, "estimates_over_rating"},
		{register.LineFilter{Kind: "refuse truck"}, "estimates_by_due"},
		{register.LineFilter{CanHurt: true, Site: "Depot"}, "estimates_by_site"},
	} {
		first, err := s.Lines(context.Background(), now, register.LineFilter{Limit: 3})
		if err != nil {
			t.Fatal(err)
		}
		for _, after := range []string{"", first.Next} {
			row.f.After = after
			query, args, err := s.ListQuery(context.Background(), now, row.f)
			if err != nil {
				t.Fatal(err)
			}
			plan := planOf(t, s, query, args...)
			if !strings.Contains(plan, row.index+" (") || strings.Contains(plan, "B-TREE") || strings.Contains(plan, "SCAN e") {
				t.Errorf("%+v: the plan leads past the index %s:\n%s\n%s", row.f, row.index, query, plan)
			}
		}
	}
}

// planOf is how SQLite would answer a query.
func planOf(t *testing.T, s *store.Store, query string, args ...any) string {
	t.Helper()
	rows, err := s.Raw().Query("EXPLAIN QUERY PLAN "+query, args...)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	plan := ""
	for rows.Next() {
		var a, b, c any
		var detail string
		if err := rows.Scan(&a, &b, &c, &detail); err != nil {
			t.Fatal(err)
		}
		plan += detail + "\n"
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return plan
}

func BenchmarkLines(b *testing.B) {
	s := open(b, address(b, store.SQLite))
	crowd(b, s, promised)
	if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
		b.Fatal(err)
	}
	within := 400
	for _, row := range []struct {
		name string
		f    register.LineFilter
	}{
		{"All", register.LineFilter{}},
		{"Site", register.LineFilter{Site: "Depot"}},
		{"Machine", register.LineFilter{Machine: "M-77"}},
		{"InService", register.LineFilter{Status: life.StatusInService}},
		{"Incomplete", register.LineFilter{Incomplete: true}},
		{"Within400", register.LineFilter{WithinDays: &within}},
		{"Text", register.LineFilter{Text: "H-4242"}},
	} {
		b.Run(row.name, func(b *testing.B) {
			for b.Loop() { // each time the next page
				page, err := s.Lines(context.Background(), now, row.f)
				if err != nil {
					b.Fatal(err)
				}
				row.f.After = page.Next
			}
		})
	}
	b.Run("Counts", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.Counts(context.Background(), now, ""); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("MachineLines", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := s.MachineLines(context.Background(), now, register.MachineFilter{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
