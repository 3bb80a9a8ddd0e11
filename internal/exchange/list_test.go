package exchange_test

import (
	"bytes"
	"errors"
	"iter"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
)

// all are rows that come without an error.
func all[T any](rows []T) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// list is a list of machines with these names.
func list(t testing.TB, format exchange.Format, names []string) []byte {
	t.Helper()
	var b bytes.Buffer
	err := exchange.WriteList(&b, format, "machines", aHead, []exchange.ListColumn[string]{
		{Header: "Machine", Value: func(s string) any { return "M-" + s[:min(1, len(s))] }},
		{Header: "Machine name", Value: func(s string) any { return s }},
		{Header: "Planned hours per week", Value: func(string) any { return new(38.5) }},
		{Header: "Note", Value: func(string) any { return (*float64)(nil) }},
	}, all(names))
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Number and date are what a spreadsheet program takes for a number and a
// date, and a text that begins like a formula is text. Read with a library
// that had no part in writing.
func TestWriteList_CellsOfAWorkbookAreTyped(t *testing.T) {
	type row struct {
		text   string
		number float64
		day    quantity.Date
		yes    bool
		period quantity.Period
	}
	day, _ := quantity.NewDate(2026, 11, 25)
	month, _ := quantity.Month(2026, 11)
	var b bytes.Buffer
	err := exchange.WriteList(&b, exchange.XLSX, "hoses", aHead, []exchange.ListColumn[row]{
		{Header: "text", Value: func(r row) any { return r.text }},
		{Header: "number", Value: func(r row) any { return r.number }},
		{Header: "day", Value: func(r row) any { return r.day }},
		{Header: "yes", Value: func(r row) any { return r.yes }},
		{Header: "made", Value: func(r row) any { return r.period }},
		{Header: "made on", Value: func(row) any { return quantity.Day(day) }},
	}, all([]row{{"=1+1", 0.1, day, true, month}, {"00123", -5, quantity.Date{}, false, quantity.Period{}}}))
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, c := range []struct {
		cell, raw, shown string
		kind             excelize.CellType
	}{
		{"A1", "text", "text", excelize.CellTypeInlineString},
		{"A2", "=1+1", "=1+1", excelize.CellTypeInlineString},
		{"A3", "00123", "00123", excelize.CellTypeInlineString},
		{"B2", "0.1", "0.1", excelize.CellTypeUnset}, // no type is a number
		{"B3", "-5", "-5", excelize.CellTypeUnset},
		{"C2", "46351", "2026-11-25", excelize.CellTypeUnset},
		{"C3", "", "", excelize.CellTypeUnset},
		{"D2", "yes", "yes", excelize.CellTypeInlineString},
		{"E2", "2026-11", "2026-11", excelize.CellTypeInlineString},
		{"F2", "46351", "2026-11-25", excelize.CellTypeUnset},
	} {
		kind, err1 := f.GetCellType("hoses", c.cell)
		raw, err2 := f.GetCellValue("hoses", c.cell, excelize.Options{RawCellValue: true})
		shown, err3 := f.GetCellValue("hoses", c.cell)
		formula, err4 := f.GetCellFormula("hoses", c.cell)
		if err := errors.Join(err1, err2, err3, err4); err != nil {
			t.Fatal(err)
		}
		if kind != c.kind || raw != c.raw || shown != c.shown || formula != "" {
			t.Errorf("%s: type %d, raw %q, shown %q, formula %q; want %d, %q, %q", c.cell, kind, raw, shown, formula, c.kind, c.raw, c.shown)
		}
	}
}

func TestWriteList_CSVNeutralisesWhatBeginsLikeAFormula(t *testing.T) {
	got := string(list(t, exchange.CSV, []string{"=1+1", "-2", "'=x", "plain, with comma"}))
	for _, want := range []string{"'=1+1", "'-2", "''=x", `"plain, with comma"`, ",38.5,"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
	for _, line := range strings.Split(got, "\n") {
		for _, cell := range strings.Split(line, ",") {
			if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") {
				t.Errorf("%q would be run as a formula", cell)
			}
		}
	}
}

// What is neutralised is read back as it was: a list of machines is a sheet of
// machines.
func TestWriteList_ImportsBackAsItWas(t *testing.T) {
	for _, format := range []exchange.Format{exchange.CSV, exchange.XLSX} {
		t.Run(string(format), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				name := rapid.SampledFrom([]string{"=", "+", "-", "@", "'", ""}).Draw(t, "first") +
					rapid.SampledFrom([]string{"=", "+", "'", ""}).Draw(t, "second") + rapid.StringMatching(`[A-Z][a-z0-9 ,;"&<_x]{0,12}[a-z]`).Draw(t, "rest")
				var b bytes.Buffer
				err := exchange.WriteList(&b, format, "machines", aHead, []exchange.ListColumn[string]{
					{Header: "Machine", Value: func(string) any { return "RT-1" }}, {Header: "Machine name", Value: func(s string) any { return s }},
				}, all([]string{name}))
				if err != nil {
					t.Fatal(err)
				}
				s, err := exchange.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), exchange.Options{Kind: "machines"})
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				row, err := s.Next()
				if err != nil || len(row.Errors) > 0 {
					t.Fatal(err, row.Errors)
				}
				if row.Machine.Name != name {
					t.Fatalf("%q came back as %q", name, row.Machine.Name)
				}
			})
		})
	}
}

func TestWriteList_GoesOnInAnotherSheetWhereOneIsFull(t *testing.T) {
	if testing.Short() {
		t.Skip("a sheet of a million rows")
	}
	var b bytes.Buffer
	err := exchange.WriteList(&b, exchange.XLSX, "readings", aHead, []exchange.ListColumn[int]{{Header: "n", Value: func(n int) any { return n }}},
		func(yield func(int, error) bool) {
			for n := range 1<<20 + 5 {
				if !yield(n, nil) {
					return
				}
			}
		})
	if err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(bytes.NewReader(b.Bytes()), excelize.Options{UnzipXMLSizeLimit: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := f.GetSheetList(); !slices.Equal(got, []string{"readings", "readings 2", "change log"}) {
		t.Fatalf("sheets %v", got)
	}
	rows, err := f.GetRows("readings 2")
	if err != nil || len(rows) != 7 || rows[0][0] != "n" || rows[6][0] != "1048580" {
		t.Errorf("%v: %v", err, rows)
	}
}

func TestWriteList_AFailureOfItsRowsIsTold(t *testing.T) {
	boom := errors.New("boom")
	err := exchange.WriteList(&bytes.Buffer{}, exchange.CSV, "x", aHead, []exchange.ListColumn[int]{{Header: "n", Value: func(n int) any { return n }}},
		func(yield func(int, error) bool) { yield(1, nil); yield(0, boom) })
	if !errors.Is(err, boom) {
		t.Errorf("got %v", err)
	}
}
