package store_test

import (
	"cmp"
	"context"
	"fmt"
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

// dump is every row of every table, in words.
func dump(t testing.TB, s *store.Store, tables []string) string {
	t.Helper()
	var lines []string
	for _, table := range tables {
		rows, err := s.Raw().Query("SELECT * FROM " + table)
		if err != nil {
			t.Fatal(err)
		}
		names, err := rows.Columns()
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			values := make([]any, len(names))
			for i := range values {
				values[i] = new(any)
			}
			if err := rows.Scan(values...); err != nil {
				t.Fatal(err)
			}
			line := table
			for _, v := range values {
				line += fmt.Sprintf(" %v", *v.(*any))
			}
			lines = append(lines, line)
		}
		if err := rows.Err(); err != nil {
			t.Fatal(err)
		}
		rows.Close()
	}
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

func tablesOf(t *testing.T, s *store.Store) []string {
	tables := []string{"tallies", "find_assemblies", "find_machines", "find_positions"}
	for table := range columnsOf(t, s) {
		tables = append(tables, table)
	}
	slices.Sort(tables)
	return tables
}

// dated is what is known of one installed assembly at a moment.
type dated struct {
	register.Estimate
	code, machine, position string
	status                  life.Status
}

// datedNow reads the dates of all that is installed, as the lists show them.
func datedNow(t testing.TB, s *store.Store) map[int64]dated {
	t.Helper()
	lines, _ := everyLine(t.(*testing.T), s, register.LineFilter{Limit: 1000})
	out := map[int64]dated{}
	for _, l := range lines {
		out[l.Estimate.AssemblyID] = dated{l.Estimate, l.AssemblyCode, l.MachineCode, l.Position, l.Status}
	}
	return out
}

// judged is the preview one gets by looking at the lists before and after.
// What was not touched did not move, so Touched, Seen and Same are left out.
func judged(before, after map[int64]dated) register.Preview {
	var p register.Preview
	type step struct {
		register.Move
		id   int64
		days int
	}
	var steps []step
	late := func(d quantity.Date) quantity.Date {
		if d.IsZero() {
			return quantity.MaxDate
		}
		return d
	}
	pressing := func(s life.Status) bool { return s == life.StatusStop || s == life.StatusOverdue }
	for id, a := range after {
		b := before[id]
		days := late(a.ActBy).Sub(late(b.ActBy))
		if days < 0 {
			p.Earlier++
		}
		if days > 0 {
			p.Later++
		}
		if a.Complete && !a.ActBy.IsZero() && (!b.Complete || b.ActBy.IsZero()) {
			p.Gained++
		}
		if b.Complete && !a.Complete {
			p.Lost++
		}
		if pressing(a.status) && !pressing(b.status) {
			p.Overdue++
		}
		if days != 0 || a.status != b.status {
			steps = append(steps, step{register.Move{
				Machine: a.machine, Position: a.position, AssemblyCode: a.code, Before: b.ActBy, After: a.ActBy,
				StatusBefore: b.status, StatusAfter: a.status, GoverningBefore: b.Governing, GoverningAfter: a.Governing,
			}, id, max(days, -days)})
		}
	}
	slices.SortFunc(steps, func(x, y step) int { return cmp.Or(y.days-x.days, cmp.Compare(x.id, y.id)) })
	for _, s := range steps[:min(50, len(steps))] {
		p.Moves = append(p.Moves, s.Move)
	}
	return p
}

// previews wants a preview to be what applying gives, and applies.
func previews(t *testing.T, s *store.Store, what string, cmds ...register.Command) register.Preview {
	t.Helper()
	ctx := context.Background()
	before := datedNow(t, s)
	p, err := s.Preview(ctx, now, me, cmds...)
	if err != nil {
		_, again := s.Apply(ctx, now, me, cmds...)
		if again == nil || again.Error() != err.Error() {
			t.Fatalf("%s: the preview is refused: %v, applying it: %v", what, err, again)
		}
		return p
	}
	apply(t, s, cmds...)
	if _, err := s.ReestimateStale(ctx, now, nil); err != nil {
		t.Fatal(err)
	}
	if p.Touched != p.Seen || p.Same != p.Seen-p.Earlier-p.Later || p.Same < 0 {
		t.Errorf("%s: touched %d, seen %d, same %d, earlier %d, later %d", what, p.Touched, p.Seen, p.Same, p.Earlier, p.Later)
	}
	told := p
	told.Touched, told.Seen, told.Same = 0, 0, 0
	if d := gocmp.Diff(judged(before, datedNow(t, s)), told, sameDates); d != "" {
		t.Fatalf("%s: what came (-) and what the preview told (+):\n%s", what, d)
	}
	return p
}

func TestPreview_LeavesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		tables := tablesOf(t, s)
		site := siteNow(t, s, "Depot")
		site.Name, site.Zone = "Elsewhere", "Pacific/Auckland"
		before := dump(t, s, tables)
		if !strings.Contains(before, "RT-01") || !strings.Contains(before, "chain_head") {
			t.Fatal("the dump shows nothing")
		}
		for _, cmds := range [][]register.Command{
			{register.ChangeSite{Site: site}},
			{register.SetConditionsAt{Positions: idsOf(t, s, "SELECT id FROM positions"), From: day("2026-01-01"), Basis: register.Assumed, Service: hard()}},
			{hose("H-NEW"), register.AddPosition{Machine: "RT-01", Circuit: "new", Name: "new"}, anyhow(fit("H-NEW", "new", "2026-11-20"))},
			{register.Inspect{Machine: "RT-01", Position: "lift left", On: day("2026-11-20"), Findings: []register.NewFinding{{Number: 2, Class: life.Stop}}}},
			{retire("2026-11-24")},
			{register.ChangeMachines{Machines: []int64{1}, Kind: word("a new kind")}},
			{register.SaveList{Name: "x", Address: "/due"}, register.SetUnits{Units: register.Units{LengthUnit: "inch"}}},
			{register.AddReading{Machine: "RT-01", On: day("2026-11-24"), Hours: 1990}, register.AddMachine{Site: "Moon", Code: "refused"}},
		} {
			_, err := s.Preview(context.Background(), now, me, cmds...)
			if err != nil && !isRefusal(err, register.NotFound) {
				t.Errorf("%T: %v", cmds[0], err)
			}
			if d := gocmp.Diff(before, dump(t, s, tables)); d != "" {
				t.Fatalf("after the preview of %T:\n%s", cmds[0], d)
			}
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
		apply(t, s, hose("")) // the register goes on as if nothing had been
	})
}

func TestPreview_SaysWhatApplyingGives(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		all := idsOf(t, s, "SELECT id FROM positions ORDER BY id")
		p := previews(t, s, "worked hard", register.SetConditionsAt{Positions: all, From: day("2024-07-01"), Basis: register.Assumed, Service: hard()})
		if p.Touched != 3 || p.Earlier == 0 || len(p.Moves) == 0 {
			t.Errorf("%+v: want dates to come nearer", p)
		}
		p = previews(t, s, "a stop", register.Inspect{
			Machine: "RT-01", Position: "return", On: day("2026-11-20"), Findings: []register.NewFinding{{Number: 2, Class: life.Stop}},
		})
		if p.Moves[0].StatusAfter != life.StatusStop || p.Moves[0].StatusBefore == life.StatusStop {
			t.Errorf("%+v: want it to be stopped then, and not before", p.Moves)
		}
		p = previews(t, s, "a hose fitted", register.Remove{AssemblyCode: "H-C", On: day("2026-11-22"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent},
			anyhow(fit("H-D", "return", "2026-11-22")))
		if len(p.Moves) == 0 || !slices.ContainsFunc(p.Moves, func(m register.Move) bool { return m.AssemblyCode == "H-D" && m.StatusBefore == "" }) {
			t.Errorf("%+v: want the new one to come from nowhere", p)
		}
		site := siteNow(t, s, "Depot")
		site.Zone = "Pacific/Auckland"
		previews(t, s, "another zone", register.ChangeSite{Site: site})
		site = siteNow(t, s, "Depot")
		site.PolicyID = policyNow(t, s, "night shift").ID
		previews(t, s, "another policy", register.ChangeSite{Site: site})
		previews(t, s, "out of the fleet", retire("2026-11-24"))
		if p := previews(t, s, "nothing that is there", register.AddKind{Name: "crane of ours"}); p.Touched != 0 || p.Moves != nil {
			t.Errorf("%+v", p)
		}
	})
}

func TestPreview_IsRefusedAsApplyingIs(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		for _, c := range []register.Command{
			register.AddMachine{Site: "Moon", Code: "x"},
			register.SetConditionsAt{From: day("2026-01-01"), Basis: register.Assumed},
			register.AddReading{Machine: "RT-01", On: day("2025-06-01"), Hours: 1},
			register.ChangeSite{Site: register.Site{ID: 1, Name: "Depot", Zone: "UTC", PolicyID: 1, Version: 7}},
		} {
			_, err := s.Preview(context.Background(), now, me, c)
			_, want := s.Apply(context.Background(), now, me, c)
			if err == nil || want == nil || err.Error() != want.Error() {
				t.Errorf("%T: %v, want %v", c, err, want)
			}
		}
	})
}

// whims are random changes of a crowd of machines.
func whims(t *testing.T, s *store.Store, r *rand.Rand) []register.Command {
	t.Helper()
	some := func(query string) []int64 {
		list := idsOf(t, s, query)
		r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		return list[:1+r.IntN(len(list))]
	}
	yes := r.IntN(2) == 0
	policy := []string{"", "of a whim", life.HeightenedDemand().Name}[r.IntN(3)]
	from := day("2022-01-01").AddDays(r.IntN(1700))
	bar := float64(40 + r.IntN(150)) // below every rating, else that alone decides
	service := []register.Service{
		{FluidC: f64(float64(30 + r.IntN(75)))},
		{Cycles: register.Cycles{{MaxBar: bar, MinBar: 3, Count: float64(1 + r.IntN(9000))}}},
		{AlwaysHot: &yes, SurroundingsC: f64(float64(10 + r.IntN(60)))},
		{WorkingBar: &bar},
		{NoCycles: &yes},
	}[r.IntN(5)]
	machineID := some("SELECT id FROM machines")[0]
	var code string
	if err := s.Raw().QueryRow(fmt.Sprintf("SELECT code FROM machines WHERE id = %d", machineID)).Scan(&code); err != nil {
		t.Fatal(err)
	}
	switch r.IntN(7) {
	case 0:
		return []register.Command{register.ChangePositions{Positions: some("SELECT id FROM positions"), CanHurt: &yes, Policy: &policy, Reason: "a whim"}}
	case 1:
		site := siteNow(t, s, "Depot")
		site.PolicyID = some("SELECT id FROM policies")[0]
		return []register.Command{register.ChangeSite{Site: site, Reason: "a whim"}, register.ChangePositions{Positions: some("SELECT id FROM positions"), Exposed: &yes}}
	case 2:
		return []register.Command{register.ChangeMachines{Machines: some("SELECT id FROM machines"), PlannedHoursPerWeek: f64(float64(r.IntN(100))), CanHurt: &yes}}
	case 3:
		return []register.Command{register.SetConditions{Machine: code, From: from, Basis: register.Measured, Service: service}}
	case 4:
		return []register.Command{register.SetDuty{Kind: "refuse truck", Service: service}}
	case 5:
		own := policyNow(t, s, "of a whim")
		months := 12 + r.IntN(40)
		own.Lengthened = fmt.Sprintf("a whim, number %d", own.Version)
		own.MonthsFromAssembly, own.MonthsFromFitting = &months, &months
		return []register.Command{register.ChangePolicy{Policy: own}, register.AddLayUp{Machine: code, From: from, To: from.AddDays(1 + r.IntN(60))}}
	}
	return []register.Command{register.SetConditionsAt{Positions: some("SELECT id FROM positions"), From: from, Basis: register.Assumed, Service: service}}
}

func TestPreview_OfRandomChangesIsWhatComes(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 140)
		apply(t, s, register.AddPolicy{Policy: register.Policy{Policy: renamed("of a whim"), Source: "invented"}})
		if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(11, 12))
		moved := 0
		for i := range 40 {
			cmds := whims(t, s, r)
			p := previews(t, s, fmt.Sprintf("change %d, %T", i, cmds[0]), cmds...)
			moved += p.Earlier + p.Later
			if len(p.Moves) > 50 {
				t.Errorf("%d moves are told", len(p.Moves))
			}
		}
		if moved < 200 {
			t.Errorf("only %d dates moved: the test proves little", moved)
		}
	})
}

func TestPreview_OfVeryManyLooksAtAnEvenlySpreadPart(t *testing.T) {
	if testing.Short() {
		t.Skip("more than 10 000 hoses are estimated: run without -short")
	}
	t.Parallel()
	s := open(t, address(t, store.SQLite))
	crowd(t, s, 12000)
	list := idsOf(t, s, "SELECT id FROM positions ORDER BY id")
	p, err := s.Preview(context.Background(), now, me, register.SetConditionsAt{Positions: list, From: day("2025-01-01"), Basis: register.Assumed, Service: hard()})
	if err != nil {
		t.Fatal(err)
	}
	if p.Touched != 12000 || p.Seen != 2000 || p.Earlier+p.Later+p.Same != 2000 || len(p.Moves) != 50 {
		t.Errorf("touched %d, seen %d, counted %d, %d moves", p.Touched, p.Seen, p.Earlier+p.Later+p.Same, len(p.Moves))
	}
}
