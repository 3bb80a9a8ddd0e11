package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// circuitsForm shows all circuits of a machine as fields, with one for a new
// one: they are few, and renamed together.
func (s *Server) circuitsForm(c echo.Context, sheet register.MachineSheet, f *form, view *previewView) error {
	path := web.Path("machines", sheet.Machine.Code)
	var fields []field
	for i, v := range sheet.Circuits {
		fields = append(fields, f.field(circuitField(v), "Circuit "+strconv.Itoa(i+1)).need())
	}
	fields = append(fields, f.field("new", "A new circuit").suggest(register.StartingCircuits(sheet.Kind)).hint("Such as lift, steering or return. Empty: none."))
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, "Circuits of "+sheet.Machine.Code, sheet), Action: path + "/circuits", Cancel: path, Button: "Save the circuits", Preview: view, Previews: true, Groups: []formGroup{{Fields: fields}},
		Lead: []string{"A circuit whose name the kind of machine knows takes its pressures to start with; renaming one may therefore move dates."},
	})
}

func circuitField(v register.Circuit) string { return "circuit-" + strconv.FormatInt(v.ID, 10) }

func circuitValues(sheet register.MachineSheet) *form {
	f := newForm()
	for _, v := range sheet.Circuits {
		f.values.Set(circuitField(v), v.Name)
	}
	return f
}

func (s *Server) editCircuits(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c, "new", query(c, "new"))
	f.edits(circuitValues(sheet), 0)
	return s.circuitsForm(c, sheet, f, nil)
}

func (s *Server) changeCircuits(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(circuitValues(sheet), 0) {
			return "", s.circuitsForm(c, sheet, f, nil)
		}
		path := web.Path("machines", sheet.Machine.Code)
		cmds, names := circuitCommands(f, sheet)
		if len(cmds) == 0 && f.ok() {
			return path, nil
		}
		view, saved, err := s.save(c, f, previewed, names, cmds...)
		if err != nil {
			return "", wrap("change circuits", err)
		}
		if saved {
			return withDone(path, circuitsChanged), nil
		}
		return "", s.circuitsForm(c, sheet, f, view)
	})
}

// circuitCommands are the changes that a form for circuits asks for, and the
// field to blame where there is only one.
func circuitCommands(f *form, sheet register.MachineSheet) (cmds []register.Command, names map[string]string) {
	names = map[string]string{}
	for _, v := range sheet.Circuits {
		if field := circuitField(v); !f.untouched(field) {
			v.Name = f.needed(field, "Give the circuit a name.")
			cmds, names["name"] = append(cmds, register.ChangeCircuit{Circuit: v}), field
		}
	}
	if name := f.text("new"); name != "" {
		cmds, names["name"] = append(cmds, register.AddCircuit{Machine: sheet.Machine.Code, Name: name}), "new"
	}
	if len(cmds) > 1 {
		delete(names, "name") // the sentence says which
	}
	return cmds, names
}
