package store

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"hoseward/internal/register"
	"hoseward/migrations"
)

// Answers is nil if the register answers and its schema is the program's. It
// asks as little as can be, so that it may be called every few seconds.
func (s *Store) Answers(ctx context.Context) error {
	var have int64
	err := s.reader().row(ctx, "SELECT COALESCE(MAX(version_id), 0) FROM goose_db_version WHERE is_applied").Scan(&have)
	if err != nil {
		return fmt.Errorf("ask the register for its schema: %w", hidePassword(translate(err), s.dsn))
	}
	want, err := newestMigration(s.e.name)
	switch {
	case err != nil:
		return err
	case have < want:
		return ErrSchemaOld
	case have > want:
		return ErrSchemaNew
	}
	return nil
}

// newestMigration is the number of the last migration that comes with the
// program.
func newestMigration(engine string) (newest int64, err error) {
	folder := migrations.SQLite
	if engine == Postgres {
		folder = migrations.Postgres
	}
	names, err := fs.Glob(folder, engine+"/*.sql")
	if err != nil || len(names) == 0 {
		return 0, fmt.Errorf("find the migrations for %s: %v", engine, err)
	}
	last := strings.TrimPrefix(slices.Max(names), engine+"/") // numbers have leading zeros
	if _, err := fmt.Sscanf(last, "%d_", &newest); err != nil {
		return 0, fmt.Errorf("read the number of migration %s: %w", last, err)
	}
	return newest, nil
}

// Vitals are what whoever runs the register watches.
func (s *Store) Vitals(ctx context.Context) (register.Vitals, error) {
	v := register.Vitals{Connections: s.connections()}
	r := s.reader()
	if err := r.row(ctx, "SELECT seq FROM chain_head WHERE id = 1").Scan(&v.Changes); err != nil {
		return v, fmt.Errorf("count the change log: %w", translate(err))
	}
	if err := r.row(ctx, "SELECT COUNT(*) FROM estimates WHERE stale").Scan(&v.Stale); err != nil {
		return v, fmt.Errorf("count stale estimates: %w", translate(err))
	}
	oldest, err := estimates.one(ctx, r, "stale AND as_of IS NOT NULL ORDER BY as_of LIMIT 1")
	if err != nil {
		return v, err
	}
	if oldest != nil {
		v.StaleSince = oldest.AsOf
	}
	v.Jobs, err = s.jobVitals(ctx)
	return v, err
}

func (s *Store) jobVitals(ctx context.Context) ([]register.JobVitals, error) {
	r := s.reader()
	last, err := jobRuns.where(ctx, r, "id IN (SELECT MAX(id) FROM job_runs GROUP BY job) ORDER BY job")
	if err != nil {
		return nil, err
	}
	all := make([]register.JobVitals, 0, len(last))
	for _, run := range last {
		job := register.JobVitals{Job: run.Job, LastRun: run.Started}
		good, err := jobRuns.one(ctx, r, "job = ? AND finished IS NOT NULL AND problem = '' ORDER BY id DESC LIMIT 1", run.Job)
		if err != nil {
			return nil, err
		}
		if good != nil && good.Finished != nil {
			job.LastGood, job.LastTook = *good.Finished, good.Finished.Sub(good.Started)
		}
		if err := r.row(ctx, "SELECT COUNT(*) FROM job_runs WHERE job = ? AND problem <> ''", run.Job).Scan(&job.Failures); err != nil {
			return nil, fmt.Errorf("count failed runs: %w", translate(err))
		}
		all = append(all, job)
	}
	return all, nil
}

// connections are those of both pools together.
func (s *Store) connections() register.Connections {
	w := s.write.Stats()
	c := register.Connections{Open: w.OpenConnections, InUse: w.InUse, Most: w.MaxOpenConnections, Waits: w.WaitCount, Waited: w.WaitDuration}
	if s.read != s.write {
		r := s.read.Stats()
		c.Open, c.InUse, c.Most = c.Open+r.OpenConnections, c.InUse+r.InUse, c.Most+r.MaxOpenConnections
		c.Waits, c.Waited = c.Waits+r.WaitCount, c.Waited+r.WaitDuration
	}
	return c
}
