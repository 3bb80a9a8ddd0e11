package backup_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/backup"
	"hoseward/internal/files"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// small is a register with a machine.
func small(t testing.TB) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "register.db"), store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	_, err = s.Apply(t.Context(), noon, register.Actor{PersonID: register.LocalPersonID, Origin: register.FromCommand},
		register.AddSite{Name: "Depot", Zone: "Europe/Berlin"},
		register.AddMachine{Site: "Depot", Code: "RT-01", Name: "Truck \"one\"\n\u2028ä"},
		register.AddPosition{Machine: "RT-01", Name: "lift left"})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// folder keeps two files.
func folder(t testing.TB) *files.Folder {
	t.Helper()
	f := emptyFolder(t)
	for name, text := range map[string]string{"photo 1.jpg": strings.Repeat("light", 1000), "empty.txt": ""} {
		if _, err := f.Save(name, strings.NewReader(text), 1<<20); err != nil {
			t.Fatal(err)
		}
	}
	return f
}

func emptyFolder(t testing.TB) *files.Folder {
	t.Helper()
	f, err := files.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// whatIsKept are the contents of a folder's files by their names.
func whatIsKept(t testing.TB, f *files.Folder) map[string]string {
	t.Helper()
	ids, err := f.IDs()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, id := range ids {
		name, file, err := f.Open(id)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(file)
		if err = errors.Join(err, file.Close()); err != nil {
			t.Fatal(err)
		}
		out[name] = string(text)
	}
	return out
}

func loadInto(ctx context.Context, into string, info register.DumpInfo, src register.DumpSource) error {
	_, err := store.Load(ctx, into, info, src)
	return err
}

func contents(t testing.TB) backup.Contents {
	t.Helper()
	return backup.Contents{Register: small(t), Files: folder(t), Program: "v0", Made: noon, Try: loadInto}
}

// made is a good backup.
func made(t testing.TB) (path string, c backup.Contents) {
	t.Helper()
	path, c = filepath.Join(t.TempDir(), "a.zip"), contents(t)
	if _, err := backup.Make(t.Context(), path, c); err != nil {
		t.Fatal(err)
	}
	return path, c
}

// text is a dump in memory.
type text map[string]*bytes.Buffer

func (d text) Table(name string) (io.Writer, error) {
	d[name] = new(bytes.Buffer)
	return d[name], nil
}

func textOf(t testing.TB, s *store.Store) map[string]string {
	t.Helper()
	d := text{}
	if _, err := s.Dump(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for name, b := range d {
		out[name] = b.String()
	}
	return out
}

func TestMake_RestoresTheSameRegisterAndFiles(t *testing.T) {
	path, c := made(t)
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v: want a file only its owner can read", info.Mode(), err)
	}
	if entries, err := os.ReadDir(filepath.Dir(path)); err != nil || len(entries) != 1 {
		t.Errorf("left beside it: %v, %v", entries, err)
	}
	dsn, into := filepath.Join(t.TempDir(), "other.db"), emptyFolder(t)
	m, err := backup.Restore(t.Context(), path, func(ctx context.Context, _ string, info register.DumpInfo, src register.DumpSource) error {
		return loadInto(ctx, dsn, info, src)
	}, into)
	if err != nil {
		t.Fatal(err)
	}
	if m.Program != "v0" || !m.Made.Equal(noon) || m.Kept() != 2 || m.Register.Seq == 0 {
		t.Errorf("the manifest says %+v", m)
	}
	s, err := store.Open(t.Context(), dsn, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if d := cmp.Diff(textOf(t, c.Register.(*store.Store)), textOf(t, s)); d != "" {
		t.Errorf("backed up (-) and restored (+):\n%s", d)
	}
	if d := cmp.Diff(whatIsKept(t, c.Files.(*files.Folder)), whatIsKept(t, into)); d != "" {
		t.Errorf("files backed up (-) and restored (+):\n%s", d)
	}
}

// The copy of the database in the zip is itself a register that opens.
func TestMake_TheDatabaseFileInItOpens(t *testing.T) {
	path, c := made(t)
	file := filepath.Join(t.TempDir(), "register.db")
	if err := os.WriteFile(file, entryOf(t, path, "register.db"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), file, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if d := cmp.Diff(textOf(t, c.Register.(*store.Store)), textOf(t, s)); d != "" {
		t.Error(d)
	}
	if _, broken, err := s.VerifyChain(t.Context()); err != nil || broken != 0 {
		t.Errorf("broken at %d, %v", broken, err)
	}
}

func TestMake_LeavesWhatIsThere(t *testing.T) {
	path, c := made(t)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := backup.Make(t.Context(), path, c); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over another: %v, want fs.ErrExist", err)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the one there was changed, %v", err)
	}
}

// broken is a register whose dump fails after some tables.
type broken struct {
	*store.Store
	after int
	err   error
}

func (b broken) Freeze(ctx context.Context, dir string, f func(func(context.Context, register.DumpSink) (register.DumpInfo, error), string) error) error {
	return b.Store.Freeze(ctx, dir, func(dump func(context.Context, register.DumpSink) (register.DumpInfo, error), file string) error {
		return f(func(ctx context.Context, sink register.DumpSink) (register.DumpInfo, error) {
			return dump(ctx, &brokenSink{sink, b.after, b.err})
		}, file)
	})
}

type brokenSink struct {
	register.DumpSink
	after int
	err   error
}

func (b *brokenSink) Table(name string) (io.Writer, error) {
	if b.after--; b.after < 0 {
		return nil, b.err
	}
	return b.DumpSink.Table(name)
}

func TestMake_KeepsNothingOfWhatFails(t *testing.T) {
	failed := errors.New("it failed")
	altered := func(ctx context.Context, into string, info register.DumpInfo, src register.DumpSource) error {
		info.Seq++ // as if a change were missing
		return loadInto(ctx, into, info, src)
	}
	for why, change := range map[string]func(*backup.Contents){
		"the dump": func(c *backup.Contents) { c.Register = broken{c.Register.(*store.Store), 5, failed} },
		"the trial": func(c *backup.Contents) {
			c.Try = func(context.Context, string, register.DumpInfo, register.DumpSource) error { return failed }
		},
		"a trial that counts": func(c *backup.Contents) { c.Try = altered },
		"a file is damaged":   func(c *backup.Contents) { c.Files = damagedFiles{c.Files} },
	} {
		dir, c := t.TempDir(), contents(t)
		change(&c)
		if _, err := backup.Make(t.Context(), filepath.Join(dir, "a.zip"), c); err == nil {
			t.Errorf("%s failed and the backup is called good", why)
		}
		if entries, err := os.ReadDir(dir); err != nil || len(entries) != 0 {
			t.Errorf("%s failed and left %v, %v", why, entries, err)
		}
	}
}

// damagedFiles gives another file than it was asked for.
type damagedFiles struct{ backup.Files }

func (d damagedFiles) Open(string) (string, *os.File, error) {
	ids, err := d.IDs()
	if err != nil {
		return "", nil, err
	}
	return d.Files.Open(ids[0])
}

func TestMake_StopsWhenItIsToldTo(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	dir := t.TempDir()
	if _, err := backup.Make(ctx, filepath.Join(dir, "a.zip"), contents(t)); err == nil {
		t.Error("a backup that was stopped is called good")
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 0 {
		t.Errorf("it left %v, %v", entries, err)
	}
}
