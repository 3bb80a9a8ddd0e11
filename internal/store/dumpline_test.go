package store_test

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hoseward/internal/store"
)

func TestDumpLine_ReadsBackWhatItWrote(t *testing.T) {
	for _, c := range []struct {
		kind string
		v    any
		text string
	}{
		{"integer", int64(math.MinInt64), "-9223372036854775808"},
		{"float", 0.1, "0.1"},
		{"float", int64(3), "3"},
		{"float", math.MaxFloat64, "1.7976931348623157e+308"},
		{"float", math.SmallestNonzeroFloat64, "5e-324"},
		{"float", math.Inf(-1), `"-Inf"`},
		{"boolean", int64(1), "true"},
		{"boolean", false, "false"},
		{"text", nil, "null"},
		{"text", "null", `"null"`},
		{"text", "a\"b\\c\n\u2028ä😀", `"a\"b\\c\u000a` + "\u2028" + `ä😀"`},
		{"text", "\xff", `{"text":"/w=="}`},
		{"text", "a\x00b", `{"text":"YQBi"}`},
		{"bytes", []byte{0, 255}, `{"bytes":"AP8="}`},
		{"date", time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC), `"0001-01-01"`},
		{"time", time.Date(2026, 1, 2, 4, 4, 5, 123456789, time.FixedZone("", 3600)), `"2026-01-02T03:04:05.123456Z"`},
	} {
		text, err := store.LineValue(c.kind, c.v)
		if err != nil || text != c.text {
			t.Errorf("%v is written %s, %v, want %s", c.v, text, err, c.text)
			continue
		}
		back, err := store.LineBack(c.kind, text)
		if err != nil {
			t.Errorf("%s is not read: %v", text, err)
			continue
		}
		if text2, err := store.LineValue(c.kind, back); err != nil || text2 != text {
			t.Errorf("%s is read as %v and written %s, %v", text, back, text2, err)
		}
	}
}

func TestDumpLine_AnyValueComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]string{"integer", "float", "text", "bytes"}).Draw(t, "kind")
		var v any
		switch kind {
		case "integer":
			v = rapid.Int64().Draw(t, "v")
		case "float":
			v = rapid.Float64().Draw(t, "v")
		case "text":
			v = string(rapid.SliceOf(rapid.Byte()).Draw(t, "v"))
		default:
			v = rapid.SliceOf(rapid.Byte()).Draw(t, "v")
		}
		text, err := store.LineValue(kind, v)
		if err != nil {
			t.Fatal(err)
		}
		back, err := store.LineBack(kind, text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if p, ok := v.([]byte); ok {
			if string(p) != string(back.([]byte)) {
				t.Fatalf("%v came back as %v", v, back)
			}
			return
		}
		if v != back {
			t.Fatalf("%v came back as %v", v, back)
		}
	})
}

func TestDumpLine_RefusesAValueOfAnotherKind(t *testing.T) {
	for _, c := range [][2]string{
		{"integer", "1.5"},
		{"integer", "9223372036854775808"},
		{"integer", `"1"`},
		{"float", "1e999"},
		{"float", "true"},
		{"boolean", "1"},
		{"text", "1"},
		{"date", `"2026-02-30"`},
		{"time", `"2026-01-02 03:04:05"`},
		{"bytes", `"AP8="`},
		{"integer", "nul"},
		{"integer", "01"},
		{"text", `"a`},
		{"text", `"\x"`},
		{"bytes", `{"bytes":"A"}`},
		{"bytes", `{"other":"AP8="}`},
		{"bytes", `{"bytes":"AP8="`},
		{"float", "NaN"},
	} {
		if v, err := store.LineBack(c[0], c[1]); err == nil {
			t.Errorf("%s as %s is read as %v", c[1], c[0], v)
		}
	}
}

func FuzzDumpLine(f *testing.F) {
	for _, s := range []string{`[]`, `[null,true,1,-2.5e3,"a\"b",{"bytes":"AP8="},{"text":"/w=="}]`, `[1,]`, `[,]`, `["\ud800"]`, `[`, `]`, `[{"bytes":"`, `["a","b"`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		text, n, err := store.LineAgain(line)
		if err != nil {
			return
		}
		again, m, err := store.LineAgain([]byte(text))
		if err != nil || again != text || n != m {
			t.Fatalf("%q reads as %q, and that as %q, %v", line, text, again, err)
		}
	})
}
