package life_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

var (
	lastStep = regexp.MustCompile(`= (\d{4}-\d\d-\d\d)(\.\d+)? \+ \((\S+) - (\S+)\) / \((\S+) \+ (\S+) x (\S+)\)$`)
	stretch  = regexp.MustCompile(`^(\S+) a day x (\S+) days \+ (\S+) an hour x (\S+) h$`)
	span     = regexp.MustCompile(`^(.*): .* from (\S+) to (\S+), (fast|middle|slow) path$`)
	oneCycle = regexp.MustCompile(`^(\S+) x \(\((\S+) - (\S+)\) / \((\S+) - (\S+)\)\) \^ (\S+)$`)
	oneAF    = regexp.MustCompile(`^max\(1, exp\((\S+) / (\S+) x \(1/(\S+) - 1/(\S+)\)\)\)$`)
)

func figures(t fataler, text ...string) []float64 {
	out := make([]float64, len(text))
	for i, s := range text {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("%q is no number", s)
		}
		out[i] = v
	}
	return out
}

type fataler interface{ Fatalf(string, ...any) }

// calculator does what a reader with a calculator does: it takes the numbers
// from the text and nothing else.
type calculator struct {
	t     fataler
	steps []life.Step
}

func (c *calculator) check() {
	for _, s := range c.steps {
		if m := stretch.FindStringSubmatch(s.Formula); m != nil {
			v := figures(c.t, m[1], m[2], m[3], m[4], s.Value)
			c.near(s, v[0]*v[1]+v[2]*v[3], v[4])
		}
		if m := oneCycle.FindStringSubmatch(s.Formula); m != nil {
			v := figures(c.t, m[1], m[2], m[3], m[4], m[5], m[6], s.Value)
			c.near(s, v[0]*math.Pow((v[1]-v[2])/(v[3]-v[4]), v[5]), v[6])
		}
		if m := oneAF.FindStringSubmatch(s.Formula); m != nil {
			v := figures(c.t, m[1], m[2], m[3], m[4], s.Value)
			c.near(s, math.Max(1, math.Exp(v[0]/v[1]*(1/v[2]-1/v[3]))), v[4])
		}
		if m := lastStep.FindStringSubmatch(s.Formula); m != nil {
			v := figures(c.t, m[3], m[4], m[5], m[6], m[7])
			begin := asFloat(day(m[1]))
			if m[2] != "" {
				begin += figures(c.t, "0"+m[2])[0]
			}
			at := begin + (v[0]-v[1])/(v[2]+v[3]*v[4])
			if lo, hi := quantity.DayOfInstant(at-2e-6), quantity.DayOfInstant(at+4e-6); s.Value != lo.String() && s.Value != hi.String() {
				c.t.Fatalf("%+v: a calculator says %v", s, hi)
			}
			if sum := c.summed(s.Name, m[1]+m[2]); math.Abs(sum-v[1]) > 1e-9*v[0] {
				c.t.Fatalf("%+v: a calculator has summed %v by then", s, sum)
			}
		}
	}
}

// summed adds up the stretches of the clock and path of a last step, those of
// the middle path where the path shows none of its own.
func (c *calculator) summed(name, begin string) float64 {
	clock, rest, _ := strings.Cut(name, " due, ")
	path := strings.TrimSuffix(rest, " path")
	own := map[string]float64{}
	for _, s := range c.steps {
		m := span.FindStringSubmatch(s.Name)
		if m == nil || m[1] != clock || m[4] != path && m[4] != "middle" || m[3] > begin {
			continue
		}
		if _, ok := own[m[2]+m[3]]; !ok || m[4] == path {
			own[m[2]+m[3]] = figures(c.t, s.Value)[0]
		}
	}
	// A stretch of the middle path may be part of a longer one of this path.
	sum := 0.0
	for k, v := range own {
		covered := false
		for o := range own {
			covered = covered || o != k && o[:len("2020-01-01")] == k[:len("2020-01-01")] && len(o) == len(k) && o > k
		}
		if !covered {
			sum += v
		}
	}
	return sum
}

func (c *calculator) near(s life.Step, got, want float64) {
	if math.Abs(got-want) > 1e-8*math.Max(math.Abs(want), 1e-12)+1e-9*math.Abs(got) {
		c.t.Fatalf("%+v: a calculator says %v, not %v", s, got, want)
	}
}

func working(t fataler, a *life.Assembly, asOf quantity.Date) []life.Step {
	steps, err := life.Working(a, asOf)
	if err != nil {
		t.Fatalf("working: %v", err)
	}
	return steps
}

func TestWorking_CalculatorReachesTheDates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, _ := assembly(t)
		e := estimate(t, a)
		steps := working(t, &a, asOfDay)
		(&calculator{t: t, steps: steps}).check()
		for _, k := range e.Clocks {
			var first quantity.Date
			shown := false
			for _, s := range steps {
				ours := strings.HasPrefix(s.Name, string(k.Name)) && strings.Contains(s.Name, " due, middle path")
				if ours || s.Name == string(k.Name)+" due" {
					shown = true
					if d, err := quantity.ParseDate(s.Value); err == nil {
						first = quantity.Earliest(first, d)
					}
				}
				if k.Name == life.ConditionClock && strings.HasPrefix(s.Name, "finding of ") && !strings.Contains(s.Formula, "not the due date") {
					shown = true
					first = quantity.Earliest(first, day(s.Value))
				}
			}
			if !k.Due.IsZero() && (!shown || first != k.Due) {
				t.Fatalf("%s due %v, the working ends at %v", k.Name, k.Due, first)
			}
			if len(k.Missing) > 0 && (k.Name == life.HeatClock || k.Name == life.PressureClock) && !named(steps, string(k.Name)+" clock") {
				t.Fatalf("%s lacks %v and the working does not say so", k.Name, k.Missing)
			}
		}
		last := steps[len(steps)-1]
		if a.Lengthened == "" && e.Status != life.StatusInStore && last.Name != "band" {
			t.Fatalf("ends with %+v", last)
		}
	})
}

func named(steps []life.Step, name string) bool {
	for _, s := range steps {
		if s.Name == name {
			return true
		}
	}
	return false
}

func value(t *testing.T, steps []life.Step, name string) string {
	t.Helper()
	for _, s := range steps {
		if s.Name == name {
			return s.Value
		}
	}
	t.Fatalf("no step %q", name)
	return ""
}

// 5 % more pressure is 1.05^11.0852 = 1.7175 times the damage. 472 cycles an
// hour at the rating, assumed: 2 x 0.999984e-4 x 12 a day of 0.5 are 208.34
// days; 208.34 / 1.7175 = 121.30: 2020-01-01 + 121 = 2020-05-01.
func TestWorking_FivePercentMorePressure(t *testing.T) {
	a := plain(t)
	a.Conditions[0].Recorded, a.Conditions[0].NoCycles = false, false
	a.Conditions[0].Cycles = []life.Cycle{{MaxBar: 275, Count: 472}}
	steps := working(t, &a, day("2020-03-01"))
	if got := value(t, steps, "with 5 % more pressure the pressure clock's date would be"); got != "2020-05-01" {
		t.Errorf("5 %% more: %s", got)
	}
	// 208.34 days: 2020-01-01 + 208 = 2020-07-27.
	if got := value(t, steps, "pressure due, middle path"); got != "2020-07-27" {
		t.Errorf("due %s", got)
	}
	if a.Conditions[0].Cycles[0].MaxBar != 275 {
		t.Error("the input was changed")
	}
}

func TestWorking_SaysWhereEachValueIsFrom(t *testing.T) {
	a := plain(t)
	a.CanHurt, a.EndABar, a.Policy.CombineSum, a.Policy.HoursFromFitting = true, nil, true, ptr(5000.0)
	a.Conditions[0].FluidC, a.Conditions[0].Recorded = ptr(100.0), false
	a.Conditions[0].NoCycles, a.Conditions[0].Cycles = false, []life.Cycle{{MinBar: 10, MaxBar: 280, Count: 50}}
	a.Lengthened = "R. Maier: 84 months, tested"
	steps := working(t, &a, day("2020-07-01"))
	for name, want := range map[string][2]string{
		"rating":              {"275 bar, unconfirmed", life.SourceSeen},
		"damage limit":        {"0.125", life.SourceChoice},
		"heat reference":      {"90 °C", life.SourceChoice},
		"activation energy":   {"92 kJ/mol", "Sandia"},
		"exponent m":          {"11.0851891057", life.SourceSeen},
		"calendar due":        {"2026-01-01", life.SourceStandard},
		"rating due":          {"2020-01-01", "SAE J1927"},
		"inspection interval": {"2021-01-01", "DGUV"},
		"lengthened limit":    {"R. Maier: 84 months, tested", ""},
	} {
		found := false
		for _, s := range steps {
			if s.Name == name {
				found = true
				if s.Value != want[0] || !strings.Contains(s.Source, want[1]) {
					t.Errorf("%+v, want %v", s, want)
				}
			}
		}
		if !found {
			t.Errorf("no step %q", name)
		}
	}
	for _, s := range steps {
		if s.Name == "" || s.Formula == "" || s.Value == "" || s.Source == "" {
			t.Errorf("%+v is not whole", s)
		}
	}
	if testing.Verbose() {
		for _, s := range steps {
			fmt.Printf("%s | %s | %s | %s\n", s.Name, s.Formula, s.Value, s.Source)
		}
	}
}
