package server

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// accountStore is what the page of a person's own signing in asks of the
// register.
type accountStore interface {
	deviceStore
	RolesAt(ctx context.Context, personID int64) ([]register.RoleAt, error)
}

// accountRoutes are a person's own signing in.
func (s *Server) accountRoutes() []route {
	return []route{
		{get, "/me/sign-in", register.RightOwn, s.account},
		{post, "/me/password", register.RightOwn, s.changePassword},
		{post, "/me/devices", register.RightOwn, s.enrolDevice},
		{post, "/me/devices/:id/end", register.RightOwn, s.endDevice},
		{post, "/me/sign-out-everywhere", register.RightOwn, s.signOutEverywhere},
	}
}

// accountPage is who somebody is here and how they sign in.
type accountPage struct {
	Base
	Problems []problem
	Roles    []register.RoleAt
	ByPIN    bool
	Since    quantity.Date // of the password; zero if there is none
	Password []field
	PIN      []field
	Devices  []deviceView
}

// deviceView is a device as its person sees it.
type deviceView struct {
	register.Device
	Used quantity.Date // zero if the PIN was not given yet
	Ends quantity.Date
	This bool // the one the page is read on
}

func (s *Server) account(c echo.Context) error { return s.accountForm(c, newForm()) }

func (s *Server) accountForm(c echo.Context, f *form) error {
	who, ctx := s.caller(c), c.Request().Context()
	page := accountPage{
		Base: s.base(c, "account", "My signing in"), Problems: f.Problems, ByPIN: who.Actor.ByPIN,
		Password: append([]field{fixed(f.field("username", "Name").fill("username"), who.Person.Name), f.field("old", "Password now").need().secret("current-password")}, newPasswordFields(f)...),
		PIN: []field{
			f.field("device", "What you call this device").need().hint("Such as phone, or tablet in the workshop."),
			f.field("pin", "PIN").need().secret("off").digits().hint("Six digits, not ones that many have."),
			f.field("pin_again", "The same once more").need().secret("off").digits(),
			f.field("pin_password", "Your password").need().secret("current-password").hint("So that nobody takes a PIN in your name where you left yourself signed in."),
		},
	}
	if at := who.Person.PasswordAt; at != nil {
		page.Since = quantity.DateOf(*at, s.deps.Zone)
	}
	var err error
	if page.Roles, err = s.all().RolesAt(ctx, who.Person.ID); err != nil {
		return wrap("list roles", err)
	}
	rows, err := s.all().Devices(ctx, who.Person.ID, s.deps.Now())
	if err != nil {
		return wrap("list devices", err)
	}
	here := ""
	if secret := s.deviceSecret(c); secret != "" {
		here = session.HashSecret(secret)
	}
	for _, d := range rows {
		page.Devices = append(page.Devices, deviceView{d, s.dayOf(d.UsedAt), quantity.DateOf(d.ExpiresAt, s.deps.Zone), d.Hash == here})
	}
	return s.renderForm(c, f, "account", page)
}

// fixed is a field with a value that cannot be changed here.
func fixed(fd field, value string) field {
	fd.Value, fd.Fixed = value, true
	return fd
}

// dayOf is the day of a time, none for no time.
func (s *Server) dayOf(at *time.Time) quantity.Date {
	if at == nil {
		return quantity.Date{}
	}
	return quantity.DateOf(*at, s.deps.Zone)
}

// givesPassword holds whoever sends a form to their own password in a field of
// it, and gives the generation it is of; what is wrong is noted at the field.
func (s *Server) givesPassword(c echo.Context, f *form, name string) (generation int, err error) {
	if f.raw(name) == "" {
		f.wrong(name, "Give your password.")
		return 0, nil
	}
	held, err := s.checkPassword(c, s.caller(c).Person.Name, f.raw(name))
	var no *denial
	if errors.As(err, &no) {
		tellWait(c, no)
		sentence := no.sentence
		if no.status == http.StatusUnprocessableEntity {
			sentence = "This is not your password."
		}
		f.wrong(name, sentence)
		return 0, nil
	}
	return held.Generation, err
}

// changePassword sets a new password of one's own, and signs this browser in
// again: all others are signed out.
func (s *Server) changePassword(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	who := s.caller(c)
	if who.Actor.ByPIN {
		return errPassword()
	}
	hash, err := s.newPassword(c, f, who.Person.Name, who.Person.Email)
	if err != nil {
		return err
	}
	generation := 0
	if f.ok() {
		if generation, err = s.givesPassword(c, f, "old"); err != nil {
			return err
		}
	}
	if !f.ok() {
		return s.accountForm(c, f)
	}
	result, err := s.apply(c, register.ChoosePassword{Hash: hash, Generation: generation})
	if err != nil {
		return wrap("change a password", err)
	}
	s.note(c, slog.LevelInfo, "password chosen", "person", who.Person.ID)
	return s.signInAs(c, who.Person.ID, result.Generation, withDone("/me/sign-in", passwordSet))
}

// enrolDevice lets whoever gives their password sign in here with a PIN. It is
// asked for although they signed in with it: a PIN outlasts the session, and
// would let in for weeks who sat down for a minute where somebody had not
// signed out.
func (s *Server) enrolDevice(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	who := s.caller(c)
	if who.Actor.ByPIN {
		return errPassword()
	}
	pin, secret := f.text("pin"), session.NewSecret()
	if no := session.PINWeakness(pin); no != "" {
		f.wrong("pin", no)
	} else if f.text("pin_again") != pin {
		f.wrong("pin_again", "The two are not the same. Type the PIN once more in both.")
	}
	name := f.needed("device", "Give this device a name, to know it again in the list.")
	generation := 0
	if f.ok() {
		if generation, err = s.givesPassword(c, f, "pin_password"); err != nil {
			return err
		}
	}
	if !f.ok() {
		return s.accountForm(c, f)
	}
	hash, err := s.passwords.Hash(c.Request().Context(), session.PINAndDevice(pin, secret))
	if err != nil {
		return s.busy(err)
	}
	cmd := register.EnrolDevice{Name: name, Hash: session.HashSecret(secret), PINHash: hash, EndsAt: s.deps.Now().Add(register.DeviceLasts), Generation: generation}
	if _, err := s.apply(c, cmd); err != nil {
		if err := f.refuse(err, nil); err != nil {
			return wrap("enrol a device", err)
		}
		return s.accountForm(c, f)
	}
	c.SetCookie(s.deviceCookie(secret))
	s.note(c, slog.LevelInfo, "device enrolled", "person", who.Person.ID)
	return done(c, "/me/sign-in", deviceEnrolled)
}

func (s *Server) endDevice(c echo.Context) error {
	id, err := idParam(c, "id")
	if err != nil {
		return err
	}
	if _, err := s.apply(c, register.EndDevice{ID: id}); err != nil {
		return wrap("end a device", err)
	}
	return done(c, "/me/sign-in", deviceEnded)
}

// idParam is a segment of the path that is the number of a row.
func idParam(c echo.Context, name string) (int64, error) {
	id, err := strconv.ParseInt(c.Param(name), 10, 64)
	if err != nil || id <= 0 {
		return 0, echo.ErrNotFound
	}
	return id, nil
}

// signOutEverywhere ends all sessions and PINs of the person, this one too.
func (s *Server) signOutEverywhere(c echo.Context) error {
	who := s.caller(c)
	if _, err := s.apply(c, register.SignOutEverywhere{PersonID: who.Person.ID}); err != nil {
		return wrap("sign out everywhere", err)
	}
	s.note(c, slog.LevelInfo, "signed out everywhere", "person", who.Person.ID)
	c.SetCookie(s.deviceCookie(""))
	return s.signOut(c)
}

// personDone is the sentence of a word for what was done about people.
func personDone(word string) string {
	return map[string]string{
		signedOut:      "You are signed out.",
		passwordSet:    "Your new password counts from now on. Every other browser you were signed in with is signed out, and PINs are ended.",
		deviceEnrolled: "From now on you can sign in on this device with your PIN.",
		deviceEnded:    "The PIN on that device is ended.",
		personAdded:    "Added, and cannot sign in yet. Next, make the one-time address or the token below, and hand it over.",
		personChanged:  "What is kept of the person is saved.",
		rolesSet:       "The roles are set; they count from the next page on.",
		personLeft:     "The person is signed out everywhere and can sign in no more. What they did stays theirs.",
		personBack:     "The person is back, with the roles they had.",
		personOut:      "The person is signed out everywhere, and their PINs are ended.",
		tokenEnded:     "The token is ended; the program that has it is refused from now on.",
	}[word]
}

// The things that can be done about people and signing in.
const (
	signedOut      = "signed-out"
	passwordSet    = "password-set"
	deviceEnrolled = "device-enrolled"
	deviceEnded    = "device-ended"
	personAdded    = "person-added"
	personChanged  = "person-changed"
	rolesSet       = "roles-set"
	personLeft     = "person-left"
	personBack     = "person-back"
	personOut      = "person-signed-out"
	tokenEnded     = "token-ended"
)
