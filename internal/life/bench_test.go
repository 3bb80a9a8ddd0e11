package life_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// benchAssembly has three periods of conditions with five rows of cycles each
// on a machine with 200 readings.
func benchAssembly(b *testing.B) (life.Assembly, quantity.Date) {
	b.Helper()
	asOf := day("2026-11-25")
	s := usage.Series{}
	for i := range 200 {
		s.Readings = append(s.Readings, usage.Reading{On: asOf.AddDays(-7 * (200 - i)), Hours: float64(100 + 37*i + i%5)})
	}
	h, err := usage.New(s, asOf)
	if err != nil {
		b.Fatal(err)
	}
	a := life.Assembly{
		ID: "K-0412",
		Hose: life.Hose{
			Designation: "EN 853 2SN", Construction: "wire braid", Tube: "NBR", DN: 12, RatedBar: ptr(275.0), Made: day("2024-04-01"),
			MaxC: ptr(100.0), ImpulsePercent: ptr(133.0), ImpulseCycles: ptr(200000.0), ImpulseTempC: ptr(100.0),
		},
		EndABar: ptr(250.0), EndBBar: ptr(350.0), Assembled: day("2024-06-18"), Fitted: day("2024-07-02"),
		Policy:   life.HeightenedDemand(),
		Stints:   []life.Stint{{From: day("2024-07-02"), Hours: h}},
		Findings: []life.Finding{{On: day("2026-05-30"), Class: life.Watch, By: day("2026-12-15")}},
	}
	a.Policy.HoursFromFitting = ptr(9000.0)
	for i, from := range []string{"2024-07-02", "2025-03-01", "2026-01-15"} {
		c := life.Conditions{From: day(from), Temperatures: []life.TemperatureShare{{C: 60, Share: 0.7}, {C: 88, Share: 0.3}}}
		for j := range 5 {
			c.Cycles = append(c.Cycles, life.Cycle{MinBar: float64(5 * j), MaxBar: float64(120 + 20*j + i), Count: float64(40 - 7*j)})
		}
		a.Conditions = append(a.Conditions, c)
	}
	return a, asOf
}

func BenchmarkEstimate(b *testing.B) {
	a, asOf := benchAssembly(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := life.Of(&a, asOf); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/5000, "x-of-5µs")
}
