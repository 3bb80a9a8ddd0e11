package exchange

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

const calcData = "../../testdata/calc"

// The contract: the keys of an answer, of a clock of each name, and of what is
// in the lists.
var (
	answerKeys = []string{
		"id", "as_of", "rated_bar", "rating_confirmed", "status", "complete", "due", "earliest", "latest", "governing",
		"inspection_due", "hours_now", "hours_per_week", "clocks", "warnings",
	}
	clockKeys = map[string][]string{
		"condition": {"class"}, "rating": {"percent"}, "calendar": {"rule"}, "heat": {"factor", "extra_days"},
		"hours": {"limit"}, "pressure": {"damage", "damage_per_hour", "limit", "exponent"}, "combined": {},
	}
	statuses = []string{"stop", "overdue", "soon", "ahead", "in service", "in store", "removed"}
)

// calcLines runs the lines and returns one answer for each.
func calcLines(t testing.TB, detail Detail, lines ...string) []map[string]any {
	t.Helper()
	var out bytes.Buffer
	if _, err := CalcLife(context.Background(), strings.NewReader(strings.Join(lines, "\n")), &out, detail); err != nil {
		t.Fatal(err)
	}
	var answers []map[string]any
	for _, l := range strings.Split(strings.TrimRight(out.String(), "\n"), "\n") {
		answers = append(answers, parsed(t, l))
	}
	return answers
}

func parsed(t testing.TB, line string) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(line), &v); err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	return v
}

func example(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(calcData, "example.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}

// with is the example with values put in its place; an empty one takes the key
// out. Keys of objects inside are written hose.made.
func with(t testing.TB, changes map[string]string) string {
	t.Helper()
	doc := parsed(t, example(t))
	for path, value := range changes {
		in, keys := doc, strings.Split(path, ".")
		for _, k := range keys[:len(keys)-1] {
			in = in[k].(map[string]any)
		}
		last := keys[len(keys)-1]
		if value == "" {
			delete(in, last)
			continue
		}
		in[last] = json.RawMessage(value)
	}
	b, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

const minimal = `{"id":"a","as_of":"2026-11-25","hose":{"rated_bar":275},"fitted":"2024-07-02"}`

// cases are kinds of assemblies that differ in which clocks run and which lack
// data.
func cases(t testing.TB) map[string]string {
	return map[string]string{
		"the example":                example(t),
		"what is needed and no more": minimal,
		"nulls for all the rest": `{"id":"b","as_of":"2026-11-25","hose":{"designation":null,"construction":null,"tube":null,"dn":null,"rated_bar":275,"made":null,"max_c":null,"impulse_percent":null,"impulse_cycles":null,"impulse_temp_c":null},` +
			`"ends":null,"assembled":null,"fitted":"2024-07-02","fitted_hours":null,"can_hurt":null,"fluid":null,"policy":null,"conditions":null,"readings":null,"meter_events":null,"laid_up":null,"planned_hours_per_week":null,"findings":null,"last_inspection":null}`,
		"empty lists":           with(t, map[string]string{"ends": "[]", "conditions": "[]", "readings": "[]", "meter_events": "[]", "laid_up": "[]", "findings": "[]"}),
		"a shipped policy":      with(t, map[string]string{"policy": `"heightened demand"`}),
		"hours limit, summed":   with(t, map[string]string{"policy.hours_from_fitting": "4000", "policy.combine": `"sum"`}),
		"an open stop":          with(t, map[string]string{"findings": `[{"on":"2026-11-01","class":"stop"}]`}),
		"over rating":           with(t, map[string]string{"conditions": `[{"from":"2024-07-02","fluid_c":70,"cycles":[{"min_bar":0,"max_bar":300,"per_hour":4}]}]`}),
		"over rating, assessed": with(t, map[string]string{"conditions": `[{"from":"2024-07-02","assessed":"2024-08-01","fluid_c":70,"cycles":[{"min_bar":0,"max_bar":300,"per_hour":4}]}]`}),
		"overdue":               with(t, map[string]string{"hose.made": `"2012-01-01"`, "assembled": `"2013-01-01"`, "fitted": `"2013-02-01"`, "fitted_hours": ""}),
		"textile":               with(t, map[string]string{"hose.construction": `"textile"`}),
		"PTFE":                  with(t, map[string]string{"hose.tube": `"PTFE"`, "policy": `"thermoplastic or PTFE tube"`}),
		"no limit at all":       with(t, map[string]string{"policy": `{}`}),
		"text with every kind of sign": with(t, map[string]string{
			"id": `"\"\\\u0026<>/é€😀\u2028 \ud83d\ude00"`,
		}),
	}
}

func TestCalcLife_AllKeysInEveryCase(t *testing.T) {
	for why, line := range cases(t) {
		t.Run(why, func(t *testing.T) {
			a := calcLines(t, Plain, line)[0]
			checkAnswer(t, a, answerKeys)
			a = calcLines(t, WithWorking, line)[0]
			checkAnswer(t, a, append(slices.Clone(answerKeys), "working"))
			for _, s := range a["working"].([]any) {
				hasKeys(t, "step", s.(map[string]any), []string{"step", "formula", "value", "source"})
			}
			if len(a["working"].([]any)) == 0 {
				t.Error("the working is empty")
			}
		})
	}
}

func checkAnswer(t *testing.T, a map[string]any, keys []string) {
	t.Helper()
	hasKeys(t, "answer", a, keys)
	if !slices.Contains(statuses, fmt.Sprint(a["status"])) {
		t.Errorf("status is %v", a["status"])
	}
	clocks := a["clocks"].([]any)
	if len(clocks) == 0 {
		t.Error("no clocks")
	}
	for _, c := range clocks {
		clock := c.(map[string]any)
		more, known := clockKeys[fmt.Sprint(clock["name"])]
		if !known {
			t.Errorf("the clock %v is not in the contract", clock["name"])
		}
		hasKeys(t, fmt.Sprint("clock ", clock["name"]), clock, append([]string{"name", "used", "due", "missing"}, more...))
		if _, ok := clock["missing"].([]any); !ok {
			t.Errorf("missing of %v is no list", clock["name"])
		}
	}
	for _, w := range a["warnings"].([]any) {
		hasKeys(t, "warning", w.(map[string]any), []string{"code", "text"})
	}
}

// hasKeys wants exactly these keys.
func hasKeys(t *testing.T, what string, v map[string]any, keys []string) {
	t.Helper()
	for _, k := range keys {
		if _, ok := v[k]; !ok {
			t.Errorf("%s has no key %s", what, k)
		}
	}
	for k := range v {
		if !slices.Contains(keys, k) {
			t.Errorf("%s has a key %s, which is not in the contract", what, k)
		}
	}
}

func TestCalcLife_Golden(t *testing.T) {
	in, err := os.Open(filepath.Join(calcData, "lines.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var got bytes.Buffer
	if _, err := CalcLife(context.Background(), in, &got, WithWorking); err != nil {
		t.Fatal(err)
	}
	golden := filepath.Join(calcData, "lines.golden.jsonl")
	if *update {
		if err := os.WriteFile(golden, got.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	wantLines, gotLines := strings.Split(string(want), "\n"), strings.Split(got.String(), "\n")
	if len(wantLines) != len(gotLines) {
		t.Fatalf("%d lines, want %d; -update writes the file anew", len(gotLines), len(wantLines))
	}
	for i := range wantLines {
		if gotLines[i] != wantLines[i] {
			t.Errorf("line %d is\n%s\nwant\n%s", i+1, gotLines[i], wantLines[i])
		}
	}
}

// The example by hand: rating 250 of 275, 250 and 350; calendar 2024-06-18 +
// 72 months; percent 210/250; the hours of 2026-11-20 and five days at 35 h a
// week; factor 0.7 + 0.3 AF(88) over 80 at 92 kJ/mol; exponent of the J1927
// reference. The inspection is the finding's date, earlier than the interval.
func TestCalcLife_ExampleByHand(t *testing.T) {
	a := calcLines(t, Plain, example(t))[0]
	clock := map[string]map[string]any{}
	for _, c := range a["clocks"].([]any) {
		clock[c.(map[string]any)["name"].(string)] = c.(map[string]any)
	}
	af := math.Exp(92000 / 8.314462618 * (1/353.15 - 1/361.15))
	perHour := 40 * math.Pow(210.0/1000, 11.085189105676628)
	near := func(what string, got any, want float64) {
		t.Helper()
		if g, ok := got.(float64); !ok || math.Abs(g-want) > 1e-9*math.Abs(want) {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	near("rated_bar", a["rated_bar"], 250)
	near("hours_now", a["hours_now"], 6844+35.0/7*5)
	near("hours_per_week", a["hours_per_week"], 35)
	near("percent", clock["rating"]["percent"], 84)
	near("factor", clock["heat"]["factor"], 0.7+0.3*af)
	near("extra_days", clock["heat"]["extra_days"], (6869-3120)*0.3*(af-1)/24)
	near("exponent", clock["pressure"]["exponent"], 11.085189105676628)
	near("limit", clock["pressure"]["limit"], 0.5)
	if a["inspection_due"] != "2026-12-15" || clock["calendar"]["due"] != "2030-06-18" || a["governing"] != "heat" || a["rating_confirmed"] != true || a["complete"] != true {
		t.Errorf("got %v", a)
	}
	// The curve's test is at 100 °C and the fluid at most 88: no hotter, so the
	// damage is the plain sum. The table of facts gives N(0 to 84 %) = (400/84)^m.
	near("damage_per_hour", clock["pressure"]["damage_per_hour"], perHour)
	near("damage", clock["pressure"]["damage"], perHour*(6869-3120))
}

func TestLifeReader_Defaults(t *testing.T) {
	var l LifeReader
	a, asOf, err := l.Read([]byte(minimal))
	if err != nil {
		t.Fatal(err)
	}
	if asOf.String() != "2026-11-25" || a.ID != "a" || *a.Hose.RatedBar != 275 || a.Fitted.String() != "2024-07-02" {
		t.Errorf("got %+v as of %s", a, asOf)
	}
	if !a.CanHurt {
		t.Error("unknown whether a burst can hurt, and it was taken that it cannot")
	}
	if a.Policy.Name != "heightened demand" {
		t.Errorf("no policy was taken as %q, not as the strictest", a.Policy.Name)
	}
	if a.EndABar != nil || a.EndBBar != nil || len(a.Conditions) > 0 {
		t.Errorf("got %+v", a)
	}
}

// What is left out must never give a later date than any value it might have.
func TestCalcLife_UnknownIsNotMilder(t *testing.T) {
	due := func(line string) quantity.Date {
		var l LifeReader
		a, asOf, err := l.Read([]byte(line))
		if err != nil {
			t.Fatal(err)
		}
		e, err := life.Of(&a, asOf)
		if err != nil {
			t.Fatal(err)
		}
		if e.Due.IsZero() {
			return quantity.MaxDate
		}
		return e.Due
	}
	hard := map[string]string{"conditions": `[{"from":"2024-07-02","recorded":true,"fluid_c":60,"cycles":[{"min_bar":0,"max_bar":248,"per_hour":500}]}]`, "can_hurt": "true"}
	known := due(with(t, hard))
	hard["can_hurt"] = ""
	if unknown := due(with(t, hard)); unknown.After(known) {
		t.Errorf("unknown whether it can hurt: %s, later than %s where it can", unknown, known)
	}
	for _, shipped := range []string{`"normal demand"`, `"heightened demand"`} {
		if unknown, with := due(with(t, map[string]string{"policy": ""})), due(with(t, map[string]string{"policy": shipped})); unknown.After(with) {
			t.Errorf("no policy: %s, later than %s by %s", unknown, with, shipped)
		}
	}
}

func TestCalcLife_OthersAreStillAnswered(t *testing.T) {
	long := `{"id":"` + strings.Repeat("x", MaxLine) + `"}`
	file := "\ufeff" + minimal + "\r\n" + "\n  \r\n" + "bad\n" + long + "\n" + strings.Replace(minimal, `"a"`, `"last"`, 1)
	for _, row := range []struct {
		why string
		in  io.Reader
	}{
		{"at once", strings.NewReader(file)},
		{"in small pieces", iotest.HalfReader(strings.NewReader(file))},
		{"with the end beside the data", iotest.DataErrReader(strings.NewReader(file))},
	} {
		t.Run(row.why, func(t *testing.T) {
			var out bytes.Buffer
			counts, err := CalcLife(context.Background(), row.in, &out, Plain)
			if err != nil || counts != (CalcCounts{Lines: 4, Bad: 2}) {
				t.Fatalf("got %+v, %v", counts, err)
			}
			lines := strings.Split(out.String(), "\n")
			if len(lines) != 5 || lines[4] != "" {
				t.Fatalf("got %q", lines)
			}
			if !strings.HasPrefix(lines[0], `{"id":"a",`) || !strings.HasPrefix(lines[3], `{"id":"last",`) {
				t.Errorf("good lines: %q and %q", lines[0], lines[3])
			}
			if !strings.HasPrefix(lines[1], `{"line":4,"error":`) || !strings.HasPrefix(lines[2], `{"line":5,"error":"is longer than 1048576 bytes`) {
				t.Errorf("bad lines: %q and %q", lines[1], lines[2])
			}
		})
	}
}

// What one line leaves behind in the reader must not reach the next one.
func TestLifeReader_ForgetsTheLineBefore(t *testing.T) {
	var lines []string
	for _, l := range cases(t) {
		lines = append(lines, l)
	}
	lines = append(lines, "bad", example(t)[:500])
	slices.Sort(lines)
	var c calculator
	for _, first := range lines {
		for _, second := range lines {
			c.line(nil, []byte(first), Plain) // only to leave something behind
			got, err := c.line(nil, []byte(second), WithWorking)
			var fresh calculator
			want, wantErr := fresh.line(nil, []byte(second), WithWorking)
			if string(got) != string(want) || fmt.Sprint(err) != fmt.Sprint(wantErr) {
				t.Fatalf("after %.60s, %.60s gives\n%s %v\nwant\n%s %v", first, second, got, err, want, wantErr)
			}
		}
	}
}

func TestCalcLife_KeepsTheOrder(t *testing.T) {
	const n = 30000
	var in []byte
	for i := range n {
		in = fmt.Appendf(in, `{"id":"%d","as_of":"2026-11-25","hose":{"rated_bar":275},"fitted":"2024-07-02"}`+"\n", i)
	}
	var out bytes.Buffer
	counts, err := CalcLife(context.Background(), bytes.NewReader(in), &out, Plain)
	if err != nil || counts != (CalcCounts{Lines: n}) {
		t.Fatal(counts, err)
	}
	for i, line := range bytes.Split(bytes.TrimSpace(out.Bytes()), []byte("\n")) {
		if want := fmt.Sprintf(`{"id":"%d",`, i); !bytes.HasPrefix(line, []byte(want)) {
			t.Fatalf("line %d is %.40s", i+1, line)
		}
	}
}

// A program that asks one line at a time gets its answer before it asks on.
func TestCalcLife_AnswersBeforeItWaits(t *testing.T) {
	askR, askW := io.Pipe()
	answerR, answerW := io.Pipe()
	done := make(chan error, 1)
	go func() {
		_, err := CalcLife(context.Background(), askR, answerW, Plain)
		answerW.Close()
		done <- err
	}()
	answers := bufio.NewReader(answerR)
	for range 3 {
		io.WriteString(askW, minimal+"\n")
		a, err := answers.ReadString('\n')
		if err != nil || parsed(t, a)["id"] != "a" {
			t.Fatal(a, err)
		}
	}
	askW.Close()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

func TestCalcLife_EndsOnErrors(t *testing.T) {
	boom := errors.New("boom")
	t.Run("the input breaks off", func(t *testing.T) {
		var out bytes.Buffer
		in := io.MultiReader(strings.NewReader(minimal+"\n"), iotest.ErrReader(boom))
		if _, err := CalcLife(context.Background(), in, &out, Plain); !errors.Is(err, boom) {
			t.Errorf("got %v", err)
		}
		if !strings.HasPrefix(out.String(), `{"id":"a"`) {
			t.Errorf("the line before was not answered: %q", out.String())
		}
	})
	t.Run("the output is full", func(t *testing.T) {
		if _, err := CalcLife(context.Background(), strings.NewReader(minimal), fullWriter{boom}, Plain); !errors.Is(err, boom) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("stopped while the input waits", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		in, w := io.Pipe()
		defer w.Close()
		go func() { io.WriteString(w, minimal+"\n"); cancel() }()
		if _, err := CalcLife(ctx, in, io.Discard, Plain); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

type fullWriter struct{ err error }

func (w fullWriter) Write([]byte) (int, error) { return 0, w.err }

// Memory is the same for a file and for one eight times as long.
func TestCalcLife_MemoryIsFlat(t *testing.T) {
	short, long := peak(t, 10000), peak(t, 80000)
	t.Logf("peak heap: %d KB for 10 000 lines, %d KB for 80 000", short>>10, long>>10)
	if long > 2*short+(8<<20) {
		t.Errorf("80 000 lines took %d KB of heap, 10 000 took %d KB", long>>10, short>>10)
	}
}

// peak is the most heap in use while so many lines, 100 MB for 80 000, are
// answered, watched from where they are made.
func peak(t testing.TB, lines int) uint64 {
	t.Helper()
	runtime.GC()
	var most uint64
	n, line := 0, []byte(nil)
	in := readFunc(func(p []byte) (int, error) {
		if len(line) == 0 {
			if n == lines {
				return 0, io.EOF
			}
			if n++; n%1000 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapInuse)
			}
			line = lineFor(line[:0], n)
		}
		k := copy(p, line)
		line = line[k:]
		return k, nil
	})
	counts, err := CalcLife(context.Background(), in, io.Discard, Plain)
	if err != nil || counts != (CalcCounts{Lines: int64(lines)}) {
		t.Fatal(counts, err)
	}
	return most
}

type readFunc func([]byte) (int, error)

func (f readFunc) Read(p []byte) (int, error) { return f(p) }

func TestAppendEstimate_RefusesWhatIsNotFinite(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		e := life.Estimate{Clocks: []life.Clock{{Name: life.HeatClock, Factor: &v}}}
		dst := []byte("kept")
		got, err := AppendEstimate(dst, &e, nil)
		if err == nil || string(got) != "kept" {
			t.Errorf("%v: got %q, %v", v, got, err)
		}
	}
}

func TestAppendNumber_ReadsBackTheSame(t *testing.T) {
	for _, v := range []float64{0, math.Copysign(0, -1), 1, -1, 0.1, 1.0 / 3, 1e-7, 1e21, 123456789.125, math.MaxFloat64, math.SmallestNonzeroFloat64} {
		var back float64
		b := appendNumber(nil, v)
		if err := json.Unmarshal(b, &back); err != nil || back != v {
			t.Errorf("%g is written %s and read back as %g, %v", v, b, back, err)
		}
	}
}
