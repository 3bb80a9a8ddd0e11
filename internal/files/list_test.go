package files

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestIDs_AreThoseOfKeptFilesOnly(t *testing.T) {
	dir := t.TempDir()
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, text := range []string{"one", "two", ""} {
		id, err := f.Save(text+".txt", strings.NewReader(text), 10)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, id)
	}
	for _, name := range []string{"new-1", "notes.txt", strings.Repeat("G", 64)} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, strings.Repeat("a", 64)), 0o700); err != nil {
		t.Fatal(err)
	}
	slices.Sort(want)
	if ids, err := f.IDs(); err != nil || !slices.Equal(ids, want) {
		t.Errorf("%v, %v, want %v", ids, err, want)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	if ids, err := f.IDs(); err == nil {
		t.Errorf("without its folder: %v", ids)
	}
}
