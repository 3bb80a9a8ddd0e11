package fatigue

import (
	"fmt"
	"math"
	"slices"
)

// DamageSum is the sum of n/N over the cycles, by the rule of Palmgren and
// Miner, for a hose rated so, where N is the smallest of the lives the curves
// give. The order of cycles changes nothing. Errors: a cycle that Check
// refuses or whose count is not a finite number from 0 up, no curve. Test:
// TestDamageSum_Published.
func DamageSum(rated float64, cycles []Cycle, curves ...Curve) (float64, error) {
	terms := make([]float64, 0, len(cycles))
	for i, c := range cycles {
		if !(c.Count >= 0) || math.IsInf(c.Count, 0) {
			return 0, fmt.Errorf("cycle %d: %w", i+1, fieldError("count", c.Count, "must be 0 or more", ErrCycle))
		}
		n, _, err := MinLife(rated, c.Min, c.Max, curves...)
		if err != nil {
			return 0, fmt.Errorf("cycle %d: %w", i+1, err)
		}
		terms = append(terms, c.Count/n)
	}
	slices.Sort(terms) // small first: the sum is the same in any order
	var sum float64
	for _, t := range terms {
		sum += t
	}
	return math.Min(sum, math.MaxFloat64), nil
}

// RangeCount is a range and how often it was counted.
type RangeCount struct{ Range, Count float64 }

// Counts adds cycles up by range. The zero value is ready. Its size grows with
// the number of different ranges.
type Counts struct{ by map[float64]float64 }

// Add counts a cycle.
func (c *Counts) Add(x Cycle) {
	if c.by == nil {
		c.by = make(map[float64]float64)
	}
	c.by[x.Range()] += x.Count
}

// mergeTolerance is how near two ranges are the same, as a share of the range
// and in the unit of the input below 1.
const mergeTolerance = 1e-9

// Table is the counts by rising range. Ranges that differ only by rounding,
// 1e-9 or less, are one line under the largest of them.
func (c *Counts) Table() []RangeCount {
	return merge(c.sorted(), func(first, next float64) bool {
		return next-first <= mergeTolerance*math.Max(1, first)
	})
}

// Binned is the counts in classes of the given width, above 0, each under its
// upper end, so that no range is called smaller than it is. A range on the
// border, to 1e-9, belongs to the class it ends.
func (c *Counts) Binned(width float64) ([]RangeCount, error) {
	if !(width > 0) || math.IsInf(width, 0) {
		return nil, fieldError("bin", width, "must be a width above 0", ErrCycle)
	}
	all := c.sorted()
	for i := range all {
		r := all[i].Range / width
		k := math.Max(1, math.Ceil(r-mergeTolerance*math.Max(1, r)))
		all[i].Range = math.Min(k*width, math.MaxFloat64)
	}
	return merge(all, func(first, next float64) bool { return first == next }), nil
}

func (c *Counts) sorted() []RangeCount {
	all := make([]RangeCount, 0, len(c.by))
	for r, n := range c.by {
		all = append(all, RangeCount{r, n})
	}
	slices.SortFunc(all, func(a, b RangeCount) int {
		if a.Range < b.Range {
			return -1
		}
		return 1 // the keys of a map are all different
	})
	return all
}

// merge adds up neighbours that are the same as the first of their group.
func merge(sorted []RangeCount, same func(first, next float64) bool) []RangeCount {
	out := sorted[:0]
	first := 0.0
	for _, x := range sorted {
		if n := len(out); n > 0 && same(first, x.Range) {
			out[n-1] = RangeCount{x.Range, out[n-1].Count + x.Count}
			continue
		}
		first = x.Range
		out = append(out, x)
	}
	return out
}
