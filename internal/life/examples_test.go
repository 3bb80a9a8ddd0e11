package life_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
)

// planned are the hours of a machine of which only the plan is known.
func planned(t testing.TB, perWeek float64, asOf string) *usage.Hours {
	t.Helper()
	h, err := usage.New(usage.Series{PlannedPerWeek: &perWeek}, day(asOf))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// plain is an assembly of which everything is known and nothing is wrong: 275
// bar, fitted on 2020-01-01 when it was made, 12 h a day, cool, no cycles.
func plain(t testing.TB) life.Assembly {
	d := day("2020-01-01")
	return life.Assembly{
		ID:      "plain",
		Hose:    life.Hose{Construction: "wire braid", Tube: "NBR", RatedBar: ptr(275.0), Made: d, MaxC: ptr(110.0)},
		EndABar: ptr(275.0), EndBBar: ptr(400.0), Assembled: d, Fitted: d,
		Policy:     life.NormalDemand(),
		Conditions: []life.Conditions{{From: d, Recorded: true, FluidC: ptr(60.0), NoCycles: true}},
		Stints:     []life.Stint{{From: d, Hours: planned(t, 84, "2020-07-01")}},
	}
}

func near(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s is nil, want %v", what, want)
		return
	}
	if math.Abs(*got-want) > tolerance {
		t.Errorf("%s is %v, want %v within %v", what, *got, want, tolerance)
	}
}

func isDue(t *testing.T, e life.Estimate, name life.ClockName, want string) {
	t.Helper()
	k := clockOf(e, name)
	if k == nil {
		t.Fatalf("there is no %s clock", name)
	}
	if k.Due.String() != want {
		t.Errorf("%s due %v, want %q", name, k.Due, want)
	}
}

// A public road-machine manual, as restated: a hose marked 07/10 is of October
// 2007, its six years end in October 2013 and its two years of storage in
// October 2009.
func TestOf_ManualsOwnCalendarExample(t *testing.T) {
	a := plain(t)
	a.Hose.Made, a.Assembled, a.Fitted = day("2007-10-01"), day("2007-10-01"), day("2008-02-01")
	a.Conditions[0].From, a.Stints[0].From = a.Fitted, a.Fitted
	e := of(t, a, "2010-01-01")
	isDue(t, e, life.CalendarClock, "2013-10-01")
	if k := clockOf(e, life.CalendarClock); k.Rule != life.RuleAssembly {
		t.Errorf("rule %q", k.Rule)
	}
	a.Fitted, a.Stints, a.Conditions = noDate, nil, nil
	e = of(t, a, "2008-02-01")
	if e.StoreUntil != day("2009-10-01") || e.Status != life.StatusInStore || !e.Due.IsZero() {
		t.Errorf("in store: until %v, status %s, due %v", e.StoreUntil, e.Status, e.Due)
	}
}

// 2024-02-29 + 24 months is 2026-02-28: clamped to the month's end (XML Schema
// 1.1 part 2, appendix E, from memory; IBM Db2 for i manual).
func TestOf_LeapDayIsClamped(t *testing.T) {
	a := plain(t)
	a.Hose.Made, a.Assembled, a.Fitted = day("2024-02-29"), day("2024-02-29"), day("2024-02-29")
	a.Stints[0].From = a.Fitted
	a.Policy = life.HeightenedDemand()
	e := of(t, a, "2025-01-01")
	isDue(t, e, life.CalendarClock, "2026-02-28")
	isDue(t, e, life.HeatClock, "2026-02-28")
	if e.Governing != life.CalendarClock || e.Due != day("2026-02-28") {
		t.Errorf("%s governs on %v: of two on the same day the calendar comes first", e.Governing, e.Due)
	}
}

// The invented duty of the trade facts, section 1.4, computed there: 275 bar,
// reference curve, damage 7.7356e-05 per hour, D = 1 at 12 927 h; without the
// first row at 13 356 h.
func TestOf_DutyOfFiveRows(t *testing.T) {
	rows := []life.Cycle{
		{MaxBar: 200, Count: 400}, {MaxBar: 275, Count: 60}, {MaxBar: 330, Count: 12}, {MaxBar: 400, Count: 2}, {MaxBar: 500, Count: 0.1},
	}
	a := plain(t)
	a.Policy.DamageLimit = ptr(1.0)
	a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, rows
	e := of(t, a, "2020-07-01")
	k := clockOf(e, life.PressureClock)
	near(t, "damage per hour", k.DamagePerHour, 7.7356e-05, 5e-10)
	near(t, "hours to D = 1", ptr(1 / *k.DamagePerHour), 12927, 0.5)
	near(t, "exponent", k.Exponent, 11.0851891057, 1e-9)
	near(t, "limit", k.Limit, 1, 0)
	// 12 927 h at 12 h a day are 1077.25 days: 2020-01-01 + 1077 = 2022-12-13.
	isDue(t, e, life.PressureClock, "2022-12-13")
	// Half a year, 182 days x 12 h: 2184 h x 7.7356e-05 = 0.16895.
	near(t, "used", k.Used, 0.16895, 5e-6)
	near(t, "damage", k.Damage, 0.16895, 5e-6)
	near(t, "percent", clockOf(e, life.RatingClock).Percent, 500.0/275*100, 1e-9)
	isDue(t, e, life.RatingClock, "") // recorded, and below 200 %

	a.Conditions[0].Cycles = rows[1:]
	k = clockOf(of(t, a, "2020-07-01"), life.PressureClock)
	near(t, "hours to D = 1 without the first row", ptr(1 / *k.DamagePerHour), 13356, 0.5)
}

// Lives on the reference curve and one Miner sum of five blocks, computed with
// 50 digits from its two points (see testdata/reference/miner).
func TestOf_CurveAndMinerSum(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "miner", "miner_hose_curve.json"))
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Curve struct {
			Lives map[string]string `json:"life_cycles"`
		} `json:"anchor_133"`
		Block struct {
			Blocks [][2]float64 `json:"blocks_percent_of_rated_cycles"`
			Sum    string       `json:"damage_sum"`
		} `json:"hose_block_anchor_133"`
	}
	if err := json.Unmarshal(raw, &ref); err != nil {
		t.Fatal(err)
	}
	perHour := func(rows ...life.Cycle) float64 {
		a := plain(t)
		a.Hose.RatedBar, a.EndABar, a.EndBBar = ptr(100.0), ptr(100.0), ptr(100.0)
		a.Conditions[0].Cycles = rows
		return *clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	tried := 0
	for percent, lives := range ref.Curve.Lives {
		if p := number(percent); p < 400 {
			tried++
			near(t, "cycles at "+percent+" %", ptr(1/perHour(life.Cycle{MaxBar: p, Count: 1})*1/number(lives)), 1, 1e-9)
		}
	}
	var rows []life.Cycle
	for _, b := range ref.Block.Blocks {
		rows = append(rows, life.Cycle{MaxBar: b[0], Count: b[1]})
	}
	near(t, "damage of the block", ptr(perHour(rows...)), number(ref.Block.Sum), 1e-12)
	if tried < 10 || len(rows) != 5 {
		t.Fatalf("read %d lives and %d blocks", tried, len(rows))
	}
}

// A hose tested at 100 % for 150 000 cycles (1SN in DN31 and up) would be 31
// times kinder by the reference: 4 720 074.5 / 150 000 = 31.47.
func TestOf_OwnCurveWhereStricter(t *testing.T) {
	a := plain(t)
	a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 275, Count: 60}}
	reference := *clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour
	a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(100.0), ptr(150000.0)
	k := clockOf(of(t, a, "2020-07-01"), life.PressureClock)
	near(t, "ratio", ptr(*k.DamagePerHour/reference), 31.467, 0.001)
	near(t, "damage per hour", k.DamagePerHour, 60.0/150000, 1e-12)
	// A milder own curve (133 % for 1 000 000 cycles) changes nothing...
	a.Hose.ImpulsePercent, a.Hose.ImpulseCycles = ptr(133.0), ptr(1e6)
	near(t, "milder curve", clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour, reference, 1e-18)
	// ...unless the policy says so with a reason: N at 100 % is 3.58e7 (trade facts 1.2).
	a.Policy.OwnCurveAlone, a.Policy.OwnCurveReason = true, "tested by the maker"
	near(t, "own curve alone", ptr(60 / *clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour), 3.58e7, 0.005e7)
}

// 80 kJ/mol makes 90 to 100 degC a factor of 2.03 (trade facts section 6); to
// more figures exp(80000 / 8.314462618 x (1/363.15 - 1/373.15)) = 2.034084.
// At 12 h a day X grows by 12 x 1.034084 / 24 = 0.517042 days a day. The six
// years from 2020-01-01 are 2192 days, so t = 2192 / 1.517042 = 1444.917 days:
// 2020-01-01 + 1444 = 2023-12-15.
func TestOf_HeatBringsTheCalendarNearer(t *testing.T) {
	a := plain(t)
	a.Policy.EaKJ = ptr(80.0)
	a.Conditions[0].FluidC = ptr(100.0)
	e := of(t, a, "2020-07-01")
	k := clockOf(e, life.HeatClock)
	near(t, "factor", k.Factor, 2.034084, 1e-6)
	isDue(t, e, life.HeatClock, "2023-12-15")
	isDue(t, e, life.CalendarClock, "2026-01-01")
	near(t, "X on 2020-07-01", k.ExtraDays, 182*0.517042, 1e-3)
	near(t, "used", k.Used, 182*1.517042/2192, 1e-6)
	if e.Governing != life.HeatClock {
		t.Errorf("%s governs", e.Governing)
	}
	// Surroundings of 100 degC round the clock: 2192 / 2.034084 = 1077.635
	// days, 2020-01-01 + 1077 = 2022-12-13.
	a.Conditions[0].FluidC, a.Conditions[0].SurroundingsC, a.Conditions[0].AlwaysHot = ptr(40.0), ptr(100.0), true
	isDue(t, of(t, a, "2020-07-01"), life.HeatClock, "2022-12-13")
	// A heat limit of 36 months, 1096 days: 1096 / 2.034084 = 538.8 days,
	// 2020-01-01 + 538 = 2021-06-22.
	a.Policy.HeatLimitMonths = ptr(36)
	isDue(t, of(t, a, "2020-07-01"), life.HeatClock, "2021-06-22")
}

// The mean of AF, not AF of the mean: NBR with 110 degC, so Tref 90 degC:
// AF(100) = exp(92000 / 8.314462618 x (1/363.15 - 1/373.15)) = 2.262686; at
// 30 % of the time 0.7 + 0.3 x 2.262686 = 1.378806. AF of the mean, 72 degC,
// would be 1.
func TestOf_HeatIsMeanOfFactors(t *testing.T) {
	a := plain(t)
	a.Conditions[0].FluidC, a.Conditions[0].Temperatures = nil, []life.TemperatureShare{{C: 60, Share: 0.7}, {C: 100, Share: 0.3}}
	near(t, "factor", clockOf(of(t, a, "2020-07-01"), life.HeatClock).Factor, 0.7+0.3*math.Exp(92000/8.314462618*(1/363.15-1/373.15)), 1e-12)
	near(t, "factor", clockOf(of(t, a, "2020-07-01"), life.HeatClock).Factor, 1.378806, 1e-6)
}

// Surroundings that are hot round the clock bound every temperature below: a
// hose measured at 60 and 100 degC beside a furnace of 95 degC is at 95 and
// 100; it stands at 95.
func TestOf_HotSurroundingsBoundTheTemperatures(t *testing.T) {
	a := plain(t)
	a.Conditions[0].FluidC, a.Conditions[0].Temperatures = nil, []life.TemperatureShare{{C: 60, Share: 0.7}, {C: 100, Share: 0.3}}
	a.Conditions[0].SurroundingsC, a.Conditions[0].AlwaysHot = ptr(95.0), true
	af := func(c float64) float64 { return math.Exp(92000 / 8.314462618 * (1/363.15 - 1/(c+273.15))) }
	running := 0.7*af(95) + 0.3*af(100)
	k := clockOf(of(t, a, "2020-07-01"), life.HeatClock)
	near(t, "factor", k.Factor, running, 1e-12)
	near(t, "X after 182 days, half of each running", k.ExtraDays, 182*((running+af(95))/2-1), 1e-9)
}

// 8400 h at 12 h a day are exactly 700 days: 2020-01-01 + 700 = 2021-12-01.
// Planned hours have ends of 30 % (choice): 8400 / 15.6 = 538.46 days,
// 2021-06-22, and 8400 / 8.4 = 1000 days, 2022-09-27. They part on the day of
// the estimate, here the day of fitting.
func TestOf_HoursLimitAndBand(t *testing.T) {
	a := plain(t)
	a.Stints[0].Hours = planned(t, 84, "2020-01-01")
	a.Policy.HoursFromFitting = ptr(8400.0)
	e := of(t, a, "2020-01-01")
	isDue(t, e, life.HoursClock, "2021-12-01")
	if e.Earliest != day("2021-06-22") || e.Latest != day("2022-09-27") || e.Due != day("2021-12-01") {
		t.Errorf("band %v, %v, %v", e.Earliest, e.Due, e.Latest)
	}
	// Cycles: 100 an hour, 840 000 cycles are the same day; half as many, half
	// the time: 350 days, 2020-12-16.
	a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, []life.Cycle{{MaxBar: 20, Count: 60}, {MaxBar: 10, Per: "lift", PerHour: ptr(8.0), Count: 5}}
	a.Policy.CyclesFromFitting = ptr(420000.0)
	e = of(t, a, "2020-01-01")
	isDue(t, e, life.HoursClock, "2020-12-16")
	if k := clockOf(e, life.HoursClock); k.Rule != life.RuleCycles || *k.Limit != 420000 {
		t.Errorf("rule %q, limit %v", k.Rule, *k.Limit)
	}
}

// Recorded for 100 days, then assumed with the same cycles: at 12 h a day and
// d per hour the share is (1200 d + 2 x 984 d) / limit on 2020-07-01 (82 days).
func TestOf_AssumedDamageCountsTwice(t *testing.T) {
	a := plain(t)
	second := a.Conditions[0]
	first := &a.Conditions[0]
	first.NoCycles, first.Cycles = false, []life.Cycle{{MaxBar: 275, Count: 472}}
	second.From, second.Recorded, second.NoCycles, second.Cycles = day("2020-04-10"), false, false, first.Cycles
	a.Conditions = append(a.Conditions, second)
	// d = 472 / 4 720 074.5 = 1e-4 (0.99998e-4).
	const d = 472 / 4720074.5368716821593
	for _, c := range []struct {
		name  string
		edit  func(a *life.Assembly)
		limit float64
	}{
		{"the limit is 0.5", func(*life.Assembly) {}, 0.5},
		{"a burst that can hurt halves it", func(a *life.Assembly) { a.CanHurt = true }, 0.25},
		{"an unknown end halves it too", func(a *life.Assembly) { a.EndBBar = nil }, 0.25},
		{"a rating from a table halves it as well", func(a *life.Assembly) { a.Hose.RatingUnconfirmed = true }, 0.25},
		{"both quarter it", func(a *life.Assembly) { a.CanHurt, a.EndABar = true, nil }, 0.125},
		{"the policy's own is halved likewise", func(a *life.Assembly) { a.CanHurt, a.Policy.DamageLimit = true, ptr(0.8) }, 0.4},
	} {
		b := clone(a)
		c.edit(&b)
		k := clockOf(of(t, b, "2020-07-01"), life.PressureClock)
		near(t, c.name, k.Limit, c.limit, 1e-15)
		near(t, c.name+": damage", k.Damage, (1200+984)*d, 1e-9)
		near(t, c.name+": used", k.Used, (1200+2*984)*d/c.limit, 1e-9)
		near(t, c.name+": limit in force", ptr(life.LimitInForce(&b)), c.limit, 1e-15)
	}
	a.Policy.AssumedFactor = ptr(3.0)
	near(t, "factor of the policy", clockOf(of(t, a, "2020-07-01"), life.PressureClock).Used, (1200+3*984)*d/0.5, 1e-9)
}

// Two machines of 12 and 6 h a day with 30 days in store between them: on
// 2020-07-01 100 x 12 + 52 x 6 = 1512 h, and the store counts no hours.
func TestOf_MovesAddUp(t *testing.T) {
	a := plain(t)
	a.Policy.HoursFromFitting = ptr(2000.0)
	a.Stints = []life.Stint{
		{From: day("2020-05-10"), Hours: planned(t, 42, "2020-07-01")},
		{From: day("2020-01-01"), To: day("2020-04-10"), Hours: planned(t, 84, "2020-07-01")},
	}
	e := of(t, a, "2020-07-01")
	near(t, "hours since fitting", e.HoursSinceFitting, 1512, 1e-9)
	near(t, "hours a week", e.HoursPerWeek, 42, 1e-9)
	near(t, "used", clockOf(e, life.HoursClock).Used, 1512.0/2000, 1e-12)
	// 488 h at 6 h a day are 81.33 days: 2020-07-01 + 81 = 2020-09-20.
	isDue(t, e, life.HoursClock, "2020-09-20")
	// Taken off and laid in store it wears no hours, and has no due date.
	a.Stints[0].To = day("2020-06-30")
	e = of(t, a, "2020-07-01")
	isDue(t, e, life.HoursClock, "")
	if e.Status != life.StatusInStore || !e.Due.IsZero() || e.HoursPerWeek != nil {
		t.Errorf("status %s, due %v", e.Status, e.Due)
	}
	// Stored 30 + 1 days of the 731 that 24 months from 2020-01-01 are: 700
	// more, 2020-07-01 + 700 = 2022-06-01.
	if e.StoreUntil != day("2022-06-01") {
		t.Errorf("store until %v", e.StoreUntil)
	}
}

// The share of heat, t / 2192 days where nothing is hot, and of pressure add
// up. 472 recorded cycles an hour at the rating are 472 / 4 720 074.5 =
// 0.999984e-4 an hour, 12 h a day, of a limit of 0.5:
// 1 / (1/2192 + 12 x 0.999984e-4 / 0.5) = 350.12 days, 2020-01-01 + 350 =
// 2020-12-16.
func TestOf_CombinedSharesAddUp(t *testing.T) {
	a := plain(t)
	a.Policy.CombineSum = true
	a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 275, Count: 472}}
	e := of(t, a, "2020-07-01")
	isDue(t, e, life.CombinedClock, "2020-12-16")
	// Alone the pressure clock takes 0.5 / (12 x 0.999984e-4) = 416.67 days.
	isDue(t, e, life.PressureClock, "2021-02-20")
	near(t, "used", clockOf(e, life.CombinedClock).Used, 182.0/2192+182*12*472/4720074.5368716821593/0.5, 1e-9)
	if e.Governing != life.CombinedClock {
		t.Errorf("%s governs", e.Governing)
	}
}

// Above the test temperature damage is multiplied by AF against it: 120 degC
// against 110 with 92 kJ/mol, exp(92000 / 8.314462618 x (1/383.15 - 1/393.15))
// = 2.084562.
func TestOf_HotterThanTheImpulseTestWearsMore(t *testing.T) {
	a := plain(t)
	a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 275, Count: 472}}
	a.Hose.ImpulsePercent, a.Hose.ImpulseCycles, a.Hose.ImpulseTempC = ptr(133.0), ptr(200000.0), ptr(110.0)
	cool := *clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour
	a.Conditions[0].FluidC = ptr(110.0)
	near(t, "at the test temperature", clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour, cool, 0)
	a.Conditions[0].FluidC = ptr(120.0)
	hot := *clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour
	a.Conditions[0].FluidC = ptr(111.0)
	near(t, "a degree above it", ptr(*clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour/cool), math.Exp(92000/8.314462618*(1/383.15-1/384.15)), 1e-9)
	near(t, "above it", ptr(hot/cool), math.Exp(92000/8.314462618*(1/383.15-1/393.15)), 1e-9)
	// 5 % more pressure is 1.05^11.0852 = 1.717 times the damage.
	a.Conditions[0].FluidC, a.Conditions[0].Cycles[0].MaxBar = ptr(60.0), 275*1.05
	near(t, "5 % more", ptr(*clockOf(of(t, a, "2020-07-01"), life.PressureClock).DamagePerHour/cool), 1.717, 0.001)
}
