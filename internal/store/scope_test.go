package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit/marked"
)

// Sites of tests: their marks are in every text of theirs.
var (
	alder = marked.Site{Mark: "ALDER", Today: quantity.DateOf(now, time.UTC)}
	birch = marked.Site{Mark: "BIRCH", Today: quantity.DateOf(now, time.UTC)}
	cedar = marked.Site{Mark: "CEDAR", Today: quantity.DateOf(now, time.UTC)}
)

// keeper keeps what reads give, as JSON.
func keeper(t *testing.T, got map[string]string) func(name string, values ...any) {
	return func(name string, values ...any) {
		t.Helper()
		for i, v := range values {
			if err, ok := v.(error); ok {
				values[i] = err.Error()
			}
		}
		b, err := json.Marshal(values)
		if err != nil {
			t.Fatal(err)
		}
		got[name] = string(b)
	}
}

// reads is what every read of a register gives, as JSON by what was asked.
// own are the sites whose things are asked for one by one.
func reads(t *testing.T, s *store.Store, own ...marked.Site) map[string]string {
	t.Helper()
	ctx := context.Background()
	got := map[string]string{}
	keep := keeper(t, got)
	two := func(name string) func(any, error) {
		return func(v any, err error) { t.Helper(); keep(name, v, err) }
	}
	lists(ctx, s, keep)
	sites, err := s.Sites(ctx)
	two("sites")(sites, err)
	kinds, err := s.Kinds(ctx)
	two("kinds")(kinds, err)
	kind, err := s.Kind(ctx, marked.Kind)
	two("kind")(kind, err)
	codes, err := s.MachineCodes(ctx)
	two("machine codes")(codes, err)
	for _, most := range []int{1, 2, 5} {
		few, err := s.FewMachineCodes(ctx, most)
		two(fmt.Sprint("few machine codes ", most))(few, err)
	}
	for _, mine := range own {
		things(ctx, s, mine, keep)
	}
	return got
}

// lists reads all lists with many filters.
func lists(ctx context.Context, s *store.Store, keep func(string, ...any)) {
	yes, days := true, 400
	for _, site := range []string{"", alder.Name(), birch.Name(), cedar.Name()} {
		counts, err := s.Counts(ctx, now, site)
		keep("counts "+site, counts, err)
		known, err := s.Known(ctx, now, site)
		keep("known "+site, known, err)
		knownDays, err := s.KnownDays(ctx, site)
		keep("known days "+site, knownDays, err)
		gaps, more, err := s.Gaps(ctx, register.GapFilter{Site: site}, 100)
		keep("gaps "+site, gaps, more, err)
		for i, f := range []register.LineFilter{
			{},
			{Limit: 2},
			{Status: life.StatusStop},
			{Status: life.StatusInService},
			{Status: life.StatusOverdue},
			{Incomplete: true},
			{InspectionOverdue: true},
			{InspectionSoon: true},
			{OverRating: true},
			{CanHurt: true},
			{WithinDays: &days},
			{Kind: marked.Kind},
			{Text: "2SN"},
			{Text: "birch"},
			{Machine: alder.Machine()},
			{Machine: birch.Machine()},
			{Uncounted: true},
			{Limit: 2, Status: life.StatusInService},
		} {
			f.Site = site
			for page := 0; page < 9; page++ {
				lines, err := s.Lines(ctx, now, f)
				keep(fmt.Sprint("lines ", site, i, " page ", page), lines, err)
				if f.After = lines.Next; f.After == "" {
					break
				}
			}
		}
		for i, f := range []register.MachineFilter{{}, {Limit: 1}, {Kind: marked.Kind}, {Text: "loader"}, {Text: "birch"}} {
			f.Site = site
			machines, next, err := s.MachineLines(ctx, now, f)
			keep(fmt.Sprint("machines ", site, i), machines, next, err)
			ids, err := s.MachineIDs(ctx, f)
			keep(fmt.Sprint("machine ids ", site, i), ids, err)
		}
		for i, f := range []register.AssemblyFilter{{}, {Limit: 2}, {Where: "fitted"}, {Where: "in store"}, {Where: "scrapped"}, {DN: 12}, {Designation: "2SN"}, {Text: "braid"}, {Text: "2sn"}, {Text: "b"}, {Text: "birch"}} {
			f.Site = site
			page, err := s.Assemblies(ctx, now, f)
			keep(fmt.Sprint("assemblies ", site, i), page, err)
		}
		for i, f := range []register.PositionFilter{
			{},
			{Limit: 2},
			{Empty: true},
			{CanHurt: &yes},
			{Exposed: &yes},
			{Kind: marked.Kind},
			{Text: "spare"},
			{Text: "2SN"},
			{Text: "birch"},
			{Text: "b"},
			{Machine: birch.Machine()},
			{Circuit: birch.Circuit()},
			{Policy: life.HeightenedDemand().Name},
		} {
			f.Site = site
			page, err := s.Positions(ctx, now, f)
			keep(fmt.Sprint("positions ", site, i), page, err)
			ids, err := s.PositionIDs(ctx, f)
			keep(fmt.Sprint("position ids ", site, i), ids, err)
		}
	}
	for _, text := range []string{
		"2SN", "loader", "spare place", "birch", "b", "BIRCH-M1", "birch-h1", "BIRCH-H", "ALDER", "ALDER-M1", "alder-h3", "DN 12", "birch circuit", marked.Kind, "yard", "serial",
	} {
		for _, limit := range []int{0, 1} {
			found, err := s.Search(ctx, now, text, limit)
			keep(fmt.Sprint("search ", text, limit), found, err)
		}
	}
}

// things reads the single things of a site.
func things(ctx context.Context, s *store.Store, mine marked.Site, keep func(string, ...any)) {
	for _, code := range []string{mine.Machine(), mine.Second(), mine.Gone()} {
		sheet, err := s.MachineSheet(ctx, now, code)
		keep("machine "+code, sheet, err)
		for _, name := range []string{mine.Position(), mine.Empty()} {
			p, err := s.PositionSheet(ctx, now, code, name)
			keep("position "+code+" "+name, p, err)
		}
	}
	for i := 1; i <= 7; i++ {
		code := fmt.Sprint(mine.Mark, "-H", i)
		sheet, err := s.AssemblySheet(ctx, now, code)
		keep("assembly "+code, sheet, err)
	}
	site, err := s.Site(ctx, mine.Name())
	keep("site "+mine.Name(), site, err)
}

// rowsByNumber reads the rows by number, all numbers up to most.
func rowsByNumber(ctx context.Context, s *store.Store, most int64, keep func(string, ...any)) {
	for id := int64(0); id <= most; id++ {
		reading, of, err := s.Reading(ctx, id)
		keep(fmt.Sprint("reading ", id), reading, of, err)
		event, of, err := s.MeterEvent(ctx, id)
		keep(fmt.Sprint("meter event ", id), event, of, err)
		layUp, of, err := s.LayUp(ctx, id)
		keep(fmt.Sprint("lay-up ", id), layUp, of, err)
		said, of, err := s.Conditions(ctx, id)
		keep(fmt.Sprint("conditions ", id), said, of, err)
		look, of, err := s.Inspection(ctx, id)
		keep(fmt.Sprint("inspection ", id), look, of, err)
		finding, of, err := s.Finding(ctx, id)
		keep(fmt.Sprint("finding ", id), finding, of, err)
		placement, err := s.PlacementSheet(ctx, id)
		keep(fmt.Sprint("placement ", id), placement, err)
	}
}

// filled is a register of some sites, filled in order.
func filled(t *testing.T, s *store.Store, of ...marked.Site) *store.Store {
	t.Helper()
	for _, site := range of {
		apply(t, s, site.Fill()...)
	}
	if _, err := s.ReestimateAll(context.Background(), now, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	if err := s.NoteKnown(context.Background(), now); err != nil {
		t.Fatal(err)
	}
	return s
}

// idOf is the id of a site.
func idOf(t *testing.T, s *store.Store, site marked.Site) int64 {
	t.Helper()
	row, err := s.Site(context.Background(), site.Name())
	if err != nil {
		t.Fatal(err)
	}
	return row.ID
}

// Whatever is asked, a register within a scope answers as one that has nothing
// but the sites of the scope: what there is, and in the same words that
// something is not there.
func TestFor_IsARegisterOfItsSitesAlone(t *testing.T) {
	for name, own := range map[string][]marked.Site{"one site": {alder}, "two sites": {alder, cedar}} {
		t.Run(name, func(t *testing.T) {
			onBoth(t, func(t *testing.T, s *store.Store) {
				engine := s.Engine()
				alone := filled(t, open(t, address(t, engine)), own...)
				filled(t, s, append(own[:len(own):len(own)], birch)...)
				scope := register.Scope{}
				for _, site := range own {
					scope.Sites = append(scope.Sites, idOf(t, s, site))
				}
				want, got := reads(t, alone, append(own[:len(own):len(own)], birch)...), reads(t, s.For(scope), append(own[:len(own):len(own)], birch)...)
				rowsByNumber(t.Context(), alone, 60, keeper(t, want))
				rowsByNumber(t.Context(), s.For(scope), 60, keeper(t, got))
				differ(t, want, got)
				if len(want) < 400 || strings.Count(fmt.Sprint(want), birch.Mark) == strings.Count(fmt.Sprint(reads(t, s)), birch.Mark) {
					t.Errorf("%d reads, which tell nothing", len(want))
				}
				for name, answer := range got {
					asked := strings.Count(strings.ToUpper(name), birch.Mark) > 0
					if !asked && strings.Contains(answer, birch.Mark) {
						t.Errorf("%s tells of %s: %s", name, birch.Mark, answer)
					}
				}
			})
		})
	}
}

func differ(t *testing.T, want, got map[string]string) {
	t.Helper()
	if len(want) != len(got) {
		t.Errorf("%d reads, want %d", len(got), len(want))
	}
	shown := 0
	for name, answer := range want {
		if got[name] != answer {
			if shown++; shown <= 10 {
				t.Errorf("%s:\n got %.1500s\nwant %.1500s", name, got[name], answer)
			}
		}
	}
	if shown > 10 {
		t.Errorf("%d reads differ", shown)
	}
}

// A scope of all sites changes nothing, not even a query; one of none has
// nothing.
func TestFor_AllAndNone(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder)
		if want, got := reads(t, s, alder), reads(t, s.For(register.AllSites()), alder); !reflect.DeepEqual(want, got) {
			differ(t, want, got)
		}
		for _, f := range []register.LineFilter{{}, {Site: alder.Name()}, {Machine: alder.Machine()}} {
			plain, _, err := s.ListQuery(t.Context(), now, f)
			all, _, err2 := s.For(register.AllSites()).ListQuery(t.Context(), now, f)
			if err := errors.Join(err, err2); err != nil || plain != all {
				t.Errorf("another query: %v\n%s\n%s", err, plain, all)
			}
		}
		for name, answer := range reads(t, s.For(register.Scope{}), alder) {
			if asked := strings.Contains(strings.ToUpper(name), alder.Mark); !asked && strings.Contains(answer, alder.Mark) {
				t.Errorf("%s tells of %s: %s", name, alder.Mark, answer)
			}
		}
	})
}

// wanderer is a hose of alder's texts that was on a machine of birch, inspected
// there and taken off, and sits on one of alder now.
func wanderer(t *testing.T, s *store.Store) string {
	t.Helper()
	const code = "WANDERER-1"
	hose := alder.Hose(code)
	hose.Site = birch.Name()
	hose.Assembly.Made, hose.Assembly.Assembled = quantity.Day(birch.Today.AddDays(-120)), quantity.Day(birch.Today.AddDays(-110))
	fitted, hours := birch.Today.AddDays(-85), 10.0
	apply(t, s, hose,
		register.Fit{AssemblyCode: code, Machine: birch.Machine(), Position: birch.Empty(), On: fitted, Hours: &hours, OnText: birch.Mark},
		register.Inspect{Machine: birch.Machine(), Position: birch.Empty(), On: fitted.AddDays(5), By: birch.Mark, Note: birch.Mark, Findings: []register.NewFinding{
			{Number: 0, Class: life.Watch, Place: birch.Mark, Note: birch.Mark},
		}},
		register.Remove{AssemblyCode: code, On: fitted.AddDays(30), Cause: register.CausePlanned, FoundBy: register.FoundByInspection, Reason: birch.Mark, Seen: birch.Mark},
		register.Fit{AssemblyCode: code, Machine: alder.Machine(), Position: alder.Empty(), On: alder.Today.AddDays(-20)})
	return code
}

// A hose that came from another site shows that it was elsewhere, and what was
// found on it there, but no name or word of that site.
func TestFor_AHoseFromElsewhereTellsNothingOfThatSite(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder, birch)
		code := wanderer(t, s)
		here := s.For(register.Scope{Sites: []int64{idOf(t, s, alder)}})
		tells := func(what string, v any, err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
			b, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(string(b), birch.Mark) {
				t.Errorf("%s tells of %s: %s", what, birch.Mark, b)
			}
		}
		sheet, err := here.AssemblySheet(t.Context(), now, code)
		tells("the hose", sheet, err)
		if len(sheet.Placements) != 2 || sheet.Placements[0].Elsewhere || !sheet.Placements[1].Elsewhere || sheet.Placements[1].Placement.To.IsZero() {
			t.Errorf("placements %+v", sheet.Placements)
		}
		if len(sheet.Findings) != 1 || sheet.Findings[0].Class != life.Watch || sheet.Findings[0].SeenOn.IsZero() {
			t.Errorf("what was found on the hose is its own: %+v", sheet.Findings)
		}
		story := fmt.Sprint(sheet.Story)
		for _, part := range []string{"Fitted at another site", "Removed, at another site", "At another site", "Fitted at position " + alder.Empty(), "Class watch"} {
			if !strings.Contains(story, part) {
				t.Errorf("the story lacks %q: %s", part, story)
			}
		}
		for name, answer := range reads(t, here, alder) {
			if !strings.Contains(strings.ToUpper(name), birch.Mark) && strings.Contains(answer, birch.Mark) {
				t.Errorf("%s tells of %s: %.900s", name, birch.Mark, answer)
			}
		}

		contradict := "INSERT INTO readings (machine_id, on_day, hours, source, disputed, note, version) SELECT id, '" + birch.Today.AddDays(-60).String() +
			"', 5000, 'page', FALSE, '', 1 FROM machines WHERE code = '" + birch.Machine() + "'"
		if _, err := s.Raw().Exec(contradict); err != nil {
			t.Fatal(err)
		}
		if _, err := s.ReestimateAll(t.Context(), now, func(int, int) {}); err != nil {
			t.Fatal(err)
		}
		whole, err := s.AssemblySheet(t.Context(), now, code)
		if err != nil || !strings.Contains(whole.Problem, birch.Machine()) {
			t.Fatalf("this was to contradict itself: %q, %v", whole.Problem, err)
		}
		sheet, err = here.AssemblySheet(t.Context(), now, code)
		tells("a hose whose hours elsewhere contradict each other", sheet, err)
		if !strings.Contains(sheet.Problem, "another site") {
			t.Errorf("the problem is %q", sheet.Problem)
		}
		lines, err := here.Lines(t.Context(), now, register.LineFilter{Machine: alder.Machine()})
		tells("the list", lines, err)
	})
}

// At the site a hose left, its place shows that it was there, and the hose
// itself is not there any more.
func TestFor_AHoseThatLeftIsGone(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder, birch)
		code := wanderer(t, s)
		there := s.For(register.Scope{Sites: []int64{idOf(t, s, birch)}})
		_, gone := there.AssemblySheet(t.Context(), now, code)
		_, never := there.AssemblySheet(t.Context(), now, "NEVER-WAS")
		if !isRefusal(gone, register.NotFound) || strings.Replace(gone.Error(), code, "NEVER-WAS", 1) != never.Error() {
			t.Errorf("a hose that left is %v, one that never was %v", gone, never)
		}
		sheet, err := there.PositionSheet(t.Context(), now, birch.Machine(), birch.Empty())
		if err != nil {
			t.Fatal(err)
		}
		if len(sheet.Placements) != 1 || !sheet.Placements[0].Away || sheet.Placements[0].Elsewhere || sheet.Placements[0].AssemblyCode != code {
			t.Errorf("the place tells %+v", sheet.Placements)
		}
		if found, err := there.Search(t.Context(), now, code, 0); err != nil || len(found.Assemblies) != 0 {
			t.Errorf("search finds %+v, %v", found, err)
		}
	})
}

// Within a scope there is no whole register, and of imports only one's own.
func TestFor_WhatIsOfAllSites(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		filled(t, s, alder, birch)
		here := s.For(register.Scope{Sites: []int64{idOf(t, s, alder)}})
		if err := here.Whole(t.Context(), func(register.WholeRow) error { t.Error("a row"); return nil }); !isRefusal(err, register.Forbidden) {
			t.Errorf("the whole register: %v", err)
		}
		if _, err := here.WholeCounts(t.Context()); !isRefusal(err, register.Forbidden) {
			t.Errorf("the counts of the whole register: %v", err)
		}
		run, _, err := s.StartJob(t.Context(), "nightly", quantity.Date{}, now)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.FinishJob(t.Context(), run, now, 0, "assembly "+birch.Fitted()+" cannot be estimated"); err != nil {
			t.Fatal(err)
		}
		runs, err := here.JobRuns(t.Context(), 10)
		if err != nil || len(runs) != 1 || runs[0].Problem == "" || strings.Contains(runs[0].Problem, birch.Mark) {
			t.Errorf("jobs: %+v, %v", runs, err)
		}
	})
}

// spread gives the machines of a crowd to so many sites, in turn, and is the
// sites.
func spread(tb testing.TB, s *store.Store, sites int) []int64 {
	tb.Helper()
	for i := 1; i < sites; i++ {
		apply(tb, s, register.AddSite{Name: fmt.Sprint("Site ", i), Zone: "Europe/Berlin"})
	}
	if _, err := s.Raw().Exec(fmt.Sprintf("UPDATE machines SET site_id = 1 + id %% %d", sites)); err != nil {
		tb.Fatal(err)
	}
	all, err := s.Sites(context.Background())
	if err != nil {
		tb.Fatal(err)
	}
	ids := make([]int64, len(all))
	for i := range all {
		ids[i] = all[i].ID
	}
	return ids
}

// A list of one's own site is the list with the filter for it; that of several
// is merged from the beginnings of theirs, along the index of each.
func TestFor_ListsWalkAlongTheIndexOfTheirSites(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	crowd(t, s, 2000)
	scatter(t, s)
	sites := spread(t, s, 10)
	one, some := s.For(register.Scope{Sites: sites[3:4]}), s.For(register.Scope{Sites: sites[3:6]})
	of, err := one.Sites(t.Context())
	if err != nil || len(of) != 1 {
		t.Fatalf("sites %v, %v", of, err)
	}
	for _, row := range []struct {
		f     register.LineFilter
		index string
	}{
		{register.LineFilter{}, "estimates_by_site"},
		{register.LineFilter{Status: life.StatusOverdue}, "estimates_by_site"},
		{register.LineFilter{Incomplete: true}, "estimates_incomplete_by_site"},
		{register.LineFilter{CanHurt: true}, "estimates_by_site"},
	} {
		withSite := row.f
		withSite.Site = of[0].Name
		want, _, err := s.ListQuery(t.Context(), now, withSite)
		got, _, err2 := one.ListQuery(t.Context(), now, row.f)
		if err := errors.Join(err, err2); err != nil || want != got {
			t.Errorf("%+v: %v\n%s\nis not that of the filter\n%s", row.f, err, got, want)
		}
		query, args, err := some.ListQuery(t.Context(), now, row.f)
		if err != nil {
			t.Fatal(err)
		}
		plan := planOf(t, s, query, args...)
		if strings.Count(plan, row.index+" (") != 3 || strings.Contains(plan, "SCAN e ") || strings.Count(plan, "B-TREE") > 1 {
			t.Errorf("%+v: the plan leads past the indexes of the sites:\n%s\n%s", row.f, query, plan)
		}
	}
}
