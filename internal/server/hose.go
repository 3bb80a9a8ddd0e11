package server

import (
	"context"
	"slices"
	"strconv"
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
		Action: web.Path("machines", sheet.Machine.Code, "hoses", "new"), Safety: safetyLines(),
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
	page.Place = []field{
		f.field("position", "Position").need().suggest(positions).hint("The place on the machine where this hose belongs, such as lift cylinder, lower left. A new name adds a position."),
		f.field("circuit", "Circuit").suggest(circuits).hint("Lift, steering, return. For a new position."),
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
	if f.text("layline") != f.text("layline_seen") && f.text("layline") != "" {
		f.Problems = nil // first show what was read; then it is checked
		return s.hoseForm(c, sheet, f, read)
	}
	f.needed("position", "Name the position where the hose belongs.")
	f.needed("fitted", "Give the day it was fitted.")
	cmds := s.hoseCommands(f, sheet, read)
	if !f.ok() {
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
		EndABar: f.pressure("end_a_bar"), EndBBar: f.pressure("end_b_bar"), MaxC: f.temperature("max_c"), LengthMM: f.length("length"),
	}
	a.RatedBar = f.pressure("rated")
	a.RatingSource = read.ratingSource(a.RatedBar)
	size := read.size(f)
	a.DN, a.Dash = size.DN, size.Dash
	a.Made, a.MadeText, a.MadeAmbiguous = read.made.settle(f)
	var unsettled bool
	a.Assembled, a.AssembledText, unsettled = read.assembled.settle(f)
	a.MadeAmbiguous = a.MadeAmbiguous || unsettled
	read.fromTable(&a)
	fitted, position := f.period("fitted"), f.text("position")
	fit := register.Fit{Machine: sheet.Machine.Code, Position: position, On: fitted.Start(), Hours: f.number("fitted_hours"), ReleasedBy: f.text("released_by"), Reason: f.text("reason")}
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

func hasPosition(sheet register.MachineSheet, name string) bool {
	return slices.ContainsFunc(sheet.Empty, func(p register.Position) bool { return p.Name == name }) ||
		slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == name })
}

// hoseReading is what was read of a form's texts: the layline, and the dates
// and the size with all their readings.
type hoseReading struct {
	layline   hose.Layline
	has       bool // a layline was given
	text      string
	sizes     []hose.SizeReading
	made      dateText
	assembled dateText
}

// dateText is a date code with its readings.
type dateText struct {
	name, question string // of the form's question on it
	text           string
	readings       []hose.DateReading
	earliest       quantity.Period
}

// readHose reads the layline and the codes of a form. Fields the layline
// answers and that are empty, or still hold what an earlier layline said, are
// filled from it.
func readHose(f *form, today quantity.Date) *hoseReading {
	r := &hoseReading{text: f.text("layline")}
	if r.text != "" {
		r.layline, r.has = hose.ReadLaylineBy(r.text, today), true
		seen := f.text("layline_seen")
		if seen != "" && seen != r.text {
			forget(f, hose.ReadLaylineBy(seen, today))
		}
		for name, value := range laylineValues(r.layline) {
			f.set(name, value)
		}
	}
	r.readSize(f)
	r.made = readDate(f, "made", "When was the hose made?", hose.Bulk, today)
	if f.text("made") == "" && r.has {
		r.made.readings, r.made.earliest = r.layline.MadeReadings, r.layline.Made
	}
	r.assembled = readDate(f, "assembled", "When was the assembly made?", hose.Assembly, today)
	return r
}

// laylineValues are the fields a layline answers without doubt.
func laylineValues(l hose.Layline) map[string]string {
	values := map[string]string{}
	if l.Designation.Type != "" {
		values["designation"] = l.Designation.String()
	}
	if !l.Size.IsZero() {
		values["size"] = l.Size.String()
	}
	if l.RatedBar != nil {
		values["rated"] = web.Bar(l.RatedBar)
	}
	if len(l.MadeReadings) == 1 && l.Kind == hose.Bulk {
		values["made"] = l.Made.String()
	}
	if len(l.MadeReadings) == 1 && l.Kind == hose.Assembly {
		values["assembled"] = l.Made.String()
	}
	return values
}

// forget empties the fields that hold what an earlier layline said.
func forget(f *form, earlier hose.Layline) {
	for name, value := range laylineValues(earlier) {
		if f.text(name) == value {
			f.values.Set(name, "")
		}
	}
}

func (r *hoseReading) readSize(f *form) {
	t := f.text("size")
	if t == "" {
		r.sizes = r.layline.SizeReadings
		return
	}
	readings, err := hose.ParseSize(t)
	if err != nil {
		f.wrong("size", sentenceOf(err))
		return
	}
	r.sizes = readings
}

func readDate(f *form, name, question string, kind hose.Kind, today quantity.Date) dateText {
	d := dateText{name: name, question: question, text: f.text(name)}
	if d.text == "" {
		return d
	}
	var stored quantity.Period // as this form itself fills it in
	if err := stored.UnmarshalText([]byte(d.text)); err == nil && stored.Precision != quantity.ToYear {
		d.readings, d.earliest = []hose.DateReading{{Period: stored}}, stored
		return d
	}
	code, err := hose.ReadDateCode(d.text, kind, today)
	if err != nil {
		f.wrong(name, sentenceOf(err))
		return d
	}
	d.readings, d.earliest = code.Readings, code.Made
	return d
}

// settle is the period a date text means by the answer in the form. A text
// with several readings and no answer is asked about.
func (d dateText) settle(f *form) (p quantity.Period, text string, ambiguous bool) {
	switch len(d.readings) {
	case 0:
		return quantity.Period{}, "", false
	case 1:
		if d.text != d.readings[0].Period.String() {
			text = d.text
		}
		return d.readings[0].Period, text, false
	}
	answer := f.text(d.name + "_reading")
	if answer == notSure {
		return d.earliest, d.text, true
	}
	for _, r := range d.readings {
		if r.Period.String() == answer {
			return r.Period, d.text, false
		}
	}
	f.wrong(d.name+"_reading", "This date can be read in more than one way. Choose the right reading, or say that you are not sure.")
	return quantity.Period{}, "", false
}

// size is the size by the answer in the form.
func (r *hoseReading) size(f *form) hose.Size {
	switch len(r.sizes) {
	case 0:
		return hose.Size{}
	case 1:
		return r.sizes[0].Size
	}
	answer := f.text("size_reading")
	for i, s := range r.sizes {
		if strconv.Itoa(i) == answer {
			return s.Size
		}
	}
	f.wrong("size_reading", "This size can be read in more than one way. Choose the right reading.")
	return hose.Size{}
}

// ratingSource says where the rating of the form is from.
func (r *hoseReading) ratingSource(rated *float64) register.RatingSource {
	switch {
	case rated == nil:
		return ""
	case r.has && r.layline.RatedBar != nil && web.Bar(r.layline.RatedBar) == web.Bar(rated):
		return register.RatingPrinted
	}
	return register.RatingTyped
}

// fromTable fills what the published row of the designation and size says and
// nobody typed. The exact printed figure wins over its rounded text.
func (r *hoseReading) fromTable(a *register.Assembly) {
	if a.RatingSource == register.RatingPrinted {
		a.RatedBar = r.layline.RatedBar
	}
	rows, _ := hose.Lookup(a.Designation, hose.Size{DN: a.DN, Dash: a.Dash})
	choice, ok := hose.Choose(rows, a.RatedBar)
	if !ok {
		return
	}
	if a.RatedBar == nil {
		a.RatedBar, a.RatingSource = hose.Known(choice.Row.RatedBar), register.RatingTable
	}
	a.Construction = choice.Row.Construction
	if a.Tube == "" {
		a.Tube = choice.Row.Tube
	}
	if a.MaxC == nil {
		a.MaxC = hose.Known(choice.Row.MaxC)
	}
}

// shown is what was read of the layline, for the page; nil without one.
func (r *hoseReading) shown() *reading {
	if !r.has {
		return nil
	}
	l := r.layline
	sizes := web.Unknown
	for i, s := range l.SizeReadings {
		if i == 0 {
			sizes = s.Size.String()
		} else {
			sizes += " or " + s.Size.String()
		}
	}
	made := web.Unknown
	for i, d := range l.MadeReadings {
		if i == 0 {
			made = d.Period.String()
		} else {
			made += " or " + d.Period.String()
		}
	}
	madeName := "hose made"
	if l.Kind == hose.Assembly {
		madeName = "assembly made"
	}
	return &reading{Text: r.text, Notes: l.Notes, Facts: []fact{
		{"standard", web.Or(l.Standard, web.Unknown)}, {"designation", web.Or(l.Designation.String(), web.Unknown)}, {"size", sizes},
		{"rating", web.Bar(l.RatedBar)}, {madeName, made},
	}}
}

// asks are the questions on texts with several readings.
func (r *hoseReading) asks(f *form) []ask {
	var asks []ask
	if len(r.sizes) > 1 {
		a := ask{Name: "size_reading", Question: "Which size is it?", Value: f.text("size_reading"), Error: f.errorAt("size_reading")}
		for i, s := range r.sizes {
			a.Options = append(a.Options, option{strconv.Itoa(i), s.Size.String() + ", read as " + s.As})
		}
		asks = append(asks, a)
	}
	for _, d := range []dateText{r.made, r.assembled} {
		if len(d.readings) < 2 {
			continue
		}
		name := d.name + "_reading"
		a := ask{Name: name, Question: d.question, Value: f.text(name), Error: f.errorAt(name)}
		for _, reading := range d.readings {
			text := reading.Period.String()
			if reading.As != "" {
				text += ", read as " + reading.As
			}
			a.Options = append(a.Options, option{reading.Period.String(), text})
		}
		a.Options = append(a.Options, option{notSure, "not sure – count from the earliest, " + d.earliest.String() + ", and keep the doubt"})
		asks = append(asks, a)
	}
	return asks
}
