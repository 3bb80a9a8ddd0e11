package demo_test

import (
	"math"
	"testing"

	"hoseward/internal/hose"
	"hoseward/internal/register"
)

// readable are the laylines of a fleet with what the register was told of them.
func readable(t *testing.T) []register.Assembly {
	t.Helper()
	var out []register.Assembly
	for _, c := range filledCommands(t) {
		if a, ok := c.(register.AddAssembly); ok && a.Assembly.Layline != "" {
			out = append(out, a.Assembly)
		}
	}
	if len(out) < 500 {
		t.Fatalf("%d laylines, want most assemblies to have one", len(out))
	}
	return out
}

func TestFleet_LaylinesSayWhatTheRegisterWasTold(t *testing.T) {
	ambiguous := 0
	for _, a := range readable(t) {
		l := hose.ReadLayline(a.Layline)
		if l.Size.DN != a.DN || l.Size.Dash != a.Dash {
			t.Errorf("%q is read as %s, not DN %d -%d", a.Layline, l.Size, a.DN, a.Dash)
		}
		if l.Made != a.Made {
			t.Errorf("%q is read as made %s, not %s", a.Layline, l.Made, a.Made)
		}
		if l.Ambiguous != a.MadeAmbiguous {
			t.Errorf("%q: ambiguous is %t, want %t: %v", a.Layline, l.Ambiguous, a.MadeAmbiguous, l.Notes)
		}
		if l.Ambiguous {
			ambiguous++
		}
		switch {
		case a.RatingSource == register.RatingTable && l.RatedBar != nil:
			t.Errorf("%q prints a pressure, but the rating is said to be from the table", a.Layline)
		case a.RatingSource == register.RatingPrinted && (l.RatedBar == nil || math.Abs(*l.RatedBar-*a.RatedBar) > 0.01**a.RatedBar):
			t.Errorf("%q is read as %v bar, not %g", a.Layline, l.RatedBar, *a.RatedBar)
		}
	}
	if ambiguous != 1 {
		t.Errorf("%d laylines are ambiguous, want 1", ambiguous)
	}
}

// Ratings are those of the published tables that package hose ships with their
// sources, but for one hose that prints less and the thermoplastic lines, which it does
// not have.
func TestFleet_RatingsAreThePublishedOnes(t *testing.T) {
	off := map[string]int{}
	for _, a := range readable(t) {
		rows, ok := hose.Lookup(a.Designation, hose.Size{DN: a.DN, Dash: a.Dash})
		if !ok || len(rows) == 0 {
			off["not in the tables: "+a.Designation]++
			continue
		}
		near := false
		for _, r := range rows {
			near = near || math.Abs(r.RatedBar-*a.RatedBar) <= 0.01*r.RatedBar
			if r.Construction != "" && r.Construction != a.Construction {
				t.Errorf("%s is %s, not %s", a.Designation, r.Construction, a.Construction)
			}
			if math.Abs(r.MaxC-*a.MaxC) > 1 {
				t.Errorf("%s stands %g °C, not %g", a.Designation, r.MaxC, *a.MaxC)
			}
		}
		if !near {
			off["differs: "+a.Designation]++
		}
	}
	for what, n := range off {
		switch {
		case what == "not in the tables: SAE 100R7" && n == 4:
		case what == "differs: EN 853 2SN" && n == 1:
		default:
			t.Errorf("%d ratings: %s", n, what)
		}
	}
}
