package life

import (
	"math"
	"slices"
	"strings"

	"hoseward/internal/life/fatigue"
	"hoseward/internal/life/heat"
	"hoseward/internal/quantity"
)

// What a clock may lack, as Clock.Missing names it.
const (
	MissingAssemblyDate = "assembly date"
	MissingRating       = "rating"
	MissingPressure     = "working pressure"
	MissingCycles       = "pressure cycles"
	MissingPer          = "how often the counted unit comes in a running hour"
	MissingHours        = "running hours"
	MissingEarlyHours   = "running hours before the first reading"
	MissingFluidTemp    = "fluid temperature"
	MissingHoseTemp     = "highest temperature of the hose"
)

// duty is what one row of conditions does to the assembly.
type duty struct {
	row   *Conditions
	rated float64 // rating in force, 0 if unknown

	// percent is the highest pressure over the rating in per cent, 0 if
	// unknown or none.
	percent       float64
	noPressure    bool // no pressure is named and the line may see some
	noCycles      bool // cycles are not known
	noPer         bool // cycles are known per a unit of unknown frequency
	noTemperature bool

	hottest  float64 // highest temperature named, -Inf if none
	af       float64 // mean ageing factor while running
	afRest   float64 // ageing factor while standing, 1 unless always hot
	hotMean  float64 // factor on damage for running above the test temperature
	perHour  float64 // damage per running hour, hotMean included
	weight   float64 // 1 if recorded, else the factor for assumed cycles
	cycles   float64 // cycles per running hour
	capacity float64 // burst pressure in bar
}

// day and hour are the heat days added per day and per running hour.
func (d *duty) day() float64  { return d.afRest - 1 }
func (d *duty) hour() float64 { return (d.af - d.afRest) / 24 }

// model is what the rows of conditions are judged by.
type model struct {
	base   float64 // rating without adapter
	curve  fatigue.Curve
	factor float64 // for assumed cycles
	refC   float64 // heat reference, valid if hasRef
	hasRef bool
	eaKJ   float64
	testC  float64 // test temperature of the curve
	limitC float64 // highest temperature of the hose, +Inf if unknown
	rubber bool
	wire   bool
	peak   bool
}

func modelOf(a *Assembly) model {
	m := model{
		base: lowest(a), curve: curveOf(a), factor: assumedFactor(&a.Policy),
		testC: lowestTestTemperature, limitC: hottestAllowed(a), peak: a.Policy.PeakOnly,
		rubber: heat.Applies(a.Hose.Tube), wire: hasCurve(a.Hose.Construction),
	}
	if a.Hose.ImpulseTempC != nil {
		m.testC = *a.Hose.ImpulseTempC
	}
	m.refC, m.hasRef = heatReference(a)
	m.eaKJ = activation(a)
	return m
}

// hottestAllowed is the highest temperature of the hose with its fluid in
// degrees Celsius, +Inf if unknown: water and fluids with water lower it to 70
// (scopes of EN 853, 854, 857:2015).
func hottestAllowed(a *Assembly) float64 {
	c := math.Inf(1)
	if a.Hose.MaxC != nil {
		c = *a.Hose.MaxC
	}
	if isWater(a.Fluid) {
		c = min(c, waterLimitC)
	}
	return c
}

// isWater reports whether a fluid holds water: one that is called so, and the
// fire-resistant classes HFA, HFB and HFC, which are emulsions and solutions in
// water (ISO 6743-4, from memory).
func isWater(fluid string) bool {
	if fluid == "" || fluid == "mineral oil" {
		return false
	}
	s := strings.ToLower(fluid)
	return slices.ContainsFunc([]string{"water", "wasser", "glycol", "glykol", "emulsion", "hfa", "hfb", "hfc"},
		func(w string) bool { return strings.Contains(s, w) })
}

// heatReference is the reference temperature of the heat clock; false if it is
// unknown.
func heatReference(a *Assembly) (float64, bool) {
	if a.Policy.HeatReferenceC != nil {
		return *a.Policy.HeatReferenceC, true
	}
	c := hottestAllowed(a) - referenceBelowMax
	return c, !math.IsInf(c, 1)
}

// activation is the activation energy in kJ/mol.
func activation(a *Assembly) float64 {
	if a.Policy.EaKJ != nil {
		return *a.Policy.EaKJ
	}
	return DefaultEaKJ(a.Hose.Tube)
}

// dutyOf judges one row of conditions that passed Check.
func (m *model) dutyOf(k *Conditions) duty {
	d := duty{row: k, rated: withAdapter(m.base, k), weight: m.factor, af: 1, afRest: 1, hotMean: 1}
	if k.Recorded {
		d.weight = 1
	}
	bar, known := highest(k)
	d.noPressure = !known
	if d.rated > 0 {
		d.percent = bar / d.rated * 100
		d.capacity = m.curve.BurstBar(d.rated)
	}
	m.heatOf(k, &d)
	if m.wire {
		m.damageOf(k, &d)
	} else {
		countCycles(k, &d)
	}
	return d
}

// heatOf sets the temperatures and the factors that follow from them.
func (m *model) heatOf(k *Conditions, d *duty) {
	d.hottest = math.Inf(-1)
	d.noTemperature = k.FluidC == nil && len(k.Temperatures) == 0
	floor := math.Inf(-1) // hot surroundings bound every temperature below
	if k.AlwaysHot && k.SurroundingsC != nil {
		floor = *k.SurroundingsC
	}
	var buf [8]heat.Share
	shares := buf[:0]
	for _, t := range k.Temperatures {
		c := max(t.C, floor)
		if t.Share > 0 {
			d.hottest = max(d.hottest, c)
		}
		shares = append(shares, heat.Share{Temperature: quantity.Temperature(c), Share: t.Share})
	}
	if len(shares) == 0 {
		for _, c := range [...]*float64{k.FluidC, k.SurroundingsC} {
			if c != nil {
				d.hottest = max(d.hottest, *c)
			}
		}
		if math.IsInf(d.hottest, -1) {
			return
		}
		shares = append(shares, heat.Share{Temperature: quantity.Temperature(d.hottest), Share: 1})
	}
	d.hottest = max(d.hottest, floor)
	if d.hottest > m.testC {
		d.hotMean = meanAF(shares, m.testC, m.eaKJ)
	}
	if !m.hasRef || d.hottest <= m.refC {
		return
	}
	d.af = meanAF(shares, m.refC, m.eaKJ)
	switch {
	case k.AlwaysHot && k.SurroundingsC != nil:
		shares = append(buf[:0], heat.Share{Temperature: quantity.Temperature(floor), Share: 1})
		d.afRest = min(meanAF(shares, m.refC, m.eaKJ), d.af)
	case k.AlwaysHot:
		d.afRest = d.af
	}
}

// meanAF is heat.MeanAF for what Check has let through, where it has no error.
func meanAF(shares []heat.Share, refC, eaKJ float64) float64 {
	f, err := heat.MeanAF(shares, quantity.Temperature(refC), eaKJ)
	if err != nil {
		return 1
	}
	return f
}

// damageOf sets damage and cycles per running hour. Rows are summed in the
// order of what they do, so their order in the input changes nothing.
func (m *model) damageOf(k *Conditions, d *duty) {
	var buf [16]float64
	parts := buf[:0]
	for i := range k.Cycles {
		y := &k.Cycles[i]
		low := y.MinBar
		if m.peak {
			low = 0
		}
		each := 0.0
		if d.rated > 0 {
			each = m.curve.Damage(d.rated, low, y.MaxBar)
		}
		parts = append(parts, each*perHourOf(y))
	}
	slices.Sort(parts)
	sum := 0.0
	for _, p := range parts {
		sum += p
	}
	d.perHour = sum * d.hotMean
	countCycles(k, d)
}

// countCycles sets the cycles per running hour and what is not known of them.
func countCycles(k *Conditions, d *duty) {
	d.noCycles = len(k.Cycles) == 0 && !k.NoCycles
	var buf [16]float64
	parts := buf[:0]
	for i := range k.Cycles {
		if !perHour(&k.Cycles[i]) && k.Cycles[i].PerHour == nil {
			d.noPer = true
		}
		parts = append(parts, perHourOf(&k.Cycles[i]))
	}
	slices.Sort(parts)
	for _, p := range parts {
		d.cycles += p
	}
}

// perHourOf is the row's cycles per running hour, 0 where its unit's frequency
// is not known.
func perHourOf(y *Cycle) float64 {
	switch {
	case perHour(y):
		return y.Count
	case y.PerHour == nil:
		return 0
	}
	return y.Count * *y.PerHour
}
