package server

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/server/api"
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
	s.echo.Pre(s.logRequest, s.safeHeaders, s.recoverPanic, s.limitAll, s.checkPeer, s.checkHost, denyCrossOrigin(crossOrigin),
		s.limitDoors, s.limitStrangers, limitBody, escapedPath)
	return nil
}

// realAddress finds the address a request really comes from: of the other end
// of the connection or, where that is a trusted proxy, of the last before it
// that is none.
func (s *Server) realAddress() echo.IPExtractor {
	if len(s.cfg.Proxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range s.cfg.Proxies {
		a := p.Addr()
		trust = append(trust, echo.TrustIPRange(&net.IPNet{IP: a.AsSlice(), Mask: net.CIDRMask(p.Bits(), a.BitLen())}))
	}
	return echo.ExtractIPFromXFFHeader(trust...)
}

// errForeignPeer is a request past the proxies that stand before the server.
var errForeignPeer = echo.NewHTTPError(http.StatusForbidden,
	"This register is reached through its own address only. Open it by the address you were given.")

// checkPeer refuses, where proxies stand before the server, who comes past
// them: what keeps people safe there, such as TLS, would be missing.
func (s *Server) checkPeer(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		from := peer(c.Request())
		if len(s.cfg.Proxies) > 0 && !s.trusted(from) && !from.IsLoopback() && !isProbe(c.Request()) {
			return errForeignPeer
		}
		return next(c)
	}
}

// logRequest gives the request an id and writes one line when it is answered.
// Errors are answered here, so that the line has the final status. Neither the
// query nor one-time addresses are in it.
func (s *Server) logRequest(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := s.deps.Now()
		id := s.newRequestID(c.Request())
		c.Set(requestIDKey, id)
		c.Response().Header().Set("X-Request-Id", id)
		err := next(c)
		if err != nil {
			s.handleError(err, c)
		}
		took := s.deps.Now().Sub(start)
		s.count(c, took, err)
		level := slog.LevelInfo
		if c.Response().Status >= 500 {
			level = slog.LevelError
		}
		r := c.Request()
		args := []any{"id", id, "method", r.Method, "path", loggedPath(r), "status", c.Response().Status, "bytes", c.Response().Size, "ms", took.Milliseconds(), "from", c.RealIP()}
		if who, _ := c.Get(callerKey).(*caller); who != nil {
			args = append(args, "person", who.Actor.PersonID)
		}
		if err != nil {
			args = append(args, "error", loggedError(r, err))
		}
		s.deps.Log.Log(r.Context(), level, "request", args...)
		return nil
	}
}

// count counts an answered request.
func (s *Server) count(c echo.Context, took time.Duration, err error) {
	route := c.Path()
	if !s.patterns[route] {
		route = "none"
	}
	s.metrics.answered(route, c.Request().Method, c.Response().Status, took)
	if isDoor(c.Request()) && c.Response().Status >= 400 {
		s.metrics.signInFailures.Inc()
	}
	var p *panicked
	if errors.As(err, &p) {
		s.metrics.panics.Inc()
	}
}

// newRequestID is the id a trusted proxy gave the request, if it is short and
// plain, else one of our own.
func (s *Server) newRequestID(r *http.Request) string {
	id := r.Header.Get("X-Request-Id")
	plain := func(b rune) bool {
		return b == '-' || b == '_' || b == '.' || '0' <= b && b <= '9' || 'a' <= b && b <= 'z' || 'A' <= b && b <= 'Z'
	}
	if len(id) >= 8 && len(id) <= 64 && strings.IndexFunc(id, func(b rune) bool { return !plain(b) }) < 0 && s.trusted(peer(r)) {
		return id
	}
	return rand.Text()[:12]
}

// secretPlaces are the parts of a path behind which stands what only one person
// may know.
func secretPlaces() []string { return []string{"set-up", "welcome"} }

// loggedPath is the path of a request without what is secret in it, also where
// a phone began the address with a capital letter, and not longer than anybody
// reads.
func loggedPath(r *http.Request) string {
	parts := strings.Split(r.URL.Path, "/")
	for i, part := range parts {
		if slices.Contains(secretPlaces(), strings.ToLower(part)) && i+1 < len(parts) {
			return strings.Join(parts[:i+1], "/") + "/..."
		}
	}
	if len(r.URL.Path) > 500 {
		return strings.ToValidUTF8(r.URL.Path[:500], "") + "..."
	}
	return r.URL.Path
}

// loggedError is an error in words, without what is secret in the address.
func loggedError(r *http.Request, err error) string {
	text := err.Error()
	_, secret, _ := strings.Cut(loggedPath(r)+"\n"+r.URL.Path, "/...\n")
	for _, part := range strings.Split(secret, "/") {
		if len(part) >= 8 {
			text = strings.ReplaceAll(text, part, "...")
		}
	}
	return text
}

const requestIDKey = "request id"

func requestID(c echo.Context) string {
	id, _ := c.Get(requestIDKey).(string)
	return id
}

// safeHeaders sets the headers every answer has. Pages are not kept by
// browsers or proxies; static files say otherwise themselves.
func (s *Server) safeHeaders(next echo.HandlerFunc) echo.HandlerFunc {
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
		c.Response().Before(func() { tellWhenToRetry(c.Response()) })
		if s.cfg.PublicURL != nil && s.cfg.PublicURL.Scheme == "https" {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
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
// loopback or on every address, by each name of loopback, and the host of the
// public URL.
func allowedHosts(addr string, public *url.URL) (hosts, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("read listen address %q: %w", addr, err)
	}
	h := hosts{strings.ToLower(addr): true}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && (ip.IsLoopback() || ip.IsUnspecified()) {
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
		if !isProbe(c.Request()) && !s.hosts[strings.ToLower(c.Request().Host)] {
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
			most := int64(maxForm)
			if isAPI(r) {
				most = api.MaxBody
			}
			r.Body = http.MaxBytesReader(c.Response(), r.Body, most)
			return next(c)
		}
		if isUpload(r) && r.Body != nil {
			conn, body := http.NewResponseController(c.Response()), &readBody{ReadCloser: r.Body}
			if err := conn.SetReadDeadline(time.Time{}); err == nil {
				r.Body = body
				// A deadline long past ends the reading at once.
				late := time.AfterFunc(uploadTime, func() { _ = conn.SetReadDeadline(time.Unix(1, 0)) })
				defer func() {
					late.Stop()
					if !body.ended { // or the rest of it would be waited for without end
						_ = conn.SetReadDeadline(time.Unix(1, 0))
					}
				}()
			}
		}
		return next(c)
	}
}

// readBody is a body that knows whether it was read to its end.
type readBody struct {
	io.ReadCloser
	ended bool
}

func (b *readBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	b.ended = b.ended || errors.Is(err, io.EOF)
	return n, err
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
