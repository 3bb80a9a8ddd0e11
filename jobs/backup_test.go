package jobs_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/jobs"
)

// backups fail as long as there is a problem.
type backups struct {
	problem error
	made    int
}

func (b *backups) BackUp(context.Context, time.Time) error {
	if b.problem == nil {
		b.made++
	}
	return b.problem
}

func TestBackup_IsTriedUntilOneIsGoodAndOnceADay(t *testing.T) {
	now := time.Date(2026, 11, 25, 2, 10, 0, 0, time.UTC)
	runs, b := &book{}, &backups{problem: errors.Join(errors.New("no space left"), &register.Error{Sentence: "The disk is full."})}
	job := jobs.Backup(b)
	r, err := jobs.New(runs, func() time.Time { return now }, slog.New(slog.NewTextHandler(io.Discard, nil)), job)
	if err != nil {
		t.Fatal(err)
	}
	r.RunDue(t.Context(), job)
	b.problem = errors.New("no words for people")
	r.RunDue(t.Context(), job)
	b.problem = nil
	for range 3 {
		r.RunDue(t.Context(), job)
	}
	now = now.AddDate(0, 0, 1)
	r.RunDue(t.Context(), job)
	if b.made != 2 || len(runs.runs) != 4 {
		t.Fatalf("%d backups made in %d runs, want 2 in 4: %+v", b.made, len(runs.runs), runs.runs)
	}
	if p := runs.runs[0].problem; p != "The disk is full." {
		t.Errorf("a failure with a sentence is noted as %q", p)
	}
	if p := runs.runs[1].problem; p == "" || p == "no words for people" {
		t.Errorf("a failure without one is noted as %q", p)
	}
}
