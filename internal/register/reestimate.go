package register

import (
	"errors"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Reestimate makes the estimate of every assembly of f that is installed, in
// the order of f.Assemblies. today gives the day at a site, which is the as-of
// date of the estimates of its machines. An assembly whose facts contradict
// each other gets an incomplete estimate with Problem set, never none, and of
// what is certain nothing is lost: an open stop stays a stop, a date that has
// passed stays overdue. What cannot be worked out must not look good.
func Reestimate(f *Facts, today func(siteID int64) quantity.Date) []Estimate {
	out := make([]Estimate, 0, len(f.Assemblies))
	for i := range f.Assemblies {
		a := &f.Assemblies[i]
		if m, p := f.carrier(a); m != nil {
			e := f.estimateOf(a, today(m.Machine.SiteID))
			e.MachineID, e.SiteID, e.MachineCode, e.WalkOrder = m.Machine.ID, m.Machine.SiteID, m.Machine.Code, p.WalkOrder
			out = append(out, e)
		}
	}
	return out
}

// carrier is the machine an assembly sits on and the position there, nil if on
// none.
func (f *Facts) carrier(a *AssemblyFacts) (*MachineFacts, *Position) {
	for _, p := range a.Placements {
		if p.To.IsZero() {
			if pos := f.Positions[p.PositionID]; pos != nil {
				return f.Machines[pos.MachineID], pos
			}
		}
	}
	return nil, nil
}

func (f *Facts) estimateOf(a *AssemblyFacts, asOf quantity.Date) Estimate {
	stored := Estimate{AssemblyID: a.Assembly.ID, AsOf: asOf}
	var e life.Estimate
	in, err := f.LifeInput(a, asOf)
	if err == nil {
		e, err = life.Of(&in, asOf)
	}
	if err != nil {
		stored.Problem = SentenceOf(err)
		var certain bool
		if in, e, certain = f.CertainOf(a, asOf); !certain {
			stored.StopOpen = stopOpen(a.Findings, asOf)
			stored.CanHurt = f.withoutUse(a, asOf).CanHurt
			stored.Gaps = []Gap{{a.Assembly.ID, GapContradiction, GapHorizonDays}}
			return stored
		}
	}
	stored.Gaps = GapsOf(&in, &e, asOf)
	if stored.Problem != "" {
		stored.Gaps = append([]Gap{{What: GapContradiction, Days: GapHorizonDays}}, stored.Gaps...)
	}
	for i := range stored.Gaps {
		stored.Gaps[i].AssemblyID = a.Assembly.ID
	}
	stored.InputHash = inputHash(&in, f.hoursDigests(a))
	stored.CanHurt = in.CanHurt
	stored.fill(&e)
	return stored
}

// stopOpen reports whether a finding of class stop is open on a day.
func stopOpen(findings []Finding, on quantity.Date) bool {
	for _, n := range findings {
		if n.Class == life.Stop && !n.SeenOn.After(on) && (n.ClosedOn.IsZero() || n.ClosedOn.After(on)) {
			return true
		}
	}
	return false
}

// hoursDigests are the digests of the hour meters an assembly ran on, in the
// order of its placements.
func (f *Facts) hoursDigests(a *AssemblyFacts) []seriesDigest {
	placements := inOrder(a.Placements)
	out := make([]seriesDigest, len(placements))
	for i, p := range placements {
		pos := f.Positions[p.PositionID]
		if pos == nil || f.Machines[pos.MachineID] == nil {
			continue
		}
		m := f.Machines[pos.MachineID]
		if m.digest == nil {
			m.digest = ptr(digestSeries(m.series()))
		}
		out[i] = *m.digest
	}
	return out
}

// fill takes over what is stored of an estimate.
func (s *Estimate) fill(e *life.Estimate) {
	s.RatedBar, s.RatingConfirmed, s.Complete = e.RatedBar, e.RatingConfirmed, e.Complete
	s.Due, s.Earliest, s.Latest, s.Governing = e.Due, e.Earliest, e.Latest, e.Governing
	s.InspectionDue, s.HoursNow, s.HoursPerWeek, s.StopOpen = e.InspectionDue, e.HoursNow, e.HoursPerWeek, e.StopOpen
	s.ActBy = e.Due
	if s.CanHurt {
		s.ActBy = e.Earliest
	}
	for i := range e.Clocks {
		c := &e.Clocks[i]
		if c.Name == e.Governing {
			s.Used = c.Used
		}
		for _, missing := range c.Missing {
			if !contains(s.Missing, missing) {
				s.Missing = append(s.Missing, missing)
			}
		}
	}
	for i := range e.Warnings {
		s.Warnings = append(s.Warnings, e.Warnings[i].Code)
	}
}

func contains(words Words, w string) bool {
	for _, have := range words {
		if have == w {
			return true
		}
	}
	return false
}

// SentenceOf is what a person is told of an error: the sentence of a refusal,
// and for anything else that no estimate could be made.
func SentenceOf(err error) string {
	var refusal *Error
	if errors.As(err, &refusal) {
		return refusal.Sentence
	}
	var field *life.FieldError
	if errors.As(err, &field) {
		return field.Sentence
	}
	return "No estimate could be made of this assembly; look at its page for what is wrong."
}
