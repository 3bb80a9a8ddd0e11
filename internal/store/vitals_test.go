package store_test

import (
	"database/sql"
	"errors"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/store"
)

func TestVitals_SayWhatTheRegisterHolds(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := t.Context()
		apply(t, s, depot()...)
		apply(t, s, hose("H-1"), fit("H-1", "lift left", "2024-07-01"))
		run := func(started time.Time, problem string) {
			id, _, err := s.StartJob(ctx, "backup", quantity.Date{}, started)
			if err == nil {
				err = s.FinishJob(ctx, id, started.Add(time.Minute), 1, problem)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		run(now, "")
		run(now.Add(time.Hour), "The disk is full.")
		run(now.Add(2*time.Hour), "The disk is full.")
		v, err := s.Vitals(ctx)
		if err != nil {
			t.Fatal(err)
		}
		rows, _, err := s.VerifyChain(ctx)
		if err != nil || v.Changes != rows || rows == 0 {
			t.Errorf("%d changes, want %d: %v", v.Changes, rows, err)
		}
		if v.Stale != 0 || !v.StaleSince.IsZero() || v.Connections.Open == 0 || v.Connections.Most == 0 {
			t.Errorf("%+v", v)
		}
		if len(v.Jobs) != 1 {
			t.Fatalf("%+v", v.Jobs)
		}
		j := v.Jobs[0]
		if j.Job != "backup" || !j.LastGood.Equal(now.Add(time.Minute)) || j.LastTook != time.Minute || !j.LastRun.Equal(now.Add(2*time.Hour)) || j.Failures != 2 {
			t.Errorf("%+v", j)
		}
	})
}

func TestAnswers_WantsTheSchemaOfTheProgram(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		if err := s.Answers(t.Context()); err != nil {
			t.Fatal(err)
		}
	})
	at := address(t, store.SQLite)
	s := open(t, at)
	db, err := sql.Open("sqlite", at)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, TRUE)"); err != nil {
		t.Fatal(err)
	}
	if err := s.Answers(t.Context()); !errors.Is(err, store.ErrSchemaNew) {
		t.Errorf("got %v", err)
	}
	if _, err := db.Exec("DELETE FROM goose_db_version WHERE version_id = (SELECT MAX(version_id) FROM goose_db_version) OR version_id > 9"); err != nil {
		t.Fatal(err)
	}
	if err := s.Answers(t.Context()); !errors.Is(err, store.ErrSchemaOld) {
		t.Errorf("got %v", err)
	}
}
