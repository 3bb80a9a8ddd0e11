package exchange

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strconv"

	"hoseward/internal/register"
)

// wholeSheet is the first sheet of a workbook that holds a whole register. It
// says the version of the form; the other sheets are the parts.
const wholeSheet = "hoseward register"

// continued is the last column of every part: TRUE says that the texts of the
// row go on those of the row above, since a cell holds no longer ones.
const continued = "continued"

// cellRunes is how many letters of a text go into one cell; spreadsheet
// programs hold 32 767 UTF-16 units.
const cellRunes = 16000

// wholeBook writes a whole register as a workbook.
type wholeBook struct {
	book  *bookWriter
	parts []register.WholePart // still to be begun
	part  register.WholePart
	again int // how often the part had to go on in another sheet
}

func newWholeBook(w io.Writer, head register.Head) *wholeBook {
	b := &wholeBook{book: newBookWriter(w), parts: register.WholeParts()}
	b.book.sheet(wholeSheet, []string{"version of the form", "what this is"})
	b.book.cells([]any{register.WholeVersion, "A whole register of hydraulic hoses, a sheet for each kind of thing. It is taken as it is into an empty register: hoseward import FILE."})
	b.book.headSheet(head)
	return b
}

// Write writes a row.
func (b *wholeBook) Write(row register.WholeRow) error {
	for b.part != row.Part() {
		if len(b.parts) == 0 {
			return fmt.Errorf("write %s: the rows are not in the order of their parts", row.Part())
		}
		b.begin()
	}
	columns := wholeColumns(b.part)
	values := make([]any, len(columns)+1)
	for i, c := range columns {
		v, err := cellValue(c.of(row))
		if err != nil {
			return fmt.Errorf("write %s: %w", b.part, err)
		}
		values[i] = v
	}
	for more := true; more; {
		if b.book.full() {
			b.again++
			b.sheet()
		}
		var rest []any
		rest, more = splitLong(values)
		b.book.cells(values)
		values = rest
	}
	return b.book.err
}

// splitLong cuts the texts of a row to what a cell holds and gives the row that
// continues it.
func splitLong(values []any) (rest []any, more bool) {
	for i, v := range values {
		s, ok := v.(string)
		if !ok || len(s) <= cellRunes {
			continue
		}
		r := []rune(s)
		if len(r) <= cellRunes {
			continue
		}
		if rest == nil {
			rest = make([]any, len(values))
			rest[len(rest)-1] = true
		}
		values[i], rest[i] = string(r[:cellRunes]), string(r[cellRunes:])
	}
	return rest, rest != nil
}

func (b *wholeBook) begin() {
	b.part, b.parts, b.again = b.parts[0], b.parts[1:], 0
	b.sheet()
}

func (b *wholeBook) sheet() {
	name := string(b.part)
	if b.again > 0 {
		name += " " + strconv.Itoa(b.again+1)
	}
	var headers []string
	for _, c := range wholeColumns(b.part) {
		headers = append(headers, c.name)
	}
	b.book.sheet(name, append(headers, continued))
}

// Close ends the workbook.
func (b *wholeBook) Close() error {
	for len(b.parts) > 0 {
		b.begin()
	}
	if err := b.book.close(); err != nil {
		return fmt.Errorf("write the register: %w", err)
	}
	return nil
}

// cellValue is a field as a cell holds it.
func cellValue(v reflect.Value) (any, error) {
	switch x := wholeValue(v).(type) {
	case []wholeCycle, []wholeTemperature:
		b, err := json.Marshal(x)
		return string(b), err
	default:
		return x, nil
	}
}
