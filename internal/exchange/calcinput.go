package exchange

import (
	"errors"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// maxElements is the longest list taken in a line.
const maxElements = 10000

// LifeReader reads lines of `calc life`, one assembly each. It keeps its
// memory from line to line and serves one goroutine.
type LifeReader struct {
	r jsonReader
	a life.Assembly

	asOf        quantity.Date
	fittedHours *float64
	series      usage.Series

	shipped []life.Sourced // made when first asked for

	// Slices that are used again for every line.
	conditions   []life.Conditions
	cycles       []life.Cycle
	temperatures []life.TemperatureShare
	stint        [1]life.Stint
}

// Read reads one line, a JSON object, into what package life estimates from
// and the day to estimate for. Needed are id, as_of, hose.rated_bar and
// fitted; all else may be absent or null, which means unknown. What is unknown
// must not look good, so:
//
//   - no policy is the strictest shipped one, heightened demand; within a
//     policy an absent limit does not apply, but for the interval of
//     inspections and the ages before fitting, which are the strictest
//     shipped ones,
//   - what the hose leaves out and the published table of its designation and
//     size knows is taken from there,
//   - an absent can_hurt is true and an absent recorded is false,
//   - an empty list of cycles says that there are none; without a list they
//     are unknown.
//
// The hours at fitting count as a reading of that day. All errors are
// *LineError. What is returned is good until the next Read.
func (l *LifeReader) Read(line []byte) (life.Assembly, quantity.Date, error) {
	l.clear(line)
	if !utf8.Valid(line) {
		return life.Assembly{}, quantity.Date{}, &LineError{Sentence: "holds bytes that are not UTF-8; save the file as UTF-8"}
	}
	l.assembly()
	l.r.end()
	if l.r.err != nil {
		return life.Assembly{}, quantity.Date{}, l.r.err
	}
	if err := l.needed(); err != nil {
		return life.Assembly{}, quantity.Date{}, err
	}
	if err := l.hours(); err != nil {
		return life.Assembly{}, quantity.Date{}, err
	}
	l.published()
	l.a.Conditions = l.conditions
	return l.a, l.asOf, nil
}

func (l *LifeReader) clear(line []byte) {
	l.r.reset(line)
	findings := l.a.Findings[:0]
	l.a = life.Assembly{Findings: findings, CanHurt: true}
	l.asOf, l.fittedHours = quantity.Date{}, nil
	l.series = usage.Series{Readings: l.series.Readings[:0], Events: l.series.Events[:0], LaidUp: l.series.LaidUp[:0]}
	l.conditions, l.cycles, l.temperatures = l.conditions[:0], l.cycles[:0], l.temperatures[:0]
}

func (l *LifeReader) needed() error {
	switch {
	case strings.TrimSpace(l.a.ID) == "":
		return &LineError{"id", "is missing; every assembly needs one"}
	case l.asOf.IsZero():
		return &LineError{"as_of", "is missing; give the day of the estimate"}
	case l.a.Hose.RatedBar == nil:
		return &LineError{"hose.rated_bar", "is missing; give the maximum working pressure of the hose in bar"}
	case l.a.Fitted.IsZero():
		return &LineError{"fitted", "is missing; give the day of the first fitting"}
	}
	return nil
}

// hours works out the running hours and puts the assembly on that machine.
func (l *LifeReader) hours() error {
	own := len(l.series.Readings)
	if l.fittedHours != nil {
		l.series.Readings = append(l.series.Readings, usage.Reading{On: l.a.Fitted, Hours: *l.fittedHours})
	}
	h, err := usage.New(l.series, l.asOf)
	if err != nil {
		return seriesError(err, own)
	}
	l.stint[0] = life.Stint{From: l.a.Fitted, Hours: h}
	l.a.Stints = l.stint[:]
	return nil
}

// seriesError names the place in the line; the reading with the index fitting
// is the hours at fitting.
func seriesError(err error, fitting int) error {
	var e *usage.SeriesError
	if !errors.As(err, &e) {
		return &LineError{Sentence: err.Error()}
	}
	path, _, _ := strings.Cut(e.Error(), ": ")
	if path == "readings["+strconv.Itoa(fitting)+"]" {
		path = "fitted_hours"
	}
	return &LineError{path, e.Text}
}

func (l *LifeReader) assembly() {
	r, a := &l.r, &l.a
	for r.object(); r.key(); {
		switch string(r.name) {
		case "id":
			a.ID = r.text()
			if strings.ContainsFunc(a.ID, unicode.IsControl) {
				r.fail("holds a control character; an id is one line of text")
			}
		case "as_of":
			l.asOf = r.date()
		case "hose":
			l.hose(&a.Hose)
		case "ends":
			l.ends()
		case "assembled":
			a.Assembled = r.date()
		case "fitted":
			a.Fitted = r.date()
		case "fitted_hours":
			l.fittedHours = r.optional()
		case "can_hurt":
			a.CanHurt = r.null() || r.flag()
		case "fluid":
			a.Fluid = r.text()
		case "policy":
			l.policy()
		case "conditions":
			l.allConditions()
		case "readings":
			l.readings()
		case "meter_events":
			l.meterEvents()
		case "laid_up":
			l.laidUp()
		case "planned_hours_per_week":
			l.series.PlannedPerWeek = r.optional()
		case "findings":
			l.findings()
		case "last_inspection":
			a.LastInspection = r.date()
		default:
			r.unknown()
		}
	}
	if a.Policy.Name == "" && r.err == nil {
		a.Policy = life.HeightenedDemand() // the strictest
	}
}

func (l *LifeReader) hose(h *life.Hose) {
	r := &l.r
	if r.null() {
		return
	}
	for r.object(); r.key(); {
		switch string(r.name) {
		case "designation":
			h.Designation = r.text()
		case "construction":
			h.Construction = r.text()
		case "tube":
			h.Tube = r.text()
		case "dn":
			if n := r.whole(); n != nil {
				h.DN = *n
				if h.DN < 1 {
					r.fail("is %d, must be a nominal size such as 12", h.DN)
				}
			}
		case "rated_bar":
			h.RatedBar = r.optional()
		case "made":
			h.Made = r.date()
		case "max_c":
			h.MaxC = r.optional()
		case "impulse_percent":
			h.ImpulsePercent = r.optional()
		case "impulse_cycles":
			h.ImpulseCycles = r.optional()
		case "impulse_temp_c":
			h.ImpulseTempC = r.optional()
		default:
			r.unknown()
		}
	}
}

// list calls element for each element of an array and bounds their number;
// given tells an array, even an empty one, from null.
func (l *LifeReader) list(element func()) (given bool) {
	r := &l.r
	if r.null() {
		return false
	}
	n := 0
	for r.array(); r.element(); n++ {
		if n == maxElements {
			r.fail("is one more than the %d elements that are taken in a list", maxElements)
			return true
		}
		element()
	}
	return true
}

func (l *LifeReader) ends() {
	r, n := &l.r, 0
	l.list(func() {
		rated := [...]**float64{&l.a.EndABar, &l.a.EndBBar}
		if n == len(rated) {
			r.fail("is a third end; a hose has two")
			return
		}
		bar := rated[n]
		n++
		if r.null() {
			return
		}
		for r.object(); r.key(); {
			if string(r.name) != "rated_bar" {
				r.unknown()
				return
			}
			*bar = r.optional()
		}
	})
}

// policy reads an object of limits or the name of a shipped policy.
func (l *LifeReader) policy() {
	r := &l.r
	if r.null() {
		return
	}
	if r.peek() == '"' {
		name := r.text()
		p, ok := l.shippedPolicy(name)
		if !ok && r.err == nil {
			r.fail("%q is not a shipped policy; write normal demand or heightened demand, or give its limits as an object", clipBytes([]byte(name)))
		}
		l.a.Policy = p
		return
	}
	p := &l.a.Policy
	l.limits(p)
	if _, shipped := l.shippedPolicy(p.Name); shipped && *p == (life.Policy{Name: p.Name}) {
		r.fail("has the name of a shipped policy and no limits; write \"policy\":%q for the shipped one", p.Name)
	}
	if p.Name == "" {
		p.Name = "site" // limits that nobody named
	}
	strictestChecks(p)
}

// strictestChecks fills in what every policy has, where it is not given: how
// often to inspect and how old hose and assembly may be before fitting.
func strictestChecks(p *life.Policy) {
	strict := life.HeightenedDemand()
	for _, c := range [...]struct{ ours, strict **int }{
		{&p.InspectMonths, &strict.InspectMonths}, {&p.StorageMonths, &strict.StorageMonths}, {&p.HoseAgeMonths, &strict.HoseAgeMonths},
	} {
		if *c.ours == nil {
			*c.ours = *c.strict
		}
	}
}

func (l *LifeReader) shippedPolicy(name string) (life.Policy, bool) {
	if l.shipped == nil {
		l.shipped = life.ShippedPolicies()
	}
	for i := range l.shipped {
		if l.shipped[i].Policy.Name == name {
			return l.shipped[i].Policy, true
		}
	}
	return life.Policy{}, false
}

func (l *LifeReader) limits(p *life.Policy) {
	r := &l.r
	for r.object(); r.key(); {
		switch string(r.name) {
		case "name":
			p.Name = r.text()
		case "months_from_assembly":
			p.MonthsFromAssembly = r.whole()
		case "months_from_fitting":
			p.MonthsFromFitting = r.whole()
		case "months_from_make":
			p.MonthsFromMake = r.whole()
		case "hours_from_fitting":
			p.HoursFromFitting = r.optional()
		case "heat_limit_months":
			p.HeatLimitMonths = r.whole()
		case "storage_months":
			p.StorageMonths = r.whole()
		case "hose_age_months":
			p.HoseAgeMonths = r.whole()
		case "inspect_months":
			p.InspectMonths = r.whole()
		case "damage_limit":
			p.DamageLimit = r.optional()
		case "assumed_factor":
			p.AssumedFactor = r.optional()
		case "heat_reference_c":
			p.HeatReferenceC = r.optional()
		case "ea_kj":
			p.EaKJ = r.optional()
		case "combine":
			p.CombineSum = l.combine()
		case "peak_only":
			p.PeakOnly = r.flag()
		default:
			r.unknown()
		}
	}
}

func (l *LifeReader) combine() bool {
	switch how := l.r.text(); how {
	case "", "earliest":
		return false
	case "sum":
		return true
	default:
		l.r.fail("%q is not a way to combine; write earliest or sum", clipBytes([]byte(how)))
		return false
	}
}

func (l *LifeReader) allConditions() {
	l.list(func() {
		l.conditions = append(l.conditions, life.Conditions{})
		l.row(&l.conditions[len(l.conditions)-1])
	})
}

func (l *LifeReader) row(c *life.Conditions) {
	r := &l.r
	for r.object(); r.key(); {
		switch string(r.name) {
		case "from":
			c.From = r.date()
		case "recorded":
			c.Recorded = r.flag()
		case "assessed":
			c.Assessed = r.date()
		case "fluid_c":
			c.FluidC = r.optional()
		case "surroundings_c":
			c.SurroundingsC = r.optional()
		case "temperatures":
			begin := len(l.temperatures)
			l.list(l.temperature)
			c.Temperatures = l.temperatures[begin:len(l.temperatures):len(l.temperatures)]
		case "adapter_bar":
			c.AdapterBar = r.optional()
		case "cycles":
			begin := len(l.cycles)
			given := l.list(l.cycle)
			c.Cycles = l.cycles[begin:len(l.cycles):len(l.cycles)]
			c.NoCycles = given && len(c.Cycles) == 0
		default:
			r.unknown()
		}
	}
}

func (l *LifeReader) temperature() {
	r := &l.r
	var t life.TemperatureShare
	var has [2]bool
	for r.object(); r.key(); {
		switch string(r.name) {
		case "c":
			t.C, has[0] = r.number(), true
		case "share":
			t.Share, has[1] = r.number(), true
		default:
			r.unknown()
		}
	}
	if r.err == nil && has != [2]bool{true, true} {
		r.fail("needs c and share")
	}
	l.temperatures = append(l.temperatures, t)
}

func (l *LifeReader) cycle() {
	r := &l.r
	var c life.Cycle
	var has [3]bool
	for r.object(); r.key(); {
		switch string(r.name) {
		case "min_bar":
			c.MinBar, has[0] = r.number(), true
		case "max_bar":
			c.MaxBar, has[1] = r.number(), true
		case "per_hour":
			c.Count, has[2] = r.number(), true
		default:
			r.unknown()
		}
	}
	if r.err == nil && has != [3]bool{true, true, true} {
		r.fail("needs min_bar, max_bar and per_hour")
	}
	l.cycles = append(l.cycles, c)
}
