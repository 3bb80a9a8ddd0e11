package exchange_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// aHead is a head of a change log.
var aHead = register.Head{Seq: 1234, Hash: strings.Repeat("9f86d081884c7d65", 4)}

func cellOf(t *testing.T, file []byte, sheet, cell string) string {
	t.Helper()
	book, err := excelize.OpenReader(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	text, err := book.GetCellValue(sheet, cell)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestWhole_SaysTheHeadOfTheChangeLogAndReadsBackWithout(t *testing.T) {
	document := written(t, exchange.JSON, somePlaces()...)
	var doc map[string]any
	if err := json.Unmarshal(document, &doc); err != nil || doc["change_log_head"] != aHead.String() {
		t.Errorf("change_log_head is %v, %v", doc["change_log_head"], err)
	}
	book := written(t, exchange.XLSX, somePlaces()...)
	if got := cellOf(t, book, "change log", "A2"); got != aHead.String() {
		t.Errorf("the sheet says %q", got)
	}
	for _, file := range [][]byte{document, book} {
		rows, _, err := readWhole(file)
		if err != nil || len(rows) != len(somePlaces()) {
			t.Errorf("%d rows, %v", len(rows), err)
		}
	}
	twice := bytes.Replace(document, []byte(`"sites"`), []byte(`"change_log_head": "1:x", "sites"`), 1)
	_, _, err := readWhole(twice)
	refusedWith(t, "the head twice", err, "twice")
	_, _, err = readWhole(bytes.Replace(document, []byte(`"`+aHead.String()+`"`), []byte("[[7]]"), 1))
	refusedWith(t, "a head that is a list", err, "must be a text")
}

// A list is read back with its head beside it: the sheet of the head is never
// taken for the list, nor told of as one that is not read.
func TestWriteList_SaysTheHeadInASheetOfItsOwn(t *testing.T) {
	var b bytes.Buffer
	out := exchange.NewBookWriter(&b, register.ImportReadings, aHead)
	hours := 12.5
	if err := out.Write(&register.ImportRow{Reading: &register.ReadingRow{Machine: "RT-01", Hours: &hours}}); err != nil {
		t.Fatal(err)
	}
	if err := out.Flush(); err != nil {
		t.Fatal(err)
	}
	if got := cellOf(t, b.Bytes(), "change log", "A2"); got != aHead.String() {
		t.Errorf("the sheet says %q", got)
	}
	s, err := exchange.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), exchange.Options{Kind: register.ImportReadings})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if s.SheetName != "readings" || len(s.OtherSheets) != 0 || len(s.Notes) != 0 {
		t.Errorf("sheet %q, others %v, notes %v", s.SheetName, s.OtherSheets, s.Notes)
	}
	row, err := s.Next()
	if err != nil || row.Reading == nil || row.Reading.Machine != "RT-01" {
		t.Errorf("%+v, %v", row.Reading, err)
	}
}
