package exchange

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Options are how a sheet is to be read. The zero value guesses everything
// that can be told from the file and says what it took.
type Options struct {
	// Kind is what the rows are; empty guesses it from the headers.
	Kind register.ImportKind
	// Sheet names the sheet of a workbook to read; empty takes the one whose
	// headers are recognised best.
	Sheet string
	// Meanings says what columns mean, header to field name, or to "" for a
	// column to leave out. It counts before what is recognised. A field name
	// may carry a unit behind an @: rated_bar@psi.
	Meanings map[string]string
	// Remembered gives the meanings kept for a set of headers; it is asked
	// only where Meanings is nil. May be nil.
	Remembered func(kind register.ImportKind, headerHash string) (map[string]string, error)
	// Today, where it is a date, refuses days that are still to come.
	Today quantity.Date
}

// Info says how a sheet was read.
type Info struct {
	Kind        register.ImportKind
	KindGuessed bool
	Format      string // "CSV" or "XLSX"
	Encoding    string // of CSV
	Separator   string // of CSV, in words
	SheetName   string // of XLSX
	OtherSheets []string
	HeaderRow   int // from 1
	Columns     []Column
	HeaderHash  string
	// Missing names the fields the sheet cannot do without and has no column
	// for; Next then gives an error.
	Missing []string
	// Notes are whole sentences on what was taken for granted.
	Notes []string
}

// Headers are the headers in the order of the columns.
func (i Info) Headers() []string {
	h := make([]string, len(i.Columns))
	for n, c := range i.Columns {
		h[n] = c.Header
	}
	return h
}

// Unread lists the columns that are not read and that nobody chose to ignore.
func (i Info) Unread() []Column {
	var of []Column
	for _, c := range i.Columns {
		if c.Found == Unknown || c.Found == Duplicate {
			of = append(of, c)
		}
	}
	return of
}

// Sheet is an open sheet. Close it.
type Sheet struct {
	Info
	next    func() ([]xlsxCell, int, error) // cells and row number
	close   func() error
	zero    dayZero
	headers map[string]string // by field
	cellAt  map[string]int    // index in the cells of a row, by field
	b       builder
	ahead   [][]xlsxCell // rows read while looking for the headers
	above   above
	row     int   // number of the last row given
	err     error // sticks
}

// maxFile is the largest file that is looked at.
const maxFile = 2 << 30

// Open finds out what kind of file it is and where its headers are. size is
// the length of the file. Files over 2 GB, workbooks that unpack to more than
// 768 MB and what is neither CSV nor XLSX give a *register.Error with one
// sentence.
func Open(r io.ReaderAt, size int64, opts Options) (*Sheet, error) {
	if size == 0 {
		return nil, refusal("The file is empty.")
	}
	if size > maxFile {
		return nil, tooLarge("The file is larger than 2 GB; cut it into smaller ones.")
	}
	head := make([]byte, 512)
	n, err := r.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the start of the file: %w", err)
	}
	head = head[:n]
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return openXLSX(r, size, opts)
	case bytes.HasPrefix(head, []byte("\xD0\xCF\x11\xE0")):
		return nil, refusal("The file is an old workbook (.xls) or one with a password; save it as XLSX without a password, or as CSV.")
	case bytes.HasPrefix(head, []byte("%PDF")):
		return nil, refusal("The file is a PDF, from which no rows can be read; ask for the list as XLSX or CSV.")
	case bytes.HasPrefix(head, []byte("\x1f\x8b")), bytes.HasPrefix(head, []byte("PK")), bytes.HasPrefix(head, []byte("7z\xBC\xAF")), bytes.HasPrefix(head, []byte("Rar!")):
		return nil, refusal("The file is packed; unpack it first.")
	case bytes.HasPrefix(bytes.ToLower(bytes.TrimSpace(head)), []byte("<!doctype html")), bytes.HasPrefix(bytes.ToLower(bytes.TrimSpace(head)), []byte("<html")):
		return nil, refusal("The file is a web page; save the list as XLSX or CSV.")
	}
	return openCSV(r, size, opts)
}

func refusal(format string, args ...any) error {
	return &register.Error{Code: register.Invalid, Sentence: fmt.Sprintf(format, args...)}
}

// sampleSize is how much of a text file is looked at to find its separator.
const sampleSize = 64 << 10

func openCSV(r io.ReaderAt, size int64, opts Options) (*Sheet, error) {
	text, err := sniffText(r, size)
	if err != nil {
		return nil, fmt.Errorf("look through the file: %w", err)
	}
	if text.nul {
		return nil, refusal("The file holds zero bytes: it is not a text file; save the list as CSV or XLSX.")
	}
	sample := make([]byte, sampleSize)
	n, err := io.ReadFull(text.decode(r, size), sample)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, refusal("The file cannot be read as text; save the list as CSV or XLSX.")
	}
	if !readable(sample[:n]) {
		return nil, refusal("The file is not a text file; save the list as CSV or XLSX.")
	}
	comma, skip := sniffSeparator(opts.Kind, string(sample[:n]))
	c := newCSVReader(text.decode(r, size), comma)
	if skip {
		if _, err := c.read(); err != nil {
			return nil, refusal("The file is empty.")
		}
	}
	s := &Sheet{close: func() error { return nil }, zero: from1900}
	s.Format, s.Encoding, s.Separator = "CSV", text.name, separatorName(comma)
	if text.mixed {
		s.Notes = append(s.Notes, "Some letters of the file are damaged and show as �; save it anew as UTF-8 if they matter.")
	}
	s.next = func() ([]xlsxCell, int, error) {
		cells, err := c.read()
		row := make([]xlsxCell, len(cells))
		for i, t := range cells {
			row[i].text = t
		}
		return row, c.row, err
	}
	if err := s.findHeaders(opts); err != nil {
		return nil, err
	}
	c.width = len(s.Columns)
	return s, nil
}

// readable tells text from noise: text has hardly any control characters.
func readable(sample []byte) bool {
	odd := 0
	for _, c := range sample {
		if c < ' ' && c != '\n' && c != '\r' && c != '\t' || c == 0x7f {
			odd++
		}
	}
	return odd <= 8 || odd*200 <= len(sample)
}

func separatorName(c byte) string {
	switch c {
	case ';':
		return "semicolon"
	case ',':
		return "comma"
	case '\t':
		return "tab"
	}
	return string(c)
}

// Close releases the file.
func (s *Sheet) Close() error { return s.close() }

// Next gives the next row that is not blank, io.EOF behind the last one. A row
// that cannot be taken has Errors; an error of the file itself is a
// *register.Error and ends the reading.
func (s *Sheet) Next() (register.ImportRow, error) {
	if len(s.Missing) > 0 {
		return register.ImportRow{}, s.missing()
	}
	for {
		cells, err := s.nextCells()
		if err != nil {
			return register.ImportRow{}, err
		}
		if blank(cells) {
			s.above = above{}
			continue
		}
		if s.headerAgain(cells) {
			s.above.row = s.row // a block goes on over the break of a page
			continue
		}
		cells, told := s.fromAbove(cells)
		row := s.build(cells)
		s.noteRepeated(&row, told)
		if s.refuseTotals(&row) {
			s.above = above{}
		}
		return row, nil
	}
}

func (s *Sheet) nextCells() ([]xlsxCell, error) {
	if len(s.ahead) > 0 {
		cells := s.ahead[0]
		s.ahead = s.ahead[1:]
		s.row++
		return cells, nil
	}
	if s.err != nil {
		return nil, s.err
	}
	cells, row, err := s.next()
	if err != nil {
		if !errors.Is(err, io.EOF) {
			err = fileError(err)
		}
		s.err = err
		return nil, err
	}
	s.row = row
	return cells, nil
}

// fileError makes a sentence of what ends the reading.
func fileError(err error) error {
	var row *errRow
	if errors.As(err, &row) {
		return refusal("Row %d %s.", row.row, row.sentence)
	}
	var known *register.Error
	if errors.As(err, &known) {
		return err
	}
	return fmt.Errorf("read the sheet: %w", err)
}

// FirstRows are the first rows below the headers as the sheet shows them, blank
// ones left out, at most n and no more than were looked at to find the headers.
// They can be had where Next cannot give a row for want of a column.
func (s *Sheet) FirstRows(n int) [][]string {
	var rows [][]string
	for _, cells := range s.ahead {
		if !blank(cells) && len(rows) < n {
			rows = append(rows, texts(cells))
		}
	}
	return rows
}

func (s *Sheet) missing() error {
	titles := make([]string, len(s.Missing))
	for i, name := range s.Missing {
		f, _ := FieldNamed(s.Kind, name)
		titles[i] = f.Title
	}
	return refusal("The sheet has no column for %s, which a list of %s needs; say which of its columns it is.", strings.Join(titles, " and "), s.Kind)
}

func blank(cells []xlsxCell) bool {
	for _, c := range cells {
		if trimCell(c.text) != "" {
			return false
		}
	}
	return true
}

// asKept is a cell for handing back: what a workbook keeps, since what it shows
// may be rounded or a day without its year.
func asKept(c cell) string {
	if c.number == nil || c.col.field.text {
		return c.text
	}
	if c.col.field.date {
		if d, ok := serialDay(*c.number, c.days); ok {
			return d.String()
		}
		return c.text
	}
	return c.withUnit()
}

// headerAgain tells the headers repeated on each printed page.
func (s *Sheet) headerAgain(cells []xlsxCell) bool {
	same := 0
	for _, c := range s.Columns {
		if c.index < len(cells) && strings.EqualFold(trimCell(cells[c.index].text), c.Header) {
			same++
		} else if c.index < len(cells) && trimCell(cells[c.index].text) != "" {
			return false
		}
	}
	return same > 1
}

// build makes the typed row.
func (s *Sheet) build(cells []xlsxCell) register.ImportRow {
	row := register.ImportRow{Number: s.row, Cells: make([]string, len(s.Columns)), Headers: s.headers, At: s.cellAt}
	switch s.Kind {
	case register.ImportMachines:
		row.Machine = &register.MachineRow{}
	case register.ImportHoses:
		row.Hose = &register.HoseRow{}
	default:
		row.Reading = &register.ReadingRow{}
	}
	b := &s.b
	b.row, b.causeText, b.doubt, b.sizes = &row, "", false, nil
	clear(b.cells)
	for i := range s.Columns {
		col := &s.Columns[i]
		if col.index >= len(cells) {
			continue
		}
		from := cells[col.index]
		row.Cells[i] = from.text
		if col.Field == "" {
			b.doubt = b.doubt || col.doubt && trimCell(from.text) != ""
			continue
		}
		text := trimCell(from.text)
		if nothing(text, col.field.text) {
			continue
		}
		c := cell{col: col, text: trimCell(unguard(text)), number: from.number, days: s.zero}
		if spreadsheetError(text) {
			b.fail(c, "%s is an error of the spreadsheet, not a value", text)
			continue
		}
		if b.refuseDitto(c) {
			continue
		}
		if strings.ContainsFunc(text, forbiddenRune) { // not only in texts: a cause or a date is kept as written
			b.fail(c, "this holds characters that cannot be printed; type it anew")
			continue
		}
		row.Cells[i] = asKept(c)
		b.cells[col.Field] = c
		col.field.read(b, c)
	}
	if row.Hose != nil {
		b.finishHose()
	}
	return row
}
