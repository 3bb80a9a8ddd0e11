package hose

import (
	"strings"
	"testing"

	"hoseward/internal/quantity"

	"pgregory.net/rapid"
)

func dates(readings []DateReading) string {
	var all []string
	for _, r := range readings {
		all = append(all, r.Period.String())
	}
	return strings.Join(all, " ")
}

func TestReadDateCode_AllReadings(t *testing.T) {
	const (
		en     = "EN and ISO hose: quarter and year"
		stamp  = "assembly stamp, DGUV Regel 113-020 section 4.1.3.2: year, then month"
		manual = "public machine manual"
		own    = "own case"
	)
	for _, c := range []struct {
		source, text string
		kind         Kind
		readings     string // the usual one first
		made         string
	}{
		{en, "2Q16", Bulk, "2Q2016", "2Q2016"},
		{en, "2Q2016", Bulk, "2Q2016", "2Q2016"},
		{en, "3q25", Bulk, "3Q2025", "3Q2025"},
		{manual, "1 Q/05", Bulk, "1Q2005", "1Q2005"},
		{manual, "1Q/05", Bulk, "1Q2005", "1Q2005"},
		{manual, "Q1/05", Bulk, "1Q2005", "1Q2005"},
		{"common practice, no source", "25Q3", Bulk, "3Q2025", "3Q2025"},
		{"common practice, no source", "25/3Q", Bulk, "3Q2025", "3Q2025"},
		{stamp, "1606", Assembly, "2016-06", "2016-06"},
		{stamp, "16/06", Assembly, "2016-06", "2016-06"},
		{stamp, "16-06", Assembly, "2016-06", "2016-06"},
		{stamp, "16.06", Assembly, "2016-06", "2016-06"},
		{stamp, "0710", Assembly, "2007-10 2010-07", "2007-10"},
		{stamp, "1207", Assembly, "2012-07 2007-12", "2007-12"},
		{stamp, "1010", Assembly, "2010-10", "2010-10"},
		{manual + ": spelt out as year/month, October 2007", "07/10", Assembly, "2007-10 2010-07", "2007-10"},
		{manual, "07/10", Bulk, "2010-07 2007-10", "2007-10"},
		{manual + ": counts from February 2004", "02/04", Bulk, "2004-02 2002-04", "2002-04"},
		{manual + ": or April 2020", "2004", Assembly, "2020-04 year 2004", "year 2004"},
		{"May 2014; as year and month it would be month 14", "0514", Bulk, "2014-05", "2014-05"},
		{"no two readings", "06/2016", Bulk, "2016-06", "2016-06"},
		{"no two readings", "2016-06", Bulk, "2016-06", "2016-06"},
		{own, "2019", Bulk, "2019", "2019"},
		{own, "1998", Bulk, "1998", "1998"},
		{own + ": 1912 is no year of hose", "1912", Assembly, "2019-12", "2019-12"},
		{own + ": a sheet has eaten the leading zero", "514", Bulk, "2014-05", "2014-05"},
		{own, "7/10", Bulk, "2010-07", "2010-07"},
		{own, "201606", Bulk, "2016-06", "2016-06"},
		{own + ": June 2016, or the 20th of it", "062016", Bulk, "2016-06 2016-06-20", "2016-06"},
		{own, "13/06/14", Bulk, "2014-06-13 2013-06-14", "2013-06-14"},
		{own + ": with points the day is first", "05.06.07", Bulk, "2007-06-05", "2007-06-05"},
		{own, "05/06/07", Bulk, "2007-06-05 2005-06-07 2007-05-06", "2005-06-07"},
		{own, "25.11.2026", Bulk, "2026-11-25", "2026-11-25"},
		{own, "Nov 2016", Bulk, "2016-11", "2016-11"},
	} {
		got, err := ReadDateCode(c.text, c.kind, quantity.Date{})
		if err != nil || dates(got.Readings) != c.readings || got.Made.String() != c.made {
			t.Errorf("%s: %q on a %s = %q, made %q, %v, want %q, %q", c.source, c.text, c.kind, dates(got.Readings), got.Made, err, c.readings, c.made)
		}
		if several := strings.Contains(strings.ReplaceAll(c.readings, "year ", ""), " "); got.Ambiguous != several || several != (len(got.Notes) > 0) {
			t.Errorf("%q: ambiguous %v, notes %q", c.text, got.Ambiguous, got.Notes)
		}
	}
}

// The manual's own example: six years from 07/10 end in October 2013, the
// storage limit of two years in October 2009.
func TestReadDateCode_AgeCountsFromTheFirstDay(t *testing.T) {
	code, err := ReadDateCode("07/10", Assembly, quantity.Date{})
	if err != nil {
		t.Fatal(err)
	}
	if got := code.Made.Start().AddMonths(72).String(); got != "2013-10-01" {
		t.Errorf("six years end on %s, want October 2013", got)
	}
	if got := code.Made.Start().AddMonths(24).String(); got != "2009-10-01" {
		t.Errorf("two years end on %s, want October 2009", got)
	}
}

func TestReadDateCode_Refuses(t *testing.T) {
	today, err := quantity.NewDate(2026, 11, 25)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ text, says string }{
		{"", "empty"},
		{"K25", "maker's own"},
		{"W1423", "maker's own"},
		{"24123", "maker's own"},
		{"5Q24", "no quarter 5"},
		{"2Q2", "not a quarter"},
		{"1313", "write it as"},
		{"13/24", "four digits"},
		{"00/00", "four digits"},
		{"1Q27", "in the future"},
		{"2712", "in the future"},
		{"12/2026", "in the future"},
		{"tomorrow", "write it as"},
		{"<b>", "write it as"},
		{strings.Repeat("1", 5000), "not a date code"},
	} {
		got, err := ReadDateCode(c.text, Bulk, today)
		if err == nil || !strings.Contains(err.Error(), c.says) || len(got.Readings) > 0 || !got.Made.IsZero() {
			t.Errorf("%.40q = %v, %v; want an error that says %q", c.text, got.Readings, err, c.says)
		}
	}
	for text, want := range map[string]string{"2004": "2020-04 year 2004", "4Q26": "4Q2026", "11/2026": "2026-11", "2612": "", "1226": "", "1227": ""} {
		got, _ := ReadDateCode(text, Assembly, today)
		if dates(got.Readings) != want {
			t.Errorf("%q by %s = %q, want %q", text, today, dates(got.Readings), want)
		}
	}
}

func TestReadDateCode_PrintedPeriodsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, m := rapid.IntRange(1990, 2060).Draw(t, "year"), rapid.IntRange(1, 12).Draw(t, "month")
		month, err1 := quantity.Month(y, m)
		quarter, err2 := quantity.Quarter(y, (m+2)/3)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		kind := rapid.SampledFrom([]Kind{Bulk, Assembly}).Draw(t, "kind")
		for _, p := range []quantity.Period{month, quarter, quantity.Day(month.To)} {
			got, err := ReadDateCode(p.String(), kind, quantity.Date{})
			if err != nil || got.Ambiguous || got.Made != p {
				t.Fatalf("%q = %v, %v", p, got, err)
			}
		}
		stamp := month.From.String()[2:4] + month.From.String()[5:7]
		got, err := ReadDateCode(stamp, Assembly, quantity.Date{})
		if err != nil || got.Readings[0].Period != month || got.Made.From.After(month.From) {
			t.Fatalf("%q = %v, %v, want %s first", stamp, got.Readings, err, month)
		}
	})
}

func FuzzReadDateCode(f *testing.F) {
	for _, s := range []string{"1606", "07/10", "2004", "0514", "3Q24", "1 Q/05", "25/3Q", "06/2016", "13.06.14", "514", "201606", "K25", "year 2004", "7/10", "//", "-1-1"} {
		f.Add(s, 0)
		f.Add(s, 739580)
	}
	f.Fuzz(func(t *testing.T, s string, day int) {
		today := quantity.DateOfDayNumber(day)
		for _, kind := range []Kind{Bulk, Assembly} {
			c, err := ReadDateCode(s, kind, today)
			if err != nil {
				if len(c.Readings) > 0 || !c.Made.IsZero() {
					t.Fatalf("%q is an error and still %v", s, c)
				}
				continue
			}
			if len(c.Readings) == 0 || c.Ambiguous != (len(c.Readings) > 1) {
				t.Fatalf("%q: %+v", s, c)
			}
			for _, r := range c.Readings {
				if r.Period.From.Before(c.Made.From) || !today.IsZero() && r.Period.From.After(today) {
					t.Fatalf("%q by %s: reading %s, made %s", s, today, r.Period, c.Made)
				}
				back, err := ReadDateCode(r.Period.String(), kind, today)
				if err != nil || back.Ambiguous || back.Made != r.Period {
					t.Fatalf("%q: reading %q comes back as %v, %v", s, r.Period, back.Readings, err)
				}
			}
		}
	})
}
