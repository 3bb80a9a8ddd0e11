package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// thousandSigns are what people put between thousands, besides points and
// commas.
var thousandSigns = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "'", " ", "’", " ", "−", "-")

// ParseNumber reads a decimal number as people type it: 12.5, 12,5, 1 250,
// 1'250, 1.250,5, 1,250.5. A single comma or point is the decimal sign
// wherever it stands, so "4,000" is 4 and prints as such: a caller that shows
// what it read lets the person see it. Where both signs occur the last one is
// the decimal sign; a sign that occurs twice or more separates thousands, and
// so do spaces and apostrophes: in groups of three digits.
// Exponents, infinities and NaN are refused.
func ParseNumber(s string) (float64, error) {
	t := strings.TrimSpace(s)
	t = thousandSigns.Replace(t)
	bad := fmt.Errorf("%q is not a number", clip(strings.TrimSpace(s)))
	if t == "" {
		return 0, fmt.Errorf("empty, expected a number")
	}
	whole, frac := t, ""
	comma, point := strings.LastIndexByte(t, ','), strings.LastIndexByte(t, '.')
	commas, points := strings.Count(t, ","), strings.Count(t, ".")
	sep := "" // what separates thousands
	switch decimal := max(comma, point); {
	case commas > 0 && points > 0:
		whole, frac = t[:decimal], t[decimal+1:]
		sep = ","
		if comma > point {
			sep = "."
		}
	case commas+points == 1:
		whole, frac = t[:decimal], t[decimal+1:]
	case commas > 1:
		sep = ","
	case points > 1:
		sep = "."
	}
	if sep == "" {
		sep = " "
	}
	if !thousands(whole, sep) {
		return 0, bad
	}
	t = strings.ReplaceAll(whole, sep, "") + "." + frac
	for i := 0; i < len(t); i++ {
		c := t[i]
		if (c < '0' || c > '9') && c != '.' && !((c == '-' || c == '+') && i == 0) {
			return 0, bad
		}
	}
	v, err := strconv.ParseFloat(strings.TrimSuffix(t, "."), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, bad
	}
	return v, nil
}

// thousands reports whether t is one group, or groups of three digits behind a
// first of one to three.
func thousands(t, sep string) bool {
	groups := strings.Split(t, sep)
	first := strings.TrimLeft(groups[0], "+-")
	if len(groups) > 1 && (len(first) < 1 || len(first) > 3) {
		return false
	}
	for _, g := range groups[1:] {
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
