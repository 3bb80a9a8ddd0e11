package quantity

import (
	"database/sql/driver"
	"fmt"
	"math"
	"time"
)

// Date is a calendar day in the proleptic Gregorian calendar, from
// 0001-01-01 to 9999-12-31. The zero value is "no date": it prints as the
// empty string, is NULL in a database and null in JSON, and sorts before
// every real date. Dates compare with ==.
type Date struct {
	// n counts days; 0001-01-01 is day 1, so the zero Date is no date.
	n int32
}

// The first and last day a Date can hold.
var (
	MinDate = mustDate(1, 1, 1)
	MaxDate = mustDate(9999, 12, 31)
)

func mustDate(y, m, d int) Date {
	date, err := NewDate(y, m, d)
	if err != nil {
		panic(err)
	}
	return date
}

// NewDate returns the day year-month-day. A day that the calendar does not
// have, such as 30 February, is an error; nothing is carried over.
func NewDate(year, month, day int) (Date, error) {
	if year < 1 || year > 9999 {
		return Date{}, fmt.Errorf("year %d is outside 1 to 9999", year)
	}
	if month < 1 || month > 12 {
		return Date{}, fmt.Errorf("there is no month %d", month)
	}
	if day < 1 || day > daysIn(year, month) {
		return Date{}, fmt.Errorf("%s %d has no day %d", time.Month(month), year, day)
	}
	return Date{n: dayNumber(year, month, day)}, nil
}

// ParseDate reads an ISO 8601 date, YYYY-MM-DD, and nothing else. What people
// write in sheets is read by ParsePeriod.
func ParseDate(s string) (Date, error) {
	if len(s) != 10 || s[4] != '-' || s[7] != '-' {
		return Date{}, fmt.Errorf("%q is not a date of the form 2026-11-25", clip(s))
	}
	y, ok1 := digits(s[0:4])
	m, ok2 := digits(s[5:7])
	d, ok3 := digits(s[8:10])
	if !ok1 || !ok2 || !ok3 {
		return Date{}, fmt.Errorf("%q is not a date of the form 2026-11-25", clip(s))
	}
	date, err := NewDate(y, m, d)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date: %w", s, err)
	}
	return date, nil
}

// DateOf is the calendar day of the instant t in the zone loc.
func DateOf(t time.Time, loc *time.Location) Date {
	y, m, d := t.In(loc).Date()
	if y < 1 || y > 9999 {
		return Date{}
	}
	return Date{n: dayNumber(y, int(m), d)}
}

// IsZero reports whether d is "no date".
func (d Date) IsZero() bool { return d.n == 0 }

// DayNumber counts days so that consecutive days differ by 1; 0001-01-01 is
// 1 and "no date" is 0. It serves arithmetic on instants: day number plus a
// fraction of a day.
func (d Date) DayNumber() int { return int(d.n) }

// DateOfDayNumber is the inverse of DayNumber. A number outside MinDate to
// MaxDate gives no date.
func DateOfDayNumber(n int) Date {
	if n < 1 || n > int(MaxDate.n) {
		return Date{}
	}
	return Date{n: int32(n)}
}

// YMD returns year, month and day; zeros for "no date".
func (d Date) YMD() (year, month, day int) {
	if d.IsZero() {
		return 0, 0, 0
	}
	return civil(d.n)
}

// Year is the calendar year of d, 0 for "no date".
func (d Date) Year() int { y, _, _ := d.YMD(); return y }

// AddDays moves d by n days. Past the ends of the calendar the result stays
// at MinDate or MaxDate. "No date" stays no date.
func (d Date) AddDays(n int) Date {
	if d.IsZero() {
		return d
	}
	s := int64(d.n) + int64(n)
	return Date{n: int32(min(max(s, int64(MinDate.n)), int64(MaxDate.n)))}
}

// AddMonths moves d by n calendar months and keeps the day of the month, or
// takes the month's last day where that day does not exist: 2024-02-29 plus
// 24 months is 2026-02-28 (the rule of XML Schema 1.1 part 2, appendix E;
// time.AddDate overflows into the next month instead). Adding is not
// associative: two steps of one month may differ from one step of two.
// Past the ends of the calendar the result stays at MinDate or MaxDate.
// "No date" stays no date. Test: TestAddMonths_Published.
func (d Date) AddMonths(n int) Date {
	if d.IsZero() || n == 0 {
		return d
	}
	y, m, day := civil(d.n)
	months := int64(y)*12 + int64(m-1) + int64(n)
	if months < 12 {
		return MinDate
	}
	if months >= 10000*12 {
		return MaxDate
	}
	ny, nm := int(months/12), int(months%12)+1
	return Date{n: dayNumber(ny, nm, min(day, daysIn(ny, nm)))}
}

// Sub is the number of days from e to d, positive when d is later. Neither
// may be "no date".
func (d Date) Sub(e Date) int { return int(d.n) - int(e.n) }

// Before reports whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.n < e.n }

// After reports whether d is later than e.
func (d Date) After(e Date) bool { return d.n > e.n }

// Compare is -1, 0 or 1 as d is before, the same as or after e; "no date"
// comes first.
func (d Date) Compare(e Date) int {
	switch {
	case d.n < e.n:
		return -1
	case d.n > e.n:
		return 1
	}
	return 0
}

// In is the first instant of the day in the zone loc.
func (d Date) In(loc *time.Location) time.Time {
	y, m, day := d.YMD()
	return time.Date(y, time.Month(m), day, 0, 0, 0, 0, loc)
}

// String prints YYYY-MM-DD, or nothing for "no date".
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return string(d.Append(nil))
}

// Append appends YYYY-MM-DD to b, or nothing for "no date".
func (d Date) Append(b []byte) []byte {
	if d.IsZero() {
		return b
	}
	y, m, day := civil(d.n)
	return append(b,
		byte('0'+y/1000), byte('0'+y/100%10), byte('0'+y/10%10), byte('0'+y%10), '-',
		byte('0'+m/10), byte('0'+m%10), '-',
		byte('0'+day/10), byte('0'+day%10))
}

// MarshalJSON writes the date as a string, "no date" as null.
func (d Date) MarshalJSON() ([]byte, error) {
	if d.IsZero() {
		return []byte("null"), nil
	}
	b := make([]byte, 0, 12)
	b = append(b, '"')
	b = d.Append(b)
	return append(b, '"'), nil
}

// UnmarshalJSON reads what MarshalJSON writes.
func (d *Date) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*d = Date{}
		return nil
	}
	if len(b) < 2 || b[0] != '"' || b[len(b)-1] != '"' {
		return fmt.Errorf("%s is not a date in quotes", clip(string(b)))
	}
	date, err := ParseDate(string(b[1 : len(b)-1]))
	if err != nil {
		return err
	}
	*d = date
	return nil
}

// Value stores the date as text YYYY-MM-DD, "no date" as NULL.
func (d Date) Value() (driver.Value, error) {
	if d.IsZero() {
		return nil, nil
	}
	return d.String(), nil
}

// Scan reads a date from a database: NULL, a text that begins with
// YYYY-MM-DD, or a time, of which the day as written counts.
func (d *Date) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*d = Date{}
		return nil
	case string:
		return d.scanText(v)
	case []byte:
		return d.scanText(string(v))
	case time.Time:
		y, m, day := v.Date()
		date, err := NewDate(y, int(m), day)
		if err != nil {
			return fmt.Errorf("read date from %v: %w", v, err)
		}
		*d = date
		return nil
	}
	return fmt.Errorf("read date from %T: not supported", src)
}

func (d *Date) scanText(s string) error {
	if s == "" {
		*d = Date{}
		return nil
	}
	if len(s) > 10 {
		s = s[:10]
	}
	date, err := ParseDate(s)
	if err != nil {
		return err
	}
	*d = date
	return nil
}

// DayOfInstant is the day that contains the instant t, counted in days like
// DayNumber with a fraction. NaN and instants outside the calendar give no
// date.
func DayOfInstant(t float64) Date {
	if math.IsNaN(t) || t < 1 || t >= float64(MaxDate.n)+1 {
		return Date{}
	}
	return Date{n: int32(math.Floor(t))}
}

// Earliest is the earliest of the given dates that is a date, and no date if
// there is none.
func Earliest(dates ...Date) Date {
	var first Date
	for _, d := range dates {
		if !d.IsZero() && (first.IsZero() || d.Before(first)) {
			first = d
		}
	}
	return first
}

func isLeap(y int) bool { return y%4 == 0 && (y%100 != 0 || y%400 == 0) }

func daysIn(y, m int) int {
	switch m {
	case 2:
		if isLeap(y) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// dayNumber counts days with 0001-01-01 as 1. Years begin in March here, so
// that the leap day is the last day of a year.
func dayNumber(y, m, d int) int32 {
	if m <= 2 {
		y--
		m += 12
	}
	return int32(365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + d - 306)
}

// civil is the inverse of dayNumber.
func civil(n int32) (y, m, d int) {
	z := int(n) + 305 // day 0 is 0000-03-01
	era := z / 146097
	doe := z % 146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	d = doy - (153*mp+2)/5 + 1
	m = mp + 3
	y = yoe + era*400
	if m > 12 {
		m -= 12
		y++
	}
	return y, m, d
}

// digits reads s as a number if it consists of digits alone.
func digits(s string) (int, bool) {
	if s == "" || len(s) > 9 {
		return 0, false
	}
	n := 0
	for i := 0; i < len(s); i++ {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, true
}

// clip shortens text for a message.
func clip(s string) string {
	const most = 40
	r := []rune(s)
	if len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
