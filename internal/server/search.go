package server

import (
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// listStore is what search, lists and changes of many things ask of the
// register.
type listStore interface {
	SavedLists(ctx context.Context, personID int64) ([]register.SavedList, error)
	Search(ctx context.Context, now time.Time, text string, limit int) (register.Found, error)
	Assemblies(ctx context.Context, now time.Time, f register.AssemblyFilter) (register.AssemblyPage, error)
	Positions(ctx context.Context, now time.Time, f register.PositionFilter) (register.PositionPage, error)
	PositionIDs(ctx context.Context, f register.PositionFilter) ([]int64, error)
	MachineLines(ctx context.Context, now time.Time, f register.MachineFilter) ([]register.MachineLine, string, error)
	MachineIDs(ctx context.Context, f register.MachineFilter) ([]int64, error)
}

// listRoutes are search, lists and what is done to many things of a list.
func (s *Server) listRoutes() []route {
	return []route{
		{get, "/search", register.RightSee, s.search},
		{get, "/assemblies", register.RightSee, s.assemblies},
		{get, "/positions", register.RightSee, s.positions},
		{get, "/positions/change", register.RightPlan, s.changeManyPositions},
		{post, "/positions/change", register.RightPlan, s.changeManyPositions},
		{get, "/machines/change", register.RightPlan, s.changeManyMachines},
		{post, "/machines/change", register.RightPlan, s.changeManyMachines},
		{get, "/lists", register.RightOwn, s.lists},
		{post, "/lists", register.RightOwn, s.keepList},
		{post, "/lists/:id/forget", register.RightOwn, s.forgetList},
		{get, "/readings", register.RightNote, s.yard},
		{post, "/readings", register.RightNote, s.noteYard},
	}
}

// searchPage is what a search found.
type searchPage struct {
	Base
	Text    string
	Groups  []foundGroup
	More    bool
	Nothing bool
}

// foundGroup is what was found of one kind.
type foundGroup struct {
	Title, ID string
	Rows      []foundRow
}

// foundRow is one thing that was found.
type foundRow struct {
	register.FoundThing
	Title string
	URL   string
}

func (s *Server) search(c echo.Context) error {
	text := query(c, "q")
	page := searchPage{Base: s.base(c, "search", "Search"), Text: text}
	page.Find = text
	found, err := s.store(c).Search(c.Request().Context(), s.deps.Now(), text, 0)
	if err != nil {
		return wrap("search", err)
	}
	if found.Only != nil {
		return c.Redirect(http.StatusSeeOther, foundRowOf(*found.Only).URL)
	}
	page.Groups, page.More = foundGroups(found), found.More
	page.Nothing = text != "" && len(page.Groups) == 0
	return s.show(c, "search", page)
}

// foundGroups puts what was found in groups; those without anything are left
// out.
func foundGroups(found register.Found) []foundGroup {
	groups := []foundGroup{
		{Title: "Machines", ID: "found-machines"},
		{Title: "Fitted", ID: "found-fitted"},
		{Title: "In store", ID: "found-store"},
		{Title: "Positions without a hose", ID: "found-positions"},
		{Title: "Scrapped", ID: "found-scrapped"},
	}
	for _, t := range found.Machines {
		groups[0].Rows = append(groups[0].Rows, foundRowOf(t))
	}
	for _, t := range found.Assemblies {
		at := &groups[1]
		switch t.Status {
		case life.StatusInStore:
			at = &groups[2]
		case life.StatusRemoved:
			at = &groups[4]
		}
		at.Rows = append(at.Rows, foundRowOf(t))
	}
	for _, t := range found.Positions {
		groups[3].Rows = append(groups[3].Rows, foundRowOf(t))
	}
	some := groups[:0]
	for _, g := range groups {
		if len(g.Rows) > 0 {
			some = append(some, g)
		}
	}
	return some
}

func foundRowOf(t register.FoundThing) foundRow {
	switch t.What {
	case register.ThingMachine:
		return foundRow{t, t.Code, web.Path("machines", t.Code)}
	case register.ThingPosition:
		return foundRow{t, t.Position, web.Path("machines", t.Code)}
	}
	return foundRow{t, t.Code, web.Path("assemblies", t.Code)}
}
