package fatigue_test

import (
	"bufio"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life/fatigue"
)

const reference = "../../../testdata/reference"

// rainflowCase is a case of testdata/reference/rainflow/cases.json; its
// README names the source of each.
type rainflowCase struct {
	ID            string
	N             int
	Approx        bool `json:"approx_ranges"`
	History       []float64
	TurningPoints int `json:"turning_points"`
	// Lists below are missing (nil) where the reference does not give them.
	ASTM         [][]float64 `json:"astm_counts"`
	SumCounts    float64     `json:"sum_counts"`
	Cycles       [][]float64 `json:"astm_cycles_range_mean_count"`
	Closed       [][]float64 `json:"closed_cycles_from_to"`
	Residue      []float64
	ClosedCounts [][]float64 `json:"closed_only_counts"`
	Repeated     [][]float64 `json:"repeated_residue_counts"`
	SumRange3    float64     `json:"sum_count_range3"`
	Published    map[string]json.RawMessage
	SHA          string `json:"sha256_of_newline_text"`
	ResidueLen   int    `json:"residue_length"`
}

func cases(t testing.TB) []rainflowCase {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(reference, "rainflow/cases.json"))
	if err != nil {
		t.Fatal(err)
	}
	var out []rainflowCase
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatal(err)
	}
	if len(out) != 19 {
		t.Fatalf("%d reference cases, expected 19", len(out))
	}
	return out
}

// history is the case's history; RF03's is generated as the case says.
func (c rainflowCase) history(t *testing.T) []float64 {
	if c.ID == "RF03" {
		h := make([]float64, 1001)
		for i := range h {
			h[i] = 0.8*math.Sin(0.01*math.Pi*float64(i)) + 0.2*math.Sin(0.032*math.Pi*float64(i))
		}
		return h
	}
	if len(c.History) != c.N {
		t.Fatalf("%s: %d samples, expected %d", c.ID, len(c.History), c.N)
	}
	return c.History
}

func table(t *testing.T, history []float64, choice fatigue.Residue) ([]fatigue.RangeCount, fatigue.History) {
	t.Helper()
	var counts fatigue.Counts
	c := fatigue.NewCounter(counts.Add)
	if err := c.Add(history...); err != nil {
		t.Fatal(err)
	}
	h := c.Finish(choice)
	return counts.Table(), h
}

// expectCounts compares with pairs of range and count. Reference ranges that
// differ in the last bits only (RF03) are added up first.
func expectCounts(t *testing.T, what string, got []fatigue.RangeCount, want [][]float64) {
	t.Helper()
	var merged []fatigue.RangeCount
	for _, w := range want {
		if n := len(merged); n > 0 && w[0]-merged[n-1].Range < 1e-9 {
			merged[n-1].Count += w[1]
			continue
		}
		merged = append(merged, fatigue.RangeCount{Range: w[0], Count: w[1]})
	}
	if len(got) != len(merged) {
		t.Fatalf("%s: got %v, want %v", what, got, merged)
	}
	for i := range got {
		if math.Abs(got[i].Range-merged[i].Range) > 1e-9 || got[i].Count != merged[i].Count {
			t.Errorf("%s, line %d: got %v, want %v", what, i, got[i], merged[i])
		}
	}
}

func TestCounter_Published(t *testing.T) {
	for _, c := range cases(t) {
		if c.ID == "L1" {
			continue // TestCounter_Million
		}
		t.Run(c.ID, func(t *testing.T) {
			history := c.history(t)
			halves, h := table(t, history, fatigue.Halves)
			expectCounts(t, "halves", halves, c.ASTM)
			var sum, sum3 float64
			for _, l := range halves {
				sum += l.Count
				sum3 += l.Count * l.Range * l.Range * l.Range
			}
			if sum != c.SumCounts || math.Abs(sum3-c.SumRange3) > 1e-9*c.SumRange3 {
				t.Errorf("sum of counts %v, of range cubed %v; want %v, %v", sum, sum3, c.SumCounts, c.SumRange3)
			}
			if h.Samples != c.N || h.TurningPoints != c.TurningPoints {
				t.Errorf("%d samples, %d turning points; want %d, %d", h.Samples, h.TurningPoints, c.N, c.TurningPoints)
			}
			closed, _ := table(t, history, fatigue.Discard)
			expectCounts(t, "discard", closed, c.ClosedCounts)
			if c.Repeated != nil {
				repeated, _ := table(t, history, fatigue.Repeat)
				expectCounts(t, "repeat", repeated, c.Repeated)
			}
			if c.Residue != nil && !slices.Equal(h.Residue, c.Residue) {
				t.Errorf("residue %v, want %v", h.Residue, c.Residue)
			}
			if c.Closed != nil {
				expectClosed(t, history, c.Closed)
			}
			if c.Cycles != nil {
				expectMeans(t, history, c.Cycles)
			}
		})
	}
}

// expectClosed compares the closed cycles, in any order, with pairs of from
// and to.
func expectClosed(t *testing.T, history []float64, fromTo [][]float64) {
	t.Helper()
	got, _, err := fatigue.CountCycles(history, fatigue.Discard)
	if err != nil {
		t.Fatal(err)
	}
	want := []fatigue.Cycle{}
	for _, p := range fromTo {
		want = append(want, fatigue.Cycle{Min: min(p[0], p[1]), Max: max(p[0], p[1]), Count: 1})
	}
	if d := cmp.Diff(sorted(want), sorted(got)); d != "" {
		t.Errorf("closed cycles (-want +got):\n%s", d)
	}
}

// expectMeans compares lowest and highest point of the cycles with triples of
// range, mean and count, totals per range and mean.
func expectMeans(t *testing.T, history []float64, triples [][]float64) {
	t.Helper()
	cycles, _, err := fatigue.CountCycles(history, fatigue.Halves)
	if err != nil {
		t.Fatal(err)
	}
	got, want := map[[2]float64]float64{}, map[[2]float64]float64{}
	for _, c := range cycles {
		got[[2]float64{c.Range(), (c.Min + c.Max) / 2}] += c.Count
	}
	for _, x := range triples {
		want[[2]float64{x[0], x[1]}] += x[2]
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("cycles by range and mean (-want +got):\n%s", d)
	}
}

func sorted(cycles []fatigue.Cycle) []fatigue.Cycle {
	out := append([]fatigue.Cycle{}, cycles...)
	slices.SortFunc(out, func(a, b fatigue.Cycle) int {
		if a.Min < b.Min || a.Min == b.Min && a.Max < b.Max {
			return -1
		}
		if a == b {
			return 0
		}
		return 1
	})
	return out
}

// TestCounter_TablesAsPrinted holds the tables that the sources themselves
// print, typed in here and not taken from a computation.
func TestCounter_TablesAsPrinted(t *testing.T) {
	for _, c := range []struct {
		name    string
		history []float64
		want    []fatigue.RangeCount
	}{
		{
			"ASTM E1049-85 5.4.4 figure 6, restated in the tests of iamlikeme/rainflow",
			[]float64{-2, 1, -3, 5, -1, 3, -4, 4, -2},
			[]fatigue.RangeCount{{3, 0.5}, {4, 1.5}, {6, 0.5}, {8, 1}, {9, 0.5}},
		},
		{"a constant history has no cycle", []float64{7, 7, 7}, nil},
		{"two samples are half a cycle", []float64{0, 5}, []fatigue.RangeCount{{5, 0.5}}},
		{"no sample, no cycle", nil, nil},
	} {
		if got, _ := table(t, c.history, fatigue.Halves); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
}

// million is the generated history L1: a linear congruential generator with
// the constants of testdata/reference/rainflow/README.md.
func million() []float64 {
	out := make([]float64, 1_000_000)
	x := uint64(12345)
	for i := range out {
		x = (1664525*x + 1013904223) & 0xFFFFFFFF
		out[i] = float64(x * 400 >> 32)
	}
	return out
}

func TestCounter_Million(t *testing.T) {
	all := cases(t)
	c := all[len(all)-1]
	if c.ID != "L1" {
		t.Fatalf("last case is %s, expected L1", c.ID)
	}
	history := million()
	sum := sha256.New()
	w := bufio.NewWriter(sum)
	for _, v := range history {
		fmt.Fprintf(w, "%d\n", int(v))
	}
	w.Flush()
	if got := fmt.Sprintf("%x", sum.Sum(nil)); got != c.SHA {
		t.Fatalf("generated history has sha256 %s, want %s", got, c.SHA)
	}
	f, err := os.Open(filepath.Join(reference, "rainflow/L1_counts.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 400 {
		t.Fatalf("%d rows of counts, %v; expected 400", len(rows), err)
	}
	var want [][]float64
	for _, r := range rows[1:] {
		rng, err1 := strconv.ParseFloat(r[0], 64)
		n, err2 := strconv.ParseFloat(r[1], 64)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		want = append(want, []float64{rng, n})
	}
	got, h := table(t, history, fatigue.Halves)
	expectCounts(t, "L1", got, want)
	if h.TurningPoints != c.TurningPoints || len(h.Residue) != c.ResidueLen || !slices.Equal(h.Residue, c.Residue) {
		t.Errorf("%d turning points, residue %v; want %d, %v", h.TurningPoints, h.Residue, c.TurningPoints, c.Residue)
	}
}

func TestCounter_MemoryStaysWithResidue(t *testing.T) {
	var n int
	c := fatigue.NewCounter(func(fatigue.Cycle) { n++ })
	history := million()[:4096]
	if err := c.Add(history...); err != nil {
		t.Fatal(err)
	}
	if grown := testing.AllocsPerRun(100, func() { _ = c.Add(history...) }); grown != 0 {
		t.Errorf("%v allocations for each 4096 more samples, want none", grown)
	}
	if h := c.Finish(fatigue.Discard); len(h.Residue) > 64 || n < 100_000 {
		t.Errorf("%d samples gave %d cycles and a residue of %d", h.Samples, n, len(h.Residue))
	}
}

func TestCounter_RefusesWhatIsNoSample(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e13} {
		c := fatigue.NewCounter(func(fatigue.Cycle) {})
		err := c.Add(1, 2, bad, 3)
		var field *fatigue.FieldError
		if !errors.Is(err, fatigue.ErrSample) || !errors.As(err, &field) || field.Field != "sample 3" {
			t.Errorf("%v: got %v, want an error that names sample 3", bad, err)
		}
		if h := c.Finish(fatigue.Halves); h.Samples != 2 {
			t.Errorf("%v: %d samples counted, want the 2 before it", bad, h.Samples)
		}
	}
}

func TestParseResidue(t *testing.T) {
	for _, s := range []string{"halves", "discard", "repeat"} {
		if r, err := fatigue.ParseResidue(s); err != nil || string(r) != s {
			t.Errorf("%q: %q, %v", s, r, err)
		}
	}
	if _, err := fatigue.ParseResidue("half"); err == nil {
		t.Error("half was taken for a choice")
	}
}
