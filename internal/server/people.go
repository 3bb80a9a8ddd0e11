package server

import (
	"context"
	"log/slog"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/web"
)

// peopleStore is what the pages of people ask of the register.
type peopleStore interface {
	People(ctx context.Context, now time.Time, by register.Scope) ([]register.PersonLine, error)
	PersonSheet(ctx context.Context, now time.Time, by register.Scope, id int64) (register.PersonSheet, error)
}

// peopleRoutes are the pages about people and programs.
func (s *Server) peopleRoutes() []route {
	return []route{
		{get, "/people", register.RightManage, s.people},
		{get, "/people/new", register.RightManage, s.newPerson},
		{post, "/people/new", register.RightManage, s.addPerson},
		{get, "/programs/new", register.RightManage, s.newProgram},
		{post, "/programs/new", register.RightManage, s.addProgram},
		{get, "/people/:id", register.RightManage, s.personSheet},
		{get, "/people/:id/edit", register.RightManage, s.editPerson},
		{post, "/people/:id/edit", register.RightManage, s.changePerson},
		{get, "/people/:id/roles", register.RightManage, s.editRoles},
		{post, "/people/:id/roles", register.RightManage, s.changeRoles},
		{get, "/people/:id/leave", register.RightManage, s.newPersonLeave},
		{post, "/people/:id/leave", register.RightManage, s.personLeaves},
		{post, "/people/:id/return", register.RightManage, s.personReturns},
		{post, "/people/:id/invite", register.RightManage, s.invite},
		{post, "/people/:id/sign-out", register.RightManage, s.signOutPerson},
		{post, "/people/:id/tokens", register.RightManage, s.makeToken},
		{post, "/people/:id/tokens/:token/end", register.RightManage, s.endToken},
	}
}

// managing is the sites whose people whoever sends a request changes.
func (s *Server) managing(c echo.Context) register.Scope {
	return s.caller(c).Roles.Scope(register.RightManage)
}

// peoplePage lists people and programs.
type peoplePage struct {
	Base
	People, Programs []personView
}

// personView is a person in a list, in words.
type personView struct {
	register.PersonLine
	Stands string // how it stands with their signing in
}

func (s *Server) people(c echo.Context) error {
	list, err := s.all().People(c.Request().Context(), s.deps.Now(), s.managing(c))
	if err != nil {
		return wrap("list people", err)
	}
	page := peoplePage{Base: s.base(c, "people", "People and programs")}
	for _, l := range list {
		v := personView{l, s.stands(c, l)}
		if l.Program {
			page.Programs = append(page.Programs, v)
		} else {
			page.People = append(page.People, v)
		}
	}
	return s.show(c, "people", page)
}

// stands says how it stands with somebody's signing in.
func (s *Server) stands(c echo.Context, l register.PersonLine) string {
	st := s.style(c)
	switch {
	case !l.GoneOn.IsZero():
		return "left on " + st.Date(l.GoneOn)
	case l.Program:
		return web.Count(l.Tokens, "token that counts", "tokens that count")
	case l.Locked:
		return "locked after wrong passwords"
	case l.Password:
		return "signs in"
	case l.Invited != nil:
		return "one-time address until " + st.Date(quantity.DateOf(*l.Invited, s.deps.Zone))
	}
	return "no password yet"
}

// personPage is a person or a program with what can be done about them.
type personPage struct {
	Base
	Problems []problem
	Sheet    register.PersonSheet
	Stands   string
	Since    quantity.Date // of the password
	Self     bool          // the one who reads the page
	Path     string
	Tokens   []tokenView
	Until    field // last day of a new token
}

// tokenView is a token in words.
type tokenView struct {
	ID               int64
	Made, Ends, Used quantity.Date
	Stands           string // empty while it counts
}

func (s *Server) sheetOfPerson(c echo.Context) (register.PersonSheet, error) {
	id, err := idParam(c, "id")
	if err != nil {
		return register.PersonSheet{}, err
	}
	sheet, err := s.all().PersonSheet(c.Request().Context(), s.deps.Now(), s.managing(c), id)
	return sheet, wrap("find a person", err)
}

func personPath(id int64, more ...string) string {
	return web.Path(append([]string{"people", intText64(id)}, more...)...)
}

func (s *Server) personSheet(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	return s.showPerson(c, sheet, s.newForm(c))
}

func (s *Server) showPerson(c echo.Context, sheet register.PersonSheet, f *form) error {
	now := s.deps.Now()
	page := personPage{
		Base: s.base(c, "people", sheet.Name), Problems: f.Problems, Sheet: sheet, Stands: s.stands(c, sheet.PersonLine), Since: s.dayOf(sheet.PasswordAt),
		Self: sheet.ID == s.caller(c).Person.ID, Path: personPath(sheet.ID),
	}
	f.set("until", s.style(c).Date(quantity.DateOf(now, s.deps.Zone).AddDays(365)))
	page.Until = f.field("until", "Last day of the token").hint(s.style(c).HintDate() + " At most two years from now.")
	for _, t := range sheet.Listed {
		v := tokenView{ID: t.ID, Made: quantity.DateOf(t.MadeAt, s.deps.Zone), Ends: quantity.DateOf(t.EndsAt.Add(-time.Second), s.deps.Zone), Used: s.dayOf(t.UsedAt)}
		switch {
		case t.EndedAt != nil:
			v.Stands = "ended on " + s.style(c).Date(s.dayOf(t.EndedAt))
		case !t.Good(now):
			v.Stands = "past its last day"
		}
		page.Tokens = append(page.Tokens, v)
	}
	return s.renderForm(c, f, "person", page)
}

func (s *Server) newPerson(c echo.Context) error  { return s.personForm(c, s.newForm(c), false) }
func (s *Server) newProgram(c echo.Context) error { return s.personForm(c, s.newForm(c), true) }
func (s *Server) addPerson(c echo.Context) error  { return s.addSomebody(c, false) }
func (s *Server) addProgram(c echo.Context) error { return s.addSomebody(c, true) }

// personForm shows the form for a new person or program.
func (s *Server) personForm(c echo.Context, f *form, program bool) error {
	roles, err := s.roleGroup(c, f, 0)
	if err != nil {
		return err
	}
	page := formPage{
		Base: s.base(c, "people", "Add a person"), Action: "/people/new", Button: "Add the person", Cancel: "/people",
		Lead: []string{"Next you make a one-time address for them, at which they choose a password of their own."},
		Groups: []formGroup{{Fields: []field{
			f.field("name", "Name").need().hint("They sign in with it, and it stands beside what they do."),
			f.field("email", "E-mail").fill("off"),
		}}, roles},
	}
	if program {
		page.Title, page.Action, page.Button = "Add a program", "/programs/new", "Add the program"
		page.Lead = []string{"A program uses the interface for programs with a token, which you make next. It may do what its roles say, and what it does stands in the change log under its name."}
		page.Groups[0].Fields = []field{f.field("name", "Name").need().hint("Such as what it does: meter readings from the workshop.")}
	}
	return s.showForm(c, f, page)
}

func (s *Server) addSomebody(c echo.Context, program bool) error {
	return s.submit(c, func(f *form) (string, error) {
		cmd := register.AddPerson{Name: f.needed("name", "Give a name."), Email: f.text("email"), Program: program, Roles: givenRoles(f)}
		if f.ok() {
			result, err := s.apply(c, cmd)
			if err == nil {
				return withDone(personPath(result.PersonID), personAdded), nil
			}
			if err := f.refuse(err, map[string]string{"roles": rowName("role", 0), "site": rowName("at", 0)}); err != nil {
				return "", wrap("add a person", err)
			}
		}
		return "", s.personForm(c, f, program)
	})
}

func (s *Server) editPerson(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(newForm("name", sheet.Name, "email", sheet.Email), sheet.Version)
	return s.editPersonForm(c, sheet, f)
}

func (s *Server) editPersonForm(c echo.Context, sheet register.PersonSheet, f *form) error {
	page := formPage{
		Base: s.base(c, "people", "Change "+sheet.Name), Action: personPath(sheet.ID, "edit"), Button: "Save", Cancel: personPath(sheet.ID),
		Groups: []formGroup{{Fields: []field{f.field("name", "Name").need().hint("What is typed to sign in.")}}},
	}
	if !sheet.Program {
		page.Groups[0].Fields = append(page.Groups[0].Fields, f.field("email", "E-mail"))
	}
	return s.showForm(c, f, page)
}

func (s *Server) changePerson(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOfPerson(c)
		if err != nil {
			return "", err
		}
		if f.edits(newForm("name", sheet.Name, "email", sheet.Email), sheet.Version) {
			return "", s.editPersonForm(c, sheet, f)
		}
		cmd := register.ChangePerson{ID: sheet.ID, Version: f.version(), Name: f.needed("name", "Give a name."), Email: f.text("email")}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("change a person", err)
		}
		if saved {
			return withDone(personPath(sheet.ID), personChanged), nil
		}
		return "", s.editPersonForm(c, sheet, f)
	})
}

func (s *Server) newPersonLeave(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	return s.personLeaveForm(c, sheet, s.newForm(c, "on", s.style(c).Date(s.base(c, "", "").Today)))
}

func (s *Server) personLeaveForm(c echo.Context, sheet register.PersonSheet, f *form) error {
	return s.showForm(c, f, formPage{
		Base: s.base(c, "people", sheet.Name+" leaves"), Action: personPath(sheet.ID, "leave"), Button: "Note that they left", Cancel: personPath(sheet.ID),
		Lead: []string{"They are signed out everywhere at once, and can sign in no more; tokens of a program end. What they did stays theirs."},
		Groups: []formGroup{{Fields: []field{
			f.field("on", "Day").need().hint(f.style.HintDate()),
			f.field("reason", "Why").need().hint("Such as: works elsewhere now."),
		}}},
	})
}

func (s *Server) personLeaves(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOfPerson(c)
		if err != nil {
			return "", err
		}
		f.needed("on", "Give the day they left.")
		cmd := register.RetirePerson{ID: sheet.ID, Version: sheet.Version, On: f.day("on"), Reason: f.needed("reason", "Say why.")}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("note that a person left", err)
		}
		if saved {
			return withDone(personPath(sheet.ID), personLeft), nil
		}
		return "", s.personLeaveForm(c, sheet, f)
	})
}

func (s *Server) personReturns(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	if sheet.GoneOn.IsZero() {
		return c.Redirect(303, personPath(sheet.ID)) // back already
	}
	if _, err := s.apply(c, register.ReturnPerson{ID: sheet.ID, Version: sheet.Version}); err != nil {
		return wrap("note that a person is back", err)
	}
	return done(c, personPath(sheet.ID), personBack)
}

func (s *Server) signOutPerson(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	if _, err := s.apply(c, register.SignOutEverywhere{PersonID: sheet.ID}); err != nil {
		return wrap("sign a person out", err)
	}
	s.note(c, slog.LevelInfo, "signed out everywhere", "person", sheet.ID)
	return done(c, personPath(sheet.ID), personOut)
}

// oncePage shows a secret, once.
type oncePage struct {
	Base
	Lead   []string
	Name   string // what the secret is
	Secret string
	After  []string
	Back   string
}

// invite makes a one-time address and shows it, once.
func (s *Server) invite(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	secret := session.NewSecret()
	ends := s.deps.Now().Add(register.InvitationLasts)
	if _, err := s.apply(c, register.Invite{PersonID: sheet.ID, Hash: session.HashSecret(secret), EndsAt: ends}); err != nil {
		return wrap("make a one-time address", err)
	}
	s.note(c, slog.LevelInfo, "one-time address made", "person", sheet.ID)
	return s.show(c, "once", oncePage{
		Base: s.base(c, "people", "One-time address for "+sheet.Name), Name: "Address", Secret: s.address(c) + "/welcome/" + secret, Back: personPath(sheet.ID),
		Lead:  []string{"Hand this address to " + sheet.Name + ", and to nobody else: whoever opens it first chooses the password. It is shown only now."},
		After: []string{"It counts once, until " + s.style(c).Date(quantity.DateOf(ends, s.deps.Zone)) + ". A password they had counts no more, and they are signed out everywhere."},
	})
}

// address is the base of addresses people use.
func (s *Server) address(c echo.Context) string {
	if u := s.cfg.PublicURL; u != nil {
		return strings.TrimSuffix(u.String(), "/")
	}
	return c.Scheme() + "://" + c.Request().Host
}
