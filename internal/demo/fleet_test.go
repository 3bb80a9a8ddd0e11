package demo_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/demo"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// days are the days the fleet is looked at: one in each season, the first and
// last of months, a leap day, and days years apart.
func days(t *testing.T) []quantity.Date {
	t.Helper()
	var out []quantity.Date
	for _, s := range []string{
		"2026-11-25", "2026-01-01", "2027-03-31", "2028-02-29", "2026-06-15", "2027-08-01", "2031-10-10", "2026-04-20", "2024-12-31",
	} {
		out = append(out, date(t, s))
	}
	return out
}

func date(t *testing.T, s string) quantity.Date {
	t.Helper()
	d, err := quantity.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// filled is the model after all commands of a fleet, none refused.
func filled(t *testing.T, variant uint64, today quantity.Date) *model {
	t.Helper()
	m := newModel(today)
	for i, c := range demo.Fleet(variant, today) {
		if err := m.apply(c); err != nil {
			t.Fatalf("variant %d on %s: command %d, %#v: %v", variant, today, i, c, err)
		}
	}
	for _, a := range m.inOrder {
		m.facts.Assemblies = append(m.facts.Assemblies, *a)
	}
	return m
}

func TestFleet_SameVariantAndDayGiveTheSameCommands(t *testing.T) {
	today := date(t, "2026-11-25")
	if !reflect.DeepEqual(demo.Fleet(1, today), demo.Fleet(1, today)) {
		t.Error("two fleets of the same variant and day differ")
	}
	if reflect.DeepEqual(demo.Fleet(1, today), demo.Fleet(2, today)) {
		t.Error("two variants give the same fleet")
	}
}

func TestFleet_MovesWithToday(t *testing.T) {
	today := date(t, "2026-11-25")
	newest := func(today quantity.Date) (last quantity.Date) {
		for _, c := range demo.Fleet(1, today) {
			if r, ok := c.(register.AddReading); ok && r.On.After(last) {
				last = r.On
			}
		}
		return last
	}
	a, b := newest(today), newest(today.AddDays(400))
	if gap := b.Sub(a); gap < 380 || gap > 420 {
		t.Errorf("400 days later the newest reading is %d days later (%s, %s)", gap, a, b)
	}
	if today.Sub(a) > 14 {
		t.Errorf("newest reading %s is long before %s", a, today)
	}
}

func TestFleet_NoRegisterRefusesIt(t *testing.T) {
	for _, today := range days(t) {
		for variant := range uint64(3) {
			filled(t, variant, today)
		}
	}
}

// Whatever the day and the variant: nothing is refused, and an estimate can be
// made of everything that is installed.
func TestFleet_HoldsOnAnyDay(t *testing.T) {
	first := date(t, "2015-01-01")
	rapid.Check(t, func(r *rapid.T) {
		variant := rapid.Uint64().Draw(r, "variant")
		today := first.AddDays(rapid.IntRange(0, 80*365).Draw(r, "days"))
		m := newModel(today)
		for i, c := range demo.Fleet(variant, today) {
			if err := m.apply(c); err != nil {
				r.Fatalf("on %s: command %d, %#v: %v", today, i, c, err)
			}
		}
		for _, a := range m.inOrder {
			m.facts.Assemblies = append(m.facts.Assemblies, *a)
		}
		for _, e := range register.Reestimate(&m.facts, func(int64) quantity.Date { return today }) {
			if e.Problem != "" {
				r.Fatalf("on %s: %s", today, e.Problem)
			}
		}
	})
}

func TestFleet_TakesAnyDay(t *testing.T) {
	for _, d := range []quantity.Date{{}, quantity.MinDate, date(t, "2014-12-31"), date(t, "2140-01-01")} {
		today := d
		if first := date(t, "2015-01-01"); d.Before(first) {
			today = first
		}
		m := newModel(today)
		for _, c := range demo.Fleet(3, d) {
			if err := m.apply(c); err != nil {
				t.Fatalf("on %q: %v", d, err)
			}
		}
	}
}

func TestFleet_HasTheSizeOfADepot(t *testing.T) {
	for _, today := range days(t) {
		m := filled(t, 1, today)
		if n := len(m.machines); n < 22 || n > 28 {
			t.Errorf("%d machines, want 25 or so", n)
		}
		if n := len(m.where); n < 460 || n > 540 {
			t.Errorf("%d positions, want 500 or so", n)
		}
		if n := len(m.removals); n < 60 || n > 130 {
			t.Errorf("on %s: %d removals, want about 100", today, n)
		}
		if empty := len(m.where) - len(m.sits); empty < 1 || empty > 4 {
			t.Errorf("%d empty positions, want a few", empty)
		}
		stock := 0
		for _, a := range m.inOrder {
			if len(a.Placements) == 0 {
				stock++
			}
		}
		if stock != 12 {
			t.Errorf("%d spares in store, want 12", stock)
		}
		readings := 0
		for code, f := range m.machines {
			readings += len(f.Readings)
			for i := 1; i < len(f.LayUps); i++ {
				if f.LayUps[i].From.Before(f.LayUps[i-1].To) {
					t.Errorf("%s: lay-ups overlap", code)
				}
			}
		}
		if readings < 600 {
			t.Errorf("%d readings, want three years of monthly ones", readings)
		}
	}
}

func TestFleet_RemovalsHaveEveryCause(t *testing.T) {
	for variant := range uint64(5) {
		m := filled(t, variant, date(t, "2026-11-25"))
		n := map[register.Cause]int{}
		found := map[register.FoundBy]int{}
		for _, r := range m.removals {
			n[r.Cause]++
			found[r.FoundBy]++
		}
		for _, c := range register.Causes() {
			if n[c] == 0 {
				t.Errorf("variant %d: no removal for cause %s (%v)", variant, c, n)
			}
		}
		if found[register.FoundByEvent] == 0 || found[register.FoundByInspection] == 0 {
			t.Errorf("variant %d: removals found by %v, want both ways", variant, found)
		}
	}
}

func TestFleet_InspectionsHaveEveryClass(t *testing.T) {
	m := filled(t, 1, date(t, "2026-11-25"))
	n := map[life.Class]int{}
	for _, l := range m.looks {
		if len(l.Findings) == 0 {
			n[life.Sound]++
		}
		for _, f := range l.Findings {
			n[f.Class]++
		}
		if !strings.HasSuffix(l.By, ".") {
			t.Errorf("inspection by %q: people are a role and a letter", l.By)
		}
	}
	open := 0 // on what is still installed
	for _, a := range m.inOrder {
		for _, f := range a.Findings {
			if f.ClosedOn.IsZero() {
				open++
			}
		}
	}
	if open != 22 {
		t.Errorf("%d findings are open, want the 22 that are listed", open)
	}
	for _, c := range []life.Class{life.Stop, life.Replace, life.Correct, life.Watch, life.Sound} {
		if n[c] == 0 {
			t.Errorf("no inspection with class %s", c)
		}
	}
}

func TestFleet_SeasonalMachinesRestOutOfSeason(t *testing.T) {
	m := filled(t, 1, date(t, "2026-11-25"))
	for _, row := range []struct {
		machine string
		month   int
	}{{"GR-01", 7}, {"SP-02", 8}, {"VM-01", 1}, {"VM-03", 2}} {
		f := m.machines[row.machine]
		if len(f.LayUps) == 0 {
			t.Errorf("%s was never laid up", row.machine)
		}
		for i := 1; i < len(f.Readings); i++ {
			a, b := f.Readings[i-1], f.Readings[i]
			_, ma, _ := a.On.YMD()
			_, mb, _ := b.On.YMD()
			if ma == row.month && mb == row.month && a.Hours != b.Hours {
				t.Errorf("%s ran in month %d", row.machine, row.month)
			}
			for _, l := range f.LayUps {
				if !a.On.Before(l.From) && !l.To.IsZero() && !b.On.After(l.To) && a.Hours != b.Hours {
					t.Errorf("%s ran from %s to %s while laid up", row.machine, a.On, b.On)
				}
			}
		}
		if first, last := f.Readings[0], f.Readings[len(f.Readings)-1]; last.Hours <= first.Hours {
			t.Errorf("%s never ran", row.machine)
		}
	}
	if len(m.machines["SW-02"].Events) != 1 {
		t.Error("no meter was replaced")
	}
}

func TestFleet_NamesNoMakerButInventedOnes(t *testing.T) {
	invented := []string{"", "TESTCO", "MUSTERSCHLAUCH", "NOWHERE HYDRAULICS", "MUSTERWERK"}
	for _, a := range filled(t, 4, date(t, "2026-11-25")).inOrder {
		if !slices.Contains(invented, a.Assembly.Maker) || !slices.Contains(invented, a.Assembly.EndMake) {
			t.Errorf("%s: makers %q and %q", a.Assembly.Code, a.Assembly.Maker, a.Assembly.EndMake)
		}
	}
}

func filledCommands(t *testing.T) []register.Command {
	t.Helper()
	return demo.Fleet(1, date(t, "2026-11-25"))
}
