package server_test

import (
	"context"
	"net/http"
	"reflect"
	"testing"
	"time"

	"golang.org/x/net/html"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// page parses the page of an answer with that status.
func (s *site) page(r *http.Response, status int, checks ...testkit.Check) *html.Node {
	s.t.Helper()
	return testkit.HTML(s.t, want(s.t, r, status).Body, checks...)
}

// allowing sends what is typed over an open form, and once more where the page
// first shows which dates move.
func (s *site) allowing(path string, page *html.Node, over ...string) *http.Response {
	s.t.Helper()
	r := s.post(path, typed(s.t, page, over...)...)
	if r.StatusCode != http.StatusOK {
		return r
	}
	shown := testkit.HTML(s.t, r.Body, testkit.Has("#preview"))
	return s.post(path, typed(s.t, shown)...)
}

func TestConflict_TwoPeopleChooseFieldByField(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/edit"
	first := s.page(s.get(path), 200)
	second := s.page(s.get(path), 200)

	// The first saves: another name, another serial number, a note.
	r := s.allowing(path, first, "name", "Rear loader", "serial", "S-1", "note", "new paint")
	s.wentTo(r, "/machines/RT-01?done=machine-changed")

	// The second changed the name too, and the planned hours; not the rest.
	r = s.post(path, typed(t, second, "name", "Side loader", "planned", "35")...)
	asked := s.page(r, http.StatusUnprocessableEntity,
		testkit.In("#problems", testkit.Text("Somebody else changed this")),
		testkit.In("main form", testkit.Text("Theirs: Rear loader"), testkit.Text("Yours, as in the field below: Side loader"), testkit.Text("It was: Refuse truck")),
		testkit.HasNot("input[type=radio][name=keep.name][checked]"), testkit.HasNot("[name=keep.planned]"),
		testkit.In("input[name=name]", testkit.Attr("value", "Side loader")), testkit.In("input[name=planned]", testkit.Attr("value", "35")),
		testkit.In("input[name=serial]", testkit.Attr("value", "S-1")), testkit.In("textarea[name=note]", testkit.Text("new paint")))
	checkNames(t, path, asked)
	if m := s.machineOf("RT-01"); m.Name != "Rear loader" || *m.PlannedHoursPerWeek != 30 {
		t.Fatalf("saved before anybody chose: %+v", m)
	}

	// Not choosing is told at the question.
	again := s.page(s.post(path, typed(t, asked)...), http.StatusUnprocessableEntity, testkit.In("fieldset.wrong", testkit.Text("Choose which of the two to keep")))

	r = s.allowing(path, again, "keep.name", "theirs")
	s.wentTo(r, "/machines/RT-01?done=machine-changed")
	m := s.machineOf("RT-01")
	if m.Name != "Rear loader" || m.Serial != "S-1" || m.Note != "new paint" || *m.PlannedHoursPerWeek != 35 {
		t.Errorf("after choosing theirs: %+v", m)
	}
}

func TestConflict_MineIsKeptOverTheNewVersion(t *testing.T) {
	s := depot(t)
	path := "/sites/Depot/edit"
	mine := s.page(s.get(path), 200)
	site, err := s.store.Site(t.Context(), "Depot")
	if err != nil {
		t.Fatal(err)
	}
	site.Zone = "Europe/London"
	s.apply(register.ChangeSite{Site: site})
	asked := s.page(s.post(path, typed(t, mine, "zone", "Europe/Paris")...), http.StatusUnprocessableEntity, testkit.Has("[name=keep.zone]"))
	s.wentTo(s.allowing(path, asked, "keep.zone", "mine"), "/sites?done=site-changed")
	if site, err = s.store.Site(t.Context(), "Depot"); err != nil || site.Zone != "Europe/Paris" {
		t.Errorf("%+v, %v", site, err)
	}
}

func TestConflict_NothingIsAskedWhereNothingClashes(t *testing.T) {
	s := depot(t)
	path := "/machines/RT-01/edit"
	mine := s.page(s.get(path), 200)
	s.wentTo(s.allowing(path, s.page(s.get(path), 200), "serial", "S-1"), "/machines/RT-01?done=machine-changed")
	// What the other changed is shown once, with nothing to choose.
	shown := s.page(s.post(path, typed(t, mine, "name", "Loader")...), http.StatusUnprocessableEntity,
		testkit.HasNot("input[type=radio][value=theirs]"), testkit.In("main form table", testkit.Text("Serial number"), testkit.Text("nothing"), testkit.Text("S-1")))
	s.wentTo(s.allowing(path, shown), "/machines/RT-01?done=machine-changed")
	if m := s.machineOf("RT-01"); m.Name != "Loader" || m.Serial != "S-1" {
		t.Errorf("%+v", m)
	}
}

func TestForms_SentTwiceDoTheirWorkOnce(t *testing.T) {
	s := depot(t)
	for _, c := range []struct {
		path string
		over []string
	}{
		{"/sites/new", []string{"name", "Yard", "zone", "UTC"}},
		{"/machines/RT-01/positions/new", []string{"name", "lift"}},
		{"/machines/RT-01/edit", []string{"name", "Loader"}},
		{"/machines/RT-01/lay-ups/new", []string{"from", "2026-11-01", "to", "2026-11-10"}},
		{"/machines/RT-01/conditions/new", []string{"basis", "measured", "fluid", "70"}},
		{"/policies/new", []string{"name", "Winter"}},
	} {
		before := s.changes()
		fields := typed(t, s.page(s.get(c.path), 200), c.over...)
		first := want(t, s.post(c.path, fields...), http.StatusSeeOther)
		once := s.changes()
		second := want(t, s.post(c.path, fields...), http.StatusSeeOther)
		if once == before || s.changes() != once {
			t.Errorf("%s: %d changes, then %d, then %d", c.path, before, once, s.changes())
		}
		if first.Header.Get("Location") != second.Header.Get("Location") {
			t.Errorf("%s led to %s and then to %s", c.path, first.Header.Get("Location"), second.Header.Get("Location"))
		}
	}
}

func (s *site) machineOf(code string) register.Machine {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(s.t.Context(), now, code)
	if err != nil {
		s.t.Fatal(err)
	}
	return sheet.Machine
}

// changes is how many changes the register has seen.
func (s *site) changes() int64 {
	s.t.Helper()
	n, broken, err := s.store.VerifyChain(s.t.Context())
	if err != nil || broken != 0 {
		s.t.Fatalf("the change log is broken at %d: %v", broken, err)
	}
	return n
}

// meddling is a register in which somebody else is always just before one.
type meddling struct {
	*store.Store
	before func()
}

func (m meddling) Apply(ctx context.Context, at time.Time, by register.Actor, cmds ...register.Command) (register.Result, error) {
	m.before()
	return m.Store.Apply(ctx, at, by, cmds...)
}

// Somebody saves between the moment a form's row is read and the moment it is
// saved.
func TestConflict_AtTheVeryMomentIsAskedAbout(t *testing.T) {
	s := depot(t)
	other := "Rear loader"
	reg := meddling{Store: s.store, before: func() {
		m := s.machineOf("RT-01")
		if m.Name == other {
			return
		}
		m.Name = other
		s.apply(register.ChangeMachine{Machine: m})
	}}
	late := serve(t, s.store, func(_ *server.Config, d *server.Deps) { d.For = only(reg) })
	path := "/machines/RT-01/edit"
	asked := late.page(late.fill(path, "name", "Side loader"), http.StatusUnprocessableEntity, testkit.In("main form", testkit.Text("Theirs: Rear loader")))
	if m := s.machineOf("RT-01"); m.Name != other {
		t.Fatalf("the other's name became %s", m.Name)
	}
	late.wentTo(late.post(path, typed(t, asked, "keep.name", "mine")...), "/machines/RT-01?done=machine-changed")
	if m := s.machineOf("RT-01"); m.Name != "Side loader" {
		t.Errorf("chosen, and it is %s", m.Name)
	}
}

// A value printed rounded in a person's unit stays what it is when something
// else is changed.
func TestForms_KeepValuesNobodyTouchedExactly(t *testing.T) {
	s := yard(t)
	length := 1233.3
	s.apply(register.SetUnits{Units: register.Units{PressureUnit: "psi", TemperatureUnit: "degF", LengthUnit: "inch", DateStyle: "mdy"}},
		register.AddPosition{Machine: "RT-01", Name: "tipper", LengthMM: &length})
	path := "/machines/RT-01/positions/tipper/edit"
	s.page(s.get(path), 200, testkit.In("input[name=length]", testkit.Attr("value", "48.56 in")))
	s.wentTo(s.fill(path, "note", "behind the cab"), "/machines/RT-01?done=position-changed")
	if p := s.position("RT-01", "tipper").Position; p.Note != "behind the cab" || *p.LengthMM != length {
		t.Errorf("%q, %v mm", p.Note, *p.LengthMM)
	}
	sheet := s.kind("refuse truck")
	for _, d := range sheet.Duties {
		path := "/kinds/refuse%20truck/duties/" + quantity.FormatNumber(float64(d.ID), 0) + "/edit"
		s.wentTo(s.allowing(path, s.page(s.get(path), 200), "note", "looked over"), "/kinds/refuse%20truck?done=duty-set")
	}
	for i, d := range s.kind("refuse truck").Duties {
		if d.Note != "looked over" || !reflect.DeepEqual(d.Service, sheet.Duties[i].Service) {
			t.Errorf("the duty of %q was %+v and is %+v", d.Circuit, sheet.Duties[i].Service, d.Service)
		}
	}
}
