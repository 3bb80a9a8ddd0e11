package exchange

import (
	"fmt"
	"strconv"
	"unicode/utf8"
)

// LineError is what is wrong with one line of `calc life`.
type LineError struct {
	Path     string // such as conditions[1].cycles[0].max_bar; empty for the line as a whole
	Sentence string // what is wrong and what to write
}

// Error is the path, then the sentence.
func (e *LineError) Error() string {
	if e.Path == "" {
		return e.Sentence
	}
	return e.Path + ": " + e.Sentence
}

// jsonReader walks through one JSON object in memory, value by value in the
// order they stand, into fields the caller names:
//
//	for r.object(); r.key(); {
//		switch string(r.name) {
//		case "dn":
//			dn = r.integer()
//		default:
//			r.unknown()
//		}
//	}
//
// The first error sticks: every further call does nothing and returns a zero.
// A null is read as the zero or nil of whatever is asked for. A key that
// stands twice in an object, text that is not UTF-8 and numbers that no
// float64 holds are errors. It is stricter than encoding/json nowhere else,
// which FuzzReadLife holds it to. That package needs about three times as long
// and folds the case of keys.
type jsonReader struct {
	b    []byte
	i    int
	name []byte // the key that key() found
	err  *LineError

	frames []frame
	seen   [][]byte  // the keys of all open objects, each a part of b or decoded
	slab   []float64 // numbers that pointers point to
}

// frame is an object or an array that is open.
type frame struct {
	name  []byte // the key being read; nil in an array
	index int    // the element being read, or one of the two below
	seen  int    // where its keys begin in jsonReader.seen
}

// What index is where no element is being read.
const (
	beforeFirst = -1
	inObject    = -2
)

// reset makes the reader ready for another line. What pointed into the numbers
// of the last line is no longer valid.
func (r *jsonReader) reset(line []byte) {
	r.b, r.i, r.name, r.err = line, 0, nil, nil
	r.frames, r.seen, r.slab = r.frames[:0], r.seen[:0], r.slab[:0]
}

// fail keeps the first error, at the place that is being read.
func (r *jsonReader) fail(format string, args ...any) {
	if r.err == nil {
		r.err = &LineError{Path: r.path(), Sentence: fmt.Sprintf(format, args...)}
	}
}

// broken is fail for text that is not JSON.
func (r *jsonReader) broken(want string) {
	if r.i >= len(r.b) {
		r.fail("the line ends where %s should stand", want)
		return
	}
	c, _ := utf8.DecodeRune(r.b[r.i:])
	r.fail("%q stands where %s should, at byte %d of the line", c, want, r.i+1)
}

func (r *jsonReader) path() string {
	var p []byte
	for _, f := range r.frames {
		switch {
		case f.index >= 0:
			p = append(p, '[')
			p = strconv.AppendInt(p, int64(f.index), 10)
			p = append(p, ']')
		case f.name != nil:
			if len(p) > 0 {
				p = append(p, '.')
			}
			p = append(p, clipBytes(f.name)...)
		}
	}
	return string(p)
}

// clipBytes shortens a text of the input for an error.
func clipBytes(b []byte) []byte {
	const most = 60
	if len(b) <= most {
		return b
	}
	n := most
	for n > 0 && !utf8.RuneStart(b[n]) {
		n--
	}
	return append(append([]byte(nil), b[:n]...), "..."...)
}

// peek skips white space and returns the byte there, 0 at the end.
func (r *jsonReader) peek() byte {
	for r.i < len(r.b) {
		switch c := r.b[r.i]; c {
		case ' ', '\t', '\r', '\n':
			r.i++
		default:
			return c
		}
	}
	return 0
}

// null reads a null, if one stands there. It is true after an error too, so
// that no value is read on.
func (r *jsonReader) null() bool {
	if r.err != nil {
		return true
	}
	if r.peek() != 'n' {
		return false
	}
	r.word("null")
	return true
}

func (r *jsonReader) word(w string) {
	if len(r.b)-r.i >= len(w) && string(r.b[r.i:r.i+len(w)]) == w {
		r.i += len(w)
		return
	}
	r.broken("a value")
}

// object opens an object; key closes it.
func (r *jsonReader) object() {
	if r.bracket('{', "an object {...}") {
		r.frames = append(r.frames, frame{index: inObject, seen: len(r.seen)})
	}
}

// array opens an array; element closes it.
func (r *jsonReader) array() {
	if r.bracket('[', "a list [...]") {
		r.frames = append(r.frames, frame{index: beforeFirst, seen: len(r.seen)})
	}
}

func (r *jsonReader) bracket(c byte, want string) bool {
	if r.err != nil {
		return false
	}
	if r.peek() != c {
		r.mismatch(want)
		return false
	}
	r.i++
	return true
}

// mismatch tells a value of the wrong kind from text that is no JSON.
func (r *jsonReader) mismatch(want string) {
	switch c := r.peek(); {
	case c == '"':
		r.fail("is a text, must be %s", want)
	case c == '{':
		r.fail("is an object {...}, must be %s", want)
	case c == '[':
		r.fail("is a list [...], must be %s", want)
	case c == '-' || c >= '0' && c <= '9':
		r.fail("is a number, must be %s", want)
	case c == 't' || c == 'f':
		r.fail("is true or false, must be %s", want)
	default:
		r.broken(want)
	}
}

// key moves to the next key of the open object and puts it in r.name. At the
// end it closes the object and returns false.
func (r *jsonReader) key() bool {
	if r.err != nil {
		return false
	}
	f := &r.frames[len(r.frames)-1]
	first := f.name == nil
	f.name = nil
	c := r.peek()
	if c == '}' {
		r.i++
		r.close(f)
		return false
	}
	if !first {
		if c != ',' {
			r.broken("a comma or }")
			return false
		}
		r.i++
		c = r.peek()
	}
	if c != '"' {
		r.broken("a key in quotes")
		return false
	}
	r.name = r.quoted()
	if r.err != nil {
		return false
	}
	f.name = r.name
	if r.peek() != ':' {
		r.broken("a colon")
		return false
	}
	r.i++
	for _, k := range r.seen[f.seen:] {
		if len(k) == len(r.name) && string(k) == string(r.name) {
			r.fail("stands twice; leave one out")
			return false
		}
	}
	r.seen = append(r.seen, r.name)
	return true
}

// element moves to the next element of the open array. At the end it closes
// the array and returns false.
func (r *jsonReader) element() bool {
	if r.err != nil {
		return false
	}
	f := &r.frames[len(r.frames)-1]
	c := r.peek()
	if c == ']' {
		r.i++
		r.close(f)
		return false
	}
	if f.index != beforeFirst {
		if c != ',' {
			r.broken("a comma or ]")
			return false
		}
		r.i++
	}
	f.index++
	return true
}

func (r *jsonReader) close(f *frame) {
	r.seen = r.seen[:f.seen]
	r.frames = r.frames[:len(r.frames)-1]
}

// end makes sure that nothing follows.
func (r *jsonReader) end() {
	if r.err != nil {
		return
	}
	if r.peek(); r.i < len(r.b) {
		r.broken("the end of the line")
	}
}

// unknown refuses the key that stands there.
func (r *jsonReader) unknown() { r.fail("is not a known key; check its spelling or leave it out") }
