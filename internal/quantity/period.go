package quantity

import (
	"database/sql/driver"
	"fmt"
	"strings"
	"time"
	"unicode"
)

// Precision says how exactly a point in time is known.
type Precision string

// The precisions a period can have.
const (
	ToDay     Precision = "day"
	ToMonth   Precision = "month"
	ToQuarter Precision = "quarter"
	ToYear    Precision = "year"
)

// Period is a stretch of whole days within which something happened, such as
// the quarter a hose was made in. The zero value is "unknown".
type Period struct {
	From, To  Date
	Precision Precision
}

// Start is the day an age counts from: the first, because older is safer.
func (p Period) Start() Date { return p.From }

// IsZero reports whether the period is unknown.
func (p Period) IsZero() bool { return p.From.IsZero() }

// Day is the period of one day.
func Day(d Date) Period {
	if d.IsZero() {
		return Period{}
	}
	return Period{From: d, To: d, Precision: ToDay}
}

// Month is a calendar month.
func Month(year, month int) (Period, error) {
	from, err := NewDate(year, month, 1)
	if err != nil {
		return Period{}, err
	}
	return Period{From: from, To: mustDate(year, month, daysIn(year, month)), Precision: ToMonth}, nil
}

// Quarter is a calendar quarter, 1 to 4.
func Quarter(year, quarter int) (Period, error) {
	if quarter < 1 || quarter > 4 {
		return Period{}, fmt.Errorf("there is no quarter %d", quarter)
	}
	from, err := NewDate(year, quarter*3-2, 1)
	if err != nil {
		return Period{}, err
	}
	return Period{From: from, To: mustDate(year, quarter*3, daysIn(year, quarter*3)), Precision: ToQuarter}, nil
}

// CalendarYear is a whole year.
func CalendarYear(year int) (Period, error) {
	from, err := NewDate(year, 1, 1)
	if err != nil {
		return Period{}, err
	}
	return Period{From: from, To: mustDate(year, 12, 31), Precision: ToYear}, nil
}

// String prints the period so that ParsePeriod reads it back: 2026-11-25,
// 2026-11, 4Q2026 or 2026; nothing if unknown. A year that ParsePeriod would
// not read as one, because it can be a code of year and month, is printed as
// "year 2004".
func (p Period) String() string {
	if p.IsZero() {
		return ""
	}
	y, m, _ := p.From.YMD()
	switch p.Precision {
	case ToMonth:
		return fmt.Sprintf("%04d-%02d", y, m)
	case ToQuarter:
		return fmt.Sprintf("%dQ%04d", (m+2)/3, y)
	case ToYear:
		if t := fmt.Sprintf("%04d", y); !plainYear(t) {
			return yearWord + t
		}
		return fmt.Sprintf("%04d", y)
	}
	return p.From.String()
}

// ParsePeriod reads a date or period as people write it in sheets, where only
// one reading is possible:
//
//	2026-11-25  2026/11/25  2026.11.25  25.11.2026  25/11/2026  25-11-2026
//	25 Nov 2026  Nov 2026  2026-11  11/2026  11.2026  3Q24  3Q2024  Q3/24
//	3 Q/24  24Q3  2026  year 2004
//
// A time of day after a date is dropped. Day and month in numbers are read
// day first; a middle number over 12 is therefore an error that says so, not
// a silent swap. Two-digit years are 1970 to 2069. Codes that have two
// readings, such as 07/10 or 1606, are refused here: package hose reads them,
// with all their readings.
func ParsePeriod(s string) (Period, error) {
	t := strings.TrimSpace(s)
	if t == "" {
		return Period{}, fmt.Errorf("empty, expected a date")
	}
	if len(t) > 40 {
		return Period{}, fmt.Errorf("%q is not a date", clip(t))
	}
	if p, ok, err := parseQuarter(t); ok {
		return p, err
	}
	if y, ok := cutYearWord(t); ok {
		return CalendarYear(y)
	}
	t = dropTime(t)
	tok, seps := splitDate(t)
	switch {
	case len(tok) == 3 && seps:
		return parseThree(s, tok)
	case len(tok) == 2 && seps:
		return parseTwo(s, tok)
	case len(tok) == 1 && plainYear(tok[0]):
		y, _ := digits(tok[0])
		return CalendarYear(y)
	}
	return Period{}, notADate(s)
}

// yearWord stands before a year that could be mistaken for something else.
const yearWord = "year "

func cutYearWord(t string) (year int, ok bool) {
	if len(t) != len(yearWord)+4 || !strings.EqualFold(t[:len(yearWord)], yearWord) {
		return 0, false
	}
	return digits(t[len(yearWord):])
}

// plainYear reports whether four digits alone can only be a year.
func plainYear(t string) bool {
	y, ok := digits(t)
	return ok && len(t) == 4 && y >= 1950 && y <= 2100 && !looksLikeYearMonth(t)
}

// looksLikeYearMonth tells 2004 or 2012, which stamps also use for year and
// month, from 1998 or 2026, which can only be a year.
func looksLikeYearMonth(s string) bool {
	m, _ := digits(s[2:])
	return m >= 1 && m <= 12 && s[0] == '2' && s[1] == '0' && m < 13 && s < "2013"
}

func notADate(s string) error {
	return fmt.Errorf("%q is not a date; write it as 2026-11-25, 25.11.2026, 11/2026 or 4Q26", clip(strings.TrimSpace(s)))
}

// dropTime cuts a time of day: "2026-11-25 00:00:00", "2026-11-25T00:00:00Z".
func dropTime(t string) string {
	if i := strings.IndexByte(t, ':'); i > 0 {
		if j := strings.LastIndexAny(t[:i], "T "); j > 0 {
			return strings.TrimSpace(t[:j])
		}
	}
	return t
}

// splitDate cuts at separators; seps tells whether there were any.
func splitDate(t string) (tok []string, seps bool) {
	tok = strings.FieldsFunc(t, func(r rune) bool {
		return r == '-' || r == '/' || r == '.' || r == ',' || unicode.IsSpace(r)
	})
	return tok, len(tok) > 1
}

func parseThree(s string, tok []string) (Period, error) {
	if len(tok[0]) == 4 && isDigits(tok[0]) { // year first
		return dayPeriod(s, tok[0], tok[1], tok[2])
	}
	if _, ok := monthNumber(tok[0]); ok && !isDigits(tok[0]) { // Nov 25 2026
		return dayPeriod(s, tok[2], tok[0], tok[1])
	}
	return dayPeriod(s, tok[2], tok[1], tok[0])
}

func dayPeriod(s, year, month, day string) (Period, error) {
	y, ok := yearNumber(year)
	if !ok {
		return Period{}, notADate(s)
	}
	m, ok := monthNumber(month)
	if !ok {
		return Period{}, notADate(s)
	}
	d, ok := digits(strings.TrimRight(day, "stndrh"))
	if !ok || len(day) > 4 {
		return Period{}, notADate(s)
	}
	if m > 12 && d <= 12 && d > 0 {
		return Period{}, fmt.Errorf("%q has month %d; dates in numbers are read day first: write 2026-11-25 or 25.11.2026", clip(strings.TrimSpace(s)), m)
	}
	date, err := NewDate(y, m, d)
	if err != nil {
		return Period{}, fmt.Errorf("%q is not a date: %w", clip(strings.TrimSpace(s)), err)
	}
	return Day(date), nil
}

func parseTwo(s string, tok []string) (Period, error) {
	year, month := tok[1], tok[0]
	if len(tok[0]) == 4 && isDigits(tok[0]) {
		year, month = tok[0], tok[1]
	}
	if len(year) != 4 && isDigits(month) {
		return Period{}, fmt.Errorf("%q can be month/year or year/month: write the year with four digits, as in 11/2026", clip(strings.TrimSpace(s)))
	}
	y, ok := yearNumber(year)
	if !ok {
		return Period{}, notADate(s)
	}
	m, ok := monthNumber(month)
	if !ok {
		return Period{}, notADate(s)
	}
	p, err := Month(y, m)
	if err != nil {
		return Period{}, fmt.Errorf("%q is not a date: %w", clip(strings.TrimSpace(s)), err)
	}
	return p, nil
}

// parseQuarter reads 3Q24, 3Q2024, 3 Q/24, Q3/24, Q3 2024, 24Q3, 2024Q3,
// 24/3Q. ok tells whether the text is a quarter code at all, right or wrong.
func parseQuarter(t string) (p Period, ok bool, err error) {
	var parts []string // runs of digits and the letter Q, separators dropped
	for _, r := range strings.ToUpper(t) {
		switch {
		case r >= '0' && r <= '9':
			if n := len(parts); n > 0 && parts[n-1] != "Q" && parts[n-1] != "" {
				parts[n-1] += string(r)
				continue
			}
			parts = append(dropEmpty(parts), string(r))
		case r == 'Q':
			parts = append(dropEmpty(parts), "Q")
		case r == '/' || r == '-' || r == '.' || unicode.IsSpace(r):
			parts = append(dropEmpty(parts), "")
		default:
			return Period{}, false, nil
		}
	}
	parts = dropEmpty(parts)
	if !strings.Contains(strings.ToUpper(t), "Q") {
		return Period{}, false, nil
	}
	bad := fmt.Errorf("%q is not a quarter; write it as 3Q24", clip(t))
	if len(parts) != 3 {
		return Period{}, true, bad
	}
	var quarter, year string
	switch {
	case parts[0] == "Q": // Q3/24
		quarter, year = parts[1], parts[2]
	case parts[1] == "Q" && len(parts[0]) == 1: // 3Q24
		quarter, year = parts[0], parts[2]
	case parts[1] == "Q": // 24Q3
		quarter, year = parts[2], parts[0]
	case parts[2] == "Q": // 24/3Q
		quarter, year = parts[1], parts[0]
	}
	q, ok1 := digits(quarter)
	y, ok2 := yearNumber(year)
	if !ok1 || !ok2 || len(quarter) != 1 {
		return Period{}, true, bad
	}
	p, err = Quarter(y, q)
	if err != nil {
		return Period{}, true, fmt.Errorf("%q is not a quarter: %w", clip(t), err)
	}
	return p, true, nil
}

func dropEmpty(parts []string) []string {
	if n := len(parts); n > 0 && parts[n-1] == "" {
		return parts[:n-1]
	}
	return parts
}

// yearNumber reads a year of four digits, or of two as 1970 to 2069.
func yearNumber(s string) (int, bool) {
	n, ok := digits(s)
	if !ok {
		return 0, false
	}
	switch len(s) {
	case 4:
		return n, n >= 1
	case 2:
		return TwoDigitYear(n), true
	}
	return 0, false
}

// TwoDigitYear places a year of two digits, 0 to 99, in 1970 to 2069.
func TwoDigitYear(n int) int {
	if n < 70 {
		return 2000 + n
	}
	return 1900 + n
}

func isDigits(s string) bool { _, ok := digits(s); return ok }

// monthNumber reads a month in digits (any number; the caller checks it) or
// by its English or German name, at least three letters.
func monthNumber(s string) (int, bool) {
	if n, ok := digits(s); ok {
		return n, len(s) <= 2
	}
	low := strings.ToLower(s)
	if len([]rune(low)) < 3 {
		return 0, false
	}
	for m := time.January; m <= time.December; m++ {
		if strings.HasPrefix(strings.ToLower(m.String()), low) || low == "sept" && m == time.September {
			return int(m), true
		}
	}
	for i, name := range [...]string{"januar", "februar", "märz", "april", "mai", "juni", "juli", "august", "september", "oktober", "november", "dezember"} {
		if strings.HasPrefix(name, low) {
			return i + 1, true
		}
	}
	return 0, false
}

// MarshalText writes what String prints.
func (p Period) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads exactly what String prints, and nothing else.
func (p *Period) UnmarshalText(b []byte) error {
	s := string(b)
	var err error
	switch {
	case s == "":
		*p = Period{}
	case len(s) == 10:
		var d Date
		if d, err = ParseDate(s); err == nil {
			*p = Day(d)
		}
	case len(s) == 7 && s[4] == '-', len(s) == 6 && s[1] == 'Q':
		*p, err = ParsePeriod(s)
	case len(s) == len(yearWord)+4 && strings.HasPrefix(s, yearWord):
		y, _ := cutYearWord(s)
		*p, err = CalendarYear(y)
	case len(s) == 4 && isDigits(s):
		y, _ := digits(s)
		*p, err = CalendarYear(y)
	default:
		err = fmt.Errorf("%q is not a stored period", clip(s))
	}
	return err
}

// Value stores the period as the text String prints, unknown as NULL.
func (p Period) Value() (driver.Value, error) {
	if p.IsZero() {
		return nil, nil
	}
	return p.String(), nil
}

// Scan reads what Value stores.
func (p *Period) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*p = Period{}
		return nil
	case string:
		return p.UnmarshalText([]byte(v))
	case []byte:
		return p.UnmarshalText(v)
	}
	return fmt.Errorf("read period from %T: not supported", src)
}
