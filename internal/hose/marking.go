package hose

import (
	"strings"

	"hoseward/internal/quantity"
)

// MarkGap is something a mark must carry and does not, or must not carry and
// does.
type MarkGap struct {
	What   string // "maker", "standard", "type", "nominal bore", "size", "quarter and year", "rating", "year and month", "burst pressure"
	Says   string // one sentence
	Source string
}

// Where the required marks are from.
const (
	enMark  = "EN 853, 854, 856, 857; DGUV Regel 113-020 section 4.1.3.1, read in a public restatement"
	isoMark = "ISO hose standards, from memory"
	saeMark = "SAE J517, from memory"
	asmMark = "DGUV Regel 113-020 section 4.1.3.2 and Annex 1; DIN 20066 and ISO 17165-1 in substance, read in a public restatement"
	bpMark  = "rubber industry hose handbook"
)

// Gaps lists what the mark lacks. A hose to EN carries the maker, the standard,
// the type, the nominal bore and the quarter and year of make; to ISO also the
// pressure in MPa and bar; to SAE the maker, the 100R number, the dash or inch
// size and a date. An assembly carries its maker, its maximum working pressure
// and the year and month. A burst pressure must not stand on a hose: it can be
// mistaken for a rating. Empty means complete as far as could be read.
func (l Layline) Gaps() []MarkGap {
	var g []MarkGap
	lacks := func(ok bool, what, says, source string) {
		if !ok {
			g = append(g, MarkGap{what, says, source})
		}
	}
	if l.Kind == Assembly {
		lacks(l.hasMaker(), "maker", "The maker of the assembly is not marked.", asmMark)
		lacks(l.RatedBar != nil, "rating", "The maximum working pressure is not marked.", asmMark)
		lacks(l.toMonth(), "year and month", "The year and month of assembly are not marked.", asmMark)
		return g
	}
	source := enMark
	switch {
	case l.Designation.Standard == sae || l.Standard == sae:
		source = saeMark
	case strings.HasPrefix(l.Standard, "ISO"):
		source = isoMark
	}
	lacks(l.hasMaker(), "maker", "The maker's name or mark is missing.", source)
	lacks(l.Standard != "", "standard", "The number of the standard is missing.", source)
	lacks(l.Designation.Type != "", "type", "The type is missing.", source)
	if source == saeMark {
		lacks(len(l.SizeReadings) > 0, "size", "The dash or inch size is missing.", source)
	} else {
		lacks(l.dnName || !l.sizeName && len(l.SizeReadings) > 0, "nominal bore", "The nominal bore is missing.", source)
	}
	lacks(l.Made.Precision != "" && l.Made.Precision != quantity.ToYear, "quarter and year", "The quarter and year of manufacture are missing.", source)
	if source == isoMark {
		lacks(l.printedIn(quantity.MPa) && l.printedIn(quantity.Bar), "rating", "The maximum working pressure in MPa and bar is missing.", source)
	}
	lacks(!l.burst, "burst pressure", "A burst pressure is printed; it must not be, it can be mistaken for a rating.", bpMark)
	return g
}

func (l Layline) toMonth() bool {
	return l.Made.Precision == quantity.ToMonth || l.Made.Precision == quantity.ToDay
}

func (l Layline) printedIn(u quantity.PressureUnit) bool {
	for _, p := range l.Pressures {
		if p.Unit == u && p.Not == "" {
			return true
		}
	}
	return false
}

// hasMaker reports whether a word is left that can be a maker's name: one that
// is neither a term of the trade nor the country behind MADE IN.
func (l Layline) hasMaker() bool {
	for i, w := range l.words {
		if i > 1 && l.words[i-2] == "MADE" && l.words[i-1] == "IN" {
			continue
		}
		if !tradeWord(w) {
			return true
		}
	}
	return false
}

func tradeWord(w string) bool {
	switch w {
	case "WP", "MWP", "MAWP", "BP", "MBP", "TP", "MAX", "MIN", "BAR", "PSI", "MPA", "WORKING", "PRESSURE", "PRESS", "BURST", "TEST", "TESTED", "PROOF",
		"MADE", "IN", "FLAME", "RESISTANT", "FRAS", "MINE", "MSHA", "NO", "NR", "LOT", "BATCH", "ID", "OD", "DN", "NW", "SIZE", "DASH", "INCH", "MM",
		"HYDRAULIC", "HOSE", "HYDRAULIKSCHLAUCH", "SCHLAUCH", "TYPE", "TYP", "DATE", "DOM", "SN", "ST", "EN", "ISO", "DIN", "TEMP", "TO", "AND":
		return true
	}
	return false
}
