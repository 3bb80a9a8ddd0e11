package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ParseNumber reads a decimal number as people type it: 12.5, 12,5, 1 250,
// 1'250, 1.250,5, 1,250.5. A single comma or point is the decimal sign
// wherever it stands, so "4,000" is 4 and prints as such: a caller that shows
// what it read lets the person see it. Where both signs occur the last one is
// the decimal sign; a sign that occurs twice or more separates thousands.
// Exponents, infinities and NaN are refused.
func ParseNumber(s string) (float64, error) {
	t := strings.TrimSpace(s)
	t = strings.NewReplacer("\u00a0", "", "\u202f", "", " ", "", "'", "", "’", "", "−", "-").Replace(t)
	bad := fmt.Errorf("%q is not a number", clip(strings.TrimSpace(s)))
	if t == "" {
		return 0, fmt.Errorf("empty, expected a number")
	}
	commas, points := strings.Count(t, ","), strings.Count(t, ".")
	switch {
	case commas > 0 && points > 0:
		if strings.LastIndexByte(t, ',') > strings.LastIndexByte(t, '.') {
			if commas > 1 {
				return 0, bad
			}
			t = strings.Replace(strings.ReplaceAll(t, ".", ""), ",", ".", 1)
		} else {
			if points > 1 {
				return 0, bad
			}
			t = strings.ReplaceAll(t, ",", "")
		}
	case commas == 1:
		t = strings.Replace(t, ",", ".", 1)
	case commas > 1:
		if !thousands(t, ",") {
			return 0, bad
		}
		t = strings.ReplaceAll(t, ",", "")
	case points > 1:
		if !thousands(t, ".") {
			return 0, bad
		}
		t = strings.ReplaceAll(t, ".", "")
	}
	for i := 0; i < len(t); i++ {
		c := t[i]
		if (c < '0' || c > '9') && c != '.' && !((c == '-' || c == '+') && i == 0) {
			return 0, bad
		}
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, bad
	}
	return v, nil
}

// thousands reports whether every group behind a separator has three digits.
func thousands(t, sep string) bool {
	for _, g := range strings.Split(t, sep)[1:] {
		if len(g) != 3 {
			return false
		}
	}
	return true
}

// FormatNumber prints v with at most the given number of decimals and no
// trailing zeros.
func FormatNumber(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.IndexByte(s, '.') >= 0 {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
