package exchange

import (
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// AppendEstimate appends an estimate as `calc life` prints it, one JSON object
// without a line break: the keys of the contract, all of them always, what is
// unknown as null. With steps it adds the working, even where steps is empty
// but not nil. An error means that a number is not finite; dst is then
// returned as it was.
func AppendEstimate(dst []byte, e *life.Estimate, steps []life.Step) ([]byte, error) {
	w := jsonWriter{b: dst}
	w.b = append(w.b, '{')
	w.text("id", e.ID)
	w.date("as_of", e.AsOf)
	w.number("rated_bar", e.RatedBar)
	w.flag("rating_confirmed", e.RatingConfirmed)
	w.text("status", string(e.Status))
	w.flag("complete", e.Complete)
	w.date("due", e.Due)
	w.date("earliest", e.Earliest)
	w.date("latest", e.Latest)
	w.textOrNull("governing", string(e.Governing))
	w.date("inspection_due", e.InspectionDue)
	w.number("hours_now", e.HoursNow)
	w.number("hours_per_week", e.HoursPerWeek)
	w.key("clocks")
	w.open('[')
	for i := range e.Clocks {
		w.clock(&e.Clocks[i])
	}
	w.close(']')
	w.key("warnings")
	w.open('[')
	for _, v := range e.Warnings {
		w.open('{')
		w.text("code", v.Code)
		w.text("text", v.Text)
		w.close('}')
	}
	w.close(']')
	if steps != nil {
		w.working(steps)
	}
	w.b = append(w.b, '}')
	if w.infinite != "" {
		return dst, fmt.Errorf("%s came out as no finite number", w.infinite)
	}
	return w.b, nil
}

// AppendLineError appends what is wrong with a line as a JSON object.
func AppendLineError(dst []byte, line int64, err error) []byte {
	w := jsonWriter{b: append(dst, '{')}
	w.key("line")
	w.b = strconv.AppendInt(w.b, line, 10)
	w.text("error", err.Error())
	return append(w.b, '}')
}

// jsonWriter appends to b. It writes JSON as encoding/json does, but for
// <, > and &, which stand as they are.
type jsonWriter struct {
	b        []byte
	infinite string // the key of a number that is not finite
}

// comma separates what follows from what precedes it, if anything does.
func (w *jsonWriter) comma() {
	switch w.b[len(w.b)-1] {
	case '{', '[', ':':
	default:
		w.b = append(w.b, ',')
	}
}

func (w *jsonWriter) open(bracket byte) {
	w.comma()
	w.b = append(w.b, bracket)
}

func (w *jsonWriter) close(bracket byte) { w.b = append(w.b, bracket) }

func (w *jsonWriter) key(key string) {
	w.comma()
	w.b = append(w.b, '"')
	w.b = append(w.b, key...)
	w.b = append(w.b, '"', ':')
}

func (w *jsonWriter) text(key, v string) {
	w.key(key)
	w.quote(v)
}

func (w *jsonWriter) textOrNull(key, v string) {
	w.key(key)
	if v == "" {
		w.b = append(w.b, "null"...)
		return
	}
	w.quote(v)
}

func (w *jsonWriter) flag(key string, v bool) {
	w.key(key)
	w.b = strconv.AppendBool(w.b, v)
}

func (w *jsonWriter) date(key string, d quantity.Date) {
	w.key(key)
	if d.IsZero() {
		w.b = append(w.b, "null"...)
		return
	}
	w.b = append(w.b, '"')
	w.b = d.Append(w.b)
	w.b = append(w.b, '"')
}

func (w *jsonWriter) number(key string, v *float64) {
	w.key(key)
	switch {
	case v == nil:
		w.b = append(w.b, "null"...)
	case math.IsNaN(*v) || math.IsInf(*v, 0):
		w.infinite = key
	default:
		w.b = appendNumber(w.b, *v)
	}
}

// appendNumber writes the shortest digits that read back as v.
func appendNumber(b []byte, v float64) []byte {
	if v == 0 {
		return append(b, '0') // no -0
	}
	if a := math.Abs(v); a < 1e-6 || a >= 1e21 {
		return strconv.AppendFloat(b, v, 'e', -1, 64)
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

func (w *jsonWriter) clock(c *life.Clock) {
	w.open('{')
	w.text("name", string(c.Name))
	w.number("used", c.Used)
	w.date("due", c.Due)
	w.key("missing")
	w.open('[')
	for _, m := range c.Missing {
		w.comma()
		w.quote(m)
	}
	w.close(']')
	switch c.Name {
	case life.ConditionClock:
		w.textOrNull("class", string(c.Class))
	case life.RatingClock:
		w.number("percent", c.Percent)
	case life.CalendarClock:
		w.textOrNull("rule", c.Rule)
	case life.HeatClock:
		w.number("factor", c.Factor)
		w.number("extra_days", c.ExtraDays)
	case life.HoursClock:
		w.number("limit", c.Limit)
	case life.PressureClock:
		w.number("damage", c.Damage)
		w.number("damage_per_hour", c.DamagePerHour)
		w.number("limit", c.Limit)
		w.number("exponent", c.Exponent)
	}
	w.close('}')
}

func (w *jsonWriter) working(steps []life.Step) {
	w.key("working")
	w.open('[')
	for _, s := range steps {
		w.open('{')
		w.text("step", s.Name)
		w.text("formula", s.Formula)
		w.text("value", s.Value)
		w.text("source", s.Source)
		w.close('}')
	}
	w.close(']')
}

const hexDigits = "0123456789abcdef"

// quote appends a text in quotes. Bytes that are not UTF-8 become U+FFFD; the
// line separators U+2028 and U+2029, at which some programs break lines, are
// escaped.
func (w *jsonWriter) quote(s string) {
	b := append(w.b, '"')
	start := 0
	for i := 0; i < len(s); {
		c := s[i]
		if c >= ' ' && c != '"' && c != '\\' && c < utf8.RuneSelf {
			i++
			continue
		}
		r, size := rune(c), 1
		if c >= utf8.RuneSelf {
			r, size = utf8.DecodeRuneInString(s[i:])
			if (r != utf8.RuneError || size > 1) && r != '\u2028' && r != '\u2029' {
				i += size
				continue
			}
		}
		b = append(b, s[start:i]...)
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r == '\n':
			b = append(b, '\\', 'n')
		case r == '\t':
			b = append(b, '\\', 't')
		default:
			b = append(b, '\\', 'u', hexDigits[r>>12&15], hexDigits[r>>8&15], hexDigits[r>>4&15], hexDigits[r&15])
		}
		i += size
		start = i
	}
	w.b = append(append(b, s[start:]...), '"')
}
