package server

import (
	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// may is what whoever reads a page may do: at the site of the page where it has
// one, else at some site. Pages have no links and buttons to what they may not.
type may struct{ Note, Inspect, Fit, Place, Plan, Manage bool }

// mayBy asks for each right.
func mayBy(has func(register.Right) bool) may {
	return may{
		Note: has(register.RightNote), Inspect: has(register.RightInspect), Fit: has(register.RightFit),
		Place: has(register.RightPlace), Plan: has(register.RightPlan), Manage: has(register.RightManage),
	}
}

// mayAnywhere is what whoever sends a request may do at some site.
func (s *Server) mayAnywhere(c echo.Context) may {
	return mayBy(func(r register.Right) bool { return s.has(c, r) })
}

// mayAt is what whoever sends a request may do at a site; site 0 is all sites
// and what belongs to none.
func (s *Server) mayAt(c echo.Context, siteID int64) may {
	return mayBy(func(r register.Right) bool { return s.hasAt(c, siteID, r) })
}

// baseOfAll is the base of a page about what belongs to no site.
func (s *Server) baseOfAll(c echo.Context, section, title string) Base {
	b := s.base(c, section, title)
	b.May = s.mayAt(c, 0)
	return b
}

// everywhere admits to what belongs to no site: whoever manages some sites may
// not change it.
func (s *Server) everywhere(handle echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !s.hasAt(c, 0, register.RightManage) {
			return errForbidden(register.RightManage)
		}
		return handle(c)
	}
}

// rightKey is where a request keeps the right its route needs.
const rightKey = "right"

// hereToo refuses the form of a route to whoever has its right at other sites
// only, before they type. What is changed is decided by the register.
func (s *Server) hereToo(c echo.Context, site register.Site) error {
	need, ok := c.Get(rightKey).(register.Right)
	if !ok {
		return nil
	}
	return s.needAt(c, site, need)
}

// needAt refuses whoever lacks a right at a site.
func (s *Server) needAt(c echo.Context, site register.Site, need register.Right) error {
	if s.hasAt(c, site.ID, need) {
		return nil
	}
	return &register.Error{Code: register.Forbidden, Sentence: register.ForbiddenSentence(need, site.Name)}
}

// correctRight is what correcting a thing needs.
func correctRight(t register.Thing) register.Right {
	switch t {
	case register.ThingPlacement, register.ThingRemoval, register.ThingAssembly:
		return register.RightFor(register.ChangePlacement{})
	case register.ThingLayUp:
		return register.RightFor(register.ChangeLayUp{})
	case register.ThingConditions:
		return register.RightFor(register.ChangeConditions{})
	case register.ThingInspection:
		return register.RightFor(register.ChangeInspection{})
	}
	return register.RightNote
}
