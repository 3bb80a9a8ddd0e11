package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// filledRegister is a register with some machines and hoses, made by import.
func filledRegister(t *testing.T, dir string) (db string) {
	t.Helper()
	db = filepath.Join(dir, "a.db")
	sheet := filepath.Join(dir, "hoses.csv")
	text := "Site;Machine;Position;Assembly;Type;DN;Made;Fitted\n" +
		"Depot;RT-01;lift left;00123;EN 853 2SN;12;03/2024;2024-06-01\n" +
		"Depot;RT-01;'=lift right;1E5;EN 853 2SN;12;3Q24;2024-12-01\n"
	if err := os.WriteFile(sheet, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "--db", db, "import", sheet)
	return db
}

func TestExportAndImport_TheWholeRegister(t *testing.T) {
	dir := t.TempDir()
	db := filledRegister(t, dir)
	for _, ending := range []string{".xlsx", ".json"} {
		file, other, again := filepath.Join(dir, "whole"+ending), filepath.Join(dir, "b"+ending+".db"), filepath.Join(dir, "again.json")
		must(t, "--db", db, "export", file)
		out := must(t, "--db", other, "import", file, "--dry-run")
		if !strings.Contains(out, "Nothing was taken. It would be") || !strings.Contains(out, "2 assemblies, 0 former codes, 2 placements") {
			t.Errorf("%s, a dry run says:\n%s", ending, out)
		}
		if out := must(t, "--db", other, "import", file); !strings.Contains(out, "Taken: 0 policies, 1 sites,") {
			t.Errorf("%s, the import says:\n%s", ending, out)
		}
		first, second := filepath.Join(dir, "first.json"), again
		must(t, "--db", db, "export", first)
		must(t, "--db", other, "export", second)
		a, err1 := os.ReadFile(first)
		b, err2 := os.ReadFile(second)
		head := regexp.MustCompile(`"change_log_head": "[^"]*",`) // each register has a log of its own
		if !head.Match(a) || !head.Match(b) {
			t.Errorf("%s: no head of the change log", ending)
		}
		a, b = head.ReplaceAll(a, nil), head.ReplaceAll(b, nil)
		if err1 != nil || err2 != nil || !bytes.Equal(a, b) || !bytes.Contains(a, []byte(`"00123"`)) || !bytes.Contains(a, []byte(`"=lift right"`)) {
			t.Errorf("%s: the registers differ, %v %v:\n%s\n%s", ending, err1, err2, a, b)
		}
		code, _, errs := call(t, "", "--db", other, "import", file)
		if code != exitData || !strings.Contains(errs, "into an empty one only") || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s, a second time: exit %d: %s", ending, code, errs)
		}
	}
}

func TestExport_ListsAsWorkbooksImportBack(t *testing.T) {
	dir := t.TempDir()
	db := filledRegister(t, dir)
	other := filepath.Join(dir, "b.db")
	for _, kind := range []string{"machines", "hoses", "readings"} {
		file := filepath.Join(dir, kind+".xlsx")
		must(t, "--db", db, "export", "--kind", kind, file)
		if kind != "readings" { // it has none
			must(t, "--db", other, "import", file)
		}
	}
	if a, b := must(t, "--db", db, "export", "-"), must(t, "--db", other, "export", "-"); a != b || !strings.Contains(a, "'=lift right") {
		t.Errorf("the lists differ:\n%s\n%s", a, b)
	}
}

func TestWhole_WrongCallsAndFilesAreToldInALine(t *testing.T) {
	dir := t.TempDir()
	db := filledRegister(t, dir)
	good := filepath.Join(dir, "good.json")
	must(t, "--db", db, "export", good)
	bad := filepath.Join(dir, "bad.json")
	text, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(bad, bytes.Replace(text, []byte(`"machine":"RT-01","position":"lift left"`), []byte(`"machine":"RT-99","position":"lift left"`), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(dir, "c.db")
	for _, c := range []struct {
		why  string
		code int
		says string
		args []string
	}{
		{"a list as JSON", exitCall, ".csv or .xlsx", []string{"--db", db, "export", "--kind", "hoses", filepath.Join(dir, "x.json")}},
		{"flags of sheets do not go with a register", exitCall, "taken as it is or not at all", []string{"--db", empty, "import", good, "--good"}},
		{"a reference to nothing names its place", exitData, "placements[0], machine: There is no machine RT-99", []string{"--db", empty, "import", bad}},
	} {
		code, _, errs := call(t, "", c.args...)
		if code != c.code || !strings.Contains(errs, c.says) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%s: exit %d: %s", c.why, code, errs)
		}
	}
	if out := must(t, "--db", empty, "import", good); !strings.Contains(out, "Taken:") {
		t.Errorf("what was refused left something behind:\n%s", out)
	}
}
