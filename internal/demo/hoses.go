package demo

import (
	"fmt"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// family is a hose designation.
type family string

// The designations on the demo fleet.
const (
	sn1 family = "EN 853 1SN"
	sn2 family = "EN 853 2SN"
	sc1 family = "EN 857 1SC"
	sc2 family = "EN 857 2SC"
	sp4 family = "EN 856 4SP"
	sh4 family = "EN 856 4SH"
	r12 family = "EN 856 R12"
	r2  family = "SAE 100R2AT"
	r6  family = "SAE 100R6"
	r7  family = "SAE 100R7"
)

// spec is what is published of a family. The pressures are those of the tables
// that package hose ships, which the tests compare; those of r7 are from
// memory.
type spec struct {
	standard, kind     string // as printed apart by some makers
	construction, tube string
	maxC               float64
	bar                map[int]float64 // by DN
}

func specOf(f family) spec {
	switch f {
	case sn1:
		return spec{"EN 853", "1SN", "wire braid", "NBR", 100, map[int]float64{
			6: 225, 8: 215, 10: 180, 12: 160, 16: 130, 19: 105, 25: 88, 31: 63, 38: 50, 51: 40,
		}}
	case sn2:
		return spec{"EN 853", "2SN", "wire braid", "NBR", 100, map[int]float64{
			6: 400, 8: 350, 10: 330, 12: 275, 16: 250, 19: 215, 25: 165, 31: 125, 38: 90, 51: 80,
		}}
	case sc1:
		return spec{"EN 857", "1SC", "wire braid", "NBR", 100, map[int]float64{
			6: 225, 8: 215, 10: 180, 12: 160, 16: 130, 19: 105, 25: 88,
		}}
	case sc2:
		return spec{"EN 857", "2SC", "wire braid", "NBR", 100, map[int]float64{
			6: 400, 8: 350, 10: 330, 12: 275, 16: 250, 19: 215, 25: 165,
		}}
	case sp4:
		return spec{"EN 856", "4SP", "wire spiral", "NBR", 100, map[int]float64{
			6: 450, 10: 445, 12: 415, 16: 350, 19: 350, 25: 280, 31: 210, 38: 185,
		}}
	case sh4:
		return spec{"EN 856", "4SH", "wire spiral", "NBR", 100, map[int]float64{
			19: 420, 25: 380, 31: 325,
		}}
	case r12:
		return spec{"EN 856", "R12", "wire spiral", "CR", 120, map[int]float64{
			10: 280, 12: 280, 16: 280, 19: 280, 25: 280, 31: 210,
		}}
	case r2:
		return spec{"SAE", "100R2AT", "wire braid", "NBR", 100, map[int]float64{
			6: 400, 10: 331, 12: 276, 16: 248,
		}}
	case r6:
		return spec{"SAE", "100R6", "textile", "NBR", 100, map[int]float64{
			6: 27.6, 8: 27.6, 10: 27.6, 12: 27.6, 16: 24.1, 19: 20.7,
		}}
	case r7:
		return spec{"SAE", "100R7", "thermoplastic", "thermoplastic", 93, map[int]float64{
			6: 190, 8: 172, 10: 155,
		}}
	}
	return spec{}
}

func dashOf(dn int) int {
	return map[int]int{5: 3, 6: 4, 8: 5, 10: 6, 12: 8, 16: 10, 19: 12, 25: 16, 31: 20, 38: 24, 51: 32}[dn]
}

func inchOf(dn int) string {
	return map[int]string{
		6: `1/4"`, 8: `5/16"`, 10: `3/8"`, 12: `1/2"`, 16: `5/8"`, 19: `3/4"`,
		25: `1"`, 31: `1 1/4"`, 38: `1 1/2"`, 51: `2"`,
	}[dn]
}

// The makers, invented.
const (
	testco  = "TESTCO"
	muster  = "MUSTERSCHLAUCH"
	nowhere = "NOWHERE HYDRAULICS"
)

// psi is the printed value of a pressure in pounds per square inch, rounded to
// the 50 that hose is printed in.
func psi(bar float64) int {
	return int(quantity.Pressure(bar).In(quantity.PSI)/50+0.5) * 50
}

// printed is the layline of a hose, each maker's in its own manner; bar 0 is
// for a hose without a printed pressure.
func printed(maker string, f family, dn int, bar float64, made quantity.Period) string {
	s := specOf(f)
	y, m, _ := made.From.YMD()
	q := (m + 2) / 3
	if s.standard == "SAE" {
		return fmt.Sprintf("%s SAE %s-%d %s WP %d PSI (%g BAR) %dQ%02d",
			maker, s.kind, dashOf(dn), inchOf(dn), psi(bar), bar, q, y%100)
	}
	switch maker {
	case testco:
		if bar == 0 {
			return fmt.Sprintf("%s/%s/%s/DN %d/%dQ%02d", maker, s.standard, s.kind, dn, q, y%100)
		}
		return fmt.Sprintf("%s/%s/%s/DN %d/%g BAR/%dQ%02d", maker, s.standard, s.kind, dn, bar, q, y%100)
	case muster:
		return fmt.Sprintf("%s - %s:2015 - %s - DN %d - MAX WP %g BAR / %.1f MPa - %dQ%02d",
			maker, s.standard, s.kind, dn, bar, bar/quantity.BarPerMPa, q, y%100)
	}
	return fmt.Sprintf("%s %s %s DN %d %g BAR (%d PSI) %dQ%d", maker, s.standard, s.kind, dn, bar, psi(bar), q, y)
}

// ends are the two ends of a line in the trade's words, with the pressures of
// ISO 8434-1 (24 degree cone, light and heavy series) and ISO 6162 (flanges).
func ends(f family, dn int, elbow bool) (a, b string, bar float64) {
	rated := specOf(f).bar[dn]
	light := map[int]struct {
		tube int
		bar  float64
	}{
		6: {8, 250}, 8: {10, 250}, 10: {12, 250}, 12: {15, 250}, 16: {18, 160},
		19: {22, 160}, 25: {28, 100}, 31: {35, 100}, 38: {42, 100},
	}
	heavy := map[int]struct {
		tube int
		bar  float64
	}{
		6: {10, 630}, 8: {12, 630}, 10: {14, 630}, 12: {16, 400}, 16: {20, 400}, 19: {25, 400}, 25: {30, 250}, 31: {38, 250},
	}
	l, h := light[dn], heavy[dn]
	switch {
	case dn >= 51:
		a, bar = "flange code 61, 2 in", 210
	case l.bar >= rated:
		a, bar = fmt.Sprintf("24° cone %dL", l.tube), l.bar
	case h.bar >= rated:
		a, bar = fmt.Sprintf("24° cone %dS", h.tube), h.bar
	case dn >= 38:
		a, bar = "flange code 61, 1 1/2 in", 210
	default:
		a, bar = "flange code 62, "+strings.TrimSuffix(inchOf(dn), `"`)+" in", 420
	}
	b = a + ", straight"
	if elbow {
		b = a + ", 90° elbow"
	}
	return a + ", straight", b, bar
}

// hose makes the assembly that belongs at a line, assembled in the month of
// assembled from a hose some quarters older.
func (b *builder) hose(l line, assembled quantity.Date, hoseAgeDays int) register.Assembly {
	made := quarterOf(assembled.AddDays(-hoseAgeDays))
	maker := pick(b, []string{testco, testco, muster, muster, nowhere})
	if specOf(l.family).standard == "SAE" {
		maker = pick(b, []string{muster, nowhere})
	}
	a := hoseOf(l.family, l.dn, maker, made)
	a.LengthMM = ptr(l.mm)
	if maker == testco && b.chance(0.12) {
		a.Layline = printed(maker, l.family, l.dn, 0, made)
		a.RatingSource = register.RatingTable
	}
	var bar float64
	a.EndA, a.EndB, bar = ends(l.family, l.dn, b.chance(0.4))
	a.EndABar, a.EndBBar = ptr(bar), ptr(bar)
	if b.chance(0.04) {
		a.EndMake = "MUSTERWERK"
	}
	stamp(&a, monthOf(assembled))
	return a
}

// hoseOf is a hose of a family by its layline, without ends.
func hoseOf(f family, dn int, maker string, made quantity.Period) register.Assembly {
	s := specOf(f)
	bar := s.bar[dn]
	a := register.Assembly{
		Layline:      printed(maker, f, dn, bar, made),
		Maker:        maker,
		Designation:  string(f),
		Construction: s.construction,
		Tube:         s.tube,
		DN:           dn,
		Dash:         dashOf(dn),
		RatedBar:     ptr(bar),
		RatingSource: register.RatingPrinted,
		MaxC:         ptr(s.maxC),
		Fluid:        "mineral oil",
		Made:         made,
	}
	a.MadeText = a.Layline[strings.LastIndexAny(a.Layline, "/ ")+1:]
	return a
}

// stamp puts the month of assembly on the ferrule, year before month.
func stamp(a *register.Assembly, month quantity.Period) {
	a.Assembled = month
	y, m, _ := month.From.YMD()
	a.AssembledText = fmt.Sprintf("%02d%02d", y%100, m)
}
