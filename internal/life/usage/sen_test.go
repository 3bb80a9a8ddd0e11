package usage

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// The 95 % limits after Sen are order statistics in the tails of the pairwise
// slopes, so they hold the slopes there and not only their median. Published:
// statpsych, ci.theil, 0.3243243 to 0.75 (R4); R3 computed with scipy 1.10.1.
// Both intercepts of the reference follow from the median slope.
func TestPairSlopes_SenLimitsAndIntercepts(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "reference", "regression", "regression.json"))
	if err != nil {
		t.Fatal(err)
	}
	type theil struct {
		Limits   [2]float64 `json:"slope_ci95_sen"`
		Medians  float64    `json:"intercept_median_y_minus_slope_median_x"`
		Residual float64    `json:"intercept_median_residual"`
	}
	var ref map[string]struct {
		X, Y  []float64
		Theil theil
	}
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	for name, printed := range map[string][2]float64{
		"R3_theil_hollander_wolfe": {-0.15, 0.04},
		"R4_theil_statpsych":       {0.3243243, 0.75},
	} {
		c := ref[name]
		slopes := pairSlopes(c.X, c.Y)
		slices.Sort(slopes)
		low, high := senRanks(c.X, c.Y, len(slopes))
		for i, got := range [2]float64{slopes[low], slopes[high]} {
			if math.Abs(got-printed[i]) > 1e-7 || math.Abs(got-c.Theil.Limits[i]) > 1e-14 {
				t.Errorf("%s: limit %d is %.10g, want %g", name, i, got, printed[i])
			}
		}
		s, err := SlopesOf(c.X, c.Y)
		if err != nil {
			t.Fatal(err)
		}
		rest := make([]float64, len(c.X))
		for i := range rest {
			rest[i] = c.Y[i] - s.Median*c.X[i]
		}
		if got := middle(c.Y) - s.Median*middle(c.X); math.Abs(got-c.Theil.Medians) > 1e-14 {
			t.Errorf("%s: intercept through the medians %.10g, want %g", name, got, c.Theil.Medians)
		}
		if got := middle(rest); math.Abs(got-c.Theil.Residual) > 1e-14 {
			t.Errorf("%s: median of the residuals %.10g, want %g", name, got, c.Theil.Residual)
		}
	}
}

// senRanks are the ranks, from 0, of the two-sided 95 % limits among n slopes
// (Sen 1968, with ties in x and y; as scipy's theilslopes has them).
func senRanks(x, y []float64, n int) (low, high int) {
	k := float64(len(x))
	spread := k * (k - 1) * (2*k + 5)
	for _, v := range [][]float64{x, y} {
		times := map[float64]float64{}
		for _, a := range v {
			times[a]++
		}
		for _, m := range times {
			spread -= m * (m - 1) * (2*m + 5)
		}
	}
	z := 1.959963984540054 * math.Sqrt(spread/18)
	low = int(math.RoundToEven((float64(n)-z)/2)) - 1
	high = int(math.RoundToEven((float64(n) + z) / 2))
	return max(low, 0), min(high, n-1)
}

func middle(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}
