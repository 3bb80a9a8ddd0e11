package exchange

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func readCSV(content string, comma byte, width int) ([][]string, error) {
	c := newCSVReader(strings.NewReader(content), comma)
	c.width = width
	var rows [][]string
	for {
		cells, err := c.read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		rows = append(rows, cells)
	}
}

func TestCSVReader_OddRows(t *testing.T) {
	for _, tc := range []struct {
		says, in string
		want     [][]string
	}{
		{"a quote inside a bare cell is an inch sign", "1/2\";x\n", [][]string{{"1/2\"", "x"}}},
		{"a doubled quote is one", "\"1/2\"\"\";x\n", [][]string{{"1/2\"", "x"}}},
		{"a quote behind which text goes on is a part of it", "\"1/2\" hose\";x\n", [][]string{{"1/2\" hose", "x"}}},
		{"a line break in quotes stays", "\"a\r\nb\";x\n", [][]string{{"a\r\nb", "x"}}},
		{"blank rows count", "a;b\n\nc;d\n", [][]string{{"a", "b"}, nil, {"c", "d"}}},
		{"rows of separators are rows", ";;\n", [][]string{{"", "", ""}}},
		{"old line ends are line ends", "a;b\rc;d\r", [][]string{{"a", "b"}, {"c", "d"}}},
		{"the last row needs no line end", "a;b\nc;d", [][]string{{"a", "b"}, {"c", "d"}}},
		{"a quoted empty cell is empty", "\"\";\"\"\n", [][]string{{"", ""}}},
		{"separators in quotes are text", "\"a;b\";c\n", [][]string{{"a;b", "c"}}},
	} {
		got, err := readCSV(tc.in, ';', 0)
		if err != nil {
			t.Errorf("%s: %v", tc.says, err)
		}
		if diff := cmp.Diff(tc.want, got); diff != "" {
			t.Errorf("%s:\n%s", tc.says, diff)
		}
	}
}

func TestCSVReader_RefusesWhatIsNoList(t *testing.T) {
	for _, tc := range []struct {
		says, in string
		width    int
		want     string
	}{
		{"a quote that is never closed", "a;b\n\"c;d\ne;f\n", 0, "row 2 has a quotation mark in column A that is never closed"},
		{"a quote that swallows whole rows", "a;b;c\n1;\"2;3\n4;5;6\n7;8\";9\n", 3, "row 2 has a quotation mark in column B that is never closed"},
		{"a quote that another row's quote would close", "a;b;c\n1;\"2;3\n4;\"5\";6\n", 3, "row 2 has a quotation mark in column B that is never closed"},
		{"a line too long", strings.Repeat("x;", 400) + strings.Repeat("y", maxCell+1), 0, "row 1 is longer than"},
		{"a quoted cell too long", "\"" + strings.Repeat("y", maxCell+2) + "\"", 0, "row 1 has a quotation mark in column A"},
		{"too many columns", strings.Repeat(";", maxColumns+1), 0, "row 1 has more than 500 columns"},
		{"zero bytes", "a;b\nc;\x00\n", 0, "row 2 holds zero bytes"},
	} {
		_, err := readCSV(tc.in, ';', tc.width)
		if err == nil || !strings.HasPrefix(err.Error(), tc.want) {
			t.Errorf("%s: got %v, want %q", tc.says, err, tc.want)
		}
	}
}

// What encoding/csv writes is read as it was, whatever stands in the cells.
func TestCSVReader_ReadsWhatEncodingCSVWrites(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`[a-z ";,\t\n'=äß0-9]{0,8}`)
		width := rapid.IntRange(2, 5).Draw(t, "width")
		rows := rapid.SliceOfN(rapid.SliceOfN(cell, width, width), 0, 6).Draw(t, "rows")
		comma := rapid.SampledFrom([]rune{';', ',', '\t'}).Draw(t, "comma")
		var b bytes.Buffer
		w := csv.NewWriter(&b)
		w.Comma = comma
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		got, err := readCSV(b.String(), byte(comma), 0)
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) == 0 && len(got) == 0 {
			return
		}
		if diff := cmp.Diff(rows, got); diff != "" {
			t.Fatal(diff)
		}
	})
}

func TestGuard_IsTakenOffExactly(t *testing.T) {
	for _, tc := range []struct{ text, written string }{
		{"=1+1", "'=1+1"},
		{"+49 30", "'+49 30"},
		{"-5", "'-5"},
		{"@SUM(A1)", "'@SUM(A1)"},
		{"'=1", "''=1"},
		{"'quoted'", "'quoted'"},
		{"it's", "it's"},
		{"'", "'"},
		{"", ""},
	} {
		if got := guard(tc.text); got != tc.written {
			t.Errorf("%q is written %q, want %q", tc.text, got, tc.written)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`'{0,3}[=+\-@\ta-z]{0,4}`).Draw(t, "text")
		g := guard(s)
		if isFormula(g) {
			t.Fatalf("%q is written as the formula %q", s, g)
		}
		if got := unguard(g); got != s {
			t.Fatalf("%q comes back as %q", s, got)
		}
	})
}

func TestFields_NoWordMeansTwoThings(t *testing.T) {
	for _, kind := range Kinds() {
		owner := map[string]string{}
		for _, f := range Fields(kind) {
			for _, w := range append([]string{f.Title, f.Name}, f.Words...) {
				k := headerKey(w)
				if other, taken := owner[k]; taken && other != f.Name {
					t.Errorf("in lists of %s %q means %s and %s", kind, w, other, f.Name)
				}
				owner[k] = f.Name
			}
			if got, _, ok := matchHeader(kind, f.Title); !ok || got.Name != f.Name {
				t.Errorf("the export's header %q of %s is read as %q", f.Title, f.Name, got.Name)
			}
			if f.Help == "" {
				t.Errorf("field %s says nothing of itself", f.Name)
			}
		}
	}
}
