package exchange_test

import (
	"math"
	"strings"
	"testing"

	"hoseward/internal/exchange"
)

// A text typed into a form means what it means in a cell of a sheet.
func TestTyped_ReadsAsACellOfASheet(t *testing.T) {
	pressure := exchange.TypedPressure
	length := exchange.TypedLength
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
