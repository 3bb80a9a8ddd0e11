package life

import (
	"math"

	"hoseward/internal/quantity"
)

// The reasons for which an assembly in store may not be fitted.
const (
	RuleStorage    = "months of storage"
	RuleFinding    = "open finding"
	RuleUnknownAge = "age unknown"
	RuleSpent      = "spent clock"
	RuleNotInStore = "not in store"
)

// FitError says why an assembly may not be fitted.
type FitError struct {
	// Rule is one of the constants above, or the rule of the calendar limit
	// that has passed.
	Rule string
	// Until is the last day on which it might have been fitted; no date where
	// the reason is not one of age.
	Until    quantity.Date
	Sentence string
}

// Error is the sentence.
func (e *FitError) Error() string { return e.Sentence }

// storage is what an assembly in store, or fitted now, has been stored.
type storage struct {
	known bool // the policy limits it and the age is known
	// allowed is how many days the policy allows in all, times back in store
	// included; spent are those gone by.
	allowed, spent float64
	// until is the last day of storage allowed if it is in store.
	until quantity.Date
}

// stored sums the times in store from assembly up to the day of the estimate:
// before first fitting, and between machines. The month limit is turned into
// days at the assembly date.
func (c *calc) stored() storage {
	var s storage
	months := c.a.Policy.StorageMonths
	origin := c.storedFrom()
	if months == nil || origin.IsZero() {
		return s
	}
	s.known = true
	s.allowed = float64(origin.AddMonths(*months).Sub(origin))
	first := c.asOf
	if !c.a.Fitted.IsZero() {
		first = c.a.Fitted
	}
	s.spent = math.Max(0, float64(first.Sub(origin)))
	for i := range c.wear.pieces {
		if p := &c.wear.pieces[i]; !p.worked && p.from < c.wear.now {
			s.spent += math.Min(p.to, c.wear.now) - p.from
		}
	}
	if c.inStore {
		s.until = quantity.DayOfInstant(c.wear.now + s.allowed - s.spent)
	}
	return s
}

// storedFrom is the day from which storage counts: the assembly date, unknown
// the hose's make date, both unknown the first fitting (what came before is
// warned about, not guessed). No date if nothing is known.
func (c *calc) storedFrom() quantity.Date {
	for _, d := range [...]quantity.Date{c.a.Assembled, c.a.Hose.Made, c.a.Fitted} {
		if !d.IsZero() {
			return d
		}
	}
	return quantity.Date{}
}

func (s *storage) tooLong() bool { return s.known && s.spent > s.allowed }

// storeUntil is the last day on which an assembly in store may be fitted: that
// of its storage limit, or the due date of the first clock on the fast path.
func (c *calc) storeUntil() quantity.Date {
	s := c.stored()
	until := s.until
	for i := range c.due[:c.n] {
		until = quantity.Earliest(until, c.due[i][0])
	}
	return until
}

// MayFit says whether the assembly a, in store on the day on, may be fitted on
// it: nil, or a *FitError if it was stored beyond its limit, is beyond an age
// limit or worn out, has an open finding of class stop or replace, or is of
// unknown age. A manager may release it with a reason; that is the caller's
// part. Bad input is a *FieldError.
func MayFit(a *Assembly, on quantity.Date) error {
	if err := check(a, on); err != nil {
		return err
	}
	var c calc
	c.prepare(a, on)
	c.estimate()
	if !c.inStore {
		return &FitError{Rule: RuleNotInStore, Sentence: "On " + on.String() + " the assembly sits on a machine; record its removal first."}
	}
	if c.ages.kind == originUnknown {
		return &FitError{Rule: RuleUnknownAge, Sentence: "Neither the assembly's date nor its hose's is known, so its age cannot be judged; enter one from ferrule or hose."}
	}
	for i := range a.Findings {
		if f := &a.Findings[i]; f.open(on) && rank(f.Class) >= rank(Replace) {
			return &FitError{Rule: RuleFinding, Sentence: "A finding of class " + string(f.Class) + " seen on " + f.On.String() + " is open; do not fit it."}
		}
	}
	if s := c.stored(); s.known && on.After(s.until) {
		return &FitError{RuleStorage, s.until, "It was to be fitted by " + s.until.String() + ", the end of its time in store; do not fit it without a manager's release."}
	}
	if l := c.limits.first(c.limits.calendar); l != nil && on.After(l.due) {
		return &FitError{l.rule, l.due, "Its " + l.rule + " ended on " + l.due.String() + "; do not fit it."}
	}
	if until := c.storeUntil(); !until.IsZero() && on.After(until) {
		return &FitError{RuleSpent, until, "It was worn out on " + until.String() + "; do not fit it."}
	}
	return nil
}
