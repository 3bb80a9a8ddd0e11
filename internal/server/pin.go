package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// deviceStore is what PINs ask of the register.
type deviceStore interface {
	Device(ctx context.Context, hash string, now time.Time) (*register.Device, *register.SignedIn, error)
	Devices(ctx context.Context, personID int64, now time.Time) ([]register.Device, error)
	TryPIN(ctx context.Context, deviceID int64, now time.Time) (pinHash string, err error)
	PINGiven(ctx context.Context, deviceID int64, now time.Time) error
	PINWrong(ctx context.Context, now time.Time, deviceID int64) (left int, err error)
	KeepDevice(ctx context.Context, deviceID int64, until time.Time) error
}

// deviceSecret is the secret that the browser of a request holds; empty if it
// holds none.
func (s *Server) deviceSecret(c echo.Context) string {
	cookie, err := c.Cookie(s.deviceCookie("").Name)
	if err != nil || len(cookie.Value) > 200 {
		return ""
	}
	return cookie.Value
}

// deviceCookie is the cookie that holds the secret of an enrolled device.
func (s *Server) deviceCookie(secret string) *http.Cookie {
	t := s.cfg.transport()
	c := &http.Cookie{
		Name: t.CookieName("hoseward-device"), Value: secret, Path: "/", Secure: t == session.HTTPS, HttpOnly: true, SameSite: http.SameSiteLaxMode,
		MaxAge: int(register.DeviceLasts / time.Second),
	}
	if secret == "" {
		c.MaxAge = -1
	}
	return c
}

// device is the enrolled device a request comes from, with its person; nil if
// it comes from none.
func (s *Server) device(c echo.Context) (*register.Device, *register.SignedIn, error) {
	secret := s.deviceSecret(c)
	if secret == "" {
		return nil, nil, nil
	}
	device, who, err := s.all().Device(c.Request().Context(), session.HashSecret(secret), s.deps.Now())
	return device, who, wrap("find the device", err)
}

// keepDevice lets the PIN of a device count for its full time again, as its
// person just gave their password on it.
func (s *Server) keepDevice(c echo.Context, personID int64) error {
	device, who, err := s.device(c)
	if err != nil || device == nil || who.Person.ID != personID {
		return err
	}
	if err := s.all().KeepDevice(c.Request().Context(), device.ID, s.deps.Now().Add(register.DeviceLasts)); err != nil {
		return wrap("keep the device", err)
	}
	c.SetCookie(s.deviceCookie(s.deviceSecret(c)))
	return nil
}

// errNoDevice is what a PIN meets whose device counts no more.
func errNoDevice() *denial {
	return &denial{status: http.StatusUnprocessableEntity, sentence: "A PIN does not count on this device any more. Sign in with your name and password."}
}

// signInByPIN signs in the person of an enrolled device.
func (s *Server) signInByPIN(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	device, who, err := s.device(c)
	switch {
	case err != nil:
		return err
	case device == nil:
		return s.denied(c, f, errNoDevice())
	}
	pin := f.text("pin")
	if len(pin) != 6 { // no try of a PIN: a slip
		f.wrong("pin", "A PIN is six digits.")
		return s.signInForm(c, http.StatusUnprocessableEntity, f)
	}
	err = s.checkPIN(c, device, pin)
	var no *denial
	if errors.As(err, &no) {
		tellWait(c, no)
		f.wrong("pin", no.sentence)
		return s.signInForm(c, no.status, f)
	}
	if err != nil {
		return err
	}
	begun := session.Session{PersonID: who.Person.ID, Generation: who.Generation, ByPIN: true, DeviceID: device.ID}
	if err := s.begin(c, begun, session.Shared); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, nextPath(f.text("next")))
}

// checkPIN holds a PIN to that of the device; a *denial where it is another.
func (s *Server) checkPIN(c echo.Context, device *register.Device, pin string) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	hash, err := s.all().TryPIN(ctx, device.ID, now)
	switch {
	case err != nil:
		return wrap("count a try of a PIN", err)
	case hash == "":
		return errNoDevice()
	}
	ok, err := s.passwords.Matches(ctx, session.PINAndDevice(pin, s.deviceSecret(c)), hash)
	switch {
	case err != nil:
		return s.busy(err)
	case ok:
		return wrap("note a right PIN", s.all().PINGiven(ctx, device.ID, now))
	}
	left, err := s.all().PINWrong(ctx, now, device.ID)
	if err != nil {
		return wrap("note a wrong PIN", err)
	}
	s.note(c, slog.LevelWarn, "wrong PIN", "person", device.PersonID, "device", device.ID, "left", left)
	if left == 0 {
		c.SetCookie(s.deviceCookie(""))
		return &denial{status: http.StatusUnprocessableEntity, sentence: "This was wrong too often, so the PIN on this device is ended. Sign in with your name and password."}
	}
	return &denial{status: http.StatusUnprocessableEntity, sentence: fmt.Sprintf("This is not the PIN. After %s the PIN on this device ends.", wrongTries(left))}
}

func wrongTries(n int) string {
	if n == 1 {
		return "one more wrong try"
	}
	return fmt.Sprintf("%d more wrong tries", n)
}
