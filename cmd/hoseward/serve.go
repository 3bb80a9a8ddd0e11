package main

import (
	"context"
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/files"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/store"
	"hoseward/jobs"
)

// serveCommand runs the web service with its jobs.
type serveCommand struct {
	Demo bool `help:"Serve the demo fleet, from var/demo.db and var/demo-files whatever the settings say."`
}

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
	protect, err := protection(listener.Addr().String(), m, s, log)
	if err != nil {
		return err
	}
	table := append(backupJobs(reg, s), jobs.Nightly(reg), jobs.Stale(reg), jobs.Known(reg), jobs.Forget(reg), clearUploads(folder))
	runner, err := jobs.New(reg, m.Now, log, table...)
	if err != nil {
		return err
	}
	runner.AmongSeveral(reg, pace(reg))
	var ways []demoWay
	if c.Demo {
		if ways, err = demoPeople(ctx, m, reg); err != nil {
			return err
		}
	}
	secret, err := setUpSecret(ctx, reg)
	if err != nil {
		return err
	}
	srv, err := server.New(
		server.Config{Addr: listener.Addr().String(), PublicURL: protect.public, Proxies: s.Proxies, Clear: protect.clear, Demo: c.Demo, Backups: s.Backups != "", SetUp: secret},
		server.Deps{For: func(sc register.Scope) server.Store { return reg.For(sc) }, Uploads: folder, Now: m.Now, Zone: s.Zone, Log: log, Nudge: func() { runner.Nudge(jobs.EstimateStale) }},
	)
	if err != nil {
		return fmt.Errorf("set up the pages: %w", err)
	}
	if err := runner.Start(ctx); err != nil {
		return err
	}
	defer runner.Stop()
	base := fmt.Sprintf("%s://%s", protect.scheme, listener.Addr())
	serving := &webService{srv: srv, listener: listener, certs: protect.certs, notice: protect.notice, finish: finishWithin, log: log}
	defer serving.reloadOnHangUp()()
	// Of one piece: who reads the address has read what lets them in.
	fmt.Fprintf(m.Stdout, "hoseward serves at %s\n%s", base, wayIn(orPublic(base, protect.public), secret, ways))
	return serving.serve(ctx)
}

// orPublic is the public URL, or base where there is none.
func orPublic(base string, public *url.URL) string {
	if public == nil {
		return base
	}
	return strings.TrimSuffix(public.String(), "/")
}

// pace is how programs on one register follow one another. On SQLite nothing of
// one that held the lock can be left, so nobody has to be waited for.
func pace(reg *store.Store) jobs.Pace {
	p := jobs.UsualPace()
	if reg.Engine() == store.SQLite {
		p.Settle = 0
	}
	return p
}

// open opens the register, and for the demo the demo register, filled.
func (c serveCommand) open(ctx context.Context, m *Main, s *config.Settings) (*store.Store, error) {
	if !c.Demo {
		return openRegister(ctx, m, *s)
	}
	s.DB, s.Files, s.Backups = demoDB, demoFiles, "" // it is made anew, not kept
	return openDemo(ctx, m, s.DB)
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
