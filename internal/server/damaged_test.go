package server_test

import (
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// A hose that came off because of damage does not go back on a machine as if
// nothing had been found.
func TestFit_ADamagedHoseWantsARelease(t *testing.T) {
	s := depot(t)
	s.apply(
		register.AddPosition{Machine: "RT-01", Name: "left"}, register.AddPosition{Machine: "RT-01", Name: "right"},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "A-1", Designation: "EN 853 2SN", DN: 12}},
		register.Fit{AssemblyCode: "A-1", Machine: "RT-01", Position: "left", On: day("2026-05-04")},
		register.Inspect{Machine: "RT-01", Position: "left", On: day("2026-08-03"), Findings: []register.NewFinding{{Number: 2, Class: life.Stop}}},
		register.Remove{AssemblyCode: "A-1", On: day("2026-08-03"), Cause: register.CauseOutside, FoundBy: register.FoundByInspection})
	for path, values := range map[string][]string{
		"/assemblies/A-1/fit": {"machine", "RT-01", "position", "right", "on", "2026-08-10"},
	} {
		r := s.fill(path+"?machine=RT-01", values...)
		if page := body(t, r); r.StatusCode != 422 || !strings.Contains(page, "nobody released it") {
			t.Errorf("%s: taken without a release, status %d", path, r.StatusCode)
		}
		if got := s.sits("RT-01", "right"); got != "" {
			t.Fatalf("%s fitted %s", path, got)
		}
		s.told(path, s.fill(path+"?machine=RT-01", append(values, "released_by", "a manager", "reason", "new cover sleeve, pressure tested")...))
		if got := s.sits("RT-01", "right"); got != "A-1" {
			t.Errorf("%s: released and not fitted: %q", path, got)
		}
	}
}
