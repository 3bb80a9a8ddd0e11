package exchange

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// hasWholeSheet tells a workbook with a whole register by the names of its
// sheets.
func hasWholeSheet(r io.ReaderAt, size int64) bool {
	zr, err := zip.NewReader(r, size)
	if err != nil || len(zr.File) > maxEntries {
		return false
	}
	_, ok := sheetParts(zr)[wholeSheet]
	return ok
}

// wholeBookReader reads a workbook row by row.
type wholeBookReader struct {
	w      *workbook
	sheets []wholeSheetOf // still to be read
	of     wholeSheetOf   // being read
	rows   *excelize.Rows
	row    int   // last read, from 1
	at     []int // for each column of the sheet, its place among those of the part; the last is continued
	ahead  *bookRow
}

type wholeSheetOf struct {
	part   register.WholePart
	number int // within its part, from 0
	name   string
}

// bookRow is one row of a sheet with a cell for each column of its part.
type bookRow struct {
	part   register.WholePart
	number int
	cells  []string // as many as columns, and continued
}

func openWholeBook(r io.ReaderAt, size int64) (Whole, error) {
	w, err := openWorkbook(r, size)
	if err != nil {
		return nil, err
	}
	b := &wholeBookReader{w: w}
	if err := firstOf(b.findSheets(), b.checkSheets(), b.version()); err != nil {
		return nil, errors.Join(err, w.close())
	}
	return b, nil
}

// findSheets puts the sheets in the order of the parts.
func (b *wholeBookReader) findSheets() error {
	names := b.w.file.GetSheetList()
	if !slices.Contains(names, wholeSheet) {
		return refusal("The workbook has no sheet %q, so it is no whole register as hoseward exports it.", wholeSheet)
	}
	known := map[string]bool{wholeSheet: true, headSheet: true}
	for _, part := range register.WholeParts() {
		name := string(part)
		if !slices.Contains(names, name) {
			return refusal("The workbook has no sheet %q; a whole register has one for each kind of thing, with its headers alone where there is none.", name)
		}
		for n := 0; slices.Contains(names, name); n++ {
			known[name] = true
			b.sheets = append(b.sheets, wholeSheetOf{part, n, name})
			name = string(part) + " " + strconv.Itoa(n+2)
		}
	}
	for _, name := range names {
		if !known[name] {
			return refusal("The workbook has a sheet %q that no register has; take it away.", clipped(name))
		}
	}
	return nil
}

// checkSheets reads every sheet once, strictly, before a row is taken; see
// workbook.checkSheet.
func (b *wholeBookReader) checkSheets() error {
	for _, s := range b.sheets {
		part := partNamed(b.w.pkg, b.w.parts[s.name])
		if part == nil {
			return damaged()
		}
		if row, ok := soundPart(part, true); !ok {
			return refusal("Sheet %s is damaged in or behind row %d; nothing was taken. Open the workbook and save it anew.", s.name, row)
		}
	}
	return b.w.checkSheet(wholeSheet)
}

func (b *wholeBookReader) version() error {
	v, err := b.w.file.GetCellValue(wholeSheet, "A2", excelize.Options{RawCellValue: true})
	if err != nil {
		return damaged()
	}
	n, err := strconv.ParseFloat(v, 64)
	if err != nil {
		return refusal("Cell A2 of sheet %q must be the version of the form, which is %d.", wholeSheet, register.WholeVersion)
	}
	return checkWholeVersion(n)
}

// Format is XLSX.
func (b *wholeBookReader) Format() Format { return XLSX }

// Close lets go of the workbook.
func (b *wholeBookReader) Close() error {
	b.closeRows()
	return b.w.close()
}

func (b *wholeBookReader) closeRows() {
	if b.rows != nil {
		_ = b.rows.Close()
		b.rows = nil
	}
}

// Place is the sheet and row.
func (b *wholeBookReader) Place(part register.WholePart, number int) string {
	name := string(part)
	if n := number / bookRows; n > 0 {
		name += " " + strconv.Itoa(n+1)
	}
	return fmt.Sprintf("Sheet %s, row %d", name, number%bookRows+1)
}

func (b *wholeBookReader) refuse(r *bookRow, column, format string, args ...any) error {
	place := b.Place(r.part, r.number)
	if column != "" {
		place += ", column " + column
	}
	return refusal("%s: %s", place, fmt.Sprintf(format, args...))
}

// Next gives the next row.
func (b *wholeBookReader) Next() (row register.WholeRow, number int, err error) {
	defer func() { // as in openWorkbook
		if p := recover(); p != nil {
			row, err = nil, damaged()
		}
	}()
	r, err := b.joined()
	if err != nil {
		return nil, 0, err
	}
	row = register.NewWholeRow(r.part)
	for i, c := range wholeColumns(r.part) {
		if v := c.of(row); !b.set(v, r.cells[i]) {
			return nil, r.number, b.refuse(r, c.name, "%q is not %s.", clipped(r.cells[i]), wholeWants(v))
		}
	}
	return row, r.number, nil
}

// joined is the next row with those that continue it.
func (b *wholeBookReader) joined() (*bookRow, error) {
	r := b.ahead
	b.ahead = nil
	var err error
	if r == nil {
		if r, err = b.read(); err != nil {
			return nil, err
		}
	}
	if r.continues() {
		return nil, b.refuse(r, continued, "There is no row above that this one could continue.")
	}
	size := 0
	for {
		next, err := b.read()
		if errors.Is(err, io.EOF) {
			return r, nil
		}
		if err != nil {
			return nil, err
		}
		if next.part != r.part || !next.continues() {
			b.ahead = next
			return r, nil
		}
		for i, s := range next.cells[:len(next.cells)-1] {
			r.cells[i] += s
			size += len(s)
		}
		if size > maxWholeRow {
			return nil, b.refuse(next, "", "The row that goes on here is longer than any row can be.")
		}
	}
}

func (r *bookRow) continues() bool { return isTrue(r.cells[len(r.cells)-1]) }

func isTrue(s string) bool { return s == "1" || strings.EqualFold(s, "true") }

// read reads the next row that is not blank, io.EOF behind the last of all.
func (b *wholeBookReader) read() (*bookRow, error) {
	blanks := 0
	for {
		for b.rows == nil || blanks > maxBlankRows || !b.rows.Next() {
			blanks = 0
			if err := b.nextSheet(); err != nil {
				return nil, err
			}
		}
		b.row++
		cells, err := b.rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return nil, damaged()
		}
		r := &bookRow{b.of.part, b.of.number*bookRows + b.row - 1, make([]string, len(b.at))}
		blank := true
		for i, s := range cells {
			if s == "" {
				continue
			}
			if i >= len(b.at) {
				return nil, b.refuse(r, "", "%q stands in a column without a header.", clipped(s))
			}
			r.cells[b.at[i]], blank = s, false
		}
		if !blank {
			return r, nil
		}
		blanks++
	}
}

// nextSheet ends the sheet at hand and begins the next with its headers.
func (b *wholeBookReader) nextSheet() error {
	if b.rows != nil && b.rows.Error() != nil {
		return damaged()
	}
	b.closeRows()
	if len(b.sheets) == 0 {
		return io.EOF
	}
	b.of, b.sheets, b.row = b.sheets[0], b.sheets[1:], 1
	var err error
	if b.rows, err = b.w.file.Rows(b.of.name); err != nil {
		return damaged()
	}
	if !b.rows.Next() {
		return refusal("Sheet %s has no headers.", b.of.name)
	}
	headers, err := b.rows.Columns(excelize.Options{RawCellValue: true})
	if err != nil {
		return damaged()
	}
	return b.headers(headers)
}

func (b *wholeBookReader) headers(headers []string) error {
	var names []string
	for _, c := range wholeColumns(b.of.part) {
		names = append(names, c.name)
	}
	names = append(names, continued)
	b.at = nil
	for _, h := range headers {
		at := slices.Index(names, h)
		if at < 0 {
			return refusal("Sheet %s has a column %q that is not known; its columns are %s.", b.of.name, clipped(h), strings.Join(names, ", "))
		}
		if slices.Contains(b.at, at) {
			return refusal("Sheet %s has the column %s twice.", b.of.name, h)
		}
		b.at = append(b.at, at)
	}
	for at, name := range names {
		if !slices.Contains(b.at, at) {
			return refusal("Sheet %s has no column %s; it is needed even where its cells are empty.", b.of.name, name)
		}
	}
	return nil
}

// set sets a field from the text behind a cell.
func (b *wholeBookReader) set(v reflect.Value, s string) bool {
	if v.Kind() == reflect.String {
		v.SetString(s)
		return true
	}
	if s == "" {
		return optional(v)
	}
	switch to := v.Addr().Interface().(type) {
	case *quantity.Date:
		d, ok := b.day(s)
		*to = d
		return ok
	case *quantity.Period:
		if to.UnmarshalText([]byte(s)) == nil {
			return true
		}
		d, ok := b.day(s)
		*to = quantity.Day(d)
		return ok
	case *register.Cycles:
		rows, ok := rowsIn[wholeCycle]([]byte(s))
		*to = cyclesIn(rows)
		return ok
	case *register.Temperatures:
		rows, ok := rowsIn[wholeTemperature]([]byte(s))
		*to = temperaturesIn(rows)
		return ok
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	return setNumber(v, s)
}

// setNumber sets a number or a yes or no.
func setNumber(v reflect.Value, s string) bool {
	if v.Kind() == reflect.Bool {
		v.SetBool(isTrue(s))
		return isTrue(s) || s == "0" || strings.EqualFold(s, "false")
	}
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || !plainNumber(s) || math.IsInf(f, 0) {
		return false
	}
	if v.Kind() == reflect.Float64 {
		v.SetFloat(f)
		return true
	}
	v.SetInt(int64(f))
	return f == math.Trunc(f) && math.Abs(f) < 1<<31
}

// day reads a day as a spreadsheet keeps it, or as written.
func (b *wholeBookReader) day(s string) (quantity.Date, bool) {
	if d, err := quantity.ParseDate(s); err == nil {
		return d, true
	}
	n, err := strconv.Atoi(s)
	if err != nil || n <= serialWrong || n > 3_000_000 { // the year 9999 is 2 958 465
		return quantity.Date{}, false
	}
	d := quantity.Date(b.w.zero).AddDays(n)
	return d, !d.IsZero()
}
