package hose

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// synonyms is the size table of the trade: dash numbers and EN names as EN and
// ISO hose standards print them, trade names from a public size card that
// prints "13 (12)", "20 (19)", "32 (31)", "40 (38)" and "50 (51)".
var synonyms = []struct {
	dash  int
	inch  string
	en    []string
	trade []string
}{
	{3, "3/16", []string{"5"}, []string{"4", "5"}},
	{4, "1/4", []string{"6", "6.3"}, []string{"6"}},
	{5, "5/16", []string{"8"}, []string{"8"}},
	{6, "3/8", []string{"10"}, []string{"10"}},
	{8, "1/2", []string{"12", "12.5"}, []string{"13"}},
	{10, "5/8", []string{"16"}, []string{"16"}},
	{12, "3/4", []string{"19"}, []string{"20"}},
	{16, "1", []string{"25"}, []string{"25"}},
	{20, "1 1/4", []string{"31", "31.5"}, []string{"32"}},
	{24, "1 1/2", []string{"38"}, []string{"40"}},
	{32, "2", []string{"51"}, []string{"50"}},
	{40, "2 1/2", []string{"63"}, []string{"60"}},
	{48, "3", []string{"76"}, []string{"80", "76"}},
}

func TestParseSize_AllNamesOfASizeAreTheSameSize(t *testing.T) {
	for _, s := range synonyms {
		want, ok := SizeOfDash(s.dash)
		if !ok {
			t.Fatalf("dash %d is unknown", s.dash)
		}
		texts := []string{
			fmt.Sprintf("-%d", s.dash), fmt.Sprintf("dash %d", s.dash), fmt.Sprintf("-%02d", s.dash), fmt.Sprintf("–%d", s.dash),
			s.inch + `"`, s.inch + " in", s.inch + "″", s.inch + " inch", strings.Replace(s.inch, " ", "-", 1) + ` "`,
			fmt.Sprintf("%.2f in", float64(s.dash)/16), fmt.Sprintf("%.1f mm", float64(s.dash)*25.4/16), want.String(),
		}
		for _, n := range append(s.en, s.trade...) {
			texts = append(texts, "DN"+n, "DN "+n, "dn "+strings.Replace(n, ".", ",", 1), "NW "+n, "DN"+n+` (`+s.inch+`")`, "DN "+n+fmt.Sprintf(" / -%d", s.dash))
			if !strings.Contains(n, ".") {
				texts = append(texts, n+" mm")
			}
		}
		for _, text := range texts {
			got, err := ParseSize(text)
			if err != nil || len(got) != 1 || got[0].Size != want {
				t.Errorf("%q = %v, %v, want %v alone", text, got, err, want)
			}
		}
		if want.Inch() != s.inch {
			t.Errorf("%v is %s in, want %s", want, want.Inch(), s.inch)
		}
	}
	if len(Sizes()) != len(synonyms) {
		t.Errorf("%d sizes are known, want %d", len(Sizes()), len(synonyms))
	}
}

func TestParseSize_BareNumberSaysAllItsReadings(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"4", "DN 4 (DN 5, -3) or dash 4 (DN 6, -4)"},
		{"5", "DN 5 (DN 5, -3) or dash 5 (DN 8, -5)"},
		{"6", "DN 6 (DN 6, -4) or dash 6 (DN 10, -6)"},
		{"8", "DN 8 (DN 8, -5) or dash 8 (DN 12, -8)"},
		{"10", "DN 10 (DN 10, -6) or dash 10 (DN 16, -10)"},
		{"12", "DN 12 (DN 12, -8) or dash 12 (DN 19, -12)"},
		{"16", "DN 16 (DN 16, -10) or dash 16 (DN 25, -16)"},
		{"20", "DN 20 (DN 19, -12) or dash 20 (DN 31, -20)"},
		{"32", "DN 32 (DN 31, -20) or dash 32 (DN 51, -32)"},
		{"40", "DN 40 (DN 38, -24) or dash 40 (DN 63, -40)"},
		{"13", "DN 13 (DN 12, -8)"},
		{"19", "DN 19 (DN 19, -12)"},
		{"24", "dash 24 (DN 38, -24)"},
		{"12,5", "DN 12,5 (DN 12, -8)"},
		{"6.3", "DN 6.3 (DN 6, -4)"},
		{"12.7", "DN 12.7 (DN 12, -8)"},
		{"1/2", "1/2 in (DN 12, -8)"},
		{"1 1/4", "1 1/4 in (DN 31, -20)"},
		{"3/16", "3/16 in (DN 5, -3)"},
		{"0.5", "0.5 in (DN 12, -8)"},
		{"½", "1/2 in (DN 12, -8)"},
		{"1½\"", "1 1/2 in (DN 38, -24)"},
	} {
		got, err := ParseSize(c.in)
		if err != nil || either(got) != c.want {
			t.Errorf("%q = %s, %v, want %s", c.in, either(got), err, c.want)
		}
		one, err := OneSize(c.in)
		if (err != nil) != strings.Contains(c.want, " or ") {
			t.Errorf("OneSize(%q) = %v, %v", c.in, one, err)
		}
	}
}

func TestParseSize_ContradictionGivesBoth(t *testing.T) {
	for _, in := range []string{`DN12 3/4"`, "DN 12 -12", `-8 1"`, "DN 12 16 mm"} {
		if got, err := ParseSize(in); err != nil || len(got) != 2 {
			t.Errorf("%q = %v, %v, want two readings", in, got, err)
		}
	}
}

// One public table lists 100R5 -8 as DN 10, -12 as DN 16 and -16 as DN 22.
func TestTubeSize_IsSmallerThanItsDash(t *testing.T) {
	for dash, dn := range map[int]int{8: 10, 12: 16, 16: 22} {
		s, ok := TubeSize(dash)
		if !ok || s != (Size{DN: dn, Dash: dash}) {
			t.Errorf("tube size -%d = %v, %v, want DN %d", dash, s, ok, dn)
		}
		got, err := ParseSize(s.String())
		if dn != 22 && (err != nil || len(got) != 1 || got[0].Size != s) {
			t.Errorf("%q comes back as %v, %v", s, got, err)
		}
	}
	if _, ok := TubeSize(10); ok {
		t.Error("tube size -10 was read nowhere and must be unknown")
	}
}

func TestSizeComplete(t *testing.T) {
	for _, c := range []struct{ in, want Size }{
		{Size{DN: 12}, Size{12, 8}},
		{Size{Dash: 8}, Size{12, 8}},
		{Size{DN: 13, Dash: 8}, Size{12, 8}},
		{Size{DN: 12, Dash: 8}, Size{12, 8}},
		{Size{DN: 10, Dash: 8}, Size{10, 8}}, // tube
		{Size{DN: 19, Dash: 8}, Size{}},
		{Size{DN: 7}, Size{}},
		{Size{}, Size{}},
		{Size{DN: -1, Dash: -8}, Size{}},
	} {
		if got := c.in.Complete(); got != c.want {
			t.Errorf("%+v completes to %+v, want %+v", c.in, got, c.want)
		}
	}
}

func TestParseSize_Refuses(t *testing.T) {
	for _, s := range []string{"", " ", "big", "DN", "DN 7", "DN 1000", "-7", "17", "0", "-1", "1/0", "2/4", "02/04", `7/8"`, `9"`, "-40 °C", "12 bar", "8%", "+8", "NaN", "1e1", "<b>DN 12</b>", "DN12; DROP TABLE hose", strings.Repeat("8", 10000)} {
		if got, err := ParseSize(s); err == nil {
			t.Errorf("%.40q = %v, want an error", s, got)
		}
	}
}

func TestSize_PrintsAndParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(Sizes()).Draw(t, "size")
		for _, text := range []string{s.String(), Size{DN: s.DN}.String(), Size{Dash: s.Dash}.String()} {
			if got, err := OneSize(text); err != nil || got != s {
				t.Fatalf("%q comes back as %v, %v", text, got, err)
			}
		}
	})
}

func FuzzParseSize(f *testing.F) {
	for _, s := range []string{"DN12", "12,5", "-8", `1 1/2"`, "8", "12.7 mm", "DN 12, -8", "DN 20 (19)", "1/2/3", "DN DN 8", "½", "--8", "DN12 3/4\"", "DN 10, -8"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseSize(s)
		if err != nil {
			if len(got) > 0 {
				t.Fatalf("%q is an error and still %v", s, got)
			}
			return
		}
		if len(got) == 0 {
			t.Fatalf("%q: neither a size nor an error", s)
		}
		for _, r := range got {
			if r.Size.Complete() != r.Size || r.Size.IsZero() {
				t.Fatalf("%q gives the size %+v", s, r.Size)
			}
			if back, err := OneSize(r.Size.String()); err != nil || back != r.Size {
				t.Fatalf("%q gives %q, which comes back as %v, %v", s, r.Size, back, err)
			}
		}
	})
}
