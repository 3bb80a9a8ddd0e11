package exchange

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzReadLife: any line gives an answer in valid JSON and never a panic. What
// we take, encoding/json takes as well and understands the same; what it
// refuses as no JSON, we refuse.
func FuzzReadLife(f *testing.F) {
	for _, line := range cases(f) {
		f.Add([]byte(line))
	}
	b, err := os.ReadFile(filepath.Join(calcData, "lines.jsonl"))
	if err != nil {
		f.Fatal(err)
	}
	for _, line := range bytes.Split(b, []byte("\n")) {
		f.Add(line)
	}
	var c calculator // shared by all lines, as in the program
	f.Fuzz(func(t *testing.T, line []byte) {
		if len(line) > 1<<14 {
			return
		}
		a, asOf, readErr := c.in.Read(line)
		if readErr == nil {
			secondOpinion(t, line, a.ID, asOf.String(), *a.Hose.RatedBar)
		} else if _, ok := readErr.(*LineError); !ok {
			t.Fatalf("the error is a %T", readErr)
		}
		out, err := c.line([]byte("x"), line, WithWorking)
		if err != nil {
			if strings.Contains(err.Error(), "no finite number") {
				t.Fatal(err)
			}
			out = AppendLineError(out, 1, err)
		}
		if out[0] != 'x' || !json.Valid(out[1:]) || !utf8.Valid(out) || bytes.IndexByte(out, '\n') >= 0 {
			t.Fatalf("the answer is %q", out)
		}
	})
}

func secondOpinion(t *testing.T, line []byte, id, asOf string, rated float64) {
	t.Helper()
	var v wireLine
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		t.Fatalf("taken by us, refused by encoding/json: %v", err)
	}
	if !json.Valid(line) {
		t.Fatal("taken by us, not valid JSON")
	}
	if *v.ID != id || v.AsOf.String() != asOf || *v.Hose.RatedBar != rated {
		t.Fatalf("read as %q %s %v, encoding/json reads %q %s %v", id, asOf, rated, *v.ID, v.AsOf, *v.Hose.RatedBar)
	}
}

// The wire structs of the tests are the contract's keys; a key that only one
// of the two readers knew would go unseen otherwise.
func TestLifeReader_KnowsTheKeysOfTheContract(t *testing.T) {
	var l LifeReader
	doc := parsed(t, example(t))
	knows := func(line string) bool {
		_, _, err := l.Read([]byte(line))
		var e *LineError
		return !errors.As(err, &e) || !strings.Contains(e.Sentence, "not a known key")
	}
	for key := range doc {
		if !knows(`{"` + key + `":null}`) {
			t.Errorf("%s is not known", key)
		}
	}
	typ := reflect.TypeFor[wireLine]()
	for i := range typ.NumField() {
		key := typ.Field(i).Tag.Get("json")
		if _, ok := doc[key]; !ok || !knows(`{"`+key+`":null}`) {
			t.Errorf("%s is in the tests' structs and not in both example and reader", key)
		}
	}
}

// Our reading of every field, laid out again by encoding/json, is what
// encoding/json itself read.
func TestLifeReader_ReadsEveryField(t *testing.T) {
	for why, line := range cases(t) {
		t.Run(why, func(t *testing.T) {
			var l LifeReader
			a, _, err := l.Read([]byte(line))
			if err != nil {
				t.Fatal(err)
			}
			var v wireLine
			if err := json.Unmarshal([]byte(line), &v); err != nil {
				t.Fatal(err)
			}
			same := func(what string, got, want any) {
				t.Helper()
				if g, w := jsonOf(t, got), jsonOf(t, want); g != w {
					t.Errorf("%s read as %s, encoding/json reads %s", what, g, w)
				}
			}
			h := a.Hose
			same("hose", []any{h.RatedBar, h.MaxC, h.ImpulsePercent, h.ImpulseCycles, h.ImpulseTempC, h.Made},
				[]any{v.Hose.RatedBar, v.Hose.MaxC, v.Hose.ImpulsePct, v.Hose.ImpulseCycles, v.Hose.ImpulseTempC, v.Hose.Made})
			same("words", []any{h.Designation, h.Construction, h.Tube, a.Fluid, h.DN},
				[]any{text(v.Hose.Designation), text(v.Hose.Construction), text(v.Hose.Tube), text(v.Fluid), value(v.Hose.DN)})
			same("dates", []any{a.Assembled, a.Fitted, a.LastInspection}, []any{v.Assembled, v.Fitted, v.LastInspection})
			same("numbers", []any{l.fittedHours, l.series.PlannedPerWeek}, []any{v.FittedHours, v.Planned})
			var got, want []any
			for _, c := range a.Conditions {
				got = append(got, c.From, c.Recorded, c.Assessed, c.FluidC, c.SurroundingsC, c.AdapterBar)
				for _, s := range c.Temperatures {
					got = append(got, s.C, s.Share)
				}
				for _, y := range c.Cycles {
					got = append(got, y.MinBar, y.MaxBar, y.Count)
				}
			}
			for _, c := range v.Conditions {
				want = append(want, c.From, c.Recorded != nil && *c.Recorded, c.Assessed, c.FluidC, c.Surroundings, c.AdapterBar)
				for _, s := range c.Temperatures {
					want = append(want, s.C, s.Share)
				}
				for _, y := range c.Cycles {
					want = append(want, y.MinBar, y.MaxBar, y.PerHour)
				}
			}
			same("conditions", got, want)
			got, want = nil, nil
			for _, r := range l.series.Events {
				got = append(got, r.On, r.OldEnd, r.NewStart)
			}
			for _, r := range v.MeterEvents {
				want = append(want, r.On, r.OldEnd, r.NewStart)
			}
			for _, r := range l.series.LaidUp {
				got = append(got, r.From, r.To)
			}
			for _, r := range v.LaidUp {
				want = append(want, r.From, r.To)
			}
			for _, r := range a.Findings {
				got = append(got, r.On, r.Class, r.By, r.Closed)
			}
			for _, r := range v.Findings {
				want = append(want, r.On, r.Class, r.By, r.Released)
			}
			same("events, lay-ups, findings", got, want)
		})
	}
}

func jsonOf(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func value(n *float64) float64 {
	if n == nil {
		return 0
	}
	return *n
}
