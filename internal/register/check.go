package register

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// The bounds a value must keep to be taken for what it says. Beyond them it is
// a slip of the keyboard, not a hose.
const (
	maxCode        = 60       // letters of a code
	maxName        = 200      // letters of a name
	maxText        = 4000     // letters of a note or a layline
	maxHours       = 1e6      // of an hour meter: 114 years without a stop
	hoursInAWeek   = 168      // planned hours cannot be more
	maxPerHour     = 1e5      // cycles per running hour: 28 a second
	maxLengthMM    = 1e6      // 1 km
	maxBar         = 10000    // above any hose
	maxRows        = 1000     // cycles or temperatures in one row of conditions
	maxLimitMonths = 100 * 12 // of a policy
	maxEaKJ        = 300      // of a policy; package life takes no more
)

var (
	firstDay = mustParse("1950-01-01") // no hydraulic hose assembly in use is older
	lastDay  = mustParse("2150-01-01")
)

func mustParse(s string) quantity.Date {
	d, err := quantity.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// checks runs rules in order and keeps the first refusal.
type checks struct{ err error }

func (c *checks) that(ok bool, field, format string, args ...any) {
	if c.err == nil && !ok {
		c.err = invalid(field, format, args...)
	}
}

// text wants printable text of at most so many letters.
func (c *checks) text(field, s string, most int) {
	if c.err != nil {
		return
	}
	c.that(utf8.ValidString(s), field, "This text holds bytes that are no letters; type it again.")
	c.that(utf8.RuneCountInString(s) <= most, field, "This is %d letters long; at most %d fit.", utf8.RuneCountInString(s), most)
	for _, r := range s {
		if unicode.IsControl(r) && r != '\n' && r != '\t' && r != '\r' {
			c.that(false, field, "This text holds a control character; type it again.")
			return
		}
	}
}

// name wants text that is there and has no space around it. Spaces inside are
// single: two names that look the same would be two things.
func (c *checks) name(field, what, s string, most int) {
	c.that(strings.TrimSpace(s) != "", field, "Give %s.", what)
	c.that(strings.TrimSpace(s) == s, field, "Take away the space before or after %s.", what)
	c.text(field, s, most)
	c.that(!strings.ContainsAny(s, "\n\r\t"), field, "Write %s on one line.", what)
	c.that(strings.Join(strings.Fields(s), " ") == s, field, "Give %s with single, ordinary spaces between its words.", what)
	c.that(strings.IndexFunc(s, func(r rune) bool { return unicode.Is(unicode.Cf, r) }) < 0, field,
		"There are signs in %s that cannot be seen; type it anew.", what)
	c.that(strings.IndexFunc(s, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsNumber(r) }) >= 0, field,
		"Give %s with at least one letter or digit.", what)
}

// code wants a name that can also stand in an address: "new" is taken there.
func (c *checks) code(field, what, s string) {
	c.name(field, what, s, maxCode)
	c.that(!strings.EqualFold(s, "new"), field, "%q cannot be a code, because pages use it for something else; add a number.", s)
}

// optionalName wants a name, or nothing.
func (c *checks) optionalName(field, what, s string) {
	if s != "" {
		c.name(field, what, s, maxName)
	}
}

// day wants a date within a lifetime.
func (c *checks) day(field string, d quantity.Date) {
	c.that(!d.IsZero(), field, "Give a date.")
	c.optionalDay(field, d)
}

func (c *checks) optionalDay(field string, d quantity.Date) {
	c.that(d.IsZero() || !d.Before(firstDay) && !d.After(lastDay), field, "%s lies outside %d to %d; check the year.", d, firstDay.Year(), lastDay.Year())
}

func (c *checks) period(field string, p quantity.Period) {
	c.optionalDay(field, p.From)
	c.that(!p.To.Before(p.From), field, "The end of %s is before its beginning.", p)
}

// within wants a number from low to high, or none.
func (c *checks) within(field string, v *float64, low, high float64, unit string) {
	if v == nil {
		return
	}
	c.that(!math.IsNaN(*v) && *v >= low && *v <= high, field,
		"%s %s is outside %s to %s %s; check number and unit.", quantity.FormatNumber(*v, 3), unit, quantity.FormatNumber(low, 3), quantity.FormatNumber(high, 3), unit)
}

// rating wants a pressure above zero, or none.
func (c *checks) rating(field string, v *float64) {
	if v != nil {
		c.that(*v > 0, field, "A rating must be above zero; leave it empty if it is not known.")
	}
	c.within(field, v, 0, maxBar, "bar")
}

// Check says whether the site can be added. Whether the zone exists is for the
// store to say: finding out reads files.
func (a AddSite) Check() error {
	var c checks
	c.name("name", "the site's name", a.Name, maxName)
	c.that(a.Zone != "" && a.Zone != "Local", "zone", "Give the site's time zone, like Europe/Berlin or UTC.")
	c.text("zone", a.Zone, maxName)
	c.text("policy", a.Policy, maxName)
	return c.err
}

// Check says whether the kind can be added.
func (a AddKind) Check() error {
	var c checks
	c.name("name", "the name of the kind of machine", a.Name, maxName)
	return c.err
}

// Check says whether the duty can be set.
func (a SetDuty) Check() error {
	var c checks
	c.name("kind", "the kind of machine", a.Kind, maxName)
	c.optionalName("circuit", "the circuit", a.Circuit)
	c.text("note", a.Note, maxText)
	c.service(a.Service)
	return c.err
}

// Check says whether the policy can be added.
func (a AddPolicy) Check() error {
	var c checks
	p := a.Policy
	c.name("name", "the policy's name", p.Name, maxName)
	c.that(!p.Shipped, "name", "A shipped policy cannot be added.")
	for _, m := range []struct {
		field string
		v     *int
	}{
		{"months_from_assembly", p.MonthsFromAssembly},
		{"months_from_fitting", p.MonthsFromFitting},
		{"months_from_make", p.MonthsFromMake},
		{"heat_limit_months", p.HeatLimitMonths},
		{"storage_months", p.StorageMonths},
		{"hose_age_months", p.HoseAgeMonths},
		{"inspect_months", p.InspectMonths},
		{"exposed_inspect_months", p.ExposedInspectMonths},
	} {
		c.that(m.v == nil || *m.v >= 1 && *m.v <= maxLimitMonths, m.field, "A limit is 1 to %d months; leave it empty for none.", maxLimitMonths)
	}
	c.within("hours_from_fitting", p.HoursFromFitting, 1, maxHours, "h")
	c.within("cycles_from_fitting", p.CyclesFromFitting, 1, 1e12, "cycles")
	c.within("damage_limit", p.DamageLimit, 0.001, 1, "")
	c.within("assumed_factor", p.AssumedFactor, 1, 1000, "")
	c.within("heat_reference_c", p.HeatReferenceC, -50, 300, "°C")
	c.within("ea_kj", p.EaKJ, 1, maxEaKJ, "kJ/mol")
	c.that(!p.OwnCurveAlone || strings.TrimSpace(p.OwnCurveReason) != "", "own_curve_reason", "Say why the hose's own curve alone is used.")
	c.text("source", p.Source, maxText)
	c.text("lengthened", p.Lengthened, maxText)
	normal := life.NormalDemand()
	milder := milderLimit(&p.Policy, &normal)
	c.that(milder == "" || strings.TrimSpace(p.Lengthened) != "", milder,
		"This limit is milder than that of the shipped policy for normal demand; say who lengthened it and why.")
	return c.err
}

// Check says whether the machine can be added.
func (a AddMachine) Check() error {
	var c checks
	c.name("site", "the site", a.Site, maxName)
	c.optionalName("kind", "the kind of machine", a.Kind)
	c.machine(a.Code, a.Name, a.Serial, a.Note, a.PlannedHoursPerWeek)
	return c.err
}

// Check says whether the machine can be changed so.
func (a ChangeMachine) Check() error {
	var c checks
	m := a.Machine
	c.machine(m.Code, m.Name, m.Serial, m.Note, m.PlannedHoursPerWeek)
	return c.err
}

func (c *checks) machine(code, name, serial, note string, planned *float64) {
	c.code("code", "the machine's code", code)
	c.text("name", name, maxName)
	c.text("serial", serial, maxName)
	c.text("note", note, maxText)
	c.within("planned_hours_per_week", planned, 0, hoursInAWeek, "hours a week")
}

// Check says whether the position can be added.
func (a AddPosition) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.optionalName("circuit", "the circuit", a.Circuit)
	c.text("policy", a.Policy, maxName)
	c.position(a.Name, a.WalkOrder, a.Note, a.LengthMM, a.BendMM, a.StraightMM)
	return c.err
}

// Check says whether the position can be changed so.
func (a ChangePosition) Check() error {
	var c checks
	p := a.Position
	c.position(p.Name, p.WalkOrder, p.Note, p.LengthMM, p.BendMM, p.StraightMM)
	return c.err
}

func (c *checks) position(name string, order int, note string, length, bend, straight *float64) {
	c.name("name", "the position's name", name, maxName)
	c.that(order >= 0 && order <= 1e6, "walk_order", "The order is a number from 0 to 1 000 000.")
	c.text("note", note, maxText)
	c.within("length_mm", length, 1, maxLengthMM, "mm")
	c.within("bend_mm", bend, 0, 10000, "mm")
	c.within("straight_mm", straight, 0, 10000, "mm")
}

// Check says whether the assembly can be added.
func (a AddAssembly) Check() error {
	var c checks
	c.name("site", "the site", a.Site, maxName)
	if a.Assembly.Code != "" {
		c.name("code", "the assembly's code", a.Assembly.Code, maxCode)
	}
	c.assembly(a.Assembly)
	return c.err
}

// Check says whether the assembly can be changed so.
func (a ChangeAssembly) Check() error {
	var c checks
	c.name("code", "the assembly's code", a.Assembly.Code, maxCode)
	c.assembly(a.Assembly)
	return c.err
}

func (c *checks) assembly(a Assembly) {
	for _, t := range []struct {
		field, s string
		most     int
	}{
		{"layline", a.Layline, maxText},
		{"maker", a.Maker, maxName},
		{"designation", a.Designation, maxName},
		{"construction", a.Construction, maxName},
		{"tube", a.Tube, maxName},
		{"fluid", a.Fluid, maxName},
		{"end_a", a.EndA, maxName},
		{"end_b", a.EndB, maxName},
		{"end_make", a.EndMake, maxName},
		{"made_text", a.MadeText, maxName},
		{"assembled_text", a.AssembledText, maxName},
		{"note", a.Note, maxText},
	} {
		c.text(t.field, t.s, t.most)
	}
	c.rating("rated_bar", a.RatedBar)
	c.rating("end_a_bar", a.EndABar)
	c.rating("end_b_bar", a.EndBBar)
	c.that(a.RatedBar == nil || slices.Contains([]RatingSource{RatingPrinted, RatingTyped, RatingTable}, a.RatingSource),
		"rating_source", "Say where the rating comes from: printed, typed or table.")
	c.within("max_c", a.MaxC, 0, 400, "°C")
	c.within("length_mm", a.LengthMM, 1, maxLengthMM, "mm")
	c.that(a.DN >= 0 && a.DN <= 500, "dn", "DN %d is not a hose size.", a.DN)
	c.that(a.Dash >= 0 && a.Dash <= 320, "dash", "Dash %d is not a hose size.", a.Dash)
	c.period("made", a.Made)
	c.period("assembled", a.Assembled)
	c.that(a.Made.IsZero() || a.Assembled.IsZero() || !a.Assembled.To.Before(a.Made.From), "assembled",
		"The assembly was made (%s) before its hose (%s); one of the two dates is wrong.", a.Assembled, a.Made)
}

// Check says whether the assembly can be fitted so.
func (a Fit) Check() error {
	var c checks
	c.text("assembly_code", a.AssemblyCode, maxCode)
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.name("position", "the position", a.Position, maxName)
	c.day("on", a.On)
	c.within("hours", a.Hours, 0, maxHours, "h")
	c.text("on_text", a.OnText, maxName)
	c.text("reason", a.Reason, maxText)
	c.that(a.ReleasedBy == "" || strings.TrimSpace(a.Reason) != "", "reason", "A release needs a reason.")
	return c.err
}

// Check says whether the assembly can be removed so.
func (a Remove) Check() error {
	var c checks
	c.name("assembly_code", "the assembly's code", a.AssemblyCode, maxCode)
	c.day("on", a.On)
	c.within("hours", a.Hours, 0, maxHours, "h")
	c.that(slices.Contains(Causes(), a.Cause), "cause", "%q is not a cause; choose one of %s.", a.Cause, join(Causes()))
	c.that(a.FoundBy == FoundByEvent || a.FoundBy == FoundByInspection, "found_by", "Say how it was found: event or inspection.")
	c.text("reason", a.Reason, maxText)
	c.text("seen", a.Seen, maxText)
	return c.err
}

// Check says whether the reading can be added.
func (a AddReading) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.day("on", a.On)
	c.within("hours", &a.Hours, 0, maxHours, "h")
	c.text("source", a.Source, maxName)
	c.text("note", a.Note, maxText)
	return c.err
}

// Check says whether the meter event can be added.
func (a AddMeterEvent) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.day("on", a.On)
	c.within("old_end", &a.OldEnd, 0, maxHours, "h")
	c.within("new_start", &a.NewStart, 0, maxHours, "h")
	c.text("note", a.Note, maxText)
	return c.err
}

// Check says whether the lay-up can be added.
func (a AddLayUp) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.day("from", a.From)
	c.optionalDay("to", a.To)
	c.that(a.To.IsZero() || a.To.After(a.From), "to", "The lay-up ends on %s, not after its beginning on %s.", a.To, a.From)
	c.text("reason", a.Reason, maxText)
	return c.err
}

// Check says whether the conditions can be set.
func (a SetConditions) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.optionalName("circuit", "the circuit", a.Circuit)
	c.text("position", a.Position, maxName)
	c.that(a.Circuit == "" || a.Position == "", "position", "Give a circuit or a position, not both.")
	c.conditions(Conditions{From: a.From, Service: a.Service, Basis: a.Basis, Note: a.Note})
	return c.err
}

func (c *checks) service(s Service) {
	c.within("fluid_c", s.FluidC, -60, 300, "°C")
	c.within("surroundings_c", s.SurroundingsC, -60, 300, "°C")
	c.rating("adapter_bar", s.AdapterBar)
	c.within("working_bar", s.WorkingBar, 0, maxBar, "bar")
	c.optionalDay("assessed_on", s.AssessedOn)
	c.that(len(s.Cycles) <= maxRows, "cycles", "At most %d rows of cycles fit.", maxRows)
	c.that(len(s.Temperatures) <= maxRows, "temperatures", "At most %d temperatures fit.", maxRows)
	for i, y := range s.Cycles {
		c.cycle(fmt.Sprintf("cycles[%d]", i), y)
	}
	sum := 0.0
	for i, t := range s.Temperatures {
		field := fmt.Sprintf("temperatures[%d]", i)
		c.within(field+".c", &t.C, -60, 300, "°C")
		c.within(field+".share", &t.Share, 0, 1, "")
		sum += t.Share
	}
	c.that(len(s.Temperatures) == 0 || math.Abs(sum-1) <= 0.001, "temperatures", "The shares add to %s; they must add to 1.", quantity.FormatNumber(sum, 4))
}

func (c *checks) cycle(field string, y life.Cycle) {
	c.within(field+".min_bar", &y.MinBar, -1, maxBar, "bar")
	c.within(field+".max_bar", &y.MaxBar, 0, maxBar, "bar")
	c.that(y.MaxBar > y.MinBar, field+".max_bar", "The highest pressure of a cycle must be above its lowest.")
	c.within(field+".count", &y.Count, 0, maxPerHour, "cycles")
	c.within(field+".per_hour", y.PerHour, 0, maxPerHour, "an hour")
	c.text(field+".per", y.Per, maxName)
}

// Check says whether the inspection can be noted.
func (a Inspect) Check() error {
	var c checks
	c.name("machine", "the machine's code", a.Machine, maxCode)
	c.name("position", "the position", a.Position, maxName)
	c.day("on", a.On)
	c.text("by", a.By, maxName)
	c.text("note", a.Note, maxText)
	c.that(len(a.Findings) <= maxRows, "findings", "At most %d findings fit.", maxRows)
	for i, f := range a.Findings {
		field := fmt.Sprintf("findings[%d]", i)
		c.finding(field+".", a.On, f)
	}
	return c.err
}

// finding checks a finding seen on a day; prefix begins the names of its fields.
func (c *checks) finding(prefix string, seen quantity.Date, f NewFinding) {
	c.that(f.Number >= 0 && f.Number <= len(life.FindingKinds()), prefix+"number", "There is no finding number %d.", f.Number)
	c.that(slices.Contains([]life.Class{life.Stop, life.Replace, life.Correct, life.Watch}, f.Class), prefix+"class",
		"%q is not a class; choose stop, replace, correct or watch.", f.Class)
	c.optionalDay(prefix+"act_by", f.ActBy)
	c.that(f.ActBy.IsZero() || !f.ActBy.Before(seen), prefix+"act_by", "The finding is to be acted on by %s, before it was seen.", f.ActBy)
	c.text(prefix+"place", f.Place, maxName)
	c.text(prefix+"note", f.Note, maxText)
}

// Check says whether the finding can be closed so.
func (a CloseFinding) Check() error {
	var c checks
	c.that(a.FindingID > 0, "finding_id", "Name the finding.")
	c.day("on", a.On)
	c.that(a.How == ClosedByRelease || a.How == ClosedDone, "how", "A finding is released or ticked done.")
	c.that(a.How != ClosedByRelease || strings.TrimSpace(a.Reason) != "", "reason", "A release needs a reason.")
	c.text("reason", a.Reason, maxText)
	return c.err
}

func join[T ~string](words []T) string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = string(w)
	}
	return strings.Join(out, ", ")
}
