package server

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// hoseStore is what the form for a hose asks of the register.
type hoseStore interface {
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	Policies(ctx context.Context) ([]register.Policy, error)
	Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error)
}

// hosePage is the form for one hose with its position.
type hosePage struct {
	Base
	Sheet    register.MachineSheet
	Problems []problem
	Action   string
	Place    []field
	Parts    hoseParts
	Fitted   []field
	Ticks    []tick
	Swap     string // where to note a swap, if the position holds a hose
	Once     string
	Safety   []string
}

// reading is what was read of a layline, told before anything is saved.
type reading struct {
	Text  string
	Facts []fact
	Notes []string
}

// fact is a name and a value.
type fact struct{ Name, Value string }

// ask is a question about a text with more than one reading.
type ask struct {
	Name, Question, Value, Error string
	Options                      []option
}

// notSure is the answer that takes the safer reading and keeps the doubt.
const notSure = "unsure"

func (s *Server) newHose(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.hoseForm(c, sheet, s.newForm(c, "position", query(c, "position")), nil)
}

// hoseForm shows the form; read is what was read of it, nil before anything
// was sent.
func (s *Server) hoseForm(c echo.Context, sheet register.MachineSheet, f *form, read *hoseReading) error {
	policies, err := s.store(c).Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	page := hosePage{
		Base: s.machineBase(c, "Add a hose to "+sheet.Machine.Code, sheet), Sheet: sheet, Problems: f.Problems, Parts: f.hoseParts(read, "add the hose"),
		Action: web.Path("machines", sheet.Machine.Code, "hoses", "new"), Safety: safetyLines(),
		Swap: swapInstead(f, sheet), Once: f.once(),
	}
	var positions, circuits []string
	for _, p := range sheet.Empty {
		positions = append(positions, p.Name)
	}
	for _, v := range sheet.Circuits {
		circuits = append(circuits, v.Name)
	}
	for _, name := range register.StartingCircuits(sheet.Kind) {
		if !slices.ContainsFunc(circuits, func(have string) bool { return strings.EqualFold(have, name) }) {
			circuits = append(circuits, name)
		}
	}
	page.Place = placeFields(f, page.May, positions, circuits)
	page.Fitted = []field{
		f.field("fitted", "Fitted on").need().hint(f.style.HintMonth()),
		f.field("fitted_hours", "Hour meter at fitting").decimal().hint("In hours."),
	}
	placed := positionFields(f, page.May, policies)
	for _, fd := range placed {
		page.Parts.Open = page.Parts.Open || fd.Error != ""
	}
	page.Parts.More = append(page.Parts.More, placed...)
	if page.May.Manage {
		page.Parts.Summary += ", release"
	}
	if page.May.Place {
		page.Ticks = []tick{
			f.tick("hurt", "A burst at this position can hurt someone").hint("For a new position."),
			f.tick("exposed", "Exposed to abrasion, flexing, vibration, salt or hot spots").hint("For a new position. Then it is inspected more often."),
		}
	}
	return s.renderForm(c, f, "hose", page)
}

// placeFields say where on the machine the hose belongs. Only who may add
// positions is asked about a new one.
func placeFields(f *form, can may, positions, circuits []string) []field {
	position := f.field("position", "Position").need().suggest(positions)
	if !can.Place {
		return []field{position.hint("One of the machine's positions without a hose. A planner or an inspector adds a new one.")}
	}
	return []field{
		position.hint("The place on the machine where this hose belongs, such as lift cylinder, lower left. A new name adds a position."),
		f.field("circuit", "Circuit").suggest(circuits).hint("Such as lift, steering or return. A circuit that the kind of machine knows gives pressures to start with. For a new position."),
	}
}

// positionFields are the further fields about a new position and a release.
func positionFields(f *form, can may, policies []register.Policy) []field {
	if !can.Place {
		return releaseFields(f, can)
	}
	choice := []option{{"", "as the site"}}
	for _, p := range policies {
		choice = append(choice, option{p.Name, p.Name})
	}
	return append([]field{f.field("policy", "Policy of the position").choose(choice...).hint("For a new position.")}, releaseFields(f, can)...)
}

// releaseFields say who lets an assembly be fitted that was stored too long, or
// was damaged: that is a manager's, and nobody else is asked.
func releaseFields(f *form, can may) []field {
	if !can.Manage {
		return nil
	}
	return []field{
		f.field("released_by", "Released by").hint("Only for an assembly that was stored beyond its limit: who lets it be fitted."),
		f.field("reason", "Why it is released"),
	}
}

func (s *Server) addHose(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	return s.sendOnce(c, f, func() (string, error) { return s.takeHose(c, sheet, f) })
}

// takeHose adds the hose of a form and says where to go then; nowhere where
// the form is shown again.
func (s *Server) takeHose(c echo.Context, sheet register.MachineSheet, f *form) (string, error) {
	read := readHose(f, sheet.Today)
	cmds := s.hoseCommands(f, sheet, read)
	if f.toRead() {
		f.readFirst()
		return "", s.hoseForm(c, sheet, f, read)
	}
	f.needed("position", "Name the position where the hose belongs.")
	f.needed("fitted", "Give the day it was fitted.")
	if !f.ok() || f.toTell() {
		return "", s.hoseForm(c, sheet, f, read)
	}
	result, err := s.apply(c, cmds...)
	if err != nil {
		if err := f.refuse(err, hoseNames("name", "position", "on", "fitted", "hours", "fitted_hours")); err != nil {
			return "", wrap("add hose", err)
		}
		return "", s.hoseForm(c, sheet, f, read)
	}
	if len(result.Codes) == 0 {
		return withDone(web.Path("machines", sheet.Machine.Code), hoseAdded), nil
	}
	return withDone(web.Path("assemblies", result.Codes[0]), hoseAdded), nil
}

// hoseCommands are the changes a form asks for: the position if it is new, the
// assembly, its fitting.
func (s *Server) hoseCommands(f *form, sheet register.MachineSheet, read *hoseReading) []register.Command {
	a := f.described(read)
	fitted, position := f.past("fitted", sheet.Today), f.text("position")
	fit := register.Fit{
		Machine: sheet.Machine.Code, Position: position, On: fitted.Start(), OnText: f.fittedText("fitted", fitted), Hours: f.hours("fitted_hours"),
		ReleasedBy: f.text("released_by"), Reason: f.text("reason"),
	}
	var cmds []register.Command
	if !hasPosition(sheet, position) {
		cmds = append(cmds, register.AddPosition{
			Machine: sheet.Machine.Code, Circuit: f.text("circuit"), Name: position, CanHurt: f.ticked("hurt"), Exposed: f.ticked("exposed"), Policy: f.text("policy"),
		})
	}
	return append(cmds, register.AddAssembly{Site: sheet.Site.Name, Assembly: a}, fit)
}

// swapInstead is where to note that the hose the position holds came off; empty
// where that is not what is wrong.
func swapInstead(f *form, sheet register.MachineSheet) string {
	position := f.text("position")
	if f.errorAt("position") == "" || !slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == position }) {
		return ""
	}
	return address(web.Path("machines", sheet.Machine.Code, "swap"), "position", position)
}

func hasPosition(sheet register.MachineSheet, name string) bool {
	return slices.ContainsFunc(sheet.Empty, func(p register.Position) bool { return p.Name == name }) ||
		slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == name })
}
