package hose

import (
	"fmt"
	"strings"

	"hoseward/internal/quantity"
)

// dateReader finds the dates of a line. Strong ones say what they are: a
// quarter, a month with a year of four digits, the name of a month. Weak ones
// are 16/06 and 0514, looked for only where no strong one stands.
type dateReader struct {
	lexemes  []lexeme
	kind     Kind
	notAfter quantity.Date

	texts    []string // what was read, as printed
	readings []DateReading
	found    bool // something was read as a date, if only to be refused
	notes    []string
}

// maxDates bounds the work on noise.
const maxDates = 8

func (r *dateReader) at(i int) lexeme {
	if i < 0 || i >= len(r.lexemes) {
		return lexeme{kind: punct}
	}
	return r.lexemes[i]
}

func (r *dateReader) free(i int) bool { l := r.at(i); return l.kind == number && !l.used }

func (r *dateReader) note(format string, args ...any) {
	if len(r.notes) < maxDates {
		r.notes = append(r.notes, fmt.Sprintf(format, args...))
	}
}

// take reads the text of the lexemes from..to as a date code. It returns
// whether it is one.
func (r *dateReader) take(text string, from, to int) bool {
	if len(r.texts) >= maxDates {
		return false
	}
	code, err := ReadDateCode(text, r.kind, r.notAfter)
	if err != nil && len(code.Readings) == 0 {
		if _, err := ReadDateCode(text, r.kind, quantity.Date{}); err != nil {
			return false
		}
		r.note("%s", err.Error())
	}
	for i := from; i <= to; i++ {
		r.lexemes[i].used = true
	}
	r.found = true
	if len(code.Readings) > 0 {
		r.texts = append(r.texts, text)
		for _, d := range code.Readings {
			r.readings = appendReading(r.readings, d.Period, d.As)
		}
	}
	return true
}

// code is everything that was read, as one date code.
func (r *dateReader) code() DateCode {
	c := DateCode{Text: strings.Join(r.texts, ", "), Readings: r.readings}
	c.settle()
	return c
}

// strong reads the dates that say what they are.
func (r *dateReader) strong() {
	for i := range r.lexemes {
		l := r.lexemes[i]
		switch {
		case l.used:
		case l.text == "Q":
			r.quarter(i)
		case l.kind == word && len(l.text) >= 3 && monthName(l.text):
			r.named(i)
		case l.kind == number:
			r.dated(i)
		}
	}
}

// quarter reads the quarter code around the Q at i.
func (r *dateReader) quarter(i int) {
	left, right := i-1, i+1
	if r.sign(right) {
		right++
	}
	third := right + 1
	if r.sign(third) {
		third++
	}
	short := func(j int) bool { return r.free(j) && r.at(j).digits(1) }
	year := func(j int) bool { return r.free(j) && (r.at(j).digits(2) || r.at(j).digits(4)) }
	from, to, text := 0, 0, ""
	switch {
	case !r.at(i).glued && short(right) && r.at(right).glued && year(third): // Q1/05
		from, to, text = i, third, "Q"+r.at(right).text+"/"+r.at(third).text
	case short(left) && year(right): // 2Q16, 1 Q/05
		from, to, text = left, right, r.at(left).text+"Q"+r.at(right).text
	case year(left) && short(right): // 25Q3
		from, to, text = left, right, r.at(left).text+"Q"+r.at(right).text
	case short(left) && r.sign(left-1) && year(left-2): // 25/3Q
		from, to, text = left-2, i, r.at(left-2).text+"/"+r.at(left).text+"Q"
	case short(right) && year(third):
		from, to, text = i, third, "Q"+r.at(right).text+"/"+r.at(third).text
	default:
		return
	}
	if !r.take(text, from, to) {
		r.note("%q is not a quarter; not read", text)
		r.found = true
	}
}

func (r *dateReader) sign(i int) bool {
	l := r.at(i)
	return l.kind == punct && (l.text == "/" || l.text == "-")
}

// monthName reports whether w is the name of a month or short for one.
func monthName(w string) bool {
	const beginnings = "JAN FEB MAR MÄR APR MAY MAI JUN JUL AUG SEP OCT OKT NOV DEC DEZ"
	head := w[:3]
	if strings.HasPrefix(w, "MÄR") {
		head = "MÄR"
	}
	if !strings.Contains(beginnings, head) {
		return false
	}
	_, err := quantity.ParsePeriod(w + " 2000")
	return err == nil
}

// named reads MAY 2014, MAY 14 and MAY-2014. A day before it is not needed:
// the age counts from the first of the month.
func (r *dateReader) named(i int) {
	j := i + 1
	if r.sign(j) || r.at(j).text == "." {
		j++
	}
	if !r.free(j) || !(r.at(j).digits(4) || r.at(j).digits(2)) || r.sizeFollows(j) {
		return
	}
	r.take(r.at(i).text+" "+r.at(j).text, i, j)
}

// sizeFollows reports whether a unit makes the number at j something else.
func (r *dateReader) sizeFollows(j int) bool {
	next := r.at(j + 1)
	_, _, unit := unitOf(next)
	return unit || next.is("MM", "IN", `"`, "INCH")
}

// dated reads 10/2024, 2024-10, 06.2016, 2016-06-13 and 13.06.2016 beginning
// at i: numbers with one kind of sign and no gap, one of them a year of four
// digits.
func (r *dateReader) dated(i int) {
	if r.at(i).glued && (r.at(i-1).kind == word || r.sign(i-1)) {
		return
	}
	text := r.at(i).text
	if strings.Contains(text, ".") && len(text) >= 7 && len(text) <= 10 && yearIn(strings.Split(text, ".")) {
		r.take(text, i, i)
		return
	}
	parts, to := r.run(i)
	if len(parts) < 2 || len(parts) > 3 || !yearIn(parts) || r.letterAfter(to) {
		return
	}
	r.take(strings.Join(parts, r.at(i+1).text), i, to)
}

// run collects numbers from i on that one kind of sign joins without gaps.
func (r *dateReader) run(i int) (parts []string, to int) {
	parts, to = append(parts, r.at(i).text), i
	for len(parts) < 4 && r.sign(to+1) && r.at(to+1).glued && r.free(to+2) && r.at(to+2).glued &&
		(to == i || r.at(to+1).text == r.at(i+1).text) {
		to += 2
		parts = append(parts, r.at(to).text)
	}
	return parts, to
}

func (r *dateReader) letterAfter(i int) bool {
	l := r.at(i + 1)
	return l.kind == word && l.glued
}

// yearIn reports whether all parts are numbers of one or two digits but the
// first or last, a year of four.
func yearIn(parts []string) bool {
	years := 0
	for i, p := range parts {
		switch {
		case len(p) == 4 && isDigits(p) && plausibleYear(p) && (i == 0 || i == len(parts)-1):
			years++
		case len(p) < 1 || len(p) > 2 || !isDigits(p):
			return false
		}
	}
	return years == 1 && len(parts) >= 2
}

// weak reads codes that do not say what they are: 16/06, 16-06, 13/06/14 and
// 0514. Numbers behind words such as NO, LOT or ID are none.
func (r *dateReader) weak() {
	strong := r.found
	for i := range r.lexemes {
		if !r.free(i) || r.at(i).glued && (r.at(i-1).kind == word || r.sign(i-1) && r.at(i-1).glued && r.at(i-2).kind == number) {
			r.makers(i, strong)
			continue
		}
		if r.sizeFollows(i) || r.numbered(i) {
			continue
		}
		if parts, to := r.run(i); len(parts) == 2 || len(parts) == 3 {
			if twoDigits(parts) && !r.letterAfter(to) && !r.sizeFollows(to) {
				r.takeWeak(strings.Join(parts, r.at(i+1).text), i, to, strong)
			}
			continue
		}
		if l := r.at(i); l.digits(4) && !r.letterAfter(i) {
			r.takeWeak(l.text, i, i, strong)
		} else if l.digits(5) && !strong && !r.found && !r.letterAfter(i) {
			r.note("%q may be a maker's own date code; not read", l.text)
		}
	}
}

// takeWeak reads a weak code, or says that it was left beside a strong one.
func (r *dateReader) takeWeak(text string, from, to int, strong bool) {
	if !strong {
		r.take(text, from, to)
		return
	}
	if _, err := ReadDateCode(text, r.kind, r.notAfter); err == nil {
		r.note("%q could also be a date; not read beside the other", text)
	}
}

// makers notes codes such as K25 and W1423.
func (r *dateReader) makers(i int, strong bool) {
	l := r.at(i)
	if strong || l.kind != number || l.used || !l.glued || r.letterAfter(i) {
		return
	}
	if w := r.at(i - 1); w.kind == word && len(w.text) == 1 && !w.used && isMakersCode(w.text+l.text) && !r.numbered(i-1) {
		r.note("%q may be a maker's own date code; not read", w.text+l.text)
	}
}

func twoDigits(parts []string) bool {
	for _, p := range parts {
		if len(p) != 2 || !isDigits(p) {
			return false
		}
	}
	return true
}

// numbered reports whether the words before i make what follows a number of
// something else.
func (r *dateReader) numbered(i int) bool {
	j := i - 1
	for n := 0; n < 2 && r.at(j).kind == punct && r.at(j).is(".", ":", "#", "=", "-"); n++ {
		if r.at(j).text == "#" {
			return true
		}
		j--
	}
	return j >= 0 && r.at(j).is("NO", "NR", "ID", "LOT", "BATCH", "CHARGE", "ART", "ARTIKEL", "PN", "PART", "REF", "SN", "SERIAL",
		"ORDER", "MSHA", "TYPE", "TYP", "ITEM", "EN", "ISO", "DIN", "BS", "J", "DN", "M", "TEL", "LENGTH", "L", "IC")
}
