package exchange

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// wholeKey is the key that says a document is a whole register; its value is
// register.WholeVersion.
const wholeKey = "hoseward_register"

// headKey is the key at which a document says the head of the change log.
const headKey = "change_log_head"

// wholeDocument writes a whole register as one JSON document, a row a line.
type wholeDocument struct {
	w     *bufio.Writer
	parts []register.WholePart // still to be begun
	rows  int                  // of the part at hand
	line  bytes.Buffer
	enc   *json.Encoder
}

func newWholeDocument(w io.Writer, head register.Head) *wholeDocument {
	d := &wholeDocument{w: bufio.NewWriterSize(w, chunk), parts: register.WholeParts()}
	d.enc = json.NewEncoder(&d.line)
	d.enc.SetEscapeHTML(false)
	fmt.Fprintf(d.w, "{%q: %d", wholeKey, register.WholeVersion)
	if head.Seq != 0 {
		fmt.Fprintf(d.w, ",\n%q: %q", headKey, head)
	}
	return d
}

// Write writes a row.
func (d *wholeDocument) Write(row register.WholeRow) error {
	if err := d.upTo(row.Part()); err != nil {
		return err
	}
	d.line.Reset()
	if d.rows > 0 {
		d.line.WriteByte(',')
	}
	d.rows++
	d.line.WriteString("\n{")
	for i, c := range wholeColumns(row.Part()) {
		if i > 0 {
			d.line.WriteByte(',')
		}
		d.line.WriteString(`"` + c.name + `":`)
		if err := d.enc.Encode(wholeValue(c.of(row))); err != nil {
			return fmt.Errorf("write %s: %w", row.Part(), err)
		}
		d.line.Truncate(d.line.Len() - 1) // Encode ends the line
	}
	d.line.WriteByte('}')
	_, err := d.w.Write(d.line.Bytes())
	return err
}

// upTo begins the parts up to this one.
func (d *wholeDocument) upTo(part register.WholePart) error {
	all := register.WholeParts()
	for len(d.parts) == len(all) || all[len(all)-len(d.parts)-1] != part {
		if len(d.parts) == 0 {
			return fmt.Errorf("write %s: the rows are not in the order of their parts", part)
		}
		d.begin()
	}
	return nil
}

func (d *wholeDocument) begin() {
	if len(d.parts) < len(register.WholeParts()) {
		d.w.WriteString("]")
	}
	fmt.Fprintf(d.w, ",\n%q: [", d.parts[0])
	d.parts, d.rows = d.parts[1:], 0
}

// Close ends the document.
func (d *wholeDocument) Close() error {
	for len(d.parts) > 0 {
		d.begin()
	}
	d.w.WriteString("]}\n")
	if err := d.w.Flush(); err != nil {
		return fmt.Errorf("write the register: %w", err)
	}
	return nil
}

// maxWholeRow is how much of a document one row may take: a thousand kinds of
// cycles are a tenth of it.
const maxWholeRow = 4 << 20

// wholeDocumentReader reads a document row by row. Where its parts begin is
// found first, so they may stand in any order.
type wholeDocumentReader struct {
	r     io.ReaderAt
	size  int64
	begin map[register.WholePart]int64 // where the list of a part begins
	parts []register.WholePart         // still to be read
	part  register.WholePart
	rows  *meteredDecoder
	n     int // of the row at hand, from 0
}

// meteredDecoder decodes values none of which may be longer than allowed.
type meteredDecoder struct {
	*json.Decoder
	m *meter
}

type meter struct {
	r    io.Reader
	left int64
}

var errLongRow = errors.New("a row is longer than it may be")

// Read reads as far as the present value is allowed to reach.
func (m *meter) Read(p []byte) (int, error) {
	if m.left <= 0 {
		return 0, errLongRow
	}
	n, err := m.r.Read(p[:min(int64(len(p)), m.left)])
	m.left -= int64(n)
	return n, err
}

func newMeteredDecoder(r io.Reader) *meteredDecoder {
	m := &meter{r: r}
	d := &meteredDecoder{json.NewDecoder(m), m}
	d.next()
	return d
}

// next allows for another value.
func (d *meteredDecoder) next() { d.m.left = maxWholeRow }

// more reports whether another value follows. It is false also where reading
// failed: end must be asked then.
func (d *meteredDecoder) more() bool {
	d.next()
	return d.More()
}

// end wants the list or object to end here.
func (d *meteredDecoder) end(with json.Delim) error {
	t, err := d.Token()
	if err == nil && t != with {
		return errLongRow // nothing but an endless stretch of blanks hides the next value
	}
	return err
}

func openWholeDocument(r io.ReaderAt, size int64) (Whole, error) {
	d := &wholeDocumentReader{r: r, size: size, begin: map[register.WholePart]int64{}, parts: register.WholeParts()}
	start := int64(0)
	mark := make([]byte, 3)
	if n, _ := r.ReadAt(mark, 0); n == 3 && string(mark) == "\xef\xbb\xbf" {
		start = 3
	}
	if err := d.survey(start); err != nil {
		return nil, wholeSyntax(err)
	}
	return d, nil
}

// wholeSyntax makes a sentence of what is wrong with a document.
func wholeSyntax(err error) error {
	var known *register.Error
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &known):
		return known
	case errors.Is(err, errLongRow):
		return tooLarge("A row of the document is longer than %d MB, which no row is.", maxWholeRow>>20)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return refusal("The document breaks off before its end; export or copy it again.")
	case errors.As(err, &syntax):
		return refusal("The document is not JSON from byte %d on; export or copy it again.", syntax.Offset)
	}
	return fmt.Errorf("read the document: %w", err)
}

// survey reads the document once, to its end, and notes where the parts begin.
func (d *wholeDocumentReader) survey(start int64) error {
	dec := newMeteredDecoder(io.NewSectionReader(d.r, start, d.size-start))
	notOne := refusal("This JSON document is not a whole register as hoseward exports it.")
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return firstOf(err, notOne)
	}
	version, head := false, false
	for dec.more() {
		t, err := dec.Token()
		if err != nil {
			return err
		}
		key, ok := t.(string)
		if !ok {
			return notOne
		}
		if key == wholeKey && !version {
			version = true
			if err := wholeVersion(dec); err != nil {
				return err
			}
			continue
		}
		if key == headKey && !head {
			head = true
			if err := dec.Decode(new(string)); err != nil {
				return refusal("%s must be a text.", headKey)
			}
			continue
		}
		if err := d.surveyPart(dec, key, start); err != nil {
			return err
		}
	}
	if err := dec.end('}'); err != nil {
		return err
	}
	dec.next()
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return refusal("Something stands behind the end of the document; export or copy it again.")
	}
	if !version {
		return notOne
	}
	for _, part := range register.WholeParts() {
		if _, ok := d.begin[part]; !ok {
			return refusal("The document has no %q; a whole register says of every part what it holds, [] where that is nothing.", part)
		}
	}
	return nil
}

func wholeVersion(dec *meteredDecoder) error {
	var v any
	if err := dec.Decode(&v); err != nil {
		return err
	}
	return checkWholeVersion(v)
}

func checkWholeVersion(v any) error {
	n, ok := v.(float64)
	switch {
	case !ok:
		return refusal("%s must be the version of the form, which is %d.", wholeKey, register.WholeVersion)
	case n > register.WholeVersion:
		return refusal("This register was exported by a newer hoseward, in version %v of the form; this one knows version %d. Use that hoseward.", n, register.WholeVersion)
	case n != register.WholeVersion:
		return refusal("There is no version %v of the form; this hoseward knows version %d.", n, register.WholeVersion)
	}
	return nil
}

func (d *wholeDocumentReader) surveyPart(dec *meteredDecoder, key string, start int64) error {
	part := register.WholePart(key)
	if !slices.Contains(register.WholeParts(), part) && key != wholeKey && key != headKey {
		return refusal("The document has a key %q that no register has; take it away.", clipped(key))
	}
	if _, twice := d.begin[part]; twice || key == wholeKey || key == headKey {
		return refusal("The document has the key %q twice.", key)
	}
	if t, err := dec.Token(); err != nil || t != json.Delim('[') {
		return firstOf(err, refusal("%s must be a list.", key))
	}
	d.begin[part] = start + dec.InputOffset() - 1
	var raw json.RawMessage
	for dec.more() {
		if err := dec.Decode(&raw); err != nil {
			return err
		}
	}
	return dec.end(']')
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Format is JSON.
func (d *wholeDocumentReader) Format() Format { return JSON }

// Close does nothing: the file is the caller's.
func (d *wholeDocumentReader) Close() error { return nil }

// Place is the path of a row.
func (d *wholeDocumentReader) Place(part register.WholePart, number int) string {
	return fmt.Sprintf("%s[%d]", part, number)
}

// Next gives the next row.
func (d *wholeDocumentReader) Next() (register.WholeRow, int, error) {
	for d.rows == nil || !d.rows.more() {
		if d.rows != nil {
			if err := d.rows.end(']'); err != nil {
				return nil, 0, wholeSyntax(err)
			}
			d.rows = nil
		}
		if len(d.parts) == 0 {
			return nil, 0, io.EOF
		}
		d.part, d.parts, d.n = d.parts[0], d.parts[1:], -1
		d.rows = newMeteredDecoder(io.NewSectionReader(d.r, d.begin[d.part], d.size-d.begin[d.part]))
		if _, err := d.rows.Token(); err != nil { // the bracket
			return nil, 0, wholeSyntax(err)
		}
	}
	d.n++
	var raw json.RawMessage
	if err := d.rows.Decode(&raw); err != nil {
		return nil, d.n, wholeSyntax(err)
	}
	row := register.NewWholeRow(d.part)
	if err := d.fill(row, raw); err != nil {
		return nil, d.n, err
	}
	return row, d.n, nil
}

func (d *wholeDocumentReader) refuse(column, format string, args ...any) error {
	place := d.Place(d.part, d.n)
	if column != "" {
		place += "." + column
	}
	return refusal("%s: %s", place, fmt.Sprintf(format, args...))
}

// fill reads the keys of a row: each column once, and nothing else.
func (d *wholeDocumentReader) fill(row register.WholeRow, raw json.RawMessage) error {
	dec := json.NewDecoder(bytes.NewReader(raw))
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return d.refuse("", "A row must be an object with keys and values.")
	}
	columns := wholeColumns(d.part)
	seen := make([]bool, len(columns))
	for dec.More() {
		t, err := dec.Token()
		if err != nil {
			return wholeSyntax(err)
		}
		key, _ := t.(string)
		at := slices.IndexFunc(columns, func(c wholeColumn) bool { return c.name == key })
		switch {
		case at < 0:
			return d.refuse("", "There is no key %q; the keys are %s.", clipped(key), columnNames(columns))
		case seen[at]:
			return d.refuse(key, "This key stands twice.")
		}
		seen[at] = true
		var value json.RawMessage
		if err := dec.Decode(&value); err != nil {
			return wholeSyntax(err)
		}
		if v := columns[at].of(row); !setFromJSON(v, value) {
			return d.refuse(key, "%s is not %s.", clipped(string(value)), wholeWants(v))
		}
	}
	if at := slices.Index(seen, false); at >= 0 {
		return d.refuse("", "The key %q is missing; write null where nothing is known.", columns[at].name)
	}
	return nil
}

func columnNames(columns []wholeColumn) string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return strings.Join(names, ", ")
}

// setFromJSON sets a field from the value of its key.
func setFromJSON(v reflect.Value, raw json.RawMessage) bool {
	if string(raw) == "null" {
		return optional(v)
	}
	switch to := v.Addr().Interface().(type) {
	case *quantity.Period:
		var s string
		return json.Unmarshal(raw, &s) == nil && s != "" && to.UnmarshalText([]byte(s)) == nil
	case *register.Cycles:
		rows, ok := rowsIn[wholeCycle](raw)
		*to = cyclesIn(rows)
		return ok
	case *register.Temperatures:
		rows, ok := rowsIn[wholeTemperature](raw)
		*to = temperaturesIn(rows)
		return ok
	}
	return json.Unmarshal(raw, v.Addr().Interface()) == nil
}

// rowsIn reads the rows of cycles or temperatures.
func rowsIn[T any](raw []byte) ([]T, bool) {
	var rows []*T
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if dec.Decode(&rows) != nil || dec.More() {
		return nil, false
	}
	out := make([]T, len(rows))
	for i, r := range rows {
		if r == nil {
			return nil, false
		}
		out[i] = *r
	}
	return out, true
}
