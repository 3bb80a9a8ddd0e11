package backup

import (
	"archive/zip"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"

	"hoseward/internal/register"
)

// writer writes the entries of a backup one after the other.
type writer struct {
	zip   *zip.Writer
	m     Manifest
	entry io.Writer // of the zip; nil where none is open
	sum   hash.Hash
}

// write writes a backup to path; dir is for what it needs meanwhile.
func write(ctx context.Context, path, dir string, c Contents) (err error) {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	w := &writer{zip: zip.NewWriter(file), sum: sha256.New(), m: Manifest{Format: format, Program: c.Program, Made: c.Made.UTC()}}
	w.zip.RegisterCompressor(zip.Deflate, func(to io.Writer) (io.WriteCloser, error) { return flate.NewWriter(to, flate.BestSpeed) })
	if err := w.register(ctx, dir, c.Register); err != nil {
		return err
	}
	if c.Files != nil {
		if err := w.files(ctx, c.Files); err != nil {
			return err
		}
	}
	if err := w.manifest(); err != nil {
		return err
	}
	if err := w.zip.Close(); err != nil {
		return err
	}
	return file.Sync()
}

func (w *writer) register(ctx context.Context, dir string, r Register) error {
	return r.Freeze(ctx, dir, func(dump func(context.Context, register.DumpSink) (register.DumpInfo, error), file string) (err error) {
		if w.m.Register, err = dump(ctx, w); err != nil || file == "" {
			return err
		}
		from, err := os.Open(file)
		if err != nil {
			return err
		}
		return errors.Join(w.add(databaseName, "", from), from.Close())
	})
}

// Table begins the entry of a table.
func (w *writer) Table(name string) (io.Writer, error) {
	if err := w.begin(tableName(name), ""); err != nil {
		return nil, err
	}
	return w, nil
}

// begin ends the entry before and begins one.
func (w *writer) begin(name, called string) (err error) {
	w.end()
	if w.entry, err = w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: w.m.Made}); err != nil {
		return err
	}
	w.sum.Reset()
	w.m.Entries = append(w.m.Entries, Entry{Name: name, Called: called})
	return nil
}

// Write writes to the entry that was begun.
func (w *writer) Write(p []byte) (int, error) {
	n, err := w.entry.Write(p)
	w.sum.Write(p[:n])
	w.m.Entries[len(w.m.Entries)-1].Size += int64(n)
	return n, err
}

func (w *writer) end() {
	if w.entry != nil {
		w.m.Entries[len(w.m.Entries)-1].SHA256 = hex.EncodeToString(w.sum.Sum(nil))
		w.entry = nil
	}
}

func (w *writer) add(name, called string, from io.Reader) error {
	if err := w.begin(name, called); err != nil {
		return err
	}
	_, err := io.Copy(w, from)
	return err
}

func (w *writer) files(ctx context.Context, files Files) error {
	ids, err := files.IDs()
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := ctx.Err(); err != nil {
			return err
		}
		name, file, err := files.Open(id)
		if errors.Is(err, fs.ErrNotExist) {
			continue // nobody wanted it any more
		}
		if err != nil {
			return err
		}
		if err := errors.Join(w.add(filesFolder+id, name, file), file.Close()); err != nil {
			return err
		}
		w.end()
		if have := w.m.Entries[len(w.m.Entries)-1].SHA256; have != id {
			return fmt.Errorf("the kept file %s is damaged: its content has another hash", id)
		}
	}
	return nil
}

// manifest writes what is in the backup, last because only then it is known.
func (w *writer) manifest() error {
	w.end()
	to, err := w.zip.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Deflate, Modified: w.m.Made})
	if err != nil {
		return err
	}
	enc := json.NewEncoder(to)
	enc.SetIndent("", " ")
	return enc.Encode(w.m)
}
