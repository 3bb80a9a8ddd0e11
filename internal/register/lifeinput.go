package register

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// LifeInput makes the input of package life for one assembly from what the
// register knows: where it sat and on which machine's hours, which conditions
// were in force there day by day, the rating of its parts, the limits it is
// held to, and the findings on it. It is an *Error with a sentence where the
// facts contradict each other, such as a falling hour meter.
func (f *Facts) LifeInput(a *AssemblyFacts, asOf quantity.Date) (life.Assembly, error) {
	in := f.withoutUse(a, asOf)
	for i, p := range inOrder(a.Placements) {
		pos := f.Positions[p.PositionID]
		if pos == nil || f.Machines[pos.MachineID] == nil {
			return life.Assembly{}, fmt.Errorf("facts of assembly %s: position %d was not loaded", in.ID, p.PositionID)
		}
		hours, err := f.Machines[pos.MachineID].hoursOf(asOf)
		if err != nil {
			return life.Assembly{}, err
		}
		in.Stints[i].Hours = hours
	}
	in.Conditions = f.conditionsOf(a)
	return in, nil
}

// CertainOf estimates what stays certain of an assembly whose facts contradict
// each other: first without the hours of machines whose meters contradict
// themselves, then without the service conditions, then without both. Clocks
// that need what is left out are missing data, so the estimate is never
// complete. It is false where not even age and findings agree.
func (f *Facts) CertainOf(a *AssemblyFacts, asOf quantity.Date) (life.Assembly, life.Estimate, bool) {
	bare := f.withoutUse(a, asOf)
	timed := bare
	timed.Stints = slices.Clone(bare.Stints)
	for i, p := range inOrder(a.Placements) {
		if pos := f.Positions[p.PositionID]; pos != nil && f.Machines[pos.MachineID] != nil {
			timed.Stints[i].Hours, _ = f.Machines[pos.MachineID].hoursOf(asOf) // nil where they contradict
		}
	}
	worked := timed
	worked.Conditions = f.conditionsOf(a)
	unclocked := bare
	unclocked.Conditions = worked.Conditions
	for _, in := range [...]life.Assembly{worked, timed, unclocked, bare} {
		if e, err := life.Of(&in, asOf); err == nil {
			e.Complete = false
			return in, e, true
		}
	}
	return life.Assembly{}, life.Estimate{}, false
}

// withoutUse is the input of life without running hours and service
// conditions.
func (f *Facts) withoutUse(a *AssemblyFacts, asOf quantity.Date) life.Assembly {
	in := life.Assembly{
		ID:            a.Assembly.Code,
		Hose:          hoseOf(&a.Assembly),
		EndABar:       a.Assembly.EndABar,
		EndBBar:       a.Assembly.EndBBar,
		Assembled:     a.Assembly.Assembled.Start(),
		Fluid:         a.Assembly.Fluid,
		DateAmbiguous: a.Assembly.MadeAmbiguous,
		MixedMakers:   mixedMakers(&a.Assembly),
		Policy:        life.NormalDemand(),
	}
	in.TableBar = tableDiffers(&a.Assembly)
	for _, p := range inOrder(a.Placements) {
		f.addPlacement(&in, &p)
	}
	for _, n := range a.Findings {
		in.Findings = append(in.Findings, life.Finding{On: n.SeenOn, Class: n.Class, By: n.ActBy, Closed: n.ClosedOn})
	}
	slices.SortFunc(in.Findings, func(x, y life.Finding) int { // in whatever order they were entered
		return cmp.Or(x.On.Compare(y.On), cmp.Compare(x.Class, y.Class), x.By.Compare(y.By), x.Closed.Compare(y.Closed))
	})
	for _, n := range a.Inspections {
		if !n.On.After(asOf) && n.On.After(in.LastInspection) {
			in.LastInspection = n.On
		}
	}
	return in
}

// mixedMakers reports whether the ends are known to be another maker's than
// the hose.
func mixedMakers(a *Assembly) bool {
	hose, ends := strings.TrimSpace(a.Maker), strings.TrimSpace(a.EndMake)
	return hose != "" && ends != "" && !strings.EqualFold(hose, ends)
}

// inOrder is the placements by date, of one day the one that ended on it
// first, and of several such by position: nobody knows their order, and that of
// their entry says nothing. A list that is in order is given back.
func inOrder(placements []Placement) []Placement {
	byDate := func(x, y Placement) int {
		return cmp.Or(x.From.Compare(y.From), rankOfEnd(x)-rankOfEnd(y), cmp.Compare(x.PositionID, y.PositionID))
	}
	if slices.IsSortedFunc(placements, byDate) {
		return placements
	}
	sorted := slices.Clone(placements)
	slices.SortStableFunc(sorted, byDate)
	return sorted
}

func rankOfEnd(p Placement) int {
	if p.To == p.From {
		return 0
	}
	return 1
}

// addPlacement adds the stint and, for the latest placement, what the position
// asks for.
func (f *Facts) addPlacement(in *life.Assembly, p *Placement) {
	if in.Fitted.IsZero() {
		in.Fitted = p.From
	}
	in.Stints = append(in.Stints, life.Stint{From: p.From, To: p.To})
	pos := f.Positions[p.PositionID]
	if pos == nil || f.Machines[pos.MachineID] == nil {
		return // LifeInput tells
	}
	m := f.Machines[pos.MachineID]
	in.CanHurt = pos.CanHurt || m.Machine.CanHurt
	in.BendMM, in.StraightMM, in.Twisted = pos.BendMM, pos.StraightMM, pos.Twisted
	policy := f.policyOf(pos, m)
	in.Policy, in.Lengthened = policy.Policy, policy.Lengthened
	if pos.Exposed && policy.ExposedInspectMonths != nil {
		in.Policy.InspectMonths = smaller(policy.InspectMonths, policy.ExposedInspectMonths)
	}
}

// conditionsOf are the service conditions an assembly was worked under, at one
// position after the other. A placement that ended on the day it began has
// none: those of what followed on that day hold.
func (f *Facts) conditionsOf(a *AssemblyFacts) []life.Conditions {
	var all []life.Conditions
	for _, p := range inOrder(a.Placements) {
		pos := f.Positions[p.PositionID]
		if pos == nil || f.Machines[pos.MachineID] == nil || p.To == p.From {
			continue
		}
		all = append(all, conditionsBetween(f.saidOf(pos, f.Machines[pos.MachineID]), p.From, p.To)...)
	}
	return all
}

// PolicyOf is the policy a position is held to: its own, else its site's.
func (f *Facts) PolicyOf(positionID int64) Policy {
	pos := f.Positions[positionID]
	if pos == nil || f.Machines[pos.MachineID] == nil {
		return Policy{Policy: life.NormalDemand()}
	}
	return f.policyOf(pos, f.Machines[pos.MachineID])
}

func (f *Facts) policyOf(pos *Position, m *MachineFacts) Policy {
	id := f.Sites[m.Machine.SiteID].PolicyID
	if pos.PolicyID != nil {
		id = *pos.PolicyID
	}
	if p, ok := f.Policies[id]; ok {
		return p
	}
	return Policy{Policy: life.NormalDemand()}
}

func smaller(a, b *int) *int {
	if a == nil || b != nil && *b < *a {
		return b
	}
	return a
}

// hoursOf works out the machine's hours as of a day once. nil without an error means that
// neither readings nor planned hours are known.
func (m *MachineFacts) hoursOf(asOf quantity.Date) (*usage.Hours, error) {
	if m.hours == nil || m.hours.asOf != asOf {
		hours, err := usage.New(m.series(), asOf)
		m.hours = &hoursResult{asOf: asOf, hours: hours, err: hoursError(m.Machine.Code, err)}
	}
	return m.hours.hours, m.hours.err
}

// CheckHours tells whether the machine's readings, meter events and lay-ups
// agree with each other: an *Error with a sentence if they do not.
func (m *MachineFacts) CheckHours(asOf quantity.Date) error {
	_, err := usage.New(m.series(), asOf)
	return hoursError(m.Machine.Code, err)
}

func hoursError(machine string, err error) error {
	if err == nil {
		return nil
	}
	var bad *usage.SeriesError
	if errors.As(err, &bad) {
		return &Error{Code: Refused, Field: "hours", Sentence: "Machine " + machine + ": " + strings.TrimSuffix(bad.Text, ".") + "."}
	}
	return fmt.Errorf("hours of machine %s: %w", machine, err)
}

func (m *MachineFacts) series() usage.Series {
	s := usage.Series{PlannedPerWeek: m.Machine.PlannedHoursPerWeek}
	for _, r := range m.Readings {
		if !r.Disputed {
			s.Readings = append(s.Readings, usage.Reading{On: r.On, Hours: r.Hours})
		}
	}
	for _, e := range m.Events {
		s.Events = append(s.Events, usage.MeterEvent{On: e.On, OldEnd: e.OldEnd, NewStart: e.NewStart})
	}
	for _, l := range m.LayUps {
		s.LaidUp = append(s.LaidUp, usage.LayUp{From: l.From, To: l.To})
	}
	slices.SortFunc(s.LaidUp, func(x, y usage.LayUp) int { // in whatever order they were entered
		return cmp.Or(x.From.Compare(y.From), x.To.Compare(y.To))
	})
	return s
}

// hoseOf is the hose as life sees it. What was not typed or printed is taken
// from the published table of the designation and size; a rating from there
// leaves the rating unconfirmed.
func hoseOf(a *Assembly) life.Hose {
	h := life.Hose{
		Designation: a.Designation, Construction: a.Construction, Tube: a.Tube, DN: a.DN,
		RatedBar: a.RatedBar, Made: a.Made.Start(), MaxC: a.MaxC,
		RatingUnconfirmed: a.Unconfirmed || a.RatedBar != nil && a.RatingSource == RatingTable,
	}
	choice, ok := tableRow(a)
	if !ok {
		return h
	}
	row := choice.Row
	if h.RatedBar == nil {
		h.RatedBar, h.RatingUnconfirmed = ptr(row.RatedBar), true
	}
	if h.MaxC == nil {
		h.MaxC = ptr(row.MaxC)
	}
	if h.Construction == "" {
		h.Construction = row.Construction
	}
	h.ImpulsePercent, h.ImpulseCycles, h.ImpulseTempC = hose.Known(row.ImpulsePercent), hose.Known(row.ImpulseCycles), hose.Known(row.ImpulseTempC)
	h.MinBendMM = hose.Known(row.BendMM)
	return h
}

// tableRow is the published row of the assembly's designation and size: the
// one that fits the printed rating, else the one with the lowest.
func tableRow(a *Assembly) (hose.Choice, bool) {
	if a.Designation == "" {
		return hose.Choice{}, false
	}
	rows, ok := hose.Lookup(a.Designation, hose.Size{Dash: a.Dash, DN: a.DN})
	if !ok {
		return hose.Choice{}, false
	}
	return hose.Choose(rows, a.RatedBar)
}

// tableDiffers is the published rating where none of the designation's ratings
// is the printed or typed one; nil if there is none or one agrees.
func tableDiffers(a *Assembly) *float64 {
	if a.RatedBar == nil || a.RatingSource == RatingTable {
		return nil
	}
	choice, ok := tableRow(a)
	if !ok || choice.Agrees {
		return nil
	}
	return ptr(choice.Row.RatedBar)
}

func ptr[T any](v T) *T { return &v }
