package server

import (
	"crypto/subtle"
	"log/slog"
	"net/http"
	"sync/atomic"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// firstStart is the one-time address at which the first manager is added. It
// lives in memory only, and dies once anybody can sign in.
type firstStart struct {
	secret string // empty: there is none
	dead   atomic.Bool
}

// choosePage is a page at which somebody chooses a password.
type choosePage struct {
	Base
	Problems []problem
	Lead     []string
	Action   string
	Fields   []field
	Button   string
}

// errSetUp is what a first start that is over says, as any wrong address of it.
func errSetUp() error {
	return &register.Error{Code: register.NotFound, Sentence: "This address of the first start does not count. If nobody can sign in yet, the right one stands on the console of the program; it is another one after each start."}
}

// settingUp lets through whoever has the address of the first start, while
// nobody can sign in.
func (s *Server) settingUp(c echo.Context) error {
	given := c.Param("secret")
	if s.first.secret == "" || s.first.dead.Load() || subtle.ConstantTimeCompare([]byte(given), []byte(s.first.secret)) != 1 {
		return errSetUp()
	}
	can, err := s.all().AnyoneCanSignIn(c.Request().Context())
	if err != nil {
		return wrap("look whether anybody can sign in", err)
	}
	if can {
		s.first.dead.Store(true)
		return errSetUp()
	}
	return nil
}

func (s *Server) setUpPage(c echo.Context) error {
	if err := s.settingUp(c); err != nil {
		return err
	}
	return s.setUpForm(c, newForm())
}

func (s *Server) setUpForm(c echo.Context, f *form) error {
	return s.renderForm(c, f, "choose", choosePage{
		Base: s.base(c, "", "First start"), Problems: f.Problems, Action: c.Request().URL.Path, Button: "Add the first manager",
		Lead: []string{"You become the manager of all sites: you can add the others, and you answer for the rules hoses are held to."},
		Fields: append([]field{
			f.field("name", "Name").need().fill("username").hint("You sign in with it, and it stands beside what you do."),
			f.field("email", "E-mail").fill("email"),
		}, newPasswordFields(f)...),
	})
}

func (s *Server) setUp(c echo.Context) error {
	if err := s.settingUp(c); err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	cmd := register.FirstManager{Name: f.text("name"), Email: f.text("email")}
	f.needed("name", "Give the name you want to sign in with.")
	if cmd.Hash, err = s.newPassword(c, f, cmd.Name, cmd.Email); err != nil {
		return err
	}
	if !f.ok() {
		return s.setUpForm(c, f)
	}
	by := register.Actor{PersonID: register.LocalPersonID, Origin: register.FromPage, Reason: "first start"}
	result, err := s.all().Apply(c.Request().Context(), s.deps.Now(), by, cmd)
	if err != nil {
		if err := f.refuse(err, nil); err != nil {
			return wrap("add the first manager", err)
		}
		return s.setUpForm(c, f)
	}
	s.first.dead.Store(true)
	s.note(c, slog.LevelInfo, "first manager added")
	return s.signInAs(c, result.PersonID, result.Generation, "/")
}

// newPasswordFields are the fields for a password that is being chosen.
func newPasswordFields(f *form) []field {
	return []field{
		f.field("password", "New password").need().secret("new-password").hint("At least 12 letters. Four or five words that do not belong together are long and easy to keep in mind."),
		f.field("again", "The same once more").need().secret("new-password"),
	}
}

// newPassword is the hash of a password that is being chosen for somebody of
// those names; what is wrong with it is noted at the form.
func (s *Server) newPassword(c echo.Context, f *form, names ...string) (hash string, err error) {
	password, again := f.raw("password"), f.raw("again")
	if no := session.Weakness(password, names...); no != "" {
		f.wrong("password", no)
	} else if session.Normal(password) != session.Normal(again) {
		f.wrong("again", "The two are not the same. Type the password once more in both.")
	}
	if !f.ok() {
		return "", nil
	}
	hash, err = s.passwords.Hash(c.Request().Context(), password)
	if err != nil {
		return "", s.busy(err)
	}
	return hash, nil
}

// signInAs signs in somebody who just chose a password, in the generation that
// began with it: one that was ended since lets nobody in.
func (s *Server) signInAs(c echo.Context, personID int64, generation int, next string) error {
	if err := s.begin(c, session.Session{PersonID: personID, Generation: generation}, session.Shared); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, next)
}

// invited is whom the one-time address of a request is for.
func (s *Server) invited(c echo.Context) (who register.Person, hash string, err error) {
	hash = session.HashSecret(c.Param("secret"))
	who, err = s.all().Invited(c.Request().Context(), hash, s.deps.Now())
	return who, hash, wrap("find the invitation", err)
}

func (s *Server) welcomePage(c echo.Context) error {
	who, _, err := s.invited(c)
	if err != nil {
		return err
	}
	return s.welcomeForm(c, newForm(), who)
}

func (s *Server) welcomeForm(c echo.Context, f *form, who register.Person) error {
	name := fixed(f.field("name", "Your name here").fill("username"), who.Name)
	return s.renderForm(c, f, "choose", choosePage{
		Base: s.base(c, "", "Choose your password"), Problems: f.Problems, Action: c.Request().URL.Path, Button: "Keep this password and sign in",
		Lead:   []string{"This address counts once. Nobody but you knows the password you choose now; whoever forgets theirs asks a manager for a new address."},
		Fields: append([]field{name}, newPasswordFields(f)...),
	})
}

func (s *Server) welcome(c echo.Context) error {
	who, invitation, err := s.invited(c)
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	hash, err := s.newPassword(c, f, who.Name, who.Email)
	if err != nil {
		return err
	}
	if !f.ok() {
		return s.welcomeForm(c, f, who)
	}
	by := register.Actor{PersonID: who.ID, Origin: register.FromPage}
	result, err := s.all().Apply(c.Request().Context(), s.deps.Now(), by, register.ChoosePassword{Hash: hash, Invitation: invitation})
	if err != nil {
		return wrap("choose a password", err)
	}
	s.note(c, slog.LevelInfo, "password chosen", "person", who.ID)
	return s.signInAs(c, who.ID, result.Generation, "/")
}
