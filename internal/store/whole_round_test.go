package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"hoseward/internal/demo"
	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// raw runs statements for what no command says yet, or says otherwise.
func raw(t testing.TB, s *store.Store, statements ...string) {
	t.Helper()
	for _, q := range statements {
		if _, err := s.Raw().ExecContext(context.Background(), q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// spoilt are texts that sheets and documents are known to spoil.
func spoilt() []string {
	return []string{
		"=1+1", "+A1", "-2", "@SUM(A1)", "'=x", "''", "00123", "1E5", "TRUE", "null", "#N/A", "_x0041_", "_x005F_x0041_", "2024-01-01",
		" space around ", "line\nfeed", "return\r\nfeed", "tab\there", `<b>&amp;"'</b>]]>`, "😀 Ä \u00a0\u2028", "\ufffe\uffff", strings.Repeat("n", 4000), strings.Repeat("😀", 4000),
	}
}

// fillWithEverything puts in a register what a register can hold that a file
// may lose.
func fillWithEverything(t testing.TB, s *store.Store) {
	t.Helper()
	fill(t, s)
	period := func(text string) (p quantity.Period) {
		if err := p.UnmarshalText([]byte(text)); err != nil {
			t.Fatal(err)
		}
		return p
	}
	own := register.Policy{
		Policy: life.Policy{
			Name: "=own", MonthsFromAssembly: new(60), MonthsFromFitting: new(36), MonthsFromMake: new(96), HoursFromFitting: f64(2500.5), CyclesFromFitting: f64(1e12),
			HeatLimitMonths: new(50), StorageMonths: new(24), HoseAgeMonths: new(48), InspectMonths: new(12), DamageLimit: f64(0.1), AssumedFactor: f64(3),
			HeatReferenceC: f64(80.5), EaKJ: f64(77.7), CombineSum: true, PeakOnly: true, OwnCurveAlone: true, OwnCurveReason: "-tested",
		},
		ExposedInspectMonths: new(3), Source: "@source", Lengthened: "somebody, because",
	}
	var cycles register.Cycles
	for i := range 1000 {
		cycles = append(cycles, life.Cycle{MinBar: 0.1, MaxBar: 100 + float64(i)/7, Count: 1.0 / 3, Per: "=lift " + strings.Repeat("x", 90), PerHour: f64(12.345678901234567)})
	}
	apply(t, s,
		register.AddPolicy{Policy: own},
		register.AddSite{Name: "+Yard \"two\", west", Zone: "America/Chicago", Policy: "=own"},
		register.AddKind{Name: "=kind"},
		register.SetDuty{Kind: "=kind", Service: register.Service{Cycles: cycles, NoCycles: new(false), AlwaysHot: new(false)}, Note: "'=note"},
		register.SetDuty{Kind: "excavator", Circuit: "work", Service: register.Service{NoCycles: yes(), AssessedOn: day("2026-01-02")}, Note: "ours"},
		register.AddMachine{Site: "+Yard \"two\", west", Kind: "=kind", Code: "00123", Name: "-5", Serial: "1E5", CanHurt: true, Note: "1/2"},
		register.AddMachine{Site: "Depot", Code: "1E5"},
		register.AddMachine{Site: "Depot", Code: "Gone", PlannedHoursPerWeek: f64(0)},
		register.AddPosition{Machine: "00123", Circuit: "@circuit", Name: "=1+1", WalkOrder: 7, CanHurt: true, Exposed: true, Twisted: true, Policy: "=own", LengthMM: f64(0.1 + 0.2 + 900), BendMM: f64(0), StraightMM: f64(12.5)},
		register.AddPosition{Machine: "00123", Name: "00123"},
		register.AddPosition{Machine: "Gone", Circuit: "lift", Name: "was here"},
		register.SetConditions{Machine: "00123", Circuit: "@circuit", From: day("2024-01-01"), Basis: register.Measured, Service: register.Service{Cycles: cycles, Recorded: yes()}},
		register.SetConditions{Machine: "00123", Position: "=1+1", From: day("2024-01-01"), Basis: register.Assumed, Service: register.Service{FluidC: f64(-12.5), AdapterBar: f64(1.0 / 3)}, Note: "first"},
		register.SetConditions{Machine: "00123", Position: "=1+1", From: day("2024-01-01"), Basis: register.Assumed, Service: register.Service{FluidC: f64(40), WorkingBar: f64(0), SurroundingsC: f64(0), AlwaysHot: yes()}, Note: "second of the day wins"},
	)
	notes := spoilt()
	for i, note := range notes {
		code := fmt.Sprintf("%04d", i)
		apply(t, s, register.AddAssembly{Site: "Depot", Assembly: register.Assembly{
			Code: code, Layline: note, Note: note, EndA: "e", Made: period([]string{"2024-03", "3Q2024", "2024", "year 2004", "2024-02-29", ""}[i%6]), MadeText: "1E5", MadeAmbiguous: i%2 == 0,
			Unconfirmed: i%2 == 1, DN: i, Dash: i % 3, RatedBar: f64(1.0 / 3 * float64(i+1)), RatingSource: register.RatingTable, MaxC: f64(0), LengthMM: f64(1e6),
		}})
	}
	renamed := must1(s.AssemblySheet(context.Background(), now, "0000"))(t).Assembly
	for _, code := range []string{"0000-new", "H-000077", "1E5"} {
		renamed.Code = code
		apply(t, s, register.ChangeAssembly{Assembly: renamed})
		renamed.Version++
	}
	sameDay := register.Remove{AssemblyCode: "0006", On: day("2025-05-05"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent, Reason: "=tried", Seen: "+nothing"}
	at := func(code, position, on string) register.Fit {
		return register.Fit{AssemblyCode: code, Machine: "00123", Position: position, On: day(on), OnText: "05/2025"}
	}
	apply(t, s, at("0006", "=1+1", "2025-05-05"), sameDay)
	apply(t, s, at("0006", "=1+1", "2025-05-05"), sameDay)
	apply(t, s, at("0006", "=1+1", "2025-05-05"))
	apply(t, s, at("0012", "00123", "2025-05-05"))
	for _, by := range []string{"=N. Ott", "second look"} {
		apply(t, s, register.Inspect{Machine: "00123", Position: "=1+1", On: day("2025-06-06"), By: by, Note: "a\nb", Findings: []register.NewFinding{
			{Class: life.Correct, Place: "+end", Note: "@note"}, {Number: 1, Class: life.Replace, ActBy: day("2025-12-24")}, {Number: 2, Class: life.Stop},
		}})
	}
	apply(t, s, register.Inspect{Machine: "00123", Position: "=1+1", On: day("2025-06-07")})
	raw(t, s,
		"UPDATE findings SET closed_on = '2025-07-07', closed_how = 'done', closed_reason = '-done' WHERE class = 'correct'",
		"UPDATE findings SET closed_on = '2025-07-07', closed_how = 'released', closed_reason = '=released' WHERE class = 'replace'",
		"UPDATE machines SET gone_on = '2026-01-01', gone_reason = '=sold' WHERE code = 'Gone'",
		"UPDATE positions SET gone_on = '2025-12-31', gone_reason = '' WHERE name = 'was here'",
		"UPDATE assemblies SET scrapped_on = '2026-02-02', scrapped_reason = '+cut' WHERE code = '0005'",
		"INSERT INTO kind_positions (kind_id, circuit, name, walk_order, can_hurt, exposed, length_mm, note) SELECT id, '@c', '=p', 3, TRUE, FALSE, 1.7, '-n' FROM kinds WHERE name = '=kind'",
		"DELETE FROM duties WHERE circuit = 'tilt'",
	)
	apply(t, s,
		register.AddReading{Machine: "1E5", On: day("2024-01-01"), Hours: 0.1, Source: "=x", Note: "-y"},
		register.AddReading{Machine: "1E5", On: day("2024-01-02"), Hours: 1.0 / 3},
		register.AddMeterEvent{Machine: "1E5", On: day("2024-02-01"), OldEnd: 100.25, NewStart: 7, Note: "@swap"},
		register.AddLayUp{Machine: "1E5", From: day("2026-10-01"), Reason: "=winter"},
	)
	raw(t, s, "INSERT INTO readings (machine_id, on_day, hours, source, disputed, note) SELECT id, '2024-01-03', 5, 'x', TRUE, 'far off' FROM machines WHERE code = '1E5'")
}

func must1[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func TestWhole_WhatFilesSpoilComesBackEqual(t *testing.T) {
	onBoth(t, func(t *testing.T, a *store.Store) {
		fillWithEverything(t, a)
		for part, n := range must1(a.WholeCounts(context.Background()))(t) {
			if n == 0 {
				t.Errorf("there are no %s: this proves nothing of them", part)
			}
		}
		bothFormats(t, func(t *testing.T, format exchange.Format) {
			b := open(t, address(t, a.Engine()))
			mustTake(t, b, whole(t, a, format))
			sameRegister(t, a, b)
			counts := must1(b.WholeCounts(context.Background()))(t)
			for part, n := range must1(a.WholeCounts(context.Background()))(t) {
				if counts[part] != n {
					t.Errorf("%d %s, of %d", counts[part], part, n)
				}
			}
			// No code is given out again, neither a present nor a former one.
			r := apply(t, b, register.AddAssembly{Site: "Depot"})
			if r.Codes[0] != "H-000078" {
				t.Errorf("the next code is %s", r.Codes[0])
			}
			if _, err := b.Apply(context.Background(), now, me, register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "0000-NEW"}}); err == nil {
				t.Error("a former code is given again")
			}
		})
	})
}

// Whatever the fleet and the day, and again from what came back.
func TestWhole_OtherFleetsComeBackEqual(t *testing.T) {
	t.Parallel()
	for variant, daysAgo := range map[uint64]int{11: 0, 12: 97, 13: 214} {
		today := quantity.DateOf(now, now.Location()).AddDays(-daysAgo)
		first, second, third := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
		apply(t, first, demo.Fleet(variant, today)...)
		mustTake(t, second, whole(t, first, exchange.XLSX))
		sameRegister(t, first, second)
		mustTake(t, third, whole(t, second, exchange.JSON))
		sameRegister(t, first, third)
	}
}

// A whole register is of one moment: what is changed while it is read is not in
// it, or not by half.
func TestWhole_IsOfOneMoment(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		before := whole(t, s, exchange.JSON)
		var rows int
		err := s.Whole(context.Background(), func(row register.WholeRow) error {
			if rows == 0 {
				apply(t, s, register.AddMachine{Site: "Depot", Code: "LATE"}, register.AddPosition{Machine: "LATE", Name: "p"})
			}
			rows++
			if m, ok := row.(*register.WholeMachine); ok && m.Code == "LATE" {
				t.Error("a machine that was added meanwhile is there")
			}
			return nil
		})
		if err != nil || rows == 0 {
			t.Fatal(rows, err)
		}
		if string(whole(t, s, exchange.JSON)) == string(before) {
			t.Error("the change itself is not there afterwards")
		}
	})
}

// The lists show what is there now; the whole register keeps what is gone.
func TestExport_LeavesOutWhatIsGone(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		apply(t, s,
			register.AddMachine{Site: "Depot", Code: "SOLD"}, register.AddPosition{Machine: "SOLD", Name: "p"},
			register.AddReading{Machine: "SOLD", On: day("2025-01-01"), Hours: 5},
			hose("S-1"), register.Fit{AssemblyCode: "S-1", Machine: "SOLD", Position: "p", On: day("2025-01-01")},
			register.Remove{AssemblyCode: "S-1", On: day("2025-02-01"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent},
			hose("S-2"),
		)
		raw(t, s, "UPDATE machines SET gone_on = '2025-03-01' WHERE code = 'SOLD'", "UPDATE positions SET gone_on = '2026-06-02' WHERE name = 'lift right'", "UPDATE assemblies SET scrapped_on = '2026-01-01' WHERE code = 'S-2'")
		lists := exported(t, s, register.ImportMachines) + exported(t, s, register.ImportHoses) + exported(t, s, register.ImportReadings)
		for text, want := range map[string]bool{"SOLD": false, "S-1": true, "S-2": false, "lift right": false, "lift left": true, "RT-01": true} {
			if got := strings.Contains(lists, text); got != want {
				t.Errorf("%s in the lists: %v", text, got)
			}
		}
		all := string(whole(t, s, exchange.JSON))
		for _, text := range []string{"SOLD", "S-1", "S-2", "lift right"} {
			if !strings.Contains(all, text) {
				t.Errorf("%s is not in the whole register", text)
			}
		}
	})
}
