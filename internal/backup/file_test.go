package backup_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/backup"
	"hoseward/internal/register"
)

func entryOf(t testing.TB, path, name string) []byte {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	r, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// wantNothing wants a damaged backup to be refused before anything is used.
func wantNothing(t testing.TB, why, path, says string) {
	t.Helper()
	into := emptyFolder(t)
	_, err := backup.Restore(t.Context(), path, func(context.Context, string, register.DumpInfo, register.DumpSource) error {
		t.Errorf("%s: the register is loaded", why)
		return nil
	}, into)
	if !errors.Is(err, backup.ErrDamaged) || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
		t.Errorf("%s: %v, want ErrDamaged and %q", why, err, says)
	}
	if ids, err := into.IDs(); err != nil || len(ids) != 0 {
		t.Errorf("%s: files were restored: %v, %v", why, ids, err)
	}
}

func TestRestore_RefusesOneThatIsCutOff(t *testing.T) {
	path, _ := made(t)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	cut := filepath.Join(t.TempDir(), "cut.zip")
	for n := 0; n < len(whole); n += 1 + len(whole)/60 {
		if err := os.WriteFile(cut, whole[:n], 0o600); err != nil {
			t.Fatal(err)
		}
		wantNothing(t, "cut off", cut, "")
	}
	wantNothing(t, "a folder", t.TempDir(), "no file")
}

// Whatever bit is turned, either the file is refused or what was turned says
// nothing, such as a time of day in the zip's own list.
func TestRestore_NoTurnedBitGetsIn(t *testing.T) {
	path, _ := made(t)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, err := backup.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	want := f.Manifest
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	turned := filepath.Join(t.TempDir(), "turned.zip")
	refused, same := 0, 0
	at := []int{}
	for i := 0; i < len(whole); i += 1 + len(whole)/400 {
		at = append(at, i)
	}
	for i := max(0, len(whole)-3000); i < len(whole); i += 7 { // the manifest and the zip's list
		at = append(at, i)
	}
	for _, i := range at {
		bad := bytes.Clone(whole)
		bad[i] ^= 1 << (i % 8)
		if err := os.WriteFile(turned, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		have, err := checked(t, turned)
		switch {
		case errors.Is(err, backup.ErrDamaged):
			refused++
		case err != nil:
			t.Errorf("byte %d: %v, want ErrDamaged", i, err)
		case !cmp.Equal(have, want):
			t.Errorf("byte %d got in: %s", i, cmp.Diff(want, have))
		default:
			same++
		}
	}
	t.Logf("%d bytes turned: %d refused, %d said nothing", len(at), refused, same)
	if refused < len(at)*3/4 {
		t.Errorf("only %d of %d are refused", refused, len(at))
	}
}

func checked(t testing.TB, path string) (backup.Manifest, error) {
	f, err := backup.Open(path)
	if err != nil {
		return backup.Manifest{}, err
	}
	defer f.Close()
	return f.Manifest, f.Check(t.Context())
}

// part is an entry of a zip that a test writes.
type part struct {
	name string
	text string
}

// forge writes a zip of the parts and a manifest that fits them, changed by
// change.
func forge(t testing.TB, parts []part, change func(*backup.Manifest)) string {
	t.Helper()
	m := backup.Manifest{Format: 1, Made: noon, Register: register.DumpInfo{Schema: 11, Tables: []register.DumpTable{{Name: "sites", Rows: 1}}}}
	path := filepath.Join(t.TempDir(), "forged.zip")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(file)
	add := func(name, text string) {
		w, err := z.Create(name)
		if err == nil {
			_, err = io.WriteString(w, text)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, p := range parts {
		add(p.name, p.text)
		sum := sha256.Sum256([]byte(p.text))
		m.Entries = append(m.Entries, backup.Entry{Name: p.name, Size: int64(len(p.text)), SHA256: hex.EncodeToString(sum[:])})
	}
	change(&m)
	if m.Format != 0 {
		text, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		add("manifest.json", string(text))
	}
	if err := errors.Join(z.Close(), file.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRestore_RefusesForgedOnes(t *testing.T) {
	table := part{"dump/sites.jsonl", "[1]\n"}
	hello := sha256.Sum256([]byte("hello"))
	none := func(*backup.Manifest) {}
	if _, err := checked(t, forge(t, []part{table, {"files/" + hex.EncodeToString(hello[:]), "hello"}}, none)); err != nil {
		t.Fatalf("one that fits: %v", err)
	}
	for _, c := range []struct {
		why    string
		parts  []part
		change func(*backup.Manifest)
		says   string
	}{
		{"a name that leads outside", []part{table, {"../../etc/cron.d/x", "hello"}}, none, "is no part of a backup"},
		{"a name that leads outside within files", []part{table, {"files/../../x", "hello"}}, none, "is no part of a backup"},
		{"an absolute name", []part{table, {"/etc/passwd", "hello"}}, none, "is no part of a backup"},
		{"a Windows name", []part{table, {`files\..\x`, "hello"}}, none, "is no part of a backup"},
		{"a kept file under another's id", []part{table, {"files/" + strings.Repeat("0", 64), "hello"}}, none, "is no part of a backup"},
		{"a part that is not listed", []part{table, {"register.db", ""}}, func(m *backup.Manifest) { m.Entries = m.Entries[:1] }, "not on its list"},
		{"a listed part that is missing", []part{table}, func(m *backup.Manifest) { m.Entries = append(m.Entries, backup.Entry{Name: "register.db"}) }, "is missing"},
		{"a part twice", []part{table, table}, none, "twice"},
		{"a list with a part twice", []part{table}, func(m *backup.Manifest) { m.Entries = append(m.Entries, m.Entries[0]) }, "twice"},
		{"another size", []part{table}, func(m *backup.Manifest) { m.Entries[0].Size++ }, "another size"},
		{"a size below zero", []part{table}, func(m *backup.Manifest) { m.Entries[0].Size = -1 }, "another size"},
		{"another hash", []part{table}, func(m *backup.Manifest) { m.Entries[0].SHA256 = strings.Repeat("0", 64) }, "altered"},
		{"a table that is not dumped", []part{table}, func(m *backup.Manifest) {
			m.Register.Tables = append(m.Register.Tables, register.DumpTable{Name: "kinds"})
		}, "is missing"},
		{"a dump of no table", []part{table, {"dump/kinds.jsonl", ""}}, none, "lists 1"},
		{"a newer form", []part{table}, func(m *backup.Manifest) { m.Format = 2 }, "newer hoseward"},
		{"no such form", []part{table}, func(m *backup.Manifest) { m.Format = -1 }, "no form"},
		{"no manifest", []part{table}, func(m *backup.Manifest) { m.Format = 0 }, "no manifest.json"},
		{"a manifest that is none", []part{table, {"manifest.json", "[1,2]"}}, func(m *backup.Manifest) { m.Format = 0 }, "cannot be read"},
		{"a manifest too large", []part{table, {"manifest.json", `{"format":1,"program":"` + strings.Repeat("x", 65<<20) + `"}`}}, func(m *backup.Manifest) { m.Format = 0 }, "larger than any"},
	} {
		wantNothing(t, c.why, forge(t, c.parts, c.change), c.says)
	}
}

// bomb is a zip whose table unpacks to far more than its list says.
func bomb(t testing.TB, says, is int64) string {
	t.Helper()
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	sum, sha := crc32.NewIEEE(), sha256.New()
	zeros := make([]byte, 1<<20)
	for left := is; left > 0; left -= int64(len(zeros)) {
		if _, err := io.MultiWriter(w, sum, sha).Write(zeros[:min(left, int64(len(zeros)))]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "bomb.zip")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(file)
	raw, err := z.CreateRaw(&zip.FileHeader{
		Name: "dump/sites.jsonl", Method: zip.Deflate, CRC32: sum.Sum32(),
		CompressedSize64: uint64(packed.Len()), UncompressedSize64: uint64(says),
	})
	if err == nil {
		_, err = packed.WriteTo(raw)
	}
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(backup.Manifest{
		Format: 1, Register: register.DumpInfo{Tables: []register.DumpTable{{Name: "sites"}}},
		Entries: []backup.Entry{{Name: "dump/sites.jsonl", Size: says, SHA256: hex.EncodeToString(sha.Sum(nil))}},
	})
	if err != nil {
		t.Fatal(err)
	}
	m, err := z.Create("manifest.json")
	if err == nil {
		_, err = m.Write(text)
	}
	if err = errors.Join(err, z.Close(), file.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRestore_ABombIsNotUnpackedBeyondItsList(t *testing.T) {
	wantNothing(t, "larger than it says", bomb(t, 10, 200<<20), "dump/sites.jsonl")
	wantNothing(t, "smaller than it says", bomb(t, 200<<20, 10), "dump/sites.jsonl")
}

// Parts that share their packed bytes would multiply what a small file can
// unpack to.
func TestRestore_RefusesPartsThatOverlap(t *testing.T) {
	path := forge(t, []part{{"dump/sites.jsonl", strings.Repeat("[1]\n", 1000)}}, func(*backup.Manifest) {})
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// The list at the end says that the first part is packed into all of it.
	i := bytes.LastIndex(text, []byte("PK\x01\x02"))
	i = bytes.LastIndex(text[:i], []byte("PK\x01\x02"))
	copy(text[i+20:], []byte{0xff, 0xff, 0xff, 0x7f})
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	wantNothing(t, "overlapping", path, "larger than it is")
}

func FuzzOpen(f *testing.F) {
	for _, p := range []string{
		forge(f, []part{{"dump/sites.jsonl", "[1]\n"}}, func(*backup.Manifest) {}),
		bomb(f, 10, 1000),
	} {
		text, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	file := filepath.Join(f.TempDir(), "fuzz.zip")
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		m, err := checked(t, file)
		if err != nil {
			if !errors.Is(err, backup.ErrDamaged) {
				t.Fatal(err)
			}
			return
		}
		if m.Format != 1 || slices.ContainsFunc(m.Entries, func(e backup.Entry) bool { return strings.Contains(e.Name, "..") }) {
			t.Fatalf("taken: %+v", m)
		}
	})
}
