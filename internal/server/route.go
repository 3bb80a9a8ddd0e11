package server

import (
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"
)

// right is what a person needs to be admitted to a route. Until people can be
// added there is one local person, who has them all; the server then listens
// on loopback only.
type right string

// The rights.
const (
	anyone right = "anyone" // no person needed: static files
	see    right = "see"    // read pages
	own    right = "own"    // change what is one's own alone: units, saved lists
	record right = "record" // note readings, inspections, machines and hoses
	manage right = "manage" // import and undo
)

// route is one row of the table of routes.
type route struct {
	method, path string
	right        right
	handle       echo.HandlerFunc
}

const get, post = http.MethodGet, http.MethodPost

// routes is the table: every route and the right it needs, subject by subject.
func (s *Server) routes() []route {
	return slices.Concat(
		s.mainRoutes(), s.placeRoutes(), s.storyRoutes(), s.listRoutes(), s.gapRoutes(), s.exportRoutes(), s.personRoutes(),
	)
}

// mainRoutes are the pages that read, the first forms, imports.
func (s *Server) mainRoutes() []route {
	return []route{
		{get, "/", see, s.today},
		{get, "/due", see, s.due},
		{get, "/machines", see, s.machines},
		{get, "/machines/:code", see, s.machine},
		{get, "/machines/:code/hoses/new", see, s.newHose},
		{post, "/machines/:code/hoses/new", record, s.addHose},
		{get, "/machines/:code/readings/new", see, s.newReading},
		{post, "/machines/:code/readings/new", record, s.addReading},
		{get, "/machines/:code/inspections/new", see, s.newInspection},
		{post, "/machines/:code/inspections/new", record, s.addInspection},
		{get, "/assemblies/:code", see, s.assembly},
		{get, "/import", see, s.imports},
		{post, "/import", manage, s.upload},
		{get, "/import/:id", see, s.importReport},
		{post, "/import/:id", manage, s.importTake},
		{get, "/import/:id/refused.csv", see, s.importRefused},
		{post, "/imports/:number/undo", manage, s.importUndo},
		{get, "/policies", see, s.policies},
		{get, "/tables", see, s.tables},
		{get, "/jobs", see, s.jobs},
		{get, "/manual", see, s.manualIndex},
		{get, "/manual/:page", see, s.manualPage},
		{get, "/start", see, s.start},
		{get, s.static + "/*", anyone, s.staticFile},
	}
}

// admit lets a request through to its route if the person has the right.
func (s *Server) admit(r route) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !s.has(c, r.right) {
			return echo.ErrForbidden
		}
		if r.right != anyone {
			s.style(c) // known to whatever reads a form of this request
		}
		return r.handle(c)
	}
}

// has reports whether the person of a request has a right: the one local
// person has each right of the list, and nobody has any other.
func (s *Server) has(_ echo.Context, need right) bool {
	switch need {
	case anyone, see, own, record, manage:
		return true
	}
	return false
}
