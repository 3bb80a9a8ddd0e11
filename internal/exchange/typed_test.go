package exchange_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
)

// A text typed into a form means what it means in a cell of a sheet.
func TestTyped_ReadsAsACellOfASheet(t *testing.T) {
	pressure := func(s string) (float64, string, error) { return exchange.TypedPressure(s, "") }
	length := func(s string) (float64, string, error) { return exchange.TypedLength(s, "") }
	hours := func(s string) (float64, string, error) {
		v, err := exchange.TypedHours(s)
		return v, "", err
	}
	for _, c := range []struct {
		why, text string
		read      func(string) (float64, string, error)
		want      float64
		note, err string
	}{
		{"a unit is told", "27.5 MPa", pressure, 275, "", ""},
		{"bar is taken for a bare number and said", "275", pressure, 275, "no unit, bar is taken", ""},
		{"700 bare can be bar", "700", pressure, 700, "bar is taken", ""},
		{"more than 700 bare can be psi", "701", pressure, 0, "", "too much for bar"},
		{"three decimals of a pressure are thousands", "1.250", pressure, 0, "", "too much for bar"},
		{"with bar they are said", "1.250 bar", pressure, 1250, "1.250 is read as 1250", ""},
		{"three decimals of a length are thousands", "1.250", length, 1250, "1.250 is read as 1250", ""},
		{"three decimals of metres are none", "1.250 m", length, 1250, "", ""},
		{"a bare length too short for mm", "1.25", length, 0, "", "too short for mm"},
		{"hours with a unit", "5 120,5 h", hours, 5120.5, "", ""},
		{"hours that can be two things", "1.260", hours, 0, "", "can be 1260 or 1.260"},
		{"hours below zero", "-3", hours, 0, "", "below zero"},
		{"nothing is no number", "", hours, 0, "", "expected a number"},
	} {
		v, note, err := c.read(c.text)
		says := ""
		if err != nil {
			says = err.Error()
		}
		if math.Abs(v-c.want) > 1e-9 || !strings.Contains(note, c.note) || (c.note == "") != (note == "") || !strings.Contains(says, c.err) || (c.err == "") != (says == "") {
			t.Errorf("%s: %q is %v, note %q, error %q", c.why, c.text, v, note, says)
		}
		if strings.Contains(says, "header") {
			t.Errorf("%s: %q speaks of a header", c.why, says)
		}
	}
}

// 1 psi = 6894.757293168 Pa and 1 in = 25.4 mm by definition (ISO 80000-4 and
// -3, international yard and pound).
func TestTyped_ABareNumberIsInTheUnitOfThePerson(t *testing.T) {
	pressure := func(u quantity.PressureUnit) func(string) (float64, string, error) {
		return func(s string) (float64, string, error) { return exchange.TypedPressure(s, u) }
	}
	length := func(u quantity.LengthUnit) func(string) (float64, string, error) {
		return func(s string) (float64, string, error) { return exchange.TypedLength(s, u) }
	}
	for _, c := range []struct {
		why, text string
		read      func(string) (float64, string, error)
		want      float64
		note, err string
	}{
		{"psi", "4000", pressure(quantity.PSI), 275.7902917267, "", ""},
		{"psi with a sign between thousands is said", "4,000", pressure(quantity.PSI), 275.7902917267, "4,000 is read as 4000", ""},
		{"another unit typed counts", "275 bar", pressure(quantity.PSI), 275, "", ""},
		{"MPa", "27,5", pressure(quantity.MPa), 275, "", ""},
		{"bar that was chosen needs no saying", "275", pressure(quantity.Bar), 275, "", ""},
		{"bar meant, MPa chosen", "275", pressure(quantity.MPa), 0, "", "too much for MPa"},
		{"psi meant, bar chosen", "4000", pressure(quantity.Bar), 0, "", "too much for bar"},
		{"more psi than a hose bears", "27500", pressure(quantity.PSI), 0, "", "too much for psi"},
		{"with its unit it is taken", "1000 bar", pressure(quantity.PSI), 1000, "", ""},
		{"inches", "49.25", length(quantity.Inch), 1250.95, "", ""},
		{"inches and a fraction", "49 1/4", length(quantity.Inch), 1250.95, "", ""},
		{"inches, fraction and unit", "49 1/4 in", length(quantity.Inch), 1250.95, "", ""},
		{"a fraction alone", "1/2", length(quantity.Inch), 12.7, "", ""},
		{"an inch sign", "49 1/4\"", length(quantity.MM), 1250.95, "", ""},
		{"inches typed, mm chosen", "49 1/4 in", length(quantity.MM), 1250.95, "", ""},
		{"another unit typed counts", "1.25 m", length(quantity.Inch), 1250, "", ""},
		{"mm that was chosen", "1250", length(quantity.MM), 1250, "", ""},
		{"metres meant, mm chosen", "1.25", length(quantity.MM), 0, "", "too short for mm"},
	} {
		v, note, err := c.read(c.text)
		says := ""
		if err != nil {
			says = err.Error()
		}
		if math.Abs(v-c.want) > 1e-9 || !strings.Contains(note, c.note) || (c.note == "") != (note == "") || !strings.Contains(says, c.err) || (c.err == "") != (says == "") {
			t.Errorf("%s: %q is %v, note %q, error %q", c.why, c.text, v, note, says)
		}
	}
}

// What a page prints in a unit goes back through a form as the same value,
// within its rounding, with nothing to tell; a rating never comes back higher.
func TestTyped_WhatAPagePrintsComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bar := quantity.Pressure(rapid.Float64Range(0, 9999).Draw(t, "bar"))
		for _, u := range []quantity.PressureUnit{quantity.Bar, quantity.MPa, quantity.PSI} {
			v, note, err := exchange.TypedPressure(bar.FormatRating(u), u)
			if err != nil || note != "" || v > float64(bar)*(1+1e-11) || v < float64(bar)-0.1001 {
				t.Fatalf("%v is printed as %s, read as %v, %q, %v", bar, bar.FormatRating(u), v, note, err)
			}
		}
		mm := quantity.Length(rapid.Float64Range(0, 99999).Draw(t, "mm"))
		for _, u := range []quantity.LengthUnit{quantity.MM, quantity.Inch} {
			v, note, err := exchange.TypedLength(mm.Format(u), u)
			if err != nil || note != "" || math.Abs(v-float64(mm)) > 0.1271 {
				t.Fatalf("%v is printed as %s, read as %v, %q, %v", mm, mm.Format(u), v, note, err)
			}
		}
	})
}

// A meter does not run back, so the last reading tells thousands from decimals.
func TestTypedReading_TheLastReadingTellsThousands(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		why, text string
		last      *float64
		want      float64
		err       string
	}{
		{"a little more than the last one", "5,801", at(5792), 5801, ""},
		{"with a point and a unit", "5.801 h", at(5792), 5801, ""},
		{"a little less, as for a day before", "5,780", at(5792), 5780, ""},
		{"no reading yet", "5,801", nil, 0, "can be 5801 or 5.801"},
		{"a new machine can be at either", "1,234", at(0.5), 0, "can be 1234 or 1.234"},
		{"far above the last one", "812,375", at(5792), 0, "can be 812375 or 812.375"},
		{"decimals as meters show them", "5801,5", at(5792), 5801.5, ""},
		{"whole hours", "5801", at(5792), 5801, ""},
		{"no number", "full", at(5792), 0, "not a plain number"},
	} {
		got, err := exchange.TypedReading(c.text, c.last)
		if got != c.want || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: %q is %v, %v", c.why, c.text, got, err)
		}
	}
}
