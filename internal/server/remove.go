package server

import (
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// removePage is the form for an assembly that came off and left its position
// empty.
type removePage struct {
	Base
	Sheet    register.MachineSheet
	Position string
	Choose   []choiceLink // positions to choose from; the form is not shown then
	Old      *oldHose
	Problems []problem
	Checks   []string
	Key      string
	Told     []string
	ToldKey  string
	When     []field
	Asks     []ask
	Seen     field
	Action   string
	Once     string
	Cancel   string
	Swap     string
	Cautions []string
	Safety   []string
}

func (s *Server) newRemoval(c echo.Context) error {
	p, chosen, err := s.positionAsked(c)
	if err != nil {
		return err
	}
	if !chosen {
		page := removePage{Base: s.machineBase(c, "Remove a hose from "+p.sheet.Machine.Code, p.sheet), Sheet: p.sheet, Choose: choosePosition(p.sheet, "remove", false), Cancel: web.Path("machines", p.sheet.Machine.Code)}
		return s.show(c, "remove", page)
	}
	f := s.newForm(c, "on", p.style.Date(p.sheet.Today))
	return s.removeForm(c, p, f, nil)
}

func (s *Server) removeForm(c echo.Context, p place, f *form, checks []string) error {
	machine := p.sheet.Machine.Code
	page := removePage{
		Base: s.machineBase(c, "Remove the hose at "+at(machine, p.position), p.sheet), Sheet: p.sheet, Position: p.position, Old: p.oldHose(),
		Checks: checks, Key: digest(checks), Once: f.once(), Cancel: web.Path("machines", machine), Swap: address(web.Path("machines", machine, "swap"), "position", p.position),
		Cautions: cautions(), Safety: safetyLines(),
	}
	if p.old != nil {
		page.Action = address(web.Path("machines", machine, "remove"), "position", p.position)
		page.When = []field{f.onDay("Day it came off"), f.meterField("hours", "Hour meter then", p.sheet.Readings)}
		page.Asks, page.Seen = []ask{f.causeAsk(), f.foundByAsk(), f.wentAsk()}, f.seenField()
	}
	page.Problems, page.Told, page.ToldKey = f.Problems, f.Told, f.told()
	return s.renderForm(c, f, "remove", page)
}

func (s *Server) addRemoval(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		p, chosen, err := s.positionAsked(c)
		if err != nil || !chosen {
			return "", firstOf(err, echo.ErrNotFound)
		}
		if p.old == nil {
			f.wrong("", "Nothing sits at this position; it came off already.")
			return "", s.removeForm(c, p, f, nil)
		}
		f.needed("on", "Give the day it came off.")
		r := f.removal(p.oldCode(), latestReading(p.sheet.Readings))
		f.notAhead("on", quantity.Day(r.On), p.sheet.Today)
		if code := f.text("old"); code != "" && !strings.EqualFold(code, p.oldCode()) {
			f.values.Set("old", p.oldCode())
			f.wrong("", p.oldCode()+" was fitted here meanwhile in place of "+code+". If you go on, "+p.oldCode()+" comes off.")
		}
		checks := removalChecks(*p.old, r)
		if !f.ok() || f.toTell() || f.toCheck(checks) {
			return "", s.removeForm(c, p, f, checks)
		}
		if _, err := s.apply(c, r); err != nil {
			if err := f.refuse(err, nil); err != nil {
				return "", wrap("remove", err)
			}
			return "", s.removeForm(c, p, f, checks)
		}
		word := removed
		if !r.Scrapped {
			word = removedToStore
		}
		return withDone(web.Path("machines", p.sheet.Machine.Code), word), nil
	})
}

func (s *Server) newScrap(c echo.Context) error {
	sheet, err := s.assemblySheetOf(c)
	if err != nil {
		return err
	}
	return s.scrapForm(c, sheet, s.newForm(c, "on", s.style(c).Date(sheet.Today)))
}

func (s *Server) scrapForm(c echo.Context, sheet register.AssemblySheet, f *form) error {
	code := sheet.Assembly.Code
	page := formPage{
		Base: s.assemblyBase(c, "Scrap "+code, sheet), Action: web.Path("assemblies", code, "scrap"), Button: "Scrap it", Cancel: web.Path("assemblies", code),
		Lead: []string{hoseWords(sheet.Assembly, f.style) + ", in store at " + sheet.Site.Name + ". A scrapped assembly is never fitted again, and its code never given to another one. Cut it through, so that nobody takes it for a good one."},
	}
	if sheet.Line != nil {
		page.Lead = []string{"It sits at " + at(sheet.Line.MachineCode, sheet.Line.Position) + ". Note its removal there, and that it is scrapped."}
		page.Links = []formLink{{address(web.Path("machines", sheet.Line.MachineCode, "remove"), "position", sheet.Line.Position), "Remove it"}}
	}
	page.Groups = []formGroup{{Fields: []field{f.onDay("Day"), f.field("reason", "Why").hint("Such as: stored too long.")}}}
	return s.showForm(c, f, page)
}

func (s *Server) addScrap(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.assemblySheetOf(c)
		if err != nil {
			return "", err
		}
		f.needed("on", "Give the day it was scrapped.")
		cmd := register.Scrap{AssemblyCode: sheet.Assembly.Code, On: f.day("on"), Reason: f.text("reason")}
		if sheet.Status == life.StatusRemoved {
			f.wrong("", "It was scrapped already.")
		}
		if _, saved, err := s.save(c, f, atOnce, nil, cmd); err != nil || !saved {
			return "", firstOf(err, unless(saved, func() error { return s.scrapForm(c, sheet, f) }))
		}
		return withDone(web.Path("assemblies", sheet.Assembly.Code), scrapped), nil
	})
}

// unless runs show where nothing was saved.
func unless(saved bool, show func() error) error {
	if saved {
		return nil
	}
	return show()
}
