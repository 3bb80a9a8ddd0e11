package store_test

import (
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// fill puts some of everything in a register.
func fill(t testing.TB, s *store.Store) {
	t.Helper()
	apply(t, s, depot()...)
	own := life.HeightenedDemand()
	own.Name = "night shift"
	apply(t, s,
		register.AddPolicy{Policy: register.Policy{Policy: own, Source: "own choice"}},
		register.SetDuty{Kind: "refuse truck", Service: register.Service{FluidC: f64(60), Cycles: register.Cycles{{MinBar: 5, MaxBar: 180, Count: 40}}}, Note: "invented"},
		register.SetConditions{
			Machine: "RT-01", Circuit: "lift", From: day("2025-01-01"), Basis: register.Measured,
			Service: register.Service{Temperatures: register.Temperatures{{C: 60, Share: 0.7}, {C: 88, Share: 0.3}}},
		},
		register.AddKindPosition{Kind: "refuse truck", Position: register.KindPosition{Circuit: "lift", Name: "lift left", LengthMM: f64(900)}},
		register.SaveList{Name: "soon", Address: "/due?status=soon"},
		register.AddPosition{Machine: "RT-01", Name: "return", Exposed: true, Policy: "night shift"},
		register.SetConditions{Machine: "RT-01", Position: "return", From: day("2024-07-02"), Basis: register.Assumed, Service: register.Service{NoCycles: yes()}},
		hose("H-A"), fit("H-A", "lift left", "2024-07-02"),
		hose("H-B"), fit("H-B", "lift right", "2024-07-02"),
		hose("H-C"), fit("H-C", "return", "2024-07-02"),
		hose("H-D"),
		register.AddReading{Machine: "RT-01", On: day("2024-07-02"), Hours: 3120},
		register.AddReading{Machine: "RT-01", On: day("2025-07-01"), Hours: 4870},
		register.AddMeterEvent{Machine: "RT-01", On: day("2025-07-02"), OldEnd: 4874, NewStart: 0},
		register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 1974},
		register.AddLayUp{Machine: "RT-01", From: day("2025-12-20"), To: day("2026-01-07"), Reason: "holidays"},
		register.Inspect{
			Machine: "RT-01", Position: "lift left", On: day("2026-05-30"), By: "N. Ott",
			Findings: []register.NewFinding{{Number: 3, Class: life.Watch, Place: "end A", ActBy: day("2026-12-15")}},
		},
		register.Inspect{
			Machine: "RT-01", Position: "lift right", On: day("2026-05-30"), By: "N. Ott",
			Findings: []register.NewFinding{{Number: 2, Class: life.Stop}},
		},
		register.Remove{AssemblyCode: "H-B", On: day("2026-06-01"), Hours: f64(1200), Cause: register.CausePressure, FoundBy: register.FoundByInspection, Scrapped: true},
		hose("H-E"), register.Fit{AssemblyCode: "H-E", Machine: "RT-01", Position: "lift right", On: day("2026-06-01"), Hours: f64(1200), ReleasedBy: "M. Adler", Reason: "nothing else at hand"},
	)
}

func yes() *bool { v := true; return &v }
