package quantity

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParsePeriod_ReadsWhatHasOneReading(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"2026-11-25", "2026-11-25"},
		{"2026/11/25", "2026-11-25"},
		{"2026.11.25", "2026-11-25"},
		{"25.11.2026", "2026-11-25"},
		{"25/11/2026", "2026-11-25"},
		{"25-11-2026", "2026-11-25"},
		{"5.1.26", "2026-01-05"},
		{"25 Nov 2026", "2026-11-25"},
		{"Nov 25, 2026", "2026-11-25"},
		{"25th November 2026", "2026-11-25"},
		{"3. Dezember 2026", "2026-12-03"},
		{"June 5, 2026", "2026-06-05"},
		{"2026-11-25 00:00:00", "2026-11-25"},
		{"2026-11-25T14:00:00Z", "2026-11-25"},
		{" 25.11.2026 14:05 ", "2026-11-25"},
		{"2024-11", "2024-11"},
		{"11/2024", "2024-11"},
		{"11.2024", "2024-11"},
		{"Mai 2024", "2024-05"},
		{"Sept 2024", "2024-09"},
		{"Okt. 24", "2024-10"},
		{"3Q24", "3Q2024"},
		{"3q2024", "3Q2024"},
		{"Q3/24", "3Q2024"},
		{"Q3 2024", "3Q2024"},
		{"3 Q/24", "3Q2024"},
		{"24Q3", "3Q2024"},
		{"24/3Q", "3Q2024"},
		{"2024Q3", "3Q2024"},
		{"4Q99", "4Q1999"},
		{"1998", "1998"},
		{"2026", "2026"},
		{"year 2004", "year 2004"},
	} {
		p, err := ParsePeriod(c.in)
		if err != nil || p.String() != c.want {
			t.Errorf("%q = %q, %v, want %q", c.in, p, err, c.want)
		}
		if p.Start() != p.From || p.From.After(p.To) {
			t.Errorf("%q runs from %s to %s", c.in, p.From, p.To)
		}
	}
}

func TestParsePeriod_RefusesAndSaysWhy(t *testing.T) {
	for _, c := range []struct{ in, says string }{
		{"", "empty"},
		{"1606", "write it as"},
		{"2004", "write it as"},
		{"07/10", "year with four digits"},
		{"16-06", "year with four digits"},
		{"11/25/2026", "day first"},
		{"30.02.2026", "no day 30"},
		{"29.02.2023", "no day 29"},
		{"13/2026", "no month 13"},
		{"5Q24", "no quarter 5"},
		{"2Q2", "not a quarter"},
		{"tomorrow", "write it as"},
		{"<b>3Q24</b>", "write it as"},
		{"'; DROP TABLE hose; --", "write it as"},
		{strings.Repeat("9", 5000), "not a date"},
		{"year 0000", "year 0"},
	} {
		p, err := ParsePeriod(c.in)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%.40q = %q, %v; want an error that says %q", c.in, p, err, c.says)
		}
		if err != nil && len(err.Error()) > 250 {
			t.Errorf("%.40q: the message is %d bytes long", c.in, len(err.Error()))
		}
	}
}

func TestPeriod_PrintsAndParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t)
		y, m, _ := d.YMD()
		month, err1 := Month(y, m)
		quarter, err2 := Quarter(y, (m+2)/3)
		year, err3 := CalendarYear(y)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		for _, p := range []Period{Day(d), month, quarter, year} {
			if d.Before(p.From) || d.After(p.To) {
				t.Fatalf("%s is not in %s", d, p)
			}
			back, err := ParsePeriod(p.String())
			if err != nil || back != p {
				t.Fatalf("%q comes back as %q, %v", p, back, err)
			}
		}
	})
}

func TestPeriod_RefusesWhatTheCalendarDoesNotHave(t *testing.T) {
	for _, c := range []struct {
		what string
		err  error
	}{
		{"month 0", second(Month(2024, 0))},
		{"month 13", second(Month(2024, 13))},
		{"year 0", second(CalendarYear(0))},
		{"year 10000", second(CalendarYear(10000))},
		{"quarter 0", second(Quarter(2024, 0))},
		{"quarter 5", second(Quarter(2024, 5))},
	} {
		if c.err == nil {
			t.Errorf("%s is taken", c.what)
		}
	}
	if !Day(Date{}).IsZero() || (Period{}).String() != "" {
		t.Error("no date must be an unknown period that prints as nothing")
	}
}

func second(_ Period, err error) error { return err }

func TestTwoDigitYear_Turns1970(t *testing.T) {
	for in, want := range map[int]int{0: 2000, 26: 2026, 69: 2069, 70: 1970, 99: 1999} {
		if got := TwoDigitYear(in); got != want {
			t.Errorf("%02d = %d, want %d", in, got, want)
		}
	}
}

func FuzzParsePeriod(f *testing.F) {
	for _, s := range []string{"2026-11-25", "25.11.2026", "3Q24", "24/3Q", "Q3/24", "11/2026", "Nov 2026", "07/10", "1606", "2004", "year 2004", "25th Mai 24", "2Q-1", "İ 2024", "1.1.1 10:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePeriod(s)
		if err != nil {
			if !p.IsZero() {
				t.Fatalf("%q is an error and still %s", s, p)
			}
			return
		}
		if p.IsZero() || p.From.After(p.To) || p.Precision == "" {
			t.Fatalf("%q gives %+v", s, p)
		}
		back, err := ParsePeriod(p.String())
		if err != nil || back != p {
			t.Fatalf("%q prints as %q, which comes back as %q, %v", s, p, back, err)
		}
	})
}
