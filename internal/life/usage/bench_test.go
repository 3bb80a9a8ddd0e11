package usage_test

import (
	"testing"

	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// daily is a machine whose meter was read on n days running, the worst case
// for the window: every reading of it but the oldest lies within 180 days.
func daily(n int) (usage.Series, quantity.Date) {
	planned := 40.0
	s := usage.Series{PlannedPerWeek: &planned}
	hours, on := 1000.0, day("2025-10-01")
	x := uint32(1)
	for i := range n {
		s.Readings = append(s.Readings, usage.Reading{On: on.AddDays(i), Hours: hours})
		x = x*1664525 + 1013904223
		hours += float64(x>>24) / 255 * 12
	}
	s.LaidUp = []usage.LayUp{{From: on.AddDays(n + 30), To: on.AddDays(n + 60)}}
	return s, on.AddDays(n + 2)
}

// BenchmarkHours200 works out one machine's hours from 200 readings.
func BenchmarkHours200(b *testing.B) {
	s, asOf := daily(200)
	b.ReportAllocs()
	for b.Loop() {
		if x, err := usage.New(s, asOf); err != nil || x == nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/200000, "x-of-200µs")
}

// BenchmarkHoursWeekly200 is the same with one reading a week.
func BenchmarkHoursWeekly200(b *testing.B) {
	s, _ := daily(200)
	for i := range s.Readings {
		s.Readings[i].On = day("2023-01-02").AddDays(7 * i)
	}
	asOf := s.Readings[199].On.AddDays(3)
	b.ReportAllocs()
	for b.Loop() {
		if x, err := usage.New(s, asOf); err != nil || x == nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	s, asOf := daily(200)
	x, err := usage.New(s, asOf)
	if err != nil {
		b.Fatal(err)
	}
	t, sum := float64(s.Readings[0].On.DayNumber()), 0.0
	for b.Loop() {
		sum += x.At(usage.Likely, t+77.5)
	}
	_ = sum
}

func BenchmarkWhen(b *testing.B) {
	s, asOf := daily(200)
	x, err := usage.New(s, asOf)
	if err != nil {
		b.Fatal(err)
	}
	t, sum := float64(s.Readings[0].On.DayNumber()), 0.0
	for b.Loop() {
		u, _ := x.When(usage.Likely, t+77.5, 300)
		sum += u
	}
	_ = sum
}
