package server

import (
	"context"
	"log/slog"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
)

// tokenStore is what tokens ask of the register.
type tokenStore interface {
	TokenUsed(ctx context.Context, hash string, now time.Time) (*register.SignedIn, error)
}

// tokenPrefix begins every token, so that one that lies about is known for
// what it is.
const tokenPrefix = "hw_"

// callerByToken is the program whose token a request carries in its header
// Authorization, nil if it carries none that counts. It is for the API only:
// pages know people by their sessions.
func (s *Server) callerByToken(c echo.Context) (*caller, error) {
	token, ok := bearer(c.Request().Header.Get("Authorization"))
	if !ok {
		return nil, nil
	}
	known, err := s.all().TokenUsed(c.Request().Context(), session.HashSecret(token), s.deps.Now())
	if err != nil || known == nil || !known.Person.Program {
		return nil, wrap("find the program of a token", err)
	}
	return newCaller(*known, register.Actor{PersonID: known.Person.ID, Origin: register.FromAPI}), nil
}

// bearer is the token of a header Authorization (RFC 6750, 2.1).
func bearer(header string) (string, bool) {
	scheme, token, ok := strings.Cut(header, " ")
	token = strings.TrimSpace(token)
	return token, ok && strings.EqualFold(scheme, "Bearer") && strings.HasPrefix(token, tokenPrefix) && len(token) <= 200
}

// makeToken makes a token of a program and shows it, once. It counts to the
// end of its last day.
func (s *Server) makeToken(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	f.needed("until", "Give the last day on which the token counts.")
	last := f.day("until")
	if !f.ok() {
		return s.showPerson(c, sheet, f)
	}
	token := tokenPrefix + session.NewSecret()
	cmd := register.MakeToken{PersonID: sheet.ID, Hash: session.HashSecret(token), EndsAt: last.AddDays(1).In(s.deps.Zone)}
	if _, err := s.apply(c, cmd); err != nil {
		if err := f.refuse(err, map[string]string{"ends": "until"}); err != nil {
			return wrap("make a token", err)
		}
		return s.showPerson(c, sheet, f)
	}
	s.note(c, slog.LevelInfo, "token made", "person", sheet.ID)
	return s.show(c, "once", oncePage{
		Base: s.base(c, "people", "Token for "+sheet.Name), Name: "Token", Secret: token, Back: personPath(sheet.ID),
		Lead:  []string{"Put this token where the program reads its secrets. It is shown only now, and only its hash is kept."},
		After: []string{"It counts until the end of " + s.style(c).Date(last) + ". Whoever has it can do what the roles of " + sheet.Name + " allow; end it if it may have been seen by others."},
	})
}

func (s *Server) endToken(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	id, err := idParam(c, "token")
	if err != nil {
		return err
	}
	if _, err := s.apply(c, register.EndToken{ID: id}); err != nil {
		return wrap("end a token", err)
	}
	s.note(c, slog.LevelInfo, "token ended", "person", sheet.ID, "token", id)
	return done(c, personPath(sheet.ID), tokenEnded)
}
