package server

import (
	"errors"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// The ways a new machine gets its positions.
const (
	fromKind    = "kind"
	fromMachine = "machine"
	fromNothing = "none"
)

// mostSuggested bounds a list of suggestions: more only slow a page down.
const mostSuggested = 500

// sisters are machines to suggest as ones to start from; none of a large
// fleet, where one types the code.
func (s *Server) sisters(c echo.Context) ([]string, error) {
	codes, err := s.store(c).MachineCodes(c.Request().Context())
	if err != nil || len(codes) > mostSuggested {
		return nil, wrap("list machines", err)
	}
	return codes, nil
}

func startGroup(f *form, sisters []string) formGroup {
	return formGroup{
		Title: "Its positions",
		Asks: []ask{f.ask("start", "What it starts with",
			option{fromKind, "The positions machines of its kind usually have, if the register knows them"},
			option{fromMachine, "The positions of another machine, named below"},
			option{fromNothing, "No positions; they come one by one or with a sheet"})},
		Fields: []field{f.field("from", "The other machine").suggest(sisters).hint("Its code. Its positions and circuits are copied, not its hoses.")},
		Ticks:  []tick{f.tick("worked", "It is worked like the other machine").hint("Copies how that one, its circuits and positions are worked, marked as assumed.")},
	}
}

// ask is a question with what was answered.
func (f *form) ask(name, question string, options ...option) ask {
	f.name(name, question)
	return ask{Name: name, Question: question, Value: f.text(name), Error: f.errorAt(name), Options: options}
}

// copyCommand is the command that gives a machine of a kind positions; nil
// where there are none to give.
func (s *Server) copyCommand(c echo.Context, f *form, code, kind string) (register.Command, error) {
	if f.text("from") != "" && f.text("start") != fromNothing {
		f.values.Set("start", fromMachine) // who names a machine means it
	}
	switch f.text("start") {
	case fromMachine:
		return register.CopyPositions{Machine: code, From: f.needed("from", "Name the machine whose positions it has."), Worked: f.ticked("worked")}, nil
	case fromKind:
		known, err := s.usualKnown(c, kind)
		if err != nil || !known {
			return nil, err
		}
		return register.CopyPositions{Machine: code}, nil
	}
	return nil, nil
}

// usualKnown reports whether the register knows which positions machines of a
// kind usually have.
func (s *Server) usualKnown(c echo.Context, kind string) (bool, error) {
	if kind == "" {
		return false, nil
	}
	sheet, err := s.store(c).Kind(c.Request().Context(), kind)
	if errors.Is(err, &register.Error{Code: register.NotFound}) {
		return false, nil
	}
	return len(sheet.Positions) > 0, wrap("find kind of machine", err)
}

func (s *Server) newMachine(c echo.Context) error {
	f := s.newForm(c, "site", query(c, "site"), "kind", query(c, "kind"), "start", fromKind)
	if from := query(c, "from"); from != "" {
		sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), from)
		if err != nil {
			return wrap("find machine", err)
		}
		f.values = machineValues(sheet).values
		for _, own := range []string{"code", "serial", "note"} {
			f.values.Set(own, "")
		}
		f.values.Set("start", fromMachine)
		f.values.Set("from", sheet.Machine.Code)
		f.values.Set("worked", "yes")
	}
	return s.machineForm(c, f)
}

// machineForm shows the form for a new machine.
func (s *Server) machineForm(c echo.Context, f *form) error {
	sites, kinds, err := s.sitesAndKinds(c)
	if err != nil {
		return err
	}
	sisters, err := s.sisters(c)
	if err != nil {
		return err
	}
	if len(sites) == 1 {
		f.set("site", sites[0].Name)
	}
	return s.showForm(c, f, formPage{
		Base: s.base(c, "machines", "Add a machine"), Action: "/machines/new", Cancel: "/machines", Button: "Add the machine",
		Groups: []formGroup{{Fields: machineFields(f, sites, kinds), Ticks: []tick{hurtTick(f)}}, startGroup(f, sisters)},
	})
}

func (s *Server) addMachine(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sites, kinds, err := s.sitesAndKinds(c)
		if err != nil {
			return "", err
		}
		m := register.AddMachine{
			Code: f.needed("code", "Give the machine a code."), Name: f.text("name"), Kind: web.Or(chosen(kindNames(kinds), f.text("kind")), f.text("kind")),
			Serial: f.text("serial"), Note: f.text("note"), PlannedHoursPerWeek: f.hours("planned"), CanHurt: f.ticked("hurt"),
		}
		site, cmds, err := s.siteCommand(f, sites)
		if err != nil {
			return "", wrap("check site", err)
		}
		m.Site = site
		cmds = append(cmds, m)
		start, err := s.copyCommand(c, f, m.Code, m.Kind)
		if err != nil {
			return "", err
		}
		if start != nil {
			cmds = append(cmds, start)
		}
		_, saved, err := s.save(c, f, atOnce, map[string]string{"planned_hours_per_week": "planned"}, cmds...)
		if err != nil {
			return "", wrap("add machine", err)
		}
		if saved {
			return withDone(web.Path("machines", m.Code), machineAdded), nil
		}
		return "", s.machineForm(c, f)
	})
}

// copyForm asks from where a machine gets the positions it lacks.
func (s *Server) copyForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	sisters, err := s.sisters(c)
	if err != nil {
		return err
	}
	path := web.Path("machines", sheet.Machine.Code)
	group := startGroup(f, sisters)
	group.Title, group.Asks[0].Question, group.Asks[0].Options = "", "Which positions it gets", group.Asks[0].Options[:2]
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, "Copy positions to "+sheet.Machine.Code, sheet), Action: path + "/copy", Cancel: path, Button: "Copy the positions",
		Lead:   []string{"Only positions this machine lacks are added, by name; what it has stays as it is."},
		Groups: []formGroup{group},
	})
}

func (s *Server) newCopy(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.copyForm(c, sheet, s.newForm(c, "start", fromKind, "from", query(c, "from")))
}

func (s *Server) copyPositions(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		cmd, err := s.copyCommand(c, f, sheet.Machine.Code, sheet.Kind)
		if err != nil {
			return "", err
		}
		if cmd == nil {
			f.wrong("start", "The register knows no usual positions of its kind; name another machine.")
			return "", s.copyForm(c, sheet, f)
		}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("copy positions", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), positionsCopied), nil
		}
		return "", s.copyForm(c, sheet, f)
	})
}
