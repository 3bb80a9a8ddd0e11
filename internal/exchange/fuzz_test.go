package exchange_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// seedFiles gives a fuzz test the files of testdata/import with an ending.
func seedFiles(f *testing.F, ending string) {
	f.Helper()
	names, err := filepath.Glob(filepath.Join(folder, "*"+ending))
	if err != nil || len(names) == 0 {
		f.Fatalf("no files *%s: %v", ending, err)
	}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
}

// fuzzOpen reads whatever it is to the end: rows, or one sentence; and what
// was read is written and read again as the same.
func fuzzOpen(t *testing.T, content []byte) {
	s, err := exchange.Open(bytes.NewReader(content), int64(len(content)), exchange.Options{Today: today(t)})
	if err != nil {
		mustBeSentence(t, err)
		return
	}
	defer s.Close()
	var good []register.ImportRow
	for range 2000 {
		row, err := s.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			mustBeSentence(t, err)
			break
		}
		for _, e := range append(row.Errors, row.Notes...) {
			if e.Sentence == "" {
				t.Errorf("row %d is refused at %q without a word", row.Number, e.Column)
			}
		}
		if len(row.Cells) != len(s.Columns) {
			t.Errorf("row %d has %d cells to hand back, the sheet %d columns", row.Number, len(row.Cells), len(s.Columns))
		}
		if len(row.Errors) == 0 {
			good = append(good, row)
		}
	}
	write := func(rows []register.ImportRow) []byte {
		var b bytes.Buffer
		w := exchange.NewWriter(&b, s.Kind)
		for i := range rows {
			if err := w.Write(&rows[i]); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	first := write(good)
	again, err := exchange.Open(bytes.NewReader(first), int64(len(first)), exchange.Options{Kind: s.Kind})
	if err != nil {
		t.Fatalf("what was written cannot be opened: %v\n%s", err, first)
	}
	var back []register.ImportRow
	for {
		row, err := again.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("what was written cannot be read: %v\n%s", err, first)
		}
		if len(row.Errors) > 0 {
			t.Fatalf("what was written is refused: %v\n%s", row.Errors, first)
		}
		back = append(back, row)
	}
	if second := write(back); string(first) != string(second) && !blankRows(good) {
		t.Errorf("written again it differs:\n%s\n%s", first, second)
	}
}

// blankRows tells rows of which nothing but unread cells was filled: they are
// written as blank rows, which are not read.
func blankRows(rows []register.ImportRow) bool {
	for _, r := range rows {
		for _, part := range []any{r.Machine, r.Hose, r.Reading} {
			if p := fieldsOf(part); part != nil && strings.TrimSpace(p) == "" && !isNil(part) {
				return true
			}
		}
	}
	return false
}

func isNil(part any) bool {
	switch p := part.(type) {
	case *register.MachineRow:
		return p == nil
	case *register.HoseRow:
		return p == nil
	case *register.ReadingRow:
		return p == nil
	}
	return true
}

func mustBeSentence(t *testing.T, err error) {
	t.Helper()
	var e *register.Error
	if !errors.As(err, &e) || e.Sentence == "" || strings.Contains(e.Sentence, "\n") {
		t.Errorf("not one sentence: %v", err)
	}
}

func FuzzReadCSV(f *testing.F) {
	seedFiles(f, ".csv")
	seedFiles(f, ".txt")
	f.Fuzz(fuzzOpen)
}

func FuzzReadXLSX(f *testing.F) {
	seedFiles(f, ".xlsx")
	f.Fuzz(fuzzOpen)
}
