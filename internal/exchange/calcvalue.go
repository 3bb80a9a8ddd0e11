package exchange

import (
	"math"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"

	"hoseward/internal/quantity"
)

// maxText is the longest text taken for a name, in bytes.
const maxText = 1000

// text reads a text.
func (r *jsonReader) text() string {
	if r.null() {
		return ""
	}
	if r.peek() != '"' {
		r.mismatch(`a text in quotes`)
		return ""
	}
	b := r.quoted()
	if len(b) > maxText {
		r.fail("is a text of %d bytes; at most %d are taken", len(b), maxText)
		return ""
	}
	return string(b)
}

// date reads a date YYYY-MM-DD.
func (r *jsonReader) date() quantity.Date {
	if r.null() {
		return quantity.Date{}
	}
	if r.peek() != '"' {
		r.mismatch(`a date in quotes, as in "2026-11-25"`)
		return quantity.Date{}
	}
	b := r.quoted()
	if r.err != nil {
		return quantity.Date{}
	}
	d, err := quantity.ParseDate(string(b))
	if err != nil {
		r.fail("%v", err)
	}
	return d
}

// flag reads true or false.
func (r *jsonReader) flag() bool {
	if r.null() {
		return false
	}
	switch r.peek() {
	case 't':
		r.word("true")
		return true
	case 'f':
		r.word("false")
	default:
		r.mismatch("true or false")
	}
	return false
}

// number reads a number that must be there; a null is an error.
func (r *jsonReader) number() float64 {
	if r.err == nil && r.peek() == 'n' {
		r.fail("is null, must be a number")
		return 0
	}
	return r.literal()
}

// optional reads a number or nil. The pointer is good until reset.
func (r *jsonReader) optional() *float64 {
	if r.null() {
		return nil
	}
	v := r.literal()
	if r.err != nil {
		return nil
	}
	if len(r.slab) == cap(r.slab) {
		r.slab = make([]float64, 0, 2*cap(r.slab)+64) // earlier pointers keep the old one
	}
	r.slab = append(r.slab, v)
	return &r.slab[len(r.slab)-1]
}

// maxWhole is the largest whole number taken; months and sizes are far below.
const maxWhole = 1e6

// whole reads a whole number or nil.
func (r *jsonReader) whole() *int {
	if r.null() {
		return nil
	}
	v := r.literal()
	if r.err != nil {
		return nil
	}
	if v != math.Trunc(v) || math.Abs(v) > maxWhole {
		r.fail("is %v, must be a whole number of at most a million", v)
		return nil
	}
	n := int(v)
	return &n
}

// literal reads a number as RFC 8259 section 6 writes it.
func (r *jsonReader) literal() float64 {
	if r.err != nil {
		return 0
	}
	if c := r.peek(); c != '-' && (c < '0' || c > '9') {
		r.mismatch("a number")
		return 0
	}
	start := r.i
	if r.b[r.i] == '-' {
		r.i++
	}
	whole := r.digits()
	ok := whole > 0 && (whole == 1 || r.b[r.i-whole] != '0')
	if ok && r.at('.') {
		r.i++
		ok = r.digits() > 0
	}
	if ok && (r.at('e') || r.at('E')) {
		r.i++
		if r.at('+') || r.at('-') {
			r.i++
		}
		ok = r.digits() > 0
	}
	text := r.b[start:r.i]
	if !ok {
		r.fail("%q is not a number as JSON writes it", clipBytes(text))
		return 0
	}
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		r.fail("%s is too large a number", clipBytes(text))
		return 0
	}
	return v
}

func (r *jsonReader) at(c byte) bool { return r.i < len(r.b) && r.b[r.i] == c }

// digits skips digits and counts them.
func (r *jsonReader) digits() int {
	start := r.i
	for r.i < len(r.b) && r.b[r.i] >= '0' && r.b[r.i] <= '9' {
		r.i++
	}
	return r.i - start
}

// quoted reads the text in quotes that stands there and returns its meaning,
// a part of the line where nothing is escaped.
func (r *jsonReader) quoted() []byte {
	r.i++
	start, ascii := r.i, true
	for r.i < len(r.b) {
		switch c := r.b[r.i]; {
		case c == '"':
			text := r.b[start:r.i]
			r.i++
			if !ascii && !utf8.Valid(text) {
				r.fail("holds bytes that are not UTF-8")
			}
			return text
		case c == '\\':
			return r.escaped(start)
		case c < ' ':
			r.fail("holds a control character, which JSON writes as \\u%04x", c)
			return nil
		case c >= utf8.RuneSelf:
			ascii = false
		}
		r.i++
	}
	r.fail("the text that begins at byte %d has no closing quote", start)
	return nil
}

// escaped is quoted for a text with escapes that begins at start; r.i stands
// on the first of them.
func (r *jsonReader) escaped(start int) []byte {
	text := append(make([]byte, 0, 64), r.b[start:r.i]...)
	for r.i < len(r.b) {
		c := r.b[r.i]
		r.i++
		switch {
		case c == '"':
			if !utf8.Valid(text) {
				r.fail("holds bytes that are not UTF-8")
			}
			return text
		case c == '\\':
			n, ok := r.escape()
			if !ok {
				r.fail("holds an escape that is none, at byte %d of the line", r.i)
				return nil
			}
			text = utf8.AppendRune(text, n)
		case c < ' ':
			r.fail("holds a control character, which JSON writes as \\u%04x", c)
			return nil
		default:
			text = append(text, c)
		}
	}
	r.fail("the text that begins at byte %d has no closing quote", start)
	return nil
}

// escape reads what follows a backslash. Half of a surrogate pair is no
// character, so ok is false.
func (r *jsonReader) escape() (c rune, ok bool) {
	if r.i >= len(r.b) {
		return 0, false
	}
	e := r.b[r.i]
	r.i++
	switch e {
	case '"', '\\', '/':
		return rune(e), true
	case 'b':
		return '\b', true
	case 'f':
		return '\f', true
	case 'n':
		return '\n', true
	case 'r':
		return '\r', true
	case 't':
		return '\t', true
	case 'u':
		c, ok = r.hex()
		if !ok || !utf16.IsSurrogate(c) {
			return c, ok
		}
		if !r.at('\\') || r.i+1 >= len(r.b) || r.b[r.i+1] != 'u' {
			return 0, false
		}
		r.i += 2
		low, ok := r.hex()
		c = utf16.DecodeRune(c, low)
		return c, ok && c != utf8.RuneError
	}
	return 0, false
}

// hex reads four hexadecimal digits.
func (r *jsonReader) hex() (rune, bool) {
	if len(r.b)-r.i < 4 {
		return 0, false
	}
	n, err := strconv.ParseUint(string(r.b[r.i:r.i+4]), 16, 16)
	if err != nil {
		return 0, false
	}
	r.i += 4
	return rune(n), true
}
