package server

import (
	"slices"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// foundPage is the form for what hangs at a position that is not what the
// register says: the one of the register came off, nobody noted when.
type foundPage struct {
	Base
	Sheet    register.MachineSheet
	Position string
	Old      *oldHose
	Problems []problem
	Lead     []string
	Where    ask // where the old one is now
	New      newHose
	Action   string
	Once     string
	OldCode  string
	Cancel   string
	Swap     string
	Safety   []string
}

// lastSeen is the last day the one the register has was certainly there: its
// last inspection there, else its fitting.
func (p place) lastSeen() quantity.Date {
	if p.old == nil || p.old.Line == nil {
		return quantity.Date{}
	}
	seen := p.old.Line.Fitted
	for _, d := range p.sheet.Inspected[p.old.Assembly.Code] {
		if d.After(seen) && !d.After(p.sheet.Today) {
			seen = d
		}
	}
	return seen
}

// earliestFitted is the earliest day on which what was found can have been
// fitted: when the old one was last seen there, or when the found one was made
// or came off elsewhere if that is later. It is the strict choice: the hose
// counts as worn from it on.
func (p place) earliestFitted(n comes) quantity.Date {
	day := p.lastSeen()
	for _, d := range []quantity.Date{n.assembly.Made.Start(), n.assembly.Assembled.Start(), n.off} {
		if d.After(day) {
			day = d
		}
	}
	return day
}

func (s *Server) newFound(c echo.Context) error {
	p, chosen, err := s.positionAsked(c)
	if err != nil {
		return err
	}
	if !chosen || p.old == nil {
		return c.Redirect(303, address(web.Path("machines", p.sheet.Machine.Code, "swap"), "position", p.position))
	}
	return s.foundForm(c, p, s.newForm(c, "went", wentScrap, "from", ""), nil, nil)
}

func (s *Server) foundForm(c echo.Context, p place, f *form, read *hoseReading, checks []string) error {
	n, err := s.comesForm(c, p, f, read, checks, "note what was found")
	if err != nil {
		return err
	}
	n.Same = "" // it is what hangs there that counts, not what the register says
	machine := p.sheet.Machine.Code
	page := foundPage{
		Base: s.machineBase(c, "Something else hangs at "+at(machine, p.position), p.sheet), Sheet: p.sheet, Position: p.position, Old: p.oldHose(), Problems: f.Problems, New: n,
		Action: address(web.Path("machines", machine, "found"), "position", p.position), Once: f.once(), OldCode: p.oldCode(),
		Cancel: web.Path("machines", machine), Swap: address(web.Path("machines", machine, "swap"), "position", p.position), Safety: safetyLines(),
	}
	page.Lead = []string{
		"The register says that " + p.oldCode() + " hangs here. If another hose does, say which: nobody noted when it was changed.",
		"It came off between " + f.style.Date(p.lastSeen()) + ", when it was last seen here, and today. The found one counts as fitted on the earliest day that can be, so that it is never taken for younger than it is; its removal is noted with cause not known.",
	}
	page.Where = ask{Name: "went", Question: "Where is " + p.oldCode() + " now?", Value: f.text("went"), Error: f.errorAt("went"), Options: []option{
		{wentScrap, "Scrapped, or not to be found: it is never fitted again"},
		{wentStore, "In store: it may be fitted again"},
	}}
	return s.renderForm(c, f, "found", page)
}

func (s *Server) addFound(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		p, chosen, err := s.positionAsked(c)
		if err != nil || !chosen {
			return "", firstOf(err, echo.ErrNotFound)
		}
		if p.old == nil {
			return address(web.Path("machines", p.sheet.Machine.Code, "swap"), "position", p.position), nil
		}
		return s.foundNoted(c, p, f)
	})
}

// foundNoted notes what was found and says where to go then; nowhere where the
// form is shown again.
func (s *Server) foundNoted(c echo.Context, p place, f *form) (string, error) {
	if before := f.text("old"); before != p.oldCode() {
		f.values.Set("old", p.oldCode())
		f.wrong("", "Meanwhile the register says that "+p.oldCode()+" hangs here. Look whether that is right now.")
	}
	if !slices.Contains([]string{wentScrap, wentStore}, f.text("went")) {
		f.wrong("went", "Say where the old one is.")
	}
	n, err := s.newOne(c, p, f)
	if err != nil {
		return "", err
	}
	on := p.earliestFitted(n)
	var checks []string
	off := p.cameOff(on, f.text("went") == wentScrap)
	if n.code != "" || f.describes() {
		checks = append(removalChecks(*p.old, off), p.checks(n.assembly, on)...)
	}
	if n.damaged != "" {
		checks = append(checks, n.damaged)
	}
	if n.code == "" && f.toRead() {
		f.readFirst()
		return "", s.foundForm(c, p, f, n.read, checks)
	}
	if on.After(p.sheet.Today) {
		f.wrong(fromOr(f, "layline"), "It was made on "+f.style.Date(on)+", which is still to come; check its dates.")
	}
	if !f.ok() || f.toTell() || f.toCheck(checks) {
		return "", s.foundForm(c, p, f, n.read, checks)
	}
	cmds := append([]register.Command{off},
		n.commands(f, p, on, "found on "+p.sheet.Today.String(), nil)...)
	result, err := s.apply(c, cmds...)
	if err != nil {
		if err := f.refuse(err, swapNames(n)); err != nil {
			return "", wrap("note what was found", err)
		}
		return "", s.foundForm(c, p, f, n.read, checks)
	}
	return withDone(web.Path("assemblies", newCode(n, result)), foundNoted), nil
}

// cameOff is the removal of the old one, of which nobody knows more than that
// another one hangs there.
func (p place) cameOff(on quantity.Date, scrapped bool) register.Remove {
	return register.Remove{
		AssemblyCode: p.oldCode(), On: on, Cause: register.CauseUnknown, FoundBy: register.FoundByInspection, Scrapped: scrapped,
		Reason: "another hose was found there on " + p.sheet.Today.String() + "; when it came off is not known",
	}
}
