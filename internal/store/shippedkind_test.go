package store_test

import (
	"testing"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// A fresh register has more than calendar dates: a machine of a shipped kind
// has temperatures, and its named circuits pressures, all marked as assumed.
func TestMigrate_AFreshRegisterHasStartingValues(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s,
			register.AddSite{Name: "Yard", Zone: "UTC"},
			register.AddMachine{Site: "Yard", Kind: "Excavator", Code: "EX-01", PlannedHoursPerWeek: new(30.0)},
			register.AddPosition{Machine: "EX-01", Circuit: "Work", Name: "boom cylinder, rod side"},
			register.AddPosition{Machine: "EX-01", Circuit: "return", Name: "cooler to tank"},
			register.AddPosition{Machine: "EX-01", Name: "somewhere"},
		)
		for _, c := range []struct {
			why, position string
			complete      bool
			bar           float64
		}{
			{"a named circuit gives pressures", "boom cylinder, rod side", true, 350},
			{"a return line is not worn by pressure, nor over its rating", "cooler to tank", true, 63},
			{"without a circuit the pressure is missing, and is said to be", "somewhere", false, 350},
		} {
			apply(t, s,
				register.AddAssembly{Site: "Yard", Assembly: register.Assembly{
					Code: "H " + c.position, Designation: "EN 853 2SN", DN: 16, RatedBar: &c.bar, RatingSource: register.RatingPrinted,
					EndABar: new(400.0), EndBBar: new(400.0), Assembled: quantity.Day(day("2025-01-01")), Made: quantity.Day(day("2024-12-01")),
				}},
				register.Fit{AssemblyCode: "H " + c.position, Machine: "EX-01", Position: c.position, On: day("2025-02-01")},
			)
			sheet, err := s.AssemblySheet(t.Context(), now, "H "+c.position)
			if err != nil {
				t.Fatal(err)
			}
			e := sheet.Line.Estimate
			if e.Complete != c.complete || e.Governing == "rating" {
				t.Errorf("%s: complete %v, missing %v, governed by %s", c.why, e.Complete, e.Missing, e.Governing)
			}
			for _, v := range sheet.Service {
				if v.Basis != register.Assumed || v.Level != register.AtKind || v.Note != register.ShippedNote {
					t.Errorf("%s: %+v is not marked as an assumed starting value", c.why, v)
				}
			}
		}
	})
}
