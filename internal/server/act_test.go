package server_test

import (
	"strconv"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

// nowLater is a moment after what the tests did.
var nowLater = now.Add(time.Minute)

func actPath(id int64) string { return "/acts/" + strconv.FormatInt(id, 10) + "/undo" }

func TestActs_UndoASwap(t *testing.T) {
	s := worn(t)
	want(t, s.told(swapPath, s.fill(swapPath, "cause", "heat", "found_by", "event", "layline", newLine)), 303)
	page := testkit.HTML(t, want(t, s.get("/acts"), 200).Body)
	links := testkit.Find(page, "main table a")
	if len(links) == 0 {
		t.Fatal("nothing to undo")
	}
	path := testkit.AttrOf(links[0], "href")
	page = testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.In("main .verdict", testkit.Text("This takes back what you did today at 12:00")), testkit.In(".big-date", testkit.Text("RT-01")))
	form := typed(t, page)
	s.wentTo(s.post(path, form...), "/acts?done=undone")
	if s.sits("RT-01", "lift") != "H-000001" || len(s.sheet("H-000001").Open) != 1 {
		t.Error("the old one does not sit there with its finding open")
	}
	after := changes(t, s)
	s.wentTo(s.post(path, form...), "/acts?done=undone")
	if changes(t, s) != after {
		t.Error("undone twice")
	}
	testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.In("main .verdict", testkit.Text("This cannot be undone")), testkit.HasNot("main form"))
}

// A form sent again after what it did was undone means it anew: it must not be
// said to be done while nothing is.
func TestActs_AFormSentAgainAfterUndoingIsCarriedOutAnew(t *testing.T) {
	s := inspected(t)
	path := "/machines/RT-01/lay-ups/new"
	form := typed(t, testkit.HTML(t, s.get(path).Body), "from", "2026-11-01", "to", "2026-11-08")
	layUps := func() int {
		sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
		if err != nil {
			t.Fatal(err)
		}
		return len(sheet.LayUps)
	}
	want(t, s.post(path, form...), 303)
	acts, err := s.store.Acts(t.Context(), nowLater, me.PersonID, 10)
	if err != nil {
		t.Fatal(err)
	}
	want(t, s.fill(actPath(acts[0].ID)), 303)
	if layUps() != 0 {
		t.Fatal("not undone")
	}
	want(t, s.post(path, form...), 303)
	if layUps() != 1 {
		t.Error("said to be done, and nothing was")
	}
}

func TestActs_WhatIsBuiltUponIsRefusedWithASentence(t *testing.T) {
	s := inspected(t)
	acts, err := s.store.Acts(t.Context(), nowLater, me.PersonID, 10)
	if err != nil {
		t.Fatal(err)
	}
	s.apply(register.Inspect{Machine: "RT-01", Position: "lift", On: day("2026-11-20")})
	testkit.HTML(t, want(t, s.fill(actPath(acts[0].ID)), 422).Body, testkit.In("#problems", testkit.Text("This cannot be undone any more")))
	if s.sits("RT-01", "lift") != "H-000001" {
		t.Error("it was undone")
	}
}

func TestActs_OnlyWithinADay(t *testing.T) {
	reg := inspected(t)
	s := serve(t, reg.store, func(_ *server.Config, d *server.Deps) {
		d.Now = func() time.Time { return now.Add(register.UndoWithin + time.Hour) }
	})
	testkit.HTML(t, want(t, s.get("/acts"), 200).Body, testkit.In("main", testkit.Text("There is nothing to undo")))
	want(t, s.post("/acts/1/undo", "once", "x"), 422)
}

func TestActs_NoSuchNumber(t *testing.T) {
	s := inspected(t)
	for _, path := range []string{"/acts/x/undo", "/acts/-1/undo", "/acts/99999999999999999999/undo"} {
		want(t, s.get(path), 404)
		want(t, s.post(path), 404)
	}
	want(t, s.get("/acts/4711/undo"), 200)
	want(t, s.post("/acts/4711/undo"), 422)
}
