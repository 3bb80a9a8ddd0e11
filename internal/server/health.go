package server

import (
	"context"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// vitalStore is what watching the register asks of it.
type vitalStore interface {
	Answers(ctx context.Context) error
	Vitals(ctx context.Context) (register.Vitals, error)
}

// readyWithin is how long the register may take to answer.
const readyWithin = 2 * time.Second

// healthRoutes are for programs that watch this one. They need no right in the
// table: the first two tell nothing but yes or no, the third looks itself who
// asks.
func (s *Server) healthRoutes() []route {
	return []route{
		{get, "/healthz", register.RightAnyone, s.healthz},
		{get, "/readyz", register.RightAnyone, s.readyz},
		{get, "/metrics", register.RightAnyone, s.metricsText},
	}
}

// isProbe reports whether a request asks how the program is. It is answered by
// whatever name, to whatever address and however busy the program is: those
// who watch know it by a number only.
func isProbe(r *http.Request) bool {
	return (r.Method == http.MethodGet || r.Method == http.MethodHead) && (r.URL.Path == "/healthz" || r.URL.Path == "/readyz")
}

// healthz says that the program lives.
func (s *Server) healthz(c echo.Context) error { return c.String(http.StatusOK, "ok\n") }

// readyz says whether requests should be sent here: the register answers in
// time, its schema is ours, and the program is not about to end.
func (s *Server) readyz(c echo.Context) error {
	if s.stopping.Load() {
		return c.String(http.StatusServiceUnavailable, "stopping\n")
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), readyWithin)
	defer cancel()
	if err := s.deps.For(register.AllSites()).Answers(ctx); err != nil {
		s.deps.Log.Warn("not ready", "id", requestID(c), "error", err)
		return c.String(http.StatusServiceUnavailable, "the register does not answer\n")
	}
	return c.String(http.StatusOK, "ready\n")
}

// Stopping makes readyz say no, so that no further requests are sent here; those
// that come are answered still.
func (s *Server) Stopping() { s.stopping.Store(true) }

// Idle waits until no request is worked on, or ctx ends.
func (s *Server) Idle(ctx context.Context) error {
	idle := make(chan struct{})
	go func() {
		s.running.Wait()
		close(idle)
	}()
	select {
	case <-idle:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// metricsText sends the metrics to programs on this computer, and to managers
// of all sites; to others there is no such page.
func (s *Server) metricsText(c echo.Context) error {
	if !s.direct(c.Request()) {
		who, err := s.identify(c)
		if err != nil {
			return err
		}
		if who == nil || !s.hasAt(c, 0, register.RightManage) {
			return echo.ErrNotFound
		}
		if err := s.limitCaller(c, who); err != nil {
			return err
		}
	}
	s.metrics.text.ServeHTTP(c.Response(), c.Request())
	return nil
}

// direct reports whether a program on this computer sends a request itself: no
// proxy passed it on, and it was not asked for by a public name, as by a
// browser behind a proxy that leaves no trace.
func (s *Server) direct(r *http.Request) bool {
	for _, name := range []string{"X-Forwarded-For", "X-Forwarded-Host", "X-Real-Ip", "Forwarded", "Via"} {
		if _, ok := r.Header[name]; ok {
			return false
		}
	}
	return peer(r).IsLoopback() && isLoopbackHost(r.Host)
}

// isLoopbackHost reports whether a Host header names this computer.
func isLoopbackHost(host string) bool {
	if p, err := netip.ParseAddrPort(host); err == nil {
		return p.Addr().Unmap().IsLoopback()
	}
	name, _, _ := strings.Cut(strings.ToLower(host), ":")
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return name == "localhost" || err == nil && ip.Unmap().IsLoopback()
}

// peer is the other end of the connection; the zero address if it has none.
func peer(r *http.Request) netip.Addr {
	p, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return p.Addr().Unmap().WithZone("")
}

// trusted reports whether an address is one of the proxies before the server.
func (s *Server) trusted(a netip.Addr) bool {
	return slices.ContainsFunc(s.cfg.Proxies, func(p netip.Prefix) bool { return p.Contains(a) })
}
