package server

import (
	"log/slog"
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// blankRoles is how many empty rows a form of roles has for further ones.
const blankRoles = 2

func intText64(id int64) string { return strconv.FormatInt(id, 10) }

// roleWords says what each role is there to do.
func roleWords(r register.Role) string {
	switch r {
	case register.Manager:
		return "manager – people, sites, rules, releases, and all below"
	case register.Planner:
		return "planner – machines, positions, how they are worked, sheets, hoses"
	case register.Inspector:
		return "inspector – inspections, positions, hoses"
	case register.Fitter:
		return "fitter – hoses, readings, findings"
	}
	return "viewer – reads"
}

// roleGroup is the part of a form in which roles are given, with rows for as
// many as somebody has and some empty ones. Only sites that whoever sends the
// request manages are offered.
func (s *Server) roleGroup(c echo.Context, f *form, have int) (formGroup, error) {
	sites, err := s.all().Sites(c.Request().Context())
	if err != nil {
		return formGroup{}, wrap("list sites", err)
	}
	scope := s.managing(c)
	var at []option
	if scope.All {
		at = append(at, option{"", "all sites"})
	}
	for _, site := range sites {
		if scope.Holds(site.ID) {
			at = append(at, option{site.Name, site.Name})
		}
	}
	roles := []option{{"", "none"}}
	for _, r := range register.Roles() {
		roles = append(roles, option{string(r), roleWords(r)})
	}
	g := formGroup{Title: "Roles", Hint: "What they may do, and where. Whoever has several may do what any of them allows."}
	for row := range max(have, rolesTyped(f)) + blankRoles {
		n := strconv.Itoa(row + 1)
		if !scope.All && len(at) > 0 {
			f.set(rowName("at", row), at[0].Value)
		}
		g.Fields = append(g.Fields, f.field(rowName("role", row), "Role "+n).choose(roles...), f.field(rowName("at", row), "At, for role "+n).choose(at...))
	}
	return g, nil
}

// rolesTyped is how many rows of roles a form has that say something.
func rolesTyped(f *form) int {
	n := 0
	for row := range maxRoleRows {
		if f.text(rowName("role", row)) != "" {
			n = row + 1
		}
	}
	return n
}

// maxRoleRows bounds the rows of roles that are read of a form.
const maxRoleRows = 203

// givenRoles are the roles a form gives.
func givenRoles(f *form) []register.GivenRole {
	var given []register.GivenRole
	for row := range maxRoleRows {
		if role := f.text(rowName("role", row)); role != "" {
			given = append(given, register.GivenRole{Role: register.Role(role), Site: f.text(rowName("at", row))})
		}
	}
	if len(given) == 0 {
		f.wrong(rowName("role", 0), "Give at least one role.")
	}
	return given
}

// roleValues is the form of roles as somebody has them.
func roleValues(roles []register.RoleAt) *form {
	f := newForm()
	for row, r := range roles {
		f.values.Set(rowName("role", row), string(r.Role))
		f.values.Set(rowName("at", row), r.Site)
	}
	return f
}

func (s *Server) editRoles(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(roleValues(sheet.Roles), sheet.Version)
	return s.rolesForm(c, sheet, f)
}

func (s *Server) rolesForm(c echo.Context, sheet register.PersonSheet, f *form) error {
	roles, err := s.roleGroup(c, f, len(sheet.Roles))
	if err != nil {
		return err
	}
	return s.showForm(c, f, formPage{
		Base: s.base(c, "people", "Roles of "+sheet.Name), Action: personPath(sheet.ID, "roles"), Button: "Save the roles", Cancel: personPath(sheet.ID),
		Lead:   []string{"They count from the next page " + sheet.Name + " opens. Nobody changes their own roles."},
		Groups: []formGroup{roles}, Links: []formLink{{web.Path("manual", "people"), "What each role may do"}},
	})
}

func (s *Server) changeRoles(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOfPerson(c)
		if err != nil {
			return "", err
		}
		if f.edits(roleValues(sheet.Roles), sheet.Version) {
			return "", s.rolesForm(c, sheet, f)
		}
		cmd := register.SetRoles{PersonID: sheet.ID, Version: f.version(), Roles: givenRoles(f)}
		_, saved, err := s.save(c, f, atOnce, map[string]string{"roles": rowName("role", 0), "site": rowName("at", 0)}, cmd)
		if err != nil {
			return "", wrap("set roles", err)
		}
		if saved {
			s.note(c, slog.LevelInfo, "roles set", "person", sheet.ID)
			return withDone(personPath(sheet.ID), rolesSet), nil
		}
		return "", s.rolesForm(c, sheet, f)
	})
}
