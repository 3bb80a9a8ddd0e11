package exchange

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// A whole register goes out and comes back as a workbook, a sheet for each
// part, or as one JSON document, a list for each part. Both have the same
// columns: the tags of the Whole structs of package register. Every part and
// every column must be there and no other may, so that nothing is lost without
// a word.

// WholeWriter writes a whole register.
type WholeWriter interface {
	// Write takes rows part by part in the order of register.WholeParts.
	Write(row register.WholeRow) error
	// Close ends the file; without it the file is not whole.
	Close() error
}

// NewWholeWriter writes a whole register to w as XLSX or JSON. head is that of
// its change log when the file is begun; it stands in a sheet or at a key of its
// own, which is skipped in reading. The zero head stands nowhere.
func NewWholeWriter(w io.Writer, format Format, head register.Head) (WholeWriter, error) {
	switch format {
	case XLSX:
		return newWholeBook(w, head), nil
	case JSON:
		return newWholeDocument(w, head), nil
	}
	return nil, fmt.Errorf("write a whole register as %q: no such format", string(format))
}

// Whole is a whole register being read: a register.WholeSource.
type Whole interface {
	register.WholeSource
	Format() Format
	Close() error
}

// IsWhole tells a file that holds, or means to hold, a whole register from a
// sheet of machines, hoses or readings.
func IsWhole(r io.ReaderAt, size int64) bool {
	head := make([]byte, 512)
	n, _ := r.ReadAt(head, 0)
	head = bytes.TrimLeft(bytes.TrimPrefix(head[:n], []byte("\xef\xbb\xbf")), " \t\r\n")
	if bytes.HasPrefix(head, []byte("{")) {
		return true
	}
	return bytes.HasPrefix(head, []byte("PK\x03\x04")) && hasWholeSheet(r, size)
}

// OpenWhole opens a whole register, XLSX or JSON as its first bytes say. A file
// that cannot be one is a *register.Error; so is what Next finds wrong, with
// the place of the cell. The caller closes what is returned.
func OpenWhole(r io.ReaderAt, size int64) (Whole, error) {
	if size > maxFile {
		return nil, tooLarge("The file is larger than 2 GB, which is more than is taken at once.")
	}
	head := make([]byte, 4)
	if n, err := r.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the start of the file: %w", err)
	} else if bytes.HasPrefix(head[:n], []byte("PK\x03\x04")) {
		return openWholeBook(r, size)
	}
	return openWholeDocument(r, size)
}

// wholeColumn is one column of a part.
type wholeColumn struct {
	name  string
	index []int
}

// wholeColumns are the columns of a part in their order.
func wholeColumns(part register.WholePart) []wholeColumn {
	return fieldsOf(reflect.TypeOf(register.NewWholeRow(part)).Elem(), nil)
}

func fieldsOf(t reflect.Type, at []int) []wholeColumn {
	var out []wholeColumn
	for i := range t.NumField() {
		f := t.Field(i)
		index := append(at[:len(at):len(at)], i)
		if f.Anonymous {
			out = append(out, fieldsOf(f.Type, index)...)
			continue
		}
		out = append(out, wholeColumn{f.Tag.Get("json"), index})
	}
	return out
}

func (c wholeColumn) of(row register.WholeRow) reflect.Value {
	return reflect.ValueOf(row).Elem().FieldByIndex(c.index)
}

// The rows of cycles and temperatures, as documents hold them.
type wholeCycle struct {
	MinBar  float64  `json:"min_bar"`
	MaxBar  float64  `json:"max_bar"`
	Count   float64  `json:"count"`
	Per     string   `json:"per,omitempty"` // hour if absent
	PerHour *float64 `json:"per_hour,omitempty"`
}

type wholeTemperature struct {
	C     float64 `json:"c"`
	Share float64 `json:"share"`
}

// wholeValue is a field as it goes out: a string, int, float64, bool,
// quantity.Date, []wholeCycle or []wholeTemperature; nil where nothing is said.
func wholeValue(v reflect.Value) any {
	switch x := v.Interface().(type) {
	case quantity.Date:
		if x.IsZero() {
			return nil
		}
		return x
	case quantity.Period:
		switch {
		case x.IsZero():
			return nil
		case x.Precision == quantity.ToDay:
			return x.From
		}
		return x.String()
	case register.Cycles:
		return cyclesOut(x)
	case register.Temperatures:
		return temperaturesOut(x)
	}
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.String:
		return v.String()
	case reflect.Int:
		return int(v.Int())
	}
	return v.Interface()
}

func cyclesOut(rows register.Cycles) any {
	if len(rows) == 0 {
		return nil
	}
	out := make([]wholeCycle, len(rows))
	for i, c := range rows {
		out[i] = wholeCycle(c)
	}
	return out
}

func temperaturesOut(rows register.Temperatures) any {
	if len(rows) == 0 {
		return nil
	}
	out := make([]wholeTemperature, len(rows))
	for i, t := range rows {
		out[i] = wholeTemperature(t)
	}
	return out
}

func cyclesIn(rows []wholeCycle) register.Cycles {
	var out register.Cycles
	for _, c := range rows {
		out = append(out, life.Cycle(c))
	}
	return out
}

func temperaturesIn(rows []wholeTemperature) register.Temperatures {
	var out register.Temperatures
	for _, t := range rows {
		out = append(out, life.TemperatureShare(t))
	}
	return out
}

// wholeWants says in words what a column takes.
func wholeWants(v reflect.Value) string {
	switch v.Interface().(type) {
	case quantity.Date:
		return "a date like 2026-11-25"
	case quantity.Period:
		return "a date like 2026-11-25, 2026-11, 4Q2026 or 2026"
	case register.Cycles:
		return `pressure cycles like [{"min_bar":5,"max_bar":180,"count":40}]`
	case register.Temperatures:
		return `temperatures like [{"c":60,"share":1}]`
	}
	t := v.Type()
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return "a text"
}

// optional reports whether a column may say nothing.
func optional(v reflect.Value) bool {
	switch v.Interface().(type) {
	case quantity.Date, quantity.Period, register.Cycles, register.Temperatures:
		return true
	}
	return v.Kind() == reflect.Pointer
}

// clipped is what stands in a cell, short enough for a sentence.
func clipped(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < ' ' {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
