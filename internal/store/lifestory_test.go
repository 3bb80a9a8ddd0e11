package store_test

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// TestStories_TheRegisterIsAsTheModelSays lives random lives: a few hoses on
// four positions of two machines within ten days, with all that can be noted,
// corrected, taken back and undone, entered in any order. A plain model says
// what must be taken and what the register then holds; after every step the
// register must hold just that, and every estimate must be the one made from
// scratch. HOSEWARD_TEST_STORIES sets how many lives; the default takes seconds.
func TestStories_TheRegisterIsAsTheModelSays(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) { tellStories(t, store.SQLite, testkit.Stories(40)) })
	t.Run("postgres", func(t *testing.T) {
		if testing.Short() {
			t.Skip("not in short mode")
		}
		tellStories(t, store.Postgres, 5)
	})
}

// tell checks as many lives as wanted: rapid has one number for all tests. One
// that failed is told again and again, to find its shortest form.
func tell(t *testing.T, wanted int, life func(*rapid.T)) {
	told, unfinished := 0, false
	for told < wanted && !t.Failed() {
		rapid.Check(t, func(r *rapid.T) {
			if told++; told <= wanted || unfinished {
				unfinished = true
				life(r)
				unfinished = false
			}
		})
	}
}

func tellStories(t *testing.T, engine string, wanted int) {
	s := open(t, address(t, engine))
	forgetful(t, s)
	steps := map[string]int{}
	tell(t, wanted, func(r *rapid.T) {
		w := newTale(t, r, s, steps)
		r.Repeat(w.actions())
		w.finish()
	})
	t.Logf("%s: %d lives, steps taken and refused: %v", engine, wanted, steps)
}

// forgetful lets a register be emptied again and again, quickly.
func forgetful(t *testing.T, s *store.Store) {
	queries := []string{"DROP TRIGGER changes_are_never_altered", "DROP TRIGGER changes_are_never_deleted", "PRAGMA synchronous = OFF"}
	if s.Engine() == store.Postgres {
		queries = []string{"ALTER TABLE changes DISABLE TRIGGER ALL"}
	}
	for _, q := range queries {
		if _, err := s.Raw().Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// tale is one life story on its way.
type tale struct {
	t     *testing.T
	r     *rapid.T
	s     *store.Store
	m     *model
	acts  []*act
	ids   map[string]map[int64]int // model numbers by kind and register number
	codes map[string]int           // every code that was ever kept, folded
	had   map[int][]string         // the codes an assembly ever had
	steps map[string]int
	about string // the step under way
	quick bool   // looks at the register only when something is refused
}

var storyTables = map[string]string{
	"assembly": "assemblies", "stay": "placements", "reading": "readings", "event": "meter_events", "lay-up": "lay_ups",
	"conditions": "conditions", "look": "inspections", "finding": "findings",
}

func dayOf(n int) quantity.Date {
	if n == 0 {
		return quantity.Date{}
	}
	return day("2026-11-15").AddDays(n)
}

func numberOf(d quantity.Date) int {
	if d.IsZero() {
		return 0
	}
	return d.Sub(day("2026-11-15"))
}

func machineCode(n int) string { return fmt.Sprintf("M-%d", n) }
func seatName(n int) string    { return fmt.Sprintf("s%d", n) }

func newTale(t *testing.T, r *rapid.T, s *store.Store, steps map[string]int) *tale {
	w := &tale{t: t, r: r, s: s, m: newModel(), ids: map[string]map[int64]int{}, codes: map[string]int{}, had: map[int][]string{}, steps: steps}
	for k := range storyTables {
		w.ids[k] = map[int64]int{}
	}
	empty(t, s)
	if _, err := s.Apply(context.Background(), now, me, places()...); err != nil {
		t.Fatal(err)
	}
	w.acts = append(w.acts, &act{id: w.lastAct(), undo: true}) // not among those undone
	for range 3 {
		w.add()
	}
	return w
}

// places are two sites, each with a machine of two positions.
func places() []register.Command {
	cmds := []register.Command{
		register.AddSite{Name: "Depot", Zone: "UTC"},
		register.AddSite{Name: "Yard", Zone: "UTC"},
		register.AddMachine{Site: "Depot", Code: "M-0", PlannedHoursPerWeek: f64(40)},
		register.AddMachine{Site: "Yard", Code: "M-1", PlannedHoursPerWeek: f64(20)},
	}
	for i := range modelSeats {
		cmds = append(cmds, register.AddPosition{Machine: machineCode(machineOfSeat(i)), Circuit: []string{"", "lift"}[i%2], Name: seatName(i), CanHurt: i == 0})
	}
	return cmds
}

// empty forgets all but what comes with the program.
func empty(t *testing.T, s *store.Store) {
	query := "SELECT name FROM sqlite_master WHERE type = 'table' AND sql NOT LIKE 'CREATE VIRTUAL%' AND name NOT LIKE 'sqlite%'"
	if s.Engine() == store.Postgres {
		query = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
	}
	rows, err := s.Raw().Query(query)
	if err != nil {
		t.Fatal(err)
	}
	var tables []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		kept := []string{"policies", "people", "kinds", "duties", "chain_head", "code_counters"}
		if !slices.Contains(kept, name) && !strings.Contains(name, "goose") && !strings.HasPrefix(name, "find_") {
			tables = append(tables, name)
		}
	}
	rows.Close()
	queries := []string{"PRAGMA foreign_keys = OFF"}
	for _, name := range tables {
		queries = append(queries, "DELETE FROM "+name)
	}
	queries = append(queries, "PRAGMA foreign_keys = ON")
	if s.Engine() == store.Postgres {
		queries = []string{"TRUNCATE " + strings.Join(tables, ", ")}
	}
	queries = append(queries, "UPDATE chain_head SET seq = 0, hash = ''", "INSERT INTO person_roles (person_id, role) VALUES (1, 'manager')")
	for _, q := range queries {
		if _, err := s.Raw().Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// say wants commands to be taken and to make the register the model next, or,
// where there is a reason against it, to be refused.
func (w *tale) say(what string, next *model, why string, cmds ...register.Command) {
	w.about = fmt.Sprintf("%s %+v", what, cmds)
	w.settled(what, next, why, func() (register.Result, error) {
		return w.s.Apply(context.Background(), now, me, cmds...)
	})
}

func (w *tale) settled(what string, next *model, why string, do func() (register.Result, error)) bool {
	if why == "" {
		next.settle()
		why = next.wrong()
	}
	_, err := do()
	var no *register.Error
	switch {
	case err != nil && !errors.As(err, &no):
		w.r.Fatalf("%s: %v\n%s", w.about, err, w.told())
	case err == nil && why != "":
		w.r.Fatalf("%s is taken, but %s\n%s", w.about, why, w.told())
	case err != nil && why == "":
		w.r.Fatalf("%s is refused: %v\n%s", w.about, err, w.told())
	}
	if why != "" {
		w.steps[what+" refused"]++
		w.compare(w.m)
		return false
	}
	w.steps[what]++
	w.number(next)
	w.compare(next)
	before := w.m
	w.m = next
	if id := w.lastAct(); id > w.acts[len(w.acts)-1].id {
		w.acts = append(w.acts, &act{id: id, before: before, after: next})
	} else if !reflect.DeepEqual(before.lines(), next.lines()) {
		w.r.Fatalf("%s changed something, and there is no act of it", w.about)
	}
	return true
}

func (w *tale) told() string { return strings.Join(sorted(w.m.lines()), "\n") }

func (w *tale) lastAct() int64 {
	var id int64
	if err := w.s.Raw().QueryRow("SELECT COALESCE(MAX(id), 0) FROM acts").Scan(&id); err != nil {
		w.t.Fatal(err)
	}
	return id
}

// number tells which rows that came to be are which things of the model: both
// came to be in one order.
func (w *tale) number(next *model) {
	for kind, table := range storyTables {
		known := map[int]bool{}
		for _, id := range w.ids[kind] {
			known[id] = true
		}
		var fresh []int
		for key := range next.lines() {
			k, text, _ := strings.Cut(key, " ")
			id, _ := strconv.Atoi(text)
			if k == kind && !known[id] {
				fresh = append(fresh, id)
			}
		}
		slices.Sort(fresh)
		var rows []int64
		for _, id := range w.column("SELECT id FROM " + table + " ORDER BY id") {
			if _, ok := w.ids[kind][id]; !ok {
				rows = append(rows, id)
			}
		}
		if len(rows) != len(fresh) {
			w.r.Fatalf("%s: %d new rows of %s, the model has %d\n%s", w.about, len(rows), table, len(fresh), w.told())
		}
		for i := range rows {
			w.ids[kind][rows[i]] = fresh[i]
		}
	}
}

func (w *tale) column(query string) []int64 {
	rows, err := w.s.Raw().Query(query)
	if err != nil {
		w.t.Fatal(err)
	}
	defer rows.Close()
	var out []int64
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			w.t.Fatal(err)
		}
		out = append(out, id)
	}
	return out
}

// rowOf is the number and version a thing of the model has in the register.
// Now and then the version is an old one, and told is true.
func (w *tale) rowOf(kind string, id int) (row int64, version int) {
	for r, m := range w.ids[kind] {
		if m == id {
			row = r
		}
	}
	if err := w.s.Raw().QueryRow(fmt.Sprintf("SELECT version FROM %s WHERE id = %d", storyTables[kind], row)).Scan(&version); err != nil {
		w.t.Fatal(err)
	}
	return row, version
}

// compare wants the register to hold what the model holds, and every estimate
// to be the one made from scratch.
func (w *tale) compare(m *model) {
	if w.quick {
		return
	}
	if d := cmp.Diff(sorted(m.lines()), sorted(w.stored())); d != "" {
		w.r.Fatalf("%s: the model (-) and the register (+) differ:\n%s", w.about, d)
	}
	ctx := context.Background()
	kept, err := w.s.Estimates(ctx)
	if err != nil {
		w.t.Fatal(err)
	}
	installed, stopped := map[int]bool{}, map[int]bool{}
	for _, s := range m.stays {
		if s.to == 0 {
			installed[s.assembly] = true
		}
	}
	for _, f := range m.findings {
		if f.class == string(life.Stop) && f.closed == 0 {
			stopped[m.looks[f.look].assembly] = true
		}
	}
	for _, e := range kept {
		id := w.ids["assembly"][e.AssemblyID]
		if !installed[id] || e.Stale || e.StopOpen != stopped[id] {
			w.r.Fatalf("%s: estimate of %d: %+v; installed %t, stopped %t", w.about, id, e, installed[id], stopped[id])
		}
	}
	if len(kept) != len(installed) {
		w.r.Fatalf("%s: %d estimates of %d installed", w.about, len(kept), len(installed))
	}
	if _, err := w.s.ReestimateAll(ctx, now, nil); err != nil {
		w.t.Fatal(err)
	}
	made, err := w.s.Estimates(ctx)
	if err != nil {
		w.t.Fatal(err)
	}
	if d := cmp.Diff(kept, made, sameDates); d != "" {
		w.r.Fatalf("%s: estimates kept (-) and made from scratch (+) differ:\n%s", w.about, d)
	}
}

// finish looks at the pages' side of the story and at the change log.
func (w *tale) finish() {
	for _, a := range w.m.assemblies {
		got := sheet(w.t, w.s, a.code)
		want := life.StatusInStore
		if a.scrapped != 0 {
			want = life.StatusRemoved
		}
		stays := 0
		for _, s := range w.m.stays {
			if w.m.assemblies[s.assembly].code != a.code {
				continue
			}
			stays++
			if s.to == 0 {
				want = ""
				if got.Line == nil || got.Line.Position != seatName(s.seat) {
					w.r.Fatalf("assembly %s sits at %+v, want seat %d", a.code, got.Line, s.seat)
				}
			}
		}
		if want != "" && got.Status != want || want == "" && got.Line == nil || len(got.Placements) != stays {
			w.r.Fatalf("assembly %s is %s, want %q; %d placements, want %d", a.code, got.Status, want, len(got.Placements), stays)
		}
	}
	if _, broken := verify(w.t, w.s); broken != 0 {
		w.r.Fatalf("the change log is broken at %d", broken)
	}
}
