package exchange

import (
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"strconv"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Format is how a list goes out.
type Format string

// The formats, each named as its files end.
const (
	CSV  Format = "csv"
	XLSX Format = "xlsx"
	JSON Format = "json" // of whole registers only
)

// MediaType is what a file of the format is served as.
func (f Format) MediaType() string {
	switch f {
	case XLSX:
		return "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	case JSON:
		return "application/json"
	}
	return "text/csv; charset=utf-8"
}

// ListColumn is a column of a list of rows T. Its header names the unit. Value
// gives a string, an int, float64, bool, quantity.Date or quantity.Period, a
// pointer to one of int, float64 and bool, or nil; a nil pointer, no date and
// an unknown period are empty cells.
type ListColumn[T any] struct {
	Header string
	Value  func(T) any
}

// WriteList writes a list row by row, in memory that does not grow with it. In
// CSV a text that a spreadsheet program would run as a formula gets an
// apostrophe; in XLSX texts are texts. Open takes either back as it was. sheet
// is the name of the sheet of a workbook. head is that of the change log when
// the list is begun: in a workbook it stands in a sheet of its own, behind the
// list; a CSV has no place for it that would not be taken for a row.
func WriteList[T any](w io.Writer, format Format, sheet string, head register.Head, columns []ListColumn[T], rows iter.Seq2[T, error]) error {
	headers := make([]string, len(columns))
	for i, c := range columns {
		headers[i] = c.Header
	}
	var out listWriter
	switch format {
	case CSV:
		out = &csvList{w: csv.NewWriter(w)}
	case XLSX:
		out = &xlsxList{book: newBookWriter(w), name: sheet, headers: headers, head: head}
	default:
		return fmt.Errorf("write a list as %q: no such format", string(format))
	}
	out.begin(headers)
	values := make([]any, len(columns))
	for row, err := range rows {
		if err != nil {
			return err
		}
		for i, c := range columns {
			values[i] = plainValue(c.Value(row))
		}
		if err := out.row(values); err != nil {
			return fmt.Errorf("write the list: %w", err)
		}
	}
	if err := out.close(); err != nil {
		return fmt.Errorf("write the list: %w", err)
	}
	return nil
}

type listWriter interface {
	begin(headers []string)
	row(values []any) error
	close() error
}

// plainValue takes pointers and periods to what a cell can hold.
func plainValue(v any) any {
	switch v := v.(type) {
	case *int:
		if v != nil {
			return *v
		}
		return nil
	case *float64:
		if v != nil {
			return *v
		}
		return nil
	case *bool:
		if v != nil {
			return *v
		}
		return nil
	case quantity.Period:
		if v.Precision == quantity.ToDay {
			return v.From
		}
		return v.String()
	}
	return v
}

type csvList struct {
	w     *csv.Writer
	cells []string
}

func (l *csvList) begin(headers []string) {
	l.cells = make([]string, len(headers))
	_ = l.w.Write(headers) // the writer keeps its error for close
}

func (l *csvList) row(values []any) error {
	for i, v := range values {
		l.cells[i] = csvText(v)
	}
	return l.w.Write(l.cells)
}

func (l *csvList) close() error {
	l.w.Flush()
	return l.w.Error()
}

func csvText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return guard(v)
	case int:
		return strconv.Itoa(v)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		return yesOrNo(v)
	}
	return fmt.Sprint(v)
}

func yesOrNo(v bool) string {
	if v {
		return "yes"
	}
	return "no"
}

// xlsxList goes on in another sheet where one is full.
type xlsxList struct {
	book    *bookWriter
	name    string
	headers []string
	head    register.Head
	sheets  int
}

func (l *xlsxList) begin(headers []string) {
	l.sheets++
	name := l.name
	if l.sheets > 1 {
		name += " " + strconv.Itoa(l.sheets)
	}
	l.book.sheet(name, headers)
}

func (l *xlsxList) row(values []any) error {
	if l.book.full() {
		l.begin(l.headers)
	}
	for i, v := range values {
		switch v := v.(type) {
		case string:
			if unguard(v) != v {
				values[i] = "'" + v // Open takes one apostrophe off
			}
		case bool:
			values[i] = yesOrNo(v) // as in CSV, and as Open reads it
		}
	}
	l.book.cells(values)
	return l.book.err
}

func (l *xlsxList) close() error {
	l.book.headSheet(l.head)
	return l.book.close()
}

// headSheet is the sheet of a workbook that says the head of the change log.
const headSheet = "change log"

// headSheet writes the sheet with a head; none for the zero head.
func (b *bookWriter) headSheet(head register.Head) {
	if head.Seq == 0 {
		return
	}
	b.sheet(headSheet, []string{"head of the change log", "what this is"})
	b.cells([]any{head.String(), "The newest change when this file was begun, and its hash. Keep it: hoseward verify --head finds by it whether the log was written anew since."})
}
