package web_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/web"
)

func day(t *testing.T, s string) quantity.Date {
	t.Helper()
	if s == "" {
		return quantity.Date{}
	}
	d, err := quantity.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestPath_EscapesEachSegment(t *testing.T) {
	for want, segments := range map[string][]string{
		"/machines":                    {"machines"},
		"/machines/A%2F1/readings":     {"machines", "A/1", "readings"},
		"/machines/%3Cb%3E%3Fq=%23%25": {"machines", "<b>?q=#%"},
		"/assemblies/%C3%96l%20%2204":  {"assemblies", `Öl "04`},
	} {
		if got := web.Path(segments...); got != want {
			t.Errorf("path of %q is %s, want %s", segments, got, want)
		}
	}
}

func TestDistance_SaysHowFarADayIs(t *testing.T) {
	today := day(t, "2026-11-25")
	for d, want := range map[string]string{
		"2026-11-25": "today", "2026-11-26": "in 1 day", "2026-11-24": "1 day ago", "2027-01-04": "in 40 days",
		"2027-03-25": "in 3 months", "2026-05-25": "6 months ago", "2028-11-25": "in 2 years", "2028-11-24": "in 23 months", "2030-08-26": "in 3 years 9 months", "2028-12-26": "in 2 years 1 month", "2036-11-25": "in 10 years", "2039-06-25": "in 12 years", "2018-11-24": "8 years ago", "": "",
	} {
		if got := web.Distance(day(t, d), today); got != want {
			t.Errorf("%s is %q, want %q", d, got, want)
		}
	}
}

func TestNumbers_PrintAsPeopleRead(t *testing.T) {
	f := func(v float64) *float64 { return &v }
	for _, c := range [...]struct{ what, got, want string }{
		{"four digits stay together", web.Number(4870, 0), "4870"},
		{"five digits are set apart", web.Number(12870.25, 1), "12\u202f870.2"},
		{"seven digits in two places", web.Number(-1234567, 0), "-1\u202f234\u202f567"},
		{"unknown pressure is said", web.Bar(nil), "unknown"},
		{"pressure in bar", web.Bar(f(275)), "275 bar"},
		{"hours without decimals", web.Hours(f(6843.6)), "6844 h"},
		{"a small share keeps a decimal", web.Percent(f(0.0123)), "1.2 %"},
		{"a share that is nearly nothing is not nothing", web.Percent(f(0.000001)), "under 0.1 %"},
		{"nothing is nothing", web.Percent(f(0)), "0 %"},
		{"a whole share", web.Percent(f(0.4561)), "46 %"},
		{"a share of 9.97 % is not printed as 10.0", web.Percent(f(0.0997)), "10 %"},
		{"nearly all is not all", web.Percent(f(0.9999)), "99 %"},
		{"all is all", web.Percent(f(1)), "100 %"},
		{"absurd shares are cut", web.Percent(f(77)), "over 999 %"},
		{"one hose", web.Count(1, "hose", "hoses"), "1 hose"},
		{"no hoses", web.Count(0, "hose", "hoses"), "0 hoses"},
		{"both sizes", web.Size(12, 8), "DN 12 (-8)"},
		{"no size", web.Size(0, 0), "size unknown"},
		{"no date is a dash", web.Date(quantity.Date{}), "–"},
		{"no period is unknown", web.Period(quantity.Period{}), "unknown"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.what, c.got, c.want)
		}
	}
}

func TestBand_SaysOnlyWhatIsKnown(t *testing.T) {
	a, b := day(t, "2029-01-02"), day(t, "2029-05-06")
	for _, c := range [...]struct {
		from, to quantity.Date
		want     string
	}{
		{a, b, "2029-01-02 to 2029-05-06"},
		{a, a, ""},
		{a, quantity.Date{}, "2029-01-02 or later"},
		{quantity.Date{}, quantity.Date{}, ""},
	} {
		if got := web.Band(c.from, c.to); got != c.want {
			t.Errorf("band %v %v is %q, want %q", c.from, c.to, got, c.want)
		}
	}
}

func TestStatus_EveryOneHasAClassAndAMeaning(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range []life.Status{life.StatusStop, life.StatusOverdue, life.StatusSoon, life.StatusAhead, life.StatusInService, life.StatusInStore, life.StatusRemoved} {
		class := web.StatusClass(s)
		if seen[class] {
			t.Errorf("class %s is used twice", class)
		}
		seen[class] = true
		if web.StatusText(s) == "" {
			t.Errorf("status %s has no meaning", s)
		}
	}
	for _, c := range []life.ClockName{life.ConditionClock, life.RatingClock, life.CalendarClock, life.HeatClock, life.HoursClock, life.PressureClock, life.CombinedClock} {
		if web.ClockMeaning(c) == "" {
			t.Errorf("clock %s has no meaning", c)
		}
	}
}
