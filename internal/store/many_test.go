package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// idsOf are the ids of a table in order.
func idsOf(t testing.TB, s *store.Store, query string) (out []int64) {
	t.Helper()
	rows, err := s.Raw().Query(query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			t.Fatal(err)
		}
		out = append(out, id)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func no() *bool { v := false; return &v }

func word(s string) *string { return &s }

func TestChangePositions_SetsWhatIsGivenAndLeavesTheRest(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddMachine{Site: "Depot", Code: "RT-02"}, register.AddPosition{Machine: "RT-02", Name: "boom", Note: "kept", LengthMM: f64(700)})
		all := idsOf(t, s, "SELECT id FROM positions ORDER BY id") // lift left, lift right, return, boom
		apply(t, s, register.ChangePositions{Positions: append(all, all[0]), CanHurt: yes(), Circuit: word("Lift"), Policy: word("NIGHT shift")})
		for i, at := range [][2]string{{"RT-01", "lift left"}, {"RT-01", "lift right"}, {"RT-01", "return"}, {"RT-02", "boom"}} {
			p := positionNow(t, s, at[0], at[1])
			if !p.Position.CanHurt || p.Policy != "night shift" || p.Circuit != []string{"lift", "lift", "lift", "Lift"}[i] || p.Position.Version != 2 {
				t.Errorf("%v: %+v, circuit %q, policy %q", at, p.Position, p.Circuit, p.Policy)
			}
		}
		if p := positionNow(t, s, "RT-02", "boom").Position; p.Note != "kept" || *p.LengthMM != 700 || p.Exposed {
			t.Errorf("%+v: something else was changed", p)
		}
		freshAfter(t, s, "changing many positions")
		apply(t, s, register.ChangePositions{Positions: all[2:], Policy: word(""), Circuit: word(""), Exposed: no(), CanHurt: no(), Reason: "one shift only now"})
		if p := positionNow(t, s, "RT-01", "return"); p.Policy != "" || p.Circuit != "" || p.Position.Exposed || p.Position.CanHurt || p.Position.Version != 3 {
			t.Errorf("%+v: want what was taken away gone", p.Position)
		}
		if p := positionNow(t, s, "RT-01", "lift left"); p.Policy != "night shift" || p.Position.Version != 2 {
			t.Errorf("%+v: want what was not named as it was", p.Position)
		}
		freshAfter(t, s, "changing some back")
		n := counts(t, s)["changes"]
		apply(t, s, register.ChangePositions{Positions: all[2:], CanHurt: no()})
		if counts(t, s)["changes"] != n {
			t.Error("what is so already was written again")
		}
		refused(t, s, register.NotFound, "positions", register.ChangePositions{Positions: []int64{all[0], 99999}, CanHurt: no()})
		refused(t, s, register.NotFound, "policy", register.ChangePositions{Positions: all, Policy: word("none")})
		refused(t, s, register.Invalid, "", register.ChangePositions{Positions: all})
		refused(t, s, register.Invalid, "positions", register.ChangePositions{CanHurt: no()})
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

// Changing many at once is the same as changing each by itself.
func TestChangePositions_IsWhatChangingEachGives(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		other := open(t, address(t, s.Engine()))
		for _, s := range []*store.Store{s, other} {
			crowd(t, s, 60)
			if _, err := s.ReestimateAll(context.Background(), now, nil); err != nil {
				t.Fatal(err)
			}
		}
		r := rand.New(rand.NewPCG(5, 6))
		for range 20 {
			var list []int64
			for _, id := range idsOf(t, s, "SELECT id FROM positions ORDER BY id") {
				if r.IntN(3) == 0 {
					list = append(list, id)
				}
			}
			if len(list) == 0 {
				continue
			}
			hurt, exposed := r.IntN(2) == 0, r.IntN(2) == 0
			apply(t, s, register.ChangePositions{Positions: list, CanHurt: &hurt, Exposed: &exposed})
			for _, id := range list {
				p := rowOf(t, other, id)
				if p.CanHurt == hurt && p.Exposed == exposed {
					continue
				}
				p.CanHurt, p.Exposed = hurt, exposed
				apply(t, other, register.ChangePosition{Position: p})
			}
		}
		for _, id := range idsOf(t, s, "SELECT id FROM positions ORDER BY id") {
			if d := cmp.Diff(rowOf(t, other, id), rowOf(t, s, id), sameDates); d != "" {
				t.Errorf("changed one by one (-) and at once (+):\n%s", d)
			}
		}
		const logged = `SELECT COUNT(*) FROM changes WHERE entity = 'positions' AND action = 'changed'`
		var one, many int
		if err := other.Raw().QueryRow(logged).Scan(&one); err != nil {
			t.Fatal(err)
		}
		if err := s.Raw().QueryRow(logged).Scan(&many); err != nil {
			t.Fatal(err)
		}
		if one != many || one == 0 {
			t.Errorf("%d changes are in the log, want %d", many, one)
		}
		freshAfter(t, s, "changing at once")
	})
}

// rowOf is a position by its number.
func rowOf(t testing.TB, s *store.Store, id int64) register.Position {
	t.Helper()
	var code, name string
	if err := s.Raw().QueryRow(fmt.Sprintf("SELECT m.code, q.name FROM positions q JOIN machines m ON m.id = q.machine_id WHERE q.id = %d", id)).Scan(&code, &name); err != nil {
		t.Fatal(err)
	}
	return positionNow(t, s, code, name).Position
}

func TestChangeMachines_SetsWhatIsGivenAndLeavesTheRest(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "Pacific/Auckland", Policy: "night shift"}, register.AddMachine{Site: "Depot", Code: "RT-02", Name: "two", PlannedHoursPerWeek: f64(8)})
		all := idsOf(t, s, "SELECT id FROM machines ORDER BY id")
		before := sheet(t, s, "H-A").Line.Estimate
		apply(t, s, register.ChangeMachines{Machines: all, Site: word("quay"), Kind: word("Snow groomer"), CanHurt: yes()})
		for i, code := range []string{"RT-01", "RT-02"} {
			m := machine(t, s, code)
			if m.Site.Name != "Quay" || m.Kind != "Snow groomer" || !m.Machine.CanHurt || m.Machine.Version != 2 || *m.Machine.PlannedHoursPerWeek != []float64{40, 8}[i] {
				t.Errorf("%+v at %s, %s", m.Machine, m.Site.Name, m.Kind)
			}
		}
		after := sheet(t, s, "H-A").Line.Estimate
		if after.InputHash == before.InputHash || after.AsOf != day("2026-11-26") || after.SiteID != siteNow(t, s, "Quay").ID {
			t.Errorf("%+v: want it estimated by the new site's policy, on its day, and listed there", after)
		}
		freshAfter(t, s, "moving machines")
		tally(t, s, "moving machines")
		apply(t, s, register.ChangeMachines{Machines: all[1:], Kind: word(""), PlannedHoursPerWeek: f64(12)})
		if m := machine(t, s, "RT-02"); m.Kind != "" || *m.Machine.PlannedHoursPerWeek != 12 || m.Machine.Name != "two" {
			t.Errorf("%+v", m.Machine)
		}
		refused(t, s, register.NotFound, "machines", register.ChangeMachines{Machines: []int64{all[0], 99999}, CanHurt: no()})
		refused(t, s, register.NotFound, "site", register.ChangeMachines{Machines: all, Site: word("Moon")})
		n := counts(t, s)["changes"]
		apply(t, s, register.ChangeMachines{Machines: all, CanHurt: yes(), Site: word("Quay")})
		if counts(t, s)["changes"] != n {
			t.Error("what is so already was written again")
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestChangeMachine_MovesItsEstimatesToTheOtherSite(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s, register.AddSite{Name: "Quay", Zone: "UTC"})
		m := machine(t, s, "RT-01").Machine
		m.SiteID = siteNow(t, s, "Quay").ID
		apply(t, s, register.ChangeMachine{Machine: m})
		page := read[register.LinePage](t)(s.Lines(context.Background(), now, register.LineFilter{Site: "Quay"}))
		if len(page.Lines) != 3 {
			t.Errorf("%d lines at the new site, want 3", len(page.Lines))
		}
		freshAfter(t, s, "moving a machine")
		tally(t, s, "moving a machine")
	})
}

func TestSetConditionsAt_IsWhatSettingEachGives(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		other := open(t, address(t, s.Engine()))
		for _, s := range []*store.Store{s, other} {
			fill(t, s)
			apply(t, s, register.SetConditions{Machine: "RT-01", Position: "return", From: day("2026-01-01"), Basis: register.Assumed, Note: "as told", Service: hard()})
		}
		list := idsOf(t, s, "SELECT id FROM positions ORDER BY id")
		at := register.SetConditionsAt{Positions: append(list, list...), From: day("2026-01-01"), Basis: register.Assumed, Note: "as told", Service: hard()}
		before := counts(t, s)["conditions"]
		apply(t, s, at)
		for _, name := range []string{"lift left", "lift right", "return"} {
			apply(t, other, register.SetConditions{Machine: "RT-01", Position: name, From: at.From, Basis: at.Basis, Note: at.Note, Service: at.Service})
		}
		for _, name := range []string{"lift left", "lift right", "return"} {
			if d := cmp.Diff(positionNow(t, other, "RT-01", name).Conditions, positionNow(t, s, "RT-01", name).Conditions, sameDates); d != "" {
				t.Errorf("%s: set one by one (-) and at once (+):\n%s", name, d)
			}
		}
		if n := counts(t, s)["conditions"]; n != before+2 {
			t.Errorf("%d rows were added, want 2: the third had the same already", n-before)
		}
		apply(t, s, at)
		if n := counts(t, s)["conditions"]; n != before+2 {
			t.Errorf("saying the same again added %d rows", n-before-2)
		}
		if d := cmp.Diff(storedEstimates(t, other), storedEstimates(t, s), sameDates); d != "" {
			t.Errorf("estimates after one by one (-) and at once (+):\n%s", d)
		}
		freshAfter(t, s, "setting conditions at many")
		refused(t, s, register.NotFound, "positions", register.SetConditionsAt{Positions: []int64{99999}, From: at.From, Basis: at.Basis, Service: hard()})
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

// hard is how a hose is worked that is worked hard.
func hard() register.Service {
	return register.Service{FluidC: f64(95), Cycles: register.Cycles{{MinBar: 5, MaxBar: 260, Count: 300}}}
}

func TestSetConditionsAt_MoreThanOneStatementHolds(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		crowd(t, s, 2300) // more than are read, added and logged at a time
		list := idsOf(t, s, "SELECT id FROM positions ORDER BY id")
		r := apply(t, s, register.SetConditionsAt{Positions: list, From: day("2026-01-01"), Basis: register.Assumed, Service: hard()})
		if r.Stale != 2300 || stale(t, s) != 2300 {
			t.Errorf("%d stale, %d marked; want all of 2300", r.Stale, stale(t, s))
		}
		var owners, logged int
		err := s.Raw().QueryRow(`SELECT COUNT(DISTINCT owner_id) FROM conditions WHERE level = 'position' AND fluid_c = 95`).Scan(&owners)
		if err != nil || owners != 2300 {
			t.Errorf("%d positions have it, %v", owners, err)
		}
		err = s.Raw().QueryRow(`SELECT COUNT(*) FROM changes x JOIN conditions c ON c.id = x.entity_id
			WHERE x.entity = 'conditions' AND x."after" LIKE '%"OwnerID":' || c.owner_id || ',%'`).Scan(&logged)
		if err != nil || logged != 2300 {
			t.Errorf("%d rows of the log name the owner of their row, %v", logged, err)
		}
		apply(t, s, register.ChangePositions{Positions: list, Exposed: yes(), Policy: word("heightened demand")})
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

// BenchmarkMany tells how long it takes to change 10 000 positions at once.
func BenchmarkMany(b *testing.B) {
	s := open(b, address(b, store.SQLite))
	crowd(b, s, 10000)
	list := idsOf(b, s, "SELECT id FROM positions ORDER BY id")
	b.Run("set conditions", func(b *testing.B) {
		for i := range b.N {
			apply(b, s, register.SetConditionsAt{Positions: list, From: day("2026-01-01").AddDays(i), Basis: register.Assumed, Service: hard()})
		}
	})
	b.Run("change positions", func(b *testing.B) {
		for i := range b.N {
			hurt := i%2 == 0
			apply(b, s, register.ChangePositions{Positions: list, CanHurt: &hurt})
		}
	})
	b.Run("preview", func(b *testing.B) {
		for range b.N {
			_, err := s.Preview(context.Background(), now, me, register.SetConditionsAt{Positions: list, From: day("2025-01-01"), Basis: register.Assumed, Service: hard()})
			if err != nil {
				b.Fatal(err)
			}
		}
	})
}
