package backup

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"regexp"
	"strings"
	"time"

	"hoseward/internal/register"
)

// format is the version of the form of the file that this program writes, and
// the only one there has been.
const format = 1

// Manifest says what is in a backup.
type Manifest struct {
	Format   int               `json:"format"`
	Program  string            `json:"program,omitempty"`
	Made     time.Time         `json:"made"`
	Register register.DumpInfo `json:"register"`
	Entries  []Entry           `json:"entries"`
}

// Entry is one file in a backup.
type Entry struct {
	Name   string `json:"name"`
	Called string `json:"called,omitempty"` // what people call a kept file
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// Kept is how many kept files are in the backup.
func (m Manifest) Kept() int {
	n := 0
	for _, e := range m.Entries {
		if _, ok := keptID(e.Name); ok {
			n++
		}
	}
	return n
}

// The names in the zip. No other is ever read.
const (
	manifestName = "manifest.json"
	databaseName = "register.db"
	filesFolder  = "files/"
)

func tableName(table string) string { return "dump/" + table + ".jsonl" }

var (
	tableEntry = regexp.MustCompile(`^dump/[a-z_]{1,60}\.jsonl$`)
	keptEntry  = regexp.MustCompile(`^files/([0-9a-f]{64})$`)
)

// keptID is the id of a kept file, if name is one's.
func keptID(name string) (string, bool) {
	m := keptEntry.FindStringSubmatch(name)
	if m == nil {
		return "", false
	}
	return m[1], true
}

// ErrDamaged: the file is not a whole backup; nothing of it was used.
var ErrDamaged = errors.New("this file is not a whole backup, and nothing of it was used")

func damaged(formatted string, args ...any) error {
	return fmt.Errorf("%w: "+formatted, append([]any{ErrDamaged}, args...)...)
}

// manifestMost bounds the manifest, which is read as a whole: the lines of
// some hundred thousand kept files.
const manifestMost = 64 << 20

// File is a backup opened for reading.
type File struct {
	Manifest Manifest

	file    *os.File
	entries map[string]*zip.File
	listed  map[string]Entry
}

// Open opens a backup and holds its list of files to its manifest; the content
// is read by Check. A file that is none is ErrDamaged.
func Open(path string) (*File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the backup: %w", err)
	}
	f := &File{file: file, entries: map[string]*zip.File{}, listed: map[string]Entry{}}
	if err := f.read(); err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return f, nil
}

// Close closes the file.
func (f *File) Close() error { return f.file.Close() }

func (f *File) read() error {
	info, err := f.file.Stat()
	if err != nil {
		return fmt.Errorf("open the backup: %w", err)
	}
	if !info.Mode().IsRegular() {
		return damaged("it is no file")
	}
	z, err := zip.NewReader(f.file, info.Size())
	if err != nil {
		return damaged("it is no zip, or its end is missing (%v)", err)
	}
	packed := uint64(0)
	for _, e := range z.File {
		if f.entries[e.Name] != nil {
			return damaged("it has %q twice", e.Name)
		}
		if packed += e.CompressedSize64; packed > uint64(info.Size()) {
			return damaged("its parts are larger than it is")
		}
		f.entries[e.Name] = e
	}
	if err := f.readManifest(); err != nil {
		return err
	}
	return f.compare()
}

func (f *File) readManifest() error {
	e := f.entries[manifestName]
	if e == nil {
		return damaged("it has no %s", manifestName)
	}
	r, err := e.Open()
	if err != nil {
		return damaged("%s cannot be read: %v", manifestName, err)
	}
	defer r.Close()
	text, err := io.ReadAll(io.LimitReader(r, manifestMost+1))
	if err != nil || len(text) > manifestMost {
		return damaged("%s cannot be read, or is larger than any can be (%v)", manifestName, err)
	}
	var head struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(text, &head); err != nil {
		return damaged("%s cannot be read: %v", manifestName, err)
	}
	if head.Format > format {
		return fmt.Errorf("%w: a newer hoseward wrote it (form %d, this program reads %d); use the newer program", ErrDamaged, head.Format, format)
	}
	if head.Format != format {
		return damaged("%s says no form that there is", manifestName)
	}
	if err := json.Unmarshal(text, &f.Manifest); err != nil {
		return damaged("%s cannot be read: %v", manifestName, err)
	}
	return nil
}

// compare wants the zip to hold what the manifest lists, no more and no less,
// under names that can only be the package's own, and a dump of every table.
func (f *File) compare() error {
	for _, e := range f.Manifest.Entries {
		if _, twice := f.listed[e.Name]; twice {
			return damaged("its list has %q twice", e.Name)
		}
		if id, ok := keptID(e.Name); !ok && e.Name != databaseName && !tableEntry.MatchString(e.Name) || ok && id != e.SHA256 {
			return damaged("%q is no part of a backup", e.Name)
		}
		in := f.entries[e.Name]
		if in == nil {
			return damaged("%s is missing", e.Name)
		}
		if e.Size < 0 || in.UncompressedSize64 != uint64(e.Size) {
			return damaged("%s is of another size than listed", e.Name)
		}
		f.listed[e.Name] = e
	}
	for name := range f.entries {
		if _, ok := f.listed[name]; !ok && name != manifestName {
			return damaged("%q is in it but not on its list", name)
		}
	}
	tables := 0
	for name := range f.listed {
		if strings.HasPrefix(name, "dump/") {
			tables++
		}
	}
	for _, t := range f.Manifest.Register.Tables {
		if _, ok := f.listed[tableName(t.Name)]; !ok {
			return damaged("table %q is missing", t.Name)
		}
	}
	if tables != len(f.Manifest.Register.Tables) {
		return damaged("it has %d tables and lists %d", tables, len(f.Manifest.Register.Tables))
	}
	return nil
}

// Check reads the whole backup and compares every hash.
func (f *File) Check(ctx context.Context) error {
	for _, e := range f.Manifest.Entries {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, err := f.open(e.Name)
		if err != nil {
			return err
		}
		_, err = io.Copy(io.Discard, r)
		if err = errors.Join(err, r.Close()); err != nil {
			return err
		}
	}
	return nil
}

// Table opens the lines of a table of the dump.
func (f *File) Table(name string) (io.ReadCloser, error) { return f.open(tableName(name)) }

func (f *File) open(name string) (io.ReadCloser, error) {
	e, ok := f.listed[name]
	if !ok {
		return nil, damaged("%s is missing", name)
	}
	r, err := f.entries[name].Open()
	if err != nil {
		return nil, damaged("%s cannot be read: %v", name, err)
	}
	return &entryReader{ReadCloser: r, e: e, left: e.Size, sum: sha256.New()}, nil
}

// entryReader gives an entry, and at its end an error where its size or hash
// is another than listed.
type entryReader struct {
	io.ReadCloser
	e    Entry
	left int64
	sum  hash.Hash
}

// Read reads no more than the listed size.
func (r *entryReader) Read(p []byte) (int, error) {
	n, err := r.ReadCloser.Read(p)
	r.sum.Write(p[:n])
	r.left -= int64(n)
	switch {
	case r.left < 0:
		return 0, damaged("%s is larger than listed", r.e.Name)
	case errors.Is(err, io.EOF) && (r.left > 0 || hex.EncodeToString(r.sum.Sum(nil)) != r.e.SHA256):
		return n, damaged("%s has been altered", r.e.Name)
	case err != nil && !errors.Is(err, io.EOF):
		return n, damaged("%s has been altered (%v)", r.e.Name, err)
	}
	return n, err
}
