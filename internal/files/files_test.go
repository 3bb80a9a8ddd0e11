package files_test

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"hoseward/internal/files"
)

func open(t *testing.T) (*files.Folder, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "kept")
	f, err := files.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f, dir
}

// The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
func TestSave_NamesByContent(t *testing.T) {
	f, _ := open(t)
	id, err := f.Save("hoses.csv", strings.NewReader("abc"), 100)
	if err != nil {
		t.Fatal(err)
	}
	if want := "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"; id != want {
		t.Errorf("id %s, want %s", id, want)
	}
	name, file, err := f.Open(id)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	content, err := io.ReadAll(file)
	if name != "hoses.csv" || string(content) != "abc" || err != nil {
		t.Errorf("read back %q named %q, %v", content, name, err)
	}
}

func TestSave_SameContentIsKeptOnce(t *testing.T) {
	f, dir := open(t)
	for _, name := range []string{"a.csv", "b.csv"} {
		if _, err := f.Save(name, strings.NewReader("same"), 100); err != nil {
			t.Fatal(err)
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 2 {
		t.Errorf("%d entries, want the file and its name: %v", len(entries), err)
	}
}

func TestSave_KeepsNothingOfAFailure(t *testing.T) {
	broken := errors.New("line cut")
	for _, c := range []struct {
		what string
		r    io.Reader
		is   func(error) bool
	}{
		{"more than the limit", bytes.NewReader(make([]byte, 101)), func(err error) bool {
			var tooLarge *http.MaxBytesError
			return errors.As(err, &tooLarge) && tooLarge.Limit == 100
		}},
		{"a reader that fails", io.MultiReader(strings.NewReader("abc"), iotest.ErrReader(broken)), func(err error) bool { return errors.Is(err, broken) }},
	} {
		t.Run(c.what, func(t *testing.T) {
			f, dir := open(t)
			id, err := f.Save("x.csv", c.r, 100)
			if err == nil || !c.is(err) || id != "" {
				t.Errorf("id %q, error %v", id, err)
			}
			if entries, _ := os.ReadDir(dir); len(entries) != 0 {
				t.Errorf("left behind: %v", entries)
			}
		})
	}
	f, _ := open(t)
	if _, err := f.Save("x.csv", bytes.NewReader(make([]byte, 100)), 100); err != nil {
		t.Errorf("exactly the limit: %v", err)
	}
}

func TestOpen_OnlyWhatIsKept(t *testing.T) {
	f, dir := open(t)
	if err := os.WriteFile(filepath.Join(filepath.Dir(dir), "secret"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"", "..", "../secret", strings.Repeat("../", 21) + "s", strings.Repeat("a", 64), strings.Repeat("A", 64)} {
		if _, _, err := f.Open(id); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("open %q: %v, want not exist", id, err)
		}
	}
}

func TestSave_CleansNames(t *testing.T) {
	for given, want := range map[string]string{
		`C:\fleet\hoses.xlsx`:           "hoses.xlsx",
		"../../etc/passwd":              "passwd",
		"a\x00b\nc.csv":                 "abc.csv",
		"":                              "file",
		strings.Repeat("x", 500) + ".z": strings.Repeat("x", 118) + ".z",
	} {
		f, _ := open(t)
		id, err := f.Save(given, strings.NewReader("1"), 10)
		if err != nil {
			t.Fatal(err)
		}
		name, file, err := f.Open(id)
		if err != nil {
			t.Fatal(err)
		}
		file.Close()
		if name != want {
			t.Errorf("%q became %q, want %q", given, name, want)
		}
	}
}

func TestRemoveOlder_LeavesTheYoungAndTheForeign(t *testing.T) {
	f, dir := open(t)
	old, _ := f.Save("old.csv", strings.NewReader("old"), 10)
	young, _ := f.Save("young.csv", strings.NewReader("young"), 10)
	foreign := filepath.Join(dir, "keep-me.txt")
	if err := os.WriteFile(foreign, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	long := time.Now().Add(-48 * time.Hour)
	for _, p := range []string{filepath.Join(dir, old), filepath.Join(dir, old+".name"), foreign} {
		if err := os.Chtimes(p, long, long); err != nil {
			t.Fatal(err)
		}
	}
	n, err := f.RemoveOlder(time.Now().Add(-24 * time.Hour))
	if n != 1 || err != nil {
		t.Errorf("removed %d, %v; want 1", n, err)
	}
	if _, _, err := f.Open(old); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the old one is still there: %v", err)
	}
	_, file, err := f.Open(young)
	if err != nil {
		t.Fatalf("the young one is gone: %v", err)
	}
	file.Close()
	if _, err := os.Stat(foreign); err != nil {
		t.Errorf("a file that is not ours is gone: %v", err)
	}
}
