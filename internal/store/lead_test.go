package store_test

import (
	"context"
	"database/sql"
	"io"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
	"hoseward/jobs"
)

func TestLead_OneAtATimeThenAnother(t *testing.T) {
	t.Parallel()
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) {
			t.Parallel()
			at := address(t, engine)
			a, b := open(t, at), open(t, at)
			first, end := context.WithCancel(t.Context())
			defer end()
			lost, err := a.Lead(first, func(string) {})
			if err != nil || lost == nil {
				t.Fatalf("the first does not lead: %v", err)
			}
			for range 3 {
				if other, err := b.Lead(t.Context(), nil); err != nil || other != nil {
					t.Fatalf("two lead at once (%v), or an error: %v", other != nil, err)
				}
			}
			if _, err := b.JobRuns(t.Context(), 1); err != nil {
				t.Errorf("the register cannot be read while somebody leads: %v", err)
			}
			end()
			await(t, "the end of leading", lost)
			second, end2 := context.WithCancel(t.Context())
			deadline := time.Now().Add(5 * time.Second)
			other, err := b.Lead(second, func(string) {})
			for ; other == nil && err == nil && time.Now().Before(deadline); other, err = b.Lead(second, func(string) {}) {
			}
			if err != nil || other == nil {
				t.Fatalf("nobody can lead after the first ended: %v", err)
			}
			end2()
			await(t, "the second's end", other)
		})
	}
}

func await(t *testing.T, what string, c <-chan struct{}) {
	t.Helper()
	select {
	case <-c:
	case <-time.After(10 * time.Second):
		t.Fatalf("%s did not come within 10 seconds", what)
	}
}

// cut ends the connection of whoever leads, as a server does that restarts.
func cut(t *testing.T, dsn string) {
	t.Helper()
	db, err := sql.Open("pgx", dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var n int
	err = db.QueryRow(`SELECT COUNT(*) FROM (SELECT pg_terminate_backend(pid) FROM pg_locks
		WHERE locktype = 'advisory' AND granted AND database = (SELECT oid FROM pg_database WHERE datname = current_database())) cut`).Scan(&n)
	if err != nil || n != 1 {
		t.Fatalf("cut %d connections, want the leader's: %v", n, err)
	}
}

func TestLead_CutConnectionIsNoticedAtOnce(t *testing.T) {
	t.Parallel()
	at := testkit.Postgres(t, postgres)
	s := open(t, at)
	lost, err := s.Lead(t.Context(), func(string) {})
	if err != nil || lost == nil {
		t.Fatal(err)
	}
	began := time.Now()
	cut(t, at)
	await(t, "losing the lead", lost)
	if took := time.Since(began); took > time.Second {
		t.Errorf("noticed after %s", took)
	}
	// The server lets go of the lock when it has cleared away the connection.
	for until := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		again, err := s.Lead(t.Context(), func(string) {})
		if again != nil && err == nil {
			return
		}
		if time.Now().After(until) {
			t.Fatalf("cannot lead again: %v", err)
		}
	}
}

func TestHandOn_LeaderHears(t *testing.T) {
	t.Parallel()
	at := testkit.Postgres(t, postgres)
	a, b := open(t, at), open(t, at)
	heard := make(chan string, 4)
	ctx, end := context.WithCancel(t.Context())
	lost, err := a.Lead(ctx, func(job string) { heard <- job })
	if err != nil || lost == nil {
		t.Fatal(err)
	}
	time.Sleep(2500 * time.Millisecond) // longer than it waits before a ping
	if err := b.HandOn(t.Context(), "estimate stale"); err != nil {
		t.Fatal(err)
	}
	select {
	case job := <-heard:
		if job != "estimate stale" {
			t.Errorf("heard %q", job)
		}
	case <-time.After(5 * time.Second):
		t.Error("the leader heard nothing")
	}
	end()
	await(t, "the end", lost)
}

// Three programs, of which the leader's connection is cut again and again while
// it works: exactly one other, or the same anew, goes on within the time, and
// two never work at once.
func TestLead_ThreeRunnersWhoseLeaderIsCut(t *testing.T) {
	t.Parallel()
	at := testkit.Postgres(t, postgres)
	var atWork, most, cancelled atomic.Int64
	began := make(chan int, 100)
	var runners []*jobs.Runner
	for i := range 3 {
		s := open(t, at)
		r, err := jobs.New(nobody{}, time.Now, slog.New(slog.NewTextHandler(io.Discard, nil)), jobs.Job{
			Name: "work", Spec: "0 0 1 1 *",
			Run: func(ctx context.Context, _ time.Time, _ jobs.Progress) (int, error) {
				n := atWork.Add(1)
				defer atWork.Add(-1)
				for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
				}
				began <- i
				<-ctx.Done()
				cancelled.Add(1)
				return 0, ctx.Err()
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		r.AmongSeveral(s, jobs.Pace{Try: 50 * time.Millisecond, Settle: 200 * time.Millisecond})
		if err := r.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		runners = append(runners, r)
	}
	const cuts = 8
	var who sync.Map
	for n := range cuts + 1 {
		select {
		case i := <-began:
			who.Store(i, true)
		case <-time.After(20 * time.Second):
			t.Fatalf("after %d cuts nobody went on", n)
		}
		if n < cuts {
			cut(t, at)
		}
	}
	time.Sleep(500 * time.Millisecond)
	if len(began) > 0 {
		t.Errorf("%d more began without anybody being cut", len(began))
	}
	for _, r := range runners {
		r.Stop()
	}
	if most.Load() != 1 || cancelled.Load() != cuts+1 {
		t.Errorf("%d at work at once, %d cancelled; want 1 and %d", most.Load(), cancelled.Load(), cuts+1)
	}
	t.Log("programs that led:", entries(&who))
}

func entries(m *sync.Map) (n int) {
	m.Range(func(any, any) bool { n++; return true })
	return n
}

// nobody notes no runs.
type nobody struct{}

func (nobody) StartJob(context.Context, string, quantity.Date, time.Time) (int64, bool, error) {
	return 1, false, nil
}
func (nobody) ProgressJob(context.Context, int64, int, int) error { return nil }
func (nobody) FinishJob(context.Context, int64, time.Time, int, string) error {
	return nil
}
