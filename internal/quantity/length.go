package quantity

import (
	"fmt"
	"strconv"
	"strings"
)

// Length is a length in millimetres.
type Length float64

// MMPerInch is exact by definition (international inch).
const MMPerInch = 25.4

// LengthUnit is a unit that lengths are written in.
type LengthUnit string

// The length units.
const (
	MM   LengthUnit = "mm"
	Inch LengthUnit = "in"
)

// In is the length in the given unit.
func (l Length) In(u LengthUnit) float64 {
	if u == Inch {
		return float64(l) / MMPerInch
	}
	return float64(l)
}

// String prints the length in mm so that ParseLength reads the same back.
func (l Length) String() string {
	return strconv.FormatFloat(float64(l), 'f', -1, 64) + " mm"
}

// MaxLength is the longest length taken for one: 1 km.
const MaxLength Length = 1e6

// ParseLength reads a number with mm, cm, m or an inch sign; without a unit
// the given one is taken. Inches may be a mixed fraction: 1 1/2". A length
// below zero or over MaxLength is an error.
func ParseLength(s string, assumed LengthUnit) (Length, error) {
	t := strings.TrimSpace(s)
	low := strings.ToLower(t)
	factor := 1.0
	if assumed == Inch {
		factor = MMPerInch
	}
	for _, u := range [...]struct {
		name   string
		factor float64
	}{{"mm", 1}, {"cm", 10}, {"inches", MMPerInch}, {"inch", MMPerInch}, {"in.", MMPerInch}, {"in", MMPerInch}, {"\"", MMPerInch}, {"”", MMPerInch}, {"m", 1000}} {
		if strings.HasSuffix(low, u.name) {
			factor = u.factor
			t = strings.TrimSpace(t[:len(t)-len(u.name)])
			break
		}
	}
	v, err := parseMixed(t)
	if err != nil {
		return 0, fmt.Errorf("%q is not a length; write it as 1250 mm, 1.25 m or 49 1/4 in", clip(strings.TrimSpace(s)))
	}
	l := Length(v * factor)
	if l < 0 || l > MaxLength {
		return 0, fmt.Errorf("%q is not a length between 0 and 1 km", clip(strings.TrimSpace(s)))
	}
	return l, nil
}

// parseMixed reads 12.5, 3/4 and 1 1/2.
func parseMixed(t string) (float64, error) {
	whole, frac := "", t
	if i := strings.LastIndexAny(t, " -"); i > 0 && strings.Contains(t, "/") {
		whole, frac = t[:i], t[i+1:]
	}
	num, den, ok := strings.Cut(frac, "/")
	if !ok {
		return ParseNumber(t)
	}
	n, ok1 := digits(strings.TrimSpace(num))
	d, ok2 := digits(strings.TrimSpace(den))
	if !ok1 || !ok2 || d == 0 {
		return 0, fmt.Errorf("%q is not a fraction", clip(t))
	}
	v := float64(n) / float64(d)
	if whole != "" {
		w, ok := digits(strings.TrimSpace(whole))
		if !ok {
			return 0, fmt.Errorf("%q is not a fraction", clip(t))
		}
		v += float64(w)
	}
	return v, nil
}
