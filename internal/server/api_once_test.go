package server_test

import (
	"context"
	"net/http"
	"strings"
	"sync"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/server"
)

func (s *site) countReadings(machine string) int {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(context.Background(), now, machine)
	if err != nil {
		s.t.Fatal(err)
	}
	return len(sheet.Readings)
}

// nextHours is what the hour meter of a machine may well show today.
func (s *site) nextHours(machine string) float64 {
	s.t.Helper()
	sheet, err := s.store.MachineSheet(context.Background(), now, machine)
	if err != nil || len(sheet.Readings) == 0 {
		s.t.Fatalf("no readings of %s: %v", machine, err)
	}
	return sheet.Readings[0].Hours + 10
}

func TestAPI_SentTwiceIsDoneOnce(t *testing.T) {
	s := ownFleet(t)
	machine := s.first(register.LineFilter{}).MachineCode
	path := seg("machines", machine) + "/readings"
	before := s.countReadings(machine)
	hours := s.nextHours(machine)
	reading := j{"on": "2026-11-25", "hours": hours}
	first := s.api(http.MethodPost, path, reading, "Idempotency-Key", "truck 7, today")
	first.says(t, http.StatusOK, nil)
	if first.Header.Get("Idempotent-Replayed") != "" {
		t.Error("the first answer says it was given before")
	}
	again := s.api(http.MethodPost, path, reading, "Idempotency-Key", "truck 7, today")
	again.says(t, http.StatusOK, nil)
	if again.Header.Get("Idempotent-Replayed") != "true" || again.text != first.text {
		t.Errorf("sent again it is answered %v %s, first %s", again.Header, again.text, first.text)
	}
	if n := s.countReadings(machine) - before; n != 1 {
		t.Errorf("%d readings noted, want 1", n)
	}
	for what, other := range map[string]func() asked{
		"another body": func() asked {
			return s.api(http.MethodPost, path, j{"on": "2026-11-25", "hours": hours + 1}, "Idempotency-Key", "truck 7, today")
		},
		"another address": func() asked { return s.api(http.MethodPost, "/readings", reading, "Idempotency-Key", "truck 7, today") },
	} {
		if p := other().problem(t); p.Status != http.StatusUnprocessableEntity {
			t.Errorf("%s under the key: %+v", what, p)
		}
	}
	if p := s.api(http.MethodPost, path, j{"on": "2026-11-25", "hours": hours + 1}, "Idempotency-Key", "truck 7, today").problem(t); p.Type != "/manual/api#key-taken" {
		t.Errorf("another request under the key: %+v", p)
	}
	// What was refused may be sent again under its key, and a dry run keeps none.
	for _, hours := range []float64{1, 1, hours} {
		s.api(http.MethodPost, path+"?dry_run=true", j{"on": "2026-11-25", "hours": hours}, "Idempotency-Key", "k2")
	}
	if p := s.api(http.MethodPost, path, j{"on": "2026-11-25", "hours": 1}, "Idempotency-Key", "k2").problem(t); p.Type != "/manual/api#refused" {
		t.Errorf("a falling meter: %+v", p)
	}
	s.api(http.MethodPost, path, j{"on": "2026-11-24", "hours": hours - 1}, "Idempotency-Key", "k2").says(t, http.StatusOK, nil)
	// A swap that was done cannot be done again; its answer can be given again.
	s.swapTwice(t)
}

func (s *site) swapTwice(t *testing.T) {
	t.Helper()
	l := s.first(register.LineFilter{})
	path := seg("machines", l.MachineCode, "positions", l.Position) + "/swap"
	swap := j{"on": "2026-11-25", "off": j{"assembly": l.AssemblyCode, "cause": "planned", "found_by": "inspection", "scrapped": true}, "new": j{"site": l.Site, "designation": "EN 853 2SN", "dn": 12, "dash": 8, "made": "2026-05", "assembled": "2026-06"}}
	first := s.api(http.MethodPost, path, swap, "Idempotency-Key", "swap")
	first.says(t, http.StatusOK, nil)
	if again := s.api(http.MethodPost, path, swap, "Idempotency-Key", "swap"); again.text != first.text || again.Header.Get("Idempotent-Replayed") != "true" {
		t.Errorf("a swap sent again is answered %d %s", again.StatusCode, again.text)
	}
}

func TestAPI_ManySentAtOnceAreDoneOnce(t *testing.T) {
	s := ownFleet(t)
	machine := s.first(register.LineFilter{}).MachineCode
	before := s.countReadings(machine)
	reading := j{"on": "2026-11-25", "hours": s.nextHours(machine)}
	const n = 10
	answers := make([]asked, n)
	var wait sync.WaitGroup
	for i := range n {
		wait.Add(1)
		go func() {
			defer wait.Done()
			answers[i] = s.api(http.MethodPost, seg("machines", machine)+"/readings", reading, "Idempotency-Key", "same")
		}()
	}
	wait.Wait()
	first := 0
	for _, a := range answers {
		a.says(t, http.StatusOK, nil)
		if a.Header.Get("Idempotent-Replayed") == "" {
			first++
		}
		if a.text != answers[0].text {
			t.Errorf("two answers: %s, %s", a.text, answers[0].text)
		}
	}
	if added := s.countReadings(machine) - before; first != 1 || added != 1 {
		t.Errorf("%d carried out, %d readings; want one", first, added)
	}
}

func TestAPI_AnOldVersionIsRefusedWithWhatItIsNow(t *testing.T) {
	s := ownFleet(t)
	l := s.first(register.LineFilter{})
	path := seg("machines", l.MachineCode)
	change := j{"code": l.MachineCode, "site": l.Site, "name": "first", "can_hurt": true, "version": 1}
	s.api(http.MethodPut, path, change).says(t, http.StatusOK, nil)
	change["name"] = "second"
	p := s.api(http.MethodPut, path, change).problem(t)
	if p.Status != http.StatusConflict || p.Type != "/manual/api#conflict" || p.Current["name"] != "first" || p.Current["version"] != 2.0 {
		t.Errorf("%+v", p)
	}
	change["version"] = 2
	s.api(http.MethodPut, path, change).says(t, http.StatusOK, nil)
}

// TestAPI_HoldsToRolesAndSites asks as programs of several roles and sites.
func TestAPI_HoldsToRolesAndSites(t *testing.T) {
	s := scopedFleet(t)
	var sites struct{ Items []struct{ Name string } }
	s.api(http.MethodGet, "/sites", nil).says(t, http.StatusOK, &sites)
	here, there := sites.Items[0].Name, sites.Items[1].Name
	mine, other := s.first(register.LineFilter{Site: here}), s.first(register.LineFilter{Site: there})
	viewer := []string{"Authorization", "Bearer " + s.program("reader", register.Viewer, "")}
	fitter := []string{"Authorization", "Bearer " + s.program("fitter", register.Fitter, here)}
	out := s.signedOut()
	reading := j{"on": "2026-11-25", "hours": s.nextHours(mine.MachineCode)}

	out.api(http.MethodGet, "/due", nil, viewer...).says(t, http.StatusOK, nil)
	if p := out.api(http.MethodPost, seg("machines", mine.MachineCode)+"/readings", reading, viewer...).problem(t); p.Status != http.StatusForbidden || p.Type != "/manual/api#forbidden" {
		t.Errorf("a viewer notes a reading: %+v", p)
	}
	out.api(http.MethodPost, seg("machines", mine.MachineCode)+"/readings", reading, fitter...).says(t, http.StatusOK, nil)
	if p := out.api(http.MethodPost, "/machines", j{"code": "X", "site": here, "can_hurt": false}, fitter...).problem(t); p.Status != http.StatusForbidden {
		t.Errorf("a fitter adds a machine: %+v", p)
	}
	for _, c := range []struct {
		method, path string
		body         any
	}{
		{http.MethodGet, seg("sites", there), nil},
		{http.MethodGet, seg("machines", other.MachineCode), nil},
		{http.MethodGet, seg("machines", other.MachineCode) + "/readings", nil},
		{http.MethodGet, seg("assemblies", other.AssemblyCode), nil},
		{http.MethodGet, seg("assemblies", other.AssemblyCode) + "/estimate", nil},
		{http.MethodPost, seg("machines", other.MachineCode) + "/readings", reading},
		{http.MethodPost, seg("assemblies", other.AssemblyCode) + "/remove", j{"on": "2026-11-25", "cause": "heat", "found_by": "event", "scrapped": true}},
		{http.MethodPost, "/assemblies", j{"site": there}},
	} {
		a := out.api(c.method, c.path, c.body, fitter...)
		if p := a.problem(t); p.Status != http.StatusNotFound || strings.Contains(a.text, "may not") {
			t.Errorf("%s %s of another site: %s", c.method, c.path, a.text)
		}
	}
	a := out.api(http.MethodPost, "/readings", j{"items": []j{{"machine": other.MachineCode, "on": "2026-11-25", "hours": 99999}}}, fitter...)
	if p := a.problem(t); p.Errors[0].Location != "body.items[0].machine" {
		t.Errorf("a reading of another site among many: %s", a.text)
	}
	for _, path := range []string{"/due?limit=1000", "/machines", "/positions?limit=1000", "/assemblies?limit=1000", "/search?text=" + other.MachineCode} {
		a := out.api(http.MethodGet, path, nil, fitter...)
		a.says(t, http.StatusOK, nil)
		if strings.Contains(a.text, `"`+other.MachineCode+`"`) || strings.Contains(a.text, there) {
			t.Errorf("%s tells of another site", path)
		}
	}
	chain, err := s.store.MachineSheet(t.Context(), now, mine.MachineCode)
	if err != nil || chain.Readings[0].Source != "API" {
		t.Errorf("the reading says it came from %q, %v", chain.Readings[0].Source, err)
	}
}

// scopedFleet is a server on a full fleet of its own that shows each person
// their sites only.
func scopedFleet(t *testing.T) *site {
	t.Helper()
	s := ownFleet(t)
	return serve(t, s.store, func(_ *server.Config, d *server.Deps) {
		d.For = func(scope register.Scope) server.Store { return s.store.For(scope) }
	})
}
