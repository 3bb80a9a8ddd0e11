package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// layUpFields are the fields for a time out of use.
func layUpFields(f *form) []field {
	return []field{
		f.field("from", "Out of use from").need().hint(f.style.HintDate()),
		f.field("to", "Back in use on").hint("Empty while it lasts."),
		f.field("reason", "Why").hint("Such as winter, waiting for parts."),
	}
}

func (s *Server) newLayUp(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.layUpForm(c, sheet, s.newForm(c, "from", s.style(c).Date(sheet.Today)))
}

func (s *Server) layUpForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	path := web.Path("machines", sheet.Machine.Code)
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, sheet.Machine.Code+" is out of use", sheet), Action: path + "/lay-ups/new", Cancel: path, Button: "Note it",
		Lead:   []string{"While a machine is out of use no running hours are counted. Rubber ages all the same."},
		Groups: []formGroup{{Fields: layUpFields(f)}},
	})
}

func (s *Server) addLayUp(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		f.needed("from", "Give the day from which on it is out of use.")
		cmd := register.AddLayUp{Machine: sheet.Machine.Code, From: f.day("from"), To: f.day("to"), Reason: f.text("reason")}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("note lay-up", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), layUpNoted), nil
		}
		return "", s.layUpForm(c, sheet, f)
	})
}

// layUpOf is the lay-up in the path.
func (s *Server) layUpOf(c echo.Context) (register.MachineSheet, register.LayUp, error) {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return sheet, register.LayUp{}, err
	}
	id, err := param(c, "id")
	for _, v := range sheet.LayUps {
		if strconv.FormatInt(v.ID, 10) == id {
			return sheet, v, err
		}
	}
	return sheet, register.LayUp{}, echo.ErrNotFound
}

func (s *Server) newLayUpEnd(c echo.Context) error {
	sheet, l, err := s.layUpOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(newForm("to", shownAs{s.style(c)}.day(l.To)), l.Version)
	f.set("to", s.style(c).Date(sheet.Today))
	return s.layUpEndForm(c, sheet, l, f)
}

func (s *Server) layUpEndForm(c echo.Context, sheet register.MachineSheet, l register.LayUp, f *form) error {
	code := sheet.Machine.Code
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, code+" is back in use", sheet), Action: web.Path("machines", code, "lay-ups", strconv.FormatInt(l.ID, 10), "end"), Cancel: web.Path("machines", code), Button: "It is back in use",
		Lead:   []string{"Out of use since " + s.style(c).Date(l.From) + "."},
		Groups: []formGroup{{Fields: []field{f.field("to", "Back in use on").need().hint("The first day it worked again. " + f.style.HintDate())}}},
	})
}

func (s *Server) endLayUp(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, l, err := s.layUpOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(newForm("to", shownAs{s.style(c)}.day(l.To)), l.Version) {
			return "", s.layUpEndForm(c, sheet, l, f)
		}
		f.needed("to", "Give the first day it worked again.")
		l.To = f.day("to")
		_, saved, err := s.save(c, f, atOnce, nil, register.ChangeLayUp{LayUp: l})
		if err != nil {
			return "", wrap("end lay-up", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), layUpEnded), nil
		}
		return "", s.layUpEndForm(c, sheet, l, f)
	})
}
