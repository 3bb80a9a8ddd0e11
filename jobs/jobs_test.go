package jobs_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"hoseward/internal/quantity"
	"hoseward/jobs"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// book is a book of runs in memory.
type book struct {
	mu   sync.Mutex
	runs []run
}

type run struct {
	job     string
	day     quantity.Date
	ended   bool
	done    int
	problem string
	far     [][2]int // done and total, as told on the way
}

func (b *book) StartJob(_ context.Context, job string, day quantity.Date, _ time.Time) (int64, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.runs {
		if !day.IsZero() && r.job == job && r.day == day && r.ended && r.problem == "" {
			return 0, true, nil
		}
	}
	b.runs = append(b.runs, run{job: job, day: day})
	return int64(len(b.runs)), false, nil
}

func (b *book) ProgressJob(_ context.Context, id int64, done, total int) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	r := &b.runs[id-1]
	r.far = append(r.far, [2]int{done, total})
	return nil
}

func (b *book) FinishJob(_ context.Context, id int64, _ time.Time, done int, problem string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	r := &b.runs[id-1]
	r.ended, r.done, r.problem = true, done, problem
	return nil
}

func (b *book) all() []run {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]run(nil), b.runs...)
}

// estimates counts calls and fails as told.
type estimates struct {
	mu    sync.Mutex
	all   int
	stale int
	fail  func(call int) error
}

func (e *estimates) ReestimateAll(context.Context, time.Time, func(int, int)) (int, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.all++
	if e.fail != nil {
		if err := e.fail(e.all); err != nil {
			return 0, err
		}
	}
	return 500, nil
}

func (e *estimates) ReestimateStale(_ context.Context, _ time.Time, progress func(done, total int)) (int, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	n := e.stale
	e.stale = 0
	for done := 0; done <= n && n > 0; done += 400 {
		progress(done, n)
	}
	return n, nil
}

func (e *estimates) ran() int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.all
}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

func start(t *testing.T, b *book, table ...jobs.Job) *jobs.Runner {
	t.Helper()
	r, err := jobs.New(b, time.Now, quiet(), table...)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestNightly_RunsAtStartThenOnceADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, e := &book{}, &estimates{}
		r := start(t, b, jobs.Nightly(e))
		synctest.Wait()
		if e.ran() != 1 {
			t.Fatalf("ran %d times at start, want 1: a missed run is made up", e.ran())
		}
		time.Sleep(72 * time.Hour)
		synctest.Wait()
		r.Stop()
		if e.ran() != 4 {
			t.Errorf("ran %d times in three days after the start, want 4", e.ran())
		}
		days := map[quantity.Date]bool{}
		for _, run := range b.all() {
			if !run.ended || run.problem != "" || run.done != 500 {
				t.Errorf("run %+v, want one that ended well with 500 handled", run)
			}
			days[run.day] = true
		}
		if len(days) != 4 {
			t.Errorf("runs for %d days, want 4 different ones", len(days))
		}
	})
}

func TestNightly_DoneRunIsNotRepeatedAfterRestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, e := &book{}, &estimates{}
		for range 3 {
			r := start(t, b, jobs.Nightly(e))
			synctest.Wait()
			r.Stop()
		}
		if e.ran() != 1 {
			t.Errorf("ran %d times over three starts on one day, want 1", e.ran())
		}
	})
}

func TestNightly_FailedRunIsNotedAndTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := &book{}
		e := &estimates{fail: func(call int) error {
			switch call {
			case 1:
				return errors.New("disk is full")
			case 2:
				panic("nobody foresaw this")
			}
			return nil
		}}
		r := start(t, b, jobs.Nightly(e))
		time.Sleep(40 * time.Minute)
		synctest.Wait()
		r.Stop()
		runs := b.all()
		if len(runs) != 3 {
			t.Fatalf("%d runs noted, want 3: a failure, a panic, a good one", len(runs))
		}
		if runs[0].problem == "" || runs[1].problem == "" || runs[2].problem != "" {
			t.Errorf("problems %q, %q, %q; want two and none", runs[0].problem, runs[1].problem, runs[2].problem)
		}
	})
}

func TestStale_RunsWhenNudgedAndNotesOnlyWork(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, e := &book{}, &estimates{}
		r := start(t, b, jobs.Stale(e))
		synctest.Wait()
		e.mu.Lock()
		e.stale = 1200
		e.mu.Unlock()
		r.Nudge(jobs.EstimateStale)
		r.Nudge("no such job")
		synctest.Wait()
		r.Stop()
		runs := b.all()
		if len(runs) != 1 || runs[0].done != 1200 {
			t.Fatalf("runs %+v, want one with 1200 handled", runs)
		}
		if want := [][2]int{{0, 1200}, {400, 1200}, {800, 1200}, {1200, 1200}}; !slices.Equal(runs[0].far, want) {
			t.Errorf("progress told %v, want %v", runs[0].far, want)
		}
	})
}

func TestNew_RefusesBadSchedule(t *testing.T) {
	_, err := jobs.New(&book{}, time.Now, quiet(), jobs.Job{Name: "x", Spec: "whenever"})
	if err == nil {
		t.Fatal("a schedule that cron cannot read was taken")
	}
}
