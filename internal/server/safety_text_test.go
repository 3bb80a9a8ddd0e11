package server_test

import (
	"archive/zip"
	"bytes"
	"context"
	"database/sql"
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"golang.org/x/net/html"

	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// texts are the columns that hold what people wrote. Those the tests of every
// page look things up by are left as they are.
var texts = map[string][]string{
	"people": {"email", "gone_reason"}, "sites": {"name"}, "kinds": {"name"}, "machines": {"code", "name", "serial", "note", "gone_reason"},
	"circuits": {"name"}, "positions": {"name", "note", "gone_reason"}, "policies": {"source", "own_curve_reason", "lengthened"},
	"assemblies": {"layline", "maker", "designation", "construction", "tube", "fluid", "end_a", "end_b", "end_make", "made_text", "assembled_text", "note", "scrapped_reason"},
	"placements": {"from_text"}, "removals": {"reason", "seen"}, "readings": {"note"}, "meter_events": {"note"}, "lay_ups": {"reason"},
	"conditions": {"note"}, "duties": {"note"}, "inspections": {"by", "note"}, "findings": {"place", "note", "closed_reason"},
	"kind_positions": {"note"}, "saved_lists": {"name"}, "acts": {"title"}, "imports": {"file_name"}, "job_runs": {"job", "problem"}, "estimates": {"problem"},
}

// scribbled is a copy of the full fleet in which every text is another, one row
// after the other of those given. It is written past the program, so that no check of what comes in hides a page
// that lets it out.
func scribbled(t *testing.T, given ...string) *site {
	t.Helper()
	fullFleet(t)
	path := filepath.Join(t.TempDir(), "scribbled.db")
	from, err := sql.Open("sqlite", filepath.Join(full.dir, "full.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	if _, err := from.Exec("VACUUM INTO ?", path); err != nil {
		t.Fatal(err)
	}
	to, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer to.Close()
	for table, columns := range texts {
		for i, column := range columns {
			for n, text := range given {
				if _, err := to.Exec(fmt.Sprintf(`UPDATE %q SET %q = ? || rowid WHERE (rowid + ?) %% ? = ?`, table, column), text, i, len(given), n); err != nil {
					t.Fatalf("scribble on %s.%s: %v", table, column, err)
				}
			}
		}
	}
	for n, text := range given {
		if _, err := to.Exec("UPDATE assemblies SET code = ? || id WHERE code <> ? AND id % ? = ?", text, inStore, len(given), n); err != nil {
			t.Fatal(err)
		}
	}
	reg, err := store.Open(context.Background(), path, store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { reg.Close() })
	return serve(t, reg)
}

// evil tries each way out of a place in a page: element text, attribute with
// either quote, comment, title, text area, script, template.
const evil = `<script>hostile()</script>"'><img src=x onerror=hostile()></title></textarea></select></option>--><svg onload=hostile()>{{.Hostile}}<a href=javascript:hostile()>`

func TestStoredText_NothingOfItComesAlive(t *testing.T) {
	s := scribbled(t, evil)
	pages, told := 0, 0
	for _, address := range everyPage(s) {
		r := s.get(address)
		if r.StatusCode >= 500 {
			t.Errorf("%s answers %d", address, r.StatusCode)
			continue
		}
		if kind := r.Header.Get("Content-Type"); !strings.HasPrefix(kind, "text/html") {
			if r.Header.Get("X-Content-Type-Options") != "nosniff" {
				t.Errorf("%s may be sniffed as HTML", address)
			}
			continue
		}
		text := body(t, r)
		pages++
		told += strings.Count(text, "hostile()")
		doc, err := html.Parse(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		for n := range doc.Descendants() {
			if why := alive(n); why != "" {
				t.Errorf("%s: %s", address, why)
			}
		}
	}
	if pages < 60 || told < 500 {
		t.Errorf("%d pages, the text on them %d times; were they about what was scribbled on?", pages, told)
	}
	t.Logf("%d pages, the text stood on them %d times", pages, told)
}

// alive says what of a page is there only because a text got out of its place.
func alive(n *html.Node) string {
	if n.Type == html.CommentNode && strings.Contains(n.Data, "ostile") {
		return "a comment holds it"
	}
	if n.Type != html.ElementNode {
		return ""
	}
	if (n.Data == "script" || n.Data == "style") && strings.Contains(testkit.TextOf(n), "ostile") {
		return n.Data + " holds it"
	}
	for _, a := range n.Attr {
		name, value := strings.ToLower(a.Key), strings.ToLower(strings.TrimSpace(a.Val))
		switch {
		case strings.HasPrefix(name, "on"):
			return fmt.Sprintf("<%s> has the attribute %s", n.Data, a.Key)
		case name == "src" && value == "x":
			return "a picture of its own"
		case (name == "href" || name == "src" || name == "action" || name == "formaction") && !staysHere(value):
			return fmt.Sprintf("<%s %s=%q> leads elsewhere", n.Data, name, a.Val)
		case name == "style" || strings.ContainsAny(name, `<>"'`):
			return fmt.Sprintf("<%s> has the attribute %q", n.Data, a.Key)
		}
	}
	return ""
}

// staysHere reports whether an address stays on this server.
func staysHere(address string) bool {
	return strings.HasPrefix(address, "/") && !strings.HasPrefix(address, "//") && !strings.HasPrefix(address, `/\`) || strings.HasPrefix(address, "#") || address == "" || strings.HasPrefix(address, "?")
}

func TestExports_NoTextIsAFormula(t *testing.T) {
	var given []string
	for _, sign := range []string{"=", "+", "-", "@", "\t=", "\r=", "\n=", "＝", "＋", "－", "＠", "'=", "''="} {
		given = append(given, sign+`cmd|'/c calc'!A1,"`)
	}
	s := scribbled(t, given...)
	files, cells := 0, 0
	for _, e := range examples(s) {
		if !file(e.address) {
			continue
		}
		r := s.get(e.address)
		if r.StatusCode != http.StatusOK {
			if !strings.Contains(e.address, "%0") { // what cannot be seen cannot be asked for
				t.Errorf("%s answers %d", e.address, r.StatusCode)
			}
			continue
		}
		files++
		content := body(t, r)
		if d := r.Header.Get("Content-Disposition"); !strings.HasPrefix(d, "attachment; filename=") || strings.ContainsAny(d, "\r\n") {
			t.Errorf("%s: Content-Disposition %q", e.address, d)
		}
		switch filepath.Ext(path(e.address)) {
		case ".csv":
			cells += safeCSV(t, e.address, content)
		case ".xlsx":
			safeXLSX(t, e.address, content)
		}
	}
	if files < 8 || cells < 1000 {
		t.Errorf("%d files with %d such cells of CSV only", files, cells)
	}
	t.Logf("%d files, %d such cells of CSV", files, cells)
}

// safeCSV counts cells that hold the text; none may begin like a formula.
func safeCSV(t *testing.T, address, content string) (cells int) {
	t.Helper()
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(content, "\ufeff")))
	r.FieldsPerRecord = -1
	if head, _, _ := strings.Cut(content, "\n"); strings.Contains(head, ";") { // refused rows go back as they came
		r.Comma = ';'
	}
	rows, err := r.ReadAll()
	if err != nil {
		t.Errorf("%s: %v", address, err)
	}
	for _, row := range rows {
		for _, cell := range row {
			if !strings.Contains(cell, "cmd|") {
				continue
			}
			cells++
			first, _ := utf8.DecodeRuneInString(cell)
			if strings.ContainsRune("=+-@\t\r\n＝＋－＠", first) {
				t.Errorf("%s: a spreadsheet runs %q", address, cell)
				return cells
			}
		}
	}
	return cells
}

// safeXLSX wants no formula in any sheet of a workbook, and nothing in it that
// leads elsewhere.
func safeXLSX(t *testing.T, address, content string) {
	t.Helper()
	z, err := zip.NewReader(strings.NewReader(content), int64(len(content)))
	if err != nil {
		t.Errorf("%s: %v", address, err)
		return
	}
	sheets := 0
	for _, f := range z.File {
		rc, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(rc)
		rc.Close()
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(f.Name, "xl/worksheets/") {
			sheets++
			if bytes.Contains(b, []byte("<f>")) || bytes.Contains(b, []byte("<f ")) {
				t.Errorf("%s: %s has a formula", address, f.Name)
			}
		}
		if strings.Contains(f.Name, "externalLink") || bytes.Contains(b, []byte(`TargetMode="External"`)) {
			t.Errorf("%s: %s leads elsewhere", address, f.Name)
		}
	}
	if sheets == 0 {
		t.Errorf("%s: no sheet", address)
	}
}
