package hose

import (
	"fmt"
	"math"
	"strings"

	"hoseward/internal/quantity"
)

// Lookup gives the published rows of a designation, in any spelling, in one
// size, of which DN or dash may be missing (see Size.Complete). Several rows mean that the same name has stood for several ratings,
// old and current, or, for ISO 18752, that the class is not part of the name:
// use Choose. ok is false if there is no row: the designation is not known,
// has only doubtful figures, is not made in that size, or the size is
// unknown (ISO 18752 alone needs none).
func Lookup(designation string, size Size) (rows []Row, ok bool) {
	d, err := ParseDesignation(designation)
	if err != nil {
		return nil, false
	}
	t := tables()
	size = size.Complete()
	for _, s := range standIns(d) {
		for _, i := range t.byName[s.name] {
			row := t.rows[i]
			if row.Size.IsZero() {
				row.Size = size
			} else if row.Size != size {
				continue
			}
			row.Names = append([]string(nil), row.Names...)
			row.Designation = d
			if s.via != "" {
				row.Via, row.Confidence = s.via, FromMemory
			}
			rows = append(rows, row)
		}
	}
	return rows, len(rows) > 0
}

// standIn names the rows that serve a designation.
type standIn struct{ name, via string }

// standIns finds whose rows serve d: its own, or those of the EN or SAE type
// of the same family. That ISO 1436 is the family of 1SN and 2SN (R1, R2),
// ISO 11237 of 1SC, 2SC, R16 and R17, ISO 3862 of 4SP, 4SH, R12, R13 and R15
// and ISO 4079 of the textile types, and that their values follow the EN and
// SAE rows, is from memory; the rows carry that mark. R16 and 2SC, R17 and
// 1SC are not taken for one another: cross-references contradict.
func standIns(d Designation) []standIn {
	name := d.String()
	if len(tables().byName[name]) > 0 {
		return []standIn{{name, ""}}
	}
	target := ""
	switch d.Standard {
	case sae:
		switch d.Type {
		case "100R1", "100R1S", "100R1T", "100R1ATS":
			target = "SAE 100R1AT"
		case "100R2", "100R2S", "100R2T", "100R2ATS":
			target = "SAE 100R2AT"
		case "100R16S":
			target = "SAE 100R16"
		}
	case "ISO 1436":
		switch d.Type {
		case "1SN", "1ST", "R1ATS", "R1S":
			target = "EN 853 1SN"
		case "2SN", "2ST", "R2ATS", "R2S":
			target = "EN 853 2SN"
		case "R1", "R1AT":
			target = "SAE 100R1AT"
		case "R2", "R2AT":
			target = "SAE 100R2AT"
		}
	case "ISO 3862":
		target = "EN 856 " + d.Type
	case "ISO 4079":
		target = "SAE 100" + d.Type
	case "ISO 11237":
		target = "EN 857 " + d.Type
		if strings.HasPrefix(d.Type, "R") {
			target = "SAE 100" + strings.TrimSuffix(d.Type, "S")
		}
	}
	if len(tables().byName[target]) == 0 {
		return nil
	}
	return []standIn{{target, fmt.Sprintf("%s read as %s, from memory", name, target)}}
}

// Choice is the row taken for a hose.
type Choice struct {
	Row Row
	// Agrees: the pressure printed on the hose is the row's.
	Agrees bool
	// Note says what the person should know about the choice; may be empty.
	Note string
}

// Choose takes from the rows of a designation and size the one that goes with
// the pressure printed on the hose, or, with none printed or one that fits no
// row, the lowest. printedBar is nil if none is printed. ok is false without
// rows.
func Choose(rows []Row, printedBar *float64) (c Choice, ok bool) {
	if len(rows) == 0 {
		return Choice{}, false
	}
	lowest, best := 0, -1
	for i, r := range rows {
		if r.RatedBar < rows[lowest].RatedBar {
			lowest = i
		}
		if printedBar == nil || !SameRating(*printedBar, r.RatedBar) {
			continue
		}
		if best < 0 || math.Abs(*printedBar-r.RatedBar) < math.Abs(*printedBar-rows[best].RatedBar) {
			best = i
		}
	}
	if best >= 0 {
		return Choice{Row: rows[best], Agrees: true}, true
	}
	c = Choice{Row: rows[lowest]}
	low := c.Row.Rated().FormatRating(quantity.Bar)
	name := strings.TrimSpace(c.Row.Designation.String() + " " + c.Row.Size.String())
	switch {
	case printedBar != nil:
		c.Note = fmt.Sprintf("the table has %s for %s, %s is printed on the hose", ratings(rows), name, quantity.Pressure(*printedBar).FormatRating(quantity.Bar))
	case len(rows) > 1:
		c.Note = fmt.Sprintf("%s has stood for %s; the pressure printed on the hose is not known, so %s is taken", name, ratings(rows), low)
	}
	return c, true
}

// ratings lists the different ratings of rows, as 345 or 276 bar.
func ratings(rows []Row) string {
	var words []string
	for _, r := range rows {
		w := quantity.FormatNumber(r.RatedBar, 1)
		if len(words) == 0 || words[len(words)-1] != w {
			words = append(words, w)
		}
	}
	return strings.Join(words, " or ") + " bar"
}

// SameRating reports whether two printed ratings are the same within the
// rounding of the trade: 4000 psi is printed as 275, 276 and 280 bar, 5000 psi
// as 345 and 350, at most 1.6 % apart.
func SameRating(a, b float64) bool {
	return math.Abs(a-b) <= 0.018*math.Max(a, b)
}
