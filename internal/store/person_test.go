package store_test

import (
	"context"
	"fmt"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// second adds another person and acts as that one.
func second(t *testing.T, s *store.Store) register.Actor {
	t.Helper()
	var id int64
	err := s.Raw().QueryRow("INSERT INTO people (name, email) VALUES ('J. Berg', 'berg@example.org') RETURNING id").Scan(&id)
	if err != nil {
		t.Fatal(err)
	}
	by := register.Actor{PersonID: id, Origin: register.FromPage}
	if _, err := s.Raw().Exec("INSERT INTO person_roles (person_id, role) SELECT id, 'viewer' FROM people WHERE name = 'J. Berg'"); err != nil {
		t.Fatal(err)
	}
	return by
}

func TestSetUnits_AreOfThePersonWhoAsks(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		other := second(t, s)
		shop := register.Units{PressureUnit: "psi", TemperatureUnit: "degF", LengthUnit: "inch", DateStyle: "mdy"}
		for range 2 { // the second time nothing changes
			if _, err := s.Apply(ctx, now, other, register.SetUnits{Units: shop}); err != nil {
				t.Fatal(err)
			}
		}
		p := read[register.Person](t)(s.Person(ctx, other.PersonID))
		if p.Units != shop || p.Version != 2 || p.Name != "J. Berg" || p.Email != "berg@example.org" {
			t.Errorf("%+v", p)
		}
		if p := read[register.Person](t)(s.Person(ctx, register.LocalPersonID)); p.Units != (register.Units{}) {
			t.Errorf("the other person's units are %+v", p.Units)
		}
		if _, err := s.Person(ctx, 999); !isRefusal(err, register.NotFound) {
			t.Errorf("an unknown person: %v", err)
		}
		refused(t, s, register.Invalid, "pressure_unit", register.SetUnits{Units: register.Units{PressureUnit: "atm"}})
		if _, err := s.Apply(ctx, now, register.Actor{PersonID: 999}, register.SetUnits{Units: shop}); !isRefusal(err, register.Forbidden) {
			t.Errorf("units of an unknown person: %v", err)
		}
		if _, broken := verify(t, s); broken != 0 {
			t.Errorf("chain broken at %d", broken)
		}
	})
}

func TestSavedLists_AreAPersonsOwn(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		other := second(t, s)
		keep := func(by register.Actor, name, address string) error {
			_, err := s.Apply(ctx, now, by, register.SaveList{Name: name, Address: address})
			return err
		}
		for _, l := range []struct {
			by            register.Actor
			name, address string
		}{{me, "soon", "/due?status=soon"}, {me, "All of it", "/due"}, {other, "soon", "/assemblies"}, {me, "SOON", "/due?status=soon&site=Depot"}} {
			if err := keep(l.by, l.name, l.address); err != nil {
				t.Fatal(err)
			}
		}
		mine := read[[]register.SavedList](t)(s.SavedLists(ctx, me.PersonID))
		if len(mine) != 2 || mine[0].Name != "All of it" || mine[1].Name != "SOON" || mine[1].Address != "/due?status=soon&site=Depot" {
			t.Errorf("%+v", mine)
		}
		theirs := read[[]register.SavedList](t)(s.SavedLists(ctx, other.PersonID))
		if len(theirs) != 1 || theirs[0].Address != "/assemblies" {
			t.Errorf("%+v", theirs)
		}
		refused(t, s, register.NotFound, "id", register.ForgetList{ID: theirs[0].ID})
		apply(t, s, register.ForgetList{ID: mine[0].ID})
		refused(t, s, register.NotFound, "id", register.ForgetList{ID: mine[0].ID})
		if left := read[[]register.SavedList](t)(s.SavedLists(ctx, me.PersonID)); len(left) != 1 {
			t.Errorf("%+v", left)
		}
		refused(t, s, register.Invalid, "address", register.SaveList{Name: "away", Address: "//elsewhere.example"})
		for i := range 99 {
			apply(t, s, register.SaveList{Name: fmt.Sprintf("list %d", i), Address: "/due"})
		}
		refused(t, s, register.Refused, "name", register.SaveList{Name: "one too many", Address: "/due"})
		apply(t, s, register.SaveList{Name: "list 5", Address: "/machines"}) // one that is there may still change
		if err := keep(other, "another", "/due"); err != nil {
			t.Errorf("another person's list: %v", err)
		}
		if rows, _ := verify(t, s); rows != 0 {
			t.Errorf("%d rows in the change log: a saved list is nothing of the fleet", rows)
		}
	})
}
