package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// signInStore is what signing in asks of the register.
type signInStore interface {
	AnyoneCanSignIn(ctx context.Context) (bool, error)
	TryPassword(ctx context.Context, name string, now time.Time) (register.Credential, error)
	PasswordGiven(ctx context.Context, personID int64) error
	Invited(ctx context.Context, hash string, now time.Time) (register.Person, error)
}

// signInRoutes are the pages of whoever is not known yet, and the way out.
func (s *Server) signInRoutes() []route {
	return []route{
		{get, "/sign-in", register.RightAnyone, s.signInPage},
		{post, "/sign-in", register.RightAnyone, s.signIn},
		{post, "/sign-in/pin", register.RightAnyone, s.signInByPIN},
		{get, "/set-up/:secret", register.RightAnyone, s.setUpPage},
		{post, "/set-up/:secret", register.RightAnyone, s.setUp},
		{get, "/welcome/:secret", register.RightAnyone, s.welcomePage},
		{post, "/welcome/:secret", register.RightAnyone, s.welcome},
		{post, "/sign-out", register.RightAnyone, s.signOut},
	}
}

// all is the register without the bounds of a caller, for knowing people.
func (s *Server) all() Store { return s.deps.For(register.AllSites()) }

// signInPage is the page of signing in, or where nobody can yet, of the first
// start.
type signInPage struct {
	Base
	Problems []problem
	Nobody   bool   // nobody can sign in yet
	Next     string // where to go afterwards
	Device   *enrolled
	Name     field
	Password field
	Alone    tick
	PIN      field
}

// enrolled is the person of a device with a PIN.
type enrolled struct{ Person, Device string }

func (s *Server) signInPage(c echo.Context) error {
	return s.signInForm(c, http.StatusOK, newForm("next", query(c, "next")))
}

// signInForm shows the page of signing in, the PIN first where the device has
// one.
func (s *Server) signInForm(c echo.Context, status int, f *form) error {
	can, err := s.all().AnyoneCanSignIn(c.Request().Context())
	if err != nil {
		return wrap("look whether anybody can sign in", err)
	}
	if !can {
		return s.render(c, status, "sign_in", signInPage{Base: s.base(c, "", "First start"), Nobody: true})
	}
	page := signInPage{
		Base: s.base(c, "", "Sign in"), Problems: f.Problems, Next: nextPath(f.text("next")),
		Name:     f.field("name", "Name").fill("username"),
		Password: f.field("password", "Password").secret("current-password"),
		Alone:    f.tick("alone", "This device is mine alone").hint("You then stay signed in here for 30 days, else for 12 hours at most."),
		PIN:      f.field("pin", "PIN").secret("off").digits(),
	}
	device, who, err := s.device(c)
	if err != nil {
		return err
	}
	if device != nil {
		page.Device = &enrolled{who.Person.Name, device.Name}
	}
	return s.render(c, status, "sign_in", page)
}

// denial is a try to sign in that did not let somebody in. What it says is the
// same whether there is anybody of that name or not.
type denial struct {
	status   int
	sentence string
	wait     time.Duration
}

func (d *denial) Error() string { return d.sentence }

func wrongPassword() *denial {
	return &denial{status: http.StatusUnprocessableEntity, sentence: "This name and this password do not belong together. Check both; capital and small letters differ in a password."}
}

func waitFirst(wait time.Duration) *denial {
	return &denial{http.StatusTooManyRequests, "There were several wrong tries with this name, so the next one has to wait: try again in " + inWords(wait) + ".", wait}
}

func lockedOut() *denial {
	return &denial{status: http.StatusTooManyRequests, sentence: "There were so many wrong tries with this name that it can sign in no more. Ask a manager for a new one-time address."}
}

// inWords is a time to wait, rounded up.
func inWords(wait time.Duration) string {
	seconds := int(math.Ceil(wait.Seconds()))
	if seconds <= 90 {
		return fmt.Sprintf("%d seconds", max(1, seconds))
	}
	return fmt.Sprintf("%d minutes", (seconds+59)/60)
}

// checkPassword finds out who gives a name and a password; a *denial where
// nobody may sign in with them. An unknown name costs what a wrong password
// does.
func (s *Server) checkPassword(c echo.Context, name, password string) (register.Credential, error) {
	ctx, now := c.Request().Context(), s.deps.Now()
	held, err := s.all().TryPassword(ctx, name, now)
	if err != nil {
		return held, wrap("count a try to sign in", err)
	}
	tries, wait := held.Tries, held.Waits(now)
	if held.PersonID == 0 {
		tries, wait = s.strangers.try(name, now)
	}
	switch {
	case register.TriesLocked(tries):
		s.note(c, slog.LevelWarn, "sign-in locked", "person", held.PersonID)
		return held, lockedOut()
	case wait > 0:
		s.note(c, slog.LevelWarn, "sign-in has to wait", "person", held.PersonID)
		return held, waitFirst(wait)
	}
	ok, err := s.passwords.Matches(ctx, password, held.PasswordHash)
	switch {
	case err != nil:
		return held, s.busy(err)
	case !ok:
		s.note(c, slog.LevelWarn, "sign-in failed", "person", held.PersonID) // never the name: people type passwords there
		return held, wrongPassword()
	}
	return held, wrap("note a right password", s.all().PasswordGiven(ctx, held.PersonID))
}

// busy is an error of making hashes as one for people.
func (s *Server) busy(err error) error {
	if errors.Is(err, session.ErrBusy) {
		return echo.NewHTTPError(http.StatusServiceUnavailable, "Too many people are signing in at this moment. Wait a minute, then go back and try again.").WithInternal(err)
	}
	return wrap("look at a password", err)
}

func (s *Server) signIn(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	name, password := strings.Join(strings.Fields(f.raw("name")), " "), f.raw("password")
	if name == "" {
		f.wrong("name", "Give your name.")
	}
	if password == "" {
		f.wrong("password", "Give your password.")
	}
	if !f.ok() {
		return s.signInForm(c, http.StatusUnprocessableEntity, f)
	}
	held, err := s.checkPassword(c, name, password)
	if err != nil {
		return s.denied(c, f, err)
	}
	lasts := session.Shared
	if f.ticked("alone") {
		lasts = session.Alone
	}
	if err := s.begin(c, session.Session{PersonID: held.PersonID, Generation: held.Generation}, lasts); err != nil {
		return err
	}
	if err := s.keepDevice(c, held.PersonID); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, nextPath(f.text("next")))
}

// denied shows the page of signing in again, with why.
func (s *Server) denied(c echo.Context, f *form, err error) error {
	var no *denial
	if !errors.As(err, &no) {
		return err
	}
	tellWait(c, no)
	f.wrong("", no.sentence)
	return s.signInForm(c, no.status, f)
}

// tellWait says in the header of an answer how long to wait.
func tellWait(c echo.Context, no *denial) {
	if no.wait > 0 {
		c.Response().Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(no.wait.Seconds()))))
	}
}

// begin begins a session in the browser of a request.
func (s *Server) begin(c echo.Context, begun session.Session, lasts time.Duration) error {
	begun.At = s.deps.Now()
	if err := s.sessions.Begin(c.Response(), c.Request(), begun, lasts); err != nil {
		return wrap("begin a session", err)
	}
	s.first.dead.Store(true) // for good, whatever becomes of those who can sign in
	s.note(c, slog.LevelInfo, "signed in", "person", begun.PersonID, "by_pin", begun.ByPIN)
	return nil
}

// signOut ends the session of this browser.
func (s *Server) signOut(c echo.Context) error {
	if err := s.sessions.End(c.Response(), c.Request()); err != nil {
		return wrap("end a session", err)
	}
	c.Set(callerKey, (*caller)(nil))
	return done(c, "/sign-in", signedOut)
}

// note writes a line of the log about signing in, with the number of the
// request.
func (s *Server) note(c echo.Context, level slog.Level, what string, args ...any) {
	s.deps.Log.Log(c.Request().Context(), level, what, append([]any{"id", requestID(c)}, args...)...)
}
