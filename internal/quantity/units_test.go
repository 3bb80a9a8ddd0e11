package quantity

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseNumber_AsPeopleType(t *testing.T) {
	for _, c := range []struct {
		in   string
		want float64
	}{
		{"12.5", 12.5},
		{"12,5", 12.5},
		{"1 250", 1250},
		{"1'250", 1250},
		{"1\u00a0250,5", 1250.5},
		{"1.250,5", 1250.5},
		{"1,250.5", 1250.5},
		{"1,250,500", 1250500},
		{"1.250.500", 1250500},
		{"4,000", 4},
		{"-12", -12},
		{"−12,5", -12.5},
		{"+3", 3},
		{"5.", 5},
		{".5", 0.5},
		{"  7  ", 7},
		{"007", 7},
	} {
		if got, err := ParseNumber(c.in); err != nil || got != c.want {
			t.Errorf("%q = %v, %v, want %v", c.in, got, err, c.want)
		}
	}
}

func TestParseNumber_Refuses(t *testing.T) {
	for _, s := range []string{
		"", " ", "abc", "1e5", "NaN", "Inf", "-", ".", ",", "1,2,3", "1.2.3,4", "12 34", "1 2", "1,250,50", "1.250,500,5", "--1", "1-", "0x10",
		"12.5 bar", "½", ",123,456", "1_000", "1" + strings.Repeat("0", 400),
	} {
		if got, err := ParseNumber(s); err == nil {
			t.Errorf("%.40q = %v, want an error", s, got)
		}
	}
}

// psi: 1 psi = 0.0689476 bar and 1 bar = 14.5038 psi as handbooks print them;
// the exact factor follows from pound, standard gravity and inch (ISO 80000-4).
func TestPressure_Conversions(t *testing.T) {
	if exact := 0.45359237 * 9.80665 / (0.0254 * 0.0254) / 1e5; math.Abs(BarPerPSI/exact-1) > 1e-14 {
		t.Errorf("BarPerPSI = %v, want %v", BarPerPSI, exact)
	}
	for _, c := range []struct {
		what      string
		got, want float64
		tolerance float64
	}{
		{"1 psi in bar, six places", PressureOf(1, PSI).In(Bar), 0.0689476, 5e-8},
		{"1 bar in psi, four places", Pressure(1).In(PSI), 14.5038, 5e-5},
		{"4000 psi, printed 275.8 bar", PressureOf(4000, PSI).In(Bar), 275.8, 0.05},
		{"5000 psi, printed 344.7 bar", PressureOf(5000, PSI).In(Bar), 344.7, 0.05},
		{"1 MPa is 10 bar", PressureOf(1, MPa).In(Bar), 10, 0},
		{"275 bar is 27.5 MPa", Pressure(275).In(MPa), 27.5, 0},
	} {
		if math.Abs(c.got-c.want) > c.tolerance {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

func TestParsePressure_UnitsAndSpellings(t *testing.T) {
	for _, c := range []struct {
		in      string
		assumed PressureUnit
		want    float64
	}{
		{"275 bar", "", 275},
		{"330bar", "", 330},
		{"27.5 MPa", "", 275},
		{"27,5MPa", "", 275},
		{"33,0 mpa", "", 330},
		{"4000 psi", "", 4000 * BarPerPSI},
		{"4,000 psi", "", 4000 * BarPerPSI},
		{"4 000 PSI", "", 4000 * BarPerPSI},
		{"27500 kPa", "", 275},
		{"275", Bar, 275},
		{"12,5", Bar, 12.5},
		{"4,000", PSI, 4000 * BarPerPSI},
		{"27.5", MPa, 275},
		{"275 bar", PSI, 275},
		{"0 bar", "", 0},
	} {
		got, err := ParsePressure(c.in, c.assumed)
		if err != nil || math.Abs(float64(got)-c.want) > 1e-9 {
			t.Errorf("%q (%s assumed) = %v, %v, want %v bar", c.in, c.assumed, float64(got), err, c.want)
		}
	}
}

func TestParsePressure_SaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ in, says string }{
		{"", "empty"},
		{"abc", "not a number"},
		{"bar", "not a number"},
		{"275", "no unit"},
		{"275 furlong", "unknown pressure unit"},
		{"-5 bar", "below zero"},
		{"20000 bar", "too much"},
		{"2 7 5 bar", "not a number"},
		{"1e3 bar", "unknown pressure unit"},
		{"<script>", "not a number"},
	} {
		if got, err := ParsePressure(c.in, ""); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q = %v, %v; want an error that says %q", c.in, got, err, c.says)
		}
	}
}

func TestFormat_AsTheTradePrints(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Pressure(275).Format(Bar), "275 bar"},
		{Pressure(275).Format(MPa), "27.5 MPa"},
		{PressureOf(4000, PSI).Format(PSI), "4000 psi"},
		{PressureOf(500, PSI).Format(PSI), "500 psi"},
		{PressureOf(4000, PSI).Format(Bar), "275.8 bar"},
		{Length(12.7).Format(Inch), "1/2 in"},
		{Length(1250).Format(MM), "1250 mm"},
		{Temperature(80).Format(DegF), "176 °F"},
		{Temperature(-40).Format(DegF), "-40 °F"},
		{Temperature(80.5).Format(DegC), "80.5 °C"},
		{FormatNumber(-0.0001, 2), "0"},
		{FormatNumber(1200, 0), "1200"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestParseLength_UnitsAndFractions(t *testing.T) {
	for _, c := range []struct {
		in      string
		assumed LengthUnit
		want    float64
	}{
		{"1250 mm", MM, 1250},
		{"1250", MM, 1250},
		{"1,25 m", MM, 1250},
		{"125 cm", MM, 1250},
		{`1/2"`, MM, 12.7},
		{`1 1/2"`, MM, 38.1},
		{"1-1/4 in", MM, 31.75},
		{"3/4 inch", MM, 19.05},
		{"49 1/4", Inch, 1250.95},
		{"0.5 inches", MM, 12.7},
	} {
		got, err := ParseLength(c.in, c.assumed)
		if err != nil || math.Abs(float64(got)-c.want) > 1e-9 {
			t.Errorf("%q = %v, %v, want %v mm", c.in, float64(got), err, c.want)
		}
	}
	for _, s := range []string{"", "mm", "-5 mm", "1/0 in", "2 km", "1001 m", "a 1/2 in", "1/2/3"} {
		if got, err := ParseLength(s, MM); err == nil {
			t.Errorf("%q = %v, want an error", s, got)
		}
	}
}

func TestParseTemperature_UnitsAndLimits(t *testing.T) {
	for _, c := range []struct {
		in      string
		assumed TemperatureUnit
		want    float64
	}{
		{"80 °C", DegC, 80},
		{"80", DegC, 80},
		{"176 °F", DegC, 80},
		{"176", DegF, 80},
		{"-40 F", DegC, -40},
		{"−40 °C", DegC, -40},
		{"353,15 K", DegC, 80},
		{"100degC", DegC, 100},
		{"82 deg F", DegC, (82 - 32) * 5.0 / 9},
	} {
		got, err := ParseTemperature(c.in, c.assumed)
		if err != nil || math.Abs(float64(got)-c.want) > 1e-9 {
			t.Errorf("%q = %v, %v, want %v", c.in, float64(got), err, c.want)
		}
	}
	for _, s := range []string{"", "hot", "500 °C", "-300 C", "80 R", "0 K"} {
		if got, err := ParseTemperature(s, DegC); err == nil {
			t.Errorf("%q = %v, want an error", s, got)
		}
	}
	if got := Temperature(20).Kelvin(); math.Abs(got-293.15) > 1e-9 {
		t.Errorf("20 °C = %v K, want 293.15 (zero at 273.15, by definition)", got)
	}
}

func TestUnits_PrintAndParseBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Pressure(rapid.Float64Range(0, float64(MaxPressure)).Draw(t, "bar"))
		if got, err := ParsePressure(p.String(), ""); err != nil || got != p {
			t.Fatalf("%q comes back as %v, %v", p, float64(got), err)
		}
		l := Length(rapid.Float64Range(0, float64(MaxLength)).Draw(t, "mm"))
		if got, err := ParseLength(l.String(), Inch); err != nil || got != l {
			t.Fatalf("%q comes back as %v, %v", l, float64(got), err)
		}
		c := Temperature(rapid.Float64Range(float64(MinTemperature), float64(MaxTemperature)).Draw(t, "degC"))
		if got, err := ParseTemperature(c.String(), DegF); err != nil || got != c {
			t.Fatalf("%q comes back as %v, %v", c, float64(got), err)
		}
	})
}

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"12,5", "1 250", "1.250,5", "1,250.5", "-3", "abc", "1'250", "", "−1", ".", "1e5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseNumber(s)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%q = %v", s, v)
		}
		if err != nil || math.Abs(v) > 1e300 {
			return
		}
		if back, err := ParseNumber(FormatNumber(v, -1)); err != nil || back != v {
			t.Fatalf("%q = %v comes back as %v, %v", s, v, back, err)
		}
	})
}

func FuzzParsePressure(f *testing.F) {
	for _, s := range []string{"275 bar", "27,5 MPa", "4,000 psi", "4 000 psi", "abc", "-1 bar", "1e5 bar", "33,0MPa", "99999 kPa", "0 psi"} {
		f.Add(s, "bar")
		f.Add(s, "")
	}
	f.Fuzz(func(t *testing.T, s, assumed string) {
		p, err := ParsePressure(s, PressureUnit(assumed))
		if err != nil {
			if p != 0 {
				t.Fatalf("%q is an error and still %v", s, p)
			}
			return
		}
		if !(p >= 0 && p <= MaxPressure) {
			t.Fatalf("%q = %v", s, p)
		}
		if back, err := ParsePressure(p.String(), ""); err != nil || back != p {
			t.Fatalf("%q = %q comes back as %q, %v", s, p, back, err)
		}
	})
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"1250 mm", "1,25 m", `1 1/2"`, "49 1/4", "3/0 in", "-1 m", "”", "İn", "1/2/3", "9999999999 m"} {
		f.Add(s, "mm")
		f.Add(s, "in")
	}
	f.Fuzz(func(t *testing.T, s, assumed string) {
		l, err := ParseLength(s, LengthUnit(assumed))
		if err != nil {
			return
		}
		if !(l >= 0 && l <= MaxLength) {
			t.Fatalf("%q = %v", s, l)
		}
		if back, err := ParseLength(l.String(), MM); err != nil || back != l {
			t.Fatalf("%q = %q comes back as %q, %v", s, l, back, err)
		}
	})
}

func FuzzParseTemperature(f *testing.F) {
	for _, s := range []string{"80 °C", "176F", "353,15 K", "-40", "1e9 C", "°", "", "−40 °C"} {
		f.Add(s, "degC")
		f.Add(s, "degF")
	}
	f.Fuzz(func(t *testing.T, s, assumed string) {
		c, err := ParseTemperature(s, TemperatureUnit(assumed))
		if err != nil {
			return
		}
		if !(c >= MinTemperature && c <= MaxTemperature) {
			t.Fatalf("%q = %v", s, c)
		}
		if back, err := ParseTemperature(c.String(), DegC); err != nil || back != c {
			t.Fatalf("%q = %q comes back as %q, %v", s, c, back, err)
		}
	})
}
