package exchange

import (
	"fmt"
	"strings"

	"hoseward/internal/register"
)

// ambiguousHeader says what a header can mean that is not taken for either;
// empty if it is none of those. Common practice, no source: the German word
// for the pressure a hose is made for is also the one for the pressure it
// works at, and the second is far below the first.
func ambiguousHeader(kind register.ImportKind, header string) string {
	if kind != register.ImportHoses {
		return ""
	}
	base, _ := splitHeader(header)
	rest, is := strings.CutPrefix(headerKey(base), "betriebsdruck")
	if !is {
		return ""
	}
	if u, unit := unitNames[strings.TrimPrefix(rest, "in")]; rest != "" && (!unit || u.of != Pressures) {
		return ""
	}
	return "the rating of the hose, or the pressure it works at"
}

// noteColumns says of the columns what whoever looks at them has to decide.
func (s *Sheet) noteColumns() {
	for i, c := range s.Columns {
		if can := ambiguousHeader(s.Kind, c.Header); can != "" && c.Found == Unknown {
			s.Columns[i].doubt = true
			s.Notes = append(s.Notes, fmt.Sprintf("%q can be %s; it is not read until its meaning is chosen.", c.Header, can))
		}
	}
	if s.Kind == register.ImportHoses && !s.b.has["machine"] && !s.b.has["position"] {
		s.Notes = append(s.Notes, "No column is read as machine or position: the hoses would go into store, fitted nowhere. If the sheet says where they sit, choose which columns say it.")
	}
}

// totalWords head the rows of totals below a list.
var totalWords = [...]string{"total", "totals", "grandtotal", "subtotal", "sum", "summe", "gesamt", "gesamtsumme", "zwischensumme", "insgesamt"}

// refuseTotals refuses a row that begins with a word for a total and holds
// little else: it is no machine of that name. A text that stands alone in its
// row, beside no machine, is no hose either.
func (s *Sheet) refuseTotals(row *register.ImportRow) bool {
	first, others := -1, 0
	for i, c := range row.Cells {
		switch {
		case trimCell(c) == "":
		case first < 0:
			first = i
		default:
			others++
		}
	}
	if first < 0 || others > max(1, (len(s.Columns)-1)/2) {
		return false
	}
	word := strings.TrimRight(headerKey(row.Cells[first]), "0123456789")
	for _, w := range totalWords {
		if word == w {
			row.Errors = []register.CellError{{
				Column: s.Columns[first].Header, Value: clipText(row.Cells[first]), Sentence: "this looks like a row of totals, which is not taken",
			}}
			return true
		}
	}
	if i, lone := s.loneText(row); lone {
		row.Errors = []register.CellError{{
			Column: s.Columns[i].Header, Value: clipText(row.Cells[i]), Sentence: "this stands alone in its row and looks like a heading or a sub-total, which is not taken; nothing is lost",
		}}
		return true
	}
	return false
}
