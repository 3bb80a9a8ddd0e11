package store_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// twoSites is a register in which two sites did something.
func twoSites(t testing.TB, s *store.Store) {
	t.Helper()
	peopled(t, s)
	apply(t, s,
		register.AddSite{Name: "Harbour", Zone: "UTC"},
		register.AddMachine{Site: "Harbour", Kind: "refuse truck", Code: "HB-1"},
		register.AddReading{Machine: "HB-1", On: day("2026-11-20"), Hours: 100},
	)
	by := me
	by.Reason, by.Origin = "50%_sure", register.FromAPI
	if _, err := s.Apply(t.Context(), now.Add(24*time.Hour), by, register.AddReading{Machine: "HB-1", On: day("2026-11-21"), Hours: 110}); err != nil {
		t.Fatal(err)
	}
}

func changesOf(t testing.TB, s *store.Store, f register.ChangeFilter) []register.Change {
	t.Helper()
	page, err := s.Changes(t.Context(), f)
	if err != nil {
		t.Fatal(err)
	}
	return page.Changes
}

func TestChanges_FiltersChooseAndOthersAreLeftOut(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		twoSites(t, s)
		all := changesOf(t, s, register.ChangeFilter{People: true, Limit: 1000})
		if head, err := s.ChainHead(t.Context()); err != nil || int64(len(all)) != head.Seq || all[0].Seq != head.Seq || all[len(all)-1].Seq != 1 {
			t.Fatalf("%d changes, head %v, %v", len(all), head, err)
		}
		of := func(table, name string) int64 {
			id, err := s.IDNamed(t.Context(), table, name)
			if err != nil || id == 0 {
				t.Fatalf("%s %s: %d, %v", table, name, id, err)
			}
			return id
		}
		harbour, truck := of("sites", "harbour"), of("machines", "hb-1")
		is := func(id *int64, want int64) bool { return id != nil && *id == want }
		for _, row := range []struct {
			what   string
			filter register.ChangeFilter
			want   func(c *register.Change) bool
		}{
			{"a site", register.ChangeFilter{SiteID: harbour}, func(c *register.Change) bool { return is(c.SiteID, harbour) }},
			{"a machine", register.ChangeFilter{MachineID: truck}, func(c *register.Change) bool { return is(c.MachineID, truck) }},
			{"an assembly", register.ChangeFilter{AssemblyID: of("assemblies", "H-A")}, func(c *register.Change) bool { return is(c.AssemblyID, of("assemblies", "H-A")) }},
			{"a table", register.ChangeFilter{Entity: "readings"}, func(c *register.Change) bool { return c.Entity == "readings" }},
			{"a row", register.ChangeFilter{Entity: "readings", EntityID: 2}, func(c *register.Change) bool { return c.Entity == "readings" && c.EntityID == 2 }},
			{"an action", register.ChangeFilter{Action: register.Changed}, func(c *register.Change) bool { return c.Action == register.Changed }},
			{"a door", register.ChangeFilter{Origin: register.FromAPI}, func(c *register.Change) bool { return c.Origin == register.FromAPI }},
			{"a reason, its signs taken as they are", register.ChangeFilter{Reason: "50%_S"}, func(c *register.Change) bool { return c.Reason == "50%_sure" }},
			{"a sign that would stand for any", register.ChangeFilter{Reason: "5_%"}, func(*register.Change) bool { return false }},
			{"from a time on", register.ChangeFilter{From: now.Add(time.Hour)}, func(c *register.Change) bool { return !c.At.Before(now.Add(time.Hour)) }},
			{"up to a time", register.ChangeFilter{Until: now.Add(time.Hour)}, func(c *register.Change) bool { return c.At.Before(now.Add(time.Hour)) }},
			{"a person", register.ChangeFilter{PersonID: register.LocalPersonID}, func(*register.Change) bool { return true }},
			{"nobody", register.ChangeFilter{PersonID: 99}, func(*register.Change) bool { return false }},
			{"two at once", register.ChangeFilter{SiteID: harbour, Entity: "readings"}, func(c *register.Change) bool { return is(c.SiteID, harbour) && c.Entity == "readings" }},
		} {
			row.filter.People, row.filter.Limit = true, 1000
			var want []int64
			for i := range all {
				if row.want(&all[i]) {
					want = append(want, all[i].Seq)
				}
			}
			if got := seqs(changesOf(t, s, row.filter)); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v", row.what, got, want)
			}
		}
		if list := changesOf(t, s, register.ChangeFilter{Limit: 1000}); len(list) >= len(all) || slices.ContainsFunc(list, func(c register.Change) bool { return c.Entity == "people" || c.Entity == "person_roles" }) {
			t.Error("what is about people is told to whoever did not ask for it")
		}
	})
}

func seqs(list []register.Change) []int64 {
	var out []int64
	for i := range list {
		out = append(out, list[i].Seq)
	}
	return out
}

func TestChanges_ThePagesGiveEachRowOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		twoSites(t, s)
		for _, scope := range []register.Scope{register.AllSites(), {Sites: []int64{1}}, {Sites: []int64{1, 2}}} {
			whole := seqs(changesOf(t, s.For(scope), register.ChangeFilter{Limit: 1000, People: true}))
			var got []int64
			f := register.ChangeFilter{Limit: 7, People: true}
			for {
				page, err := s.For(scope).Changes(t.Context(), f)
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, seqs(page.Changes)...)
				if f.Before = page.Next; page.Next == 0 {
					break
				}
			}
			if !slices.Equal(got, whole) || len(whole) < 8 {
				t.Errorf("%+v: by sevens %v, at once %v", scope, got, whole)
			}
		}
	})
}

func TestChanges_OfOtherSitesAndAboutPeopleAreNotThere(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		twoSites(t, s)
		harbour := s.For(register.Scope{Sites: []int64{2}})
		list := changesOf(t, harbour, register.ChangeFilter{Limit: 1000, People: true})
		kinds := 0
		for _, c := range list {
			switch {
			case c.SiteID != nil && *c.SiteID == 2:
			case c.SiteID == nil && slices.Contains([]string{"kinds", "kind_positions", "duties", "policies"}, c.Entity):
				kinds++
			default:
				t.Errorf("change %d of %s is of another site", c.Seq, c.Entity)
			}
		}
		if kinds == 0 || len(list) < 4 {
			t.Errorf("%d changes, %d of kinds and policies", len(list), kinds)
		}
		page, err := harbour.HistoryOf(t.Context(), register.History{Entity: "machines", ID: 1})
		if err != nil || len(page.Changes) != 0 {
			t.Errorf("the history of a machine elsewhere: %d changes, %v", len(page.Changes), err)
		}
		if _, known := page.Names.Of("machines", 1); known {
			t.Error("its code is told")
		}
		if id, err := harbour.IDNamed(t.Context(), "machines", "RT-01"); err != nil || id != 0 {
			t.Errorf("it is found by its code: %d, %v", id, err)
		}
		if list := changesOf(t, s.For(register.Scope{}), register.ChangeFilter{Limit: 1000, People: true}); slices.ContainsFunc(list, func(c register.Change) bool { return c.SiteID != nil }) {
			t.Error("who sees no site sees changes of one")
		}
	})
}

func TestHistoryOf_EachKindOfThingHasItsChanges(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		twoSites(t, s)
		apply(t, s, register.AddKind{Name: "balloon"})
		all := allChanges(t, s)
		for _, table := range []string{
			"sites", "kinds", "machines", "circuits", "positions", "policies", "assemblies", "placements", "removals", "readings", "meter_events",
			"lay_ups", "conditions", "duties", "inspections", "findings", "kind_positions",
		} {
			i := slices.IndexFunc(all, func(c register.Change) bool { return c.Entity == table })
			if i < 0 {
				t.Errorf("nothing of %s was changed: the test proves nothing of it", table)
				continue
			}
			page, err := s.HistoryOf(t.Context(), register.History{Entity: table, ID: all[i].EntityID})
			if err != nil || !slices.Contains(seqs(page.Changes), all[i].Seq) {
				t.Errorf("%s %d: %v, %v", table, all[i].EntityID, seqs(page.Changes), err)
			}
			if !slices.IsSortedFunc(page.Changes, func(a, b register.Change) int { return int(b.Seq - a.Seq) }) {
				t.Errorf("%s: not newest first", table)
			}
		}
		tables := func(entity string, id int64) string {
			page, err := s.HistoryOf(t.Context(), register.History{Entity: entity, ID: id, Limit: 1000})
			if err != nil {
				t.Fatal(err)
			}
			var have []string
			for _, c := range page.Changes {
				if !slices.Contains(have, c.Entity) {
					have = append(have, c.Entity)
				}
			}
			slices.Sort(have)
			return strings.Join(have, " ")
		}
		for _, row := range []struct {
			entity string
			id     int64
			want   string
		}{
			{"machines", 1, "circuits conditions findings inspections lay_ups machines meter_events placements positions readings removals"},
			{"assemblies", 2, "assemblies findings inspections placements removals"},
			{"people", 2, "people person_roles"},
		} {
			if got := tables(row.entity, row.id); got != row.want {
				t.Errorf("%s %d: %s, want %s", row.entity, row.id, got, row.want)
			}
		}
	})
}

// Whatever byte of whatever row of the log is altered, it is found, and that
// row is the first that is named.
func TestVerify_FindsOneAlteredByteAnywhere(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	fill(t, s)
	unguarded(t, s, "SELECT 1")
	last := verdict(t, s, nil).Changes
	columns := []string{
		"person_id", "origin", "import_id", "act_id", "site_id", "machine_id", "assembly_id", "entity", "entity_id", "action",
		`"before"`, `"after"`, "reason", "prev_hash", "hash", "at",
	}
	rapid.Check(t, func(r *rapid.T) {
		if _, err := s.Raw().Exec("PRAGMA foreign_keys = 0; PRAGMA ignore_check_constraints = 1"); err != nil {
			r.Fatal(err)
		}
		seq := rapid.Int64Range(1, last).Draw(r, "row")
		column := rapid.SampledFrom(columns).Draw(r, "column")
		var was *string
		if err := s.Raw().QueryRow(fmt.Sprintf("SELECT CAST(%s AS TEXT) FROM changes WHERE seq = %d", column, seq)).Scan(&was); err != nil {
			r.Fatal(err)
		}
		text := ""
		if was != nil {
			text = *was
		}
		b := []byte(text)
		if at := rapid.IntRange(0, len(b)).Draw(r, "at"); at < len(b) && (column != "at" || at < 19) {
			b[at] = otherByte(b[at], rapid.IntRange(1, 9).Draw(r, "other"))
		} else {
			b = append([]byte("7"), b...)
		}
		keep := "CREATE TEMP TABLE kept AS SELECT * FROM changes WHERE seq = ?"
		for _, q := range []struct {
			query string
			args  []any
		}{{"DROP TABLE IF EXISTS temp.kept", nil}, {keep, []any{seq}}, {"UPDATE changes SET " + column + " = ? WHERE seq = ?", []any{string(b), seq}}} {
			if _, err := s.Raw().Exec(q.query, q.args...); err != nil {
				r.Fatalf("%s: %v", q.query, err)
			}
		}
		v, err := s.Verify(t.Context(), register.VerifyOptions{})
		if err != nil {
			r.Errorf("%s of row %d from %q to %q: %v", column, seq, text, b, err)
		} else if v.Chain == nil || v.Chain.Seq != seq || v.Chain.What != register.FaultAltered {
			r.Errorf("%s of row %d from %q to %q: %v", column, seq, text, b, v.Chain)
		}
		if _, err := s.Raw().Exec(fmt.Sprintf("UPDATE changes SET %s = (SELECT %s FROM temp.kept) WHERE seq = %d", column, column, seq)); err != nil {
			r.Fatal(err)
		}
	})
	if v := verdict(t, s, nil); v.Chain != nil {
		t.Errorf("put right again, and still %v", v.Chain)
	}
}

// otherByte is another byte of the same kind, so that a number stays one.
func otherByte(b byte, by int) byte {
	if b >= '0' && b <= '9' {
		return '0' + (b-'0'+byte(by))%10
	}
	return b ^ byte(by)
}

// The newest changes of a machine, a site and a person are found along an
// index, and none is sorted.
func TestChanges_TheNewestAreFoundAlongAnIndex(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	for what, where := range map[string]string{
		"changes_by_machine": "machine_id = 1", "changes_by_site": "site_id = 1", "changes_by_person": "person_id = 1", "changes_by_assembly": "assembly_id = 1",
	} {
		rows, err := s.Raw().Query("EXPLAIN QUERY PLAN SELECT * FROM changes WHERE " + where + " AND entity NOT IN ('people') ORDER BY seq DESC LIMIT 101")
		if err != nil {
			t.Fatal(err)
		}
		plan := ""
		for rows.Next() {
			var id, parent, unused int
			var text string
			if err := rows.Scan(&id, &parent, &unused, &text); err != nil {
				t.Fatal(err)
			}
			plan += text + "\n"
		}
		if err := rows.Close(); err != nil || !strings.Contains(plan, what) || strings.Contains(plan, "TEMP B-TREE") {
			t.Errorf("%s: %s, %v", where, plan, err)
		}
	}
}
