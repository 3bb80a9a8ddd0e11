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
	q := quantiles(s, 0.1, 0.5, 0.9)
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
func quantiles(s []float64, p ...float64) [3]float64 {
	slices.Sort(s)
	var out [3]float64
	for i, share := range p {
		r := float64(len(s)-1) * share
		k := int(r)
		out[i] = s[k]
		if k+1 < len(s) {
			out[i] += (r - float64(k)) * (s[k+1] - s[k])
		}
	}
	return out
}
