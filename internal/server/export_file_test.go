package server_test

import (
	"bytes"
	"encoding/csv"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
	"hoseward/web"
)

// csvRows are the rows of a list as a file, headers first.
func csvRows(t *testing.T, s *site, path string) [][]string {
	t.Helper()
	rows, err := csv.NewReader(want(t, s.get(path), 200).Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// xlsxRows are the same of a workbook, as it shows them.
func xlsxRows(t *testing.T, s *site, path string) [][]string {
	t.Helper()
	f, err := excelize.OpenReader(want(t, s.get(path), 200).Body)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows(f.GetSheetList()[0])
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Every list is there as CSV and as XLSX with the same rows, and keeps to the
// filters of its address.
func TestFiles_EachListIsThereInBothFormats(t *testing.T) {
	s := demoFleet(t)
	stop := s.first(register.LineFilter{Status: life.StatusStop})
	for _, c := range []struct{ path, query, header, value string }{
		{"/due", "?status=stop", "status", "stop"},
		{"/machines", "?text=" + stop.MachineCode, "Machine", stop.MachineCode},
		{"/assemblies", "?text=" + stop.AssemblyCode, "Assembly", stop.AssemblyCode},
		{"/positions", "?machine=" + stop.MachineCode, "Machine", stop.MachineCode},
		{web.Path("machines", stop.MachineCode, "readings"), "", "Machine", stop.MachineCode},
	} {
		whole, some := csvRows(t, s, c.path+".csv"), csvRows(t, s, c.path+".csv"+c.query)
		if len(some) < 2 || c.query != "" && len(some) >= len(whole) {
			t.Errorf("%s: %d rows with the filter, %d without", c.path, len(some), len(whole))
		}
		at := -1
		for i, h := range some[0] {
			if h == c.header {
				at = i
			}
		}
		for _, row := range some[1:] {
			if at < 0 || row[at] != c.value {
				t.Fatalf("%s%s: %v has another %s", c.path, c.query, row, c.header)
			}
		}
		book := xlsxRows(t, s, c.path+".xlsx")
		if len(book) != len(whole) {
			t.Fatalf("%s: %d rows as XLSX, %d as CSV", c.path, len(book), len(whole))
		}
		for i := range book {
			for j, cell := range book[i] {
				if cell != whole[i][j] {
					t.Fatalf("%s, row %d, column %s: %q as XLSX, %q as CSV", c.path, i+1, whole[0][j], cell, whole[i][j])
				}
			}
		}
	}
}

// Where the earliest date counts, the clock of the likely one is not said to
// govern it.
func TestDueFile_SaysWhichDateCounts(t *testing.T) {
	s := demoFleet(t)
	rows := csvRows(t, s, "/due.csv")
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	seen := map[string]int{}
	for _, row := range rows[1:] {
		is := row[column["act_by_is"]]
		seen[is]++
		if is != "" && row[column["act_by"]] != row[column[is]] {
			t.Errorf("act_by %s is not the %s date %s", row[column["act_by"]], is, row[column[is]])
		}
		if is == "" && row[column["act_by"]] != "" {
			t.Errorf("%v does not say what its date is", row)
		}
	}
	if seen["earliest"] == 0 || seen["due"] == 0 {
		t.Errorf("the fleet shows too little: %v", seen)
	}
}

func TestFiles_AFilterThatCannotBeMeantIsRefused(t *testing.T) {
	s := demoFleet(t)
	for _, path := range []string{"/due.csv?status=nonsense", "/due.xlsx?within=soon", "/assemblies.csv?where=nowhere", "/positions.xlsx?hurt=perhaps"} {
		want(t, s.get(path), 422)
	}
	want(t, s.get("/machines/none/readings.csv"), 404)
}

// A list of machines or readings is read by the import as it is.
func TestFiles_MachinesAndReadingsImportBack(t *testing.T) {
	s := demoFleet(t)
	l := s.first(register.LineFilter{})
	for path, kind := range map[string]register.ImportKind{
		"/machines.csv": register.ImportMachines, "/machines.xlsx": register.ImportMachines,
		web.Path("machines", l.MachineCode, "readings.csv"): register.ImportReadings, web.Path("machines", l.MachineCode, "readings.xlsx"): register.ImportReadings,
	} {
		b, err := io.ReadAll(want(t, s.get(path), 200).Body)
		if err != nil {
			t.Fatal(err)
		}
		sheet, err := exchange.Open(bytes.NewReader(b), int64(len(b)), exchange.Options{})
		if err != nil {
			t.Fatal(err)
		}
		report, err := s.store.Import(t.Context(), now, register.Actor{PersonID: 1}, sheet, register.ImportOptions{Kind: sheet.Kind, DryRun: true})
		if err != nil || sheet.Kind != kind || report.Rows == 0 || report.Same != report.Rows {
			t.Errorf("%s: read as %s, %+v, %v", path, sheet.Kind, report, err)
		}
		if err := sheet.Close(); err != nil {
			t.Error(err)
		}
	}
}

// headOfLog is the head of the change log in a whole register, which is another
// register's own.
var headOfLog = regexp.MustCompile(`"change_log_head": ?"[^"]*",?`)

func TestRegister_GoesOutAndComesBackThroughThePages(t *testing.T) {
	full := demoFleet(t)
	testkit.HTML(t, want(t, full.get("/register"), 200).Body, testkit.Has(`a[href=/register.xlsx]`), testkit.Has(`a[href=/register.json]`))
	json := body(t, want(t, full.get("/register.json"), 200))
	for _, format := range []string{"xlsx", "json"} {
		file := body(t, want(t, full.get("/register."+format), 200))
		s := empty(t)
		resp := want(t, s.upload("register."+format, strings.NewReader(file), ""), 303)
		if at := resp.Header.Get("Location"); at != "/register?done=register-taken" {
			t.Fatalf("sent on to %s", at)
		}
		testkit.HTML(t, want(t, s.get("/register?done=register-taken"), 200).Body, testkit.In("main", testkit.Text("is taken as it was exported")))
		if again := body(t, want(t, s.get("/register.json"), 200)); headOfLog.ReplaceAllString(again, "") != headOfLog.ReplaceAllString(json, "") {
			t.Errorf("%s: the registers differ", format)
		}
		page := body(t, s.upload("register."+format, strings.NewReader(file), ""))
		if !strings.Contains(page, "into an empty one only") {
			t.Errorf("%s: a second time it is not refused in a sentence:\n%.2000s", format, page)
		}
	}
}

func TestRegister_AFileThatIsNotWholeIsRefusedAtTheField(t *testing.T) {
	s := empty(t)
	page := body(t, s.upload("x.json", strings.NewReader(`{"hoseward_register": 7}`), ""))
	if !strings.Contains(page, "newer hoseward") {
		t.Errorf("got:\n%.2000s", page)
	}
}
