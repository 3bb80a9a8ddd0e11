package jobs

import (
	"context"
	"time"
)

// Leadership is what makes one program of several on the same register the one
// that runs the jobs.
type Leadership interface {
	// Lead makes this program the leader if there is none. lost is nil if
	// another leads; else it is closed as soon as this one leads no more, and
	// after ctx ended, when another may lead. Meanwhile nudged is told of jobs
	// that others ask for.
	Lead(ctx context.Context, nudged func(job string)) (lost <-chan struct{}, err error)
	// HandOn asks the leader to run a job soon; it may be lost.
	HandOn(ctx context.Context, job string) error
}

// Pace is how the programs follow one another.
type Pace struct {
	// Try is the pause between attempts to lead: how long jobs may rest when
	// a leader is gone.
	Try time.Duration
	// Settle is how long a new leader waits before its first run, so that the
	// one before it has noticed and ended what it ran: on PostgreSQL it asks
	// every two seconds and waits two for an answer.
	Settle time.Duration
}

// UsualPace lets another program take over within half a minute.
func UsualPace() Pace { return Pace{Try: 20 * time.Second, Settle: 5 * time.Second} }

// AmongSeveral makes the runner run jobs only while its program leads. Call it
// before Start; without it the program is taken for the only one.
//
// A run that is going on when the lead is lost is cancelled. A job nudged where
// another program leads is handed on to it; where that gets lost, it has its
// usual turn there.
func (r *Runner) AmongSeveral(l Leadership, p Pace) { r.leadership, r.pace = l, p }

// keepLeading tries to lead until the runner ends, and nudges all jobs
// whenever it begins to: what the leader before left undone is made up.
func (r *Runner) keepLeading() {
	for r.ctx.Err() == nil {
		lost, err := r.leadership.Lead(r.ctx, r.poke)
		switch {
		case err != nil && r.ctx.Err() == nil:
			r.log.Error("try to lead the jobs", "err", err)
		case lost != nil:
			r.lead(lost)
		}
		wait(r.ctx, nil, r.pace.Try)
	}
}

// lead runs jobs until the lead is lost or the runner ends.
func (r *Runner) lead(lost <-chan struct{}) {
	if wait(r.ctx, lost, r.pace.Settle) {
		ctx, cancel := context.WithCancel(r.ctx)
		r.setLeading(ctx)
		r.log.Info("this program runs the jobs")
		for name := range r.nudges {
			r.poke(name)
		}
		select {
		case <-lost:
			r.log.Warn("this program runs the jobs no more: it lost its hold on the register")
		case <-r.ctx.Done():
		}
		r.stopLeading()
		cancel()
	}
	<-lost // let go of it before another try, or the end
}

// wait is whether a pause passed before the end of ctx and lost.
func wait(ctx context.Context, lost <-chan struct{}, pause time.Duration) bool {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-lost:
		return false
	case <-timer.C:
		return true
	}
}

// leading is the context of runs, nil while another program leads.
func (r *Runner) leading() context.Context {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.run
}

func (r *Runner) setLeading(ctx context.Context) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.run = ctx
}

func (r *Runner) stopLeading() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.run = nil
}

// handOn asks the leader to run a job, in the background.
func (r *Runner) handOn(name string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.leadership == nil || r.ctx == nil || r.ctx.Err() != nil {
		return
	}
	r.wait.Go(func() {
		ctx, cancel := context.WithTimeout(r.ctx, 5*time.Second)
		defer cancel()
		if err := r.leadership.HandOn(ctx, name); err != nil {
			r.log.Warn("hand on a job", "job", name, "err", err)
		}
	})
}
