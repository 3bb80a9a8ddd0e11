package demo_test

import (
	"slices"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// line is an estimated line of the fleet.
type line struct {
	machine, position, code string
	e                       register.Estimate
	status                  life.Status
}

func estimated(t *testing.T, variant uint64, today quantity.Date) (*model, []line) {
	t.Helper()
	m := filled(t, variant, today)
	byID := map[int64]*register.AssemblyFacts{}
	for i := range m.facts.Assemblies {
		byID[m.facts.Assemblies[i].Assembly.ID] = &m.facts.Assemblies[i]
	}
	var out []line
	for _, e := range register.Reestimate(&m.facts, func(int64) quantity.Date { return today }) {
		a := byID[e.AssemblyID]
		p := m.facts.Positions[a.Placements[len(a.Placements)-1].PositionID]
		if e.Problem != "" {
			t.Errorf("%s: %s", p.Name, e.Problem)
		}
		out = append(out, line{
			machine: m.facts.Machines[p.MachineID].Machine.Code, position: p.Name, code: a.Assembly.Code,
			e: e, status: life.StatusOn(e.StopOpen, e.ActBy, today),
		})
	}
	return m, out
}

// warned are the lines with a warning.
func warned(ls []line, code string) (n int) {
	for _, l := range ls {
		if slices.Contains(l.e.Warnings, code) {
			n++
		}
	}
	return n
}

func TestFleet_LooksLikeADepotOnAnyDay(t *testing.T) {
	for _, today := range days(t) {
		for variant := range uint64(3) {
			_, ls := estimated(t, variant, today)
			statuses := map[life.Status]int{}
			incomplete, lookOverdue := 0, 0
			for _, l := range ls {
				statuses[l.status]++
				if !l.e.Complete {
					incomplete++
				}
				if !l.e.InspectionDue.IsZero() && l.e.InspectionDue.Before(today) {
					lookOverdue++
				}
			}
			for _, want := range []struct {
				what      string
				n, lo, hi int
			}{
				{"open stop findings", statuses[life.StatusStop], 3, 3},
				{"overdue", statuses[life.StatusOverdue], 10, 24},
				{"soon", statuses[life.StatusSoon], 20, 35},
				{"ahead", statuses[life.StatusAhead], 12, 32},
				{"in service", statuses[life.StatusInService], 400, 480},
				{"incomplete", incomplete, 12, 24},
				{"inspections overdue", lookOverdue, 5, 45},
			} {
				if want.n < want.lo || want.n > want.hi {
					t.Errorf("variant %d on %s: %d %s, want %d to %d", variant, today, want.n, want.what, want.lo, want.hi)
				}
			}
		}
	}
}

func TestFleet_EveryClockGovernsSomewhere(t *testing.T) {
	for _, today := range days(t) {
		_, ls := estimated(t, 1, today)
		governs := map[life.ClockName]int{}
		pressing := map[life.ClockName]int{} // among what is overdue or soon
		for _, l := range ls {
			governs[l.e.Governing]++
			if l.status == life.StatusOverdue || l.status == life.StatusSoon {
				pressing[l.e.Governing]++
			}
		}
		for _, c := range []life.ClockName{
			life.ConditionClock, life.RatingClock, life.CalendarClock, life.HeatClock, life.HoursClock, life.PressureClock,
		} {
			if governs[c] < 3 {
				t.Errorf("on %s the %s clock governs %d lines, want 3 or more", today, c, governs[c])
			}
			if pressing[c] == 0 {
				t.Errorf("on %s nothing that presses is governed by the %s clock", today, c)
			}
		}
		if n := governs[life.CalendarClock]; n < 300 || n > 430 {
			t.Errorf("on %s the calendar governs %d lines, want most", today, n)
		}
	}
}

func TestFleet_HasSomeOfEachTrouble(t *testing.T) {
	for _, today := range days(t) {
		for variant := range uint64(3) {
			m, ls := estimated(t, variant, today)
			for _, want := range []struct {
				code   string
				lo, hi int
			}{
				{life.WarnOverRating, 3, 8},
				{life.WarnOver200, 1, 2},
				{life.WarnOverTemperature, 1, 2},
				{life.WarnRatingUnconfirmed, 6, 60},
				{life.WarnBendTooTight, 1, 2},
				{life.WarnHoseTooOld, 2, 3},
				{life.WarnStoredTooLong, 1, 4},
				{life.WarnTableDiffers, 1, 1},
				{life.WarnMixedMakers, 5, 40},
				{life.WarnTwisted, 2, 2},
				{life.WarnDateAmbiguous, 1, 1},
				{life.WarnDataMissing, 15, 60},
				{life.WarnReadingsStale, 3, 10},
				{life.WarnLimitLengthened, 4, 6},
			} {
				if n := warned(ls, want.code); n < want.lo || n > want.hi {
					t.Errorf("variant %d on %s: %d lines warn %s, want %d to %d", variant, today, n, want.code, want.lo, want.hi)
				}
			}
			if len(m.released) != 1 {
				t.Errorf("variant %d on %s: %d releases of what was stored too long, want 1", variant, today, len(m.released))
			}
		}
	}
}

// The troubles people are told to look for are where they are told to be.
func TestFleet_TroublesAreWhereTheyBelong(t *testing.T) {
	today := date(t, "2026-11-25")
	m, ls := estimated(t, 1, today)
	find := func(machine, position string) line {
		for _, l := range ls {
			if l.machine == machine && l.position == position {
				return l
			}
		}
		t.Errorf("nothing sits at %s %s", machine, position)
		return line{}
	}
	for _, row := range []struct {
		machine, position string
		status            life.Status
		governing         life.ClockName
	}{
		{"RT-04", "packer plate cylinder right, piston side", life.StatusOverdue, life.RatingClock},
		{"VM-03", "flail motor, supply", life.StatusOverdue, life.RatingClock},
		{"BL-01", "dipper cylinder, rod side", life.StatusStop, life.ConditionClock},
		{"RT-03", "pump outlet to lift valve", life.StatusOverdue, life.PressureClock},
		{"RT-03", "carriage cylinder right, rod side", life.StatusOverdue, life.HoursClock},
		{"WL-01", "gearbox to cooler", life.StatusOverdue, life.HeatClock},
		{"SW-01", "left brush motor, supply", life.StatusSoon, life.CalendarClock},
		{"RT-05", "packer plate cylinder left, rod side", life.StatusSoon, life.ConditionClock},
	} {
		l := find(row.machine, row.position)
		if l.status != row.status || l.e.Governing != row.governing {
			t.Errorf("%s %s is %s by %s, want %s by %s", row.machine, row.position, l.status, l.e.Governing, row.status, row.governing)
		}
	}
	for _, row := range [][2]string{{"SK-01", "stabiliser cylinder left, rod side"}, {"WC-01", "feed roller lift cylinder, rod side"}, {"SW-03", "hopper door cylinder"}} {
		if find(row[0], row[1]).e.Complete {
			t.Errorf("%s %s is complete, though something about it is not known", row[0], row[1])
		}
	}
	months := 0 // fit dates known to the month
	for _, a := range m.inOrder {
		for _, p := range a.Placements {
			if strings.Contains(p.FromText, "/") {
				months++
			}
		}
	}
	if months == 0 {
		t.Error("no fit date is known to the month only")
	}
	for _, l := range ls {
		if l.machine == "PL-01" && !l.e.CanHurt {
			t.Errorf("a burst at %s of the platform lift can hurt nobody?", l.position)
		}
	}
}
