package server

import (
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// listsPage are the lists a person keeps, and the form to name one.
type listsPage struct {
	Base
	Problems []problem
	Address  string // of the list to be kept; empty where none is
	Name     *field
	Lists    []register.SavedList
}

func (s *Server) lists(c echo.Context) error { return s.listsForm(c, s.newForm(c)) }

func (s *Server) listsForm(c echo.Context, f *form) error {
	lists, err := s.savedLists(c)
	if err != nil {
		return err
	}
	page := listsPage{Base: s.base(c, "lists", "Saved lists"), Problems: f.Problems, Lists: lists}
	if page.Address = f.text("address"); page.Address != "" {
		name := f.field("name", "Name of the list").need()
		page.Name = &name
	}
	return s.renderForm(c, f, "list", page)
}

// savedLists are the lists of the person of a request.
func (s *Server) savedLists(c echo.Context) ([]register.SavedList, error) {
	lists, err := s.store(c).SavedLists(c.Request().Context(), s.actor(c).PersonID)
	return lists, wrap("find saved lists", err)
}

// keepable are the paths of the lists that can be kept.
func keepable() []string {
	return []string{"/due", "/machines", "/assemblies", "/positions", "/changes", "/readings", "/unknown"}
}

func (s *Server) keepList(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	to := f.text("address")
	path, _, _ := strings.Cut(to, "?")
	if !slices.Contains(keepable(), path) {
		f.values.Del("address")
		f.wrong("", "This is no list of this register; open the list and keep it from there.")
		return s.listsForm(c, f)
	}
	f.needed("name", "Give the list a name.")
	if !f.ok() {
		return s.listsForm(c, f)
	}
	if _, err := s.apply(c, register.SaveList{Name: f.text("name"), Address: to}); err != nil {
		if err := f.refuse(err, nil); err != nil {
			return wrap("keep list", err)
		}
		return s.listsForm(c, f)
	}
	return goOn(c, withDone(to, listKept), nil)
}

func (s *Server) forgetList(c echo.Context) error {
	number, err := param(c, "id")
	if err != nil {
		return err
	}
	id, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		return echo.ErrNotFound
	}
	if _, err := s.apply(c, register.ForgetList{ID: id}); err != nil {
		return wrap("forget list", err)
	}
	return done(c, "/lists", listForgotten)
}

// What the pages of lists say was done.
const (
	listKept         = "list-kept"
	listForgotten    = "list-forgotten"
	positionsChanged = "positions-changed"
	machinesChanged  = "machines-changed"
	readingsNoted    = "readings-noted"
	noneTicked       = "none-ticked"
)

// listDone is the sentence of one of these words.
func listDone(word string) string {
	switch word {
	case listKept:
		return "The list is kept. You find it on Today and under Saved lists."
	case listForgotten:
		return "The list is no longer kept. What was on it stays as it is."
	case positionsChanged:
		return "The positions are changed. Dates that wait for their turn say so until they are worked out."
	case machinesChanged:
		return "The machines are changed. Dates that wait for their turn say so until they are worked out."
	case noneTicked:
		return "Nothing was ticked. Tick what is to be changed, or change the whole list."
	case readingsNoted:
		return "The readings are noted and the dates of these machines are worked out anew."
	}
	return ""
}
