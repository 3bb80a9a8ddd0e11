package quantity

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The conversions are exact by definition: 1 psi = 6894.757293168 Pa (ISO 80000-4
// Annex), 1 in = 25.4 mm, degF = degC * 9/5 + 32. The numbers in psi were worked
// out with a calculator: 275/0.0689475729 = 3988.538, 350/0.0689475729 =
// 5076.321, 345/0.0689475729 = 5003.802.
func TestFormatRating_RoundsDown(t *testing.T) {
	for _, c := range [...]struct{ why, got, want string }{
		{"275 bar is 3988.5 psi, not 3989 and not the 4000 printed beside it", Pressure(275).FormatRating(PSI), "3988 psi"},
		{"350 bar is 5076.3 psi", Pressure(350).FormatRating(PSI), "5076 psi"},
		{"345 bar is 5003.8 psi, which is nearly 5004", Pressure(345).FormatRating(PSI), "5003 psi"},
		{"4000 psi is 275.79 bar", PressureOf(4000, PSI).FormatRating(Bar), "275.7 bar"},
		{"4000 psi is 27.579 MPa", PressureOf(4000, PSI).FormatRating(MPa), "27.57 MPa"},
		{"what is exact stays", Pressure(275).FormatRating(MPa), "27.5 MPa"},
		{"what was typed stays", PressureOf(4000, PSI).FormatRating(PSI), "4000 psi"},
		{"no rating at all", Pressure(0).FormatRating(PSI), "0 psi"},
		{"100 °C is 212 °F", Temperature(100).FormatRating(DegF), "212 °F"},
		{"121 °C is 249.8 °F exactly", Temperature(121).FormatRating(DegF), "249.8 °F"},
		{"121.07 °C is 249.926 °F", Temperature(121.07).FormatRating(DegF), "249 °F"},
		{"250 °F is 121.1 °C", (Temperature(250-32) * 5 / 9).FormatRating(DegC), "121.1 °C"},
		{"below zero, down is colder", Temperature(-40.03).FormatRating(DegF), "-41 °F"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %s, want %s", c.why, c.got, c.want)
		}
	}
}

func TestFormat_PrintsWhatWasTypedAsTyped(t *testing.T) {
	for _, text := range []string{
		"4000 psi", "3625 psi", "5000 psi", "1 psi", "14.5 psi", "275 bar", "68.95 bar", "0.5 bar", "27.5 MPa", "27.58 MPa", "35 MPa",
	} {
		p, err := ParsePressure(text, "")
		if err != nil {
			t.Fatal(err)
		}
		u := PressureUnit(text[strings.IndexByte(text, ' ')+1:])
		if p.Format(u) != text || p.FormatRating(u) != text {
			t.Errorf("%s is printed as %s, as a rating %s", text, p.Format(u), p.FormatRating(u))
		}
	}
	for _, text := range []string{"49 1/4 in", "1/2 in", "3 in", "1/16 in", "15/16 in", "49.21 in", "0.1 in", "1250 mm", "12.7 mm", "1250.95 mm"} {
		l, err := ParseLength(text, MM)
		if err != nil {
			t.Fatal(err)
		}
		u := Inch
		if strings.HasSuffix(text, "mm") {
			u = MM
		}
		if got := l.Format(u); got != text {
			t.Errorf("%s is printed as %s", text, got)
		}
	}
	for _, text := range []string{"212 °F", "180 °F", "-40 °F", "176.5 °F"} {
		v, err := ParseTemperature(text, DegC)
		if err != nil {
			t.Fatal(err)
		}
		if v.Format(DegF) != text || v.FormatRating(DegF) != text {
			t.Errorf("%s is printed as %s, as a rating %s", text, v.Format(DegF), v.FormatRating(DegF))
		}
	}
}

func TestFormat_InchesAreFractionsWhereTheySayItToAHalfTenthOfAMillimetre(t *testing.T) {
	for _, c := range [...]struct {
		mm   float64
		want string
	}{
		{1250.95, "49 1/4 in"},
		{1250.91, "49 1/4 in"}, // 0.04 mm off
		{1250.85, "49.25 in"},  // 0.1 mm off
		{1250, "49.21 in"},     // 49.2126 in; the sixteenth beside it is 0.64 mm off
		{1000, "39.37 in"},
		{12.7, "1/2 in"},
		{0, "0 in"},
		{25.4, "1 in"},
		{1.5875, "1/16 in"},
	} {
		if got := Length(c.mm).Format(Inch); got != c.want {
			t.Errorf("%v mm is %s, want %s", c.mm, got, c.want)
		}
	}
}

// In every unit what is printed is read back within half of what it is rounded
// to, and a rating never above what it is.
func TestFormat_IsReadBackWithinItsRounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Pressure(rapid.Float64Range(0, float64(MaxPressure)-0.1).Draw(t, "bar"))
		for u, step := range map[PressureUnit]float64{Bar: 0.1, MPa: 0.01 * BarPerMPa, PSI: BarPerPSI} {
			near, err := ParsePressure(p.Format(u), "")
			if err != nil || math.Abs(float64(near-p)) > step/2+1e-9 {
				t.Fatalf("%v is printed as %s, read as %v, %v", p, p.Format(u), near, err)
			}
			low, err := ParsePressure(p.FormatRating(u), "")
			if err != nil || float64(low) > float64(p)*(1+1e-11) || float64(p-low) > step+1e-9 {
				t.Fatalf("rated %v is printed as %s, read as %v, %v", p, p.FormatRating(u), low, err)
			}
		}
		c := Temperature(rapid.Float64Range(float64(MinTemperature)+1, float64(MaxTemperature)-1).Draw(t, "degC"))
		for u, step := range map[TemperatureUnit]float64{DegC: 0.1, DegF: 5. / 9} {
			near, err := ParseTemperature(c.Format(u), DegC)
			if err != nil || math.Abs(float64(near-c)) > step/2+1e-9 {
				t.Fatalf("%v is printed as %s, read as %v, %v", c, c.Format(u), near, err)
			}
			low, err := ParseTemperature(c.FormatRating(u), DegC)
			if err != nil || float64(low) > float64(c)+1e-9 || float64(c-low) > step+1e-9 {
				t.Fatalf("rated %v is printed as %s, read as %v, %v", c, c.FormatRating(u), low, err)
			}
		}
		l := Length(rapid.Float64Range(0, float64(MaxLength)-1).Draw(t, "mm"))
		for u, half := range map[LengthUnit]float64{MM: 0.05, Inch: 0.005 * MMPerInch} {
			back, err := ParseLength(l.Format(u), MM)
			if err != nil || math.Abs(float64(back-l)) > half+1e-6 {
				t.Fatalf("%v is printed as %s, read as %v, %v", l, l.Format(u), back, err)
			}
		}
	})
}

// Whole numbers as people type them, and sixteenths, print as they were typed.
func TestFormat_TypedNumbersComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 100000).Draw(t, "tenths of psi")
		psi := FormatNumber(float64(n)/10, 1) + " psi"
		if p, err := ParsePressure(psi, ""); err != nil || p.Format(PSI) != psi || p.FormatRating(PSI) != psi {
			t.Fatalf("%s comes back as %s, rated %s, %v", psi, p.Format(PSI), p.FormatRating(PSI), err)
		}
		mpa := FormatNumber(float64(n)/100, 2) + " MPa"
		if p, err := ParsePressure(mpa, ""); err != nil || p.FormatRating(MPa) != mpa {
			t.Fatalf("%s comes back as %s, %v", mpa, p.FormatRating(MPa), err)
		}
		sixteenth := rapid.IntRange(0, 16000).Draw(t, "sixteenths")
		inches := sixteenths(int64(sixteenth)) + " in"
		if l, err := ParseLength(inches, MM); err != nil || l.Format(Inch) != inches {
			t.Fatalf("%s comes back as %s, %v", inches, l.Format(Inch), err)
		}
		f := FormatNumber(float64(rapid.IntRange(-1400, 7000).Draw(t, "tenths of degF"))/10, 1) + " °F"
		if c, err := ParseTemperature(f, DegC); err != nil || c.FormatRating(DegF) != f {
			t.Fatalf("%s comes back as %s, %v", f, c.FormatRating(DegF), err)
		}
	})
}
