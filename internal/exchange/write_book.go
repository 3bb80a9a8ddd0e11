package exchange

import (
	"fmt"
	"io"
	"strconv"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// RowWriter writes the rows of a sheet that Open reads back as the same rows.
type RowWriter interface {
	// Write writes one row, of which the part of the writer's kind is set.
	Write(row *register.ImportRow) error
	// Flush ends the sheet and gives the first error there was.
	Flush() error
}

// rowBook writes rows of a sheet as a workbook, with the columns of Writer.
type rowBook struct {
	list   xlsxList
	fields []Field
	values []any
}

// NewBookWriter is NewWriter for a workbook: numbers and days are numbers and
// days in it, texts are texts and never formulas. head is as in WriteList.
func NewBookWriter(w io.Writer, kind register.ImportKind, head register.Head) RowWriter {
	out := &rowBook{}
	var headers []string
	for _, f := range Fields(kind) {
		if f.write != nil {
			out.fields, headers = append(out.fields, f), append(headers, f.Title)
		}
	}
	out.values = make([]any, len(headers))
	out.list = xlsxList{book: newBookWriter(w), name: string(kind), headers: headers, head: head}
	out.list.begin(headers)
	return out
}

// Write writes one row.
func (b *rowBook) Write(row *register.ImportRow) error {
	for i, f := range b.fields {
		b.values[i] = f.typed(f.write(row))
	}
	return b.list.row(b.values)
}

// Flush ends the workbook.
func (b *rowBook) Flush() error {
	if err := b.list.close(); err != nil {
		return fmt.Errorf("write the sheet: %w", err)
	}
	return nil
}

// typed is what a field writes as a workbook holds it.
func (f Field) typed(s string) any {
	if s == "" {
		return nil
	}
	if f.text {
		return unguard(s)
	}
	if f.date {
		if d, err := quantity.ParseDate(s); err == nil {
			return d
		}
		return s
	}
	if v, err := strconv.ParseFloat(s, 64); err == nil && plainNumber(s) && strconv.FormatFloat(v, 'f', -1, 64) == s {
		return v
	}
	return s
}
