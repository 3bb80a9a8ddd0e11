package quantity

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// DateStyle is how a person writes days in numbers. The empty style prints as
// ISO.
type DateStyle string

// The styles of dates.
const (
	ISO      DateStyle = "iso"  // 2026-11-25
	DMY      DateStyle = "dmy"  // 25.11.2026
	DMYSlash DateStyle = "dmy/" // 25/11/2026
	MDY      DateStyle = "mdy"  // 11/25/2026
)

// sign is what the style puts between day, month and year.
func (s DateStyle) sign() string {
	switch s {
	case DMY:
		return "."
	case DMYSlash, MDY:
		return "/"
	}
	return "-"
}

// Format prints the day in a style, or nothing for "no date".
func (d Date) Format(s DateStyle) string {
	if d.IsZero() {
		return ""
	}
	y, m, day := d.YMD()
	switch s {
	case DMY, DMYSlash:
		return fmt.Sprintf("%02d%s%02d%s%04d", day, s.sign(), m, s.sign(), y)
	case MDY:
		return fmt.Sprintf("%02d/%02d/%04d", m, day, y)
	}
	return d.String()
}

// Format prints the period in a style of dates: a day as the style does, a month
// as 11.2026, 11/2026 or 2026-11; quarters and years as String does.
func (p Period) Format(s DateStyle) string {
	switch {
	case p.IsZero():
		return ""
	case p.Precision == ToDay:
		return p.From.Format(s)
	case p.Precision == ToMonth && s.sign() != "-":
		y, m, _ := p.From.YMD()
		return fmt.Sprintf("%02d%s%04d", m, s.sign(), y)
	}
	return p.String()
}

// ParsePeriodIn reads what ParsePeriod reads, for a person who writes dates in
// a style. A day in numbers that can be read day first and month first is read
// as the style has it; one that can be read in one way only is read so,
// whatever the style. The empty style and ISO have no order of their own: they
// read day first and refuse the other way, as ParsePeriod does. note, if not
// empty, says how the text was read, where the person may have meant it
// otherwise: where the sign between the numbers is not the style's own.
// Test: TestParsePeriodIn_ReadsByTheStyle.
func ParsePeriodIn(text string, style DateStyle) (p Period, note string, err error) {
	first, second, year, sign, ok := inNumbers(text)
	if !ok {
		p, err = ParsePeriod(text)
		return p, "", err
	}
	monthFirst := style == MDY
	if style != "" && style != ISO && max(first, second) > 12 { // one reading
		monthFirst = second > 12
	}
	day, month := first, second
	if monthFirst {
		day, month = second, first
	}
	if p, err = ParsePeriod(fmt.Sprintf("%d.%d.%s", day, month, year)); err != nil {
		if !monthFirst || min(first, second) > 12 { // the sentence speaks of what was typed
			_, err = ParsePeriod(text)
		}
		return Period{}, "", err
	}
	if first != second && max(first, second) <= 12 && !ownSign(style, sign) {
		order := "day first"
		if monthFirst {
			order = "month first"
		}
		note = "read " + order + ", as " + p.From.Words()
	}
	return p, note, nil
}

// ownSign reports whether a style writes dates with that sign. Points go with
// the day first everywhere; the style without an order takes them so.
func ownSign(style DateStyle, sign string) bool {
	if style == "" || style == ISO {
		return sign == "."
	}
	return sign == style.sign()
}

// inNumbers takes a day in numbers with the year last apart. sign is what
// stands between them.
func inNumbers(text string) (first, second int, year, sign string, ok bool) {
	t := dropTime(strings.TrimSpace(text))
	i := strings.IndexAny(t, "./-")
	if i < 0 {
		return 0, 0, "", "", false
	}
	sign = t[i : i+1]
	parts := strings.Split(t, sign)
	if len(parts) != 3 {
		return 0, 0, "", "", false
	}
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	first, ok1 := digits(parts[0])
	second, ok2 := digits(parts[1])
	year = parts[2]
	if !ok1 || !ok2 || !isDigits(year) || len(parts[0]) > 2 || len(parts[1]) > 2 {
		return 0, 0, "", "", false
	}
	return first, second, year, sign, true
}

// Words prints the day so that nobody reads it otherwise: 4 March 2025.
func (d Date) Words() string {
	if d.IsZero() {
		return ""
	}
	y, m, day := d.YMD()
	return strconv.Itoa(day) + " " + time.Month(m).String() + " " + strconv.Itoa(y)
}
