package exchange_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

const folder = "../../testdata/import"

func today(t testing.TB) quantity.Date {
	t.Helper()
	d, err := quantity.ParseDate("2026-11-25")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// openFile opens a file of testdata/import.
func openFile(t testing.TB, name string, opts exchange.Options) (*exchange.Sheet, error) {
	t.Helper()
	f, err := os.Open(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	opts.Today = today(t)
	s, err := exchange.Open(f, info.Size(), opts)
	if err == nil {
		t.Cleanup(func() {
			if err := s.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	return s, err
}

func readAll(t testing.TB, s *exchange.Sheet) ([]register.ImportRow, error) {
	t.Helper()
	var rows []register.ImportRow
	for {
		row, err := s.Next()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err != nil {
			return rows, err
		}
		rows = append(rows, row)
	}
}

// TestOpen_FilesAsPeopleSendThem reads every file of testdata/import and
// compares what was understood with the golden file beside it, which was read
// line by line against the file when it was written.
func TestOpen_FilesAsPeopleSendThem(t *testing.T) {
	names, err := filepath.Glob(filepath.Join(folder, "*"))
	if err != nil || len(names) < 12 {
		t.Fatalf("found %d files in %s: %v", len(names), folder, err)
	}
	for _, path := range names {
		name := filepath.Base(path)
		if strings.HasSuffix(name, ".golden") {
			continue
		}
		t.Run(name, func(t *testing.T) {
			got := describe(t, name)
			golden := path + ".golden"
			if exchange.Updating() {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(got, "\n")); diff != "" {
				t.Errorf("read otherwise than before (-was +is):\n%s", diff)
			}
		})
	}
}

func describe(t *testing.T, name string) string {
	s, err := openFile(t, name, exchange.Options{})
	if err != nil {
		return "refused: " + sentence(t, err) + "\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "kind %s, %s %s %s %s, headers in row %d\n", s.Kind, s.Format, s.Encoding, s.Separator, s.SheetName, s.HeaderRow)
	for _, n := range s.Notes {
		fmt.Fprintf(&b, "note: %s\n", n)
	}
	for _, c := range s.Columns {
		fmt.Fprintf(&b, "column %q: %s %s %s %s\n", c.Header, c.Found, c.Field, c.Means, c.Unit)
	}
	if len(s.Missing) > 0 {
		fmt.Fprintf(&b, "missing: %v\n", s.Missing)
	}
	rows, err := readAll(t, s)
	for _, r := range rows {
		fmt.Fprintf(&b, "row %d:", r.Number)
		for _, part := range []any{r.Machine, r.Hose, r.Reading} {
			b.WriteString(fieldsOf(part))
		}
		b.WriteString("\n")
		for _, e := range r.Errors {
			fmt.Fprintf(&b, "  error at %s %q: %s\n", e.Column, e.Value, e.Sentence)
		}
		for _, e := range r.Notes {
			fmt.Fprintf(&b, "  note at %s %q: %s\n", e.Column, e.Value, e.Sentence)
		}
	}
	if err != nil {
		fmt.Fprintf(&b, "refused: %s\n", sentence(t, err))
	}
	return b.String()
}

// sentence is what a person is told; anything but one sentence fails the test.
func sentence(t *testing.T, err error) string {
	t.Helper()
	var e *register.Error
	if !errors.As(err, &e) {
		t.Errorf("a person would see the program's own words: %v", err)
		return err.Error()
	}
	if e.Sentence == "" || strings.Contains(e.Sentence, "\n") {
		t.Errorf("%q is not one sentence", e.Sentence)
	}
	return e.Sentence
}

// fieldsOf prints the fields of a row that are set.
func fieldsOf(part any) string {
	v := reflect.ValueOf(part)
	if v.IsNil() {
		return ""
	}
	var b strings.Builder
	v = v.Elem()
	for i := range v.NumField() {
		f := v.Field(i)
		if f.IsZero() {
			continue
		}
		if f.Kind() == reflect.Pointer {
			f = f.Elem()
		}
		fmt.Fprintf(&b, " %s=%v", v.Type().Field(i).Name, f.Interface())
	}
	return b.String()
}
