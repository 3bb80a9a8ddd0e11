package web_test

import (
	"bytes"
	"fmt"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/quantity"
	"hoseward/web"
)

// everyStyle is all styles a person can choose, and the one of whoever chose
// nothing.
func everyStyle() []web.Style {
	styles := []web.Style{{}}
	for _, p := range []quantity.PressureUnit{quantity.Bar, quantity.MPa, quantity.PSI} {
		for _, c := range []quantity.TemperatureUnit{quantity.DegC, quantity.DegF} {
			for _, l := range []quantity.LengthUnit{quantity.MM, quantity.Inch} {
				for _, d := range []quantity.DateStyle{quantity.ISO, quantity.DMY, quantity.DMYSlash, quantity.MDY} {
					styles = append(styles, web.Style{Pressure: p, Temperature: c, Length: l, Dates: d})
				}
			}
		}
	}
	return styles
}

func TestStyle_PrintsInThePersonsUnits(t *testing.T) {
	bar, hot, long := 275.0, 100.0, 1250.95
	d := day(t, "2026-03-04")
	shop := web.Style{Pressure: quantity.PSI, Temperature: quantity.DegF, Length: quantity.Inch, Dates: quantity.MDY}
	for _, c := range [...]struct{ what, got, want string }{
		{"pressure, to the nearest psi", shop.Bar(&bar), "3989 psi"},
		{"a rating is rounded down", shop.Rated(&bar), "3988 psi"},
		{"temperature", shop.Celsius(&hot), "212 °F"},
		{"the highest temperature", shop.RatedCelsius(&hot), "212 °F"},
		{"length", shop.MM(&long), "49 1/4 in"},
		{"date", shop.Date(d), "03/04/2026"},
		{"period", shop.Period(quantity.Day(d)), "03/04/2026"},
		{"band", shop.Band(d, d.AddDays(1)), "03/04/2026 to 03/05/2026"},
		{"unknown stays unknown", shop.Bar(nil) + shop.Rated(nil) + shop.Celsius(nil) + shop.RatedCelsius(nil) + shop.MM(nil), strings.Repeat("unknown", 5)},
		{"no date is a dash", shop.Date(quantity.Date{}), "–"},
		{"who chose nothing reads bar", web.Style{}.Rated(&bar) + ", " + web.Style{}.Celsius(&hot) + ", " + web.Style{}.MM(&long) + ", " + web.Style{}.Date(d), "275 bar, 100 °C, 1250.95 mm, 2026-03-04"},
		{"what is no unit is left out", web.Style{Pressure: "atm", Temperature: "K", Length: "ell", Dates: "roman"}.Known().Bar(&bar), "275 bar"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q, want %q", c.what, c.got, c.want)
		}
	}
}

// For every style, what is printed is read back as the same value within what
// it is rounded to, and a rating never as more than it is.
func TestStyle_WhatIsPrintedIsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bar := rapid.Float64Range(0, 9999).Draw(t, "bar")
		celsius := rapid.Float64Range(-99, 399).Draw(t, "degC")
		mm := rapid.Float64Range(0, 1e5).Draw(t, "mm")
		d := quantity.DateOfDayNumber(rapid.IntRange(1, quantity.MaxDate.DayNumber()).Draw(t, "day"))
		for _, s := range everyStyle() {
			p, err := quantity.ParsePressure(s.Bar(&bar), s.Pressure)
			if err != nil || float64(p) < bar-0.0501 || float64(p) > bar+0.0501 {
				t.Fatalf("%v bar in %+v: %s, read as %v, %v", bar, s, s.Bar(&bar), p, err)
			}
			if p, err = quantity.ParsePressure(s.Rated(&bar), s.Pressure); err != nil || float64(p) > bar*(1+1e-11) || float64(p) < bar-0.1001 {
				t.Fatalf("rated %v bar in %+v: %s, read as %v, %v", bar, s, s.Rated(&bar), p, err)
			}
			c, err := quantity.ParseTemperature(s.Celsius(&celsius), s.Temperature)
			if err != nil || float64(c) < celsius-0.28 || float64(c) > celsius+0.28 {
				t.Fatalf("%v °C in %+v: %s, read as %v, %v", celsius, s, s.Celsius(&celsius), c, err)
			}
			if c, err = quantity.ParseTemperature(s.RatedCelsius(&celsius), s.Temperature); err != nil || float64(c) > celsius+1e-9 || float64(c) < celsius-0.56 {
				t.Fatalf("at most %v °C in %+v: %s, read as %v, %v", celsius, s, s.RatedCelsius(&celsius), c, err)
			}
			l, err := quantity.ParseLength(s.MM(&mm), s.Length)
			if err != nil || float64(l) < mm-0.1271 || float64(l) > mm+0.1271 {
				t.Fatalf("%v mm in %+v: %s, read as %v, %v", mm, s, s.MM(&mm), l, err)
			}
			if when, note, err := quantity.ParsePeriodIn(s.Date(d), s.Dates); err != nil || when != quantity.Day(d) || note != "" {
				t.Fatalf("%s in %+v: %s, read as %v, %q, %v", d, s, s.Date(d), when, note, err)
			}
		}
	})
}

func TestHints_SayTheUnitOfABareNumber(t *testing.T) {
	for _, s := range everyStyle()[1:] {
		unit := map[quantity.PressureUnit]string{quantity.Bar: "In bar", quantity.MPa: "In MPa", quantity.PSI: "In psi"}[s.Pressure]
		if !strings.HasPrefix(s.HintPressure(), unit) {
			t.Errorf("%+v: %s", s, s.HintPressure())
		}
		degrees := map[quantity.TemperatureUnit]string{quantity.DegC: "In °C", quantity.DegF: "In °F"}[s.Temperature]
		if !strings.HasPrefix(s.HintTemperature(), degrees) {
			t.Errorf("%+v: %s", s, s.HintTemperature())
		}
		length := map[quantity.LengthUnit]string{quantity.MM: "In mm", quantity.Inch: "In inches"}[s.Length]
		if !strings.HasPrefix(s.HintLength(), length) {
			t.Errorf("%+v: %s", s, s.HintLength())
		}
		if !strings.Contains(s.HintDate(), day(t, "2026-11-25").Format(s.Dates)) || !strings.Contains(s.HintMonth(), "11/2026.") {
			t.Errorf("%+v: %s %s", s, s.HintDate(), s.HintMonth())
		}
	}
}

// Many requests ask for many styles at once; each gets a page in its own.
func TestPrinter_ConcurrentStylesDoNotMix(t *testing.T) {
	printer, err := web.NewPrinter("me", "error")
	if err != nil {
		t.Fatal(err)
	}
	d := day(t, "2026-03-04")
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for j, s := range everyStyle() {
				page, err := printer.Page("error", s)
				if err != nil {
					t.Error(err)
					return
				}
				var b bytes.Buffer
				if err := page.Execute(&b, map[string]any{"Today": d, "Title": fmt.Sprint(i, j), "Sentence": "no", "Site": "", "Machine": "", "Who": "", "Section": "", "Done": ""}); err != nil {
					t.Error(err)
				}
				if !strings.Contains(b.String(), ">"+s.Date(d)+"<") || !strings.Contains(b.String(), `datetime="2026-03-04"`) {
					t.Errorf("style %+v: a page without %s", s, s.Date(d))
				}
			}
		}()
	}
	wg.Wait()
	if _, err := printer.Page("nowhere", web.Style{}); err == nil {
		t.Error("a template nobody wrote is found")
	}
}
