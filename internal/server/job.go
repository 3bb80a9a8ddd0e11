package server

import (
	"context"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// jobStore is what the page of jobs asks of the register.
type jobStore interface {
	JobRuns(ctx context.Context, limit int) ([]register.JobRun, error)
	LastGood(ctx context.Context, job string) (*register.JobRun, error)
}

// jobsPage lists the runs of scheduled jobs, newest first.
type jobsPage struct {
	Base
	Runs    []register.JobRun
	Running []jobProgress
	Backups backupState
}

// jobProgress says how far a run is.
type jobProgress struct {
	Job  string
	Says string // such as 3200 of 10 000 dates are worked out anew
}

// running are the jobs whose newest run has not ended and has told how far it
// is; runs come newest first. A run that was cut short is one of them until
// the job runs again, which it does when the program starts.
func running(runs []register.JobRun) []jobProgress {
	var out []jobProgress
	seen := map[string]bool{}
	for _, r := range runs {
		if r.Finished == nil && r.Total > 0 && !seen[r.Job] {
			says := web.Number(float64(r.Done), 0) + " of " + web.Count(r.Total, "date is worked out anew", "dates are worked out anew")
			out = append(out, jobProgress{Job: r.Job, Says: says})
		}
		seen[r.Job] = true
	}
	return out
}

func (s *Server) jobs(c echo.Context) error {
	runs, err := s.store(c).JobRuns(c.Request().Context(), 100)
	if err != nil {
		return wrap("list runs of jobs", err)
	}
	backups, err := s.backups(c)
	if err != nil {
		return err
	}
	return s.show(c, "jobs", jobsPage{Base: s.base(c, "jobs", "Jobs"), Runs: runs, Running: running(runs), Backups: backups})
}
