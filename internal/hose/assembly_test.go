package hose

import (
	"math"
	"strings"
	"testing"

	"hoseward/internal/quantity"

	"pgregory.net/rapid"
)

func bar(v float64) *float64 { return &v }

// SAE J517, ISO 11237 and ISO 18752 (scopes): an assembly is rated by its lowest
// rated part.
func TestRating_IsTheLowestPart(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		what      string
		parts     []Part
		bar       float64 // 0: not known
		decides   string
		confirmed bool
		unknown   string
	}{
		{"an end decides", []Part{{"hose", bar(275)}, {"end A", bar(250)}, {"end B", bar(350)}}, 250, "end A", true, ""},
		{"the hose decides", []Part{{"hose", bar(165)}, {"end A", bar(250)}, {"end B", bar(350)}}, 165, "hose", true, ""},
		{"an adapter decides", []Part{{"hose", bar(275)}, {"end A", bar(250)}, {"end B", bar(350)}, {"adapter", bar(210)}}, 210, "adapter", true, ""},
		{"of equals the first", []Part{{"hose", bar(250)}, {"end A", bar(250)}}, 250, "hose", true, ""},
		{"an unknown end leaves it unconfirmed", []Part{{"hose", bar(275)}, {"end A", nil}, {"end B", bar(350)}}, 275, "hose", false, "end A"},
		{"zero, minus, NaN and infinity are not known", []Part{{"hose", bar(0)}, {"end A", bar(-1)}, {"end B", &nan}, {"adapter", bar(math.Inf(1))}}, 0, "", false, "hose end A end B adapter"},
		{"nothing is known of nothing", nil, 0, "", false, ""},
	} {
		got := Rating(c.parts...)
		v := 0.0
		if got.Bar != nil {
			v = *got.Bar
		}
		if v != c.bar || got.Decides != c.decides || got.Confirmed() != c.confirmed || strings.Join(got.Unknown, " ") != c.unknown {
			t.Errorf("%s: %v bar, decided by %q, confirmed %v, unknown %v", c.what, v, got.Decides, got.Confirmed(), got.Unknown)
		}
	}
}

func TestRating_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(1, 700), 1, 6).Draw(t, "bar")
		var parts []Part
		for _, v := range values {
			parts = append(parts, Part{"part", bar(v)})
		}
		all := Rating(parts...)
		for _, v := range values {
			if *all.Bar > v {
				t.Fatalf("%v is over %v", *all.Bar, v)
			}
		}
		more := Rating(append(parts, Part{"adapter", nil})...)
		if *more.Bar != *all.Bar || more.Confirmed() {
			t.Fatal("a part of unknown rating must change nothing but the confidence")
		}
		*all.Bar = 0
		if values[0] == 0 || *parts[0].Bar == 0 {
			t.Fatal("the rating is not a copy")
		}
	})
}

// Cut length: overall less both cut-off factors (three trade pages agree).
func TestCutLength(t *testing.T) {
	for _, c := range []struct {
		what             string
		overall, a, b, l quantity.Length
	}{
		{"two straight ends", 1000, 32.5, 32.5, 935},
		{"no factors", 1000, 0, 0, 1000},
		{"one end is an elbow", 650, 28, 61.5, 560.5},
	} {
		got, err := CutLength(c.overall, c.a, c.b)
		if err != nil || math.Abs(float64(got-c.l)) > 1e-9 {
			t.Errorf("%s: %v, %v, want %v", c.what, got, err, c.l)
		}
	}
	nan := quantity.Length(math.NaN())
	for _, c := range []struct {
		what          string
		overall, a, b quantity.Length
	}{
		{"the ends take all", 100, 50, 50},
		{"the ends take more than all", 100, 60, 60},
		{"a negative factor", 100, -1, 0},
		{"a negative length", -100, 0, 0},
		{"no number", nan, 0, 0},
		{"a factor that is no number", 100, 0, nan},
		{"more than a kilometre", 2e6, 0, 0},
	} {
		if got, err := CutLength(c.overall, c.a, c.b); err == nil {
			t.Errorf("%s: %v, want an error", c.what, got)
		}
	}
}

// DIN 20066, table of length tolerances as a public manual reproduces it.
func TestLengthTolerance_DIN20066(t *testing.T) {
	small, middle, large := Size{25, 16}, Size{31, 20}, Size{63, 40}
	for _, c := range []struct {
		length          quantity.Length
		size            Size
		longer, shorter float64
	}{
		{1, small, 7, 3},
		{630, small, 7, 3},
		{630.1, small, 12, 4},
		{1250, small, 12, 4},
		{1250.1, small, 20, 6},
		{2500, small, 20, 6},
		{2500.1, small, 37.5015, 12.5005},
		{8000, small, 120, 40},
		{8000.1, small, 240.003, 80.001},
		{10000, small, 300, 100},
		{630, middle, 12, 4},
		{631, middle, 20, 6},
		{1250, middle, 20, 6},
		{1251, middle, 25, 6},
		{2500, middle, 25, 6},
		{4000, middle, 60, 20},
		{500, large, 25, 6},
		{1000, large, 25, 6},
		{2500, large, 25, 6},
		{5000, large, 75, 25},
		{9000, large, 270, 90},
		{630, Size{51, 32}, 12, 4},
		{630, Size{DN: 5, Dash: 3}, 7, 3},
	} {
		got, err := LengthTolerance(c.length, c.size)
		if err != nil || math.Abs(float64(got.Longer)-c.longer) > 1e-9 || math.Abs(float64(got.Shorter)-c.shorter) > 1e-9 {
			t.Errorf("%v %v: +%v/-%v, %v, want +%v/-%v", c.length, c.size, float64(got.Longer), float64(got.Shorter), err, c.longer, c.shorter)
		}
	}
	for _, c := range []struct {
		length quantity.Length
		size   Size
	}{{0, small}, {-1, small}, {quantity.Length(math.NaN()), small}, {1000, Size{}}, {1000, Size{DN: 127}}, {2e6, small}} {
		if got, err := LengthTolerance(c.length, c.size); err == nil {
			t.Errorf("%v %v: %v, want an error", c.length, c.size, got)
		}
	}
}

// +2 % to -4 %: EN 854:2015 extract, and general guidance.
func TestLengthUnderPressure(t *testing.T) {
	short, long := LengthUnderPressure(1000)
	if short != 960 || long != 1020 {
		t.Errorf("1000 mm becomes %v to %v, want 960 to 1020", short, long)
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		if s, l := LengthUnderPressure(quantity.Length(bad)); s != 0 || l != 0 {
			t.Errorf("%v becomes %v to %v", bad, s, l)
		}
	}
	if !strings.Contains(LengthChangeNote, "+2 % to -4 %") {
		t.Error(LengthChangeNote)
	}
}

func TestGaps_WhatAMarkMustCarry(t *testing.T) {
	for _, c := range []struct{ what, text, lacks string }{
		{"complete to EN, as in DGUV Regel 113-020", "TESTCO/EN 853/2SN/DN 10/2Q16", ""},
		{"no maker", "EN 853/2SN/DN 10/2Q16", "maker"},
		{"a country is no maker", "EN 853/2SN/DN 10/2Q16 MADE IN NOWHERE", "maker"},
		{"no type", "TESTCO EN 853 DN 10 2Q16", "type"},
		{"no nominal bore", "TESTCO EN 853 2SN 2Q16", "nominal bore"},
		{"inches only", `TESTCO EN 853 2SN 3/8" 2Q16`, "nominal bore"},
		{"no date", "TESTCO EN 853 2SN DN 10", "quarter and year"},
		{"the year alone", "TESTCO EN 853 2SN DN 10 2019", "quarter and year"},
		{"a burst pressure stands there", "TESTCO EN 853 2SN DN 10 WP 330 BAR BURST 1320 BAR 2Q16", "burst pressure"},
		{"ISO wants MPa and bar", "TESTCO ISO 1436 2SN DN 10 330 BAR 2Q16", "rating"},
		{"complete to ISO", "TESTCO ISO 1436 2SN DN 10 33.0 MPA (330 BAR) 2Q16", ""},
		{"SAE takes the dash", "TESTCO SAE 100R2AT-6 2Q16", ""},
		{"SAE without a size", "TESTCO SAE 100R2AT 2Q16", "size"},
		{"complete assembly", "TESTCO/330bar/1606", ""},
		{"assembly without maker", "330bar/1606", "maker"},
		{"assembly without rating", "TESTCO/1606", "rating"},
		{"assembly without date", "TESTCO/330bar", "year and month"},
		{"assembly with a quarter only", "TESTCO/330bar/2Q16", "year and month"},
		{"nothing", "", "maker rating year and month"},
	} {
		var lacks []string
		for _, g := range ReadLayline(c.text).Gaps() {
			lacks = append(lacks, g.What)
			if g.Says == "" || g.Source == "" {
				t.Errorf("%s: %+v says nothing", c.what, g)
			}
		}
		if got := strings.Join(lacks, " "); got != c.lacks {
			t.Errorf("%s: %q lacks %q, want %q", c.what, c.text, got, c.lacks)
		}
	}
}
