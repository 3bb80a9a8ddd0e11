package server

import (
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
)

// contentPolicy is the Content-Security-Policy of every answer.
const contentPolicy = "default-src 'self'; img-src 'self' blob: data:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// maxForm is the largest form taken, in bytes; an uploaded sheet has its own
// limit.
const maxForm = 256 << 10

// guard sets what stands before every route, outermost first.
func (s *Server) guard() error {
	crossOrigin := http.NewCrossOriginProtection()
	if s.cfg.PublicURL != nil {
		if err := crossOrigin.AddTrustedOrigin(s.cfg.PublicURL.Scheme + "://" + s.cfg.PublicURL.Host); err != nil {
			return fmt.Errorf("trust the public URL: %w", err)
		}
	}
	s.echo.Pre(s.logRequest, safeHeaders, s.recoverPanic, s.checkHost, denyCrossOrigin(crossOrigin), limitBody, escapedPath)
	return nil
}

// logRequest gives the request an id and writes one line when it is answered.
// Errors are answered here, so that the line has the final status.
func (s *Server) logRequest(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := s.deps.Now()
		id := rand.Text()[:12]
		c.Set(requestIDKey, id)
		c.Response().Header().Set("X-Request-Id", id)
		err := next(c)
		if err != nil {
			s.handleError(err, c)
		}
		level := slog.LevelInfo
		if c.Response().Status >= 500 {
			level = slog.LevelError
		}
		r := c.Request()
		args := []any{"id", id, "method", r.Method, "path", r.URL.Path, "status", c.Response().Status, "bytes", c.Response().Size, "ms", s.deps.Now().Sub(start).Milliseconds(), "from", c.RealIP()}
		if err != nil {
			args = append(args, "error", err.Error())
		}
		s.deps.Log.Log(r.Context(), level, "request", args...)
		return nil
	}
}

const requestIDKey = "request id"

func requestID(c echo.Context) string {
	id, _ := c.Get(requestIDKey).(string)
	return id
}

// safeHeaders sets the headers every answer has. Pages are not kept by
// browsers or proxies; static files say otherwise themselves.
func safeHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		return next(c)
	}
}

// panicked is a panic of a handler, with the stack for operators.
type panicked struct {
	value any
	stack []byte
}

func (p *panicked) Error() string { return fmt.Sprintf("panic: %v\n%s", p.value, p.stack) }

// recoverPanic turns a panic into an error.
func (s *Server) recoverPanic(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if v := recover(); v != nil {
				if abort, ok := v.(error); ok && errors.Is(abort, http.ErrAbortHandler) {
					panic(v) // the server's own way to cut an answer short
				}
				err = &panicked{value: v, stack: debug.Stack()}
			}
		}()
		return next(c)
	}
}

// hosts are the values of the Host header that are answered.
type hosts map[string]bool

// allowedHosts are the listen address by its own name and, where it is on
// loopback, by each name of loopback, and the host of the public URL.
func allowedHosts(addr string, public *url.URL) (hosts, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("read listen address %q: %w", addr, err)
	}
	h := hosts{strings.ToLower(addr): true}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		for _, name := range []string{"localhost", "127.0.0.1", "::1"} {
			h[net.JoinHostPort(name, port)] = true
			if port == "80" {
				h[strings.TrimSuffix(net.JoinHostPort(name, ""), ":")] = true
			}
		}
	}
	if public != nil {
		name := strings.ToLower(public.Host)
		h[name] = true
		standard := map[string]string{"http": "80", "https": "443"}[public.Scheme]
		if public.Port() == "" {
			h[name+":"+standard] = true
		} else if public.Port() == standard {
			h[strings.TrimSuffix(name, ":"+standard)] = true
		}
	}
	return h, nil
}

// errForeignHost is a request for a host this server is not.
var errForeignHost = echo.NewHTTPError(http.StatusMisdirectedRequest,
	"This address does not belong to this register. Open it by the address it printed when it started.")

// checkHost refuses hosts we are not: a page elsewhere that has its name point
// to this machine gets nothing.
func (s *Server) checkHost(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !s.hosts[strings.ToLower(c.Request().Host)] {
			return errForeignHost
		}
		return next(c)
	}
}

// errCrossOrigin is a change asked for by a page elsewhere.
var errCrossOrigin = echo.NewHTTPError(http.StatusForbidden,
	"Nothing was changed: the form came from another site. Open the page here and send it again.")

// denyCrossOrigin refuses changes that pages elsewhere ask for. It asks Check
// instead of wrapping the handler, so that the refusal is an error like any
// other: one page, one line in the log.
func denyCrossOrigin(protection *http.CrossOriginProtection) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if err := protection.Check(c.Request()); err != nil {
				return errCrossOrigin.WithInternal(err)
			}
			return next(c)
		}
	}
}

// uploadTime is how long sending a sheet may take: a large one over a slow
// line.
const uploadTime = 5 * time.Minute

// limitBody bounds what is read of a request, and for how long. An upload sets
// its own bound of size and has uploadTime; all else has the time the server
// gives every request.
func limitBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		if r.Body != nil && !isUpload(r) {
			r.Body = http.MaxBytesReader(c.Response(), r.Body, maxForm)
			return next(c)
		}
		if isUpload(r) {
			conn := http.NewResponseController(c.Response())
			if err := conn.SetReadDeadline(time.Time{}); err == nil {
				// A deadline long past ends the reading at once.
				late := time.AfterFunc(uploadTime, func() { _ = conn.SetReadDeadline(time.Unix(1, 0)) })
				defer late.Stop()
			}
		}
		return next(c)
	}
}

func isUpload(r *http.Request) bool { return r.Method == http.MethodPost && r.URL.Path == "/import" }

// escapedPath makes the router look at the path as it was sent, so that a
// slash inside a code is not taken for one between segments.
func escapedPath(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		u := c.Request().URL
		u.RawPath = u.EscapedPath()
		return next(c)
	}
}
