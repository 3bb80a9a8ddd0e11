package usage

import (
	"fmt"
	"math"
	"slices"
)

// Slopes are the slope of a line through points and the quantiles that bound
// it.
type Slopes struct {
	Median, Q10, Q90 float64
	Pairs            int // pairs of points with different x
}

// ErrPoints: too few points, or points that are not numbers.
var ErrPoints = fmt.Errorf("no slope: too few points or not numbers")

// SlopesOf is the slope of Theil and Sen, the median of the slopes between all
// pairs of points with different x, with the 10 and 90 % quantiles of these
// slopes (type 7). Source: Sen, J. Am. Stat. Assoc. 63 (1968) 1379 (from
// memory). Test: TestSlopesOf_Published. Errors: ErrPoints if x and y differ
// in length, no two x differ, or a slope is not a finite number.
func SlopesOf(x, y []float64) (Slopes, error) {
	if len(x) != len(y) {
		return Slopes{}, fmt.Errorf("slope through %d x and %d y: %w", len(x), len(y), ErrPoints)
	}
	s := pairSlopes(x, y)
	if len(s) == 0 {
		return Slopes{}, fmt.Errorf("slope through %d points: %w", len(x), ErrPoints)
	}
	for _, v := range s {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Slopes{}, fmt.Errorf("slope through %d points: %w", len(x), ErrPoints)
		}
	}
	q := quantiles(s, [3]float64{0.1, 0.5, 0.9})
	return Slopes{Q10: q[0], Median: q[1], Q90: q[2], Pairs: len(s)}, nil
}

// pairSlopes are the slopes between all pairs of points with different x.
func pairSlopes(x, y []float64) []float64 {
	n := len(x)
	out := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		xi, yi := x[i], y[i]
		for j := i + 1; j < n; j++ {
			if dx := x[j] - xi; dx != 0 {
				out = append(out, (y[j]-yi)/dx)
			}
		}
	}
	return out
}

// quantiles are the type-7 quantiles of s at three rising shares: linear
// between the order statistics around rank (n-1) p (Hyndman and Fan, The
// American Statistician 50 (1996) 361, from memory). s holds finite numbers, is not
// empty and is reordered.
func quantiles(s []float64, shares [3]float64) [3]float64 {
	var ranks [6]int
	for i, p := range shares {
		k := int(float64(len(s)-1) * p)
		ranks[2*i], ranks[2*i+1] = k, min(k+1, len(s)-1)
	}
	slices.Sort(ranks[:])
	var at [6]float64
	pick(s, ranks[:], at[:], 0)
	value := func(rank int) float64 { return at[slices.Index(ranks[:], rank)] }
	var out [3]float64
	for i, p := range shares {
		r := float64(len(s)-1) * p
		k := int(r)
		low, high := value(k), value(min(k+1, len(s)-1))
		out[i] = low + (r-float64(k))*(high-low)
	}
	return out
}

// Sizes for pick: fewer numbers than pickSort are sorted, more are dealt into
// classes, at most pickDepth times.
const (
	pickSort  = 128
	pickClass = 1024
	pickDepth = 4
)

// pick sets at[i] to the order statistic of s with rank ranks[i], ranks
// rising. It deals the numbers into classes of equal width and sorts only the
// classes that hold a rank, which is several times faster than sorting all.
func pick(s []float64, ranks []int, at []float64, depth int) {
	low, high := slices.Min(s), slices.Max(s)
	scale := pickClass / (high - low)
	if len(s) < pickSort || depth == pickDepth || !(scale > 0) || math.IsInf(scale, 0) {
		slices.Sort(s)
		for i, r := range ranks {
			at[i] = s[r]
		}
		return
	}
	var count [pickClass + 1]int // the highest number falls one past the end
	for _, v := range s {
		count[int((v-low)*scale)]++
	}
	// chosen numbers the classes that hold a rank from 1; before is how many
	// numbers lie below each of them.
	var chosen [pickClass + 1]uint8
	var before, first [6]int
	n, below, next := 0, 0, 0
	for class, c := range count {
		if c > 0 && next < len(ranks) && ranks[next] < below+c {
			n++
			chosen[class], before[n-1], first[n-1] = uint8(n), below, next
			for next < len(ranks) && ranks[next] < below+c {
				next++
			}
		}
		below += c
	}
	var members [6][]float64
	for _, v := range s {
		if k := chosen[int((v-low)*scale)]; k > 0 {
			members[k-1] = append(members[k-1], v)
		}
	}
	for k := range n {
		last := len(ranks)
		if k+1 < n {
			last = first[k+1]
		}
		mine := slices.Clone(ranks[first[k]:last])
		for i := range mine {
			mine[i] -= before[k]
		}
		pick(members[k], mine, at[first[k]:last], depth+1)
	}
}
