package exchange_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// longList is a CSV of any size that is made as it is read: a thousand rows,
// over and over.
type longList struct {
	head, block string
	blocks      int64
}

const blockRows = 1000

func newLongList(size int64) *longList {
	l := &longList{head: "Maschine;Einbauort;Schlauchtyp;NW;Druck (bar);Länge (mm);Herstelldatum;Eingebaut am;Bemerkung\n"}
	var b strings.Builder
	for i := range blockRows {
		fmt.Fprintf(&b, "KM-%07d;Zylinder vorn links;EN 853 2SN;12;275;1250,5;2Q24;12.06.2024;\"Prüfung; über Winter\"\n", i)
	}
	l.block = b.String()
	l.blocks = size / int64(len(l.block))
	return l
}

func (l *longList) rows() int64 { return l.blocks * blockRows }

func (l *longList) size() int64 { return int64(len(l.head)) + l.blocks*int64(len(l.block)) }

func (l *longList) ReadAt(p []byte, off int64) (int, error) {
	n := 0
	for n < len(p) {
		at := off + int64(n)
		if at >= l.size() {
			return n, io.EOF
		}
		if at < int64(len(l.head)) {
			n += copy(p[n:], l.head[at:])
			continue
		}
		n += copy(p[n:], l.block[(at-int64(len(l.head)))%int64(len(l.block)):])
	}
	return n, nil
}

// peakHeap reads a sheet to its end and gives its rows and the most memory
// that was in use on the way, garbage collected.
func peakHeap(t *testing.T, r io.ReaderAt, size int64) (rows int, peak uint64) {
	t.Helper()
	runtime.GC()
	s, err := exchange.Open(r, size, exchange.Options{Today: today(t)})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	measure := func() {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		peak = max(peak, m.HeapAlloc)
	}
	for {
		row, err := s.Next()
		if errors.Is(err, io.EOF) {
			measure()
			return rows, peak
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(row.Errors) > 0 {
			t.Fatal(row.Errors)
		}
		if rows++; rows%20_000 == 1 {
			measure()
		}
	}
}

func TestNext_MemoryStaysFlatAsFilesGrow(t *testing.T) {
	megabytes := int64(40)
	if !testing.Short() {
		megabytes = 200
	}
	small, large := newLongList(5<<20), newLongList(megabytes<<20)
	rows, few := peakHeap(t, small, small.size())
	if int64(rows) != small.rows() {
		t.Errorf("%d rows of %d were read", rows, small.rows())
	}
	rows, many := peakHeap(t, large, large.size())
	if int64(rows) != large.rows() {
		t.Errorf("%d rows of %d were read", rows, large.rows())
	}
	t.Logf("at most %d KB in use with 5 MB, %d KB with %d MB (%d rows)", few>>10, many>>10, megabytes, rows)
	if many > few+2<<20 {
		t.Errorf("%d KB in use with %d MB, %d KB with 5 MB", many>>10, megabytes, few>>10)
	}
}

func workbook(t *testing.T, rows int) *os.File {
	t.Helper()
	f := excelize.NewFile()
	w, err := f.NewStreamWriter("Sheet1")
	if err != nil {
		t.Fatal(err)
	}
	set := func(row int, cells ...any) {
		if err := w.SetRow(fmt.Sprintf("A%d", row), cells); err != nil {
			t.Fatal(err)
		}
	}
	set(1, "Machine", "Position", "Type", "DN", "WP (bar)", "Length (mm)", "Fitted")
	for i := range rows {
		set(i+2, fmt.Sprintf("KM-%d", i), "Boom", "EN 853 2SN", 12, 275.5, 1250, "2024-06-12")
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "list.xlsx")
	if err := errors.Join(f.SaveAs(name), f.Close()); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = file.Close() })
	return file
}

func TestNext_MemoryStaysFlatAsWorkbooksGrow(t *testing.T) {
	var peaks []uint64
	for _, n := range []int{5_000, 40_000} {
		f := workbook(t, n)
		info, err := f.Stat()
		if err != nil {
			t.Fatal(err)
		}
		rows, peak := peakHeap(t, f, info.Size())
		if rows != n {
			t.Errorf("%d rows of %d were read", rows, n)
		}
		peaks = append(peaks, peak)
	}
	t.Logf("at most %d KB in use with 5 000 rows, %d KB with 40 000", peaks[0]>>10, peaks[1]>>10)
	if peaks[1] > peaks[0]+4<<20 {
		t.Errorf("memory grows with the workbook: %d KB, then %d KB", peaks[0]>>10, peaks[1]>>10)
	}
}

// zeros is a compressed part of so many megabytes of zeros, made without
// compressing more than one.
func zeros(t *testing.T, megabytes int) []byte {
	t.Helper()
	var one bytes.Buffer
	w, err := flate.NewWriter(&one, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(make([]byte, 1<<20)); err != nil {
		t.Fatal(err)
	}
	if err := w.Flush(); err != nil { // ends on a whole byte: the block can be repeated
		t.Fatal(err)
	}
	all := bytes.Repeat(one.Bytes(), megabytes)
	return append(all, 1, 0, 0, 0xff, 0xff) // an empty last block
}

func TestOpen_RefusesAZipBomb(t *testing.T) {
	const megabytes = 2000
	packed := zeros(t, megabytes)
	for _, tc := range []struct {
		says     string
		declared uint64
		part     string
		want     string
	}{
		{"a bomb that says how large it is", megabytes << 20, "xl/worksheets/sheet1.xml", "unpacks to more than 768 MB"},
		{"a bomb that says it is small", 1000, "xl/worksheets/sheet1.xml", "be"},
		{"a bomb in a picture", megabytes << 20, "xl/media/image1.png", "unpacks to more than 768 MB"},
	} {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		w, err := z.CreateRaw(&zip.FileHeader{Name: tc.part, Method: zip.Deflate, CompressedSize64: uint64(len(packed)), UncompressedSize64: tc.declared, CRC32: crc32.ChecksumIEEE(nil)})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(packed); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err = exchange.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), exchange.Options{})
		runtime.ReadMemStats(&after)
		var e *register.Error
		if !errors.As(err, &e) || !strings.Contains(e.Sentence, tc.want) {
			t.Errorf("%s: %v", tc.says, err)
		}
		if grown := after.TotalAlloc - before.TotalAlloc; grown > 16<<20 {
			t.Errorf("%s: %d MB were taken to refuse it", tc.says, grown>>20)
		}
	}
}

func TestOpen_RefusesPicturesWithoutEnd(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := range 3 {
		w, err := z.Create(fmt.Sprintf("xl/media/image%d.png", i))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(make([]byte, 30<<20)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	_, err := exchange.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), exchange.Options{})
	if got := sentenceOf(err); !strings.Contains(got, "pictures") {
		t.Errorf("got %v", err)
	}
}
