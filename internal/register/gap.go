package register

import (
	"slices"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// GapKind names a value that may not be known of an installed assembly.
type GapKind string

// The kinds, in the order of ties.
const (
	GapContradiction GapKind = "contradiction"
	GapRating        GapKind = "rating"
	GapAssembled     GapKind = "assembly date"
	GapCycles        GapKind = "pressure cycles"
	GapHours         GapKind = "running hours"
	GapReadings      GapKind = "recent readings"
	GapFluidTemp     GapKind = "fluid temperature"
	GapHoseTemp      GapKind = "highest temperature"
)

// GapKinds lists them in that order.
func GapKinds() []GapKind {
	return []GapKind{GapContradiction, GapRating, GapAssembled, GapCycles, GapHours, GapReadings, GapFluidTemp, GapHoseTemp}
}

// Gap is one value that is not known of an installed assembly, and by how many
// days its date would move between that value turning out well and turning out
// badly. Knowing the value with the most days first makes the register true
// soonest.
type Gap struct {
	AssemblyID int64 `gorm:"primaryKey;autoIncrement:false"`
	What       GapKind
	Days       int // 0 to GapHorizonDays
}

// GapHorizonDays bounds what a gap may change: dates that lie further ahead
// than this, or not at all, count as this far ahead, dates that have passed as
// today.
const GapHorizonDays = 3650

// What an unknown value may turn out to be, from well to badly. All are
// choices of ours and no standard; the manual says so beside them.
const (
	gapHoursWell, gapHoursBadly = 5.0, 60.0  // running hours a week
	gapFluidWell, gapFluidBadly = 50.0, 95.0 // degC
	gapHoseWell, gapHoseBadly   = 120.0, 80.0
	gapRatedBadly               = 0.7   // share of the rating as known or needed
	gapRatedWell                = 1.25  // share of the highest pressure seen, where nothing is rated
	gapCyclesBadly              = 300.0 // from zero to the rating, an hour
	gapRatedUnknown             = 200.0
)

// typical is what stands for the other unknown values while one is tried.
const (
	typicalHours = 20.0
	typicalFluid = 60.0
)

// GapsOf are what is not known of an installed assembly, largest first. in and
// e are its input of package life and its estimate of the day asOf. Each value
// is tried well and badly with everything else as known, or typical where that
// is unknown too: a choice, made so that two unknown values do not hide each
// other.
func GapsOf(in *life.Assembly, e *life.Estimate, asOf quantity.Date) []Gap {
	unknown := unknownOf(in, e)
	var gaps []Gap
	for _, what := range unknown {
		days := 0
		if what == GapReadings {
			days = bandDays(e, asOf)
		} else {
			days = max(0, gapDay(in, unknown, what, goodValue, asOf)-gapDay(in, unknown, what, badValue, asOf))
		}
		gaps = append(gaps, Gap{What: what, Days: days})
	}
	slices.SortStableFunc(gaps, func(a, b Gap) int { return b.Days - a.Days })
	return gaps
}

// unknownOf are the kinds of values that are not known.
func unknownOf(in *life.Assembly, e *life.Estimate) []GapKind {
	lacks := map[string]bool{}
	for i := range e.Clocks {
		for _, m := range e.Clocks[i].Missing {
			lacks[m] = true
		}
	}
	var unknown []GapKind
	add := func(is bool, what GapKind) {
		if is {
			unknown = append(unknown, what)
		}
	}
	add(!e.RatingConfirmed || lacks[life.MissingRating], GapRating)
	add(in.Assembled.IsZero(), GapAssembled)
	add(lacks[life.MissingCycles] || lacks[life.MissingPressure] || lacks[life.MissingPer], GapCycles)
	noHours := lacks[life.MissingHours] || lacks[life.MissingEarlyHours]
	add(noHours, GapHours)
	add(!noHours && fewReadings(in), GapReadings)
	add(lacks[life.MissingFluidTemp], GapFluidTemp)
	add(lacks[life.MissingHoseTemp], GapHoseTemp)
	return unknown
}

// fewReadings reports whether the hours to come rest on too few or too old
// readings, which widens the band.
func fewReadings(in *life.Assembly) bool {
	for _, s := range in.Stints {
		if s.To.IsZero() && s.Hours != nil {
			b := s.Hours.Basis()
			return b.Method != usage.TheilSen || b.Stale
		}
	}
	return false
}

// bandDays is how wide the band of an estimate is.
func bandDays(e *life.Estimate, asOf quantity.Date) int {
	return max(0, within(e.Latest, asOf)-within(e.Earliest, asOf))
}

// within is a date in days after asOf, from 0 to the horizon; no date is the
// horizon.
func within(d, asOf quantity.Date) int {
	if d.IsZero() {
		return GapHorizonDays
	}
	return min(max(d.Sub(asOf), 0), GapHorizonDays)
}

// gapDay is the date, in days after asOf, if the value turns out well or badly.
func gapDay(in *life.Assembly, unknown []GapKind, what GapKind, t turned, asOf quantity.Date) int {
	a := *in
	a.Conditions = slices.Clone(in.Conditions)
	a.Stints = slices.Clone(in.Stints)
	if len(a.Conditions) == 0 {
		a.Conditions = []life.Conditions{{From: a.Fitted}}
	}
	for _, other := range unknown {
		if other != what {
			suppose(&a, other, typicalValue, asOf)
		}
	}
	suppose(&a, what, t, asOf)
	e, err := life.Of(&a, asOf)
	if err != nil {
		return 0 // what cannot be is not better than anything
	}
	if a.CanHurt {
		return within(e.Earliest, asOf)
	}
	return within(e.Due, asOf)
}

// turned says how an unknown value is supposed to turn out.
type turned int

const (
	goodValue turned = iota
	badValue
	typicalValue
)

func (t turned) of(good, bad, typical float64) float64 {
	return [...]float64{good, bad, typical}[t]
}

// suppose fills in an unknown value.
func suppose(a *life.Assembly, what GapKind, t turned, asOf quantity.Date) {
	switch what {
	case GapRating:
		supposeRating(a, t)
	case GapAssembled:
		if t == goodValue {
			a.Assembled = quantity.Earliest(a.Fitted, asOf)
		}
	case GapCycles:
		supposeCycles(a, t)
	case GapHours:
		supposeHours(a, t.of(gapHoursWell, gapHoursBadly, typicalHours), asOf)
	case GapFluidTemp:
		for i := range a.Conditions {
			if c := &a.Conditions[i]; c.FluidC == nil && len(c.Temperatures) == 0 {
				c.FluidC = ptr(t.of(gapFluidWell, gapFluidBadly, typicalFluid))
			}
		}
	case GapHoseTemp:
		a.Hose.MaxC = ptr(t.of(gapHoseWell, gapHoseBadly, 100))
	}
}

// supposeRating makes every part rated: as the lowest known, or where none is
// known as the pressures ask for; badly is 70 % of it.
func supposeRating(a *life.Assembly, t turned) {
	known := 0.0
	for _, p := range []*float64{a.Hose.RatedBar, a.EndABar, a.EndBBar} {
		if p != nil && (known == 0 || *p < known) {
			known = *p
		}
	}
	if known == 0 {
		known = max(highestBar(a)*gapRatedWell, gapRatedUnknown)
	}
	known = t.of(known, known*gapRatedBadly, known)
	a.Hose.RatedBar, a.Hose.RatingUnconfirmed = ptr(known), false
	a.EndABar, a.EndBBar, a.TableBar = ptr(known), ptr(known), nil
}

// highestBar is the highest pressure named, 0 if none is.
func highestBar(a *life.Assembly) float64 {
	high := 0.0
	for i := range a.Conditions {
		c := &a.Conditions[i]
		if c.WorkingBar != nil {
			high = max(high, *c.WorkingBar)
		}
		for _, y := range c.Cycles {
			high = max(high, y.MaxBar)
		}
	}
	return high
}

// supposeCycles says of conditions without cycles that there are none, or that
// each goes from zero to the rating.
func supposeCycles(a *life.Assembly, t turned) {
	rated := gapRatedUnknown
	if a.Hose.RatedBar != nil {
		rated = *a.Hose.RatedBar
	}
	for _, p := range []*float64{a.EndABar, a.EndBBar} {
		if p != nil {
			rated = min(rated, *p)
		}
	}
	for i := range a.Conditions {
		c := &a.Conditions[i]
		if c.NoCycles || len(c.Cycles) > 0 && !lacksPer(c.Cycles) {
			continue
		}
		if c.Cycles = nil; t == badValue {
			top := rated
			if c.AdapterBar != nil {
				top = min(top, *c.AdapterBar)
			}
			c.Cycles = []life.Cycle{{MaxBar: top, Count: gapCyclesBadly}}
			continue
		}
		c.NoCycles = true
	}
}

func lacksPer(cycles []life.Cycle) bool {
	return slices.ContainsFunc(cycles, func(y life.Cycle) bool { return y.Per != "" && y.PerHour == nil })
}

// supposeHours gives machines of unknown hours so many a week.
func supposeHours(a *life.Assembly, perWeek float64, asOf quantity.Date) {
	hours, err := usage.New(usage.Series{PlannedPerWeek: &perWeek}, asOf)
	if err != nil {
		return
	}
	for i := range a.Stints {
		if h := a.Stints[i].Hours; h == nil || !h.Basis().BackKnown {
			a.Stints[i].Hours = hours
		}
	}
}
