package exchange

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"hoseward/internal/register"
)

// Writer writes rows as CSV that Open reads back as the same rows: UTF-8,
// commas, the headers of Fields. Numbers are in the units of the headers, with
// a point; texts that a spreadsheet would run as a formula get an apostrophe,
// which Open takes off again.
type Writer struct {
	w      *bufio.Writer
	fields []Field
	err    error
}

// NewWriter writes the headers for rows of that kind. Call Flush at the end.
func NewWriter(w io.Writer, kind register.ImportKind) *Writer {
	out := &Writer{w: bufio.NewWriterSize(w, chunk)}
	for _, f := range Fields(kind) {
		if f.write != nil {
			out.fields = append(out.fields, f)
		}
	}
	for i, f := range out.fields {
		out.cell(i, f.Title)
	}
	out.end()
	return out
}

// Write writes one row, of which the part of the writer's kind is set.
func (w *Writer) Write(row *register.ImportRow) error {
	for i, f := range w.fields {
		w.cell(i, f.write(row))
	}
	w.end()
	return w.err
}

// Flush writes what is held back and gives the first error there was.
func (w *Writer) Flush() error {
	if err := w.w.Flush(); w.err == nil {
		w.err = err
	}
	if w.err != nil {
		return fmt.Errorf("write the sheet: %w", w.err)
	}
	return nil
}

func (w *Writer) cell(i int, s string) {
	if i > 0 {
		w.keep(w.w.WriteByte(','))
	}
	w.keep(writeCell(w.w, s))
}

func (w *Writer) end() { w.keep(w.w.WriteByte('\n')) }

func (w *Writer) keep(err error) {
	if w.err == nil {
		w.err = err
	}
}

// writeCell quotes a cell where it must be.
func writeCell(w *bufio.Writer, s string) error {
	if !strings.ContainsAny(s, ",;\"\n\r\t") && s == strings.TrimSpace(s) {
		_, err := w.WriteString(s)
		return err
	}
	_, err := w.WriteString(`"` + strings.ReplaceAll(s, `"`, `""`) + `"`)
	return err
}

// GiveBack writes rows that were not taken as a sheet of their own: the cells
// as they stood, and why. Mended, it can be imported as it is: the reasons are
// not read.
type GiveBack struct {
	w     *bufio.Writer
	width int
	rows  int
	err   error
}

// giveBackMark makes spreadsheet programs read the file as UTF-8.
const giveBackMark = "\ufeff"

// NewGiveBack writes the headers of the sheet the rows are from. Units that
// stood in a row below the headers stand there again.
func NewGiveBack(w io.Writer, info Info) *GiveBack {
	g := &GiveBack{w: bufio.NewWriterSize(w, chunk), width: len(info.Columns)}
	g.write(giveBackMark)
	headers, units, below := make([]string, 0, g.width+1), make([]string, g.width), false
	for i, c := range info.Columns {
		headers = append(headers, guard(c.Header))
		if c.below {
			units[i], below = c.Unit, true
		}
	}
	g.line(append(headers, reasonsHeader))
	if below {
		g.line(units)
	}
	return g
}

// Row writes one row with its reasons.
func (g *GiveBack) Row(row register.ImportRow, reasons []register.CellError) error {
	cells := make([]string, g.width)
	for i := range cells {
		if i < len(row.Cells) {
			cells[i] = guardCell(row.Cells[i])
		}
	}
	var why []string
	for _, r := range reasons {
		s := r.Sentence
		if r.Column != "" {
			s = r.Column + ": " + s
		}
		why = append(why, s)
	}
	g.line(append(cells, guard(strings.Join(why, "; "))))
	g.rows++
	return g.err
}

// guardCell is guard for cells as they stood: a negative number is no formula.
func guardCell(s string) string {
	t := trimCell(s)
	if unguard(t) != t || nothing(t, true) {
		return s
	}
	rest := strings.TrimLeft(t, "+-")
	if len(rest) == len(t)-1 && rest != "" && strings.Trim(rest, "0123456789.,") == "" {
		return s
	}
	return guard(s)
}

// Rows is how many rows were written.
func (g *GiveBack) Rows() int { return g.rows }

// Flush writes what is held back and gives the first error there was.
func (g *GiveBack) Flush() error {
	if err := g.w.Flush(); g.err == nil {
		g.err = err
	}
	if g.err != nil {
		return fmt.Errorf("write the rows that were not taken: %w", g.err)
	}
	return nil
}

func (g *GiveBack) line(cells []string) {
	for i, c := range cells {
		if i > 0 {
			g.write(";")
		}
		if g.err == nil {
			g.err = writeCell(g.w, c)
		}
	}
	g.write("\n")
}

func (g *GiveBack) write(s string) {
	if g.err == nil {
		_, g.err = g.w.WriteString(s)
	}
}
