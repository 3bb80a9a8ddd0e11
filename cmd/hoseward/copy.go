package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// copyCommand moves a register to another database.
type copyCommand struct {
	From string `required:"" placeholder:"PATH" help:"Register to copy: path of an SQLite file, or postgres://..."`
	To   string `required:"" placeholder:"PATH" help:"Where the copy goes, which must be empty or not there: path of an SQLite file, or postgres://..."`
}

// Run copies row by row and compares.
func (c copyCommand) Run(ctx context.Context, m *Main) (err error) {
	if c.From == c.To {
		return badCall(errors.New("--from and --to are the same register"))
	}
	if err := wantFile(c.From); err != nil {
		return err
	}
	from, err := store.OpenToRead(ctx, c.From)
	if err != nil {
		return fmt.Errorf("open the register to copy: %w", err)
	}
	defer func() { err = errors.Join(err, from.Close()) }()
	if err := store.WantEmpty(ctx, c.To); err != nil {
		return ofDump(err)
	}
	dir, err := os.MkdirTemp("", "hoseward-copy-")
	if err != nil {
		return fmt.Errorf("make a folder for the copy: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	sent := &sums{next: &dumpFolder{dir: dir}}
	info, err := from.Dump(ctx, sent)
	if err = errors.Join(err, sent.next.close()); err != nil {
		return fmt.Errorf("read the register to copy: %w", err)
	}
	if _, err := store.Load(ctx, c.To, info, sent.next); err != nil {
		return ofDump(fmt.Errorf("write the copy: %w", err))
	}
	return c.compare(ctx, m, from, info, sent)
}

// compare wants the copy to have, table by table, the text of what was sent.
func (c copyCommand) compare(ctx context.Context, m *Main, from *store.Store, info register.DumpInfo, sent *sums) error {
	to, err := store.OpenToRead(ctx, c.To)
	if err != nil {
		return fmt.Errorf("open the copy: %w", err)
	}
	defer to.Close()
	got := &sums{}
	have, err := to.Dump(ctx, got)
	if err != nil {
		return fmt.Errorf("read the copy: %w", err)
	}
	for _, t := range info.Tables {
		if sent.of(t.Name) != got.of(t.Name) {
			return fmt.Errorf("the copy differs from the register in table %s; do not use it", t.Name)
		}
	}
	fmt.Fprintf(m.Stdout, "Copied %d rows in %d tables from %s to %s. Both were read again and compared: they are equal row by row.\n",
		info.Rows(), len(info.Tables), from.Engine(), to.Engine())
	fmt.Fprintf(m.Stdout, "The change log verifies; its head is %d:%s\n", have.Seq, have.Hash)
	fmt.Fprintln(m.Stdout, "Kept files stay where they are: give both the same --files.")
	now, err := from.Describe(ctx)
	if err != nil {
		return fmt.Errorf("read the register again: %w", err)
	}
	if now.Seq != info.Seq {
		return badData(fmt.Errorf("the register was changed while it was copied (its change log is at row %d now): stop the service and copy again into an empty database", now.Seq))
	}
	return nil
}

// sums takes the hash of each table, and passes the dump on if there is a next.
type sums struct {
	next *dumpFolder
	all  map[string]hash.Hash
}

// Table begins a table.
func (s *sums) Table(name string) (io.Writer, error) {
	if s.all == nil {
		s.all = map[string]hash.Hash{}
	}
	sum := sha256.New()
	s.all[name] = sum
	if s.next == nil {
		return sum, nil
	}
	to, err := s.next.begin(name)
	if err != nil {
		return nil, err
	}
	return io.MultiWriter(to, sum), nil
}

func (s *sums) of(name string) string {
	if s.all[name] == nil {
		return ""
	}
	return string(s.all[name].Sum(nil))
}

// dumpFolder keeps a dump in a folder, a file for each table.
type dumpFolder struct {
	dir  string
	open *os.File
}

func (d *dumpFolder) begin(name string) (io.Writer, error) {
	if err := d.close(); err != nil {
		return nil, err
	}
	var err error
	d.open, err = os.OpenFile(filepath.Join(d.dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	return d.open, err
}

func (d *dumpFolder) close() error {
	if d.open == nil {
		return nil
	}
	err := d.open.Close()
	d.open = nil
	return err
}

// Table opens a table that was kept.
func (d *dumpFolder) Table(name string) (io.ReadCloser, error) {
	return os.Open(filepath.Join(d.dir, name))
}
