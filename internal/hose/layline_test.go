package hose

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"hoseward/internal/quantity"

	"pgregory.net/rapid"
)

// lineCase is a printed line and what it must be read as. rated 0 is "none
// printed"; dn 0 is "size unknown".
type lineCase struct {
	source                string
	text                  string
	standard, designation string
	dn, dash              int
	rated                 float64
	made                  string // as a period prints
	readings              int    // of the date
	ambiguous             bool
	notes                 []string // parts of notes that must be there
}

func (c lineCase) check(t *testing.T) {
	t.Helper()
	l := ReadLayline(c.text)
	rated := 0.0
	if l.RatedBar != nil {
		rated = *l.RatedBar
	}
	if l.Standard != c.standard || l.Designation.String() != c.designation {
		t.Errorf("%s\n%q: standard %q, designation %q, want %q, %q", c.source, c.text, l.Standard, l.Designation, c.standard, c.designation)
	}
	if l.Size != (Size{DN: c.dn, Dash: c.dash}) {
		t.Errorf("%s\n%q: size %+v, want DN %d -%d", c.source, c.text, l.Size, c.dn, c.dash)
	}
	if math.Abs(rated-c.rated) > 0.005 {
		t.Errorf("%s\n%q: rated %v bar, want %v", c.source, c.text, rated, c.rated)
	}
	if l.Made.String() != c.made || len(l.MadeReadings) != c.readings {
		t.Errorf("%s\n%q: made %q, readings %v, want %q and %d", c.source, c.text, l.Made, l.MadeReadings, c.made, c.readings)
	}
	if l.Ambiguous != c.ambiguous {
		t.Errorf("%s\n%q: ambiguous %v, want %v; notes %q", c.source, c.text, l.Ambiguous, c.ambiguous, l.Notes)
	}
	for _, n := range c.notes {
		if !slices.ContainsFunc(l.Notes, func(have string) bool { return strings.Contains(have, n) }) {
			t.Errorf("%s\n%q: no note says %q: %q", c.source, c.text, n, l.Notes)
		}
	}
}

// The eleven example lines are made up after the marking rules of EN 853 to
// 857, the ISO and SAE hose standards and DGUV Regel 113-020; maker names are
// invented.
func TestReadLayline_Examples(t *testing.T) {
	const rules = "example in the form of DGUV Regel 113-020 section 4.1.3"
	for _, c := range []lineCase{
		{
			source: "01, " + rules + ".1", text: "TESTCO/EN 853/2SN/DN 10/2Q16",
			standard: "EN 853", designation: "EN 853 2SN", dn: 10, dash: 6, made: "2Q2016", readings: 1,
			notes: []string{"no rating is printed", "the table has 330 bar"},
		},
		{
			source: "02, bare nominal bore between dashes", text: "MUSTERSCHLAUCH - EN 853:2015 - 1SN - 12 - MAX WP 160 BAR / 16.0 MPa - 3Q25",
			standard: "EN 853", designation: "EN 853 1SN", dn: 12, dash: 8, rated: 160, made: "3Q2025", readings: 1,
			notes: []string{`"12" is read as DN 12`},
		},
		{
			source: "03, year before quarter", text: "TESTCO  EN 856 4SH 25  380 BAR (5500 PSI)  25Q3  MADE IN NOWHERE",
			standard: "EN 856", designation: "EN 856 4SH", dn: 25, dash: 16, rated: 380, made: "3Q2025", readings: 1,
		},
		{
			source: "04, part of an ISO number before the type", text: "TESTCO / ISO 1436-2 SN/R2ATS / 16 / 25.0 MPa (250 bar) / 2Q17",
			standard: "ISO 1436-2", designation: "ISO 1436 R2ATS", dn: 16, dash: 10, rated: 250, made: "2Q2017", readings: 1,
			notes: []string{`"16" is read as DN 16`},
		},
		{
			source: "05, decimal commas, month and year", text: "TESTCO ISO 18752-2 BC - 12,5 - 350 BAR - 35,0 MPa - 10/2024",
			standard: "ISO 18752-2", designation: "ISO 18752 BC", dn: 12, dash: 8, rated: 350, made: "2024-10", readings: 1,
		},
		{
			source: "06, four digits without separator behind another number", text: `NOWHERE HYDRAULICS SAE 100R2AT-8 1/2" (12.7MM) WP 4000 PSI (27.5 MPa) FLAME RESISTANT MINE NO. 0000 0514`,
			standard: "SAE J517", designation: "SAE 100R2AT", dn: 12, dash: 8, rated: 275, made: "2014-05", readings: 1,
		},
		{
			source: "07, inches as a decimal, lot number", text: "TESTCO 100R13-16 1.00 IN WP 5000PSI 345 BAR  4Q19  LOT A17",
			standard: "SAE J517", designation: "SAE 100R13", dn: 25, dash: 16, rated: 345, made: "4Q2019", readings: 1,
		},
		{
			source: "08, all three names of a size, quarter with a space and slash", text: `EN 857 2SC DN19 3/4" -12 W.P. 215 bar TESTCO 1 Q/05`,
			standard: "EN 857", designation: "EN 857 2SC", dn: 19, dash: 12, rated: 215, made: "1Q2005", readings: 1,
		},
		{
			source: "09, ferrule, " + rules + ".2", text: "TESTCO/330bar/1606",
			rated: 330, made: "2016-06", readings: 1,
		},
		{
			source: "10, tag with an identity number", text: "MUSTERWERK  33,0 MPa  16-06   ID 004711",
			rated: 330, made: "2016-06", readings: 1,
		},
		{
			source: "11, two standards on one hose", text: `TESTCO EN 853 2SN / SAE 100 R2AT DN 6 1/4" MAX. W.P. 400 BAR 5800 PSI 1Q2026`,
			standard: "EN 853", designation: "EN 853 2SN", dn: 6, dash: 4, rated: 400, made: "1Q2026", readings: 1,
			notes: []string{"SAE 100R2AT"},
		},
	} {
		c.check(t)
	}
	for text, want := range map[string]Kind{"TESTCO/330bar/1606": Assembly, "TESTCO/EN 853/2SN/DN 10/2Q16": Bulk} {
		if got := ReadLayline(text).Kind; got != want {
			t.Errorf("%q is the mark of a %s, want %s", text, got, want)
		}
	}
}

func TestReadLayline_Traps(t *testing.T) {
	const (
		manual   = "public machine manual"
		practice = "common practice, no source"
		burst    = "rubber industry hose handbook: a burst pressure must not be taken for a rating"
		own      = "own case"
	)
	for _, c := range []lineCase{
		{
			source: manual + ": 07/10 is spelt out as year/month", text: "TESTCO 330 bar 07/10",
			rated: 330, made: "2007-10", readings: 2, ambiguous: true, notes: []string{"October 2007 (year/month) or July 2010 (month/year)"},
		},
		{
			source: manual + ": 2004 there is February 2004 written 02/04", text: "EN 853 2SN DN12 275 BAR 02/04",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "2002-04", readings: 2, ambiguous: true,
		},
		{
			source: manual + ": the year, or April 2020", text: "TESTCO 330 bar 2004",
			rated: 330, made: "year 2004", readings: 2, ambiguous: true,
		},
		{
			source: manual + ": 1Q/05, Q1/05", text: "EN 853 1SN DN 8 215 bar Q1/05",
			standard: "EN 853", designation: "EN 853 1SN", dn: 8, dash: 5, rated: 215, made: "1Q2005", readings: 1,
		},
		{
			source: practice + ": 25/3Q", text: "EN 853 1SN DN 8 215 bar 25/3Q",
			standard: "EN 853", designation: "EN 853 1SN", dn: 8, dash: 5, rated: 215, made: "3Q2025", readings: 1,
		},
		{
			source: practice + ": a maker's week code is kept, not read", text: "EN 853 1SN DN 8 215 bar W1423",
			standard: "EN 853", designation: "EN 853 1SN", dn: 8, dash: 5, rated: 215, notes: []string{`"W1423" may be a maker's own`, "no date of manufacture"},
		},
		{
			source: practice + ": a maker's letter code", text: "EN 853 1SN DN 8 215 bar K25",
			standard: "EN 853", designation: "EN 853 1SN", dn: 8, dash: 5, rated: 215, notes: []string{`"K25" may be a maker's own`},
		},
		{
			source: practice + ": year and day of the year", text: "EN 853 1SN DN 8 215 bar 24123",
			standard: "EN 853", designation: "EN 853 1SN", dn: 8, dash: 5, rated: 215, notes: []string{`"24123" may be a maker's own`},
		},
		{
			source: burst, text: "SAE 100R2AT-8 BURST 16000 PSI 3Q20",
			standard: "SAE J517", designation: "SAE 100R2AT", dn: 12, dash: 8, made: "3Q2020", readings: 1, notes: []string{"burst pressure, not the rating", "no rating is printed"},
		},
		{
			source: burst, text: "SAE 100R2AT-8 MIN. BURST PRESSURE 16,000 PSI (1103 BAR) WP 4,000 PSI (275 BAR) 3Q20",
			standard: "SAE J517", designation: "SAE 100R2AT", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1, notes: []string{"1103 bar is the burst"},
		},
		{
			source: burst, text: "2SN DN12 275 BAR WP 1100 BAR BP 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1,
		},
		{
			source: burst, text: "2SN DN12 B.P. 1100 BAR T.P. 550 BAR W.P. 275 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1,
		},
		{
			source: burst, text: "2SN DN12 550 BAR TP 1100 BAR BP 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, made: "3Q2020", readings: 1,
		},
		{
			source: burst, text: "2SN DN12 THE BURST PRESSURE OF THIS EXCELLENT HOSE IS NOT LESS THAN 1100 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, made: "3Q2020", readings: 1,
		},
		{
			source: "two pressures that do not agree: the lower", text: "EN 853 2SN DN12 275 BAR 4800 PSI 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1, notes: []string{"both printed; the lower is taken"},
		},
		{
			source: "two pressures that do not agree: the lower, in psi", text: "EN 853 2SN DN12 275 BAR 3500 PSI 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 241.32, made: "3Q2020", readings: 1, notes: []string{"both printed; the lower is taken"},
		},
		{
			source: "280 bar and 4000 psi are the same figure rounded differently", text: "EN 856 R12 DN25 4000 PSI WP 280 BAR 3Q20",
			standard: "EN 856", designation: "EN 856 R12", dn: 25, dash: 16, rated: 280, made: "3Q2020", readings: 1,
		},
		{
			source: "old and current 100R2AT: without a printed pressure the lower", text: "SAE 100R2AT-8 3Q05",
			standard: "SAE J517", designation: "SAE 100R2AT", dn: 12, dash: 8, made: "3Q2005", readings: 1, notes: []string{"241.3 bar is taken"},
		},
		{
			source: own + ": a bare number that fits the pressure only as a dash number", text: "EN 853 2SN 12 215 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", rated: 215, made: "3Q2020", readings: 1, ambiguous: true, notes: []string{"fits the other"},
		},
		{
			source: own + ": SAE hose is marked with its dash number", text: "SAE 100R2AT 16 3Q20",
			standard: "SAE J517", designation: "SAE 100R2AT", dn: 25, dash: 16, made: "3Q2020", readings: 1, notes: []string{"dash number"},
		},
		{
			source: own + ": names of a size that contradict one another", text: `EN 853 2SN DN12 3/4" 275 BAR 3Q20`,
			standard: "EN 853", designation: "EN 853 2SN", rated: 275, made: "3Q2020", readings: 1, ambiguous: true, notes: []string{"contradict"},
		},
		{
			source: "one public table: 100R5 -8 is DN 10", text: "SAE 100R5-8 3Q20",
			standard: "SAE J517", designation: "SAE 100R5", dn: 10, dash: 8, made: "3Q2020", readings: 1, notes: []string{"sized by tube"},
		},
		{
			source: own + ": a tube size that was read nowhere", text: "SAE 100R14-10 3Q20",
			standard: "SAE J517", designation: "SAE 100R14", made: "3Q2020", readings: 1, notes: []string{"no size known here for this type"},
		},
		{
			source: own + ": a temperature is no dash number", text: "EN 853 2SN DN 12 275 BAR -40/+100 °C 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1,
		},
		{
			source: own + ": MADE IN is no inch", text: "EN 853 2SN DN 16 250 BAR 16 MADE IN NOWHERE 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 16, dash: 10, rated: 250, made: "3Q2020", readings: 1,
		},
		{
			source: own + ": DN 6 1/4 is not six and a quarter", text: "2SN DN 6 1/4 400 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 6, dash: 4, rated: 400, made: "3Q2020", readings: 1,
		},
		{
			source: own + ": two dates: the earlier", text: "EN 853 2SN DN 12 275 BAR 3Q20 1Q18",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "1Q2018", readings: 2, ambiguous: true,
		},
		{
			source: own + ": a weak code beside a quarter is left, and said", text: "EN 853 2SN DN 12 275 BAR 3Q20 1606",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1, notes: []string{`"1606" could also be a date`},
		},
		{
			source: own + ": a fifth quarter", text: "EN 853 2SN DN 12 275 BAR 5Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, notes: []string{"not a quarter"},
		},
		{
			source: own + ": month by name", text: "EN 853 2SN DN 12 275 BAR MAY 2019",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "2019-05", readings: 1,
		},
		{
			source: own + ": 5 000 psi with a space", text: "EN 856 R13 DN 25 5 000 PSI 3Q20",
			standard: "EN 856", designation: "EN 856 R13", dn: 25, dash: 16, rated: 344.738, made: "3Q2020", readings: 1,
		},
		{
			source: own + ": a size before 400 psi is no thousand", text: "100R6 6 400 PSI 3Q20",
			standard: "SAE J517", designation: "SAE 100R6", dn: 10, dash: 6, rated: 27.579, made: "3Q2020", readings: 1, notes: []string{"enter it"},
		},
		{
			source: own + ": the unit before the number", text: "TESTCO EN 853 2SN DN 12 WP BAR 275 MPA 27,5 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 275, made: "3Q2020", readings: 1,
		},
		{
			source: own + ": a printed pressure over the published one is said", text: "EN 853 2SN DN 12 420 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 2SN", dn: 12, dash: 8, rated: 420, made: "3Q2020", readings: 1, notes: []string{"the table has 275 bar"},
		},
		{
			source: own + ": a type its standard does not have", text: "EN 853 4SP DN 12 415 BAR 3Q20",
			standard: "EN 853", designation: "EN 853 4SP", dn: 12, dash: 8, rated: 415, made: "3Q2020", readings: 1, notes: []string{"EN 853 has no type 4SP"},
		},
		{source: own + ": a lot number is no date", text: "TESTCO 330 bar LOT 1606 ID: 1506 NO.1406", rated: 330, notes: []string{"no date of manufacture"}},
		{source: own + ": nothing", text: "", notes: []string{"no date of manufacture"}},
		{source: own + ": noise", text: "\x00\x1b[31m<script>alert('2SNX')</script> '; DROP TABLE hose; --", notes: []string{"no date of manufacture"}},
	} {
		c.check(t)
	}
}

func TestReadLayline_ListsEveryPressureWithWhatItIs(t *testing.T) {
	l := ReadLayline("2SN DN12 B.P. 1100 BAR T.P. 550 BAR W.P. 275 BAR 27,5 MPa")
	var got []string
	for _, p := range l.Pressures {
		got = append(got, fmt.Sprintf("%s %s %s", p.Pressure.Format(quantity.Bar), p.Unit, p.Not))
	}
	want := []string{"1100 bar bar burst", "550 bar bar test", "275 bar bar ", "275 bar MPa "}
	if !slices.Equal(got, want) {
		t.Errorf("pressures %q, want %q", got, want)
	}
}

func TestReadLaylineBy_DoesNotBelieveTheFuture(t *testing.T) {
	today, err := quantity.ParseDate("2019-06-30")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ text, made string }{
		{"TESTCO 330 bar 2004", "year 2004"}, // April 2020 is yet to come
		{"EN 853 2SN DN 12 3Q25", ""},
		{"EN 853 2SN DN 12 2Q19", "2Q2019"},
	} {
		l := ReadLaylineBy(c.text, today)
		if l.Made.String() != c.made || l.Ambiguous {
			t.Errorf("%q: made %q, ambiguous %v, want %q; notes %q", c.text, l.Made, l.Ambiguous, c.made, l.Notes)
		}
		if c.made == "" && !strings.Contains(strings.Join(l.Notes, "; "), "future") {
			t.Errorf("%q: no note speaks of the future: %q", c.text, l.Notes)
		}
	}
}

// build prints a line from parts in a random order and spelling.
func build(t *rapid.T) (text string, row Row, made quantity.Period) {
	var rows []Row
	for _, r := range Rows() {
		if !r.Size.IsZero() && !strings.HasPrefix(r.Edition, "old") {
			rows = append(rows, r)
		}
	}
	row = rapid.SampledFrom(rows).Draw(t, "row")
	made, err := quantity.Quarter(rapid.IntRange(1990, 2040).Draw(t, "year"), rapid.IntRange(1, 4).Draw(t, "quarter"))
	if err != nil {
		t.Fatal(err)
	}
	bar := quantity.FormatNumber(math.Round(row.RatedBar), 0)
	parts := []string{
		row.Designation.String(),
		rapid.SampledFrom([]string{fmt.Sprintf("DN%d", row.Size.DN), fmt.Sprintf("DN %d", row.Size.DN), row.Size.Inch() + `"`, fmt.Sprintf("DN %d -%d", row.Size.DN, row.Size.Dash)}).Draw(t, "size"),
		rapid.SampledFrom([]string{bar + " BAR", bar + "bar", "W.P. " + bar + " BAR", "BAR " + bar}).Draw(t, "rating"),
		made.String(),
		"TESTCO",
	}
	parts = rapid.Permutation(parts).Draw(t, "order")
	return strings.Join(parts, rapid.SampledFrom([]string{" ", " / ", " - ", "  |  "}).Draw(t, "separator")), row, made
}

func TestReadLayline_ReadsWhatIsPrintedInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text, row, made := build(t)
		l := ReadLayline(text)
		if l.Designation != row.Designation || l.Size != row.Size || l.Made != made || l.Ambiguous {
			t.Fatalf("%q: %q %v %s ambiguous %v, want %q %v %s; notes %q", text, l.Designation, l.Size, l.Made, l.Ambiguous, row.Designation, row.Size, made, l.Notes)
		}
		if l.RatedBar == nil || *l.RatedBar != math.Round(row.RatedBar) {
			t.Fatalf("%q: rated %v, want %v; notes %q", text, l.RatedBar, math.Round(row.RatedBar), l.Notes)
		}
		if c, ok := l.Row(); !ok || (!c.Agrees && row.RatedBar > 30) {
			t.Fatalf("%q: row %+v, %v", text, c, ok)
		}
		for _, g := range l.Gaps() {
			if g.What != "nominal bore" && g.What != "rating" {
				t.Fatalf("%q lacks %v", text, g)
			}
		}
	})
}

func TestReadLayline_TakesTimeInStepWithTheText(t *testing.T) {
	for _, unit := range []string{"1/", "-8 ", "Q", "2Q16 ", "0514 ", "EN 853 2SN ", "275 BAR ", "BURST ", `1/2" `, "DN ", "(", "W.P.", "½", "\xff", "A.", "07/10 ", "1.1", "<b>", "R2", "100 R "} {
		text := strings.Repeat(unit, maxText*4/len(unit))
		start := time.Now()
		l := ReadLayline(text)
		if d := time.Since(start); d > 500*time.Millisecond {
			t.Errorf("%q repeated takes %v", unit, d)
		}
		if len(l.Notes) > maxNotes || len(l.MadeReadings) > 8*maxDates {
			t.Errorf("%q repeated gives %d notes and %d readings", unit, len(l.Notes), len(l.MadeReadings))
		}
	}
}

func FuzzReadLayline(f *testing.F) {
	for _, s := range []string{
		"TESTCO/EN 853/2SN/DN 10/2Q16", "TESTCO / ISO 1436-2 SN/R2ATS / 16 / 25.0 MPa (250 bar) / 2Q17", "TESTCO ISO 18752-2 BC - 12,5 - 350 BAR - 35,0 MPa - 10/2024",
		`NOWHERE HYDRAULICS SAE 100R2AT-8 1/2" (12.7MM) WP 4000 PSI (27.5 MPa) FLAME RESISTANT MINE NO. 0000 0514`, "TESTCO/330bar/1606", "MUSTERWERK  33,0 MPa  16-06   ID 004711",
		`EN 857 2SC DN19 3/4" -12 W.P. 215 bar TESTCO 1 Q/05`, "100R5-8 BP 1100 BAR TP 550", "07/10/2004 13/06/14", "5 000 PSI 4,000 psi BAR 20", "W.P. B.P. 1-1/4\"",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l := ReadLayline(s)
		if l.RatedBar != nil && !(*l.RatedBar > 0 && *l.RatedBar <= float64(quantity.MaxPressure)) {
			t.Fatalf("%q: rated %v", s, *l.RatedBar)
		}
		if !l.Size.IsZero() && l.Size.Complete() != l.Size {
			t.Fatalf("%q: size %+v", s, l.Size)
		}
		if len(l.SizeReadings) > 1 && (!l.Ambiguous || !l.Size.IsZero()) || len(l.MadeReadings) > 1 && !l.Ambiguous {
			t.Fatalf("%q: several readings in silence: %+v", s, l)
		}
		for _, r := range l.MadeReadings {
			if r.Period.From.Before(l.Made.From) {
				t.Fatalf("%q: %s is earlier than %s", s, r.Period, l.Made)
			}
		}
		for _, n := range l.Notes {
			if len(n) > 1000 || !utf8.ValidString(n) {
				t.Fatalf("%q: note %q", s, n)
			}
		}
		if l.Designation != (Designation{}) {
			if back, err := ParseDesignation(l.Designation.String()); err != nil || back != l.Designation {
				t.Fatalf("%q: designation %q comes back as %q, %v", s, l.Designation, back, err)
			}
		}
		l.Gaps()
	})
}

func BenchmarkReadLayline(b *testing.B) {
	lines := []string{
		"TESTCO/EN 853/2SN/DN 10/2Q16",
		`NOWHERE HYDRAULICS SAE 100R2AT-8 1/2" (12.7MM) WP 4000 PSI (27.5 MPa) FLAME RESISTANT MINE NO. 0000 0514`,
		"TESTCO/330bar/1606",
		`TESTCO EN 853 2SN / SAE 100 R2AT DN 6 1/4" MAX. W.P. 400 BAR 5800 PSI 1Q2026`,
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		ReadLayline(lines[i%len(lines)])
	}
}

func BenchmarkReadLayline_Noise(b *testing.B) {
	text := strings.Repeat("2Q16 275 BAR DN 12 ", maxText/19)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		ReadLayline(text)
	}
}
