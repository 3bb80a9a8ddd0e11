// Package files keeps uploaded files in a folder on disk.
//
// The main idea is that a file is written, synced and named by the SHA-256 of
// its content before anybody refers to it: the same content is kept once, a
// name that exists is whole, and a crash leaves nothing but a nameless
// temporary file. What nobody has used for a day is removed by RemoveOlder.
//
// The package does not look into files and knows nothing of what they mean.
package files

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"
)

// Folder is a folder of kept files. Its methods may be called from several
// goroutines and, where the folder is shared, several programs at a time.
type Folder struct{ dir string }

// Open makes the folder if need be and tries whether it can be written to.
func Open(dir string) (*Folder, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("make folder for files: %w", err)
	}
	f, err := os.CreateTemp(dir, "new-*")
	if err != nil {
		return nil, fmt.Errorf("write to folder for files: %w", err)
	}
	if err := errors.Join(f.Close(), os.Remove(f.Name())); err != nil {
		return nil, fmt.Errorf("write to folder for files: %w", err)
	}
	return &Folder{dir: dir}, nil
}

// Save keeps what r gives and returns its id, the SHA-256 of the content in
// hexadecimal. name is what people call the file; where the same content is
// kept twice, the later name stays. More than limit bytes are not kept: the
// error then is an *http.MaxBytesError. An error of r is passed on.
func (f *Folder) Save(name string, r io.Reader, limit int64) (id string, err error) {
	tmp, err := os.CreateTemp(f.dir, "new-*")
	if err != nil {
		return "", fmt.Errorf("keep file: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreClosed(tmp.Close()), os.Remove(tmp.Name()))
		}
	}()
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(tmp, sum), io.LimitReader(r, limit+1))
	if err != nil {
		return "", fmt.Errorf("keep file: %w", err)
	}
	if n > limit {
		return "", fmt.Errorf("keep file: %w", &http.MaxBytesError{Limit: limit})
	}
	if err := errors.Join(tmp.Sync(), tmp.Close()); err != nil {
		return "", fmt.Errorf("keep file: %w", err)
	}
	id = hex.EncodeToString(sum.Sum(nil))
	if err := f.writeName(id, name); err != nil {
		return "", err
	}
	if err := os.Rename(tmp.Name(), f.path(id)); err != nil {
		return "", fmt.Errorf("keep file: %w", err)
	}
	return id, f.syncDir()
}

// writeName keeps the name of a file beside it.
func (f *Folder) writeName(id, name string) error {
	tmp, err := os.CreateTemp(f.dir, "new-*")
	if err != nil {
		return fmt.Errorf("keep name of file: %w", err)
	}
	_, err = tmp.WriteString(cleanName(name))
	if err = errors.Join(err, tmp.Sync(), tmp.Close()); err == nil {
		err = os.Rename(tmp.Name(), f.path(id)+".name")
	}
	if err != nil {
		return errors.Join(fmt.Errorf("keep name of file: %w", err), os.Remove(tmp.Name()))
	}
	return nil
}

// Open opens a kept file for reading; name is what it was called. An id that
// is not one, or of which nothing is kept, gives an error that is
// fs.ErrNotExist.
func (f *Folder) Open(id string) (name string, file *os.File, err error) {
	if !validID(id) {
		return "", nil, fmt.Errorf("open kept file: no id: %w", fs.ErrNotExist)
	}
	file, err = os.Open(f.path(id))
	if err != nil {
		return "", nil, fmt.Errorf("open kept file: %w", err)
	}
	b, err := os.ReadFile(f.path(id) + ".name")
	if err != nil {
		return id[:8], file, nil //nolint:nilerr // a lost name loses no data
	}
	return string(b), file, nil
}

// RemoveOlder removes files that were saved before the given instant, and
// temporary files as old. It returns how many files it removed.
func (f *Folder) RemoveOlder(before time.Time) (int, error) {
	entries, err := os.ReadDir(f.dir)
	if err != nil {
		return 0, fmt.Errorf("look for old files: %w", err)
	}
	n := 0
	var problems []error
	for _, e := range entries {
		id := strings.TrimSuffix(e.Name(), ".name")
		if !validID(id) && !strings.HasPrefix(e.Name(), "new-") {
			continue // not ours
		}
		info, err := e.Info()
		if err != nil || !info.ModTime().Before(before) {
			continue // gone meanwhile, or young
		}
		if err := os.Remove(filepath.Join(f.dir, e.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
			problems = append(problems, err)
			continue
		}
		if e.Name() == id && validID(id) {
			n++
		}
	}
	return n, errors.Join(problems...)
}

func (f *Folder) path(id string) string { return filepath.Join(f.dir, id) }

func (f *Folder) syncDir() error {
	d, err := os.Open(f.dir)
	if err != nil {
		return fmt.Errorf("keep file: %w", err)
	}
	defer d.Close()
	// Some file systems cannot sync a folder; the file itself is synced.
	_ = d.Sync()
	return nil
}

// validID reports whether id is a SHA-256 in lower-case hexadecimal, so that
// no id can name anything outside the folder.
func validID(id string) bool {
	if len(id) != 2*sha256.Size {
		return false
	}
	return strings.Trim(id, "0123456789abcdef") == ""
}

// cleanName is the last part of a file name as browsers send it, without
// control characters and at most 120 letters long.
func cleanName(name string) string {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(name, ""))
	if r := []rune(name); len(r) > 120 {
		name = string(r[len(r)-120:])
	}
	if name == "" {
		return "file"
	}
	return name
}

func ignoreClosed(err error) error {
	if errors.Is(err, fs.ErrClosed) {
		return nil
	}
	return err
}
