package register

import (
	"slices"
	"strings"
)

// maxAtOnce bounds the rows one command changes.
const maxAtOnce = 100000

// why wants the reason of a correction.
func (c *checks) why(reason string) {
	c.that(strings.TrimSpace(reason) != "", "reason", "Say why: the reason stays beside the correction.")
	c.text("reason", reason, maxText)
}

// many wants ids of rows, each once.
func (c *checks) many(field string, ids []int64) {
	c.that(len(ids) > 0, field, "Choose at least one.")
	c.that(len(ids) <= maxAtOnce, field, "At most %d are changed at once.", maxAtOnce)
}

// Check says whether the site can be changed so. Whether the zone exists is
// for the store to say.
func (a ChangeSite) Check() error {
	var c checks
	c.name("name", "the site's name", a.Site.Name, maxName)
	c.that(a.Site.Zone != "" && a.Site.Zone != "Local", "zone", "Give the site's time zone, like Europe/Berlin or UTC.")
	c.text("zone", a.Site.Zone, maxName)
	return c.err
}

// Check says whether the kind can be changed so.
func (a ChangeKind) Check() error {
	var c checks
	c.name("name", "the name of the kind of machine", a.Kind.Name, maxName)
	return c.err
}

// Check says whether the usual position can be added.
func (a AddKindPosition) Check() error {
	var c checks
	c.name("kind", "the kind of machine", a.Kind, maxName)
	c.kindPosition(a.Position)
	return c.err
}

// Check says whether the usual position can be changed so.
func (a ChangeKindPosition) Check() error {
	var c checks
	c.kindPosition(a.Position)
	return c.err
}

func (c *checks) kindPosition(p KindPosition) {
	c.optionalName("circuit", "the circuit", p.Circuit)
	c.position(p.Name, p.WalkOrder, p.Note, p.LengthMM, nil, nil)
}

// Check says whether the usual positions can be taken from the machine.
func (a TakeUsual) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	return c.err
}

// Check says whether the positions can be copied.
func (a CopyPositions) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	if a.From != "" {
		c.name("from", "the other machine's code", a.From, maxCode)
	}
	c.that(!strings.EqualFold(a.From, a.Machine), "from", "Choose another machine to copy from.")
	return c.err
}

// Check says whether the policy can be changed so.
func (a ChangePolicy) Check() error { return AddPolicy(a).Check() }

// Check says whether the circuit can be added.
func (a AddCircuit) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.name("name", "the circuit", a.Name, maxName)
	return c.err
}

// Check says whether the circuit can be changed so.
func (a ChangeCircuit) Check() error {
	var c checks
	c.name("name", "the circuit", a.Circuit.Name, maxName)
	return c.err
}

// Check says whether the positions can be put in that order.
func (a OrderPositions) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.that(len(a.Names) > 0, "names", "Name the positions in their order.")
	seen := map[string]bool{}
	for _, n := range a.Names {
		c.that(!seen[n], "names", "Position %s stands twice in the order.", n)
		seen[n] = true
	}
	return c.err
}

// Check says whether the positions can be changed so.
func (a ChangePositions) Check() error {
	var c checks
	c.many("positions", a.Positions)
	c.that(a.CanHurt != nil || a.Exposed != nil || a.Policy != nil || a.Circuit != nil, "", "Nothing is to be changed; choose a value.")
	if a.Policy != nil {
		c.text("policy", *a.Policy, maxName)
	}
	if a.Circuit != nil {
		c.optionalName("circuit", "the circuit", *a.Circuit)
	}
	return c.err
}

// Check says whether the machines can be changed so.
func (a ChangeMachines) Check() error {
	var c checks
	c.many("machines", a.Machines)
	c.that(a.Site != nil || a.Kind != nil || a.PlannedHoursPerWeek != nil || a.CanHurt != nil, "", "Nothing is to be changed; choose a value.")
	if a.Site != nil {
		c.name("site", "the site", *a.Site, maxName)
	}
	if a.Kind != nil {
		c.optionalName("kind", "the kind of machine", *a.Kind)
	}
	c.within("planned_hours_per_week", a.PlannedHoursPerWeek, 0, hoursInAWeek, "hours a week")
	return c.err
}

// Check says whether the conditions can be set.
func (a SetConditionsAt) Check() error {
	var c checks
	c.many("positions", a.Positions)
	c.conditions(Conditions{From: a.From, Service: a.Service, Basis: a.Basis, Note: a.Note})
	return c.err
}

func (c *checks) conditions(v Conditions) {
	c.day("from", v.From)
	c.that(v.Basis == Measured || v.Basis == Assumed, "basis", "Say whether the values are measured or assumed.")
	c.text("note", v.Note, maxText)
	c.service(v.Service)
}

// Check says whether the machine can leave the fleet so.
func (a RetireMachine) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.day("on", a.On)
	c.why(a.Reason)
	return c.err
}

// Check says whether the position can be ended so.
func (a RetirePosition) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.name("position", "the position", a.Position, maxName)
	c.day("on", a.On)
	c.why(a.Reason)
	return c.err
}

// Check says whether the assembly can be scrapped so.
func (a Scrap) Check() error {
	var c checks
	c.name("assembly_code", "the assembly's code", a.AssemblyCode, maxCode)
	c.day("on", a.On)
	c.text("reason", a.Reason, maxText)
	return c.err
}

// Check says whether the placement can be corrected so.
func (a ChangePlacement) Check() error {
	var c checks
	p := a.Placement
	c.day("from_on", p.From)
	c.optionalDay("to_on", p.To)
	c.that(p.To.IsZero() || !p.To.Before(p.From), "to_on", "It came off on %s, before it was fitted on %s.", p.To, p.From)
	c.within("from_hours", p.FromHours, 0, maxHours, "h")
	c.within("to_hours", p.ToHours, 0, maxHours, "h")
	c.that(p.ToHours == nil || !p.To.IsZero(), "to_hours", "It still sits there, so there are no hours at its removal.")
	c.text("from_text", p.FromText, maxName)
	c.that((a.Removal == nil) == p.To.IsZero(), "cause", "Say why it came off, if it did, and only then.")
	if r := a.Removal; r != nil {
		c.that(slices.Contains(Causes(), r.Cause), "cause", "%q is not a cause; choose one of %s.", r.Cause, join(Causes()))
		c.that(r.FoundBy == FoundByEvent || r.FoundBy == FoundByInspection, "found_by", "Say how it was found: event or inspection.")
		c.text("removal_reason", r.Reason, maxText)
		c.text("seen", r.Seen, maxText)
	}
	c.that(!a.Scrapped || a.Removal != nil, "scrapped", "What still sits there is not scrapped.")
	c.why(a.Reason)
	return c.err
}

// Check says whether the reading can be corrected so.
func (a ChangeReading) Check() error {
	var c checks
	c.day("on", a.Reading.On)
	c.within("hours", &a.Reading.Hours, 0, maxHours, "h")
	c.text("note", a.Reading.Note, maxText)
	c.why(a.Reason)
	return c.err
}

// Check says whether the meter event can be corrected so.
func (a ChangeMeterEvent) Check() error {
	var c checks
	c.day("on", a.Event.On)
	c.within("old_end", &a.Event.OldEnd, 0, maxHours, "h")
	c.within("new_start", &a.Event.NewStart, 0, maxHours, "h")
	c.text("note", a.Event.Note, maxText)
	c.why(a.Reason)
	return c.err
}

// Check says whether the lay-up can be corrected so.
func (a ChangeLayUp) Check() error {
	var c checks
	l := a.LayUp
	c.day("from", l.From)
	c.optionalDay("to", l.To)
	c.that(l.To.IsZero() || l.To.After(l.From), "to", "The lay-up ends on %s, not after its beginning on %s.", l.To, l.From)
	c.text("lay_up_reason", l.Reason, maxText)
	c.text("reason", a.Reason, maxText)
	return c.err
}

// Check says whether the conditions can be corrected so.
func (a ChangeConditions) Check() error {
	var c checks
	c.conditions(a.Conditions)
	c.why(a.Reason)
	return c.err
}

// Check says whether the inspection can be corrected so.
func (a ChangeInspection) Check() error {
	var c checks
	c.day("on", a.Inspection.On)
	c.text("by", a.Inspection.By, maxName)
	c.text("note", a.Inspection.Note, maxText)
	c.why(a.Reason)
	return c.err
}

// Check says whether the finding can be corrected so.
func (a ChangeFinding) Check() error {
	var c checks
	f := a.Finding
	c.finding("", f.SeenOn, NewFinding{f.Number, f.Class, f.Place, f.ActBy, f.Note})
	c.why(a.Reason)
	return c.err
}

// things are what can be taken back.
func things() []Thing {
	return []Thing{
		ThingMachine, ThingPosition, ThingCircuit, ThingKindPosition, ThingDuty, ThingAssembly, ThingPlacement, ThingRemoval,
		ThingReading, ThingMeterEvent, ThingLayUp, ThingConditions, ThingInspection, ThingFinding,
	}
}

// Check says whether the thing can be taken back so.
func (a TakeBack) Check() error {
	var c checks
	c.that(slices.Contains(things(), a.What), "what", "%q is nothing that can be taken back.", a.What)
	c.that(a.ID > 0, "id", "Say which one.")
	c.why(a.Reason)
	return c.err
}

// Check says whether values can be printed so.
func (a SetUnits) Check() error {
	var c checks
	for _, u := range []struct {
		field, value string
		of           []string
	}{
		{"pressure_unit", a.Units.PressureUnit, []string{"", "bar", "psi", "MPa"}},
		{"temperature_unit", a.Units.TemperatureUnit, []string{"", "degC", "degF"}},
		{"length_unit", a.Units.LengthUnit, []string{"", "mm", "inch"}},
		{"date_style", a.Units.DateStyle, []string{"", "iso", "dmy", "dmy/", "mdy"}},
	} {
		c.that(slices.Contains(u.of, u.value), u.field, "%q is not one of the choices.", u.value)
	}
	return c.err
}

// Check says whether the list can be kept. Its address is one of this server.
func (a SaveList) Check() error {
	var c checks
	c.name("name", "a name for the list", a.Name, maxCode)
	c.text("address", a.Address, maxText)
	c.that(strings.HasPrefix(a.Address, "/") && !strings.HasPrefix(a.Address, "//") && !strings.ContainsAny(a.Address, "\\\n\r\t "),
		"address", "This is no list of this register.")
	return c.err
}

// Check says whether the list can be forgotten.
func (a ForgetList) Check() error {
	var c checks
	c.that(a.ID > 0, "id", "Say which list.")
	return c.err
}
