package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

func (s *Server) correctInspection(c echo.Context, id int64) (correction, error) {
	i, code, err := s.store(c).Inspection(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find inspection", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingInspection, id: i.ID, version: i.Version, title: "the inspection of " + st.day(i.On) + " at " + code,
		values: newForm("on", st.day(i.On), "by", i.By, "note", i.Note), takes: "Its findings go with it.",
		lead: []string{"Its verdict is that of its findings, which are corrected by themselves; its findings follow its day."},
	}
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	v.groups = func(f *form) []formGroup {
		return []formGroup{{Fields: []field{f.onDay("Day"), f.field("by", "Inspected by").hint("Name of the inspector."), f.field("note", "Note on the inspection").lines(2).wide()}}}
	}
	v.command = func(f *form) register.Command {
		row := i
		row.Version, row.By, row.Note = f.version(), f.text("by"), f.text("note")
		row.On = f.dayNeeded("on", i.On, v.today, "Give the day of the inspection.")
		return register.ChangeInspection{Inspection: row, Reason: f.text("reason")}
	}
	return v, nil
}

func (s *Server) correctFinding(c echo.Context, id int64) (correction, error) {
	d, code, err := s.store(c).Finding(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find finding", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingFinding, id: d.ID, version: d.Version, title: "a finding of " + st.day(d.SeenOn) + " at " + code, back: findingPath(d.ID), gone: web.Path("machines", code),
		values: newForm("kind", strconv.Itoa(d.Number), "class", string(d.Class), "place", d.Place, "act", st.day(d.ActBy), "note", d.Note),
		names:  map[string]string{"number": "kind", "act_by": "act"}, takes: "The inspection then did not see it.",
		lead: []string{"What the inspection saw. A stricter class is free; a milder one is a manager's, who says why."},
	}
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	v.groups = func(f *form) []formGroup {
		return []formGroup{{Fields: []field{
			f.field("kind", "What was seen").choose(findingChoice()[1:]...).wide(),
			f.field("class", "Class").choose(classes()...),
			f.field("place", "Where on the hose").choose(placeChoice(f.text("place"))...),
			f.field("act", "To be done by").hint("A day; may be left empty."),
			f.field("note", "In your own words").wide(),
		}}}
	}
	v.command = func(f *form) register.Command {
		row := d
		row.Version, row.Class, row.Place, row.Note = f.version(), life.Class(f.text("class")), f.text("place"), f.text("note")
		n, err := strconv.Atoi(f.text("kind"))
		if err != nil || n < 0 || n > len(life.FindingKinds()) {
			f.wrong("kind", "Choose what was seen from the list.")
		}
		row.Number = n
		row.ActBy = kept(f, "act", d.ActBy, func() quantity.Date { return f.day("act") })
		if n == 0 && row.Note == "" {
			f.wrong("note", "Say in your own words what was seen.")
		}
		return register.ChangeFinding{Finding: row, Reason: f.text("reason")}
	}
	return v, nil
}

// classes are the classes of a finding, to choose from.
func classes() []option { return classChoice()[1:] }

// placeChoice are the places on a hose, with the one that is noted if it is
// another.
func placeChoice(noted string) []option {
	choice := options("", "end A", "middle", "end B", "whole length")
	for _, o := range choice {
		if o.Value == noted {
			return choice
		}
	}
	return append(choice, option{noted, noted})
}

// correctAssembly is an assembly that was put in by mistake; what is known of
// it is changed on its own form.
func (s *Server) correctAssembly(c echo.Context, id int64) (correction, error) {
	code := query(c, "code")
	sheet, err := s.store(c).AssemblySheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return correction{}, wrap("find assembly", err)
	}
	if sheet.Assembly.ID != id {
		return correction{}, echo.ErrNotFound
	}
	if err := s.needAt(c, sheet.Site, correctRight(register.ThingAssembly)); err != nil {
		return correction{}, err
	}
	v := correction{
		may:   s.mayAt(c, sheet.Site.ID),
		thing: register.ThingAssembly, id: id, version: sheet.Assembly.Version, title: "assembly " + code, back: "/machines", cancel: web.Path("assemblies", code),
		site: sheet.Site.Name, today: sheet.Today, query: []string{"code", code},
		takes: "It is gone then, as if it had never been put in; where it was fitted, take that back first.",
	}
	return v, nil
}
