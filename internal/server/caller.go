package server

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// callerStore is what knowing who sends a request asks of the register.
type callerStore interface {
	session.Store
	SignedIn(ctx context.Context, personID int64) (register.SignedIn, error)
	DeviceCounts(ctx context.Context, id, personID int64, now time.Time) (bool, error)
}

// caller is who sends a request.
type caller struct {
	Person register.Person
	Roles  register.PersonRoles
	Actor  register.Actor
	Scope  register.Scope // the sites they may see
}

// newCaller is the caller a person is, nil of one who has no role any more.
func newCaller(k register.SignedIn, actor register.Actor) *caller {
	if len(k.Roles) == 0 {
		return nil
	}
	return &caller{Person: k.Person, Roles: k.Roles, Actor: actor, Scope: k.Roles.Scope(register.RightSee)}
}

// callerKey is where a request keeps who sends it.
const callerKey = "caller"

// identify finds out who sends a request, once for each: nil if nobody is
// known.
func (s *Server) identify(c echo.Context) (*caller, error) {
	if who, ok := c.Get(callerKey).(*caller); ok {
		return who, nil
	}
	find := s.callerBySession
	if isAPI(c.Request()) && c.Request().Header.Get("Authorization") != "" {
		find = s.callerByToken
	}
	who, err := find(c)
	if err != nil {
		return nil, err
	}
	c.Set(callerKey, who)
	return who, nil
}

// callerBySession is who signed in with the browser that sends a request. They
// are read anew each time: one who left, lost every role or was signed out
// everywhere is nobody at their next request.
func (s *Server) callerBySession(c echo.Context) (*caller, error) {
	begun, ok, err := s.sessions.Find(c.Request())
	if err != nil || !ok {
		return nil, err
	}
	ctx := c.Request().Context()
	if begun.ByPIN {
		counts, err := s.all().DeviceCounts(ctx, begun.DeviceID, begun.PersonID, s.deps.Now())
		if err != nil || !counts {
			return nil, wrap("find the device", err)
		}
	}
	known, err := s.all().SignedIn(ctx, begun.PersonID)
	switch {
	case isRefusal(err, register.NotFound):
		return nil, nil
	case err != nil:
		return nil, wrap("find who is signed in", err)
	case known.Generation != begun.Generation || known.Person.Program:
		return nil, nil
	}
	return newCaller(known, register.Actor{PersonID: begun.PersonID, Origin: register.FromPage, ByPIN: begun.ByPIN}), nil
}

// caller is who sends a request, nil if nobody is known.
func (s *Server) caller(c echo.Context) *caller {
	who, err := s.identify(c)
	if err != nil { // on the page that says so; any other was refused by admit
		s.deps.Log.Warn("find who is signed in", "id", requestID(c), "error", err)
		c.Set(callerKey, (*caller)(nil))
	}
	return who
}

// store is the register as far as whoever sends a request may see it: nothing
// of it where nobody is known.
func (s *Server) store(c echo.Context) Store {
	if who := s.caller(c); who != nil {
		return s.deps.For(who.Scope)
	}
	return s.deps.For(register.Scope{})
}

// actor is who makes the changes of a request.
func (s *Server) actor(c echo.Context) register.Actor {
	if who := s.caller(c); who != nil {
		return who.Actor
	}
	return register.Actor{Origin: register.FromPage}
}

// has reports whether whoever sends a request has a right at some site.
func (s *Server) has(c echo.Context, need register.Right) bool {
	who := s.caller(c)
	return who != nil && who.Roles.Anywhere(need) && !(who.Actor.ByPIN && need == register.RightManage)
}

// hasAt reports whether whoever sends a request has a right at a site; site 0
// is all sites.
func (s *Server) hasAt(c echo.Context, siteID int64, need register.Right) bool {
	who := s.caller(c)
	return who != nil && who.Roles.At(siteID, need) && !(who.Actor.ByPIN && need == register.RightManage)
}

// errForbidden is the refusal of a right that is lacking everywhere. Any site
// would do for most; what managers do is mostly of all sites.
func errForbidden(need register.Right) error {
	where := ""
	if need != register.RightManage {
		where = "a site"
	}
	return &register.Error{Code: register.Forbidden, Sentence: register.ForbiddenSentence(need, where)}
}

// errPassword is the refusal of what a PIN is not enough for.
func errPassword() error {
	return &register.Error{Code: register.Forbidden, Sentence: "This needs your password, and you signed in with your PIN. Sign out, sign in with your password, then do it again."}
}

// signInFirstPage is the answer to a form sent by nobody known. It holds what
// was typed, so that it can be sent again after signing in.
type signInFirstPage struct {
	Base
	Action string
	Typed  []typedValue // none where it cannot be sent again from here
}

// typedValue is one value of a form.
type typedValue struct{ Name, Value string }

// askToSignIn answers a request of nobody known: a page leads to signing in,
// and from there back to it; a form is refused.
func (s *Server) askToSignIn(c echo.Context) error {
	r := c.Request()
	if isAPI(r) {
		return errNoCaller
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return s.signInFirst(c)
	}
	next := ""
	if r.URL.RequestURI() != "/" {
		next = r.URL.RequestURI()
	}
	return c.Redirect(http.StatusSeeOther, address("/sign-in", "next", next))
}

// signInFirst keeps what a form says for sending it again. A form from
// elsewhere does not come here, see denyCrossOrigin.
func (s *Server) signInFirst(c echo.Context) error {
	r := c.Request()
	page := signInFirstPage{Base: s.base(c, "", "Sign in first"), Action: r.URL.RequestURI()}
	if strings.HasPrefix(r.Header.Get("Content-Type"), "application/x-www-form-urlencoded") && !strings.HasPrefix(r.URL.Path, "/me/") && r.ParseForm() == nil {
		for _, name := range slices.Sorted(maps.Keys(r.PostForm)) {
			for _, v := range r.PostForm[name] {
				page.Typed = append(page.Typed, typedValue{name, v})
			}
		}
	}
	return s.render(c, http.StatusUnauthorized, "sign_in_first", page)
}

// nextPath is where to go after signing in: a path of this server, or Today
// for whatever is none.
func nextPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || u.Opaque != "" || !ownPath(next) || !ownPath(u.Path) {
		return "/"
	}
	return u.RequestURI()
}

// ownPath reports whether browsers take a path for one of this server. They
// take a backslash for a slash, two slashes for the beginning of a host, and
// drop control characters.
func ownPath(p string) bool {
	if len(p) == 0 || len(p) > 2000 || p[0] != '/' || len(p) > 1 && p[1] == '/' {
		return false
	}
	for _, r := range p {
		if r == '\\' || r < ' ' || r == 0x7f {
			return false
		}
	}
	return true
}

// isRefusal reports whether err is a refusal of that code.
func isRefusal(err error, code register.Code) bool {
	return errors.Is(err, &register.Error{Code: code})
}
