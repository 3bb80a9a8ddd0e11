package hose

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"hoseward/internal/quantity"
)

// Kind says what a line is printed on.
type Kind string

// The kinds of marked things.
const (
	Bulk     Kind = "hose"     // the continuous line along a hose
	Assembly Kind = "assembly" // the stamp on a ferrule or tag of an assembly
)

// DateReading is one way to read a date code, and how it was read.
type DateReading struct {
	Period quantity.Period
	As     string // "year/month", "month/year", "quarter", "year", "day/month/year", ...
}

// DateCode is a date code with every plausible reading.
type DateCode struct {
	Text string
	// Made is the reading that begins earliest: an age counted from it is
	// never too short.
	Made quantity.Period
	// Readings has all of them, the one that is usual on that kind of mark
	// first.
	Readings  []DateReading
	Ambiguous bool // more than one reading
	Notes     []string
}

// firstYear is the earliest year a bare number is taken for: hydraulic hose of
// the standards here is not older.
const firstYear = 1950

// ReadDateCode reads a date of manufacture as it is stamped or typed: 3Q24,
// 1 Q/05, 25Q3, 1606, 16/06, 07/10, 0514, 2004, 06/2016, 25.11.2026. What has
// one reading gives one; what has several gives all: 07/10 is October 2007
// by the year/month rule of European stamps and July 2010 otherwise; 2004 is
// the year, or April 2020. On an assembly year/month comes first (DIN 20066,
// ISO 17165-1), on a hose month/year. Readings that begin after notAfter are
// dropped, unless notAfter is no date. Makers' own codes (weeks, letters,
// days of the year) are an error: they need the maker's key.
func ReadDateCode(text string, kind Kind, notAfter quantity.Date) (DateCode, error) {
	t := strings.TrimSpace(text)
	code := DateCode{Text: t}
	if t == "" {
		return code, fmt.Errorf("empty, expected a date such as 3Q24, 1606 or 06/2016")
	}
	if len(t) > 40 {
		return code, fmt.Errorf("%q is not a date code", clip(t))
	}
	readings := compactReadings(t, kind)
	if len(readings) == 0 {
		p, err := quantity.ParsePeriod(t)
		if err != nil {
			return code, notACode(t, err)
		}
		readings = []DateReading{{p, string(p.Precision)}}
	}
	code.Readings = until(readings, notAfter)
	if len(code.Readings) == 0 {
		return code, fmt.Errorf("%q would be %s, which is in the future on %s", t, eitherDate(readings), notAfter)
	}
	code.settle()
	return code, nil
}

// settle sets Made, Ambiguous and the note from the readings.
func (c *DateCode) settle() {
	c.Made, c.Ambiguous = quantity.Period{}, len(c.Readings) > 1
	for _, r := range c.Readings {
		if c.Made.IsZero() || r.Period.From.Before(c.Made.From) {
			c.Made = r.Period
		}
	}
	if c.Ambiguous {
		c.Notes = append(c.Notes, fmt.Sprintf("%q can be %s; the age counts from the earlier until someone says which", c.Text, eitherDate(c.Readings)))
	}
}

func notACode(t string, cause error) error {
	if isMakersCode(t) {
		return fmt.Errorf("%q looks like a maker's own date code; it needs the maker's key: enter the month or quarter it stands for", t)
	}
	return cause
}

// isMakersCode recognises K25, W1423 and five digits (year and day of year).
func isMakersCode(t string) bool {
	if len(t) == 5 && isDigits(t) {
		return true
	}
	c := t[0] | 0x20
	return len(t) >= 3 && len(t) <= 6 && c >= 'a' && c <= 'z' && c != 'q' && isDigits(t[1:])
}

// until drops the readings that begin after a day.
func until(readings []DateReading, notAfter quantity.Date) []DateReading {
	if notAfter.IsZero() {
		return readings
	}
	var kept []DateReading
	for _, r := range readings {
		if !r.Period.From.After(notAfter) {
			kept = append(kept, r)
		}
	}
	return kept
}

// compactReadings reads the codes that may have several readings: 3, 4 and 6
// digits and two or three numbers of two digits with a separator. For others
// it is empty.
func compactReadings(t string, kind Kind) []DateReading {
	if isDigits(t) {
		switch len(t) {
		case 3: // a sheet has eaten the leading zero of 0514
			return pairReadings("0"+t[:1], t[1:], kind)
		case 4:
			readings := pairReadings(t[:2], t[2:], kind)
			if y, _ := strconv.Atoi(t); y >= firstYear && y <= 2099 {
				readings = append(readings, yearReading(y)...)
			}
			return readings
		case 6:
			return sixReadings(t)
		}
		return nil
	}
	parts, sep := split(t)
	switch {
	case sep == 0:
	case len(parts) == 2 && len(parts[0]) == 2 && len(parts[1]) == 2:
		return pairReadings(parts[0], parts[1], kind)
	case len(parts) == 2 && len(parts[0]) == 1 && len(parts[1]) == 2:
		return monthReading(nil, parts[1], parts[0], "month/year")
	case len(parts) == 3 && len(parts[0]) <= 2 && len(parts[1]) <= 2 && len(parts[2]) == 2:
		readings := dayReading(nil, parts[2], parts[1], parts[0], "day/month/year")
		if sep != '.' && len(parts[0]) == 2 {
			readings = dayReading(readings, parts[0], parts[1], parts[2], "year/month/day")
			readings = dayReading(readings, parts[2], parts[0], parts[1], "month/day/year")
		}
		return readings
	}
	return nil
}

// split cuts 16/06, 16-06, 16.06 and 16 06 at one kind of separator. sep is 0
// if t is anything else than numbers of at most two digits.
func split(t string) (parts []string, sep byte) {
	for i := 0; i < len(t); i++ {
		c := t[i]
		if c >= '0' && c <= '9' {
			continue
		}
		if strings.IndexByte("/-. ", c) < 0 || sep != 0 && c != sep {
			return nil, 0
		}
		sep = c
	}
	if sep == 0 {
		return nil, 0
	}
	parts = strings.Split(t, string(sep))
	for _, p := range parts {
		if len(p) < 1 || len(p) > 2 {
			return nil, 0
		}
	}
	return parts, sep
}

// pairReadings reads two numbers of two digits as year and month both ways.
func pairReadings(a, b string, kind Kind) []DateReading {
	if kind == Assembly {
		return monthReading(monthReading(nil, a, b, "year/month"), b, a, "month/year")
	}
	return monthReading(monthReading(nil, b, a, "month/year"), a, b, "year/month")
}

// sixReadings reads 201606, 062016, 130616 and 160613.
func sixReadings(t string) []DateReading {
	var r []DateReading
	if plausibleYear(t[:4]) {
		r = monthReading(r, t[:4], t[4:], "year/month")
	}
	if plausibleYear(t[2:]) {
		r = monthReading(r, t[2:], t[:2], "month/year")
	}
	r = dayReading(r, t[4:], t[2:4], t[:2], "day/month/year")
	r = dayReading(r, t[:2], t[2:4], t[4:], "year/month/day")
	return dayReading(r, t[4:], t[:2], t[2:4], "month/day/year")
}

func plausibleYear(s string) bool {
	y, err := strconv.Atoi(s)
	return err == nil && y >= firstYear && y <= 2099
}

func yearReading(y int) []DateReading {
	p, err := quantity.CalendarYear(y)
	if err != nil {
		return nil
	}
	return []DateReading{{p, "year"}}
}

// monthReading appends year and month if there is such a month and the same
// period is not there yet.
func monthReading(have []DateReading, year, month, as string) []DateReading {
	m, _ := strconv.Atoi(month)
	p, err := quantity.Month(fullYear(year), m)
	if err != nil {
		return have
	}
	return appendReading(have, p, as)
}

func dayReading(have []DateReading, year, month, day, as string) []DateReading {
	m, _ := strconv.Atoi(month)
	d, _ := strconv.Atoi(day)
	date, err := quantity.NewDate(fullYear(year), m, d)
	if err != nil {
		return have
	}
	return appendReading(have, quantity.Day(date), as)
}

func appendReading(have []DateReading, p quantity.Period, as string) []DateReading {
	for _, h := range have {
		if h.Period == p {
			return have
		}
	}
	return append(have, DateReading{p, as})
}

func fullYear(s string) int {
	y, _ := strconv.Atoi(s)
	if len(s) == 2 {
		return quantity.TwoDigitYear(y)
	}
	return y
}

// eitherDate lists readings for people.
func eitherDate(readings []DateReading) string {
	words := make([]string, len(readings))
	for i, r := range readings {
		words[i] = inWords(r.Period)
		if len(readings) > 1 {
			words[i] += " (" + r.As + ")"
		}
	}
	return strings.Join(words, " or ")
}

// inWords prints a period for people: June 2016, quarter 2 of 2016.
func inWords(p quantity.Period) string {
	y, m, d := p.From.YMD()
	switch p.Precision {
	case quantity.ToMonth:
		return fmt.Sprintf("%s %d", time.Month(m), y)
	case quantity.ToQuarter:
		return fmt.Sprintf("quarter %d of %d", (m+2)/3, y)
	case quantity.ToYear:
		return fmt.Sprintf("the year %d", y)
	}
	return fmt.Sprintf("%d %s %d", d, time.Month(m), y)
}
