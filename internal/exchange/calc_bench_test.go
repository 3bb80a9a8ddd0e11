package exchange

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"testing"
	"time"
)

// wantLines is how many lines a second `calc life` answers at least, on two
// cores.
const wantLines = 60000

// lineFor is a line as long as the example of the contract, different for
// each number.
func lineFor(dst []byte, i int) []byte {
	day := 1 + i%28
	return fmt.Appendf(dst, `{"id":"K-%07d","as_of":"2026-11-25","hose":{"designation":"EN 853 2SN","construction":"wire braid","tube":"NBR","dn":12,"rated_bar":275,"made":"2024-04-01","max_c":100,`+
		`"impulse_percent":133,"impulse_cycles":200000,"impulse_temp_c":100},"ends":[{"rated_bar":250},{"rated_bar":350}],`+
		`"assembled":"2024-06-%02d","fitted":"2024-07-02","fitted_hours":3120,"can_hurt":false,"fluid":"mineral oil",`+
		`"policy":{"name":"site","months_from_assembly":72,"months_from_fitting":null,"months_from_make":null,"hours_from_fitting":null,"heat_limit_months":null,`+
		`"storage_months":24,"hose_age_months":48,"inspect_months":12,"damage_limit":null,"assumed_factor":null,"heat_reference_c":null,"ea_kj":null,"combine":"earliest","peak_only":false},`+
		`"conditions":[{"from":"2024-07-02","recorded":false,"fluid_c":72,"surroundings_c":40,"temperatures":[{"c":60,"share":0.7},{"c":88,"share":0.3}],`+
		`"adapter_bar":null,"cycles":[{"min_bar":0,"max_bar":%d,"per_hour":40}]}],`+
		`"readings":[{"on":"2025-07-01","hours":4870},{"on":"2026-11-20","hours":6844}],"meter_events":[{"on":"2025-07-01","old_end":4870,"new_start":4870}],`+
		`"laid_up":[{"from":"2025-12-20","to":"2026-01-07"}],"planned_hours_per_week":35,`+
		`"findings":[{"on":"2026-05-30","class":"watch","by":"2026-12-15","released":null}],"last_inspection":"2026-05-30"}`+"\n", i, day, 150+i%100)
}

// BenchmarkCalcLife answers lines of the length of the contract's example, and
// says how many a second and how that compares with what is wanted.
func BenchmarkCalcLife(b *testing.B) {
	var file []byte
	const lines = 20000
	for i := range lines {
		file = lineFor(file, i)
	}
	b.SetBytes(int64(len(file) / lines))
	b.ReportAllocs()
	b.ResetTimer()
	began := time.Now()
	for done := 0; done < b.N; {
		n := min(lines, b.N-done)
		counts, err := CalcLife(b.Context(), bytes.NewReader(firstLines(file, n)), io.Discard, Plain)
		if err != nil || counts.Bad > 0 || counts.Lines != int64(n) {
			b.Fatal(counts, err)
		}
		done += n
	}
	perSecond := float64(b.N) / time.Since(began).Seconds()
	b.ReportMetric(perSecond, "lines/s")
	b.ReportMetric(perSecond/wantLines, "x-wanted")
	b.ReportMetric(float64(runtime.GOMAXPROCS(0)), "cores")
}

// BenchmarkCalcLife_Memory says how the most heap in use grows from a file to
// one eight times as long.
func BenchmarkCalcLife_Memory(b *testing.B) {
	for b.Loop() {
		short, long := peak(b, 10000), peak(b, 80000)
		b.ReportMetric(float64(short>>10), "KB-10000-lines")
		b.ReportMetric(float64(long>>10), "KB-80000-lines")
		b.ReportMetric(float64(long)/float64(short), "x-of-short")
	}
}

func firstLines(file []byte, n int) []byte {
	end := 0
	for range n {
		end += bytes.IndexByte(file[end:], '\n') + 1
	}
	return file[:end]
}

// BenchmarkReadLife compares reading one line with encoding/json reading it
// into structs of the same shape.
func BenchmarkReadLife(b *testing.B) {
	line := lineFor(nil, 1)
	b.Run("ours", func(b *testing.B) {
		var l LifeReader
		b.ReportAllocs()
		for b.Loop() {
			if _, _, err := l.Read(line); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("encoding-json", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			var v wireLine
			d := json.NewDecoder(bytes.NewReader(line))
			d.DisallowUnknownFields()
			if err := d.Decode(&v); err != nil {
				b.Fatal(err)
			}
		}
	})
}
