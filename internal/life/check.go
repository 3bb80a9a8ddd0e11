package life

import (
	"fmt"
	"math"
	"strconv"

	"hoseward/internal/life/fatigue"
	"hoseward/internal/quantity"
)

// FieldError is bad input: the field, named by its path in the document that
// describes an assembly ("conditions[0].cycles[1].max_bar"), and a sentence
// that says what is wrong with it.
type FieldError struct{ Field, Sentence string }

// Error is the field and the sentence.
func (e *FieldError) Error() string { return e.Field + ": " + e.Sentence }

// Ranges of what is taken. Beyond them a number is a slip, and within them no
// sum or product of the clocks leaves the finite numbers.
const (
	maxRatedBar    = 1e5
	minRatedBar    = 0.01
	maxBar         = 1e6
	minTempC       = -100
	maxTempC       = 500
	maxPerHour     = 1e9
	maxMonths      = 1200
	maxHours       = 1e7
	maxCycles      = 1e15
	maxDamageLimit = 100
	minDamageLimit = 1e-6
	maxFactor      = 1000
	maxEaKJ        = 300
	maxMM          = 1e6
	yearOfDays     = 366 // how far dates known by their first day may be out of order
)

// firstDay and lastDay bound the days an estimate may speak of.
var (
	firstDay = quantity.DateOfDayNumber(693596) // 1900-01-01
	lastDay  = quantity.DateOfDayNumber(912470) // 2499-03-27
)

// Check reports the first thing in a that no estimate as of asOf can be made
// from, as a *FieldError, or nil. Values that are unknown are no error.
func Check(a Assembly, asOf quantity.Date) error { return check(&a, asOf) }

func check(a *Assembly, asOf quantity.Date) error {
	if asOf.IsZero() {
		return &FieldError{"as_of", "The day of the estimate is missing."}
	}
	if err := checkDay("as_of", asOf); err != nil {
		return err
	}
	if err := checkHose(a); err != nil {
		return err
	}
	if err := checkDates(a, asOf); err != nil {
		return err
	}
	if err := checkPolicy(&a.Policy); err != nil {
		return err
	}
	if err := checkConditions(a); err != nil {
		return err
	}
	if err := checkStints(a); err != nil {
		return err
	}
	return checkFindings(a)
}

func checkDay(field string, d quantity.Date) error {
	if !d.IsZero() && (d.Before(firstDay) || d.After(lastDay)) {
		return &FieldError{field, "The date " + d.String() + " is too far from today to be meant; check the year."}
	}
	return nil
}

// within wants lo <= *v <= hi where v is known. NaN is outside.
func within(field, noun string, v *float64, lo, hi float64, unit string) error {
	if v == nil || *v >= lo && *v <= hi {
		return nil
	}
	return outside(field, noun, *v, lo, hi, unit)
}

func outside(field, noun string, v, lo, hi float64, unit string) *FieldError {
	return &FieldError{field, fmt.Sprintf("The %s, %g, is outside %g to %g%s; check number and unit.", noun, v, lo, hi, unit)}
}

func checkHose(a *Assembly) error {
	h := &a.Hose
	for _, err := range [...]error{
		within("hose.rated_bar", "rating of the hose", h.RatedBar, minRatedBar, maxRatedBar, " bar"),
		within("ends[0].rated_bar", "rating of end A", a.EndABar, minRatedBar, maxRatedBar, " bar"),
		within("ends[1].rated_bar", "rating of end B", a.EndBBar, minRatedBar, maxRatedBar, " bar"),
		within("table_bar", "published rating", a.TableBar, minRatedBar, maxRatedBar, " bar"),
		within("hose.max_c", "highest temperature of the hose", h.MaxC, 0, maxTempC, " °C"),
		within("hose.impulse_temp_c", "temperature of the impulse test", h.ImpulseTempC, 0, maxTempC, " °C"),
		within("hose.outside_mm", "outside diameter", h.OutsideMM, 0, maxMM, " mm"),
		within("hose.min_bend_mm", "least bend radius", h.MinBendMM, 0, maxMM, " mm"),
		within("bend_mm", "bend radius", a.BendMM, 0, maxMM, " mm"),
		within("straight_mm", "straight length", a.StraightMM, 0, maxMM, " mm"),
	} {
		if err != nil {
			return err
		}
	}
	switch {
	case h.ImpulsePercent == nil && h.ImpulseCycles == nil:
		return nil
	case h.ImpulsePercent == nil:
		return &FieldError{"hose.impulse_percent", "An impulse-test point needs both its pressure and its cycles."}
	case h.ImpulseCycles == nil:
		return &FieldError{"hose.impulse_cycles", "An impulse-test point needs both its pressure and its cycles."}
	}
	if _, err := fatigue.NewCurve(burstPercent, *h.ImpulsePercent, *h.ImpulseCycles); err != nil {
		if f, ok := err.(*fatigue.FieldError); ok {
			return &FieldError{"hose." + f.Field, "The impulse-test point's " + strconv.FormatFloat(f.Value, 'g', -1, 64) + " " + f.Text + "."}
		}
		return &FieldError{"hose.impulse_percent", err.Error()}
	}
	return nil
}

func checkDates(a *Assembly, asOf quantity.Date) error {
	for _, d := range [...]struct {
		field string
		day   quantity.Date
	}{
		{"hose.made", a.Hose.Made},
		{"assembled", a.Assembled},
		{"fitted", a.Fitted},
		{"last_inspection", a.LastInspection},
	} {
		if err := checkDay(d.field, d.day); err != nil {
			return err
		}
	}
	if a.Fitted.After(asOf) {
		return &FieldError{"as_of", "The estimate is as of " + asOf.String() + ", before the first fitting on " + a.Fitted.String() + "."}
	}
	for _, p := range [...]struct {
		field       string
		early, late quantity.Date
		words       string
	}{
		{"assembled", a.Hose.Made, a.Assembled, "the assembly cannot be older than its hose, made "},
		{"fitted", a.Assembled, a.Fitted, "it cannot have been fitted before it was assembled on "},
		{"fitted", a.Hose.Made, a.Fitted, "it cannot have been fitted before its hose was made on "},
		{"as_of", a.Assembled, asOf, "the assembly is only made on "},
		{"as_of", a.Hose.Made, asOf, "the hose is only made on "},
	} {
		if p.early.IsZero() || p.late.IsZero() || p.early.Sub(p.late) <= yearOfDays {
			continue
		}
		return &FieldError{p.field, "The date " + p.late.String() + " cannot be: " + p.words + p.early.String() + "."}
	}
	return nil
}

func checkMonths(field, noun string, v *int) error {
	if v == nil || *v >= 1 && *v <= maxMonths {
		return nil
	}
	return &FieldError{field, "The " + noun + ", " + strconv.Itoa(*v) + ", must be 1 to 1200."}
}

func checkPolicy(p *Policy) error {
	for _, err := range [...]error{
		checkMonths("policy.months_from_assembly", "months from assembly", p.MonthsFromAssembly),
		checkMonths("policy.months_from_fitting", "months from first fitting", p.MonthsFromFitting),
		checkMonths("policy.months_from_make", "months from the hose's make", p.MonthsFromMake),
		checkMonths("policy.heat_limit_months", "months of the heat limit", p.HeatLimitMonths),
		checkMonths("policy.storage_months", "months of storage", p.StorageMonths),
		checkMonths("policy.hose_age_months", "months of hose age", p.HoseAgeMonths),
		checkMonths("policy.inspect_months", "months between inspections", p.InspectMonths),
		within("policy.hours_from_fitting", "limit of running hours", p.HoursFromFitting, minDamageLimit, maxHours, " h"),
		within("policy.cycles_from_fitting", "limit of cycles", p.CyclesFromFitting, minDamageLimit, maxCycles, " cycles"),
		within("policy.damage_limit", "damage limit", p.DamageLimit, minDamageLimit, maxDamageLimit, ""),
		within("policy.assumed_factor", "factor for assumed cycles", p.AssumedFactor, 1, maxFactor, ""),
		within("policy.heat_reference_c", "reference temperature", p.HeatReferenceC, -20, maxTempC, " °C"),
		within("policy.ea_kj", "activation energy", p.EaKJ, 1, maxEaKJ, " kJ/mol"),
	} {
		if err != nil {
			return err
		}
	}
	if p.OwnCurveAlone && p.OwnCurveReason == "" {
		return &FieldError{"policy.own_curve_reason", "Using the hose's own curve alone needs a written reason."}
	}
	return nil
}

func checkConditions(a *Assembly) error {
	base := lowest(a)
	for i := range a.Conditions {
		k := &a.Conditions[i]
		if err := checkRow(k, base); err != nil {
			err.Field = "conditions[" + strconv.Itoa(i) + "]." + err.Field
			return err
		}
		for j := range a.Conditions[:i] {
			if a.Conditions[j].From == k.From {
				return &FieldError{"conditions[" + strconv.Itoa(i) + "].from", "Two rows of conditions begin on " + k.From.String() + "."}
			}
		}
	}
	return nil
}

// checkRow checks one row of conditions; base is the rating of the assembly
// without an adapter, 0 if unknown.
func checkRow(k *Conditions, base float64) *FieldError {
	if k.From.IsZero() {
		return &FieldError{"from", "A row of conditions needs the day from which it holds."}
	}
	for _, err := range [...]error{
		checkDay("from", k.From),
		checkDay("assessed", k.Assessed),
		within("fluid_c", "temperature of the fluid", k.FluidC, minTempC, maxTempC, " °C"),
		within("surroundings_c", "temperature of the surroundings", k.SurroundingsC, minTempC, maxTempC, " °C"),
		within("adapter_bar", "rating of the adapter", k.AdapterBar, minRatedBar, maxRatedBar, " bar"),
		within("working_bar", "working pressure", k.WorkingBar, 0, maxBar, " bar"),
	} {
		if err != nil {
			return err.(*FieldError)
		}
	}
	if err := checkShares(k.Temperatures); err != nil {
		return err
	}
	burst := math.Inf(1)
	if rated := withAdapter(base, k); rated > 0 {
		burst = fatigue.Reference().BurstBar(rated)
	}
	if k.WorkingBar != nil && *k.WorkingBar >= burst {
		return atBurst("working_bar", *k.WorkingBar, burst)
	}
	for j := range k.Cycles {
		if err := checkCycle(&k.Cycles[j], burst); err != nil {
			err.Field = "cycles[" + strconv.Itoa(j) + "]." + err.Field
			return err
		}
	}
	return nil
}

func checkShares(rows []TemperatureShare) *FieldError {
	if len(rows) == 0 {
		return nil
	}
	sum := 0.0
	for j := range rows {
		t := &rows[j]
		if !(t.C >= minTempC && t.C <= maxTempC) {
			return outside("temperatures["+strconv.Itoa(j)+"].c", "temperature", t.C, minTempC, maxTempC, " °C")
		}
		if !(t.Share >= 0 && t.Share <= 1) {
			return outside("temperatures["+strconv.Itoa(j)+"].share", "share of running time", t.Share, 0, 1, "")
		}
		sum += t.Share
	}
	if math.Abs(sum-1) > 0.001+1e-12 {
		return &FieldError{"temperatures", fmt.Sprintf("The shares of running time sum to %g; they must sum to 1 within 0.001.", sum)}
	}
	return nil
}

func checkCycle(y *Cycle, burst float64) *FieldError {
	switch {
	case !(y.MaxBar > 0 && y.MaxBar <= maxBar):
		return &FieldError{"max_bar", fmt.Sprintf("The highest pressure, %g, must be above 0 and at most 1e6 bar.", y.MaxBar)}
	case y.MaxBar >= burst:
		return atBurst("max_bar", y.MaxBar, burst)
	case !(y.MinBar >= -maxBar && y.MinBar < y.MaxBar):
		return &FieldError{"min_bar", fmt.Sprintf("The lowest pressure, %g, must be below the highest, %g bar.", y.MinBar, y.MaxBar)}
	case !(y.Count >= 0 && y.Count <= maxPerHour):
		return &FieldError{"per_hour", fmt.Sprintf("The number of cycles, %g, must be 0 to 1e9.", y.Count)}
	}
	if !perHour(y) && y.PerHour != nil && !(*y.PerHour > 0 && *y.PerHour <= 1e6) {
		return &FieldError{"units_per_hour", fmt.Sprintf("The number in a running hour, %g, must be above 0 and at most 1e6.", *y.PerHour)}
	}
	return nil
}

func atBurst(field string, bar, burst float64) *FieldError {
	return &FieldError{field, fmt.Sprintf("%g bar is at or above the burst pressure of %g bar; check number and unit.", bar, burst)}
}

func checkStints(a *Assembly) error {
	for i := range a.Stints {
		s := &a.Stints[i]
		field := func(f string) string { return "stints[" + strconv.Itoa(i) + "]." + f }
		switch {
		case a.Fitted.IsZero():
			return &FieldError{"fitted", "The assembly sat on a machine, so the day of its first fitting is needed."}
		case s.From.IsZero():
			return &FieldError{field("from"), "A time on a machine needs its first day."}
		case s.From.Before(a.Fitted):
			return &FieldError{field("from"), "It sat on a machine on " + s.From.String() + ", before its first fitting on " + a.Fitted.String() + "."}
		case s.From.After(lastDay), s.To.After(lastDay):
			return &FieldError{field("to"), "The time on a machine is too far from today to be meant; check the year."}
		case !s.To.IsZero() && s.To.Before(s.From):
			return &FieldError{field("to"), "A time on a machine ends on " + s.To.String() + ", before it began on " + s.From.String() + "."}
		}
		for j := range a.Stints[:i] {
			o := &a.Stints[j]
			if overlap(s, o) {
				return &FieldError{field("from"), "On " + s.From.String() + " the assembly sat on two machines."}
			}
		}
	}
	return nil
}

// overlap reports whether two stints share time; one of no length has none.
func overlap(s, o *Stint) bool {
	if s.From == s.To || o.From == o.To {
		return false
	}
	return (o.To.IsZero() || s.From.Before(o.To)) && (s.To.IsZero() || o.From.Before(s.To))
}

func checkFindings(a *Assembly) error {
	for i := range a.Findings {
		f := &a.Findings[i]
		field := func(n string) string { return "findings[" + strconv.Itoa(i) + "]." + n }
		switch {
		case f.On.IsZero():
			return &FieldError{field("on"), "A finding needs the day on which it was seen."}
		case f.On.Before(firstDay), f.On.After(lastDay):
			return checkDay(field("on"), f.On)
		case rank(f.Class) < 0:
			return &FieldError{field("class"), "The class " + strconv.Quote(clip(string(f.Class))) + " is not stop, replace, correct, watch or sound."}
		case !f.By.IsZero() && f.By.Before(f.On):
			return &FieldError{field("by"), "The finding is to be dealt with by " + f.By.String() + ", before it was seen on " + f.On.String() + "."}
		case f.By.After(lastDay):
			return checkDay(field("by"), f.By)
		case !f.Closed.IsZero() && f.Closed.Before(f.On):
			return &FieldError{field("released"), "The finding was closed on " + f.Closed.String() + ", before it was seen on " + f.On.String() + "."}
		}
	}
	return nil
}

// clip shortens text for a message.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
