package fatigue_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life/fatigue"
)

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(reference, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Abs(want)
}

// hoseCurve is testdata/reference/miner/miner_hose_curve.json.
type hoseCurve struct {
	Anchor struct {
		Exponent string
		Life     map[string]string `json:"life_cycles"`
	} `json:"anchor_133"`
	Block struct {
		Blocks [][]float64 `json:"blocks_percent_of_rated_cycles"`
		Terms  []string    `json:"damage_terms"`
		Sum    string      `json:"damage_sum"`
		Equal  string      `json:"equivalent_cycles_at_133"`
	} `json:"hose_block_anchor_133"`
}

// TestReference_ComputedLives: lives on the reference curve of SAE J1927
// (points from a public summary), computed independently with mpmath.
func TestReference_ComputedLives(t *testing.T) {
	var ref hoseCurve
	readJSON(t, "miner/miner_hose_curve.json", &ref)
	c := fatigue.Reference()
	if want := number(t, ref.Anchor.Exponent); !near(c.Exponent(), want, 1e-14) {
		t.Errorf("exponent %.17g, want %.17g", c.Exponent(), want)
	}
	if len(ref.Anchor.Life) != 14 {
		t.Fatalf("%d lives, expected 14", len(ref.Anchor.Life))
	}
	const rated = 250
	for percent, life := range ref.Anchor.Life {
		p, want := number(t, percent), number(t, life)
		if p == 400 {
			continue // burst: one cycle, and no cycle to ask for
		}
		got, err := c.CyclesToFailure(rated, 0, p/100*rated)
		if err != nil || !near(got, want, 1e-12) {
			t.Errorf("%s %% of rated: %.17g cycles, %v; want %.17g", percent, got, err, want)
		}
		if d := c.Damage(rated, 0, p/100*rated); !near(d*want, 1, 1e-12) {
			t.Errorf("%s %% of rated: damage %g, want 1/%g", percent, d, want)
		}
	}
}

func TestDamageSum_Published(t *testing.T) {
	t.Run("five blocks on the reference curve, computed with mpmath", func(t *testing.T) {
		var ref hoseCurve
		readJSON(t, "miner/miner_hose_curve.json", &ref)
		const rated = 100
		var cycles []fatigue.Cycle
		for i, b := range ref.Block.Blocks {
			c := fatigue.Cycle{Max: b[0], Count: b[1]}
			cycles = append(cycles, c)
			want := number(t, ref.Block.Terms[i])
			if got := c.Count * fatigue.Reference().Damage(rated, c.Min, c.Max); !near(got, want, 1e-12) {
				t.Errorf("block %d: damage %.17g, want %.17g", i, got, want)
			}
		}
		want := number(t, ref.Block.Sum)
		got, err := fatigue.DamageSum(rated, cycles, fatigue.Reference())
		if err != nil || !near(got, want, 1e-12) {
			t.Errorf("sum %.17g, %v; want %.17g", got, err, want)
		}
		if eq := got * 200000; !near(eq, number(t, ref.Block.Equal), 1e-12) {
			t.Errorf("equal to %.17g cycles at 133 %%, want %s", eq, ref.Block.Equal)
		}
	})
	t.Run("Haibach 2006 p. 271, as restated in the tests of pylife; the book rounds", func(t *testing.T) {
		var ref struct {
			M1 struct {
				Knee     float64     `json:"knee_cycles"`
				At       float64     `json:"knee_amplitude"`
				Slope    float64     `json:"slope"`
				Spectrum [][]float64 `json:"spectrum_amplitude_cycles"`
				Total    string      `json:"total"`
				Computed string      `json:"life_cycles"`
				Life     float64     `json:"published_life_cycles"`
			}
		}
		readJSON(t, "miner/miner_published.json", &ref)
		// The book's line is given by knee and slope; ours by a point at one cycle.
		// Its amplitudes play the part of pressures from zero.
		one := ref.M1.At * math.Pow(ref.M1.Knee, 1/ref.M1.Slope)
		c, err := fatigue.NewCurve(one, ref.M1.At, ref.M1.Knee)
		if err != nil || !near(c.Exponent(), ref.M1.Slope, 1e-12) {
			t.Fatalf("exponent %g, %v; want %g", c.Exponent(), err, ref.M1.Slope)
		}
		var cycles []fatigue.Cycle
		for _, s := range ref.M1.Spectrum {
			// The elementary rule: the line goes on below the knee, so all count.
			cycles = append(cycles, fatigue.Cycle{Max: s[0], Count: s[1]})
		}
		d, err := fatigue.DamageSum(100, cycles, c)
		if err != nil {
			t.Fatal(err)
		}
		life := number(t, ref.M1.Total) / d
		if !near(life, ref.M1.Life, 1e-5) || !near(life, number(t, ref.M1.Computed), 1e-12) {
			t.Errorf("life %.10g, want %.10g as printed and %s computed", life, ref.M1.Life, ref.M1.Computed)
		}
	})
}

func TestCurve_Goodman(t *testing.T) {
	c := fatigue.Reference()
	for _, row := range []struct {
		name           string
		rated, lo, hi  float64
		equivalent     float64
		cyclesAsFromTo float64 // the same life as zero to this
	}{
		{"by hand: 1000 (210-100)/(1000-100) = 122.2", 250, 100, 210, 1000.0 * 110 / 900, 1000.0 * 110 / 900},
		{"from zero it is itself", 250, 0, 210, 210, 210},
		{"below zero counts as zero", 250, -0.9, 210, 210, 210},
	} {
		eq, err := c.EquivalentBar(row.rated, row.lo, row.hi)
		if err != nil || !near(eq, row.equivalent, 1e-12) {
			t.Errorf("%s: equivalent %g, %v; want %g", row.name, eq, err, row.equivalent)
		}
		n, _ := c.CyclesToFailure(row.rated, row.lo, row.hi)
		m, _ := c.CyclesToFailure(row.rated, 0, row.cyclesAsFromTo)
		if !near(n, m, 1e-12) {
			t.Errorf("%s: %g cycles, as from zero %g", row.name, n, m)
		}
	}
	// 5 % more pressure is 1.7 times the damage: 1.05^11.085 = 1.7175 by calculator.
	if r := c.Damage(250, 0, 210*1.05) / c.Damage(250, 0, 210); !near(r, 1.7175, 1e-3) {
		t.Errorf("5 %% more pressure: %g times the damage, want 1.7175", r)
	}
}

func TestMinLife_SmallerOfTwoCurves(t *testing.T) {
	// An impulse point of 125 % at 100 000 cycles is stricter than the reference.
	own, err := fatigue.NewCurve(400, 125, 100000)
	if err != nil {
		t.Fatal(err)
	}
	n, which, err := fatigue.MinLife(100, 0, 125, fatigue.Reference(), own)
	if err != nil || which != 1 || !near(n, 100000, 1e-12) {
		t.Errorf("%g cycles by curve %d, %v; want 100 000 by curve 1", n, which, err)
	}
	if d := fatigue.MaxDamage(100, 0, 125, fatigue.Reference(), own); !near(d, 1e-5, 1e-12) {
		t.Errorf("damage %g, want 1e-5", d)
	}
	if _, _, err := fatigue.MinLife(100, 0, 125); !errors.Is(err, fatigue.ErrCurve) {
		t.Errorf("without a curve: %v", err)
	}
}

func TestCurve_Refuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, row := range []struct {
		name          string
		rated, lo, hi float64
		field         string
		kind          error
	}{
		{"rating of zero", 0, 0, 100, "rated_bar", fatigue.ErrCycle},
		{"rating that is no number", nan, 0, 100, "rated_bar", fatigue.ErrCycle},
		{"rating without end", inf, 0, 100, "rated_bar", fatigue.ErrCycle},
		{"lowest pressure that is no number", 100, nan, 100, "min_bar", fatigue.ErrCycle},
		{"highest pressure that is no number", 100, 0, nan, "max_bar", fatigue.ErrCycle},
		{"at burst", 100, 0, 400, "max_bar", fatigue.ErrBurst},
		{"above burst", 100, 0, 1000, "max_bar", fatigue.ErrBurst},
		{"upside down", 100, 90, 80, "min_bar", fatigue.ErrCycle},
		{"no swing", 100, 80, 80, "min_bar", fatigue.ErrCycle},
		{"suction only", 100, -1, 0, "max_bar", fatigue.ErrCycle},
	} {
		_, err := fatigue.Reference().CyclesToFailure(row.rated, row.lo, row.hi)
		var field *fatigue.FieldError
		if !errors.As(err, &field) || field.Field != row.field || !errors.Is(err, row.kind) {
			t.Errorf("%s: got %v, want an error at %s", row.name, err, row.field)
		}
		if _, err2 := fatigue.Reference().EquivalentBar(row.rated, row.lo, row.hi); err2 == nil {
			t.Errorf("%s: equivalent pressure was answered", row.name)
		}
	}
	for _, row := range []struct {
		name                   string
		burst, impulse, cycles float64
		field                  string
	}{
		{"burst of zero", 0, 133, 2e5, "burst_percent"},
		{"burst that is no number", nan, 133, 2e5, "burst_percent"},
		{"burst without end", inf, 133, 2e5, "burst_percent"},
		{"impulse at burst", 400, 400, 2e5, "impulse_percent"},
		{"impulse a hair below burst", 400, 399.9, 2e5, "impulse_percent"},
		{"impulse of zero", 400, 0, 2e5, "impulse_percent"},
		{"one cycle only", 400, 133, 1, "impulse_cycles"},
		{"cycles that are no number", 400, 133, nan, "impulse_cycles"},
		{"cycles without end", 400, 133, inf, "impulse_cycles"},
	} {
		_, err := fatigue.NewCurve(row.burst, row.impulse, row.cycles)
		var field *fatigue.FieldError
		if !errors.As(err, &field) || field.Field != row.field || !errors.Is(err, fatigue.ErrCurve) {
			t.Errorf("%s: got %v, want an error at %s", row.name, err, row.field)
		}
	}
	for _, c := range []fatigue.Cycle{{0, 100, -1}, {0, 100, nan}, {0, 100, inf}, {0, 500, 1}} {
		if _, err := fatigue.DamageSum(100, []fatigue.Cycle{c}, fatigue.Reference()); err == nil {
			t.Errorf("cycle %v was summed", c)
		}
	}
}

func TestDamage_StrictOutsideItsDomain(t *testing.T) {
	c, nan := fatigue.Reference(), math.NaN()
	for _, row := range []struct {
		name          string
		rated, lo, hi float64
		want          float64
	}{
		{"above burst is the last cycle", 100, 0, 500, 1},
		{"highest pressure unknown is the last cycle", 100, 0, nan, 1},
		{"rating unknown is the last cycle", nan, 0, 100, 1},
		{"no swing is no cycle", 100, 50, 50, 0},
		{"lowest pressure unknown counts as zero", 100, nan, 133, 1 / 200000.0},
	} {
		if got := c.Damage(row.rated, row.lo, row.hi); !(math.Abs(got-row.want) <= 1e-15) {
			t.Errorf("%s: %g, want %g", row.name, got, row.want)
		}
	}
}

func TestCurve_Laws(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		burst := rapid.Float64Range(200, 1000).Draw(r, "burst")
		c, err := fatigue.NewCurve(burst, rapid.Float64Range(50, 0.8*burst).Draw(r, "impulse"), rapid.Float64Range(10, 1e7).Draw(r, "cycles"))
		if err != nil {
			r.Skip(err)
		}
		rated := rapid.Float64Range(10, 700).Draw(r, "rated")
		b := c.BurstBar(rated)
		hi := rapid.Float64Range(0.01, 0.9).Draw(r, "max") * b
		lo := rapid.Float64Range(-0.1, 0.99).Draw(r, "min") * hi
		n, err := c.CyclesToFailure(rated, lo, hi)
		if err != nil || !(n >= 1) || math.IsInf(n, 0) {
			r.Fatalf("%g cycles, %v", n, err)
		}
		if !near(c.Damage(rated, lo, hi), 1/n, 1e-12) {
			r.Fatalf("damage %g is not 1/%g", c.Damage(rated, lo, hi), n)
		}
		more := hi + rapid.Float64Range(0, 0.99).Draw(r, "more")*(b-hi)
		if m, _ := c.CyclesToFailure(rated, lo, more); m > n {
			r.Errorf("a higher peak, %g for %g, gives %g cycles for %g", more, hi, m, n)
		}
		if m, _ := c.CyclesToFailure(rated, lo+more-hi, more); m > n*(1+1e-12) {
			r.Errorf("the whole cycle shifted up by %g gives %g cycles for %g", more-hi, m, n)
		}
		if m, _ := c.CyclesToFailure(rated, lo*more/hi, more); m > n*(1+1e-12) {
			r.Errorf("the whole cycle scaled by %g gives %g cycles for %g", more/hi, m, n)
		}
		if m, _ := c.CyclesToFailure(rated*0.99, lo, hi); hi < 0.99*b && m > n*(1+1e-12) {
			r.Errorf("a lower rating gives %g cycles for %g", m, n)
		}
		eq, _ := c.EquivalentBar(rated, lo, hi)
		if m, _ := c.CyclesToFailure(rated, 0, eq); !near(m, n, 1e-9) {
			r.Errorf("the equivalent pressure gives %g cycles for %g", m, n)
		}
	})
}

func TestDamageSum_OrderAndSplitting(t *testing.T) {
	cycle := rapid.Custom(func(r *rapid.T) fatigue.Cycle {
		hi := rapid.Float64Range(1, 390).Draw(r, "max")
		return fatigue.Cycle{Min: rapid.Float64Range(0, 0.9).Draw(r, "min") * hi, Max: hi, Count: rapid.Float64Range(0, 1e6).Draw(r, "count")}
	})
	rapid.Check(t, func(r *rapid.T) {
		cycles := rapid.SliceOfN(cycle, 1, 20).Draw(r, "cycles")
		sum, err := fatigue.DamageSum(100, cycles, fatigue.Reference())
		if err != nil {
			r.Fatal(err)
		}
		if again, _ := fatigue.DamageSum(100, rapid.Permutation(cycles).Draw(r, "order"), fatigue.Reference()); again != sum {
			r.Errorf("another order: %v for %v", again, sum)
		}
		var split []fatigue.Cycle
		for _, c := range cycles {
			c.Count /= 2
			split = append(split, c, c)
		}
		if again, _ := fatigue.DamageSum(100, split, fatigue.Reference()); math.Abs(again-sum) > 1e-12*sum+1e-300 {
			r.Errorf("each row in two halves: %v for %v", again, sum)
		}
		own, _ := fatigue.NewCurve(400, 120, 50000)
		if both, _ := fatigue.DamageSum(100, cycles, fatigue.Reference(), own); both < sum {
			r.Errorf("one more curve: %v for %v", both, sum)
		}
	})
}

func TestCounts_Binned(t *testing.T) {
	var c fatigue.Counts
	for _, x := range []fatigue.Cycle{{0, 10, 1}, {0, 10 + 1e-12, 0.5}, {0, 10.5, 2}, {5, 25, 1}, {0, 0.5, 1}} {
		c.Add(x)
	}
	if got := c.Table(); len(got) != 4 || got[1].Count != 1.5 || got[1].Range < 10 {
		t.Errorf("ranges that differ by rounding were not one line: %v", got)
	}
	got, err := c.Binned(10)
	want := []fatigue.RangeCount{{10, 2.5}, {20, 3}}
	if err != nil || len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("classes of 10: %v, %v; want %v", got, err, want)
	}
	for _, w := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := c.Binned(w); err == nil {
			t.Errorf("a width of %g was taken", w)
		}
	}
}

func BenchmarkDamage(b *testing.B) {
	c := fatigue.Reference()
	var sum float64
	for b.Loop() {
		sum += c.Damage(250, 10, 210)
	}
	_ = sum
}
