package exchange_test

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/exchange"
)

// readingsBook is a workbook of five readings below its headers.
func readingsBook(t testing.TB) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range [][]any{{"Machine", "Date", "Hours", "Note"}, {"A", "2026-01-01", 10, "a"}, {"A", "2026-02-01", 20, "b"}, {"A", "2026-03-01", 30, "c"}, {"A", "2026-04-01", 40, "d"}, {"A", "2026-05-01", 50, "e"}} {
		if err := f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := f.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// changedPart is a workbook with one of its parts made another.
func changedPart(t testing.TB, book []byte, part string, change func(string) string) []byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for _, f := range zr.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if f.Name == part {
			changed := change(string(content))
			if changed == string(content) {
				t.Fatalf("the change changes nothing of %.300s", content)
			}
			content = []byte(changed)
		}
		w, err := zw.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestOpen_ADamagedWorkbookIsRefusedAndSaysTheRow(t *testing.T) {
	inRow4 := func(text string) func(string) string {
		return func(s string) string { return strings.Replace(s, `<row r="4">`, `<row r="4">`+text, 1) }
	}
	const row4 = "The workbook is damaged in row 4; nothing was taken. Open it and save it anew."
	const before = "The workbook is damaged before its first row; nothing was taken. Open it and save it anew."
	const sheet, texts = "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"
	for _, tc := range []struct {
		says, part string
		change     func(string) string
		want       string
	}{
		{"an entity nobody declared", sheet, inRow4(`<c r="A4" t="inlineStr"><is><t>&foo;</t></is></c>`), row4},
		{"a sign for smaller in a text", sheet, inRow4(`<c r="A4" t="inlineStr"><is><t>a<b</t></is></c>`), row4},
		{"a byte that XML cannot hold", sheet, inRow4("<c r=\"A4\" t=\"inlineStr\"><is><t>\x01</t></is></c>"), row4},
		{"bytes that are no letters", sheet, inRow4("<c r=\"A4\" t=\"inlineStr\"><is><t>\xff\xfe</t></is></c>"), row4},
		{"a cell that a row's end cuts", sheet, inRow4(`<c></row>`), row4},
		{"a sheet cut off", sheet, func(s string) string { return s[:strings.Index(s, `<row r="4">`)+14] }, row4},
		{"a sheet cut off between two rows", sheet, func(s string) string { return s[:strings.Index(s, `<row r="5">`)] }, row4},
		{"a row that stands twice", sheet, func(s string) string { return strings.Replace(s, `<row r="5">`, `<row r="4">`, 1) }, row4},
		{"rows behind the end of the rows", sheet, func(s string) string {
			return strings.Replace(s, `<row r="5">`, `</sheetData><sheetData><row r="5">`, 1)
		}, row4},
		{"an entity declared", sheet, func(s string) string {
			return strings.Replace(strings.Replace(s, "<worksheet", `<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]><worksheet`, 1), `<row r="4">`, `<row r="4"><c r="A4" t="inlineStr"><is><t>&e;</t></is></c>`, 1)
		}, before},
		{"elements within elements", sheet, func(string) string {
			return "<worksheet>" + strings.Repeat("<a>", 100_000) + strings.Repeat("</a>", 100_000) + "</worksheet>"
		}, before},
		{"nothing in the part of the sheet", sheet, func(string) string { return "" }, before},
		{"a sheet without rows", sheet, func(string) string { return "<worksheet></worksheet>" }, before},
		{"texts cut off", texts, func(s string) string { return s[:len(s)/2] }, "The texts of the workbook are damaged; nothing was taken. Open it and save it anew."},
	} {
		book := changedPart(t, readingsBook(t), tc.part, tc.change)
		s, err := exchange.Open(bytes.NewReader(book), int64(len(book)), exchange.Options{Today: today(t)})
		if got := sentenceOf(err); got != tc.want {
			t.Errorf("%s: got %v, want %q", tc.says, err, tc.want)
		}
		if err == nil {
			_ = s.Close()
		}
	}
	book := readingsBook(t)
	s, err := exchange.Open(bytes.NewReader(book), int64(len(book)), exchange.Options{Today: today(t)})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if rows, err := readAll(t, s); err != nil || len(rows) != 5 {
		t.Errorf("the sound workbook gives %d rows: %v", len(rows), err)
	}
}
