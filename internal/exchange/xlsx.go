package exchange

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/register"
)

// What a workbook may hold. A million rows of thirty cells unpack to about a
// gigabyte; no list of hoses comes near. Sheets and their shared texts are
// unpacked to disk, everything else to memory.
const (
	maxPacked   = 128 << 20
	maxUnpacked = 768 << 20
	maxOther    = 64 << 20 // pictures, styles and the rest
	maxEntries  = 5000
	inMemory    = 4 << 20 // of one sheet; larger ones are read from disk
	maxMerged   = 100_000
)

// workbook is an open XLSX file.
type workbook struct {
	file   *excelize.File
	merged map[string][]span // by the sheet's name
	zero   dayZero
	pkg    *zip.Reader
	parts  map[string]string // by the sheet's name
}

// span is a merged range more than one row high: its value stands in its
// first cell and counts for the rows below.
type span struct{ col, from, to int } // 0-based column, rows from 1

// openWorkbook checks the package before anything is made of it, then opens it
// for reading row by row. The guard against panics is for the library: what a
// damaged workbook holds is not in our hands.
func openWorkbook(r io.ReaderAt, size int64) (w *workbook, err error) {
	defer func() {
		if p := recover(); p != nil {
			w, err = nil, damaged()
		}
	}()
	if size > maxPacked {
		return nil, tooLarge("The workbook is larger than %d MB, which no list needs; save the one sheet as CSV.", maxPacked>>20)
	}
	zr, err := zip.NewReader(r, size)
	if err != nil {
		return nil, damaged()
	}
	spans, err := checkPackage(zr)
	if err != nil {
		return nil, err
	}
	opts := excelize.Options{UnzipSizeLimit: maxUnpacked, UnzipXMLSizeLimit: inMemory}
	var f *excelize.File
	if disk, ok := r.(*os.File); ok { // read in place, not into memory
		f, err = excelize.OpenFile(disk.Name(), opts)
	} else {
		f, err = excelize.OpenReader(io.NewSectionReader(r, 0, size), opts)
	}
	if err != nil {
		if f != nil {
			_ = f.Close()
		}
		return nil, damaged()
	}
	w = &workbook{file: f, merged: map[string][]span{}, zero: from1900, pkg: zr, parts: sheetParts(zr)}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil && *props.Date1904 {
		w.zero = from1904
	}
	for name, part := range w.parts {
		w.merged[name] = spans[part]
	}
	return w, nil
}

func damaged() error {
	return &register.Error{Code: register.Invalid, Sentence: "The file is not a workbook that can be read; open it in a spreadsheet program and save it again as XLSX or CSV."}
}

func tooLarge(format string, args ...any) error {
	return &register.Error{Code: register.TooLarge, Sentence: fmt.Sprintf(format, args...)}
}

func isSheetPart(name string) bool {
	return strings.HasPrefix(name, "xl/worksheets/sheet") && strings.HasSuffix(name, ".xml")
}

// checkPackage unpacks every part to nowhere, counting: what a package says of
// its sizes is only a claim. On the way it collects the merged ranges, which
// stand behind the rows of a sheet.
func checkPackage(zr *zip.Reader) (map[string][]span, error) {
	bomb := tooLarge("The workbook unpacks to more than %d MB, which no list needs: it is refused; save the one sheet as CSV.", maxUnpacked>>20)
	if len(zr.File) > maxEntries {
		return nil, tooLarge("The workbook has more than %d parts, which no list needs: it is refused; save the one sheet as CSV.", maxEntries)
	}
	var declared uint64
	for _, f := range zr.File {
		declared += f.UncompressedSize64
		if f.UncompressedSize64 > maxUnpacked || declared > maxUnpacked {
			return nil, bomb
		}
	}
	spans := map[string][]span{}
	var total, other int64
	for _, f := range zr.File {
		name := strings.ToLower(strings.ReplaceAll(f.Name, "\\", "/"))
		scan := &mergeScanner{active: isSheetPart(name)}
		n, err := unpack(f, scan, maxUnpacked-total)
		total += n
		sheet := isSheetPart(name) || name == "xl/sharedstrings.xml"
		if !sheet {
			other += n
		}
		switch {
		case errors.Is(err, errBomb):
			return nil, bomb
		case err != nil:
			return nil, damaged()
		case other > maxOther:
			return nil, tooLarge("The pictures and other parts of the workbook unpack to more than %d MB; save the one sheet as CSV.", maxOther>>20)
		}
		if scan.active {
			spans[name] = scan.spans
		}
	}
	return spans, nil
}

var errBomb = errors.New("unpacks to more than it may")

func unpack(f *zip.File, to io.Writer, most int64) (int64, error) {
	r, err := f.Open()
	if err != nil {
		return 0, err
	}
	defer r.Close()
	n, err := io.Copy(to, io.LimitReader(r, most+1))
	if n > most {
		return n, errBomb
	}
	return n, err
}

// mergeScanner finds <mergeCell ref="A3:A14"/> in what is written to it.
type mergeScanner struct {
	active bool
	rest   []byte
	spans  []span
}

var mergeTag = []byte("mergeCell ")

// Write never fails.
func (m *mergeScanner) Write(p []byte) (int, error) {
	if !m.active {
		return len(p), nil
	}
	b := append(m.rest, p...)
	for len(m.spans) < maxMerged {
		i := bytes.Index(b, mergeTag)
		if i < 0 {
			b = b[max(len(b)-len(mergeTag), 0):]
			break
		}
		end := bytes.IndexByte(b[i:], '>')
		if end < 0 {
			if len(b)-i > 4096 { // no such tag is that long
				i += len(mergeTag)
			}
			b = b[i:]
			break
		}
		m.take(string(b[i : i+end]))
		b = b[i+end:]
	}
	m.rest = append(m.rest[:0], b[max(len(b)-8192, 0):]...)
	return len(p), nil
}

func (m *mergeScanner) take(tag string) {
	_, ref, ok := strings.Cut(tag, `ref="`)
	ref, _, closed := strings.Cut(ref, `"`)
	first, last, ranged := strings.Cut(ref, ":")
	if !ok || !closed || !ranged {
		return
	}
	col, from, err1 := excelize.CellNameToCoordinates(first)
	_, to, err2 := excelize.CellNameToCoordinates(last)
	if err1 == nil && err2 == nil && to > from && col <= maxColumns {
		m.spans = append(m.spans, span{col - 1, from, to})
	}
}

// sheetParts maps the names of sheets to the parts they are kept in; empty
// where the package does not say.
func sheetParts(zr *zip.Reader) map[string]string {
	var book struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"id,attr"`
		} `xml:"sheets>sheet"`
	}
	var rels struct {
		All []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	if !decodePart(zr, "xl/workbook.xml", &book) || !decodePart(zr, "xl/_rels/workbook.xml.rels", &rels) {
		return nil
	}
	target := map[string]string{}
	for _, r := range rels.All {
		t := strings.ReplaceAll(r.Target, "\\", "/")
		if !strings.HasPrefix(t, "/") {
			t = path.Join("xl", t)
		}
		target[r.ID] = strings.ToLower(strings.TrimPrefix(t, "/"))
	}
	parts := map[string]string{}
	for _, s := range book.Sheets {
		parts[s.Name] = target[s.ID]
	}
	return parts
}

func decodePart(zr *zip.Reader, name string, to any) bool {
	for _, f := range zr.File {
		if strings.EqualFold(f.Name, name) {
			r, err := f.Open()
			if err != nil {
				return false
			}
			defer r.Close()
			return xml.NewDecoder(io.LimitReader(r, inMemory)).Decode(to) == nil
		}
	}
	return false
}

func (w *workbook) close() error { return w.file.Close() }

// sheetReader reads one sheet row by row: as shown, and as kept, side by side.
type sheetReader struct {
	shown, kept *excelize.Rows
	zero        dayZero
	spans       []span   // by first row; those still to come
	open        []merged // those that reach the current row
	row         int
	blank       int // blank rows in a line
}

// merged is a span with the value of its first cell.
type merged struct {
	span
	first xlsxCell
}

// xlsxCell is one cell: as shown, and the number kept behind it.
type xlsxCell struct {
	text   string
	number *float64
}

func (w *workbook) rows(sheet string) (*sheetReader, error) {
	shown, err := w.file.Rows(sheet)
	if err != nil {
		return nil, damaged()
	}
	kept, err := w.file.Rows(sheet)
	if err != nil {
		return nil, errors.Join(damaged(), shown.Close())
	}
	spans := slices.SortedFunc(slices.Values(w.merged[sheet]), func(a, b span) int { return a.from - b.from })
	return &sheetReader{shown: shown, kept: kept, zero: w.zero, spans: spans}, nil
}

func (s *sheetReader) close() {
	_ = s.shown.Close()
	_ = s.kept.Close()
}

// maxBlankRows ends a sheet: formatting can reach down to the last row there is.
const maxBlankRows = 20_000

// read gives the next row, nil cells for a blank one, io.EOF at the end.
func (s *sheetReader) read() (cells []xlsxCell, err error) {
	defer func() { // as in openWorkbook
		if p := recover(); p != nil {
			cells, err = nil, damaged()
		}
	}()
	if s.blank > maxBlankRows || !s.shown.Next() || !s.kept.Next() {
		if s.shown.Error() != nil {
			return nil, damaged()
		}
		return nil, io.EOF
	}
	s.row++
	shown, err := s.shown.Columns()
	if err != nil {
		return nil, damaged()
	}
	kept, err := s.kept.Columns(excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, damaged()
	}
	n := max(len(shown), len(kept))
	for n > 0 && at(shown, n-1) == "" && at(kept, n-1) == "" {
		n--
	}
	if n > maxColumns {
		return nil, &errRow{s.row, fmt.Sprintf("has more than %d columns; check that this is the right sheet", maxColumns)}
	}
	cells = make([]xlsxCell, n)
	size := 0
	for i := range cells {
		cells[i] = makeCell(at(shown, i), at(kept, i))
		size += len(cells[i].text)
	}
	if size > maxRecord {
		return nil, &errRow{s.row, "is longer than any row of a list can be"}
	}
	s.passMerged(cells)
	cells = s.fillMerged(cells)
	if len(cells) == 0 {
		s.blank++
		return nil, nil
	}
	s.blank = 0
	return cells, nil
}

func at(row []string, i int) string {
	if i < len(row) {
		return row[i]
	}
	return ""
}

// makeCell joins what a cell shows and what it keeps. A number too long to be
// shown, 1.2E+11, is taken as kept.
func makeCell(shown, kept string) xlsxCell {
	c := xlsxCell{text: shown}
	if shown == "" {
		c.text = kept
	}
	v, err := strconv.ParseFloat(kept, 64)
	if err != nil || kept != strings.TrimSpace(kept) || !plainNumber(kept) {
		return c
	}
	if shown == kept && grouped(kept) {
		return c // a text can look the same: 1.234 as people type thousands
	}
	c.number = &v
	if strings.Contains(shown, "E+") || strings.Contains(shown, "E-") {
		c.text = strconv.FormatFloat(v, 'f', -1, 64)
	}
	return c
}

// plainNumber tells a number from the texts that ParseFloat also takes, such
// as inf, and from codes with leading zeros.
func plainNumber(s string) bool {
	d := strings.TrimPrefix(s, "-")
	return d != "" && d[0] >= '0' && d[0] <= '9' && !(len(d) > 1 && d[0] == '0' && d[1] != '.') && !strings.ContainsAny(d, "xX_pP")
}

// fillMerged puts the value of a merged range into its lower rows.
func (s *sheetReader) fillMerged(cells []xlsxCell) []xlsxCell {
	if len(cells) == 0 {
		return cells // a blank row inside a merged range stays blank
	}
	for _, m := range s.open {
		for m.first.text != "" && len(cells) <= m.col {
			cells = append(cells, xlsxCell{})
		}
		if m.first.text != "" && cells[m.col].text == "" {
			cells[m.col] = m.first
		}
	}
	return cells
}

// passMerged takes up the spans that begin at the current row and drops those
// that ended above it.
func (s *sheetReader) passMerged(cells []xlsxCell) {
	s.open = slices.DeleteFunc(s.open, func(m merged) bool { return m.to < s.row })
	for len(s.spans) > 0 && s.spans[0].from <= s.row {
		m := merged{span: s.spans[0]}
		if m.col < len(cells) && m.from == s.row {
			m.first = cells[m.col]
		}
		s.spans = s.spans[1:]
		s.open = append(s.open, m)
	}
}
