package quantity

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// reference reads a table of testdata/reference/calendar; its README.md names
// the sources.
func reference(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "calendar", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s has no rows", name)
	}
	return rows[1:]
}

func date(t *testing.T, s string) Date {
	t.Helper()
	d, err := ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Clamp: XML Schema 1.1 part 2 appendix E, Db2 for i manual. Overflow: checks
// the fixture itself against time.AddDate.
func TestAddMonths_Published(t *testing.T) {
	rows := reference(t, "calendar_add_months.csv")
	if len(rows) != 21 {
		t.Errorf("the table has %d rows, want 21", len(rows))
	}
	for _, r := range rows {
		n, err := strconv.Atoi(r[1])
		if err != nil {
			t.Fatal(err)
		}
		start := date(t, r[0])
		if got := start.AddMonths(n); got != date(t, r[2]) {
			t.Errorf("%s plus %d months = %s, want %s", r[0], n, got, r[2])
		}
		if got := start.In(time.UTC).AddDate(0, n, 0).Format(time.DateOnly); got != r[3] {
			t.Errorf("fixture: time.AddDate gives %s for %s plus %d months, the table %s", got, r[0], n, r[3])
		}
	}
}

func TestQuarters_Published(t *testing.T) {
	for _, r := range reference(t, "calendar_quarters.csv") {
		p, err := ParsePeriod(r[0])
		if err != nil {
			t.Errorf("%s: %v", r[0], err)
			continue
		}
		if p.Precision != ToQuarter || p.From != date(t, r[3]) || p.To != date(t, r[4]) {
			t.Errorf("%s = %s to %s (%s), want %s to %s", r[0], p.From, p.To, p.Precision, r[3], r[4])
		}
		if days := p.To.Sub(p.From) + 1; strconv.Itoa(days) != r[5] {
			t.Errorf("%s has %d days, want %s", r[0], days, r[5])
		}
		if got := p.To.AddMonths(72); got != date(t, r[6]) {
			t.Errorf("%s: last day plus 6 years = %s, want %s", r[0], got, r[6])
		}
		if got := p.To.AddMonths(120); got != date(t, r[7]) {
			t.Errorf("%s: last day plus 10 years = %s, want %s", r[0], got, r[7])
		}
	}
}

func TestOrderOfAdding_Published(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reference", "calendar", "calendar_order.json"))
	if err != nil {
		t.Fatal(err)
	}
	var order struct {
		C1 struct {
			A string `json:"a_result"`
			B string `json:"b_result"`
		}
		C2 struct{ Direct, Chained string }
		C4 struct{ Codes []string }
	}
	if err := json.Unmarshal(b, &order); err != nil {
		t.Fatal(err)
	}
	start := date(t, "2000-03-30")
	if got := start.AddDays(1).AddMonths(1).String(); got != order.C1.A || got != "2000-04-30" {
		t.Errorf("C1: a day, then a month = %s, want %s", got, order.C1.A)
	}
	if got := start.AddMonths(1).AddDays(1).String(); got != order.C1.B || got != "2000-05-01" {
		t.Errorf("C1: a month, then a day = %s, want %s", got, order.C1.B)
	}
	jan := date(t, "2024-01-31")
	if got := "2024-01-31 + 2 months = " + jan.AddMonths(2).String(); got != order.C2.Direct {
		t.Errorf("C2: %s, want %s", got, order.C2.Direct)
	}
	if got := "(2024-01-31 + 1 month) + 1 month = " + jan.AddMonths(1).AddMonths(1).String(); got != order.C2.Chained {
		t.Errorf("C2: %s, want %s", got, order.C2.Chained)
	}
	if len(order.C4.Codes) != 8 {
		t.Errorf("C4 has %d codes, want 8", len(order.C4.Codes))
	}
	for _, c := range order.C4.Codes {
		if p, err := ParsePeriod(c); err == nil {
			t.Errorf("C4: %q is read as %s, want it refused", c, p)
		}
	}
}

func anyDate(t *rapid.T) Date {
	return DateOfDayNumber(rapid.IntRange(1, MaxDate.DayNumber()).Draw(t, "day"))
}

func TestDate_AgreesWithTimePackage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t)
		y, m, day := d.YMD()
		u := time.Date(1, 1, d.DayNumber(), 0, 0, 0, 0, time.UTC)
		if uy, um, ud := u.Date(); uy != y || int(um) != m || ud != day {
			t.Fatalf("day %d is %s, the time package says %s", d.DayNumber(), d, u.Format(time.DateOnly))
		}
		back, err := NewDate(y, m, day)
		if err != nil || back != d {
			t.Fatalf("%s does not come back: %v, %v", d, back, err)
		}
	})
}

func TestDate_EveryMonthEnds(t *testing.T) {
	for y := 1895; y <= 2105; y++ {
		for m := 1; m <= 12; m++ {
			last := time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC).Day()
			if _, err := NewDate(y, m, last); err != nil {
				t.Fatalf("%d-%02d-%02d: %v", y, m, last, err)
			}
			if _, err := NewDate(y, m, last+1); err == nil {
				t.Fatalf("%d-%02d has no day %d", y, m, last+1)
			}
		}
	}
}

func TestAddMonths_Laws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t)
		n := rapid.IntRange(-1300, 1300).Draw(t, "months")
		got := d.AddMonths(n)
		if got == MinDate || got == MaxDate {
			return
		}
		y, m, day := d.YMD()
		gy, gm, gd := got.YMD()
		if gy*12+gm != y*12+m+n {
			t.Fatalf("%s plus %d months is %s: wrong month", d, n, got)
		}
		if gd != day && (gd > day || gd != daysIn(gy, gm)) {
			t.Fatalf("%s plus %d months is %s: neither the same day nor the month's end", d, n, got)
		}
		if later := d.AddDays(1).AddMonths(n); later.Before(got) {
			t.Fatalf("a later start gives an earlier day: %s and %s", got, later)
		}
	})
}

func TestDate_StaysInsideTheCalendar(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want Date
	}{
		{"days past the end stay at the last day", MaxDate.AddDays(1), MaxDate},
		{"days past the beginning stay at the first", MinDate.AddDays(-1), MinDate},
		{"the most days there are do not wrap", MinDate.AddDays(1<<62 - 1), MaxDate},
		{"months past the end", MaxDate.AddMonths(1), MaxDate},
		{"months past the beginning", MinDate.AddMonths(-1), MinDate},
		{"no date plus days is no date", Date{}.AddDays(5), Date{}},
		{"no date plus months is no date", Date{}.AddMonths(5), Date{}},
		{"an instant that is not a number is no date", DayOfInstant(nan()), Date{}},
		{"half a day belongs to its day", DayOfInstant(2.5), DateOfDayNumber(2)},
		{"a day number past the end is no date", DateOfDayNumber(MaxDate.DayNumber() + 1), Date{}},
		{"the earliest of none is none", Earliest(), Date{}},
		{"no date is not the earliest", Earliest(Date{}, MaxDate, MinDate), MinDate},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.what, c.got, c.want)
		}
	}
}

func nan() float64 { z := 0.0; return z / z }

func TestDate_StoresAndReadsBack(t *testing.T) {
	d := date(t, "2026-11-25")
	v, err := d.Value()
	if err != nil || v != "2026-11-25" {
		t.Fatalf("Value = %v, %v", v, err)
	}
	if v, err := (Date{}).Value(); v != nil || err != nil {
		t.Errorf("no date is stored as %v, %v, want NULL", v, err)
	}
	zone := time.FixedZone("west", -10*3600)
	for _, src := range []any{
		"2026-11-25", []byte("2026-11-25"), "2026-11-25T23:30:00Z", "2026-11-25 00:00:00",
		time.Date(2026, 11, 25, 23, 0, 0, 0, zone),
	} {
		var got Date
		if err := got.Scan(src); err != nil || got != d {
			t.Errorf("Scan(%v) = %q, %v", src, got, err)
		}
	}
	for _, src := range []any{nil, ""} {
		got := d
		if err := got.Scan(src); err != nil || !got.IsZero() {
			t.Errorf("Scan(%#v) = %q, %v, want no date", src, got, err)
		}
	}
	for _, src := range []any{42, "tomorrow", "2026-02-30", time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC)} {
		var got Date
		if err := got.Scan(src); err == nil {
			t.Errorf("Scan(%v) = %q, want an error", src, got)
		}
	}
	for _, c := range []struct{ json, want string }{{`"2026-11-25"`, "2026-11-25"}, {"null", ""}} {
		got := MaxDate
		if err := json.Unmarshal([]byte(c.json), &got); err != nil || got.String() != c.want {
			t.Errorf("%s = %q, %v", c.json, got, err)
		}
		if b, err := json.Marshal(got); err != nil || string(b) != c.json {
			t.Errorf("marshals to %s, %v, want %s", b, err, c.json)
		}
	}
	for _, bad := range []string{`5`, `"2026-13-01"`, `{}`, `"`} {
		var got Date
		if err := json.Unmarshal([]byte(bad), &got); err == nil {
			t.Errorf("%s is read as %q, want an error", bad, got)
		}
	}
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2026-11-25", "0001-01-01", "9999-12-31", "2026-02-30", "", "20261125", "2026-1-1", "+026-11-25"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDate(s)
		if err != nil {
			if d != (Date{}) {
				t.Fatalf("%q is an error and still %s", s, d)
			}
			return
		}
		if d.String() != s {
			t.Fatalf("%q prints as %q", s, d)
		}
	})
}
