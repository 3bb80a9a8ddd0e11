package server

import (
	"context"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// readingStore is what the form for a reading asks of the register.
type readingStore interface {
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error)
}

// readingPage is the form for one reading of an hour meter.
type readingPage struct {
	Base
	Once     string
	Sheet    register.MachineSheet
	Last     *register.Reading
	Problems []problem
	Told     []string // what was taken for granted in reading the day
	ToldKey  string
	Fields   []field
	Changed  []field // what a replaced meter showed
	Open     bool    // the part about a replaced meter
	Action   string
}

// sheetOf is the sheet of the machine in the path.
func (s *Server) sheetOf(c echo.Context) (register.MachineSheet, error) {
	code, err := param(c, "code")
	if err != nil {
		return register.MachineSheet{}, err
	}
	sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err == nil {
		err = s.hereToo(c, sheet.Site)
	}
	return sheet, wrap("find machine", err)
}

// machineBase is the base of a page about a machine.
func (s *Server) machineBase(c echo.Context, title string, sheet register.MachineSheet) Base {
	b := s.base(c, "machines", title)
	b.Site, b.Machine, b.Today, b.May = sheet.Site.Name, sheet.Machine.Code, sheet.Today, s.mayAt(c, sheet.Site.ID)
	return b
}

func (s *Server) newReading(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.readingForm(c, sheet, s.newForm(c, "on", s.style(c).Date(sheet.Today)))
}

func (s *Server) readingForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	page := readingPage{
		Once: f.once(),
		Base: s.machineBase(c, "Note a reading of "+sheet.Machine.Code, sheet), Sheet: sheet, Problems: f.Problems, Told: f.Told, ToldKey: f.told(),
		Action: web.Path("machines", sheet.Machine.Code, "readings", "new"),
		Open:   f.text("old_end") != "" || f.text("new_start") != "" || f.errorAt("old_end") != "" || f.errorAt("new_start") != "",
	}
	if len(sheet.Readings) > 0 {
		page.Last = &sheet.Readings[0]
	}
	page.Fields = []field{
		f.field("on", "Day").need().hint(s.style(c).HintDate()),
		f.field("hours", "Hour meter shows").need().decimal().hint("In hours, as it stands on the meter."),
		f.field("note", "Note").wide(),
	}
	page.Changed = []field{
		f.field("old_end", "The old meter ended at").decimal().hint("In hours."),
		f.field("new_start", "The new meter began at").decimal().hint("In hours, often 0."),
	}
	return s.renderForm(c, f, "reading", page)
}

func (s *Server) addReading(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	f.needed("on", "Give the day of the reading.")
	changed := f.text("old_end") != "" && f.text("new_start") != ""
	if !changed { // a meter change says by itself what the meters showed
		f.needed("hours", "Give what the hour meter shows.")
	}
	r := register.AddReading{Machine: sheet.Machine.Code, On: f.day("on"), Source: "page", Note: f.text("note")}
	hours, oldEnd, newStart := f.meter("hours", latestReading(sheet.Readings)), f.meter("old_end", latestReading(sheet.Readings)), f.hours("new_start")
	if f.text("old_end") != "" {
		f.needed("new_start", "Give where the new meter began, or empty both.")
	}
	if f.text("new_start") != "" {
		f.needed("old_end", "Give where the old meter ended, or empty both.")
	}
	if !f.ok() || f.toTell() {
		return s.readingForm(c, sheet, f)
	}
	var cmds []register.Command
	if changed {
		cmds = append(cmds, register.AddMeterEvent{Machine: r.Machine, On: r.On, OldEnd: *oldEnd, NewStart: *newStart, Note: r.Note})
	}
	if hours != nil {
		r.Hours = *hours
		cmds = append(cmds, r)
	}
	if _, err := s.apply(c, cmds...); err != nil {
		if err := f.refuse(err, nil); err != nil {
			return wrap("note reading", err)
		}
		return s.readingForm(c, sheet, f)
	}
	return done(c, web.Path("machines", sheet.Machine.Code), readingNoted)
}
