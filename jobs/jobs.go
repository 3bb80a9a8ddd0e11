// Package jobs is the table of scheduled jobs and what runs them.
//
// The main idea is that a tick of the clock is only a nudge: which run is due
// is worked out from the runs the store has on record and the time now, so a
// job may run late, twice, or be made up after the program was off. Every run
// is noted with its start, its end and what went wrong. Of several programs on
// one register only the one that leads runs jobs, see AmongSeveral. Jobs hold no
// rules of their own; they call the store.
package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/robfig/cron/v3"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Runs is where runs are noted.
type Runs interface {
	// StartJob notes that a job begins the run of a day. already is true, and
	// nothing is noted, where that run ended well before. Without a day it
	// always begins.
	StartJob(ctx context.Context, job string, forDay quantity.Date, now time.Time) (runID int64, already bool, err error)
	// ProgressJob notes how far a run is.
	ProgressJob(ctx context.Context, runID int64, done, total int) error
	// FinishJob notes the end of a run: how many things it handled and, if it
	// failed, why, in one sentence.
	FinishJob(ctx context.Context, runID int64, now time.Time, done int, problem string) error
}

// Job is one scheduled job.
type Job struct {
	Name string
	// Spec is when it is nudged, as five cron fields in UTC.
	Spec string
	// ForDay is the day whose run is due at now; one good run a day is enough.
	// nil: the job runs at every nudge, and only runs that handled something
	// or failed are noted.
	ForDay func(now time.Time) quantity.Date
	// Run does the work and says how many things it handled. It tells how far
	// it is while it runs, if it knows. It may be cancelled at any time and
	// must leave whole things behind.
	Run func(ctx context.Context, now time.Time, far Progress) (done int, err error)
}

// Progress is told how far a run is. It never fails and may be called often.
type Progress func(done, total int)

// Runner runs a table of jobs, each at most once at a time.
type Runner struct {
	runs Runs
	now  func() time.Time
	log  *slog.Logger

	jobs   []Job
	cron   *cron.Cron
	stop   context.CancelFunc
	ctx    context.Context
	wait   sync.WaitGroup
	nudges map[string]chan struct{}

	leadership Leadership // nil: the only program
	pace       Pace
	mu         sync.Mutex
	run        context.Context // of runs; nil while another program leads
}

// New makes a runner for the jobs. A spec that cron cannot read is an error.
func New(runs Runs, now func() time.Time, log *slog.Logger, table ...Job) (*Runner, error) {
	r := &Runner{
		runs: runs, now: now, log: log, jobs: table,
		nudges: make(map[string]chan struct{}, len(table)),
		cron:   cron.New(cron.WithLocation(time.UTC)),
	}
	for _, j := range table {
		if _, err := cron.ParseStandard(j.Spec); err != nil {
			return nil, fmt.Errorf("read schedule %q of job %s: %w", j.Spec, j.Name, err)
		}
		r.nudges[j.Name] = make(chan struct{}, 1)
	}
	return r, nil
}

// Start runs every job that is due, which makes up runs missed while the
// program was off, and then keeps to the table until Stop or the end of ctx.
// It returns at once; the first runs go on in the background.
func (r *Runner) Start(ctx context.Context) error {
	r.mu.Lock()
	r.ctx, r.stop = context.WithCancel(ctx)
	if r.leadership == nil {
		r.run = r.ctx
	}
	r.mu.Unlock()
	for i := range r.jobs {
		nudge := r.nudges[r.jobs[i].Name]
		if _, err := r.cron.AddFunc(r.jobs[i].Spec, func() { poke(nudge) }); err != nil {
			return fmt.Errorf("schedule job %s: %w", r.jobs[i].Name, err)
		}
		poke(nudge)
		r.wait.Go(func() { r.serve(i, nudge) })
	}
	if r.leadership != nil {
		r.wait.Go(r.keepLeading)
	}
	r.cron.Start()
	return nil
}

// Nudge asks for a run of the named job soon, here or in the program that
// leads; it never waits.
func (r *Runner) Nudge(name string) {
	if _, ok := r.nudges[name]; !ok {
		return
	}
	r.poke(name)
	if r.leading() == nil {
		r.handOn(name)
	}
}

// poke nudges a job of this program.
func (r *Runner) poke(name string) {
	if nudge, ok := r.nudges[name]; ok {
		poke(nudge)
	}
}

// Stop ends the schedule, cancels what runs and waits for it.
func (r *Runner) Stop() {
	<-r.cron.Stop().Done()
	r.mu.Lock()
	if r.stop != nil {
		r.stop()
	}
	r.mu.Unlock()
	r.wait.Wait()
}

func poke(nudge chan struct{}) {
	select {
	case nudge <- struct{}{}:
	default: // one is waiting already
	}
}

func (r *Runner) serve(i int, nudge <-chan struct{}) {
	for {
		select {
		case <-r.ctx.Done():
			return
		case <-nudge:
			if ctx := r.leading(); ctx != nil {
				r.RunDue(ctx, r.jobs[i])
			}
		}
	}
}

// RunDue does the run of a job that is due now, unless it was done already.
// What fails is noted and logged; the next nudge tries again. A job without a
// day is noted as soon as it tells that there is something to do.
func (r *Runner) RunDue(ctx context.Context, j Job) {
	started := r.now()
	id := int64(0)
	begin := func() (already bool) {
		var day quantity.Date
		if j.ForDay != nil {
			day = j.ForDay(started)
		}
		var err error
		id, already, err = r.runs.StartJob(ctx, j.Name, day, started)
		if !r.noted(j, err) {
			id = 0
		}
		return already
	}
	if j.ForDay != nil && (begin() || id == 0) {
		return
	}
	done, err := guarded(ctx, j, started, func(done, total int) {
		if id == 0 && total > 0 {
			begin()
		}
		if id != 0 {
			r.noted(j, r.runs.ProgressJob(ctx, id, done, total))
		}
	})
	if id == 0 && (done > 0 || err != nil) {
		begin()
	}
	if id != 0 {
		r.finish(ctx, j, id, done, err)
	}
}

// finish notes the end of a run, even when the program is stopping.
func (r *Runner) finish(ctx context.Context, j Job, id int64, done int, runErr error) {
	problem := ""
	if runErr != nil {
		problem = problemOf(runErr)
		r.log.Error("run job", "job", j.Name, "err", runErr)
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if r.noted(j, r.runs.FinishJob(end, id, r.now(), done, problem)) {
		r.log.Info("job ended", "job", j.Name, "handled", done, "ok", runErr == nil)
	}
}

// problemOf says in one sentence why a run failed: in the job's own words if it
// has some.
func problemOf(err error) string {
	var said *register.Error
	if errors.As(err, &said) {
		return said.Sentence
	}
	return "The run did not finish; it is tried again at the next turn. The log of the program says why."
}

func (r *Runner) noted(j Job, err error) bool {
	if err != nil {
		r.log.Error("note run of job", "job", j.Name, "err", err)
	}
	return err == nil
}

// guarded turns a panic in a job into its error: one bad job must not take the
// service down.
func guarded(ctx context.Context, j Job, now time.Time, far Progress) (done int, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic in job %s: %v", j.Name, p)
		}
	}()
	return j.Run(ctx, now, far)
}
