package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/files"
	"hoseward/internal/server"
	"hoseward/internal/store"
	"hoseward/jobs"
)

// serveCommand runs the web service with its jobs.
type serveCommand struct {
	Demo bool `help:"Serve the demo fleet, from var/demo.db and var/demo-files whatever the settings say."`
}

// stopWithin is how long requests may take to end when the service stops.
const stopWithin = 10 * time.Second

// keepUploads is how long an uploaded sheet waits to be taken.
const keepUploads = 24 * time.Hour

// Run serves until the context ends, then lets requests and jobs finish.
func (c serveCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	log := s.Logger(m.Stderr)
	reg, err := c.open(ctx, m, &s)
	if err != nil {
		return err
	}
	defer reg.Close()
	folder, err := files.Open(s.Files)
	if err != nil {
		return fmt.Errorf("open the folder of files %s: %w", s.Files, err)
	}
	listener, err := net.Listen("tcp", s.Listen)
	if err != nil {
		return fmt.Errorf("listen on %s (is another hoseward running? --listen takes another address): %w", s.Listen, err)
	}
	defer listener.Close()
	runner, err := jobs.New(reg, m.Now, log, jobs.Nightly(reg), jobs.Stale(reg), jobs.Known(reg), clearUploads(folder))
	if err != nil {
		return err
	}
	srv, err := server.New(
		server.Config{Addr: listener.Addr().String(), PublicURL: s.PublicURL, Demo: c.Demo},
		server.Deps{Store: reg, Uploads: folder, Now: m.Now, Zone: s.Zone, Log: log, Nudge: func() { runner.Nudge(jobs.EstimateStale) }},
	)
	if err != nil {
		return fmt.Errorf("set up the pages: %w", err)
	}
	if err := runner.Start(ctx); err != nil {
		return err
	}
	defer runner.Stop()
	fmt.Fprintf(m.Stdout, "hoseward serves at http://%s\n", listener.Addr())
	return serve(ctx, srv.HTTP(), listener)
}

// open opens the register, and for the demo the demo register, filled.
func (c serveCommand) open(ctx context.Context, m *Main, s *config.Settings) (*store.Store, error) {
	if !c.Demo {
		return openRegister(ctx, s.DB)
	}
	s.DB, s.Files = demoDB, demoFiles
	return openDemo(ctx, m, s.DB)
}

// serve answers requests until ctx ends, then stops taking new ones and waits
// for those begun.
func serve(ctx context.Context, srv *http.Server, listener net.Listener) error {
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(listener) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serve on %s: %w", listener.Addr(), err)
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	err := srv.Shutdown(end)
	if served := <-failed; err == nil && !errors.Is(served, http.ErrServerClosed) {
		err = served
	}
	if err != nil {
		return fmt.Errorf("stop serving: %w", err)
	}
	return nil
}

// clearUploads removes uploaded sheets that nobody took within a day.
func clearUploads(folder *files.Folder) jobs.Job {
	return jobs.Job{
		Name: "clear uploads",
		Spec: "40 * * * *",
		Run: func(_ context.Context, now time.Time, _ jobs.Progress) (int, error) {
			return folder.RemoveOlder(now.Add(-keepUploads))
		},
	}
}
