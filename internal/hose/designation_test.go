package hose

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseDesignation_Spellings(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"EN 853 2SN", "EN 853 2SN"},
		{"EN853-2SN", "EN 853 2SN"},
		{"EN853/2SN", "EN 853 2SN"},
		{"EN 853:2015 - 2SN", "EN 853 2SN"},
		{"DIN EN 853 2 SN", "EN 853 2SN"},
		{"2SN", "EN 853 2SN"},
		{"2sn", "EN 853 2SN"},
		{"2ST", "EN 853 2ST"},
		{"1SN/1ST", "EN 853 1SN"},
		{"1SC", "EN 857 1SC"},
		{"4SP", "EN 856 4SP"},
		{"4SH DN25", "EN 856 4SH"},
		{"EN 856 R12", "EN 856 R12"},
		{"EN 854 2TE", "EN 854 2TE"},
		{"SAE 100R2AT", "SAE 100R2AT"},
		{"SAE 100 R2AT", "SAE 100R2AT"},
		{"SAE 100 R2 AT", "SAE 100R2AT"},
		{"100 R2AT", "SAE 100R2AT"},
		{"100R2AT-8", "SAE 100R2AT"},
		{"R2AT", "SAE 100R2AT"},
		{"SAE J517 100R1AT", "SAE 100R1AT"},
		{"R12", "SAE 100R12"},
		{"100R16S", "SAE 100R16S"},
		{"ISO 1436-2 SN/R2ATS", "ISO 1436 R2ATS"},
		{"EN ISO 1436 2SN", "ISO 1436 2SN"},
		{"ISO 1436:2017 2SN", "ISO 1436 2SN"},
		{"ISO 3862 R15", "ISO 3862 R15"},
		{"ISO 3862-1 4SP", "ISO 3862 4SP"},
		{"ISO 11237 R17", "ISO 11237 R17"},
		{"ISO 18752-2 BC", "ISO 18752 BC"},
		{"ISO 18752:2014 DC", "ISO 18752 DC"},
		{"EN 853 4SP", "EN 853 4SP"}, // no such type: kept as printed, without a rating
	} {
		d, err := ParseDesignation(c.in)
		if err != nil || d.String() != c.want {
			t.Errorf("%q = %q, %v, want %q", c.in, d, err, c.want)
		}
		back, err := ParseDesignation(d.String())
		if err != nil || back != d {
			t.Errorf("%q comes back as %q, %v", d, back, err)
		}
	}
	for _, s := range []string{"", "hose", "SN 12345", "2SNK", "100R2XY", "100R0", "100R20", "R 2", "EN 853", "ISO 9001", "BC", "12 BC", strings.Repeat("(", 9000)} {
		if d, err := ParseDesignation(s); err == nil {
			t.Errorf("%.40q = %q, want an error", s, d)
		}
	}
}

func TestDesignations_PrintAndParseBack(t *testing.T) {
	all := Designations()
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(all).Draw(t, "designation")
		for _, text := range []string{d.String(), strings.ToLower(d.String()), strings.ReplaceAll(d.String(), " ", "  "), "X " + d.String() + " DN 12"} {
			if back, err := ParseDesignation(text); err != nil || back != d {
				t.Fatalf("%q comes back as %q, %v", text, back, err)
			}
		}
	})
}
