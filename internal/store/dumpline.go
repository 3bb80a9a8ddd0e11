package store

import (
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// A line of a dump is a JSON array with a value for each column: null, true,
// false, a number, a string, or an object with one text: {"bytes": base64} for
// bytes, {"text": base64} for a text that is no UTF-8 or holds a zero. Days
// are "2006-01-02", instants "2006-01-02T15:04:05.000000Z".

// dumpInstant is how instants are written: microseconds in UTC, which both
// engines keep.
const dumpInstant = "2006-01-02T15:04:05.000000Z"

// appendValue writes a value as a driver gives it. What a column of that kind
// cannot hold is an error.
func appendValue(b []byte, kind kindOf, v any) ([]byte, error) {
	if v == nil {
		return append(b, "null"...), nil
	}
	switch kind {
	case ofInteger:
		if n, ok := v.(int64); ok {
			return strconv.AppendInt(b, n, 10), nil
		}
	case ofFloat:
		switch n := v.(type) {
		case float64:
			return appendFloat(b, n), nil
		case int64:
			return appendFloat(b, float64(n)), nil
		}
	case ofBool:
		switch n := v.(type) {
		case bool:
			return strconv.AppendBool(b, n), nil
		case int64:
			return strconv.AppendBool(b, n != 0), nil
		}
	case ofText:
		switch s := v.(type) {
		case string:
			return appendText(b, s), nil
		case []byte:
			return appendText(b, string(s)), nil
		}
	case ofDate:
		if t, ok := v.(time.Time); ok {
			return appendText(b, t.Format(time.DateOnly)), nil
		}
	case ofTime:
		if t, ok := v.(time.Time); ok {
			return appendText(b, t.UTC().Format(dumpInstant)), nil
		}
	case ofBytes:
		if p, ok := v.([]byte); ok {
			return appendBytes(b, "bytes", p), nil
		}
	}
	return nil, fmt.Errorf("it holds a %T, which is no %s", v, kind)
}

// appendFloat writes the shortest number that reads back as the same.
func appendFloat(b []byte, v float64) []byte {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.AppendQuote(b, strconv.FormatFloat(v, 'g', -1, 64))
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendText writes a string as JSON; only what must be is escaped.
func appendText(b []byte, s string) []byte {
	if !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0 {
		return appendBytes(b, "text", []byte(s))
	}
	const hex = "0123456789abcdef"
	b = append(b, '"')
	from := 0
	for i := range len(s) {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b = append(append(b, s[from:i]...), '\\', c)
		case c < ' ':
			b = append(append(b, s[from:i]...), '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		default:
			continue
		}
		from = i + 1
	}
	return append(append(b, s[from:]...), '"')
}

func appendBytes(b []byte, what string, p []byte) []byte {
	b = append(append(append(b, `{"`...), what...), `":"`...)
	return append(base64.StdEncoding.AppendEncode(b, p), `"}`...)
}

// cell is a value read from a line: nil, bool, number, string or []byte.
type cell any

// number is a JSON number as it was written.
type number string

var errLine = errors.New("the line is no row of a dump")

// parseLine reads a line without its line feed into cells, which it appends
// to into. What is no such line is an error.
func parseLine(line []byte, into []cell) ([]cell, error) {
	if len(line) < 2 || line[0] != '[' || line[len(line)-1] != ']' || !utf8.Valid(line) {
		return nil, errLine
	}
	rest := line[1 : len(line)-1]
	for len(rest) > 0 || len(into) > 0 {
		v, after, err := parseValue(rest)
		if err != nil {
			return nil, err
		}
		into = append(into, v)
		if len(after) == 0 {
			return into, nil
		}
		if after[0] != ',' {
			return nil, errLine
		}
		rest = after[1:]
	}
	return into, nil
}

func parseValue(b []byte) (v cell, rest []byte, err error) {
	if len(b) == 0 {
		return nil, nil, errLine
	}
	switch b[0] {
	case '"':
		s, rest, err := parseString(b)
		return s, rest, err
	case '{':
		return parseBytes(b)
	}
	n := len(b)
	for i, c := range b {
		if c == ',' {
			n = i
			break
		}
	}
	word := string(b[:n])
	switch word {
	case "null":
		return nil, b[n:], nil
	case "true", "false":
		return word == "true", b[n:], nil
	}
	if !json.Valid(b[:n]) || strings.Trim(word, "+-.0123456789eE") != "" {
		return nil, nil, errLine
	}
	return number(word), b[n:], nil
}

// parseString reads a JSON string at the beginning of b.
func parseString(b []byte) (s string, rest []byte, err error) {
	escaped := false
	for i := 1; i < len(b); i++ {
		switch {
		case b[i] == '\\':
			escaped = true
			i++
		case b[i] < ' ':
			return "", nil, errLine
		case b[i] == '"' && !escaped:
			return string(b[1:i]), b[i+1:], nil
		case b[i] == '"':
			if json.Unmarshal(b[:i+1], &s) != nil {
				return "", nil, errLine
			}
			return s, b[i+1:], nil
		}
	}
	return "", nil, errLine
}

// parseBytes reads {"bytes":"..."}, which gives bytes, or {"text":"..."}, which
// gives a string.
func parseBytes(b []byte) (v cell, rest []byte, err error) {
	what, _, ok := strings.Cut(string(b[1:min(len(b), 10)]), ":")
	if !ok || what != `"bytes"` && what != `"text"` {
		return nil, nil, errLine
	}
	s, left, err := parseString(b[1+len(what)+1:])
	if err != nil || len(left) == 0 || left[0] != '}' {
		return nil, nil, errLine
	}
	p, err := base64.StdEncoding.DecodeString(s)
	if err != nil {
		return nil, nil, errLine
	}
	if what == `"text"` {
		return string(p), left[1:], nil
	}
	return p, left[1:], nil
}

// valueFor makes of a cell what a column of that kind takes.
func valueFor(kind kindOf, c cell) (any, error) {
	if c == nil {
		return nil, nil
	}
	n, isNumber := c.(number)
	s, isString := c.(string)
	switch {
	case kind == ofInteger && isNumber:
		return strconv.ParseInt(string(n), 10, 64)
	case kind == ofFloat && isNumber:
		return strconv.ParseFloat(string(n), 64)
	case kind == ofFloat && (s == "NaN" || s == "+Inf" || s == "-Inf"):
		return strconv.ParseFloat(s, 64)
	case kind == ofText && isString:
		return s, nil
	case kind == ofDate && isString:
		return time.Parse(time.DateOnly, s)
	case kind == ofTime && isString:
		return time.Parse(dumpInstant, s)
	}
	switch v := c.(type) {
	case bool:
		if kind == ofBool {
			return v, nil
		}
	case []byte:
		if kind == ofBytes {
			return v, nil
		}
	}
	return nil, fmt.Errorf("a value is no %s", kind)
}
