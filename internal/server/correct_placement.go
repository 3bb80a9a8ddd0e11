package server

import (
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// The answers to whether an assembly still sits where it was fitted.
const (
	cameOff    = "off"
	stillThere = "there"
)

func (s *Server) correctPlacement(c echo.Context, id int64) (correction, error) {
	p, err := s.store(c).PlacementSheet(c.Request().Context(), id)
	if err != nil {
		return correction{}, wrap("find where it sat", err)
	}
	st := shownAs{s.style(c)}
	v := correction{
		thing: register.ThingPlacement, id: p.Placement.ID, version: p.Placement.Version, back: web.Path("assemblies", p.AssemblyCode),
		title: p.AssemblyCode + " at " + at(p.MachineCode, p.PositionName), values: placementValues(p, st),
		names: map[string]string{
			"from_on": "fitted", "from_hours": "fitted_hours", "to_on": "off_on", "to_hours": "off_hours", "position_id": "position", "on": "fitted", "hours": "fitted_hours",
		},
		takes: "It never sat there then: the fitting is gone, and with it its removal.",
	}
	if _, err := s.ofMachine(c, &v, p.MachineCode); err != nil {
		return v, err
	}
	v.lead = []string{"Where and when it sat, and why it came off. What wore it is worked out anew from what you correct."}
	if p.Removal != nil {
		v.links = []formLink{{address(correctPath(register.ThingRemoval, p.Placement.ID), "do", doTakeBack), "It never came off: take its removal back"}}
	}
	v.groups = func(f *form) []formGroup { return placementGroups(f, p) }
	v.command = func(f *form) register.Command { return s.placementCommand(c, f, v, p) }
	return v, nil
}

func placementValues(p register.PlacementSheet, st shownAs) *form {
	fitted := p.Placement.FromText
	if fitted == "" {
		fitted = st.day(p.Placement.From)
	}
	f := newForm("machine", p.MachineCode, "position", p.PositionName, "fitted", fitted, "fitted_hours", numberText(p.Placement.FromHours, 3),
		"sits", stillThere, "off_on", "", "off_hours", "", "cause", "", "found_by", "", "removal_reason", "", "seen", "", "scrapped", "")
	if r := p.Removal; r != nil {
		for name, value := range map[string]string{
			"sits": cameOff, "off_on": st.day(p.Placement.To), "off_hours": numberText(p.Placement.ToHours, 3), "cause": string(r.Cause),
			"found_by": string(r.FoundBy), "removal_reason": r.Reason, "seen": r.Seen, "scrapped": yes(p.Scrapped),
		} {
			f.values.Set(name, value)
		}
	}
	return f
}

func placementGroups(f *form, p register.PlacementSheet) []formGroup {
	when := f.field("fitted", "Fitted on").need().hint(f.style.HintMonth())
	if p.Placement.FromText != "" {
		when = when.hint("As written then; it counts from " + f.style.Date(p.Placement.From) + ". " + f.style.HintDate())
	}
	f.name("sits", "Does it still sit there?")
	return []formGroup{
		{Title: "Fitting", Fields: []field{
			when, f.field("fitted_hours", "Hour meter at fitting").decimal().hint("In hours."),
			f.field("machine", "Machine").need(), f.field("position", "Position").need().hint("Where it really sat, by its name on the machine's page."),
		}},
		{Title: "Removal", Asks: []ask{{Name: "sits", Question: "Does it still sit there?", Value: f.text("sits"), Error: f.errorAt("sits"), Options: []option{
			{stillThere, "It still sits there; it never came off"}, {cameOff, "It came off, as below"},
		}}}},
		removalGroup(f),
	}
}

// removalGroup is how it came off, folded away while it still sits there.
func removalGroup(f *form) formGroup {
	g := formGroup{
		Summary: "When it came off, and why", Open: f.text("sits") == cameOff || f.errorAt("cause") != "" || f.errorAt("found_by") != "",
		Fields: []field{
			f.field("off_on", "Day it came off").hint(f.style.HintDate()), f.field("off_hours", "Hour meter then").decimal().hint("In hours."),
			f.field("seen", "What was seen on it").lines(2).wide(), f.field("removal_reason", "Note on the removal").wide(),
		},
		Asks:  []ask{f.causeAsk(), f.foundByAsk()},
		Ticks: []tick{f.tick("scrapped", "It was scrapped then").hint("Not ticked: it went back in store.")},
	}
	f.name("cause", "Why did it come off?")
	f.name("found_by", "How was that found?")
	return g
}

// placementCommand is the correction of where an assembly sat.
func (s *Server) placementCommand(c echo.Context, f *form, v correction, p register.PlacementSheet) register.Command {
	row := p.Placement
	row.Version = f.version()
	if !f.untouched("fitted") {
		f.needed("fitted", "Give the day it was fitted.")
		when := f.past("fitted", v.today)
		row.From, row.FromText = when.Start(), f.fittedText("fitted", when)
	}
	row.FromHours = kept(f, "fitted_hours", row.FromHours, func() *float64 { return f.hours("fitted_hours") })
	if !f.untouched("machine") || !f.untouched("position") {
		row.PositionID = s.positionNamed(c, f)
	}
	cmd := register.ChangePlacement{Placement: row, Reason: f.text("reason")}
	switch f.text("sits") {
	case stillThere:
		if p.Removal == nil && f.text("off_on") != "" {
			f.wrong("sits", "You gave a day it came off: choose that it came off, or empty the day.")
		}
		cmd.Placement.To, cmd.Placement.ToHours = quantity.Date{}, nil
	case cameOff:
		f.cameOff(&cmd, v.today, p.Removal)
	default:
		f.wrong("sits", "Say whether it still sits there.")
	}
	return cmd
}

// cameOff reads the removal of a placement that is corrected.
func (f *form) cameOff(cmd *register.ChangePlacement, today quantity.Date, old *register.Removal) {
	r := register.Removal{}
	if old != nil {
		r = *old
	}
	cmd.Placement.To = f.dayNeeded("off_on", cmd.Placement.To, today, "Give the day it came off.")
	if cmd.Placement.To.IsZero() {
		f.wrong("off_on", "Give the day it came off.")
	}
	cmd.Placement.ToHours = kept(f, "off_hours", cmd.Placement.ToHours, func() *float64 { return f.hours("off_hours") })
	r.Cause, r.FoundBy = register.Cause(f.needed("cause", "Say why it came off.")), register.FoundBy(f.text("found_by"))
	if r.FoundBy == "" && r.Cause == register.CausePlanned {
		r.FoundBy = register.FoundByInspection
	}
	f.known(r.Cause, r.FoundBy)
	r.Reason, r.Seen = f.text("removal_reason"), f.text("seen")
	cmd.Removal, cmd.Scrapped = &r, f.ticked("scrapped")
}

// positionNamed is the number of the position a form names.
func (s *Server) positionNamed(c echo.Context, f *form) int64 {
	machine, position := f.needed("machine", "Give the machine's code."), f.needed("position", "Give the position.")
	if machine == "" || position == "" {
		return 0
	}
	sheet, err := s.store(c).PositionSheet(c.Request().Context(), s.deps.Now(), machine, position)
	if refusal := asRegisterError(err); refusal != nil {
		field := "position"
		if strings.Contains(refusal.Field, "machine") {
			field = "machine"
		}
		f.wrong(field, refusal.Sentence)
		return 0
	}
	if err != nil {
		s.deps.Log.Error("find position", "id", requestID(c), "error", err)
		f.wrong("position", "The position could not be looked up; send the form again.")
	}
	return sheet.Position.ID
}

// correctRemoval is the removal of a placement, named by the placement's
// number; it can only be taken back here, the rest is corrected with the
// placement.
func (s *Server) correctRemoval(c echo.Context, placementID int64) (correction, error) {
	p, err := s.store(c).PlacementSheet(c.Request().Context(), placementID)
	if err != nil {
		return correction{}, wrap("find where it sat", err)
	}
	if p.Removal == nil {
		return correction{}, &register.Error{Code: register.NotFound, Sentence: "It did not come off there; there is no removal to take back."}
	}
	v := correction{
		thing: register.ThingRemoval, id: p.Removal.ID, version: p.Removal.Version, back: web.Path("assemblies", p.AssemblyCode),
		title: "the removal of " + p.AssemblyCode + " from " + at(p.MachineCode, p.PositionName),
		takes: "It then sits there still, and the findings its removal closed are open again.",
		asked: placementID,
	}
	_, err = s.ofMachine(c, &v, p.MachineCode)
	return v, err
}
