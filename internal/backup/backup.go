// Package backup writes a register with its kept files as one zip, checks such
// a file and gives back what it holds.
//
// The main idea is that a restore is tested, not believed: a backup gets its
// name only after it was read back, every hash compared, and its dump loaded
// into a temporary register whose change log verified. So a file that has the
// name of a backup was whole and could be restored when it was made. What is
// in it is listed in its manifest with sizes and hashes, and nothing that does
// not fit is ever used.
//
// The package knows no database: a register is dumped and loaded through
// interfaces. It does not encrypt; the file must be kept as safe as the
// register.
package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"hoseward/internal/register"
)

// Register is a register that can be backed up.
type Register interface {
	// Freeze hands f the register as it is at one instant: its dump, and the
	// path of a copy of its database file made in dir, empty if it has none.
	Freeze(ctx context.Context, dir string, f func(dump func(context.Context, register.DumpSink) (register.DumpInfo, error), file string) error) error
}

// Files are the kept files beside a register.
type Files interface {
	// IDs are the ids of all files: the SHA-256 of each.
	IDs() ([]string, error)
	// Open opens one; fs.ErrNotExist if it is gone.
	Open(id string) (name string, file *os.File, err error)
	// Save keeps a file of at most limit bytes and says its id.
	Save(name string, r io.Reader, limit int64) (id string, err error)
}

// Load makes a register from a dump: at into, if that is not empty, else where
// the caller wants it.
type Load func(ctx context.Context, into string, info register.DumpInfo, src register.DumpSource) error

// Contents are what goes into a backup.
type Contents struct {
	Register Register
	Files    Files  // nil: none
	Program  string // version of the program, empty if it is not known
	Made     time.Time
	Try      Load // loads the dump to try it; nil: the backup is checked but not tried
}

// Make writes a backup to path, where nothing may be yet, and reads it back.
// Until it is found good it has another name, and if anything fails nothing
// stays of it. The file can be read by its owner only.
func Make(ctx context.Context, path string, c Contents) (_ Manifest, err error) {
	if _, err := os.Lstat(path); err == nil {
		return Manifest{}, fmt.Errorf("make backup %s: %w", path, fs.ErrExist)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return Manifest{}, fmt.Errorf("make the folder of the backup: %w", err)
	}
	// In the same folder, so that it is the same disk.
	dir, err := os.MkdirTemp(filepath.Dir(path), unfinished)
	if err != nil {
		return Manifest{}, fmt.Errorf("begin a backup: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	part := filepath.Join(dir, "backup.zip")
	if err := write(ctx, part, dir, c); err != nil {
		return Manifest{}, fmt.Errorf("write backup %s: %w", path, err)
	}
	m, err := try(ctx, part, dir, c.Try)
	if err != nil {
		return Manifest{}, fmt.Errorf("try backup %s, which is not kept: %w", path, err)
	}
	if err := os.Rename(part, path); err != nil {
		return Manifest{}, fmt.Errorf("give the backup its name: %w", err)
	}
	return m, syncDir(filepath.Dir(path))
}

// try reads a backup back as a restore would.
func try(ctx context.Context, path, dir string, load Load) (Manifest, error) {
	f, err := Open(path)
	if err != nil {
		return Manifest{}, err
	}
	defer f.Close()
	if err := f.Check(ctx); err != nil {
		return Manifest{}, err
	}
	if load == nil {
		return f.Manifest, nil
	}
	return f.Manifest, load(ctx, filepath.Join(dir, "trial.db"), f.Manifest.Register, f)
}

// Restore puts a checked backup's files into files, then its register where
// load puts it. A backup that is damaged restores nothing.
func Restore(ctx context.Context, path string, load Load, files Files) (Manifest, error) {
	f, err := Open(path)
	if err != nil {
		return Manifest{}, err
	}
	defer f.Close()
	if err := f.Check(ctx); err != nil {
		return Manifest{}, err
	}
	if files != nil {
		if err := f.restoreFiles(ctx, files); err != nil {
			return Manifest{}, err
		}
	}
	return f.Manifest, load(ctx, "", f.Manifest.Register, f)
}

func (f *File) restoreFiles(ctx context.Context, files Files) error {
	for _, e := range f.Manifest.Entries {
		id, ok := keptID(e.Name)
		if !ok {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		r, err := f.open(e.Name)
		if err != nil {
			return err
		}
		_, err = files.Save(e.Called, r, e.Size)
		if err = errors.Join(err, r.Close()); err != nil {
			return fmt.Errorf("restore file %s: %w", id, err)
		}
	}
	return nil
}

// syncDir makes the new name survive a power cut where the system can.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("keep the name of the backup: %w", err)
	}
	_ = d.Sync() // some file systems cannot sync a folder; the file itself is synced
	return d.Close()
}
