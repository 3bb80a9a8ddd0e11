package server

import (
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// route is one row of the table of routes.
type route struct {
	method, path string
	right        register.Right
	handle       echo.HandlerFunc
}

const get, post = http.MethodGet, http.MethodPost

// routes is the table: every route and the right it needs, subject by subject.
func (s *Server) routes() []route {
	return slices.Concat(
		s.mainRoutes(), s.placeRoutes(), s.storyRoutes(), s.listRoutes(), s.gapRoutes(), s.exportRoutes(), s.personRoutes(), s.accountRoutes(), s.signInRoutes(), s.peopleRoutes(), s.historyRoutes(), s.healthRoutes(), s.apiRoutes(),
	)
}

// mainRoutes are the pages that read, the first forms, imports.
func (s *Server) mainRoutes() []route {
	return []route{
		{get, "/", register.RightSee, s.today},
		{get, "/due", register.RightSee, s.due},
		{get, "/machines", register.RightSee, s.machines},
		{get, "/machines/:code", register.RightSee, s.machine},
		{get, "/machines/:code/hoses/new", register.RightFit, s.newHose},
		{post, "/machines/:code/hoses/new", register.RightFit, s.addHose},
		{get, "/machines/:code/readings/new", register.RightNote, s.newReading},
		{post, "/machines/:code/readings/new", register.RightNote, s.addReading},
		{get, "/machines/:code/inspections/new", register.RightNote, s.newInspection},
		{post, "/machines/:code/inspections/new", register.RightNote, s.addInspection},
		{get, "/assemblies/:code", register.RightSee, s.assembly},
		{get, "/import", register.RightPlan, s.imports},
		{post, "/import", register.RightPlan, s.upload},
		{get, "/import/:id", register.RightPlan, s.importReport},
		{post, "/import/:id", register.RightPlan, s.importTake},
		{get, "/import/:id/refused.csv", register.RightPlan, s.importRefused},
		{post, "/imports/:number/undo", register.RightPlan, s.importUndo},
		{get, "/policies", register.RightSee, s.policies},
		{get, "/tables", register.RightSee, s.tables},
		{get, "/jobs", register.RightSee, s.jobs},
		{get, "/manual", register.RightSee, s.manualIndex},
		{get, "/manual/:page", register.RightSee, s.manualPage},
		{get, "/start", register.RightSee, s.start},
		{get, s.static + "/*", register.RightAnyone, s.staticFile},
	}
}

// admit lets a request through to its route if whoever sends it has the right
// somewhere; at which sites is for the register to say, which decides each
// change by its rows.
func (s *Server) admit(r route) echo.HandlerFunc {
	return func(c echo.Context) error {
		if r.right == register.RightAnyone {
			if err := s.limitOpen(c); err != nil {
				return err
			}
			return r.handle(c)
		}
		c.Set(rightKey, r.right)
		who, err := s.identify(c)
		if err == nil {
			err = s.limitCaller(c, who)
		}
		switch {
		case err != nil:
			return err
		case who == nil:
			return s.askToSignIn(c)
		case who.Actor.ByPIN && r.right == register.RightManage:
			return errPassword()
		case !s.has(c, r.right):
			return errForbidden(r.right)
		}
		leave, err := s.limitHeavy(c, who)
		if err != nil {
			return err
		}
		defer leave()
		s.style(c) // known to whatever reads a form of this request
		return r.handle(c)
	}
}
