package fatigue_test

import (
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/life/fatigue"
)

// histories draws integer histories, so that ties are common.
func histories() *rapid.Generator[[]float64] {
	return rapid.Map(rapid.SliceOfN(rapid.IntRange(-12, 12), 0, 80), func(in []int) []float64 {
		out := make([]float64, len(in))
		for i, v := range in {
			out[i] = float64(v)
		}
		return out
	})
}

// threePoint is the three-point rule of ASTM E1049-85 5.4.4 as its text puts
// it, with the starting point as a rule of its own; slow and plain, to hold
// the Counter to.
func threePoint(history []float64) map[float64]float64 {
	counts := map[float64]float64{}
	var points []float64
	for i, v := range history {
		if i > 0 && v == points[len(points)-1] {
			continue
		}
		if n := len(points); n >= 2 && (points[n-1] > points[n-2]) == (v > points[n-1]) {
			points[n-1] = v
			continue
		}
		points = append(points, v)
	}
	var s []float64
	for _, v := range points {
		s = append(s, v)
		for len(s) >= 3 {
			n := len(s)
			x, y := math.Abs(s[n-1]-s[n-2]), math.Abs(s[n-2]-s[n-3])
			if x < y {
				break
			}
			if n == 3 { // Y holds the starting point
				counts[y] += 0.5
				s = s[1:]
				continue
			}
			counts[y]++
			s = append(s[:n-3], s[n-1])
		}
	}
	for i := 1; i < len(s); i++ {
		counts[math.Abs(s[i]-s[i-1])] += 0.5
	}
	return counts
}

func TestCounter_SameTotalsAsThreePointRule(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		history := histories().Draw(r, "history")
		got, _ := table(t, history, fatigue.Halves)
		sums := map[float64]float64{}
		for _, l := range got {
			sums[l.Range] = l.Count
		}
		if d := cmp.Diff(threePoint(history), sums); d != "" {
			r.Fatalf("(-three-point +counter):\n%s", d)
		}
	})
}

func TestCounter_Laws(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		history := histories().Draw(r, "history")
		cycles, h, _ := fatigue.CountCycles(history, fatigue.Halves)

		var path, travelled float64
		for i := 1; i < len(history); i++ {
			path += math.Abs(history[i] - history[i-1])
		}
		largest := 0.0
		for _, c := range cycles {
			travelled += 2 * c.Count * c.Range()
			largest = max(largest, c.Range())
			if !(c.Max > c.Min) {
				r.Fatalf("a cycle without a range: %v", c)
			}
		}
		if path != travelled {
			r.Fatalf("cycles travel %v, the history %v: something was dropped", travelled, path)
		}
		if len(history) > 0 && largest != slices.Max(history)-slices.Min(history) {
			r.Fatalf("largest cycle %v is not the whole span: the rare high peak was lost", largest)
		}

		// In pieces as in one go.
		var pieces []fatigue.Cycle
		c := fatigue.NewCounter(func(x fatigue.Cycle) { pieces = append(pieces, x) })
		for rest := history; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(r, "piece")
			if err := c.Add(rest[:n]...); err != nil {
				r.Fatal(err)
			}
			rest = rest[n:]
		}
		if g := c.Finish(fatigue.Halves); !cmp.Equal(g, h) || !slices.Equal(pieces, cycles) {
			r.Fatalf("in pieces %v %v, at once %v %v", pieces, g, cycles, h)
		}

		// A sample that is said twice changes nothing.
		twice := make([]float64, 0, 2*len(history))
		for _, v := range history {
			twice = append(twice, v, v)
		}
		if again, _, _ := fatigue.CountCycles(twice, fatigue.Halves); !slices.Equal(again, cycles) {
			r.Fatalf("with every sample twice %v, once %v", again, cycles)
		}
	})
}

// TestCounter_RepeatIsOnePeriod: the cycles of a history gone through n+1
// times, less those of n times, are those of one period. The start is level
// with the end, so that the seam makes no turning point of its own.
func TestCounter_RepeatIsOnePeriod(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		history := histories().Draw(r, "history")
		if len(history) < 2 {
			return
		}
		closed := func(times int) map[float64]float64 {
			sums := map[float64]float64{}
			got, _, _ := fatigue.CountCycles(slices.Repeat(history, times), fatigue.Discard)
			for _, c := range got {
				sums[c.Range()]++
			}
			return sums
		}
		want := closed(5)
		for k, v := range closed(4) {
			if want[k] -= v; want[k] == 0 {
				delete(want, k)
			}
		}
		got := map[float64]float64{}
		cycles, _, _ := fatigue.CountCycles(history, fatigue.Repeat)
		for _, c := range cycles {
			got[c.Range()] += c.Count
		}
		if d := cmp.Diff(want, got); d != "" {
			r.Fatalf("(-one period +repeat):\n%s", d)
		}
	})
}

func FuzzCounter(f *testing.F) {
	f.Add([]byte{0, 5, 2, 9, 9, 1})
	f.Add([]byte{255, 0, 255, 0, 128})
	f.Fuzz(func(t *testing.T, data []byte) {
		history := make([]float64, len(data))
		for i, b := range data {
			history[i] = float64(b)
		}
		got, _ := table(t, history, fatigue.Halves)
		sums := map[float64]float64{}
		for _, l := range got {
			sums[l.Range] = l.Count
		}
		if d := cmp.Diff(threePoint(history), sums); d != "" {
			t.Fatalf("(-three-point +counter):\n%s", d)
		}
		for _, choice := range []fatigue.Residue{fatigue.Discard, fatigue.Repeat} {
			for _, l := range first(table(t, history, choice)) {
				if !(l.Count > 0 && l.Range > 0) {
					t.Fatalf("%s: line %v", choice, l)
				}
			}
		}
	})
}

func first(lines []fatigue.RangeCount, _ fatigue.History) []fatigue.RangeCount { return lines }

// BenchmarkRainflow prints the time per sample of counting a million samples
// of white noise, the hard case for branch prediction, beside that of a plain
// loop over the same samples that only adds up swings.
func BenchmarkRainflow(b *testing.B) {
	history := million()
	var plain float64
	b.Run("plain loop", func(b *testing.B) {
		for b.Loop() {
			last := history[0]
			for _, v := range history {
				plain += math.Abs(v - last)
				last = v
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/sample")
	})
	b.Run("histogram", func(b *testing.B) {
		for b.Loop() {
			var counts [401]float64
			c := fatigue.NewCounter(func(x fatigue.Cycle) { counts[int(x.Max-x.Min)] += x.Count })
			_ = c.Add(history...)
			c.Finish(fatigue.Halves)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/sample")
	})
	b.Run("counts", func(b *testing.B) {
		for b.Loop() {
			var counts fatigue.Counts
			c := fatigue.NewCounter(counts.Add)
			_ = c.Add(history...)
			c.Finish(fatigue.Halves)
			counts.Table()
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/1e6, "ns/sample")
	})
	_ = plain
}
