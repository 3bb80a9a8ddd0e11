package server

import (
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// fitPage is the form that fits an assembly from store, or moves one that sits
// somewhere to another position. First the machine is chosen, then the rest.
type fitPage struct {
	Base
	Sheet    register.AssemblySheet
	Move     bool
	Refused  string // why it can be neither; the form is not shown then
	Problems []problem
	Which    field // of the machine
	On       register.MachineSheet
	Chosen   bool // a machine is chosen
	Full     []choiceLink
	Fields   []field
	Release  []field
	Released bool
	Warnings []life.Warning
	Checks   []string
	Key      string
	Told     []string
	ToldKey  string
	Action   string
	Once     string
	Cancel   string
	Cautions []string
	Steps    []string
	Safety   []string
}

func (s *Server) newFitting(c echo.Context) error { return s.fitOpened(c, false) }

func (s *Server) newMove(c echo.Context) error { return s.fitOpened(c, true) }

func (s *Server) fitOpened(c echo.Context, move bool) error {
	sheet, err := s.assemblySheetOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c, "machine", query(c, "machine"), "position", query(c, "position"), "on", s.style(c).Date(sheet.Today))
	on, err := s.machineChosen(c, f)
	if err != nil {
		return err
	}
	return s.fitForm(c, sheet, on, f, move, nil)
}

// machineChosen is the machine a form names; none where it names none or there
// is none of that code.
func (s *Server) machineChosen(c echo.Context, f *form) (*register.MachineSheet, error) {
	ctx := c.Request().Context()
	code := f.text("machine")
	if code == "" {
		return nil, nil
	}
	sheet, err := s.store(c).MachineSheet(ctx, s.deps.Now(), code)
	if refusal := asRegisterError(err); refusal != nil {
		f.wrong("machine", refusal.Sentence)
		return nil, nil
	}
	return &sheet, wrap("find machine", err)
}

func (s *Server) fitForm(c echo.Context, sheet register.AssemblySheet, on *register.MachineSheet, f *form, move bool, checks []string) error {
	code := sheet.Assembly.Code
	page := fitPage{
		Base: s.assemblyBase(c, "Fit "+code, sheet), Sheet: sheet, Move: move, Warnings: sheet.Store, Checks: checks, Key: digest(checks), Once: f.once(),
		Action: web.Path("assemblies", code, "fit"), Cancel: web.Path("assemblies", code), Cautions: cautions(), Steps: fittingSteps(), Safety: safetyLines(),
	}
	if move {
		page.Title, page.Action, page.Warnings = "Move "+code, web.Path("assemblies", code, "move"), nil
	}
	page.Refused, page.Release = fitRefused(sheet, move), releaseFields(f, page.May)
	if on == nil {
		var err error
		if page.Which, err = s.machineField(c, sheet, f); err != nil {
			return err
		}
	} else {
		page.On, page.Chosen = *on, true
		page.Fields, page.Full = fitFields(f, sheet, *on, move)
	}
	for _, fd := range page.Release {
		page.Released = page.Released || fd.Value != "" || fd.Error != ""
	}
	page.Released = page.Released || len(page.Warnings) > 0
	page.Problems, page.Told, page.ToldKey = f.Problems, f.Told, f.told()
	return s.renderForm(c, f, "fit", page)
}

// fitRefused says why an assembly can be neither fitted nor moved; empty if it
// can.
func fitRefused(sheet register.AssemblySheet, move bool) string {
	switch {
	case !sheet.Assembly.ScrappedOn.IsZero():
		return "It was scrapped; a scrapped assembly is never fitted again."
	case move && sheet.Line == nil:
		return "It sits nowhere, so it cannot be moved; fit it instead."
	case !move && sheet.Line != nil:
		return "It sits at " + at(sheet.Line.MachineCode, sheet.Line.Position) + "; move it instead."
	}
	return ""
}

// machineField is the field for the machine, with those of the site to choose.
func (s *Server) machineField(c echo.Context, sheet register.AssemblySheet, f *form) (field, error) {
	ctx := c.Request().Context()
	lines, _, err := s.store(c).MachineLines(ctx, s.deps.Now(), register.MachineFilter{Site: sheet.Site.Name, Limit: 1000})
	if err != nil {
		return field{}, wrap("list machines", err)
	}
	var codes []string
	for _, m := range lines {
		codes = append(codes, m.Machine.Code)
	}
	fd := f.field("machine", "Machine").need().suggest(codes).hint("Its code.")
	if len(codes) > 0 && len(codes) <= 50 {
		choice := []option{{"", "choose the machine"}}
		for _, m := range lines {
			choice = append(choice, option{m.Machine.Code, machineTitle(m.Machine.Code, m.Machine.Name)})
		}
		fd = fd.choose(choice...)
	}
	return fd, nil
}

// fitFields are the fields once the machine is chosen; full are its positions
// that hold another hose, with where to swap it.
func fitFields(f *form, sheet register.AssemblySheet, on register.MachineSheet, move bool) (fields []field, full []choiceLink) {
	positions := []option{{"", "choose the position"}}
	for _, p := range on.Empty {
		positions = append(positions, option{p.Name, p.Name})
	}
	for _, l := range on.Lines {
		if strings.EqualFold(l.AssemblyCode, sheet.Assembly.Code) {
			continue
		}
		link := choiceLink{Text: l.Position, Says: "holds " + l.AssemblyCode}
		if !move {
			link.URL = address(web.Path("machines", on.Machine.Code, "swap"), "position", l.Position, "from", sheet.Assembly.Code)
		} else {
			link.URL = address(web.Path("machines", on.Machine.Code, "remove"), "position", l.Position)
		}
		full = append(full, link)
	}
	fields = []field{f.field("position", "Position").need().choose(positions...).wide(), f.onDay("Day")}
	if move && sheet.Line != nil && sheet.Line.MachineCode != on.Machine.Code {
		return append(fields,
			f.field("hours_off", "Hour meter of "+sheet.Line.MachineCode+" then").decimal().hint("In hours."),
			f.meterField("hours", "Hour meter of "+on.Machine.Code+" then", on.Readings)), full
	}
	return append(fields, f.meterField("hours", "Hour meter then", on.Readings)), full
}

func (s *Server) addFitting(c echo.Context) error { return s.fitSent(c, false) }

func (s *Server) addMove(c echo.Context) error { return s.fitSent(c, true) }

func (s *Server) fitSent(c echo.Context, move bool) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.assemblySheetOf(c)
		if err != nil {
			return "", err
		}
		f.needed("machine", "Choose the machine.")
		on, err := s.machineChosen(c, f)
		if err != nil {
			return "", err
		}
		if on == nil || !f.ok() {
			return "", s.fitForm(c, sheet, on, f, move, nil)
		}
		return s.fit(c, sheet, *on, f, move)
	})
}

// fit carries out a fitting or a move and says where to go then; nowhere where
// the form is shown again.
func (s *Server) fit(c echo.Context, sheet register.AssemblySheet, on register.MachineSheet, f *form, move bool) (string, error) {
	if no := fitRefused(sheet, move); no != "" {
		f.wrong("", no)
	}
	cmd := register.Fit{
		AssemblyCode: sheet.Assembly.Code, Machine: on.Machine.Code, Position: f.needed("position", "Choose the position."), On: f.day("on"), Hours: f.meter("hours", latestReading(on.Readings)),
		ReleasedBy: f.text("released_by"), Reason: f.text("reason"),
	}
	f.release(f.damaged(sheet))
	f.needed("on", "Give the day.")
	f.notAhead("on", quantity.Day(cmd.On), on.Today)
	cmds := []register.Command{cmd}
	if move && sheet.Line != nil {
		cmds = []register.Command{f.moveOff(*sheet.Line, cmd), cmd}
	}
	checks, err := s.fitChecks(c, sheet, on, f, cmd)
	if err != nil {
		return "", err
	}
	if !f.ok() || f.toTell() || f.toCheck(checks) {
		return "", s.fitForm(c, sheet, &on, f, move, checks)
	}
	if _, err := s.apply(c, cmds...); err != nil {
		if err := f.refuse(err, nil); err != nil {
			return "", wrap("fit", err)
		}
		return "", s.fitForm(c, sheet, &on, f, move, checks)
	}
	word := fitted
	if move {
		word = movedOn
	}
	return withDone(web.Path("assemblies", sheet.Assembly.Code), word), nil
}

// moveOff takes an assembly off where it sits, for a fitting elsewhere.
func (f *form) moveOff(from register.Line, to register.Fit) register.Remove {
	if strings.EqualFold(from.MachineCode, to.Machine) {
		return register.MoveOff(from, to, nil)
	}
	return register.MoveOff(from, to, f.hours("hours_off"))
}

// fitChecks are what a fitter must see before the assembly goes to a position.
func (s *Server) fitChecks(c echo.Context, sheet register.AssemblySheet, on register.MachineSheet, f *form, cmd register.Fit) ([]string, error) {
	if !f.ok() || !slices.ContainsFunc(on.Empty, func(p register.Position) bool { return p.Name == cmd.Position }) {
		return nil, nil
	}
	p, err := s.placeOf(c, on, cmd.Position, f.style)
	if err != nil {
		return nil, err
	}
	checks := p.checks(sheet.Assembly, cmd.On)
	for _, open := range sheet.Open {
		checks = append(checks, "An inspection found: "+findingWords(open)+" (class "+string(open.Class)+"). Taking it off closes the finding; do not fit it elsewhere while the damage is there.")
	}
	return checks, nil
}
