package server

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
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
	Layline  field
	Seen     string // the layline whose reading is shown; empty before it is read
	Read     *reading
	Told     []string // what was taken for granted in reading the fields
	ToldKey  string
	Asks     []ask
	Hose     []field
	Fitted   []field
	More     []field
	Ticks    []tick
	Open     bool // the part with further fields
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
	return s.hoseForm(c, sheet, newForm("position", query(c, "position")), nil)
}

// hoseForm shows the form; read is what was read of it, nil before anything
// was sent.
func (s *Server) hoseForm(c echo.Context, sheet register.MachineSheet, f *form, read *hoseReading) error {
	policies, err := s.deps.Store.Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	page := hosePage{
		Base: s.machineBase(c, "Add a hose to "+sheet.Machine.Code, sheet), Sheet: sheet, Problems: f.Problems,
		Action: web.Path("machines", sheet.Machine.Code, "hoses", "new"), Safety: safetyLines(), Told: f.Told, ToldKey: f.told(),
	}
	if read != nil {
		page.Seen, page.Read, page.Asks = f.text("layline"), read.shown(), read.asks(f)
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
	page.Place = []field{
		f.field("position", "Position").need().suggest(positions).hint("The place on the machine where this hose belongs, such as lift cylinder, lower left. A new name adds a position."),
		f.field("circuit", "Circuit").suggest(circuits).hint("Such as lift, steering or return. A circuit that the kind of machine knows gives pressures to start with. For a new position."),
	}
	page.Layline = f.field("layline", "Printed line on the hose").lines(2).wide().hint("Copy it as it stands, such as EN 853 2SN DN 12 275 BAR 3Q24. It fills the fields below that are empty.")
	page.Hose = []field{
		f.field("designation", "Designation").suggest(designationNames()).hint("Such as EN 853 2SN or SAE 100R2AT."),
		f.field("size", "Size").hint("DN 12, -8 or 1/2 in."),
		f.field("rated", "Rating of the hose").hint("275 bar, 27.5 MPa or 4000 psi. Empty: taken from the rating table."),
		f.field("made", "Hose made").hint("As printed: 3Q24, 11/2024."),
		f.field("assembled", "Assembly made").hint("Stamp on the ferrule: 1606 is June 2016."),
	}
	page.Fitted = []field{
		f.field("fitted", "Fitted on").need().hint("As 2026-11-25 or 25.11.2026; if only the month is known, 11/2026."),
		f.field("fitted_hours", "Hour meter at fitting").decimal().hint("In hours."),
	}
	page.More = s.moreFields(f, policies)
	page.Ticks = []tick{
		f.tick("hurt", "A burst at this position can hurt someone").hint("For a new position."),
		f.tick("exposed", "Exposed to abrasion, flexing, vibration, salt or hot spots").hint("For a new position. Then it is inspected more often."),
	}
	for _, fd := range page.More {
		page.Open = page.Open || fd.Error != ""
	}
	return s.renderForm(c, f, "hose", page)
}

func (s *Server) moreFields(f *form, policies []register.Policy) []field {
	choice := []option{{"", "as the site"}}
	for _, p := range policies {
		choice = append(choice, option{p.Name, p.Name})
	}
	return []field{
		f.field("code", "Code of the assembly").hint("Empty: the register gives one."),
		f.field("end_a", "End A").hint("Kind of end, such as 24 degree cone 15L."),
		f.field("end_a_bar", "Rating of end A").hint("275 bar, 27.5 MPa, 4000 psi."),
		f.field("end_b", "End B"),
		f.field("end_b_bar", "Rating of end B"),
		f.field("tube", "Tube material").suggest([]string{"NBR", "CR", "EPDM", "PTFE", "thermoplastic"}),
		f.field("max_c", "Highest fluid temperature").hint("100 °C or 212 °F."),
		f.field("length", "Length").hint("1250 mm, 1.25 m or 49 1/4 in."),
		f.field("maker", "Maker of the hose").hint("As printed."),
		f.field("policy", "Policy of the position").choose(choice...).hint("For a new position."),
		f.field("released_by", "Released by").hint("Only for an assembly that was stored beyond its limit: who lets it be fitted."),
		f.field("reason", "Why it is released"),
		f.field("note", "Note").lines(2).wide(),
	}
}

func designationNames() []string {
	var names []string
	for _, d := range hose.Designations() {
		names = append(names, d.String())
	}
	return names
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
	read := readHose(f, sheet.Today)
	cmds := s.hoseCommands(f, sheet, read)
	if f.text("layline") != f.text("layline_seen") && f.text("layline") != "" {
		f.Problems = nil // first show what was read; then it is checked
		return s.hoseForm(c, sheet, f, read)
	}
	f.needed("position", "Name the position where the hose belongs.")
	f.needed("fitted", "Give the day it was fitted.")
	if !f.ok() || f.toTell() {
		return s.hoseForm(c, sheet, f, read)
	}
	result, err := s.apply(c, cmds...)
	if err != nil {
		names := map[string]string{
			"rated_bar": "rated", "end_a_bar": "end_a_bar", "end_b_bar": "end_b_bar", "length_mm": "length", "name": "position",
			"on": "fitted", "hours": "fitted_hours", "dn": "size", "dash": "size", "made_text": "made", "assembled_text": "assembled", "assembly_code": "code",
		}
		if err := f.refuse(err, names); err != nil {
			return wrap("add hose", err)
		}
		f.explainTaken(sheet)
		return s.hoseForm(c, sheet, f, read)
	}
	if len(result.Codes) == 0 {
		return done(c, web.Path("machines", sheet.Machine.Code), hoseAdded)
	}
	return done(c, web.Path("assemblies", result.Codes[0]), hoseAdded)
}

// hoseCommands are the changes a form asks for: the position if it is new, the
// assembly, its fitting.
func (s *Server) hoseCommands(f *form, sheet register.MachineSheet, read *hoseReading) []register.Command {
	a := register.Assembly{
		Code: f.text("code"), Layline: f.text("layline"), Maker: f.text("maker"), Designation: f.text("designation"), Tube: f.text("tube"),
		EndA: f.text("end_a"), EndB: f.text("end_b"), Note: f.text("note"),
		EndABar: f.pressure("end_a_bar", "Rating of end A"), EndBBar: f.pressure("end_b_bar", "Rating of end B"), MaxC: f.temperature("max_c"), LengthMM: f.length("length", "Length"),
	}
	a.RatedBar, a.RatingSource = read.rating(f, f.pressure("rated", "Rating of the hose"))
	size := read.size(f)
	a.DN, a.Dash = size.DN, size.Dash
	a.Made, a.MadeText, a.MadeAmbiguous = read.made.settle(f)
	var unsettled bool
	a.Assembled, a.AssembledText, unsettled = read.assembled.settle(f)
	a.MadeAmbiguous = a.MadeAmbiguous || unsettled
	read.fromTable(&a)
	fitted, position := f.past("fitted", sheet.Today), f.text("position")
	fit := register.Fit{Machine: sheet.Machine.Code, Position: position, On: fitted.Start(), Hours: f.hours("fitted_hours"), ReleasedBy: f.text("released_by"), Reason: f.text("reason")}
	if !fitted.IsZero() && fitted.Precision != quantity.ToDay {
		fit.OnText = f.text("fitted")
	}
	var cmds []register.Command
	if !hasPosition(sheet, position) {
		cmds = append(cmds, register.AddPosition{
			Machine: sheet.Machine.Code, Circuit: f.text("circuit"), Name: position, CanHurt: f.ticked("hurt"), Exposed: f.ticked("exposed"), Policy: f.text("policy"),
		})
	}
	return append(cmds, register.AddAssembly{Site: sheet.Site.Name, Assembly: a}, fit)
}

// explainTaken says, where the position holds a hose, how to note that it came
// off.
func (f *form) explainTaken(sheet register.MachineSheet) {
	position := f.text("position")
	if !slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == position }) {
		return
	}
	for i, p := range f.Problems {
		if p.Field == "position" {
			f.Problems[i].Sentence = p.Sentence + " No page notes a removal yet: import a sheet of hoses, either with the row of the old hose and the day in its column Removed, or with the row of the new hose and the answer that the hose was swapped."
		}
	}
}

func hasPosition(sheet register.MachineSheet, name string) bool {
	return slices.ContainsFunc(sheet.Empty, func(p register.Position) bool { return p.Name == name }) ||
		slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == name })
}
