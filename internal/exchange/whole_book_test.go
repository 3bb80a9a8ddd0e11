package exchange_test

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// mended is a workbook after a person worked on it in another program.
func mended(t *testing.T, file []byte, f func(*excelize.File) error) []byte {
	t.Helper()
	book, err := excelize.OpenReader(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if err := f(book); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := book.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func somePlaces() []register.WholeRow {
	return []register.WholeRow{
		&register.WholeSite{Name: "Depot", Zone: "UTC", Policy: "normal demand"},
		&register.WholeMachine{Site: "Depot", Code: "00123", PlannedHoursPerWeek: new(40.0)},
		&register.WholeAssembly{Site: "Depot", Code: "1E5"},
		&register.WholeLayUp{Machine: "00123"},
	}
}

func TestWholeBook_WhatIsNotOneIsRefusedInASentence(t *testing.T) {
	good := written(t, exchange.XLSX, somePlaces()...)
	set := func(sheet, cell string, v any) func(*excelize.File) error {
		return func(f *excelize.File) error { return f.SetCellValue(sheet, cell, v) }
	}
	for _, c := range []struct {
		why, says string
		change    func(*excelize.File) error
	}{
		{"no first sheet", `no sheet "hoseward register"`, func(f *excelize.File) error { return f.SetSheetName("hoseward register", "x") }},
		{"a newer form", "newer hoseward", set("hoseward register", "A2", 2)},
		{"no version", "must be the version", set("hoseward register", "A2", "one")},
		{"a missing sheet", `no sheet "findings"`, func(f *excelize.File) error { return f.DeleteSheet("findings") }},
		{"a sheet of somebody's own", `a sheet "Tabelle1"`, func(f *excelize.File) error { _, err := f.NewSheet("Tabelle1"); return err }},
		{"an unknown column", `Sheet sites has a column "Zone" that is not known`, set("sites", "B1", "Zone")},
		{"a missing column", "Sheet sites has no column policy", func(f *excelize.File) error { return f.RemoveCol("sites", "C") }},
		{"a column twice", "Sheet sites has the column name twice", set("sites", "B1", "name")},
		{"a cell beside the columns", `Sheet sites, row 2: "x" stands in a column without a header`, set("sites", "H2", "x")},
		{"a text for a number", `Sheet machines, row 2, column planned_hours_per_week: "many" is not a number`, set("machines", "F2", "many")},
		{"no number at all", `"NaN" is not a number`, set("machines", "F2", "NaN")},
		{"a broken number for a whole one", `Sheet assemblies, row 2, column dn: "12.5" is not a whole number`, set("assemblies", "H2", 12.5)},
		{"yes or no left empty", `Sheet machines, row 2, column can_hurt: "" is not true or false`, set("machines", "G2", nil)},
		{"no date", `column from_on: "soon" is not a date`, set("lay_ups", "B2", "soon")},
		{"nothing above what is continued", "no row above", set("kinds", "B2", true)},
	} {
		_, _, err := readWhole(mended(t, good, c.change))
		refusedWith(t, c.why, err, c.says)
	}
}

// What another program makes of the workbook when it saves it - shared texts,
// columns in another order, days as it keeps them - is read all the same.
func TestWholeBook_IsReadAfterAnotherProgramSavedIt(t *testing.T) {
	rows := somePlaces()
	file := mended(t, written(t, exchange.XLSX, rows...), func(f *excelize.File) error {
		return errors.Join(
			f.SetCellStr("machines", "D2", "=typed as text"), f.SetCellValue("machines", "F2", 38.5), f.SetCellBool("machines", "G2", true),
			f.SetCellValue("lay_ups", "B2", 46351), f.SetCellStr("assemblies", "T2", "2024-03"), f.SetCellValue("assemblies", "W2", 45658),
			f.SetCellStr("sites", "A1", "zone"), f.SetCellStr("sites", "A2", "UTC"), f.SetCellStr("sites", "B1", "name"), f.SetCellStr("sites", "B2", "Depot"),
		)
	})
	got, _, err := readWhole(file)
	if err != nil {
		t.Fatal(err)
	}
	text := printed(got)
	for _, want := range []string{`"name":"Depot","zone":"UTC"`, `"code":"00123","name":"=typed as text"`, `"planned_hours_per_week":38.5,"can_hurt":true`, `"code":"1E5"`, `"made":"2024-03"`, `"assembled":"2025-01-01"`, `"from_on":"2026-11-25"`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
}

func printed(rows []register.WholeRow) string {
	var b bytes.Buffer
	w, err := exchange.NewWholeWriter(&b, exchange.JSON, register.Head{})
	if err != nil {
		return err.Error()
	}
	for _, r := range rows {
		if err := w.Write(r); err != nil {
			return err.Error()
		}
	}
	if err := w.Close(); err != nil {
		return err.Error()
	}
	return b.String()
}

// repacked is a workbook with one part replaced.
func repacked(t *testing.T, file []byte, part string, with func(io.Writer) error) []byte {
	t.Helper()
	from, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	to := zip.NewWriter(&b)
	for _, f := range from.File {
		w, err := to.Create(f.Name)
		if err != nil {
			t.Fatal(err)
		}
		if f.Name == part {
			err = with(w)
		} else if r, openErr := f.Open(); openErr == nil {
			_, err = io.Copy(w, r)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWholeBook_HostilePackagesAreRefused(t *testing.T) {
	good := written(t, exchange.XLSX, somePlaces()...)
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, s); return err }
	}
	const sheet = "xl/worksheets/sheet3.xml" // sites
	head := `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`
	for _, c := range []struct {
		why, says string
		with      func(io.Writer) error
	}{
		{"a sheet that unpacks without end", "unpacks to more than", func(w io.Writer) error {
			_, err := io.Copy(w, io.LimitReader(endlessBlanks{}, 800<<20))
			return err
		}},
		{"broken XML", "is damaged in or behind row 1", text(head + `<row r="1"><c><v>`)},
		{"rows in falling order", "is damaged", text(head + `<row r="5"/><row r="2"/></sheetData></worksheet>`)},
		{"entities", "is damaged", text(`<!DOCTYPE x [<!ENTITY a "b">]>` + head + `</sheetData></worksheet>`)},
		{"nothing", "is damaged", text("")},
		{"no headers", "has no headers", text(head + `</sheetData></worksheet>`)},
	} {
		_, _, err := readWhole(repacked(t, good, sheet, c.with))
		refusedWith(t, c.why, err, c.says)
	}
	for cut := range len(good) / 97 {
		rows, _, err := readWhole(good[:cut*97])
		var r *register.Error
		if err == nil || !errors.As(err, &r) {
			t.Fatalf("cut at byte %d: %d rows, %v", cut*97, len(rows), err)
		}
	}
}

type endlessBlanks struct{}

func (endlessBlanks) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	return len(p), nil
}

// FuzzWholeRow puts a row in each part: reading it ends without a panic, in a
// row or in a sentence, and a row that is read is written the same in both
// forms.
func FuzzWholeRow(f *testing.F) {
	for _, part := range register.WholeParts() {
		row := register.NewWholeRow(part)
		lines := strings.Split(printed([]register.WholeRow{row}), "\n")
		for i, l := range lines {
			if strings.HasPrefix(l, `"`+string(part)+`"`) {
				f.Add(string(part), strings.TrimSuffix(strings.TrimSuffix(lines[i+1], ","), "]"))
			}
		}
	}
	f.Add("duties", `{"kind":"k","circuit":"","fluid_c":1e3,"surroundings_c":null,"always_hot":true,"temperatures":[{"c":1,"share":1}],"adapter_bar":2,"working_bar":3,"cycles":[{"min_bar":1,"max_bar":2,"count":3,"per":"km","per_hour":4}],"no_cycles":null,"recorded":null,"assessed_on":"2026-01-01","note":"=x"}`)
	f.Add("assemblies", `{"made":"year 2004"}`)
	f.Fuzz(func(t *testing.T, part, row string) {
		empty := printed(nil)
		file := strings.Replace(empty, `"`+part+`": []`, `"`+part+`": [`+row+`]`, 1)
		rows, _, err := readWhole([]byte(file))
		if err != nil {
			var r *register.Error
			if !errors.As(err, &r) {
				t.Fatalf("not a sentence: %v", err)
			}
			return
		}
		for _, format := range formats {
			again, _, err := readWhole(written(t, format, rows...))
			if err != nil {
				t.Fatalf("%s: %v", format, err)
			}
			if diff := cmp.Diff(printed(dropBlank(format, rows)), printed(again)); diff != "" {
				t.Fatalf("%s:\n%s", format, diff)
			}
		}
	})
}
