package server

import (
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

func dutyValues(st web.Style, d register.Duty) *form {
	pairs := serviceValues(st, d.Service)
	if d.Starting() { // the note of shipped values does not go with one's own
		return newForm(append(pairs, "note", "")...)
	}
	return newForm(append(pairs, "note", d.Note)...)
}

// dutyForm shows the form for a duty of a kind, a new one where d is nil.
func (s *Server) dutyForm(c echo.Context, sheet register.KindSheet, d *register.Duty, f *form, view *previewView) error {
	page := formPage{
		Base: s.base(c, "kinds", capital(sheet.Kind.Name)+": a new duty"), Action: kindPath(sheet, "duties", "new"), Cancel: kindPath(sheet), Button: "Save the duty",
		Preview: view, Previews: true, Safety: safetyLines(),
		Lead: []string{"A duty is where machines of this kind start: it counts wherever nothing nearer is known, and always as assumed. What you say of one machine, circuit or position wins over it."},
	}
	where := formGroup{Fields: []field{f.field("note", "Where the values come from").wide().hint("A log, a data sheet, a guess: say which.")}}
	if d == nil {
		circuit := f.field("circuit", "Circuit").suggest(register.StartingCircuits(sheet.Kind.Name)).hint("Empty: the whole machine. Give pressures to a circuit: one for the whole machine would call its return lines over-rated.")
		where.Fields = slices.Insert(where.Fields, 0, circuit)
	} else {
		page.Title = capital(sheet.Kind.Name) + ": duty of the " + dutyWhere(*d)
		page.Action = kindPath(sheet, "duties", strconv.FormatInt(d.ID, 10), "edit")
		page.Buttons = []formButton{{"take-back", "Take the duty away"}}
		if d.Starting() {
			page.Lead = append(page.Lead, register.ShippedNote)
		}
	}
	page.Groups = append([]formGroup{where}, serviceGroups(f)...)
	return s.showForm(c, f, page)
}

func (s *Server) newDuty(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	return s.dutyForm(c, sheet, nil, s.newForm(c, "circuit", query(c, "circuit")), nil)
}

func (s *Server) addDuty(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.kindOf(c)
		if err != nil {
			return "", err
		}
		if f.moreRows() {
			return "", s.dutyForm(c, sheet, nil, f, nil)
		}
		names := serviceNames()
		cmd := register.SetDuty{Kind: sheet.Kind.Name, Circuit: f.text("circuit"), Service: f.service(register.Service{}, names, s.base(c, "", "").Today), Note: f.text("note")}
		if slices.ContainsFunc(sheet.Duties, func(d register.Duty) bool { return strings.EqualFold(d.Circuit, cmd.Circuit) }) {
			f.wrong("circuit", "This kind has a duty for that already; go back and change it there.")
		}
		view, saved, err := s.save(c, f, previewed, names, cmd)
		if err != nil {
			return "", wrap("set duty", err)
		}
		if saved {
			return withDone(kindPath(sheet), dutySet), nil
		}
		return "", s.dutyForm(c, sheet, nil, f, view)
	})
}

// dutyOf is the duty in the path.
func (s *Server) dutyOf(c echo.Context) (register.KindSheet, register.Duty, error) {
	sheet, err := s.kindOf(c)
	if err != nil {
		return sheet, register.Duty{}, err
	}
	id, err := param(c, "id")
	for _, d := range sheet.Duties {
		if strconv.FormatInt(d.ID, 10) == id {
			return sheet, d, err
		}
	}
	return sheet, register.Duty{}, echo.ErrNotFound
}

func (s *Server) editDuty(c echo.Context) error {
	sheet, d, err := s.dutyOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(dutyValues(s.style(c), d), d.Version)
	return s.dutyForm(c, sheet, &d, f, nil)
}

func (s *Server) changeDuty(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, d, err := s.dutyOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(dutyValues(s.style(c), d), d.Version) || f.moreRows() {
			return "", s.dutyForm(c, sheet, &d, f, nil)
		}
		names := serviceNames()
		var cmd register.Command
		word := dutySet
		if f.do() == "take-back" {
			cmd, word = register.TakeBack{What: register.ThingDuty, ID: d.ID, Version: d.Version, Reason: "no duty for this kind any more"}, dutyGone
		} else {
			cmd = register.SetDuty{Kind: sheet.Kind.Name, Circuit: d.Circuit, Service: f.service(d.Service, names, s.base(c, "", "").Today), Note: f.text("note")}
		}
		view, saved, err := s.save(c, f, previewed, names, cmd)
		if err != nil {
			return "", wrap("set duty", err)
		}
		if saved {
			return withDone(kindPath(sheet), word), nil
		}
		return "", s.dutyForm(c, sheet, &d, f, view)
	})
}
