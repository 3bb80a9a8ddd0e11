package server_test

import (
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

func withBackups(c *server.Config, _ *server.Deps) { c.Backups = true }

// Today tells managers, and only them, that the last good backup is too old;
// the page of jobs says when it was.
func TestBackups_TodaySaysWhenTheLastGoodOneIsOld(t *testing.T) {
	s := empty(t, withBackups)
	if _, err := s.store.Apply(t.Context(), now, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage},
		register.AddSite{Name: "Depot", Zone: "UTC"}, register.AddMachine{Site: "Depot", Code: "RT-01"}); err != nil {
		t.Fatal(err)
	}
	run := func(began time.Time, problem string) {
		t.Helper()
		id, _, err := s.store.StartJob(t.Context(), register.BackUpJob, quantity.DateOf(began, time.UTC), began)
		if err == nil {
			err = s.store.FinishJob(t.Context(), id, began.Add(time.Minute), 1, problem)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	none, old := "There is no good backup of this register yet", "The last good backup is of"
	testkit.HTML(t, s.get("/").Body, testkit.Text(none))
	testkit.HTML(t, s.get("/jobs").Body, testkit.Text("There is no good backup yet"))
	run(now.Add(-72*time.Hour), "")
	run(now.Add(-24*time.Hour), "No backup was made.")
	testkit.HTML(t, s.get("/").Body, testkit.NoText(none), testkit.Text(old))
	testkit.HTML(t, s.get("/jobs").Body, testkit.Text("Last good backup: 2026-11-22"))
	run(now.Add(-2*time.Hour), "")
	testkit.HTML(t, s.get("/").Body, testkit.NoText(none), testkit.NoText(old))
	testkit.HTML(t, s.get("/jobs").Body, testkit.Text("Last good backup: 2026-11-25"))
}

func TestBackups_NothingIsSaidWhereNoneAreWanted(t *testing.T) {
	s := empty(t)
	if _, err := s.store.Apply(t.Context(), now, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage},
		register.AddSite{Name: "Depot", Zone: "UTC"}, register.AddMachine{Site: "Depot", Code: "RT-01"}); err != nil {
		t.Fatal(err)
	}
	testkit.HTML(t, s.get("/").Body, testkit.NoText("good backup"))
	testkit.HTML(t, s.get("/jobs").Body, testkit.Text("Backups are off"))
}
