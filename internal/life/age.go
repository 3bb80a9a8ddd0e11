package life

import "hoseward/internal/quantity"

// The rules of the calendar clock, in the order that decides ties.
const (
	RuleAssembly = "months from assembly"
	RuleFitting  = "months from first fitting"
	RuleMake     = "months from hose make"
	RuleHeat     = "heat limit in months from assembly"
	RuleNoLimit  = "72 months from assembly, as the policy has no limit in months"
)

const (
	// monthsWithoutLimit is what the heat clock runs against where the policy
	// has no limit in months (DIN 20066, DGUV Regel 113-020, seen in
	// restatements).
	monthsWithoutLimit = 72
	// monthsUnknownAge is how much older than its first fitting an assembly of
	// unknown age, and than its assembly a hose of unknown make, is taken to be.
	monthsUnknownAge = 48
)

// originKind says where the day an age counts from is taken from.
type originKind int

const (
	originStamp   originKind = iota // the assembly's own date
	originHose                      // unknown: the hose's make
	originFitting                   // both unknown: first fitting less 48 months
	originCapped                    // hose too old when assembled
	originEarlier                   // dates out of order: the earlier one
	originUnknown                   // nothing known
)

// ages are the days from which the calendar counts.
type ages struct {
	assembly, hose quantity.Date
	kind           originKind
	// hoseAssumed: the make date is unknown and hose is the worst case.
	hoseAssumed bool
	// tooOld: the hose was older when assembled than the policy allows.
	tooOld bool
	// disordered: make, assembly and fitting are out of order.
	disordered bool
}

// agesOf finds the days from which the calendar counts. An unknown assembly
// date is the hose's make date; both unknown, the first fitting less 48
// months. A hose older when assembled than the policy allows counts as
// assembled on the last day it might have been. Dates out of order count at
// the earliest.
func agesOf(a *Assembly) ages {
	made, stamp, fitted := a.Hose.Made, a.Assembled, a.Fitted
	g := ages{assembly: stamp, hose: made}
	switch {
	case !stamp.IsZero():
	case !made.IsZero():
		g.assembly, g.kind = made, originHose
	case !fitted.IsZero():
		g.assembly, g.kind = fitted.AddMonths(-monthsUnknownAge), originFitting
	default:
		g.kind = originUnknown
		return g
	}
	if !fitted.IsZero() && fitted.Before(g.assembly) {
		g.assembly, g.kind, g.disordered = fitted, originEarlier, true
	}
	if made.IsZero() {
		g.hose, g.hoseAssumed = g.assembly.AddMonths(-monthsUnknownAge), true
		return g
	}
	if made.After(g.assembly) {
		g.hose, g.disordered = g.assembly, true
	}
	if a.Policy.HoseAgeMonths == nil || stamp.IsZero() {
		return g
	}
	if last := made.AddMonths(*a.Policy.HoseAgeMonths); last.Before(g.assembly) {
		g.assembly, g.kind, g.tooOld = last, originCapped, true
	}
	return g
}

// limit is one limit in months: from a day to the day it is reached.
type limit struct {
	rule      string
	from, due quantity.Date
}

func (l *limit) span() float64 { return float64(l.due.Sub(l.from)) }

// limits are the limits in months an assembly is held to, those of the
// calendar first, then those that only the heat clock has.
type limits struct {
	list     [5]limit
	n        int
	calendar int // how many of them are the calendar's
}

func (l *limits) add(rule string, from quantity.Date, months *int) {
	if months == nil || from.IsZero() {
		return
	}
	l.list[l.n] = limit{rule, from, from.AddMonths(*months)}
	l.n++
}

func (l *limits) all() []limit { return l.list[:l.n] }

// first is the limit reached first among the first n, the first of equals;
// nil if there is none.
func (l *limits) first(n int) *limit {
	var f *limit
	for i := range l.list[:n] {
		if f == nil || l.list[i].due.Before(f.due) {
			f = &l.list[i]
		}
	}
	return f
}

func limitsOf(a *Assembly, g *ages) limits {
	var l limits
	p := &a.Policy
	l.add(RuleAssembly, g.assembly, p.MonthsFromAssembly)
	l.add(RuleFitting, a.Fitted, p.MonthsFromFitting)
	l.add(RuleMake, g.hose, p.MonthsFromMake)
	l.calendar = l.n
	l.add(RuleHeat, g.assembly, p.HeatLimitMonths)
	if p.MonthsFromAssembly == nil && p.MonthsFromFitting == nil && p.MonthsFromMake == nil {
		m := monthsWithoutLimit
		l.add(RuleNoLimit, g.assembly, &m)
	}
	return l
}
