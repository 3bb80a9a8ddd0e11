package exchange

import (
	"archive/zip"
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"hoseward/internal/quantity"
)

// bookWriter writes a workbook (XLSX) sheet by sheet and row by row, straight
// to its writer: nothing but the names of the sheets is kept, so memory is
// flat. Texts are cells of type text, never formulas, and formatted as text so
// that a spreadsheet program leaves 007, 1E5 and =A1 as they are when someone
// edits them; numbers and dates are numbers and dates.
type bookWriter struct {
	zip    *zip.Writer
	out    *bufio.Writer // the sheet being written; nil between sheets
	row    int
	sheets []string
	err    error
}

// The formats of cells, by their place in bookStyles.
const (
	styleDate   = 1
	styleHeader = 2
	styleText   = 3
)

// bookRows is how many rows a sheet can have.
const bookRows = 1 << 20

// The parts of a package that do not depend on what is in it. The formats are
// ISO/IEC 29500-1: 164 is the first that may be defined, 49 is text.
const (
	bookStyles = xmlHead + `<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">` +
		`<numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd"/></numFmts>` +
		`<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name val="Calibri"/></font></fonts>` +
		`<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>` +
		`<borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="4"><xf/>` +
		`<xf numFmtId="164" applyNumberFormat="1"/><xf numFmtId="49" fontId="1" applyNumberFormat="1" applyFont="1"/>` +
		`<xf numFmtId="49" applyNumberFormat="1"/></cellXfs></styleSheet>`
	bookRels = xmlHead + `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` +
		`<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`
	sheetHead = xmlHead + `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetViews><sheetView workbookViewId="0">` +
		`<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews>` +
		`<sheetFormatPr baseColWidth="14" defaultRowHeight="15"/><sheetData>`
	sheetEnd = `</sheetData></worksheet>`
	xmlHead  = `<?xml version="1.0" encoding="UTF-8" standalone="yes"?>` + "\n"
)

func newBookWriter(w io.Writer) *bookWriter { return &bookWriter{zip: zip.NewWriter(w)} }

// sheet ends the sheet before and begins another with its headers.
func (b *bookWriter) sheet(name string, headers []string) {
	b.endSheet()
	b.sheets = append(b.sheets, name)
	b.begin("xl/worksheets/sheet" + strconv.Itoa(len(b.sheets)) + ".xml")
	b.write(sheetHead)
	b.row = 0
	b.beginRow()
	for i, h := range headers {
		b.text(i, h, styleHeader)
	}
	b.write("</row>")
}

// full reports whether the sheet has room for no further row.
func (b *bookWriter) full() bool { return b.row >= bookRows }

// cells writes one row. Each value is nil for an empty cell, a string, int,
// float64, bool or quantity.Date.
func (b *bookWriter) cells(values []any) {
	b.beginRow()
	for i, v := range values {
		b.cell(i, v)
	}
	b.write("</row>")
}

func (b *bookWriter) beginRow() {
	b.row++
	b.write(`<row r="` + strconv.Itoa(b.row) + `">`)
}

func (b *bookWriter) cell(i int, v any) {
	switch v := v.(type) {
	case nil:
	case string:
		if v != "" {
			b.text(i, v, styleText)
		}
	case bool:
		n := "0"
		if v {
			n = "1"
		}
		b.value(i, `t="b"`, n)
	case int:
		b.value(i, "", strconv.Itoa(v))
	case float64:
		b.value(i, "", strconv.FormatFloat(v, 'f', -1, 64))
	case quantity.Date:
		switch n := v.DayNumber() - serialZero.DayNumber(); {
		case v.IsZero():
		case n > serialWrong:
			b.value(i, `s="`+strconv.Itoa(styleDate)+`"`, strconv.Itoa(n))
		default:
			b.text(i, v.String(), styleText)
		}
	default:
		b.keep(fmt.Errorf("write %T in a cell: not supported", v))
	}
}

// serialZero is the day spreadsheets count from; up to serialWrong they are one
// day off, since they take 1900 for a leap year.
var serialZero = mustDay(1899, 12, 30)

const serialWrong = 60

func (b *bookWriter) value(i int, attrs, v string) {
	b.write(`<c r="` + columnName(i) + strconv.Itoa(b.row) + `" ` + attrs + `><v>` + v + `</v></c>`)
}

func (b *bookWriter) text(i int, s string, style int) {
	b.write(`<c r="` + columnName(i) + strconv.Itoa(b.row) + `" s="` + strconv.Itoa(style) + `" t="inlineStr"><is><t xml:space="preserve">`)
	if b.err == nil && b.out != nil {
		b.keep(writeBookText(b.out, s))
	}
	b.write(`</t></is></c>`)
}

// columnName is A to Z, AA and on, for a column from 0.
func columnName(i int) string {
	name := ""
	for i++; i > 0; i = (i - 1) / 26 {
		name = string(rune('A'+(i-1)%26)) + name
	}
	return name
}

// writeBookText writes a text as a cell holds it. What XML cannot hold, and
// carriage returns, which it would turn into line feeds, are written _xHHHH_;
// texts that look like that have their _ written so (ISO/IEC 29500-1, 22.9.2.19
// ST_Xstring). Test: TestBook_TextsComeBackAsTheyWere.
func writeBookText(w *bufio.Writer, s string) error {
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == '&':
			w.WriteString("&amp;")
		case r == '<':
			w.WriteString("&lt;")
		case r == '>':
			w.WriteString("&gt;")
		case r == '_' && escapeLike(s[i:]):
			w.WriteString("_x005F_")
		case r < ' ' && r != '\t' && r != '\n', r == 0xFFFE, r == 0xFFFF:
			fmt.Fprintf(w, "_x%04X_", r)
		default:
			w.WriteRune(r)
		}
		i += n
	}
	_, err := w.Write(nil) // a bufio.Writer keeps its first error
	return err
}

func escapeLike(s string) bool {
	if len(s) < 7 || s[1] != 'x' || s[6] != '_' {
		return false
	}
	for _, c := range []byte(s[2:6]) {
		if (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') {
			return false
		}
	}
	return true
}

func (b *bookWriter) begin(part string) {
	w, err := b.zip.Create(part)
	b.keep(err)
	if err == nil {
		b.out = bufio.NewWriterSize(w, chunk)
	}
}

func (b *bookWriter) end() {
	if b.out != nil {
		b.keep(b.out.Flush())
		b.out = nil
	}
}

func (b *bookWriter) endSheet() {
	if b.out != nil {
		b.write(sheetEnd)
		b.end()
	}
}

func (b *bookWriter) write(s string) {
	if b.err != nil || b.out == nil {
		return
	}
	_, err := b.out.WriteString(s)
	b.keep(err)
}

func (b *bookWriter) keep(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *bookWriter) part(name, content string) {
	b.begin(name)
	b.write(content)
	b.end()
}

// close writes what binds the sheets together, and gives the first error there
// was. A workbook needs at least one sheet.
func (b *bookWriter) close() error {
	b.endSheet()
	var types, book, rels strings.Builder
	for i, name := range b.sheets {
		n := strconv.Itoa(i + 1)
		types.WriteString(`<Override PartName="/xl/worksheets/sheet` + n + `.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>`)
		book.WriteString(`<sheet name="` + name + `" sheetId="` + n + `" r:id="rId` + n + `"/>`)
		rels.WriteString(`<Relationship Id="rId` + n + `" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet` + n + `.xml"/>`)
	}
	last := strconv.Itoa(len(b.sheets) + 1)
	b.part("[Content_Types].xml", xmlHead+`<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">`+
		`<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>`+
		`<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>`+
		`<Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>`+types.String()+`</Types>`)
	b.part("_rels/.rels", bookRels)
	b.part("xl/workbook.xml", xmlHead+`<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" `+
		`xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets>`+book.String()+`</sheets></workbook>`)
	b.part("xl/_rels/workbook.xml.rels", xmlHead+`<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`+rels.String()+
		`<Relationship Id="rId`+last+`" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/></Relationships>`)
	b.part("xl/styles.xml", bookStyles)
	return errors.Join(b.err, b.zip.Close())
}
