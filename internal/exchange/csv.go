package exchange

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"

	"hoseward/internal/register"
)

// What one row may hold. A list has a few dozen columns and cells of a line
// or two; beyond this the file is something else, and reading on would only
// fill memory.
const (
	maxRecord  = 1 << 20 // bytes of one row
	maxCell    = 64 << 10
	maxColumns = 500
)

// csvReader reads rows of separated values as spreadsheets write them. It
// differs from encoding/csv in what real lists need: a quote inside a bare
// cell (1/2") and behind a quoted one is taken as it stands, blank rows count,
// and a quote that is never closed ends with the row it began in, instead of
// with the whole file in memory.
type csvReader struct {
	r     *bufio.Reader
	comma byte
	row   int // of the record read last, from 1
	width int // columns of the sheet, once its headers are known; 0 before

	buf  []byte // the cells of the record, one behind the other
	ends []int
}

func newCSVReader(r io.Reader, comma byte) *csvReader {
	return &csvReader{r: bufio.NewReaderSize(r, chunk), comma: comma}
}

// errRow is a row that cannot be read; the reading ends there.
type errRow struct {
	row      int
	sentence string
}

func (e *errRow) Error() string { return fmt.Sprintf("row %d %s", e.row, e.sentence) }

// read gives the next record, nil cells for a blank row, io.EOF at the end.
// The cells are new strings.
func (c *csvReader) read() ([]string, error) {
	c.buf, c.ends = c.buf[:0], c.ends[:0]
	c.row++
	start, n := 0, 0
	for {
		b, err := c.r.ReadByte()
		switch {
		case errors.Is(err, io.EOF):
			if n == 0 {
				return nil, io.EOF
			}
			return c.record(start)
		case err != nil:
			return nil, fmt.Errorf("read row %d: %w", c.row, err)
		}
		n++
		switch {
		case b == 0:
			return nil, &errRow{c.row, zeroBytes}
		case b == c.comma:
			if len(c.ends) >= maxColumns {
				return nil, &errRow{c.row, fmt.Sprintf("has more than %d columns; check that the right separator and file were chosen", maxColumns)}
			}
			c.ends = append(c.ends, len(c.buf))
			start = len(c.buf)
		case b == '\n':
			return c.record(start)
		case b == '\r':
			if next, err := c.r.Peek(1); err == nil && next[0] == '\n' {
				_, _ = c.r.ReadByte()
			}
			return c.record(start)
		case b == '"' && len(c.buf) == start:
			if err := c.quoted(len(c.ends) + 1); err != nil {
				return nil, err
			}
		default:
			c.buf = append(c.buf, b)
		}
		if len(c.buf) > maxRecord || len(c.buf)-start > maxCell {
			return nil, &errRow{c.row, "is longer than any row of a list can be; check that the file is a list with one row per line"}
		}
	}
}

// quoted reads up to the closing quote. A quote followed by anything but a
// separator or the end of the row is a part of the text, on the cell's first
// line; further down it shows that the quote before it was never closed, as do
// whole rows inside a cell.
func (c *csvReader) quoted(column int) error {
	begin, line, separators := len(c.buf), 0, 0
	unclosed := &errRow{c.row, fmt.Sprintf("has a quotation mark in column %s that is never closed; close it, or take it out", columnLetter(column-1))}
	for {
		b, err := c.r.ReadByte()
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("read row %d: %w", c.row, err)
		}
		if err != nil || len(c.buf)-begin > maxCell {
			return unclosed
		}
		switch b {
		case 0:
			return &errRow{c.row, zeroBytes}
		case c.comma:
			separators++
		case '\n':
			if c.wholeRow(line, separators) {
				return unclosed
			}
			line, separators = line+1, 0
		case '"':
			next, err := c.r.Peek(1)
			if err != nil || next[0] == c.comma || next[0] == '\n' || next[0] == '\r' {
				if c.wholeRow(line, separators) {
					return unclosed
				}
				return nil
			}
			if next[0] == '"' {
				_, _ = c.r.ReadByte()
			} else if line > 0 {
				return unclosed
			}
		}
		c.buf = append(c.buf, b)
	}
}

// wholeRow tells a line inside a quoted cell that has as many separators as a
// row of the sheet. Commas also stand in sentences, so they need a wide sheet.
func (c *csvReader) wholeRow(line, separators int) bool {
	return line > 0 && separators >= c.width-1 && (c.width >= 8 || c.width >= 3 && c.comma != ',')
}

func (c *csvReader) record(start int) ([]string, error) {
	c.ends = append(c.ends, len(c.buf))
	if len(c.ends) == 1 && len(c.buf) == start {
		return nil, nil
	}
	text := string(c.buf)
	cells := make([]string, len(c.ends))
	from := 0
	for i, end := range c.ends {
		cells[i] = text[from:end]
		from = end
	}
	return cells, nil
}

const zeroBytes = "holds zero bytes: this is not a text file; save the list as CSV or XLSX"

// separators are tried in this order; the first of equals is taken.
var separators = [...]byte{';', ',', '\t', '|'}

// sniffSeparator finds what separates the cells from the first rows: the one
// that makes most headers recognisable, then the one that cuts most rows into
// the same number of cells.
func sniffSeparator(kind register.ImportKind, sample string) (comma byte, skip bool) {
	if first, _, _ := strings.Cut(sample, "\n"); len(first) >= 5 && strings.EqualFold(first[:4], "sep=") {
		return first[4], true // the line spreadsheets write for themselves
	}
	best := -1
	comma = separators[0]
	for _, sep := range separators {
		rows := sampleRows(sample, sep)
		_, _, score, _ := findHeader(kind, rows)
		rank := score*1000 + sameWidth(rows)
		if rank > best {
			best, comma = rank, sep
		}
	}
	return comma, false
}

// sampleRows cuts the start of a file, as far as it goes.
func sampleRows(sample string, comma byte) [][]string {
	c := newCSVReader(strings.NewReader(sample), comma)
	var rows [][]string
	for len(rows) < searchRows {
		cells, err := c.read()
		if err != nil {
			break
		}
		rows = append(rows, cells)
	}
	return rows
}

// sameWidth counts the rows of the most frequent width over 1.
func sameWidth(rows [][]string) int {
	widths := map[int]int{}
	most := 0
	for _, r := range rows {
		if len(r) > 1 {
			widths[len(r)]++
			most = max(most, widths[len(r)])
		}
	}
	return most
}
