package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"hoseward/internal/backup"
	"hoseward/internal/config"
	"hoseward/internal/files"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/jobs"
)

// backupCommand writes a register with its files as one zip.
type backupCommand struct {
	File    string `arg:"" help:"File to write, such as backup.zip; nothing may be there yet."`
	NoTrial bool   `name:"no-trial" help:"Check what was written, but do not load it to try it."`
}

// Run backs up the register as it is, whatever its schema, and tries the
// backup.
func (c backupCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	reg, err := openAsIs(ctx, s.DB)
	if err != nil {
		return err
	}
	defer reg.Close()
	contents, err := contentsOf(m.Now(), reg, s)
	if err != nil {
		return err
	}
	if c.NoTrial {
		contents.Try = nil
	}
	made, err := backup.Make(ctx, c.File, contents)
	switch {
	case errors.Is(err, fs.ErrExist):
		return badCall(fmt.Errorf("there is something at %s already; give the backup another name", c.File))
	case err != nil:
		return err
	}
	fmt.Fprintf(m.Stdout, "Backed up to %s: %s.\n", c.File, whatIsIn(made))
	if c.NoTrial {
		fmt.Fprintln(m.Stdout, "It reads back as written. It was not tried: hoseward restore into a new --db tries it.")
		return nil
	}
	fmt.Fprintln(m.Stdout, "It was loaded into a temporary register: all rows are there and the change log verifies. The backup is good.")
	return nil
}

// restoreCommand makes a register from a backup.
type restoreCommand struct {
	File string `arg:"" help:"Backup to restore, into the register that --db names, which must be empty or not there, and the folder --files."`
}

// Run restores and says what there is now.
func (c restoreCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	if err := store.WantEmpty(ctx, s.DB); err != nil {
		return ofDump(err)
	}
	folder, err := files.Open(s.Files)
	if err != nil {
		return fmt.Errorf("open the folder of files %s: %w", s.Files, err)
	}
	into := func(ctx context.Context, _ string, info register.DumpInfo, src register.DumpSource) error {
		return loadInto(ctx, s.DB, info, src)
	}
	from, err := backup.Restore(ctx, c.File, into, folder)
	if errors.Is(err, fs.ErrNotExist) {
		return badCall(err)
	}
	if err != nil {
		return ofDump(err)
	}
	reg, err := store.Open(ctx, s.DB, store.Options{})
	if err != nil {
		return fmt.Errorf("open the restored register: %w", err)
	}
	defer reg.Close()
	fmt.Fprintf(m.Stdout, "Restored what was backed up on %s UTC: %s.\n", from.Made.UTC().Format("2 January 2006 at 15:04"), whatIsIn(from))
	fmt.Fprintf(m.Stdout, "All rows are there, every reference holds, and the change log verifies. Its head is %d:%s\n", from.Register.Seq, from.Register.Hash)
	fmt.Fprintln(m.Stdout, "Look at people and tokens: who was taken off since that day has the old rights again.")
	return nil
}

func whatIsIn(m backup.Manifest) string {
	return fmt.Sprintf("%d rows in %d tables (%s, schema %d), %d kept files, change log up to row %d",
		m.Register.Rows(), len(m.Register.Tables), m.Register.Engine, m.Register.Schema, m.Kept(), m.Register.Seq)
}

// openAsIs opens a register of any schema to dump it.
func openAsIs(ctx context.Context, dsn string) (*store.Store, error) {
	if err := wantFile(dsn); err != nil {
		return nil, err
	}
	reg, err := store.OpenAsIs(ctx, dsn)
	if err != nil {
		return nil, fmt.Errorf("open the register: %w", err)
	}
	return reg, nil
}

// loadInto loads a dump as a backup is tried and restored.
func loadInto(ctx context.Context, into string, info register.DumpInfo, src register.DumpSource) error {
	_, err := store.Load(ctx, into, info, src)
	return err
}

// ofDump tells errors of a backup from those of the environment.
func ofDump(err error) error {
	for _, data := range []error{backup.ErrDamaged, store.ErrDump, store.ErrNotEmpty} {
		if errors.Is(err, data) {
			return badData(err)
		}
	}
	return err
}

// contentsOf is a register with the files its settings name.
func contentsOf(now time.Time, reg *store.Store, s config.Settings) (backup.Contents, error) {
	folder, err := files.Open(s.Files)
	if err != nil {
		return backup.Contents{}, fmt.Errorf("open the folder of files %s: %w", s.Files, err)
	}
	return backup.Contents{Register: reg, Files: folder, Program: version(), Made: now, Try: loadInto}, nil
}

// version is what the program was built from, empty if that is not known.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "(devel)" {
		return ""
	}
	return info.Main.Version
}

// beforeUpgrade backs a register up before its schema is changed; nil where
// the settings want no backups.
func beforeUpgrade(m *Main, s config.Settings) func(context.Context, *store.Store, int64) error {
	if s.Backups == "" {
		return nil
	}
	return func(ctx context.Context, old *store.Store, to int64) error {
		contents, err := contentsOf(m.Now(), old, s)
		if err != nil {
			return err
		}
		path := filepath.Join(s.Backups, backup.NameBefore(to, m.Now()))
		if _, err := backup.Make(ctx, path, contents); err != nil {
			return fmt.Errorf("this register is older than the program and is backed up before it is upgraded, but the backup failed, so nothing was changed; mend that, name another folder with --backups, or upgrade without one by --backups none: %w", err)
		}
		fmt.Fprintf(m.Stderr, "The register is upgraded; as it was it is in %s.\n", path)
		return nil
	}
}

// nightlyBackup makes the backups of the scheduled job.
type nightlyBackup struct {
	reg *store.Store
	s   config.Settings
}

// BackUp makes and tries a backup, then takes old ones away.
func (n nightlyBackup) BackUp(ctx context.Context, now time.Time) error {
	contents, err := contentsOf(now, n.reg, n.s)
	if err != nil {
		return refusedBackup(err)
	}
	if _, err := backup.Make(ctx, filepath.Join(n.s.Backups, backup.Name(now)), contents); err != nil {
		return refusedBackup(err)
	}
	_, err = backup.Rotate(n.s.Backups, now)
	return err
}

// refusedBackup says on the page of jobs why there is no backup.
func refusedBackup(err error) error {
	var file *os.PathError
	sentence := "No backup was made; the ones before are as they were. Look at the disk and the folder of backups; the log of the program says why."
	if errors.As(err, &file) {
		sentence = fmt.Sprintf("No backup was made, because a file could not be written or read (%v); the ones before are as they were. Look at the disk and the folder of backups.", file.Err)
	}
	return errors.Join(&register.Error{Code: register.Invalid, Field: "backup", Sentence: sentence}, err)
}

// backupJobs are the jobs that make backups: none where the settings want none.
func backupJobs(reg *store.Store, s config.Settings) []jobs.Job {
	if s.Backups == "" {
		return nil
	}
	return []jobs.Job{jobs.Backup(nightlyBackup{reg, s})}
}
