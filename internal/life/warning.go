package life

import (
	"strconv"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// The codes of warnings, most serious first.
const (
	WarnOverTemperature   = "over-temperature"
	WarnOver200           = "over-200-percent"
	WarnOverRating        = "over-rating"
	WarnRatingUnconfirmed = "rating-unconfirmed"
	WarnDataMissing       = "data-missing"
	WarnHoseTooOld        = "hose-too-old-when-assembled"
	WarnStoredTooLong     = "stored-too-long"
	WarnTwisted           = "twisted"
	WarnBendTooTight      = "bend-too-tight"
	WarnStraightTooShort  = "straight-too-short"
	WarnMixedMakers       = "mixed-makers"
	WarnTableDiffers      = "table-differs"
	WarnDateAmbiguous     = "date-ambiguous"
	WarnReadingsStale     = "readings-stale"
	WarnHeatMilder        = "heat-values-milder"
	WarnLimitLengthened   = "limit-lengthened"
)

// WarningCodes is the closed list of codes, most serious first.
func WarningCodes() []string {
	return []string{
		WarnOverTemperature, WarnOver200, WarnOverRating, WarnRatingUnconfirmed, WarnDataMissing, WarnHoseTooOld,
		WarnStoredTooLong, WarnTwisted, WarnBendTooTight, WarnStraightTooShort, WarnMixedMakers, WarnTableDiffers,
		WarnDateAmbiguous, WarnReadingsStale, WarnHeatMilder, WarnLimitLengthened,
	}
}

// straightPerOutside is how much straight length behind a fitting is asked
// for, in outside diameters (DGUV 113-020 figure 9 and trade pages).
const straightPerOutside = 1.5

type warnings []Warning

func (w *warnings) add(code, text string) { *w = append(*w, Warning{code, text}) }

// warnings are all warnings, in the order of WarningCodes. Texts are put
// together only where there is something to warn of.
func (c *calc) warnings() []Warning {
	var w warnings
	c.warnDuty(&w)
	c.warnData(&w)
	c.warnAge(&w)
	c.warnPlace(&w)
	if c.a.DateAmbiguous {
		w.add(WarnDateAmbiguous, "A date read from the hose or ferrule can be read in more than one way; look at the marking and settle it.")
	}
	if c.ages.disordered {
		w.add(WarnDateAmbiguous, "The dates of make, assembly and first fitting are out of order; the earlier is used, settle them.")
	}
	c.warnStale(&w)
	c.warnPolicy(&w)
	return w
}

func (c *calc) warnDuty(w *warnings) {
	hot := 0.0
	tooHot := false
	c.worked(func(d *duty) {
		if c.tooHot(d) && (!tooHot || d.hottest > hot) {
			hot, tooHot = d.hottest, true
		}
	})
	if tooHot {
		w.add(WarnOverTemperature, "It runs at "+number(hot)+" °C; hose and fluid allow "+number(c.model.limitC)+" °C. Inspect it now and bring the temperature down.")
	}
	o := c.overRated()
	if o.over200 {
		w.add(WarnOver200, "Peaks reach "+number(o.percent)+" % of the rating; above 200 % nothing says how long it lasts. Replace it by one with a higher rating or bring the pressure down.")
	}
	if o.over {
		end := "; this needs a recorded pressure log or a named written assessment."
		if o.due.IsZero() {
			end = ", as recorded or assessed."
		}
		w.add(WarnOverRating, "It works at up to "+number(o.percent)+" % of its rating"+end)
	}
}

func (c *calc) warnData(w *warnings) {
	switch {
	case c.confirmed:
	case c.model.base == 0:
		w.add(WarnRatingUnconfirmed, "The rating is not known; read it from hose and ends.")
	default:
		w.add(WarnRatingUnconfirmed, "The rating of a part is not known or not read from it; the lowest known is used and the damage limit is halved. Read it from hose and ends.")
	}
	switch c.ages.kind {
	case originHose:
		w.add(WarnDataMissing, "The assembly date is not known; the hose's make date is used. Read the ferrule stamp.")
	case originFitting:
		w.add(WarnDataMissing, "Neither assembly nor make date is known; the assembly is taken to be 48 months older than its first fitting. Read ferrule and hose.")
	}
	if c.a.Policy.MonthsFromMake != nil && c.ages.hoseAssumed && c.ages.kind != originFitting {
		w.add(WarnDataMissing, "The hose's make date is not known; it is taken as the oldest it may have been. Read it from the hose.")
	}
	if p := c.wear.pieces; len(p) > 0 && len(c.wear.duties) > 0 && float64(c.wear.duties[0].row.From.DayNumber()) > p[0].from {
		w.add(WarnDataMissing, "The conditions before "+c.wear.duties[0].row.From.String()+" are not known; the first known ones are used for that time too.")
	}
	if len(c.wear.pieces) > 0 {
		c.warnConstruction(w)
	}
	c.warnMeter(w)
	for i := range c.block.clocks[:c.n] {
		if k := &c.block.clocks[i]; len(k.Missing) > 0 {
			w.add(WarnDataMissing, lacking(k))
		}
	}
}

// warnConstruction says where the construction leaves open whether wire bears
// the pressure.
func (c *calc) warnConstruction(w *warnings) {
	built := c.a.Hose.Construction
	if _, known := reinforcement(built); known {
		return
	}
	if built == "" {
		w.add(WarnDataMissing, "The hose's construction is not known; it is taken to have wire reinforcement.")
		return
	}
	w.add(WarnDataMissing, "The hose's construction, "+strconv.Quote(built)+", does not say what bears the pressure; it is taken to have wire reinforcement. Enter wire braid, wire spiral, textile, thermoplastic or suction.")
}

// lacking is the sentence for a clock without data.
func lacking(k *Clock) string {
	b := append(make([]byte, 0, 96), "The "...)
	b = append(b, k.Name...)
	b = append(b, " clock cannot be worked out without: "...)
	for i, what := range k.Missing {
		if i > 0 {
			b = append(b, ", "...)
		}
		b = append(b, what...)
	}
	return string(append(b, '.'))
}

func (c *calc) warnAge(w *warnings) {
	if c.ages.tooOld {
		w.add(WarnHoseTooOld, "The hose was more than "+strconv.Itoa(*c.a.Policy.HoseAgeMonths)+" months old when it was assembled; a newer stamp makes it no younger, so its age counts from "+c.ages.assembly.String()+".")
	}
	if s := c.stored(); s.tooLong() {
		w.add(WarnStoredTooLong, "It was in store for "+number(s.spent)+" days; the limit of "+strconv.Itoa(*c.a.Policy.StorageMonths)+" months is "+number(s.allowed)+" days.")
	}
}

func (c *calc) warnPlace(w *warnings) {
	a := c.a
	if a.Twisted {
		w.add(WarnTwisted, "It is twisted, which shortens its life by much; refit it straight, or replace it if it stays twisted.")
	}
	if a.BendMM != nil && a.Hose.MinBendMM != nil && *a.BendMM < *a.Hose.MinBendMM {
		w.add(WarnBendTooTight, "It is bent to "+number(*a.BendMM)+" mm; the least bend radius is "+number(*a.Hose.MinBendMM)+" mm. Reroute it.")
	}
	if a.StraightMM != nil && a.Hose.OutsideMM != nil && *a.StraightMM < straightPerOutside**a.Hose.OutsideMM {
		w.add(WarnStraightTooShort, "Only "+number(*a.StraightMM)+" mm are straight behind the fitting; "+number(straightPerOutside**a.Hose.OutsideMM)+" mm (1.5 times the outside diameter) are needed.")
	}
	if a.MixedMakers {
		w.add(WarnMixedMakers, "Hose and ends are of different makers; use them together only if the maker of the assembly allows it.")
	}
	if a.TableBar != nil {
		w.add(WarnTableDiffers, "The published rating of this designation and size is "+number(*a.TableBar)+" bar; the printed one is used. Check that the marking was read correctly.")
	}
}

// warnStale passes on that the readings are old.
func (c *calc) warnStale(w *warnings) {
	for _, u := range c.hoursWarnings() {
		if u.Code == usage.WarnStale {
			w.add(WarnReadingsStale, u.Text)
		}
	}
}

// warnMeter passes on what else is doubtful about the meter.
func (c *calc) warnMeter(w *warnings) {
	for _, u := range c.hoursWarnings() {
		if u.Code != usage.WarnStale {
			w.add(WarnDataMissing, u.Text)
		}
	}
}

// hoursWarnings are those of the machine it sits on.
func (c *calc) hoursWarnings() []usage.Warning {
	p := c.wear.current()
	if p == nil || p.hours == nil {
		return nil
	}
	return p.hours.Warnings()
}

func (c *calc) warnPolicy(w *warnings) {
	p := &c.a.Policy
	if c.model.rubber {
		if max := hottestAllowed(c.a); p.HeatReferenceC != nil && *p.HeatReferenceC > DefaultHeatReferenceC(max) {
			w.add(WarnHeatMilder, "The policy's heat reference of "+number(*p.HeatReferenceC)+" °C is milder than the shipped "+number(DefaultHeatReferenceC(max))+" °C.")
		}
		if ea := DefaultEaKJ(c.a.Hose.Tube); p.EaKJ != nil && *p.EaKJ < ea {
			w.add(WarnHeatMilder, "The policy's activation energy of "+number(*p.EaKJ)+" kJ/mol is milder than the shipped "+number(ea)+" kJ/mol.")
		}
	}
	if c.a.Lengthened != "" {
		w.add(WarnLimitLengthened, "A limit of the policy was lengthened: "+c.a.Lengthened)
	} else {
		warnLonger(w, p)
	}
	if p.DamageLimit != nil && *p.DamageLimit > DefaultDamageLimit {
		w.add(WarnLimitLengthened, "The policy's damage limit of "+number(*p.DamageLimit)+" is milder than the shipped 0.5.")
	}
	if p.AssumedFactor != nil && *p.AssumedFactor < DefaultAssumedFactor {
		w.add(WarnLimitLengthened, "The policy counts cycles that are not from a recorded log "+number(*p.AssumedFactor)+" times; the shipped factor is 2.")
	}
	if own, ok := ownCurve(&c.a.Hose); ok && p.OwnCurveAlone && own.Exponent() > c.reference() {
		w.add(WarnLimitLengthened, "The hose's own pressure-life curve is used although milder than the reference: "+p.OwnCurveReason)
	}
}

// warnLonger names the limits in months that are longer than those of the
// shipped policy for normal demand although nobody says who lengthened them.
func warnLonger(w *warnings, p *Policy) {
	for _, l := range [...]struct {
		what    string
		months  *int
		shipped int
	}{
		{"limit from assembly", p.MonthsFromAssembly, normalMonths},
		{"limit in store", p.StorageMonths, normalStorage},
		{"limit for the age of the hose when assembled", p.HoseAgeMonths, normalHoseAge},
		{"interval of inspections", p.InspectMonths, normalInspect},
	} {
		if l.months != nil && *l.months > l.shipped {
			w.add(WarnLimitLengthened, "The policy's "+l.what+" of "+strconv.Itoa(*l.months)+" months is longer than the "+strconv.Itoa(l.shipped)+" of the shipped policy for normal demand.")
		}
	}
}

// number prints a number for a sentence, with at most one decimal where it is
// large and three figures where it is small.
func number(v float64) string {
	if v >= 10 || v <= -10 {
		return quantity.FormatNumber(v, 1)
	}
	return strconv.FormatFloat(v, 'g', 3, 64)
}
