package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"
)

// call runs the program and returns what it said.
func call(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	m := &Main{
		Stdin: strings.NewReader(stdin), Stdout: &out, Stderr: &errs,
		Now: func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC) },
	}
	code = m.Run(context.Background(), args)
	return code, out.String(), errs.String()
}

// document is the one JSON document that a call prints, with its keys.
func document(t *testing.T, args ...string) (doc map[string]any, keys string) {
	t.Helper()
	code, stdout, stderr := call(t, "", append(args, "--json")...)
	if code != exitDone || stderr != "" {
		t.Fatalf("%q exits %d: %s", args, code, stderr)
	}
	if err := json.Unmarshal([]byte(stdout), &doc); err != nil || strings.Count(stdout, "\n") != 1 {
		t.Fatalf("%q prints %q: %v", args, stdout, err)
	}
	var all []string
	for k := range doc {
		all = append(all, k)
	}
	sort.Strings(all)
	return doc, strings.Join(all, " ")
}

func near(t *testing.T, what string, got any, want, relative float64) {
	t.Helper()
	if g, ok := got.(float64); !ok || math.Abs(g-want) > relative*math.Abs(want) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// Computed from the SAE J1927 reference points (400 %, 1) and (133 %, 200 000)
// with mpmath, testdata/reference/miner.
func TestCalcCurve_ReferenceLives(t *testing.T) {
	for _, row := range []struct{ max, cycles float64 }{
		{100, 4720074.5369}, {125, 397816.72375}, {150, 52716.18220}, {200, 2172.573252},
	} {
		doc, keys := document(t, "calc", "curve", "--rated-bar", "100", "--max-bar", fmt.Sprint(row.max))
		if keys != "cycles_to_failure damage_per_cycle equivalent_bar exponent" {
			t.Fatalf("keys are %s", keys)
		}
		near(t, "exponent", doc["exponent"], 11.085189105676627898, 1e-12)
		near(t, "cycles_to_failure", doc["cycles_to_failure"], row.cycles, 1e-9)
		near(t, "damage_per_cycle", doc["damage_per_cycle"], 1/row.cycles, 1e-9)
		near(t, "equivalent_bar", doc["equivalent_bar"], row.max, 1e-12)
	}
}

// Goodman: 100 to 200 bar at 275 wears as 0 to B (200-100)/(B-100), B = 1100.
// Peak only counts it from zero; below zero counts as zero.
func TestCalcCurve_LowestPressure(t *testing.T) {
	doc, _ := document(t, "calc", "curve", "--rated-bar", "275", "--max-bar", "200", "--min-bar", "100")
	near(t, "equivalent_bar", doc["equivalent_bar"], 1100*100.0/1000, 1e-12)
	for _, args := range [][]string{{"--min-bar", "100", "--peak-only"}, {"--min-bar", "-5"}, {"--min-bar=-5"}, {}} {
		doc, _ := document(t, append([]string{"calc", "curve", "--rated-bar", "275", "--max-bar", "200"}, args...)...)
		near(t, fmt.Sprint(args, " equivalent_bar"), doc["equivalent_bar"], 200, 1e-12)
	}
}

// NIST/SEMATECH e-Handbook 8.1.5.1: 25 to 125 °C at 0.5 eV is 133 times, held
// to 1 %; 0.5 eV is 48.243 kJ/mol. Below the reference the factor is 1.
func TestCalcHeat_Published(t *testing.T) {
	doc, keys := document(t, "calc", "heat", "--temp-c", "125", "--ref-c", "25", "--ea-kj", "48.2427")
	if keys != "factor" {
		t.Fatalf("keys are %s", keys)
	}
	near(t, "factor", doc["factor"], 133, 0.01)
	doc, _ = document(t, "calc", "heat", "--temp-c", "-20", "--ref-c", "80")
	near(t, "factor", doc["factor"], 1, 0)
	doc, _ = document(t, "calc", "heat", "--temp-c", "90", "--ref-c", "80")
	near(t, "factor at 80 kJ/mol", doc["factor"], math.Exp(80000/8.314462618*(1/353.15-1/363.15)), 1e-12)
}

// The dates of testdata/reference/calendar if it is there, and the rule's own
// two.
func TestCalcDate_ClampsToTheMonthsEnd(t *testing.T) {
	rows := [][3]string{{"2024-02-29", "24", "2026-02-28"}, {"2024-01-31", "1", "2024-02-29"}, {"2024-03-31", "-1", "2024-02-29"}, {"2026-11-25", "0", "2026-11-25"}}
	for _, row := range append(rows, calendarRows(t)...) {
		doc, keys := document(t, "calc", "date", row[0], "--months", row[1])
		if keys != "date" || doc["date"] != row[2] {
			t.Errorf("%s + %s months is %v, want %s", row[0], row[1], doc, row[2])
		}
	}
}

// calendarRows are date, months and the clamped sum.
func calendarRows(t *testing.T) [][3]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "calendar", "calendar_add_months.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil || len(all) < 10 {
		t.Fatalf("%d rows, %v", len(all), err)
	}
	at := map[string]int{}
	for i, h := range all[0] {
		at[h] = i
	}
	var rows [][3]string
	for _, r := range all[1:] {
		rows = append(rows, [3]string{r[at["start"]], r[at["months"]], r[at["clamp_to_month_end"]]})
	}
	return rows
}

func TestCalcLayline_Document(t *testing.T) {
	doc, keys := document(t, "calc", "layline", "TESTCO ISO 18752-2 BC - 12,5 - 350 BAR - 35,0 MPa - 10/2024")
	if keys != "ambiguous dash designation dn made notes rated_bar standard" {
		t.Fatalf("keys are %s", keys)
	}
	made := fmt.Sprint(doc["made"])
	if doc["dn"] != 12.0 || doc["dash"] != 8.0 || doc["rated_bar"] != 350.0 || made != "map[from:2024-10-01 precision:month to:2024-10-31]" || doc["ambiguous"] != false {
		t.Errorf("got %v", doc)
	}
	doc, keys = document(t, "calc", "layline", "nothing to see")
	if keys != "ambiguous dash designation dn made notes rated_bar standard" || doc["dn"] != nil || doc["rated_bar"] != nil || doc["made"] != nil {
		t.Errorf("got %v", doc)
	}
	if _, ok := doc["notes"].([]any); !ok {
		t.Errorf("notes are %v, not a list", doc["notes"])
	}
}

func TestCalc_TablesForPeople(t *testing.T) {
	for _, row := range []struct {
		args []string
		says []string
	}{
		{[]string{"calc", "curve", "--rated-bar", "275", "--max-bar", "275"}, []string{"exponent", "11.0852", "275 bar", "4.72007e+06"}},
		{[]string{"calc", "heat", "--temp-c", "90", "--ref-c", "80"}, []string{"ageing factor", "2.1"}},
		{[]string{"calc", "date", "2024-02-29", "--months", "24"}, []string{"2026-02-28"}},
		{[]string{"calc", "layline", "TESTCO/EN 853/2SN/DN 10/2Q16"}, []string{"EN 853 2SN", "DN 10, dash -6", "2Q2016", "not said"}},
	} {
		code, stdout, stderr := call(t, "", row.args...)
		if code != exitDone || stderr != "" || strings.HasPrefix(stdout, "{") {
			t.Errorf("%q exits %d: %s %s", row.args, code, stdout, stderr)
		}
		for _, s := range row.says {
			if !strings.Contains(stdout, s) {
				t.Errorf("%q prints %q, which does not say %q", row.args, stdout, s)
			}
		}
	}
}

func TestMain_ExitCodes(t *testing.T) {
	t.Setenv("HOSEWARD_DB_FILE", "")
	none := filepath.Join(t.TempDir(), "none")
	for _, row := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"no command", nil, exitCall, "--help"},
		{"no such command", []string{"calk"}, exitCall, "calk"},
		{"no such flag", []string{"calc", "heat", "--colour", "red"}, exitCall, "--colour"},
		{"a flag is missing", []string{"calc", "heat", "--temp-c", "90"}, exitCall, "--ref-c"},
		{"a flag is no number", []string{"calc", "heat", "--temp-c", "hot", "--ref-c", "80"}, exitCall, "hot"},
		{"a flag is not a number that can be", []string{"calc", "heat", "--temp-c", "NaN", "--ref-c", "80"}, exitData, "--temp-c"},
		{"colder than can be", []string{"calc", "heat", "--temp-c", "-300", "--ref-c", "80"}, exitData, "--temp-c"},
		{"at burst", []string{"calc", "curve", "--rated-bar", "275", "--max-bar", "1100"}, exitData, "--max-bar"},
		{"no range", []string{"calc", "curve", "--rated-bar", "275", "--max-bar", "100", "--min-bar", "100"}, exitData, "--min-bar"},
		{"no range, though it would be counted from zero", []string{"calc", "curve", "--rated-bar", "275", "--max-bar", "100", "--min-bar", "120", "--peak-only"}, exitData, "--min-bar"},
		{"no curve", []string{"calc", "curve", "--rated-bar", "275", "--max-bar", "100", "--impulse-percent", "400"}, exitData, "--impulse-percent"},
		{"a day that is none", []string{"calc", "date", "2026-02-30", "--months", "1"}, exitData, "February 2026 has no day 30"},
		{"out of the calendar", []string{"calc", "date", "9999-12-01", "--months", "1"}, exitData, "--months"},
		{"far out of the calendar", []string{"calc", "date", "2026-02-01", "--months", "-9223372036854775808"}, exitData, "--months"},
		{"half a month", []string{"calc", "date", "2026-02-01", "--months", "1.5"}, exitCall, "--months"},
		{"an empty line", []string{"calc", "layline", " "}, exitData, "empty"},
		{"no such file", []string{"calc", "life", none}, exitEnvironment, "none"},
		{"a folder", []string{"calc", "life", t.TempDir()}, exitEnvironment, "read"},
	} {
		t.Run(row.why, func(t *testing.T) {
			code, stdout, stderr := call(t, "", row.args...)
			if code != row.code || !strings.Contains(stderr, row.says) {
				t.Errorf("exits %d, says %q; want %d and %q", code, stderr, row.code, row.says)
			}
			if strings.Count(stderr, "\n") != 1 || stdout != "" {
				t.Errorf("said %q and printed %q; want one line and nothing", stderr, stdout)
			}
		})
	}
}

func TestMain_SecretFileThatIsNotThere(t *testing.T) {
	t.Setenv("HOSEWARD_DB_FILE", filepath.Join(t.TempDir(), "none"))
	code, _, stderr := call(t, "", "calc", "heat", "--temp-c", "90", "--ref-c", "80")
	if code != exitEnvironment || !strings.Contains(stderr, "HOSEWARD_DB_FILE") {
		t.Errorf("exits %d, says %q", code, stderr)
	}
}

func TestMain_HelpListsSettingsAndCommands(t *testing.T) {
	code, stdout, stderr := call(t, "", "--help")
	if code != exitDone || stderr != "" {
		t.Fatalf("exits %d: %s", code, stderr)
	}
	for _, s := range []string{"--db", "$HOSEWARD_DB", "var/hoseward.db", "--listen", "127.0.0.1:8460", "$HOSEWARD_ZONE", "HOSEWARD_DB_FILE", "calc life", "calc layline"} {
		if !strings.Contains(stdout, s) {
			t.Errorf("help does not say %q", s)
		}
	}
}

func TestCalcLife_FromFileAndStandardInput(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "calc", "example.jsonl")
	line, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	code, fromFile, stderr := call(t, "", "calc", "life", file)
	if code != exitDone || stderr != "" || !strings.HasPrefix(fromFile, `{"id":"K-0412","as_of":"2026-11-25",`) {
		t.Errorf("exits %d: %q %s", code, fromFile, stderr)
	}
	code, fromStdin, stderr := call(t, string(line), "calc", "life", "-")
	if code != exitDone || stderr != "" || fromStdin != fromFile {
		t.Errorf("exits %d: %q %s", code, fromStdin, stderr)
	}
	code, working, _ := call(t, string(line), "calc", "life", "--working", "-")
	if code != exitDone || !strings.Contains(working, `"working":[{"step":`) {
		t.Errorf("exits %d: %q", code, working)
	}
	code, out, stderr := call(t, "bad\n"+string(line), "calc", "life", "-", "--json")
	if code != exitData || strings.Count(out, "\n") != 2 || !strings.HasPrefix(out, `{"line":1,"error":`) || !strings.Contains(stderr, "1 of 2 lines") {
		t.Errorf("exits %d: %q %s", code, out, stderr)
	}
	code, out, stderr = call(t, "", "calc", "life", "-")
	if code != exitDone || out != "" || stderr != "" {
		t.Errorf("nothing in: exits %d: %q %s", code, out, stderr)
	}
}
