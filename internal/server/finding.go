package server

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// findingPage is one finding with what can be done about it: tick it done,
// release it, make its class stricter or milder.
type findingPage struct {
	Base
	Finding    register.Finding
	What       string
	Suggests   string // the class suggested for what was seen
	Problems   []problem
	Told       []string
	ToldKey    string
	DoneFields []field // only for class correct
	Release    []field
	Class      []field
	Once       string
	Version    string
	Action     string
	Correct    string
	Back       string
	Safety     []string
	CanTick    bool
	Open       bool
}

// The buttons of the page.
const (
	doDone    = "done"
	doRelease = "release"
	doClass   = "class"
)

func findingPath(id int64) string { return web.Path("findings", strconv.FormatInt(id, 10)) }

// findingOf is the finding in the path with its machine.
func (s *Server) findingOf(c echo.Context) (register.Finding, register.MachineSheet, error) {
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil || id <= 0 {
		return register.Finding{}, register.MachineSheet{}, echo.ErrNotFound
	}
	d, code, err := s.store(c).Finding(c.Request().Context(), id)
	if err != nil {
		return d, register.MachineSheet{}, wrap("find finding", err)
	}
	sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err == nil {
		err = s.hereToo(c, sheet.Site)
	}
	return d, sheet, wrap("find machine", err)
}

func (s *Server) finding(c echo.Context) error {
	d, sheet, err := s.findingOf(c)
	if err != nil {
		return err
	}
	today := s.style(c).Date(sheet.Today)
	return s.findingForm(c, d, sheet, s.newForm(c, "done_on", today, "release_on", today, "class", string(d.Class)))
}

func (s *Server) findingForm(c echo.Context, d register.Finding, sheet register.MachineSheet, f *form) error {
	page := findingPage{
		Base: s.machineBase(c, "Finding at "+sheet.Machine.Code, sheet), Finding: d, What: findingWords(d), Once: f.once(), Version: strconv.Itoa(d.Version),
		Action: findingPath(d.ID), Correct: correctPath(register.ThingFinding, d.ID), Back: web.Path("machines", sheet.Machine.Code), Safety: safetyLines(),
		CanTick: d.Class == life.Correct, Open: d.ClosedOn.IsZero(),
	}
	if kinds := life.FindingKinds(); d.Number > 0 && d.Number <= len(kinds) {
		page.Suggests = string(kinds[d.Number-1].Class)
	}
	page.DoneFields = []field{f.field("done_on", "Day").need().hint(f.style.HintDate()), f.field("done_note", "What was done")}
	page.Release = []field{
		f.field("release_on", "Day").need().hint(f.style.HintDate()),
		f.field("release_by", "Released by").need().hint("Name of the manager who answers for it."),
		f.field("release_reason", "Why it may stay in use").need().lines(2).wide(),
	}
	page.Class = []field{f.field("class", "Class").choose(classes()...), f.field("class_reason", "Why").need().hint("A milder class is a manager's: say who, and why.")}
	page.Problems, page.Told, page.ToldKey = f.Problems, f.Told, f.told()
	return s.renderForm(c, f, "finding", page)
}

func (s *Server) changeFinding(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		d, sheet, err := s.findingOf(c)
		if err != nil {
			return "", err
		}
		for name, value := range map[string]string{"done_on": f.style.Date(sheet.Today), "release_on": f.style.Date(sheet.Today), "class": string(d.Class)} {
			if _, has := f.values[name]; !has {
				f.values.Set(name, value)
			}
		}
		if f.do() == doRelease && !s.hasAt(c, sheet.Site.ID, register.RightManage) {
			return "", echo.ErrForbidden
		}
		cmd, word, names := f.findingCommand(d, sheet.Today)
		if cmd == nil && f.ok() {
			f.wrong("", "Choose what is to be done about the finding.")
		}
		if opened := f.text("version"); opened != "" && opened != strconv.Itoa(d.Version) {
			f.wrong("", "Somebody else changed this finding since you opened the page. Look at it as it is now, then send it again.")
		}
		if !f.ok() || f.toTell() {
			return "", s.findingForm(c, d, sheet, f)
		}
		if _, err := s.apply(c, cmd); err != nil {
			if err := f.refuse(err, names); err != nil {
				return "", wrap("change finding", err)
			}
			return "", s.findingForm(c, d, sheet, f)
		}
		return withDone(findingPath(d.ID), word), nil
	})
}

// findingCommand is what the button asks for, nil if it asks for nothing.
func (f *form) findingCommand(d register.Finding, today quantity.Date) (cmd register.Command, word string, names map[string]string) {
	switch f.do() {
	case doDone:
		f.needed("done_on", "Give the day it was done.")
		on := f.day("done_on")
		f.notAhead("done_on", quantity.Day(on), today)
		return register.CloseFinding{FindingID: d.ID, On: on, How: register.ClosedDone, Reason: f.text("done_note")}, findingDone, map[string]string{"on": "done_on", "reason": "done_note"}
	case doRelease:
		f.needed("release_on", "Give the day of the release.")
		by, why := f.needed("release_by", "Say who releases it."), f.needed("release_reason", "Say why it may stay in use.")
		on := f.day("release_on")
		f.notAhead("release_on", quantity.Day(on), today)
		return register.CloseFinding{FindingID: d.ID, On: on, How: register.ClosedByRelease, Reason: register.ReleaseReason(by, why)}, findingReleased, map[string]string{"on": "release_on", "reason": "release_reason"}
	case doClass:
		row := d
		row.Class = life.Class(f.text("class"))
		why := f.needed("class_reason", "Say why the class is changed.")
		if strings.EqualFold(f.text("class"), string(d.Class)) {
			f.wrong("class", "It has this class already; choose another.")
		}
		return register.ChangeFinding{Finding: row, Reason: why}, findingChanged, map[string]string{"reason": "class_reason"}
	}
	return nil, "", nil
}
