package server

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// inspectionStore is what the form for an inspection asks of the register.
type inspectionStore interface {
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	AssemblySheet(ctx context.Context, now time.Time, code string) (register.AssemblySheet, error)
	Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error)
}

// inspectionPage is the form for one look at one hose.
type inspectionPage struct {
	Base
	Once     string
	Sheet    register.MachineSheet
	Problems []problem
	Told     []string // what was taken for granted in reading the day
	ToldKey  string
	Fields   []field
	Verdict  verdict
	Findings []findingFields
	Note     field
	Action   string
	Safety   []string
}

// verdict is what the inspector says: nothing found, or something.
type verdict struct{ Value, Error string }

// findingFields are the fields of one finding.
type findingFields struct {
	Title  string
	Fields []field
	Later  bool // not the first one: folded away
	Open   bool // something is filled in or wrong there
}

// findingRows is how many findings one form takes.
const findingRows = 3

// The verdicts of the form. Neither is chosen beforehand: sound is something
// an inspector says, not what is left when nobody says anything.
const (
	verdictSound = "sound"
	verdictFound = "found"
)

func (s *Server) newInspection(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.inspectionForm(c, sheet, s.newForm(c, "on", s.style(c).Date(sheet.Today), "position", query(c, "position")))
}

func (s *Server) inspectionForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	page := inspectionPage{
		Once: f.once(),
		Base: s.machineBase(c, "Note an inspection at "+sheet.Machine.Code, sheet), Sheet: sheet, Problems: f.Problems, Told: f.Told, ToldKey: f.told(), Safety: safetyLines(),
		Action: web.Path("machines", sheet.Machine.Code, "inspections", "new"), Verdict: verdict{f.text("verdict"), f.errorAt("verdict")},
	}
	positions := []option{{"", "choose the position"}}
	for _, l := range sheet.Lines {
		positions = append(positions, option{l.Position, l.Position + " – " + web.Or(l.Designation, "hose unknown") + ", " + l.AssemblyCode})
	}
	page.Fields = []field{
		f.field("position", "Position").need().choose(positions...).wide(),
		f.field("on", "Day").need().hint(s.style(c).HintDate()),
		f.field("by", "Inspected by").hint("Name of the inspector."),
	}
	for i := 1; i <= findingRows; i++ {
		row := findingFields{
			Title: fmt.Sprintf("Finding %d", i), Later: i > 1,
			Fields: []field{
				f.field(rowName("kind", i), "What was seen").choose(findingChoice()...).wide(),
				f.field(rowName("class", i), "Class").choose(classChoice()...).hint("Stricter is free. Only a manager may judge milder, and says why."),
				f.field(rowName("place", i), "Where on the hose").choose(options("", "end A", "middle", "end B", "whole length")...),
				f.field(rowName("act", i), "To be done by").hint("A day; may be left empty."),
				f.field(rowName("note", i), "In your own words").hint("Needed for something else, and as the reason for a milder class."),
			},
		}
		for _, fd := range row.Fields {
			row.Open = row.Open || fd.Value != "" || fd.Error != ""
		}
		page.Findings = append(page.Findings, row)
	}
	page.Note = f.field("note", "Note on the inspection").lines(2).wide()
	return s.renderForm(c, f, "inspection", page)
}

// ownWords is the choice of a finding that is none of the catalogue.
const ownWords = "0"

func findingChoice() []option {
	o := []option{{"", "nothing"}}
	for _, k := range life.FindingKinds() {
		text := fmt.Sprintf("%d  %s → %s", k.Number, strings.TrimSuffix(k.Sentence, "."), k.Class)
		o = append(o, option{strconv.Itoa(k.Number), text})
	}
	return append(o, option{ownWords, "something else, in your own words"})
}

func classChoice() []option {
	o := []option{{"", "as suggested for what was seen"}}
	for _, class := range []life.Class{life.Stop, life.Replace, life.Correct, life.Watch} {
		o = append(o, option{string(class), web.ClassText(class)})
	}
	return o
}

func (s *Server) addInspection(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	f.needed("on", "Give the day of the inspection.")
	cmd := register.Inspect{
		Machine: sheet.Machine.Code, Position: f.needed("position", "Choose the position that was looked at."),
		On: f.day("on"), By: f.text("by"), Note: f.text("note"),
	}
	var rows []int // the row of the form of each finding
	cmd.Findings, rows = readFindings(f)
	switch f.text("verdict") {
	case verdictSound:
		if len(cmd.Findings) > 0 {
			f.wrong("verdict", "Sound and a finding cannot both be right: choose “something was found”, or take the findings back.")
		}
	case verdictFound:
		if len(cmd.Findings) == 0 && f.ok() {
			f.wrong(rowName("kind", 1), "Say what was seen, or choose “sound”.")
		}
	default:
		f.wrong("verdict", "Say whether it is sound or something was found.")
	}
	if !f.ok() || f.toTell() {
		return s.inspectionForm(c, sheet, f)
	}
	known, err := s.noteInspection(c, sheet, cmd)
	if err != nil {
		if err := f.refuse(err, findingNames(err, rows)); err != nil {
			return wrap("note inspection", err)
		}
		return s.inspectionForm(c, sheet, f)
	}
	return done(c, web.Path("machines", sheet.Machine.Code), inspectionDone(sheet, cmd, known))
}

// inspectionDone is the word for what the page says after an inspection.
func inspectionDone(sheet register.MachineSheet, cmd register.Inspect, known bool) string {
	still := slices.ContainsFunc(sheet.Lines, func(l register.Line) bool { return l.Position == cmd.Position && !l.Fitted.After(cmd.On) })
	switch {
	case known:
		return inspectionKnown
	case still && verdictOf(cmd) == life.Stop:
		return inspectionStop
	}
	return inspectionNoted
}

// noteInspection stores an inspection, unless the register knows it already: a
// form may be sent twice. Only one is stored at a time, so that of two sent at
// once the second sees the first.
func (s *Server) noteInspection(c echo.Context, sheet register.MachineSheet, cmd register.Inspect) (known bool, err error) {
	s.inspecting.Lock()
	defer s.inspecting.Unlock()
	if known, err = s.inspectionKnown(c, sheet, cmd); known || err != nil {
		return known, err
	}
	_, err = s.apply(c, cmd)
	return false, err
}

// inspectionKnown reports whether the hose at the position has an inspection of
// that day, inspector, verdict and note, with all the findings, still open.
func (s *Server) inspectionKnown(c echo.Context, sheet register.MachineSheet, cmd register.Inspect) (bool, error) {
	ctx := c.Request().Context()
	at := slices.IndexFunc(sheet.Lines, func(l register.Line) bool { return l.Position == cmd.Position })
	if at < 0 {
		return false, nil
	}
	stored, err := s.store(c).AssemblySheet(ctx, s.deps.Now(), sheet.Lines[at].AssemblyCode)
	if err != nil {
		return false, wrap("look for the inspection", err)
	}
	text := "Inspected: " + string(verdictOf(cmd)) // as the life story has it
	if cmd.Note != "" {
		text += ". " + cmd.Note
	}
	known := slices.ContainsFunc(stored.Story, func(e register.Event) bool {
		return e.What == register.EventInspected && e.On == cmd.On && e.By == cmd.By && e.Text == text
	})
	for _, f := range cmd.Findings {
		known = known && slices.ContainsFunc(stored.Open, func(o register.Finding) bool {
			return o.SeenOn == cmd.On && f == register.NewFinding{Number: o.Number, Class: o.Class, Place: o.Place, ActBy: o.ActBy, Note: o.Note}
		})
	}
	return known, nil
}

// verdictOf is the strictest class of the findings, or sound.
func verdictOf(cmd register.Inspect) life.Class {
	verdict := life.Sound
	for _, f := range cmd.Findings {
		verdict = life.Strictest(verdict, f.Class)
	}
	return verdict
}

// readFindings reads the rows of findings that say something; rows are their
// numbers in the form.
func readFindings(f *form) (findings []register.NewFinding, rows []int) {
	kinds := life.FindingKinds()
	for i := 1; i <= findingRows; i++ {
		kind, class, note := f.text(rowName("kind", i)), life.Class(f.text(rowName("class", i))), f.text(rowName("note", i))
		act := f.day(rowName("act", i))
		if kind == "" {
			if class != "" || note != "" || !act.IsZero() || f.text(rowName("place", i)) != "" {
				f.wrong(rowName("kind", i), "Say what was seen; if it is none of the list, choose “something else”.")
			}
			continue
		}
		number, err := strconv.Atoi(kind)
		if err != nil || number < 0 || number > len(kinds) {
			f.wrong(rowName("kind", i), "Choose what was seen from the list.")
			continue
		}
		if number == 0 && note == "" {
			f.wrong(rowName("note", i), "Say in your own words what was seen.")
		}
		if class == "" {
			if number == 0 {
				f.wrong(rowName("class", i), "Choose a class; for your own words none is suggested.")
				continue
			}
			class = kinds[number-1].Class
		}
		if number > 0 && note == "" && milder(class, kinds[number-1].Class) {
			f.wrong(rowName("note", i), "“"+string(class)+"” is milder than the “"+string(kinds[number-1].Class)+"” suggested for this. Only a manager may judge milder: give the reason here.")
		}
		findings = append(findings, register.NewFinding{Number: number, Class: class, Place: f.text(rowName("place", i)), ActBy: act, Note: note})
		rows = append(rows, i)
	}
	return findings, rows
}

// milder reports whether class asks for less than the one suggested.
func milder(class, suggested life.Class) bool {
	return class != suggested && life.Strictest(class, suggested) == suggested
}

var findingField = regexp.MustCompile(`^findings\[(\d+)\]\.(\w+)$`)

// findingNames is the field of the form for the field of the register that err
// is at.
func findingNames(err error, rows []int) map[string]string {
	refusal := asRegisterError(err)
	if refusal == nil {
		return nil
	}
	m := findingField.FindStringSubmatch(refusal.Field)
	if m == nil {
		return nil
	}
	i, convErr := strconv.Atoi(m[1])
	name, ok := map[string]string{"number": "kind", "class": "class", "act_by": "act", "place": "place", "note": "note"}[m[2]]
	if convErr != nil || i >= len(rows) || !ok {
		return nil
	}
	return map[string]string{refusal.Field: rowName(name, rows[i])}
}
