package life_test

import (
	"math"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// asOfDay is the day of the random estimates.
var asOfDay = day("2026-11-25")

// machine is the series of a random machine; scale multiplies every hour.
func machine(t *rapid.T, label string) usage.Series {
	var s usage.Series
	kind := rapid.IntRange(0, 3).Draw(t, label+" machine kind")
	if kind != 1 {
		s.PlannedPerWeek = ptr(rapid.Float64Range(1, 60).Draw(t, label+" planned"))
	}
	if kind > 0 {
		n := rapid.IntRange(2, 12).Draw(t, label+" readings")
		on := asOfDay.AddDays(-rapid.IntRange(0, 400).Draw(t, label+" last reading"))
		step := rapid.IntRange(7, 200).Draw(t, label+" step")
		at := rapid.Float64Range(0, 5000).Draw(t, label+" meter")
		for i := range n {
			at += rapid.Float64Range(1, 8).Draw(t, label+" a day") * float64(step)
			s.Readings = append(s.Readings, usage.Reading{On: on.AddDays(-step * (n - 1 - i)), Hours: at})
		}
	}
	if rapid.Bool().Draw(t, label+" laid up") {
		from := asOfDay.AddDays(rapid.IntRange(-700, 500).Draw(t, label+" lay-up"))
		s.LaidUp = append(s.LaidUp, usage.LayUp{From: from, To: from.AddDays(rapid.IntRange(1, 120).Draw(t, label+" lay-up days"))})
	}
	return s
}

func scaled(s usage.Series, k float64) usage.Series {
	if s.PlannedPerWeek != nil {
		s.PlannedPerWeek = ptr(*s.PlannedPerWeek * k)
	}
	s.Readings = append([]usage.Reading(nil), s.Readings...)
	for i := range s.Readings {
		s.Readings[i].Hours *= k
	}
	return s
}

func hoursOf(t *rapid.T, s usage.Series) *usage.Hours {
	h, err := usage.New(s, asOfDay)
	if err != nil {
		t.Fatalf("hours: %v", err)
	}
	return h
}

func maybe[T any](t *rapid.T, label string, g *rapid.Generator[T]) *T {
	if rapid.IntRange(0, 3).Draw(t, label+" known") == 0 {
		return nil
	}
	return ptr(g.Draw(t, label))
}

// assembly is a random installed assembly with the series of its machines. Its
// pressures stay so far below burst that the laws can raise them.
func assembly(t *rapid.T) (life.Assembly, []usage.Series) {
	fitted := asOfDay.AddDays(-rapid.IntRange(0, 3000).Draw(t, "fitted"))
	assembled := fitted.AddDays(-rapid.IntRange(-100, 900).Draw(t, "stored"))
	made := assembled.AddDays(-rapid.IntRange(-100, 1900).Draw(t, "hose age"))
	a := life.Assembly{
		ID: "random",
		Hose: life.Hose{
			Construction: rapid.SampledFrom([]string{"wire braid", "wire spiral", "wire braid", "textile", "thermoplastic", ""}).Draw(t, "construction"),
			Tube:         rapid.SampledFrom([]string{"NBR", "CR", "EPDM", "", "PTFE", "NBR"}).Draw(t, "tube"),
			RatedBar:     ptr(rapid.Float64Range(100, 400).Draw(t, "rated")),
			MaxC:         maybe(t, "max", rapid.Float64Range(70, 130)),
		},
		EndABar: maybe(t, "end A", rapid.Float64Range(100, 400)),
		EndBBar: maybe(t, "end B", rapid.Float64Range(100, 400)),
		Fitted:  fitted,
		CanHurt: rapid.Bool().Draw(t, "can hurt"),
		Fluid:   rapid.SampledFrom([]string{"", "mineral oil", "water-based"}).Draw(t, "fluid"),
	}
	a.Hose.RatingUnconfirmed = rapid.IntRange(0, 4).Draw(t, "rating from a table") == 0
	if rapid.IntRange(0, 4).Draw(t, "assembled known") > 0 {
		a.Assembled = assembled
	}
	if rapid.IntRange(0, 3).Draw(t, "made known") > 0 {
		a.Hose.Made = made
	}
	if rapid.Bool().Draw(t, "own curve") {
		a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(rapid.SampledFrom([]float64{100, 120, 125, 133}).Draw(t, "impulse")), ptr(rapid.SampledFrom([]float64{150e3, 200e3, 500e3, 1e6}).Draw(t, "impulse cycles"))
		a.Hose.ImpulseTempC = ptr(rapid.SampledFrom([]float64{60, 100, 120}).Draw(t, "impulse temperature"))
	}
	a.Policy = policy(t)
	series := stints(t, &a)
	for i, n := 0, rapid.IntRange(0, 4).Draw(t, "rows"); i < n; i++ {
		from := fitted.AddDays(rapid.IntRange(-50, 400).Draw(t, "first row"))
		if i > 0 {
			from = a.Conditions[i-1].From.AddDays(rapid.IntRange(1, 900).Draw(t, "row"))
		}
		a.Conditions = append(a.Conditions, conditions(t, from))
	}
	for range rapid.IntRange(0, 3).Draw(t, "findings") {
		a.Findings = append(a.Findings, finding(t))
	}
	if rapid.Bool().Draw(t, "inspected") {
		a.LastInspection = asOfDay.AddDays(-rapid.IntRange(-20, 900).Draw(t, "inspection"))
	}
	return a, series
}

func stints(t *rapid.T, a *life.Assembly) []usage.Series {
	var series []usage.Series
	at := a.Fitted
	n := rapid.IntRange(1, 3).Draw(t, "stints")
	for i := range n {
		s := machine(t, "stint")
		st := life.Stint{From: at}
		if rapid.IntRange(0, 19).Draw(t, "hours known") > 0 {
			st.Hours = hoursOf(t, s)
		}
		if i < n-1 || rapid.IntRange(0, 9).Draw(t, "ends") == 0 {
			st.To = at.AddDays(rapid.IntRange(1, 800).Draw(t, "stint"))
			at = st.To.AddDays(rapid.IntRange(0, 200).Draw(t, "gap"))
		}
		a.Stints, series = append(a.Stints, st), append(series, s)
	}
	return series
}

func policy(t *rapid.T) life.Policy {
	p := life.Policy{
		Name:               "random",
		MonthsFromAssembly: maybe(t, "from assembly", rapid.IntRange(6, 200)),
		MonthsFromFitting:  maybe(t, "from fitting", rapid.IntRange(6, 200)),
		MonthsFromMake:     maybe(t, "from make", rapid.IntRange(6, 300)),
		HoursFromFitting:   maybe(t, "hours limit", rapid.Float64Range(100, 40000)),
		CyclesFromFitting:  maybe(t, "cycles limit", rapid.Float64Range(1e4, 1e7)),
		HeatLimitMonths:    maybe(t, "heat limit", rapid.IntRange(6, 200)),
		StorageMonths:      maybe(t, "storage", rapid.IntRange(1, 48)),
		HoseAgeMonths:      maybe(t, "hose age limit", rapid.IntRange(1, 60)),
		InspectMonths:      maybe(t, "inspect", rapid.IntRange(1, 24)),
		CombineSum:         rapid.Bool().Draw(t, "combine"),
		PeakOnly:           rapid.Bool().Draw(t, "peak only"),
	}
	if rapid.Bool().Draw(t, "own values") {
		p.DamageLimit = ptr(rapid.Float64Range(0.1, 1).Draw(t, "damage limit"))
		p.AssumedFactor = ptr(rapid.Float64Range(1, 4).Draw(t, "factor"))
		p.HeatReferenceC = ptr(rapid.Float64Range(20, 110).Draw(t, "reference"))
		p.EaKJ = ptr(rapid.Float64Range(40, 110).Draw(t, "energy"))
	}
	if rapid.IntRange(0, 3).Draw(t, "own curve alone") == 0 {
		p.OwnCurveAlone, p.OwnCurveReason = true, "tested by the maker"
	}
	return p
}

func conditions(t *rapid.T, from quantity.Date) life.Conditions {
	c := life.Conditions{
		From: from, Recorded: rapid.Bool().Draw(t, "recorded"), AlwaysHot: rapid.IntRange(0, 3).Draw(t, "always hot") == 0,
		FluidC: maybe(t, "fluid temperature", rapid.Float64Range(20, 110)), SurroundingsC: maybe(t, "surroundings", rapid.Float64Range(-10, 100)),
	}
	if c.FluidC == nil && rapid.IntRange(0, 4).Draw(t, "known otherwise") > 0 {
		s := rapid.Float64Range(0, 1).Draw(t, "share")
		c.Temperatures = []life.TemperatureShare{
			{C: rapid.Float64Range(20, 110).Draw(t, "one"), Share: s}, {C: rapid.Float64Range(20, 110).Draw(t, "other"), Share: 1 - s},
		}
	}
	if rapid.IntRange(0, 4).Draw(t, "adapter") == 0 {
		c.AdapterBar = ptr(rapid.Float64Range(100, 400).Draw(t, "adapter bar"))
	}
	if rapid.IntRange(0, 4).Draw(t, "assessed") == 0 {
		c.Assessed = asOfDay.AddDays(rapid.IntRange(-400, 40).Draw(t, "assessed on"))
	}
	switch rapid.IntRange(0, 9).Draw(t, "pressure known") {
	case 0:
		c.NoCycles = true
	case 1:
		c.WorkingBar = ptr(rapid.Float64Range(10, 300).Draw(t, "working"))
	default:
		top := 300.0
		if rapid.Bool().Draw(t, "within rating") {
			top = 100
		}
		for range rapid.IntRange(1, 5).Draw(t, "cycles") {
			low := rapid.Float64Range(-10, 50).Draw(t, "low")
			y := life.Cycle{MinBar: low, MaxBar: math.Max(low, 0) + rapid.Float64Range(1, top-50).Draw(t, "range"), Count: rapid.Float64Range(0, 2000).Draw(t, "count")}
			if rapid.IntRange(0, 9).Draw(t, "per lift") == 0 {
				y.Per, y.PerHour = "lift", maybe(t, "lifts an hour", rapid.Float64Range(0.1, 20))
			}
			c.Cycles = append(c.Cycles, y)
		}
	}
	return c
}

func finding(t *rapid.T) life.Finding {
	f := life.Finding{
		On:    asOfDay.AddDays(rapid.IntRange(-400, 60).Draw(t, "seen")),
		Class: rapid.SampledFrom([]life.Class{life.Stop, life.Replace, life.Correct, life.Watch, life.Watch, life.Sound}).Draw(t, "class"),
	}
	if rapid.Bool().Draw(t, "dated") {
		f.By = f.On.AddDays(rapid.IntRange(0, 400).Draw(t, "by"))
	}
	if rapid.Bool().Draw(t, "closed") {
		f.Closed = f.On.AddDays(rapid.IntRange(0, 400).Draw(t, "closed on"))
	}
	return f
}

// clone copies an assembly so deeply that changing one leaves the other alone.
func clone(a life.Assembly) life.Assembly {
	a.Conditions = append([]life.Conditions(nil), a.Conditions...)
	for i := range a.Conditions {
		c := &a.Conditions[i]
		c.Cycles = append([]life.Cycle(nil), c.Cycles...)
		c.Temperatures = append([]life.TemperatureShare(nil), c.Temperatures...)
	}
	a.Stints = append([]life.Stint(nil), a.Stints...)
	a.Findings = append([]life.Finding(nil), a.Findings...)
	return a
}

func estimate(t *rapid.T, a life.Assembly) life.Estimate {
	e, err := life.Of(&a, asOfDay)
	if err != nil {
		t.Fatalf("estimate: %v", err)
	}
	return e
}
