package heat_test

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/life/heat"
	"hoseward/internal/quantity"
)

const reference = "../../../testdata/reference/arrhenius"

// kJPerEV turns an energy per particle into one per mole: e N_A / 1000, CODATA
// 2018; testdata/reference/arrhenius, A5.
const kJPerEV = 96.48533212331

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

// TestFactor_Published holds the factors that the NIST/SEMATECH e-Handbook
// prints in 8.1.5.1, 25 to 125 degC: to half of the last digit, as far as 133
// goes, and to 0.1 % for the larger, whose constants are rounded.
func TestFactor_Published(t *testing.T) {
	for _, row := range []struct{ eV, want, tolerance float64 }{
		{0.5, 133, 0.5},
		{1.0, 17597, 17597 * 0.001},
	} {
		got, err := heat.Factor(125, 25, row.eV*kJPerEV)
		if err != nil || math.Abs(got-row.want) > row.tolerance {
			t.Errorf("%g eV: %g, %v; the handbook prints %g", row.eV, got, err, row.want)
		}
	}
}

func TestFactor_ComputedCases(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(reference, "arrhenius_cases.json"))
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		A1 struct {
			Computed map[string]string `json:"computed_2732_15_codata"`
		}
		A4 struct {
			KJ string `json:"kJmol_for_exactly_2"`
			EV string `json:"eV_for_exactly_2"`
		}
		A5 struct {
			KJPerEV string `json:"kJmol_per_eV"`
		}
	}
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	if number(t, ref.A5.KJPerEV) != kJPerEV || len(ref.A1.Computed) != 2 {
		t.Fatalf("reference read wrongly: %+v", ref)
	}
	for eV, want := range ref.A1.Computed {
		// R and k N_A differ in the tenth digit; the exponent magnifies it.
		if got, err := heat.Factor(125, 25, number(t, eV)*kJPerEV); err != nil || !near(got, number(t, want), 1e-8) {
			t.Errorf("A1, %s eV: %.12g, %v; want %s", eV, got, err, want)
		}
	}
	if got, err := heat.Factor(70, 60, number(t, ref.A4.KJ)); err != nil || !near(got, 2, 1e-12) {
		t.Errorf("A4, 60 to 70 degC: %.15g, %v; want 2", got, err)
	}
}

func TestFactor_Grid(t *testing.T) {
	f, err := os.Open(filepath.Join(reference, "arrhenius_grid.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != 37 {
		t.Fatalf("%d rows, %v; expected 37", len(rows), err)
	}
	for _, r := range rows[1:] {
		ea := number(t, r[0])
		if r[1] == "eV" { // Ea/R of ours is Ea/k of the grid
			ea *= heat.GasConstant / 8.617333262e-5 / 1000
		}
		low, high := quantity.Temperature(number(t, r[2])), quantity.Temperature(number(t, r[3]))
		if got, err := heat.Factor(high, low, ea); err != nil || !near(got, number(t, r[4]), 1e-13) {
			t.Errorf("%v: %.18g, %v", r, got, err)
		}
		if got, err := heat.Factor(low, high, ea); err != nil || !near(got, number(t, r[5]), 1e-13) {
			t.Errorf("%v, backwards: %.18g, %v", r, got, err)
		}
		if got, err := heat.AF(low, high, ea); err != nil || got != 1 {
			t.Errorf("%v: running cool gives %g, %v; want 1", r, got, err)
		}
	}
}

// TestFactor_TenDegrees holds the table of what ten degrees do, computed with
// R = 8.314 and printed to two decimals.
func TestFactor_TenDegrees(t *testing.T) {
	from := []quantity.Temperature{20, 40, 60, 80, 90, 100, 110}
	for ea, want := range map[float64][]float64{
		60:  {2.25, 2.04, 1.88, 1.76, 1.70, 1.66, 1.61},
		70:  {2.58, 2.30, 2.09, 1.93, 1.86, 1.80, 1.75},
		80:  {2.95, 2.59, 2.32, 2.12, 2.03, 1.96, 1.89},
		90:  {3.38, 2.91, 2.58, 2.33, 2.22, 2.13, 2.05},
		100: {3.87, 3.28, 2.86, 2.55, 2.43, 2.32, 2.22},
	} {
		for i, ref := range from {
			got, err := heat.Factor(ref+10, ref, ea)
			if err != nil || math.Abs(got-want[i]) > 0.00501 {
				t.Errorf("%g kJ/mol, %g to %g degC: %.4f, %v; want %.2f", ea, ref, ref+10, got, err, want[i])
			}
		}
	}
	// "10 degrees hotter, half the life" [common practice, no source] is met
	// exactly by 82 kJ/mol from 100 to 110 degC.
	if got, _ := heat.Factor(110, 100, 82); math.Abs(got-2) > 0.02 {
		t.Errorf("82 kJ/mol, 100 to 110 degC: %g, want 2", got)
	}
}

func TestMeanAF(t *testing.T) {
	hot, _ := heat.AF(100, 80, 92)
	for _, row := range []struct {
		name   string
		shares []heat.Share
		want   float64
	}{
		{"one temperature is its own mean", []heat.Share{{100, 1}}, hot},
		{"half hot, half cool: the cool half counts 1, not less", []heat.Share{{100, 0.5}, {20, 0.5}}, (hot + 1) / 2},
		{"a share of zero counts nothing", []heat.Share{{100, 0}, {20, 1}}, 1},
		{"thirds that miss 1 by rounding are taken for thirds", []heat.Share{{100, 0.333}, {100, 0.333}, {100, 0.333}}, hot},
	} {
		if got, err := heat.MeanAF(row.shares, 80, 92); err != nil || !near(got, row.want, 1e-14) {
			t.Errorf("%s: %g, %v; want %g", row.name, got, err, row.want)
		}
	}
	mean, _ := heat.MeanAF([]heat.Share{{100, 0.5}, {60, 0.5}}, 60, 92)
	if ofMean, _ := heat.AF(80, 60, 92); !(mean > ofMean) {
		t.Errorf("mean of factors %g is not above the factor of the mean %g", mean, ofMean)
	}
}

func TestHeat_Refuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, row := range []struct {
		name   string
		t, ref float64
		ea     float64
		field  string
		kind   error
	}{
		{"absolute zero", -273.15, 20, 80, "temp_c", heat.ErrTemperature},
		{"below absolute zero", -300, 20, 80, "temp_c", heat.ErrTemperature},
		{"no number", nan, 20, 80, "temp_c", heat.ErrTemperature},
		{"no end", inf, 20, 80, "temp_c", heat.ErrTemperature},
		{"kelvin for degrees, or worse", 5000, 20, 80, "temp_c", heat.ErrTemperature},
		{"reference at absolute zero", 20, -273.15, 80, "ref_c", heat.ErrTemperature},
		{"reference that is no number", 20, nan, 80, "ref_c", heat.ErrTemperature},
		{"a factor beyond all numbers", 100, -270, 80, "ref_c", heat.ErrTemperature},
		{"energy of zero", 20, 20, 0, "ea_kj", heat.ErrEnergy},
		{"energy below zero", 20, 20, -80, "ea_kj", heat.ErrEnergy},
		{"joules for kilojoules", 20, 20, 80000, "ea_kj", heat.ErrEnergy},
		{"energy that is no number", 20, 20, nan, "ea_kj", heat.ErrEnergy},
	} {
		_, err := heat.AF(quantity.Temperature(row.t), quantity.Temperature(row.ref), row.ea)
		var field *heat.FieldError
		if !errors.As(err, &field) || field.Field != row.field || !errors.Is(err, row.kind) {
			t.Errorf("%s: got %v, want an error at %s", row.name, err, row.field)
		}
	}
	for _, row := range []struct {
		name   string
		shares []heat.Share
	}{
		{"no share", nil},
		{"less than the whole", []heat.Share{{80, 0.5}, {60, 0.49}}},
		{"more than the whole", []heat.Share{{80, 0.5}, {60, 0.52}}},
		{"below zero", []heat.Share{{80, 1.5}, {60, -0.5}}},
		{"a negative one within the sum", []heat.Share{{80, 1}, {60, 0.0005}, {40, -0.0005}}},
		{"no number", []heat.Share{{80, nan}}},
		{"per cent for shares", []heat.Share{{80, 100}}},
		{"a temperature that is none", []heat.Share{{-274, 1}}},
	} {
		if f, err := heat.MeanAF(row.shares, 60, 80); err == nil {
			t.Errorf("%s: answered %g", row.name, f)
		}
	}
}

func TestHeat_Laws(t *testing.T) {
	service := rapid.Float64Range(-60, 200)
	rapid.Check(t, func(r *rapid.T) {
		a := quantity.Temperature(service.Draw(r, "a"))
		b := quantity.Temperature(service.Draw(r, "b"))
		ref := quantity.Temperature(service.Draw(r, "ref"))
		ea := rapid.Float64Range(40, 150).Draw(r, "ea")
		f, err := heat.Factor(a, b, ea)
		g, err2 := heat.Factor(b, a, ea)
		if err := errors.Join(err, err2); err != nil || !near(f*g, 1, 1e-9) {
			r.Fatalf("there and back: %g x %g, %v", f, g, err)
		}
		if same, _ := heat.Factor(a, a, ea); same != 1 {
			r.Fatalf("at the reference itself: %g", same)
		}
		x, _ := heat.AF(min(a, b), ref, ea)
		y, _ := heat.AF(max(a, b), ref, ea)
		if y < x || x < 1 {
			r.Fatalf("hotter ages slower: %g at %g, %g at %g", x, min(a, b), y, max(a, b))
		}
		if more, _ := heat.AF(a, ref, ea+10); a > ref && more < x && a == min(a, b) {
			r.Fatalf("a higher energy ages slower above the reference")
		}
		share := rapid.Float64Range(0, 1).Draw(r, "share")
		one, err := heat.MeanAF([]heat.Share{{a, share}, {b, 1 - share}}, ref, ea)
		two, _ := heat.MeanAF([]heat.Share{{b, 1 - share}, {a, share}}, ref, ea)
		half, _ := heat.MeanAF([]heat.Share{{a, share / 2}, {b, 1 - share}, {a, share / 2}}, ref, ea)
		if err != nil || one != two || !near(half, one, 1e-12) || one < x*(1-1e-12) || one > y*(1+1e-12) {
			r.Fatalf("mean %g, other order %g, split %g, between %g and %g; %v", one, two, half, x, y, err)
		}
	})
}

func TestEaFor(t *testing.T) {
	for _, row := range []struct {
		tube    string
		want    float64
		known   bool
		applies bool
	}{
		{"NBR", 92, true, true},
		{" nbr ", 92, true, true},
		{"CR", 80, true, true},
		{"EPDM", 72, true, true},
		{"", 92, false, true},
		{"something else", 92, false, true},
		{"PTFE", 92, false, false},
		{"Thermoplastic", 92, false, false},
	} {
		e := heat.EaFor(row.tube)
		if e.KJ != row.want || e.Known != row.known || e.Source == "" || heat.Applies(row.tube) != row.applies {
			t.Errorf("%q: %+v, applies %v", row.tube, e, heat.Applies(row.tube))
		}
	}
}

func FuzzMeanAF(f *testing.F) {
	f.Add(80.0, 0.5, 60.0, 0.5, 60.0, 92.0)
	f.Add(-273.15, 1.0, math.Inf(1), 0.0, math.NaN(), 0.0)
	f.Fuzz(func(t *testing.T, t1, s1, t2, s2, ref, ea float64) {
		got, err := heat.MeanAF([]heat.Share{{quantity.Temperature(t1), s1}, {quantity.Temperature(t2), s2}}, quantity.Temperature(ref), ea)
		if err == nil && (!(got >= 1) || math.IsInf(got, 0)) {
			t.Fatalf("answered %g", got)
		}
		if err != nil && err.Error() == "" {
			t.Fatal("an error that says nothing")
		}
	})
}

func BenchmarkAF(b *testing.B) {
	var sum float64
	for b.Loop() {
		f, _ := heat.AF(92, 80, 92)
		sum += f
	}
	_ = sum
}
