package server

import (
	"context"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// jobStore is what the page of jobs asks of the register.
type jobStore interface {
	JobRuns(ctx context.Context, limit int) ([]register.JobRun, error)
}

// jobsPage lists the runs of scheduled jobs, newest first.
type jobsPage struct {
	Base
	Runs []register.JobRun
}

func (s *Server) jobs(c echo.Context) error {
	runs, err := s.deps.Store.JobRuns(c.Request().Context(), 100)
	if err != nil {
		return wrap("list runs of jobs", err)
	}
	return s.show(c, "jobs", jobsPage{Base: s.base(c, "jobs", "Jobs"), Runs: runs})
}
