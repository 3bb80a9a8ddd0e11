package quantity

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func styles() []DateStyle { return []DateStyle{"", ISO, DMY, DMYSlash, MDY} }

func TestDateFormat_WritesEachStyle(t *testing.T) {
	d := mustDate(2026, 3, 4)
	month, err := Month(2026, 3)
	if err != nil {
		t.Fatal(err)
	}
	quarter, err := Quarter(2026, 1)
	if err != nil {
		t.Fatal(err)
	}
	year, err := CalendarYear(2004)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [...]struct {
		style      DateStyle
		day, month string
	}{
		{"", "2026-03-04", "2026-03"},
		{ISO, "2026-03-04", "2026-03"},
		{DMY, "04.03.2026", "03.2026"},
		{DMYSlash, "04/03/2026", "03/2026"},
		{MDY, "03/04/2026", "03/2026"},
		{"unheard of", "2026-03-04", "2026-03"},
	} {
		if d.Format(c.style) != c.day || Day(d).Format(c.style) != c.day || month.Format(c.style) != c.month {
			t.Errorf("%q: %s, %s, %s", c.style, d.Format(c.style), Day(d).Format(c.style), month.Format(c.style))
		}
		if quarter.Format(c.style) != "1Q2026" || year.Format(c.style) != "year 2004" || (Date{}).Format(c.style) != "" || (Period{}).Format(c.style) != "" {
			t.Errorf("%q: quarter %s, year %s", c.style, quarter.Format(c.style), year.Format(c.style))
		}
	}
}

func TestParsePeriodIn_ReadsByTheStyle(t *testing.T) {
	for _, c := range [...]struct {
		why   string
		style DateStyle
		text  string
		want  string // empty: refused
		says  string // in the note or the error
	}{
		{"month first is that person's way", MDY, "03/04/2026", "2026-03-04", ""},
		{"one digit is enough", MDY, "3/4/26", "2026-03-04", ""},
		{"points are another way of writing and are told", MDY, "03.04.2026", "2026-03-04", "read month first, as 4 March 2026"},
		{"only one reading is possible, and nothing to tell", MDY, "25/11/2026", "2026-11-25", ""},
		{"only one reading is possible", MDY, "25.11.2026", "2026-11-25", ""},
		{"ISO works always", MDY, "2026-03-04", "2026-03-04", ""},
		{"a month in letters has one reading", MDY, "4 Mar 2026", "2026-03-04", ""},
		{"a month and a year", MDY, "11/2026", "2026-11", ""},
		{"a quarter", MDY, "3Q24", "3Q2024", ""},
		{"a day that is not", MDY, "02/30/2026", "", "February 2026 has no day 30"},
		{"neither can be a month", MDY, "30/40/2026", "", "not a date"},
		{"day first", DMY, "04.03.2026", "2026-03-04", ""},
		{"slashes are told to who writes points", DMY, "04/03/2026", "2026-03-04", "read day first, as 4 March 2026"},
		{"with points there is nothing to tell", DMY, "4.3.26", "2026-03-04", ""},
		{"only one reading is possible", DMY, "11/25/2026", "2026-11-25", ""},
		{"a day that is not", DMY, "31.11.2026", "", "has no day 31"},
		{"slashes are that person's way", DMYSlash, "04/03/2026", "2026-03-04", ""},
		{"points are told to who writes slashes", DMYSlash, "04.03.2026", "2026-03-04", "day first"},
		{"hyphens are told", DMYSlash, "04-03-2026", "2026-03-04", "day first"},
		{"day and month alike need no telling", DMY, "05/05/2026", "2026-05-05", ""},
		{"who chose nothing: day first with points", "", "04.03.2026", "2026-03-04", ""},
		{"who chose nothing: day first with slashes, told", "", "04/03/2026", "2026-03-04", "day first"},
		{"who chose nothing: month first is refused", "", "11/25/2026", "", "day first"},
		{"ISO has no order of its own: month first is refused", ISO, "11/25/2026", "", "day first"},
		{"a time is dropped", MDY, "03/04/2026 14:05", "2026-03-04", ""},
		{"nothing", MDY, "", "", "empty"},
		{"no date", MDY, "tomorrow", "", "not a date"},
	} {
		p, note, err := ParsePeriodIn(c.text, c.style)
		says := note
		if err != nil {
			says = err.Error()
		}
		if p.String() != c.want || (err != nil) != (c.want == "") || !strings.Contains(says, c.says) || (c.says == "") != (says == "") {
			t.Errorf("%s: %q in style %q is %q, says %q, error %v", c.why, c.text, c.style, p, note, err)
		}
	}
}

// What a style prints, the same style reads as the same day, with nothing to
// tell; and every style reads ISO.
func TestParsePeriodIn_ReadsWhatTheStylePrints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := DateOfDayNumber(rapid.IntRange(1, MaxDate.DayNumber()).Draw(t, "day"))
		for _, s := range styles() {
			if p, note, err := ParsePeriodIn(d.Format(s), s); err != nil || p != Day(d) || note != "" && d.Format(s) != d.String() {
				t.Fatalf("%s in style %q is read as %v, %q, %v", d.Format(s), s, p, note, err)
			}
			if p, note, err := ParsePeriodIn(d.String(), s); err != nil || p != Day(d) || note != "" {
				t.Fatalf("%s in style %q is read as %v, %q, %v", d, s, p, note, err)
			}
		}
		y, m, _ := d.YMD()
		month, err := Month(y, m)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range styles() {
			if p, _, err := ParsePeriodIn(month.Format(s), s); err != nil || p != month {
				t.Fatalf("%s in style %q is read as %v, %v", month.Format(s), s, p, err)
			}
		}
	})
}

// No text makes a style panic, and what a style reads is a real stretch of days.
func FuzzParsePeriodIn(f *testing.F) {
	for _, s := range []string{"03/04/2026", "25.11.2026", "11/25/26", "1.1.1", "//", "0/0/0000", "3Q24", "2026-11-25 10:00", "31-12-69"} {
		for i := range styles() {
			f.Add(s, i)
		}
	}
	f.Fuzz(func(t *testing.T, text string, n int) {
		style := styles()[(n%5+5)%5]
		p, note, err := ParsePeriodIn(text, style)
		if err != nil {
			if p != (Period{}) || note != "" {
				t.Errorf("%q: %v and %q beside the error %v", text, p, note, err)
			}
			return
		}
		if p.IsZero() || p.To.Before(p.From) {
			t.Errorf("%q in %q is %v", text, style, p)
		}
		again, _, err := ParsePeriodIn(p.Format(style), style)
		if err != nil || again != p {
			t.Errorf("%q in %q is %v, printed %q, read as %v, %v", text, style, p, p.Format(style), again, err)
		}
	})
}
