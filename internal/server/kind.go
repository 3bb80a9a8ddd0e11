package server

import (
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// kindsPage lists the kinds of machines.
type kindsPage struct {
	Base
	Kinds []register.Kind
}

func (s *Server) kinds(c echo.Context) error {
	list, err := s.store(c).Kinds(c.Request().Context())
	if err != nil {
		return wrap("list kinds of machines", err)
	}
	return s.show(c, "kinds", kindsPage{Base: s.baseOfAll(c, "kinds", "Kinds of machines"), Kinds: list})
}

// kindPage is one kind of machine: the positions machines of it usually have,
// and how they are worked to begin with.
type kindPage struct {
	Base
	Sheet    register.KindSheet
	Duties   []dutyRow
	Machines []string // some of them
	More     int      // machines not shown
	Assumed  string   // what shipped duties are
	Plans    bool     // whoever reads it may add machines
}

// dutyRow is one duty in words.
type dutyRow struct {
	Where, Note, Edit string
	Says              []string
	Shipped           bool
}

// shownMachines is how many machines the page of a kind shows.
const shownMachines = 24

// kindOf is the kind in the path.
func (s *Server) kindOf(c echo.Context) (register.KindSheet, error) {
	name, err := param(c, "name")
	if err != nil {
		return register.KindSheet{}, err
	}
	sheet, err := s.store(c).Kind(c.Request().Context(), name)
	return sheet, wrap("find kind of machine", err)
}

func kindPath(sheet register.KindSheet, more ...string) string {
	return web.Path(append([]string{"kinds", sheet.Kind.Name}, more...)...)
}

func (s *Server) kind(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	page := kindPage{Base: s.baseOfAll(c, "kinds", capital(sheet.Kind.Name)), Plans: s.has(c, register.RightPlan), Sheet: sheet, Machines: sheet.Machines}
	for _, d := range sheet.Duties {
		row := dutyRow{
			Where: dutyWhere(d), Note: d.Note, Says: serviceWords(s.style(c), d.Service), Shipped: d.Starting(),
			Edit: kindPath(sheet, "duties", strconv.FormatInt(d.ID, 10), "edit"),
		}
		if row.Shipped {
			row.Note, page.Assumed = "", register.ShippedNote
		}
		page.Duties = append(page.Duties, row)
	}
	if n := len(sheet.Machines); n > shownMachines {
		page.Machines, page.More = sheet.Machines[:shownMachines], n-shownMachines
	}
	return s.show(c, "kind", page)
}

func dutyWhere(d register.Duty) string {
	if d.Circuit == "" {
		return "whole machine"
	}
	return "circuit " + d.Circuit
}

// kindForm shows the form for a kind's name, a new one where sheet is nil.
func (s *Server) kindForm(c echo.Context, sheet *register.KindSheet, f *form) error {
	page := formPage{Base: s.base(c, "kinds", "Add a kind of machine"), Action: "/kinds/new", Button: "Add the kind", Cancel: "/kinds"}
	if sheet != nil {
		page.Title, page.Action, page.Cancel, page.Button = "Rename "+sheet.Kind.Name, kindPath(*sheet, "edit"), kindPath(*sheet), "Save the name"
	}
	page.Groups = []formGroup{{Fields: []field{f.field("name", "Name").need().hint("Such as refuse truck.")}}}
	return s.showForm(c, f, page)
}

func (s *Server) newKind(c echo.Context) error { return s.kindForm(c, nil, s.newForm(c)) }

func (s *Server) addKind(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		cmd := register.AddKind{Name: f.needed("name", "Give the kind of machine a name.")}
		if strings.EqualFold(cmd.Name, "new") {
			f.wrong("name", "“new” cannot be a name, because pages use it for something else; say more.")
		}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("add kind of machine", err)
		}
		if saved {
			return withDone(web.Path("kinds", cmd.Name), kindAdded), nil
		}
		return "", s.kindForm(c, nil, f)
	})
}

func (s *Server) editKind(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(newForm("name", sheet.Kind.Name), sheet.Kind.Version)
	return s.kindForm(c, &sheet, f)
}

func (s *Server) changeKind(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.kindOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(newForm("name", sheet.Kind.Name), sheet.Kind.Version) {
			return "", s.kindForm(c, &sheet, f)
		}
		kind := sheet.Kind
		kind.Name = f.needed("name", "Give the kind of machine a name.")
		_, saved, err := s.save(c, f, atOnce, nil, register.ChangeKind{Kind: kind})
		if err != nil {
			return "", wrap("change kind of machine", err)
		}
		if saved {
			return withDone(web.Path("kinds", kind.Name), kindChanged), nil
		}
		return "", s.kindForm(c, &sheet, f)
	})
}

// takeForm asks whose positions are the usual ones of a kind.
func (s *Server) takeForm(c echo.Context, sheet register.KindSheet, f *form) error {
	return s.showForm(c, f, formPage{
		Base: s.base(c, "kinds", "Usual positions of "+sheet.Kind.Name+" from a machine"), Action: kindPath(sheet, "take"), Cancel: kindPath(sheet), Button: "Take its positions",
		Lead:   []string{"The positions of one machine become the usual ones of the kind; what the kind had is replaced. Machines that are there already keep theirs."},
		Groups: []formGroup{{Fields: []field{f.field("machine", "Machine").need().suggest(sheet.Machines).hint("A machine of this kind whose positions are all noted.")}}},
	})
}

func (s *Server) newTake(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	return s.takeForm(c, sheet, s.newForm(c, "machine", query(c, "machine")))
}

func (s *Server) takeUsual(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.kindOf(c)
		if err != nil {
			return "", err
		}
		machine := f.needed("machine", "Name a machine of this kind.")
		if machine != "" && !slices.ContainsFunc(sheet.Machines, func(code string) bool { return strings.EqualFold(code, machine) }) {
			f.wrong("machine", "There is no machine "+machine+" of this kind; choose one of the list, or change its kind first.")
		}
		_, saved, err := s.save(c, f, atOnce, nil, register.TakeUsual{Machine: machine})
		if err != nil {
			return "", wrap("take usual positions", err)
		}
		if saved {
			return withDone(kindPath(sheet), usualTaken), nil
		}
		return "", s.takeForm(c, sheet, f)
	})
}
