package server

import (
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// conditionsWhere are what service conditions can be about on a machine: all
// of it, a circuit, a position.
func conditionsWhere(sheet register.MachineSheet) []option {
	choice := []option{{"machine", "the whole machine"}}
	for _, v := range sheet.Circuits {
		choice = append(choice, option{"circuit:" + v.Name, "circuit " + v.Name})
	}
	for _, name := range positionNamesOf(sheet) {
		choice = append(choice, option{"position:" + name, "position " + name})
	}
	return choice
}

func (s *Server) newConditions(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	where := "machine"
	if name := query(c, "circuit"); name != "" {
		where = "circuit:" + name
	}
	if name := query(c, "position"); name != "" {
		where = "position:" + name
	}
	from := sheet.Today
	if first := firstWorked(sheet); !first.IsZero() {
		from = first
	}
	return s.conditionsForm(c, sheet, s.newForm(c, "where", where, "from", s.style(c).Date(from)), nil)
}

// firstWorked is the day the oldest hose of a machine was fitted, where nothing
// was said yet of how it is worked: what is said from a later day on leaves the
// wear before it unknown, and every date as incomplete as it was. No date where
// something was said, or nothing is fitted.
func firstWorked(sheet register.MachineSheet) quantity.Date {
	var first quantity.Date
	if len(sheet.Conditions) > 0 {
		return first
	}
	for _, l := range sheet.Lines {
		if !l.Fitted.IsZero() && (first.IsZero() || l.Fitted.Before(first)) {
			first = l.Fitted
		}
	}
	return first
}

// fromHint says what the day means for the time before it.
func fromHint(style web.Style, sheet register.MachineSheet) string {
	hint := style.HintDate() + " From this day on, until a later one says otherwise. "
	if first := firstWorked(sheet); !first.IsZero() {
		return hint + style.Date(first) + " is when the oldest hose here was fitted; the wear before the day given here stays unknown."
	}
	return hint + "Before it counts what was said of the time before, or nothing."
}

func (s *Server) conditionsForm(c echo.Context, sheet register.MachineSheet, f *form, view *previewView) error {
	path := web.Path("machines", sheet.Machine.Code)
	groups := append([]formGroup{{
		Fields: []field{
			f.field("where", "What is worked so").need().choose(conditionsWhere(sheet)...).hint("The nearest wins: position, circuit, machine, then the duty of its kind."),
			f.field("from", "From").need().hint(fromHint(f.style, sheet)),
		},
	}, {
		Fields: []field{f.field("note", "Where the values come from").wide().hint("A log, a data sheet, a guess: say which.")},
		Asks:   []ask{f.ask("basis", "How the values are known (needed)", option{string(register.Measured), "Measured"}, option{string(register.Assumed), "Assumed"})},
	}}, serviceGroups(f)...)
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, "How "+sheet.Machine.Code+" is worked", sheet), Action: path + "/conditions/new", Cancel: path, Button: "Save how it is worked",
		Lead:   []string{"Fill in what you know. A field left empty says nothing: what was said before, or farther out, still counts."},
		Groups: groups, Preview: view, Previews: true, Safety: safetyLines(),
	})
}

func (s *Server) addConditions(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		if f.moreRows() {
			return "", s.conditionsForm(c, sheet, f, nil)
		}
		names := serviceNames()
		names["position"], names["circuit"] = "where", "where"
		cmd := register.SetConditions{Machine: sheet.Machine.Code, From: f.day("from"), Basis: register.Basis(f.text("basis")), Note: f.text("note")}
		f.needed("from", "Give the day from which on it is worked so.")
		if cmd.Basis != register.Measured && cmd.Basis != register.Assumed {
			f.wrong("basis", "Say whether the values are measured or assumed.")
		}
		switch level, name, _ := strings.Cut(f.text("where"), ":"); level {
		case "circuit":
			cmd.Circuit = name
		case "position":
			cmd.Position = name
		}
		cmd.Service = f.service(register.Service{}, names, sheet.Today)
		if saysNothing(cmd.Service) && f.ok() {
			f.wrong("", "Nothing is filled in. Give at least a pressure or a temperature.")
		}
		view, saved, err := s.save(c, f, previewed, names, cmd)
		if err != nil {
			return "", wrap("set conditions", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), conditionsSet), nil
		}
		return "", s.conditionsForm(c, sheet, f, view)
	})
}

func saysNothing(v register.Service) bool {
	return v.FluidC == nil && v.SurroundingsC == nil && v.AlwaysHot == nil && len(v.Temperatures) == 0 && v.AdapterBar == nil && v.WorkingBar == nil &&
		len(v.Cycles) == 0 && v.NoCycles == nil && v.AssessedOn.IsZero()
}
