package server

import (
	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// number is the number typed at a field that needs one, old where nobody
// touched it.
func (f *form) hoursNeeded(name string, old float64, sentence string) float64 {
	return kept(f, name, old, func() float64 {
		f.needed(name, sentence)
		if v := f.hours(name); v != nil {
			return *v
		}
		return 0
	})
}

// dayNeeded is the day typed at a field that needs one, old where nobody
// touched it; it must not be still to come.
func (f *form) dayNeeded(name string, old, today quantity.Date, sentence string) quantity.Date {
	return kept(f, name, old, func() quantity.Date {
		f.needed(name, sentence)
		d := f.day(name)
		f.notAhead(name, quantity.Day(d), today)
		return d
	})
}

func (s *Server) correctReading(c echo.Context, id int64) (correction, error) {
	r, code, err := s.store(c).Reading(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find reading", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingReading, id: r.ID, version: r.Version, title: "the reading of " + st.day(r.On) + " at " + code,
		values: newForm("on", st.day(r.On), "hours", numberText(&r.Hours, 3), "disputed", yes(r.Disputed), "note", r.Note),
		takes:  "The reading of " + web.Number(r.Hours, 1) + " h is gone then.",
	}
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	if r.Source == "fitting" || r.Source == "removal" {
		v.lead = []string{"It was noted with a " + r.Source + "; the hours there are corrected from the assembly's life story."}
	}
	v.groups = func(f *form) []formGroup {
		return []formGroup{{
			Fields: []field{f.onDay("Day"), f.field("hours", "Hour meter shows").need().decimal().hint("In hours, as it stands on the meter."), f.field("note", "Note").wide()},
			Ticks:  []tick{f.tick("disputed", "Disputed: leave it out of the computation").hint("It is kept, but no date is worked out from it.")},
		}}
	}
	v.command = func(f *form) register.Command {
		row := r
		row.Version = f.version()
		row.On = f.dayNeeded("on", r.On, v.today, "Give the day of the reading.")
		row.Hours = f.hoursNeeded("hours", r.Hours, "Give what the hour meter shows.")
		row.Disputed, row.Note = f.ticked("disputed"), f.text("note")
		return register.ChangeReading{Reading: row, Reason: f.text("reason")}
	}
	return v, nil
}

func (s *Server) correctMeterEvent(c echo.Context, id int64) (correction, error) {
	e, code, err := s.store(c).MeterEvent(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find the change of meter", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingMeterEvent, id: e.ID, version: e.Version, title: "the change of meter of " + st.day(e.On) + " at " + code,
		values: newForm("on", st.day(e.On), "old_end", numberText(&e.OldEnd, 3), "new_start", numberText(&e.NewStart, 3), "note", e.Note),
		takes:  "Readings after it must then follow on from those before it.",
	}
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	v.groups = func(f *form) []formGroup {
		return []formGroup{{Fields: []field{
			f.onDay("Day"), f.field("old_end", "The old meter ended at").need().decimal().hint("In hours."),
			f.field("new_start", "The new meter began at").need().decimal().hint("In hours, often 0."), f.field("note", "Note").wide(),
		}}}
	}
	v.command = func(f *form) register.Command {
		row := e
		row.Version, row.Note = f.version(), f.text("note")
		row.On = f.dayNeeded("on", e.On, v.today, "Give the day the meter was changed.")
		row.OldEnd = f.hoursNeeded("old_end", e.OldEnd, "Give where the old meter ended.")
		row.NewStart = f.hoursNeeded("new_start", e.NewStart, "Give where the new meter began.")
		return register.ChangeMeterEvent{Event: row, Reason: f.text("reason")}
	}
	return v, nil
}

func (s *Server) correctLayUp(c echo.Context, id int64) (correction, error) {
	l, code, err := s.store(c).LayUp(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find lay-up", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingLayUp, id: l.ID, version: l.Version, title: "the lay-up from " + st.day(l.From) + " at " + code,
		values: newForm("from", st.day(l.From), "to", st.day(l.To), "lay_up_reason", l.Reason), names: map[string]string{"from_on": "from", "to_on": "to"},
		takes: "The machine then counts as used in that time.",
	}
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	if l.To.IsZero() {
		v.lead = []string{"It lasts still. To end it give the first day of work; that needs no reason."}
	}
	v.groups = func(f *form) []formGroup {
		return []formGroup{{Fields: []field{
			f.field("from", "From").need().hint("The first day out of use. " + f.style.HintDate()),
			f.field("to", "To").hint("The first day of work again; empty while it lasts."), f.field("lay_up_reason", "What for").wide(),
		}}}
	}
	v.command = func(f *form) register.Command {
		row := l
		row.Version, row.Reason = f.version(), f.text("lay_up_reason")
		row.From = kept(f, "from", l.From, func() quantity.Date { f.needed("from", "Give the first day out of use."); return f.day("from") })
		row.To = kept(f, "to", l.To, func() quantity.Date { return f.day("to") })
		ends := l.To.IsZero() && !row.To.IsZero() && f.untouched("from") && f.untouched("lay_up_reason")
		if !ends {
			f.needed("reason", "Say why: the reason stays beside the correction.")
		}
		return register.ChangeLayUp{LayUp: row, Reason: f.text("reason")}
	}
	return v, nil
}

func (s *Server) correctConditions(c echo.Context, id int64) (correction, error) {
	k, code, err := s.store(c).Conditions(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find service conditions", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingConditions, id: k.ID, version: k.Version, title: "how it is worked since " + st.day(k.From) + " at " + code,
		values: newForm(append(serviceValues(s.style(c), k.Service), "from", st.day(k.From), "basis", string(k.Basis), "note", k.Note)...), names: serviceNames(),
		takes: "What was said before, or of the whole machine or its kind, holds again.",
	}
	v.names["from_on"] = "from"
	if _, err := s.ofMachine(c, &v, code); err != nil {
		return v, err
	}
	v.lead = []string{"Correct it where it was noted wrongly. If something changed, note how it is worked from that day on instead: what was before stays as it was."}
	v.links = []formLink{{web.Path("machines", code, "conditions", "new"), "It changed: note how it is worked from a day on"}}
	v.groups = func(f *form) []formGroup {
		head := formGroup{
			Fields: []field{f.field("from", "From").need().hint("The first day it holds. " + f.style.HintDate()), f.field("note", "Where the values come from").wide()},
			Asks:   []ask{f.ask("basis", "How the values are known", option{string(register.Measured), "Measured"}, option{string(register.Assumed), "Assumed"})},
		}
		return append([]formGroup{head}, serviceGroups(f)...)
	}
	v.command = func(f *form) register.Command {
		row := k
		row.Version, row.Note, row.Basis = f.version(), f.text("note"), register.Basis(f.text("basis"))
		row.From = kept(f, "from", k.From, func() quantity.Date { f.needed("from", "Give the first day it holds."); return f.day("from") })
		row.Service = f.service(k.Service, v.names, v.today)
		return register.ChangeConditions{Conditions: row, Reason: f.text("reason")}
	}
	return v, nil
}
