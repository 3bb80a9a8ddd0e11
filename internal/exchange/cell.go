package exchange

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// cell is one cell on its way into a row.
type cell struct {
	col  *Column
	text string // as people see it, trimmed, the export's apostrophe taken off
	// number is the value behind the text where a workbook keeps a number.
	number *float64
	days   dayZero // how the workbook counts days
}

// builder makes one row from its cells.
type builder struct {
	row       *register.ImportRow
	has       map[string]bool    // fields the sheet has columns for
	today     quantity.Date      // no date: days to come are not refused
	cells     map[string]cell    // of this row, by field
	exported  bool               // the sheet is one of our exports
	causeText string             // a cause in a person's own words
	doubt     bool               // the row has a pressure that may be the rating
	sizes     []hose.SizeReading // what the cell of the size can mean, where it can mean two
}

func (b *builder) fail(c cell, format string, args ...any) {
	b.row.Errors = append(b.row.Errors, register.CellError{Column: c.col.Header, Value: clipText(c.text), Sentence: fmt.Sprintf(format, args...)})
}

func (b *builder) note(c cell, format string, args ...any) {
	b.row.Notes = append(b.row.Notes, register.CellError{Column: c.col.Header, Value: clipText(c.text), Sentence: fmt.Sprintf(format, args...)})
}

// noteColumn notes what holds of every cell of the column filled like this one.
func (b *builder) noteColumn(c cell, sentence string) {
	b.row.Notes = append(b.row.Notes, register.CellError{Column: c.col.Header, Value: clipText(c.text), Sentence: sentence, WholeColumn: true})
}

// clipText shortens a cell for a message.
func clipText(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}

// maxCellText is the longest text kept from one cell, in bytes.
const maxCellText = 4000

// trimCell takes off white space, the visible and the invisible kind.
func trimCell(s string) string {
	return strings.TrimFunc(s, func(r rune) bool {
		return unicode.IsSpace(r) || r == '\ufeff' || r == '\u200b' || r == '\u2060'
	})
}

// A cell that begins with one of these is a formula to a spreadsheet; the wide
// signs of East Asian keyboards are taken for the others by some.
const formulaSigns = "=+-@\t\r\n＝＋－＠"

// guard puts an apostrophe before a text that a spreadsheet would run as a
// formula; unguard takes exactly that off again.
func guard(s string) string {
	if isFormula(strings.TrimLeft(s, "'")) {
		return "'" + s
	}
	return s
}

func unguard(s string) string {
	if rest, ok := strings.CutPrefix(s, "'"); ok && isFormula(strings.TrimLeft(rest, "'")) {
		return rest
	}
	return s
}

func isFormula(s string) bool {
	first, size := utf8.DecodeRuneInString(s)
	return size > 0 && first != utf8.RuneError && strings.ContainsRune(formulaSigns, first)
}

// spreadsheetError tells #N/A and its like.
func spreadsheetError(s string) bool {
	switch s {
	case "#N/A", "#NV", "#REF!", "#BEZUG!", "#VALUE!", "#WERT!", "#DIV/0!", "#NAME?", "#NUM!", "#ZAHL!", "#NULL!":
		return true
	}
	return false
}

// nothing tells the signs people put in a cell they leave empty. In a text
// only a dash is one: the rest may be meant.
func nothing(s string, text bool) bool {
	switch strings.ToLower(s) {
	case "", "-", "--", "---":
		return true
	case "–", "—", "?", "??", "n/a", "na", "n.a.", "k.a.", "k. a.", "unknown", "unbekannt", "none", "keine", "./.", "tbd",
		"illegible", "unreadable", "not readable", "not legible", "worn off", "unleserlich", "nicht lesbar", "not known":
		return !text
	}
	return false
}

func textField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) *string) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help, text: true,
		read: func(b *builder, c cell) {
			switch {
			case len(c.text) > maxCellText:
				b.fail(c, "this is longer than %d characters; shorten it", maxCellText)
			default:
				*at(b.row) = c.text
			}
		},
		write: func(r *register.ImportRow) string { return guard(*at(r)) },
	}
}

// nameField is a text that names something: runs of spaces and the spaces that
// do not break are single ones, since two names that look the same mean the
// same. An assembly called unknown has no name.
func nameField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) *string) Field {
	f := textField(name, title, kinds, list, help, at)
	asText := f.read
	f.read = func(b *builder, c cell) {
		c.text = strings.Join(strings.Fields(c.text), " ")
		if name == "assembly" && nothing(c.text, false) {
			return
		}
		asText(b, c)
	}
	return f
}

func forbiddenRune(r rune) bool {
	return unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' || r == 0xFFFE || r == 0xFFFF
}

func pressureField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **float64) Field {
	return Field{
		Name: name, Title: title + " (bar)", Kinds: kinds, Words: append(words(list), plainWords(title)), Measure: Pressures, Help: help,
		read: func(b *builder, c cell) {
			if v, ok := b.pressure(c); ok {
				*at(b.row) = &v
			}
		},
		write: func(r *register.ImportRow) string { return printNumber(*at(r)) },
	}
}

func lengthField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **float64) Field {
	return Field{
		Name: name, Title: title + " (mm)", Kinds: kinds, Words: append(words(list), plainWords(title)), Measure: Lengths, Help: help,
		read: func(b *builder, c cell) {
			if v, ok := b.length(c); ok {
				*at(b.row) = &v
			}
		},
		write: func(r *register.ImportRow) string { return printNumber(*at(r)) },
	}
}

func temperatureField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **float64) Field {
	return Field{
		Name: name, Title: title + " (°C)", Kinds: kinds, Words: append(words(list), plainWords(title)), Measure: Temperatures, Help: help,
		read: func(b *builder, c cell) {
			assumed := quantity.DegC
			if c.col.Unit == "°F" {
				assumed = quantity.DegF
			}
			t, err := quantity.ParseTemperature(c.withUnit(), assumed)
			if err != nil {
				b.fail(c, "%v", err)
				return
			}
			v := float64(t)
			*at(b.row) = &v
		},
		write: func(r *register.ImportRow) string { return printNumber(*at(r)) },
	}
}

// maxHours is more than any hour meter has: over a hundred years.
const maxHours = 1e6

func hoursField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **float64) Field {
	return numberField(name, title, kinds, HoursMeasure, maxHours, list, help, at)
}

func numberField(name, title string, kinds []register.ImportKind, m Measure, most float64, list, help string, at func(*register.ImportRow) **float64) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Measure: m, Help: help,
		read: func(b *builder, c cell) {
			num, unit := c.parts()
			if unit != "" && (m != HoursMeasure || unitNames[strings.ToLower(unit)].of != HoursMeasure) {
				b.fail(c, "%q is not a plain number", clipText(c.text))
				return
			}
			v, ok := b.number(c, num)
			switch {
			case !ok:
			case v < 0:
				b.fail(c, "%s is below zero, which cannot be", clipText(c.text))
			case v > most:
				b.fail(c, "%s is more than %s, which cannot be", clipText(c.text), quantity.FormatNumber(most, 0))
			default:
				*at(b.row) = &v
			}
		},
		write: func(r *register.ImportRow) string { return printNumber(*at(r)) },
	}
}

func intField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **int) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help,
		read: func(b *builder, c cell) {
			v, ok := b.number(c, c.numberText())
			if !ok {
				return
			}
			if v != math.Trunc(v) || v < 0 || v > 1e6 {
				b.fail(c, "%s is not a whole number from 0 to 1 000 000", clipText(c.text))
				return
			}
			n := int(v)
			*at(b.row) = &n
		},
		write: func(r *register.ImportRow) string {
			if n := *at(r); n != nil {
				return strconv.Itoa(*n)
			}
			return ""
		},
	}
}

func boolField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) **bool) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help,
		read: func(b *builder, c cell) {
			v, ok := yesNo(c.text)
			if !ok {
				b.fail(c, "%q is neither yes nor no", clipText(c.text))
				return
			}
			*at(b.row) = &v
		},
		write: func(r *register.ImportRow) string {
			switch v := *at(r); {
			case v == nil:
				return ""
			case *v:
				return "yes"
			}
			return "no"
		},
	}
}

func yesNo(s string) (yes, ok bool) {
	switch strings.ToLower(s) {
	case "yes", "y", "true", "1", "x", "✓", "✔", "ja", "j", "wahr":
		return true, true
	case "no", "n", "false", "0", "-", "nein", "falsch":
		return false, true
	}
	return false, false
}

// wordMeaning is a value from a closed list with the words it goes by.
type wordMeaning[T ~string] struct {
	value T
	words string
}

func wordField[T ~string](name, title string, kinds []register.ImportKind, list, help string, meanings []wordMeaning[T], at func(*register.ImportRow) *T) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help, text: true,
		read: func(b *builder, c cell) {
			key := headerKey(c.text)
			for _, m := range meanings {
				for _, w := range append(words(m.words), string(m.value)) {
					if headerKey(w) == key {
						*at(b.row) = m.value
						return
					}
				}
			}
			values := make([]string, len(meanings))
			for i, m := range meanings {
				values[i] = string(m.value)
			}
			b.fail(c, "%q is not known here; write %s", clipText(c.text), orList(values))
		},
		write: func(r *register.ImportRow) string { return string(*at(r)) },
	}
}

func orList(values []string) string {
	if len(values) < 2 {
		return strings.Join(values, "")
	}
	return strings.Join(values[:len(values)-1], ", ") + " or " + values[len(values)-1]
}

// printNumber prints a number so that it reads back as the same, with a point,
// and with a fourth decimal where three could be taken for thousands.
func printNumber(v *float64) string {
	if v == nil {
		return ""
	}
	s := strconv.FormatFloat(*v, 'f', -1, 64)
	if grouped(s) {
		s += "0"
	}
	return s
}
