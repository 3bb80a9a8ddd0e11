package main

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/files"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// rows are the lines of all tables of a register, by table.
func rows(t *testing.T, db string) map[string]string {
	t.Helper()
	reg, err := store.OpenAsIs(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer reg.Close()
	d := inMemory{}
	if _, err := reg.Dump(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for name, b := range d {
		out[name] = b.String()
	}
	return out
}

type inMemory map[string]*bytes.Buffer

func (d inMemory) Table(name string) (io.Writer, error) {
	d[name] = new(bytes.Buffer)
	return d[name], nil
}

func same(a, b map[string]string) bool {
	for name := range a {
		if a[name] != b[name] {
			return false
		}
	}
	return len(a) == len(b) && len(a) > 20
}

func TestBackup_RestoresOnANewMachine(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	db := filledRegister(t, dir)
	folder, err := files.Open(at("files"))
	if err != nil {
		t.Fatal(err)
	}
	id, err := folder.Save("a photo.jpg", strings.NewReader("light"), 100)
	if err != nil {
		t.Fatal(err)
	}
	out := must(t, "--db", db, "--files", at("files"), "backup", at("a.zip"))
	if !strings.Contains(out, "1 kept files") || !strings.Contains(out, "The backup is good.") {
		t.Errorf("backup says %s", out)
	}
	if out := must(t, "--db", db, "--files", at("files"), "backup", "--no-trial", at("b.zip")); strings.Contains(out, "good") || !strings.Contains(out, "not tried") {
		t.Errorf("without a trial it says %s", out)
	}
	out = must(t, "--db", at("new.db"), "--files", at("new"), "restore", at("a.zip"))
	if !strings.Contains(out, "25 November 2026 at 09:00") || !strings.Contains(out, "the change log verifies") {
		t.Errorf("restore says %s", out)
	}
	if !same(rows(t, db), rows(t, at("new.db"))) {
		t.Error("what was restored differs")
	}
	if text, err := os.ReadFile(filepath.Join(at("new"), id)); err != nil || string(text) != "light" {
		t.Errorf("the kept file is %q, %v", text, err)
	}
	if a, b := must(t, "--db", db, "export", "-"), must(t, "--db", at("new.db"), "export", "-"); a != b {
		t.Errorf("the lists differ:\n%s\n%s", a, b)
	}
	whole, err := os.ReadFile(at("a.zip"))
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string][]byte{"cut.zip": whole[:len(whole)-100], "no.zip": []byte("hello")} {
		if err := os.WriteFile(at(name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		why  string
		code int
		says string
		args []string
	}{
		{"over a file", exitCall, "another name", []string{"--db", db, "backup", at("a.zip")}},
		{"no register", exitEnvironment, "there is no register", []string{"--db", at("none.db"), "backup", at("c.zip")}},
		{"into one that is not empty", exitData, "not empty", []string{"--db", db, "restore", at("a.zip")}},
		{"no such backup", exitCall, "no such file", []string{"--db", at("x.db"), "restore", at("none.zip")}},
		{"one that is cut off", exitData, "not a whole backup", []string{"--db", at("x.db"), "restore", at("cut.zip")}},
		{"no backup", exitData, "not a whole backup", []string{"--db", at("x.db"), "restore", at("no.zip")}},
	} {
		code, _, errs := call(t, "", append([]string{"--files", at("more")}, c.args...)...)
		if code != c.code || !strings.Contains(errs, c.says) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s: exit %d: %s", c.why, code, errs)
		}
	}
}

// older makes a register as a program of schema 10 left it.
func older(t *testing.T, db string) map[string]string {
	t.Helper()
	zipped := filepath.Join("..", "..", "testdata", "register", "schema-0010.zip")
	z, err := zip.OpenReader(zipped)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	r, err := z.Open("register.db")
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(db, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return rows(t, db)
}

// The rehearsal of an upgrade: the backup is there, it restores, and what was
// restored is what was upgraded.
func TestUpgrade_BacksUpFirstAndTheBackupRestores(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	before := older(t, at("old.db"))
	with := []string{"--db", at("old.db"), "--files", at("files")}
	if err := os.WriteFile(at("file"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs := call(t, "", append(with, "--backups", at("file"), "migrate")...)
	if code != exitEnvironment || !strings.Contains(errs, "--backups none") || strings.Count(errs, "\n") != 1 {
		t.Errorf("where no backup can be written: exit %d: %s", code, errs)
	}
	if !same(before, rows(t, at("old.db"))) {
		t.Fatal("an upgrade that was refused changed the register")
	}
	code, _, errs = call(t, "", append(with, "--backups", at("backups"), "migrate")...)
	made := filepath.Join(at("backups"), "before-schema-0011-20261125T090000Z.zip")
	if code != exitDone || !strings.Contains(errs, made) {
		t.Fatalf("exit %d: %s", code, errs)
	}
	out := must(t, "--db", at("new.db"), "--files", at("files"), "restore", made)
	if !strings.Contains(out, "schema 10") {
		t.Errorf("restore says %s", out)
	}
	if !same(rows(t, at("old.db")), rows(t, at("new.db"))) {
		t.Error("what was restored and upgraded differs from what was upgraded")
	}
	t.Logf("upgraded %d tables; %s", len(before), strings.TrimSpace(out))
	if code, _, errs := call(t, "", append(with, "--backups", at("backups"), "migrate")...); code != exitDone || errs != "" {
		t.Errorf("a second time: exit %d: %s", code, errs)
	}
	older(t, at("old.db"))
	if code, _, errs := call(t, "", append(with, "--backups", "none", "migrate")...); code != exitDone || errs != "" {
		t.Errorf("without a backup: exit %d: %s", code, errs)
	}
	if entries, err := os.ReadDir(at("backups")); err != nil || len(entries) != 1 {
		t.Errorf("there are %v, %v: want the one backup", entries, err)
	}
}

func TestNightlyBackup_KeepsWhatItShould(t *testing.T) {
	dir := t.TempDir()
	db := filledRegister(t, dir)
	reg, err := store.Open(t.Context(), db, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer reg.Close()
	s := config.Settings{DB: db, Files: filepath.Join(dir, "files"), Backups: filepath.Join(dir, "backups")}
	if jobs := backupJobs(reg, config.Settings{}); len(jobs) != 0 {
		t.Error("there is a job although no backups are wanted")
	}
	job := backupJobs(reg, s)[0]
	tonight := time.Date(2026, 11, 25, 2, 10, 0, 0, time.UTC)
	for _, now := range []time.Time{tonight.Add(-time.Hour), tonight.AddDate(0, 0, -1), tonight} {
		if n, err := job.Run(t.Context(), now, nil); err != nil || n != 1 {
			t.Fatalf("%v: %d, %v", now, n, err)
		}
	}
	if entries, err := os.ReadDir(s.Backups); err != nil || len(entries) != 3 || entries[2].Name() != "hoseward-20261125T021000Z.zip" {
		t.Errorf("there are %v, %v", entries, err)
	}
	s.Backups = filepath.Join(db, "no folder")
	_, err = backupJobs(reg, s)[0].Run(t.Context(), tonight, nil)
	var said *register.Error
	if err == nil || !errors.As(err, &said) || !strings.Contains(said.Sentence, "Look at the disk") {
		t.Errorf("where no folder can be: %v", err)
	}
}
