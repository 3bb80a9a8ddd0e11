package exchange

import (
	"math"
	"strings"

	"hoseward/internal/quantity"
)

// parts separates a leading number from the unit behind it; the number of a
// workbook's cell is the kept one, not the rounded one it shows.
func (c cell) parts() (number, unit string) {
	t := c.text
	i := 0
	for i < len(t) {
		b := t[i]
		sign := (b == '+' || b == '-') && i == 0
		if b >= '0' && b <= '9' || b == '.' || b == ',' || b == '\'' || sign {
			i++
			continue
		}
		if n := spaceBeforeDigit(t[i:]); n > 0 && i > 0 {
			i += n
			continue
		}
		break
	}
	number, unit = strings.TrimSpace(t[:i]), strings.TrimSpace(strings.TrimLeft(t[i:], " \u00a0\u202f"))
	if c.number != nil {
		number = printNumber(c.number)
		if strings.ContainsAny(unit, "0123456789") { // 1.2E+05
			unit = ""
		}
	}
	return number, unit
}

// spaceBeforeDigit is the length of a space inside a number, as in 4 000.
func spaceBeforeDigit(t string) int {
	for _, space := range [...]string{" ", "\u00a0", "\u202f"} {
		if rest, ok := strings.CutPrefix(t, space); ok && rest != "" && rest[0] >= '0' && rest[0] <= '9' {
			return len(space)
		}
	}
	return 0
}

func (c cell) numberText() string {
	if c.number != nil {
		return printNumber(c.number)
	}
	return c.text
}

// withUnit is the kept number with the unit shown.
func (c cell) withUnit() string {
	if c.number == nil {
		return c.text
	}
	number, unit := c.parts()
	return strings.TrimSpace(number + " " + unit)
}

// grouped reports whether a text is a number of one to three digits, one point
// or comma, and exactly three digits: it can be thousands or a decimal.
func grouped(s string) bool {
	s = strings.TrimLeft(s, "+-")
	i := strings.IndexAny(s, ".,")
	if i < 1 || i > 3 || len(s)-i != 4 || s[0] == '0' {
		return false
	}
	for j := range len(s) {
		if j != i && (s[j] < '0' || s[j] > '9') {
			return false
		}
	}
	return true
}

// setThousands finds the columns of hours where 1,234 is a thousand and more:
// the first rows have whole hours of four digits or more, and no hours with
// decimals. Nothing else tells the two apart, and a machine of 1.234 h would be
// one of 1234 h.
func setThousands(cols []Column, rows [][]string) {
	for i := range cols {
		if cols[i].field.Measure != HoursMeasure {
			continue
		}
		whole, decimals := false, false
		for _, row := range rows {
			number, _ := cell{text: trimCell(at(row, cols[i].index))}.parts()
			sign := strings.ContainsAny(number, ".,")
			whole = whole || !sign && len(number) > 3 && number[0] != '0'
			decimals = decimals || sign && !grouped(number)
		}
		cols[i].thousands = whole && !decimals
	}
}

// number reads a plain number. 1.234 and 1,234 typed as text can be two
// things; nothing else in the cell tells which, so they are refused.
func (b *builder) number(c cell, text string) (float64, bool) {
	if c.col.thousands {
		text = b.ungroup(c, text)
	}
	if c.number == nil && grouped(text) {
		plain := strings.NewReplacer(",", "", ".", "").Replace(text)
		b.fail(c, "%s can be %s or %s; write it without a sign between thousands", text, plain, strings.Replace(text, ",", ".", 1))
		return 0, false
	}
	v, err := quantity.ParseNumber(text)
	if err != nil {
		b.fail(c, "%v", err)
		return 0, false
	}
	return v, true
}

// ungroup takes the sign between thousands out of a pressure or a length,
// where three decimals make no sense.
func (b *builder) ungroup(c cell, number string) string {
	if c.number != nil || !grouped(number) {
		return number
	}
	plain := strings.NewReplacer(",", "", ".", "").Replace(number)
	b.note(c, "%s is read as %s", number, plain)
	return plain
}

// highestBareBar is the highest number that is taken for bar where neither the
// cell nor the header has a unit: above it are only special hoses, and psi.
const highestBareBar = 700

// pressure reads a pressure in bar. The unit in the cell counts before the
// header's; where neither has one, bar is taken and said, if it can be bar.
func (b *builder) pressure(c cell) (float64, bool) {
	number, unit := c.parts()
	number = b.ungroup(c, number)
	assumed := quantity.PressureUnit(c.col.Unit)
	text := strings.TrimSpace(number + " " + unit)
	if c.col.Unit == "kPa" && unit == "" {
		text, assumed = number+" kPa", quantity.Bar
	}
	bare := unit == "" && c.col.Unit == ""
	if bare {
		assumed = quantity.Bar
	}
	p, err := quantity.ParsePressure(text, assumed)
	if err != nil {
		b.fail(c, "%v", err)
		return 0, false
	}
	if bare && float64(p) > highestBareBar {
		b.fail(c, "%s has no unit and is too much for bar; write bar, MPa or psi behind it or in the header", clipText(c.text))
		return 0, false
	}
	if bare && p > 0 {
		b.noteColumn(c, "no unit, bar is taken")
	}
	if c.col.field.Name == "rated_bar" && p == 0 {
		b.fail(c, "a rating of 0 cannot be; leave the cell empty if it is not known")
		return 0, false
	}
	return float64(p), true
}

// shortestBareMM is the shortest length taken for millimetres where neither
// the cell nor the header has a unit: below it people mean metres.
const shortestBareMM = 20

// length reads a length in mm. The unit in the cell counts before the
// header's; where neither has one, mm is taken if it can be.
func (b *builder) length(c cell) (float64, bool) {
	number, unit := c.parts()
	if strings.Contains(c.text, "/") { // 49 1/4 in: the number goes on behind the slash
		number = strings.TrimRight(c.text, " \u00a0\u202f.abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
		unit = strings.TrimSpace(c.text[len(number):])
	}
	metres := unit == "m" || unit == "" && c.col.Unit == "m"
	if !metres && unit != "cm" {
		number = b.ungroup(c, number)
	}
	bare := unit == "" && c.col.Unit == ""
	if unit == "" && !strings.Contains(number, "\"") {
		unit = c.col.Unit
	}
	l, err := quantity.ParseLength(strings.TrimSpace(number+" "+unit), quantity.MM)
	if err != nil {
		b.fail(c, "%v", err)
		return 0, false
	}
	if bare && l < shortestBareMM && !strings.ContainsAny(number, "\"”") {
		b.fail(c, "%s has no unit and is too short for mm; write mm, m or in behind it or in the header", clipText(c.text))
		return 0, false
	}
	if unit != "mm" && unit != "" || strings.ContainsAny(number, "\"”/") {
		l = quantity.Length(math.Round(float64(l)*1e6) / 1e6) // inches leave dust behind
	}
	return float64(l), true
}
