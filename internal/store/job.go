package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// StartJob notes that a job starts on what was due on a day. already is true,
// and nothing is noted, if a run for that day ended well; a run that failed or
// never ended does not count, so every job must bear running twice. Without a
// day the run always starts.
func (s *Store) StartJob(ctx context.Context, job string, forDay quantity.Date, now time.Time) (runID int64, already bool, err error) {
	err = s.inTx(ctx, func(c conn) error {
		runID, already = 0, false
		if !forDay.IsZero() {
			done, err := jobRuns.one(ctx, c, "job = ? AND for_day = "+c.e.date(forDay)+" AND finished IS NOT NULL AND problem = '' LIMIT 1", job)
			if err != nil {
				return err
			}
			if done != nil {
				runID, already = done.ID, true
				return nil
			}
		}
		row := register.JobRun{Job: job, ForDay: forDay, Started: now.UTC()}
		if err := s.ormOn(ctx, c).Create(&row).Error; err != nil {
			return err
		}
		runID = row.ID
		return nil
	})
	if err != nil {
		return 0, false, fmt.Errorf("note the start of job %s: %w", job, err)
	}
	return runID, already, nil
}

// ProgressJob notes how far a run is: how many things of how many it has
// handled so far.
func (s *Store) ProgressJob(ctx context.Context, runID int64, done, total int) error {
	err := s.inTx(ctx, func(c conn) error {
		_, err := c.exec(ctx, "UPDATE job_runs SET done = ?, total = ? WHERE id = ?", done, total, runID)
		return err
	})
	if err != nil {
		return fmt.Errorf("note how far job run %d is: %w", runID, err)
	}
	return nil
}

// FinishJob notes that a run ended: how many things it handled, and why it
// failed if it did.
func (s *Store) FinishJob(ctx context.Context, runID int64, now time.Time, done int, problem string) error {
	err := s.inTx(ctx, func(c conn) error {
		_, err := c.exec(ctx, "UPDATE job_runs SET finished = ?, done = ?, problem = ? WHERE id = ?", now.UTC(), done, problem, runID)
		return err
	})
	if err != nil {
		return fmt.Errorf("note the end of job run %d: %w", runID, err)
	}
	return nil
}

// LastGood is the run of a job that ended well last; nil if none did.
func (s *Store) LastGood(ctx context.Context, job string) (*register.JobRun, error) {
	return jobRuns.one(ctx, s.reader(), "job = ? AND finished IS NOT NULL AND problem = '' ORDER BY started DESC, id DESC LIMIT 1", job)
}

// JobRuns are the latest runs, newest first. Why one failed may name things of
// any site, so within a scope it is only said that it did.
func (s *Store) JobRuns(ctx context.Context, limit int) ([]register.JobRun, error) {
	runs, err := jobRuns.where(ctx, s.reader(), "1 = 1 ORDER BY started DESC, id DESC LIMIT ?", limit)
	for i := range runs {
		if runs[i].Problem != "" && !s.scope.All {
			runs[i].Problem = "It failed; whoever may see all sites is told why."
		}
	}
	return runs, err
}
