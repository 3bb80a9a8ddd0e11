package main_test

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// diskCall is a call to the system that changes a file, makes it last, or
// writes to standard output.
type diskCall struct {
	name         string
	path         string // "1" is standard output
	data         []byte
	at           int64 // where data goes; the new length of a file
	creates      bool
	began, ended int // lines of the trace
}

// tracedCalls are the calls that strace is told to write down; those with a
// question mark are not on every kind of machine.
const tracedCalls = "trace=?open,openat,?creat,write,pwrite64,writev,pwritev,ftruncate,fallocate,fsync,fdatasync,?unlink,unlinkat,?rename,?renameat,renameat2"

// readTrace reads what strace -f -y -xx wrote down. Calls that failed are left
// out. They are in the order they ended.
func readTrace(path string) ([]diskCall, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(make([]byte, 1<<20), 64<<20)
	var calls []diskCall
	begun := map[string]diskCall{} // by thread
	for n := 0; lines.Scan(); n++ {
		thread, text, _ := strings.Cut(lines.Text(), " ")
		text = strings.TrimLeft(text, " ")
		var c diskCall
		switch {
		case strings.HasPrefix(text, "<... "):
			c = begun[thread]
			delete(begun, thread)
		case strings.HasPrefix(text, "---"), strings.HasPrefix(text, "+++"), text == "":
			continue
		default:
			if c, err = parseCall(text); err != nil {
				return nil, fmt.Errorf("line %d of the trace: %w", n+1, err)
			}
			c.began = n
		}
		if strings.HasSuffix(text, "<unfinished ...>") {
			begun[thread] = c
			continue
		}
		result := text[strings.LastIndex(text, ") = ")+len(") = "):]
		if c.name == "" || strings.HasPrefix(result, "-1") || strings.HasPrefix(result, "?") {
			continue
		}
		c.ended = n
		calls = append(calls, c)
	}
	for _, c := range begun { // what the end of the program cut short
		c.ended = 1 << 60
		calls = append(calls, c)
	}
	return calls, lines.Err()
}

// parseCall reads a call with its arguments; one that is of no interest has no
// name.
func parseCall(text string) (diskCall, error) {
	name, rest, _ := strings.Cut(text, "(")
	c := diskCall{name: name}
	strs, numbers := arguments(rest)
	c.path = filePart(rest)
	switch name {
	case "open", "creat", "openat":
		if len(strs) == 0 {
			return diskCall{}, nil
		}
		c.path, c.creates = string(strs[0]), strings.Contains(rest, "O_CREAT") || name == "creat"
		c.name = "open"
	case "write", "pwrite64":
		if len(strs) == 0 {
			return diskCall{}, nil
		}
		c.data = strs[0]
		if name == "pwrite64" {
			c.at = numbers[len(numbers)-1]
		}
		if strings.HasPrefix(rest, "1<") || strings.HasPrefix(rest, "1,") {
			c.path = "1"
		}
	case "ftruncate":
		c.at = numbers[len(numbers)-1]
	case "fsync", "fdatasync":
		c.name = "fsync"
	case "unlink", "unlinkat":
		if len(strs) == 0 {
			return diskCall{}, nil
		}
		c.name, c.path = "unlink", string(strs[len(strs)-1])
	default:
		if strings.Contains(c.path, ".db") {
			return c, fmt.Errorf("a %s of %s, which these tests do not know", name, c.path)
		}
		return diskCall{}, nil
	}
	return c, nil
}

// filePart is the path strace puts behind the number of an open file.
func filePart(rest string) string {
	first, _, _ := strings.Cut(rest, ",")
	_, path, ok := strings.Cut(first, "<")
	if !ok {
		return ""
	}
	path, _, _ = strings.Cut(path, ">")
	return string(unhex(path))
}

// arguments are the strings of a call and its plain numbers behind the first
// string or file.
func arguments(rest string) (strs [][]byte, numbers []int64) {
	if i := strings.LastIndex(rest, ") = "); i >= 0 {
		rest = rest[:i]
	}
	rest = strings.TrimSuffix(rest, " <unfinished ...>")
	for _, part := range strings.Split(rest, ", ") {
		if strings.HasPrefix(part, `"`) {
			strs = append(strs, unhex(strings.Trim(part, `".`)))
		} else if n, err := strconv.ParseInt(part, 10, 64); err == nil {
			numbers = append(numbers, n)
		}
	}
	return strs, numbers
}

// unhex is a text of which strace -xx has written every letter as \x2f.
func unhex(text string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(text, `\x`, ""))
	if err != nil {
		return []byte(text)
	}
	return b
}

// disk is what a power cut may leave of some files: what lasts for certain, and
// what was done since.
type disk struct {
	files map[string]*diskFile
	gone  map[string]*diskFile // taken away, which may not last
	dirs  string               // the folder all of them are in
}

type diskFile struct {
	lasting []byte
	entry   bool // that there is such a file lasts
	since   []diskCall
	created int // the line at which it came to be
	removed int
}

// newDisk is the files of a folder, all of which last.
func newDisk(t *testing.T, dir string) *disk {
	t.Helper()
	d := &disk{files: map[string]*diskFile{}, gone: map[string]*diskFile{}, dirs: dir}
	names, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		content, err := os.ReadFile(filepath.Join(dir, n.Name()))
		if err != nil {
			t.Fatal(err)
		}
		d.files[filepath.Join(dir, n.Name())] = &diskFile{lasting: content, entry: true}
	}
	return d
}

// do is a call that has ended.
func (d *disk) do(c diskCall) {
	f := d.files[c.path]
	switch {
	case c.name == "open" && c.creates && f == nil && filepath.Dir(c.path) == d.dirs:
		d.files[c.path] = &diskFile{created: c.ended}
	case c.name == "fsync" && c.path == d.dirs:
		for _, f := range d.files {
			f.entry = f.entry || f.created < c.began
		}
		for path, f := range d.gone {
			if f.removed < c.began {
				delete(d.gone, path)
			}
		}
	case f == nil:
	case c.name == "fsync":
		rest := f.since[:0:0]
		for _, w := range f.since {
			if w.ended < c.began {
				f.lasting = w.on(f.lasting)
			} else {
				rest = append(rest, w)
			}
		}
		f.since = rest
	case c.name == "unlink":
		f.removed = c.ended
		d.gone[c.path] = f
		delete(d.files, c.path)
	case c.name == "write", c.name == "pwrite64", c.name == "ftruncate":
		f.since = append(f.since, c)
	}
}

// on is the content after a call.
func (c diskCall) on(content []byte) []byte {
	if c.name == "ftruncate" {
		if c.at < int64(len(content)) {
			return content[:c.at:c.at]
		}
		return append(content, make([]byte, c.at-int64(len(content)))...)
	}
	if short := c.at + int64(len(c.data)) - int64(len(content)); short > 0 {
		content = append(content, make([]byte, short)...)
	}
	copy(content[c.at:], c.data)
	return content
}

// sector is what a disk writes whole or not at all.
const sector = 512

// cut writes to a folder what a power cut leaves: of what was done since it
// lasted any part, in any order, down to single sectors. flying are the calls
// that had not ended.
func (d *disk) cut(t *testing.T, dice *rand.Rand, flying []diskCall, to string) {
	t.Helper()
	keep := []float64{0, 0.1, 0.5, 0.9, 1}[dice.IntN(5)]
	image := func(path string, f *diskFile) {
		content := bytes.Clone(f.lasting)
		since := slices.Clone(f.since)
		for _, c := range flying {
			if c.path == path && (c.name == "pwrite64" || c.name == "ftruncate") {
				since = append(since, c)
			}
		}
		if dice.IntN(2) == 0 {
			dice.Shuffle(len(since), func(i, j int) { since[i], since[j] = since[j], since[i] })
		}
		for _, c := range since {
			for _, part := range torn(dice, c) {
				if dice.Float64() < keep {
					content = part.on(content)
				}
			}
		}
		if err := os.WriteFile(filepath.Join(to, filepath.Base(path)), content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for path, f := range d.gone {
		if dice.Float64() >= keep {
			image(path, f)
		}
	}
	for path, f := range d.files {
		// What the processes share in memory is no more after a power cut.
		if !strings.HasSuffix(path, "-shm") && (f.entry || dice.Float64() < keep) {
			image(path, f)
		}
	}
}

// torn is a call whole, or now and then in sectors.
func torn(dice *rand.Rand, c diskCall) []diskCall {
	if c.name == "ftruncate" || dice.IntN(3) > 0 {
		return []diskCall{c}
	}
	var parts []diskCall
	for from := 0; from < len(c.data); {
		size := min(sector-int((c.at+int64(from))%sector), len(c.data)-from)
		parts = append(parts, diskCall{name: c.name, path: c.path, at: c.at + int64(from), data: c.data[from : from+size]})
		from += size
	}
	return parts
}
