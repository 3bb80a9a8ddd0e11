package server

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/api"
	"hoseward/internal/server/session"
	"hoseward/web"
)

// Config is what the server is told about where and as what it stands.
type Config struct {
	// Addr is the address it is reached at, host:port with the port really
	// listened on.
	Addr string
	// PublicURL is the base of the addresses people use, nil for Addr.
	PublicURL *url.URL
	// Proxies are the proxies that may say whom they forward. If there are any,
	// only they and this computer are answered.
	Proxies []netip.Prefix
	// Clear says that other machines are served without TLS.
	Clear bool
	// Limits bound what is taken from whom; nil stands for UsualLimits.
	Limits *Limits
	Demo   bool // serves the demo register
	// Backups says that a backup is made each night.
	Backups bool
	// SetUp is the secret of the address at which the first manager is added,
	// while nobody can sign in; empty for no such address.
	SetUp string
	// MaxUpload is the largest sheet taken, in bytes; 0 means 64 MiB.
	MaxUpload int64
}

// transport is how browsers reach the server.
func (c Config) transport() session.Transport {
	if c.PublicURL != nil && c.PublicURL.Scheme == "https" {
		return session.HTTPS
	}
	return session.HTTP
}

// Store is the register, as far as pages need it.
type Store interface {
	callerStore
	signInStore
	accountStore
	peopleStore
	tokenStore
	todayStore
	dueStore
	machineStore
	readingStore
	hoseStore
	inspectionStore
	assemblyStore
	importStore
	policyStore
	jobStore
	unknownStore
	personStore
	listStore
	exportStore
	historyStore
	placeStore
	storyStore
	api.Store
	vitalStore
}

// Uploads keeps uploaded files until they are imported.
type Uploads interface {
	// Save keeps what r gives and returns an id for it. More than limit bytes
	// give an error that is an *http.MaxBytesError; errors of r are passed on.
	Save(name string, r io.Reader, limit int64) (id string, err error)
	// Open opens a kept file; name is what it was called. An unknown id gives
	// an error that is fs.ErrNotExist.
	Open(id string) (name string, file *os.File, err error)
}

// Deps is what the server works with. All but Nudge are needed.
type Deps struct {
	// For is the register as far as it belongs to the sites of a scope: what
	// belongs to others is not there.
	For     func(register.Scope) Store
	Uploads Uploads
	Now     func() time.Time
	Zone    *time.Location // decides what today is where no site does
	Log     *slog.Logger
	// Nudge asks for estimates that were left stale to be worked out now. It
	// returns at once; nil does nothing.
	Nudge func()
}

// Server answers requests. It is an http.Handler.
type Server struct {
	cfg       Config
	deps      Deps
	echo      *echo.Echo
	hosts     hosts
	limits    *limiters
	metrics   *metrics
	patterns  map[string]bool // of all routes
	stopping  atomic.Bool
	running   sync.WaitGroup // of requests
	static    string         // where static files are: /static/<hash>
	pages     *web.Printer
	manual    []web.ManualPage
	sessions  *session.Sessions // knows browsers that signed in
	passwords *session.Passwords
	strangers strangers
	first     firstStart
	api       *api.API
	// inspecting is held while an inspection is looked for and stored.
	inspecting sync.Mutex
	sent       sent // forms that were sent, so that none is carried out twice
}

// New makes a server. It reads the templates and fails if one of them is
// broken.
func New(cfg Config, deps Deps) (*Server, error) {
	if cfg.MaxUpload == 0 {
		cfg.MaxUpload = 64 << 20
	}
	allowed, err := allowedHosts(cfg.Addr, cfg.PublicURL)
	if err != nil {
		return nil, err
	}
	if cfg.Limits == nil {
		usual := UsualLimits()
		cfg.Limits = &usual
	}
	s := &Server{
		cfg: cfg, deps: deps, echo: echo.New(), hosts: allowed,
		limits: newLimiters(*cfg.Limits), metrics: newMetrics(deps), patterns: map[string]bool{},
	}
	s.first.secret = cfg.SetUp
	s.passwords = session.NewPasswords()
	s.sessions = session.New(deps.For(register.AllSites()), deps.Now, cfg.transport())
	if s.pages, err = web.NewPrinter(slices.Collect(maps.Keys(pageStructs()))...); err != nil {
		return nil, err
	}
	if s.manual, err = web.Manual(); err != nil {
		return nil, err
	}
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.IPExtractor = s.realAddress()
	s.echo.HTTPErrorHandler = s.handleError
	if err := s.guard(); err != nil {
		return nil, err
	}
	if err := s.serveStatic(); err != nil {
		return nil, err
	}
	if s.api, err = s.newAPI(); err != nil {
		return nil, err
	}
	for _, r := range s.routes() {
		s.patterns[r.path] = true
		s.echo.Add(r.method, r.path, s.admit(r))
		if r.method == http.MethodGet {
			s.echo.Add(http.MethodHead, r.path, s.admit(r))
		}
	}
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.running.Add(1)
	defer s.running.Done()
	s.metrics.inFlight.Inc()
	defer s.metrics.inFlight.Dec()
	s.echo.ServeHTTP(w, r)
}

// HTTP is an http.Server for this server with its timeouts set. The caller
// listens, serves and shuts it down.
func (s *Server) HTTP() *http.Server {
	return &http.Server{
		Handler:           s,
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       time.Minute, // a form; an upload has its own, see uploadTime
		WriteTimeout:      5 * time.Minute,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          slog.NewLogLogger(s.deps.Log.Handler(), slog.LevelWarn),
	}
}

// apply carries out the changes of a request.
func (s *Server) apply(c echo.Context, cmds ...register.Command) (register.Result, error) {
	result, err := s.store(c).Apply(c.Request().Context(), s.deps.Now(), s.actor(c), cmds...)
	s.nudge(result.Stale)
	return result, err
}

// nudge asks for the estimates a change left stale, if it left some.
func (s *Server) nudge(stale int) {
	if stale > 0 && s.deps.Nudge != nil {
		s.deps.Nudge()
	}
}

// asRegisterError is the register's refusal in err, nil if there is none.
func asRegisterError(err error) *register.Error {
	var refusal *register.Error
	if errors.As(err, &refusal) {
		return refusal
	}
	return nil
}

// wrap says what was tried when err came.
func wrap(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}
