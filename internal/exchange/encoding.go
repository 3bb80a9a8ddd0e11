package exchange

import (
	"bytes"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// textStart is what the whole of a text file says about its encoding. It is
// looked through once from end to end, a few hundred megabytes a second: the
// only umlaut of a list may stand in its last row.
type textStart struct {
	name  string // for people
	bom   int    // bytes to skip
	wide  unicode.Endianness
	is16  bool
	is252 bool
	mixed bool // UTF-8 with some bytes that are not
	nul   bool // holds zero bytes that no encoding explains
}

const chunk = 64 << 10

// sniffText finds the encoding: a byte order mark if there is one, else
// UTF-16 if every second byte of the start is zero, else UTF-8 if the file is
// valid, else Windows-1252. A file with more valid UTF-8 characters than
// broken ones is UTF-8 with damage.
func sniffText(r io.ReaderAt, size int64) (textStart, error) {
	head := make([]byte, 4096)
	n, err := r.ReadAt(head, 0)
	if err != nil && err != io.EOF {
		return textStart{}, err
	}
	head = head[:n]
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}):
		t, err := countUTF8(r, size)
		t.bom = 3
		return t, err
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}):
		return textStart{name: "UTF-16", bom: 2, is16: true, wide: unicode.LittleEndian}, nil
	case bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return textStart{name: "UTF-16", bom: 2, is16: true, wide: unicode.BigEndian}, nil
	}
	if e, ok := everySecondZero(head); ok {
		return textStart{name: "UTF-16", is16: true, wide: e}, nil
	}
	return countUTF8(r, size)
}

// everySecondZero tells UTF-16 without a mark, in which Latin letters have a
// zero byte before or behind them.
func everySecondZero(head []byte) (unicode.Endianness, bool) {
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i%2]++
		}
	}
	enough := len(head) / 2 * 3 / 4
	switch {
	case len(head) < 8:
		return unicode.BigEndian, false
	case zeros[1] > enough && zeros[0] == 0:
		return unicode.LittleEndian, true
	case zeros[0] > enough && zeros[1] == 0:
		return unicode.BigEndian, true
	}
	return unicode.BigEndian, false
}

// countUTF8 looks through the whole file.
func countUTF8(r io.ReaderAt, size int64) (textStart, error) {
	buf := make([]byte, chunk)
	kept, good, bad := 0, 0, 0
	t := textStart{name: "UTF-8"}
	for off := int64(0); off < size; {
		n, err := r.ReadAt(buf[kept:], off)
		if err != nil && err != io.EOF {
			return t, err
		}
		if n == 0 {
			break
		}
		off += int64(n)
		b := buf[:kept+n]
		for len(b) > 0 {
			if b[0] < utf8.RuneSelf {
				t.nul = t.nul || b[0] == 0
				b = b[1:]
				continue
			}
			if !utf8.FullRune(b) && off < size {
				break
			}
			_, w := utf8.DecodeRune(b)
			if w == 1 {
				bad++
			} else {
				good++
			}
			b = b[w:]
		}
		kept = copy(buf, b)
	}
	switch {
	case bad > good:
		t.name, t.is252 = "Windows-1252", true
	case bad > 0:
		t.mixed = true
	}
	return t, nil
}

// decode gives the text as UTF-8, without byte order mark.
func (t textStart) decode(r io.ReaderAt, size int64) io.Reader {
	from := io.NewSectionReader(r, int64(t.bom), max(size-int64(t.bom), 0))
	switch {
	case t.is16:
		return transform.NewReader(from, unicode.UTF16(t.wide, unicode.IgnoreBOM).NewDecoder())
	case t.is252:
		return transform.NewReader(from, charmap.Windows1252.NewDecoder())
	case t.mixed:
		return transform.NewReader(from, unicode.UTF8.NewDecoder())
	}
	return from
}
