package jobs_test

import (
	"context"
	"maps"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"hoseward/jobs"
)

// crown is a leadership in memory: one wears it at a time.
type crown struct {
	mu     sync.Mutex
	lost   chan struct{} // of who wears it, nil if nobody does
	nudged func(string)
	fail   error
}

func (c *crown) Lead(ctx context.Context, nudged func(string)) (<-chan struct{}, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fail != nil || c.lost != nil {
		return nil, c.fail
	}
	lost := make(chan struct{})
	c.lost, c.nudged = lost, nudged
	context.AfterFunc(ctx, func() { c.fall(lost) })
	return lost, nil
}

func (c *crown) HandOn(_ context.Context, job string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.nudged != nil {
		c.nudged(job)
	}
	return nil
}

// fall takes the crown from its wearer; nil is whoever that is.
func (c *crown) fall(of chan struct{}) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.lost != nil && (of == nil || of == c.lost) {
		close(c.lost)
		c.lost, c.nudged = nil, nil
	}
}

// counts is what workers did so far.
type counts struct {
	now, most        int
	begun, cancelled int
	beganAt          []time.Time
	byProgram        map[int]int
}

// workers counts who is at work at once.
type workers struct {
	workFor, lingers time.Duration
	mu               sync.Mutex
	counts
}

// seen is a copy of the counts.
func (w *workers) seen() counts {
	w.mu.Lock()
	defer w.mu.Unlock()
	c := w.counts
	c.beganAt, c.byProgram = slices.Clone(c.beganAt), maps.Clone(c.byProgram)
	return c
}

func (w *workers) job(program int) jobs.Job {
	return jobs.Job{Name: "work", Spec: "*/5 * * * *", Run: func(ctx context.Context, _ time.Time, _ jobs.Progress) (int, error) {
		w.mu.Lock()
		w.now++
		w.begun++
		w.most = max(w.most, w.now)
		w.beganAt = append(w.beganAt, time.Now())
		w.byProgram[program]++
		w.mu.Unlock()
		defer func() {
			w.mu.Lock()
			w.now--
			w.mu.Unlock()
		}()
		select {
		case <-ctx.Done():
			w.mu.Lock()
			w.cancelled++
			w.mu.Unlock()
			time.Sleep(w.lingers)
			return 0, ctx.Err()
		case <-time.After(w.workFor):
			return 1, nil
		}
	}}
}

func several(t *testing.T, c *crown, w *workers, n int) []*jobs.Runner {
	t.Helper()
	w.byProgram = map[int]int{}
	var all []*jobs.Runner
	for i := range n {
		r, err := jobs.New(&book{}, time.Now, quiet(), w.job(i))
		if err != nil {
			t.Fatal(err)
		}
		r.AmongSeveral(c, jobs.UsualPace())
		if err := r.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

func TestLead_AnotherTakesOverWithinAMinuteAndNeverTwoAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, w := &crown{}, &workers{workFor: 3 * time.Minute, lingers: time.Second}
		all := several(t, c, w, 3)
		time.Sleep(10 * time.Second)
		if w.seen().begun != 1 {
			t.Fatalf("%d runs after the start, want 1: of the leader", w.seen().begun)
		}
		for range 5 {
			before := w.seen().begun
			fell := time.Now()
			c.fall(nil)
			time.Sleep(time.Minute)
			if now := w.seen(); now.begun != before+1 || now.beganAt[len(now.beganAt)-1].Sub(fell) > time.Minute {
				t.Errorf("%d runs within a minute of losing the leader, want 1", now.begun-before)
			}
		}
		for _, r := range all {
			r.Stop()
		}
		if w.seen().most != 1 || w.seen().cancelled != 6 {
			t.Errorf("%d at once, %d cancelled; want 1, and 6: five that lost the lead and the one that was stopped", w.seen().most, w.seen().cancelled)
		}
	})
}

func TestLead_StoppedLeaderIsFollowed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, w := &crown{}, &workers{workFor: time.Second}
		all := several(t, c, w, 2)
		time.Sleep(10 * time.Second)
		first := 0
		if w.seen().byProgram[1] > 0 {
			first = 1
		}
		all[first].Stop()
		time.Sleep(time.Minute)
		synctest.Wait()
		all[1-first].Stop()
		if w.seen().byProgram[0] == 0 || w.seen().byProgram[1] == 0 {
			t.Errorf("runs by program: %v, want both", w.seen().byProgram)
		}
	})
}

func TestLead_NudgeIsHandedOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, w := &crown{}, &workers{workFor: time.Second}
		all := several(t, c, w, 2)
		time.Sleep(10 * time.Second)
		for _, r := range all { // one leads, one does not
			before := w.seen().begun
			r.Nudge("work")
			time.Sleep(5 * time.Second)
			synctest.Wait()
			if w.seen().begun != before+1 {
				t.Errorf("%d runs after a nudge, want 1", w.seen().begun-before)
			}
		}
		for _, r := range all {
			r.Stop()
			r.Nudge("work") // after the end: nothing, and no panic
		}
		if len(w.seen().byProgram) != 1 {
			t.Errorf("runs by program %v, want one only", w.seen().byProgram)
		}
	})
}

func TestLead_FailureIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, w := &crown{fail: context.DeadlineExceeded}, &workers{workFor: time.Second}
		all := several(t, c, w, 1)
		time.Sleep(time.Minute)
		if w.seen().begun != 0 {
			t.Error("ran without leading")
		}
		c.mu.Lock()
		c.fail = nil
		c.mu.Unlock()
		time.Sleep(time.Minute)
		synctest.Wait()
		all[0].Stop()
		if w.seen().begun == 0 {
			t.Error("never ran after the failure was over")
		}
	})
}
