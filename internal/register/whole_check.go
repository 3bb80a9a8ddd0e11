package register

import (
	"slices"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Each Check is that of the command that would have made the row, and what
// only a row that was changed since can say.

// Check says whether it can be a policy of a fleet's own.
func (r *WholePolicy) Check() error { return AddPolicy{Policy: r.Policy()}.Check() }

// Policy is the policy the row says.
func (r *WholePolicy) Policy() Policy {
	return Policy{
		Policy: life.Policy{
			Name: r.Name, MonthsFromAssembly: r.MonthsFromAssembly, MonthsFromFitting: r.MonthsFromFitting, MonthsFromMake: r.MonthsFromMake,
			HoursFromFitting: r.HoursFromFitting, CyclesFromFitting: r.CyclesFromFitting, HeatLimitMonths: r.HeatLimitMonths,
			StorageMonths: r.StorageMonths, HoseAgeMonths: r.HoseAgeMonths, InspectMonths: r.InspectMonths, DamageLimit: r.DamageLimit,
			AssumedFactor: r.AssumedFactor, HeatReferenceC: r.HeatReferenceC, EaKJ: r.EaKJ, CombineSum: r.CombineSum, PeakOnly: r.PeakOnly,
			OwnCurveAlone: r.OwnCurveAlone, OwnCurveReason: r.OwnCurveReason,
		},
		ExposedInspectMonths: r.ExposedInspectMonths, Source: r.Source, Lengthened: r.Lengthened, Version: 1,
	}
}

// Check says whether it can be a site. Whether the zone exists is for the
// store to say.
func (r *WholeSite) Check() error {
	var c checks
	c.err = AddSite{Name: r.Name, Zone: r.Zone, Policy: r.Policy}.Check()
	c.that(r.Policy != "", "policy", "Name the site's policy.")
	return c.err
}

// Check says whether it can be a kind.
func (r *WholeKind) Check() error { return AddKind{Name: r.Name}.Check() }

// Check says whether it can be a usual position.
func (r *WholeKindPosition) Check() error {
	return AddKindPosition{Kind: r.Kind, Position: KindPosition{
		Circuit: r.Circuit, Name: r.Name, WalkOrder: r.WalkOrder, LengthMM: r.LengthMM, Note: r.Note,
	}}.Check()
}

// Check says whether it can be a duty.
func (r *WholeDuty) Check() error {
	return SetDuty{Kind: r.Kind, Circuit: r.Circuit, Service: Service(r.WholeService), Note: r.Note}.Check()
}

// Check says whether it can be a machine.
func (r *WholeMachine) Check() error {
	var c checks
	c.err = AddMachine{
		Site: r.Site, Kind: r.Kind, Code: r.Code, Name: r.Name, Serial: r.Serial, PlannedHoursPerWeek: r.PlannedHoursPerWeek, Note: r.Note,
	}.Check()
	c.gone("gone_on", r.GoneOn, "gone_reason", r.GoneReason)
	return c.err
}

// gone checks the end of something and why it came, which may be unsaid.
func (c *checks) gone(field string, on quantity.Date, reasonField, reason string) {
	c.optionalDay(field, on)
	c.text(reasonField, reason, maxText)
	c.that(reason == "" || !on.IsZero(), field, "There is a reason for its end, but no day.")
}

// Check says whether it can be a circuit.
func (r *WholeCircuit) Check() error { return AddCircuit{Machine: r.Machine, Name: r.Name}.Check() }

// Check says whether it can be a position.
func (r *WholePosition) Check() error {
	var c checks
	c.err = AddPosition{
		Machine: r.Machine, Circuit: r.Circuit, Name: r.Name, WalkOrder: r.WalkOrder, Policy: r.Policy,
		LengthMM: r.LengthMM, BendMM: r.BendMM, StraightMM: r.StraightMM, Note: r.Note,
	}.Check()
	c.gone("gone_on", r.GoneOn, "gone_reason", r.GoneReason)
	return c.err
}

// Check says whether it can be an assembly.
func (r *WholeAssembly) Check() error {
	var c checks
	c.name("code", "the assembly's code", r.Code, maxCode)
	c.that(slices.Contains([]RatingSource{"", RatingPrinted, RatingTyped, RatingTable}, r.RatingSource),
		"rating_source", "%q is not a source of a rating; choose printed, typed or table.", r.RatingSource)
	if c.err == nil {
		c.err = AddAssembly{Site: r.Site, Assembly: r.Assembly()}.Check()
	}
	c.gone("scrapped_on", r.ScrappedOn, "scrapped_reason", r.ScrappedReason)
	return c.err
}

// Assembly is the assembly the row says, without its site.
func (r *WholeAssembly) Assembly() Assembly {
	return Assembly{
		Code: r.Code, Layline: r.Layline, Maker: r.Maker, Designation: r.Designation, Construction: r.Construction, Tube: r.Tube,
		DN: r.DN, Dash: r.Dash, RatedBar: r.RatedBar, RatingSource: r.RatingSource, MaxC: r.MaxC, Fluid: r.Fluid, LengthMM: r.LengthMM,
		EndA: r.EndA, EndABar: r.EndABar, EndB: r.EndB, EndBBar: r.EndBBar, EndMake: r.EndMake,
		Made: r.Made, MadeText: r.MadeText, MadeAmbiguous: r.MadeAmbiguous, Assembled: r.Assembled, AssembledText: r.AssembledText,
		Unconfirmed: r.Unconfirmed, Note: r.Note, ScrappedOn: r.ScrappedOn, ScrappedReason: r.ScrappedReason, Version: 1,
	}
}

// Check says whether it can be a former code.
func (r *WholeFormerCode) Check() error {
	var c checks
	c.name("code", "the code", r.Code, maxCode)
	c.name("assembly", "the assembly's code", r.Assembly, maxCode)
	return c.err
}

// Check says whether it can be a placement.
func (r *WholePlacement) Check() error {
	var c checks
	c.name("assembly", "the assembly's code", r.Assembly, maxCode)
	c.name("machine", "the machine's code", r.Machine, maxCode)
	c.name("position", "the position", r.Position, maxName)
	c.that(!r.Removed() || r.Cause != "", "cause", "It came off on %s; say why.", r.To)
	c.that(r.Cause != "" || r.FoundBy == "" && r.Reason == "" && r.Seen == "", "cause", "Something is said of its removal, but not why it came off.")
	if c.err == nil {
		c.err = ChangePlacement{Placement: r.Placement(), Removal: r.Removal(), Reason: "-"}.Check()
	}
	return c.err
}

// Removed reports whether it came off.
func (r *WholePlacement) Removed() bool { return !r.To.IsZero() }

// Placement is the placement the row says, without what it refers to.
func (r *WholePlacement) Placement() Placement {
	return Placement{From: r.From, FromHours: r.FromHours, FromText: r.FromText, To: r.To, ToHours: r.ToHours, Version: 1}
}

// Removal is the removal the row says, nil if it says none.
func (r *WholePlacement) Removal() *Removal {
	if r.Cause == "" {
		return nil
	}
	return &Removal{Cause: r.Cause, FoundBy: r.FoundBy, Reason: r.Reason, Seen: r.Seen, Version: 1}
}

// Check says whether it can be a reading.
func (r *WholeReading) Check() error {
	return AddReading{Machine: r.Machine, On: r.On, Hours: r.Hours, Source: r.Source, Note: r.Note}.Check()
}

// Check says whether it can be a meter event.
func (r *WholeMeterEvent) Check() error {
	return AddMeterEvent{Machine: r.Machine, On: r.On, OldEnd: r.OldEnd, NewStart: r.NewStart, Note: r.Note}.Check()
}

// Check says whether it can be a lay-up.
func (r *WholeLayUp) Check() error {
	return AddLayUp{Machine: r.Machine, From: r.From, To: r.To, Reason: r.Reason}.Check()
}

// Check says whether it can be a row of service conditions.
func (r *WholeConditions) Check() error {
	return SetConditions{
		Machine: r.Machine, Circuit: r.Circuit, Position: r.Position, From: r.From,
		Service: Service(r.WholeService), Basis: r.Basis, Note: r.Note,
	}.Check()
}

// Check says whether it can be an inspection.
func (r *WholeInspection) Check() error {
	var c checks
	c.name("assembly", "the assembly's code", r.Assembly, maxCode)
	if c.err == nil {
		c.err = Inspect{Machine: r.Machine, Position: r.Position, On: r.On, By: r.By, Note: r.Note}.Check()
	}
	c.that(r.Look >= 1, "look", "The looks at one assembly on one day are numbered from 1.")
	c.that(slices.Contains([]life.Class{life.Stop, life.Replace, life.Correct, life.Watch, life.Sound}, r.Verdict), "verdict",
		"%q is not a class; choose stop, replace, correct, watch or sound.", r.Verdict)
	return c.err
}

// Check says whether it can be a finding.
func (r *WholeFinding) Check() error {
	var c checks
	c.name("assembly", "the assembly's code", r.Assembly, maxCode)
	c.day("on", r.On)
	c.that(r.Look >= 1, "look", "The looks at one assembly on one day are numbered from 1.")
	c.finding("", r.On, NewFinding{Number: r.Number, Class: r.Class, Place: r.Place, ActBy: r.ActBy, Note: r.Note})
	c.optionalDay("closed_on", r.ClosedOn)
	c.that(slices.Contains([]ClosedHow{"", ClosedByRemoval, ClosedByRelease, ClosedDone}, r.ClosedHow), "closed_how",
		"%q is not a way to close a finding; choose removed, released or done.", r.ClosedHow)
	c.that((r.ClosedHow == "") == r.ClosedOn.IsZero(), "closed_on", "A finding that is closed has a day and says how; one that is open has neither.")
	c.that(r.ClosedOn.IsZero() || !r.ClosedOn.Before(r.On), "closed_on", "The finding was closed on %s, before it was seen on %s.", r.ClosedOn, r.On)
	c.that(r.ClosedHow != ClosedByRelease || strings.TrimSpace(r.ClosedReason) != "", "closed_reason", "A release needs a reason.")
	c.that(r.ClosedHow != ClosedDone || r.Class == life.Correct, "closed_how", "Only a finding of class correct is ticked done.")
	c.text("closed_reason", r.ClosedReason, maxText)
	return c.err
}
