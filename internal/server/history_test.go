package server_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// logged is a server on a register of two sites in which some was changed.
func logged(t testing.TB) *site {
	t.Helper()
	s := empty(t)
	s.apply(
		register.AddSite{Name: "Depot", Zone: "Pacific/Auckland"}, register.AddSite{Name: "Harbour", Zone: "UTC"},
		register.AddMachine{Site: "Depot", Code: "RT-04", Kind: "refuse truck", PlannedHoursPerWeek: new(40.0)},
		register.AddMachine{Site: "Harbour", Code: "HB-1"},
		register.AddPosition{Machine: "RT-04", Name: "lift left"},
		register.AddAssembly{Site: "Depot", Assembly: register.Assembly{Code: "H-1", Designation: "EN 853 2SN", DN: 12, Dash: 8}},
	)
	m := s.machineOf("RT-04")
	m.PlannedHoursPerWeek, m.Note = new(35.0), strings.Repeat("a long note ", 20)+"<script>"
	s.apply(register.ChangeMachine{Machine: m})
	s.apply(register.AddReading{Machine: "RT-04", On: quantity.DateOf(now, time.UTC).AddDays(-3), Hours: 100, Note: `=HYPERLINK("x")`})
	return s
}

func TestHistory_SaysWhatChangedInWords(t *testing.T) {
	s := logged(t)
	m := s.machineOf("RT-04")
	doc := want(t, s.get("/history/machine/"+number(m.ID)), 200).Body
	testkit.HTML(t, doc,
		testkit.In("h1", testkit.Text("History: machine RT-04")),
		testkit.In("table.rows", testkit.Text("Machine RT-04")),
		testkit.In("table.rows", testkit.Text("planned hours per week: 40 h a week → 35 h a week")),
		testkit.In("table.rows", testkit.Text("a long note")),
		testkit.In("table.rows details .typed", testkit.Text("<script>")), // as text
		testkit.In("table.rows", testkit.Text("Position lift left, machine RT-04 added")),
		testkit.In("table.rows", testkit.Text("2026-11-26 01:00")), // the site's zone, 13 hours ahead
		testkit.Has("table.rows a.tap"),
	)
	for _, path := range []string{"/history/machine/999", "/history/machine/x", "/history/nothing/1", "/history/machine/-1", "/history/kind/999", "/history/person/1", "/history/people/1"} {
		want(t, s.get(path), 404)
	}
	want(t, s.get("/history/machine/"+number(m.ID)+"?after=x"), 404)
	testkit.HTML(t, want(t, s.get("/history/kind/2"), 200).Body, testkit.In("main", testkit.Text("Nobody changed it")))
}

func TestChanges_ArePagedFilteredAndTakenAsFiles(t *testing.T) {
	s := logged(t)
	head, err := s.store.ChainHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	testkit.HTML(t, want(t, s.get("/changes?machine=rt-04&thing=reading"), 200).Body,
		testkit.In("code.hash", testkit.Text(head.String())), testkit.In("table.rows", testkit.Text("Reading of")), testkit.Has(".actions a.button"))
	testkit.HTML(t, want(t, s.get("/changes?machine=NONE&person=nobody&from=soon&thing=thing"), 200).Body, testkit.In(".problems", testkit.Text("no machine of this code")), testkit.In(".problems", testkit.Text("nobody of this name")))
	want(t, s.get("/changes.csv?machine=NONE"), 422)
	rows := csvRows(t, s, "/changes.csv?thing=reading")
	if len(rows) != 2 || !strings.Contains(rows[1][6], "note: –") && !strings.Contains(rows[1][6], "HYPERLINK") {
		t.Errorf("%q", rows)
	}
	for _, row := range csvRows(t, s, "/changes.csv") {
		for _, cell := range row {
			if strings.HasPrefix(cell, "=") {
				t.Errorf("%q would be run as a formula", cell)
			}
		}
	}
	if book := xlsxRows(t, s, "/changes.xlsx"); int64(len(book)) != head.Seq+1 {
		t.Errorf("%d rows in the workbook, head %s", len(book), head)
	}
}

func TestChanges_AreForManagersAndOfTheirSites(t *testing.T) {
	s := logged(t)
	viewer := s.personWith("viewer", register.GivenRole{Role: register.Viewer})
	for _, path := range []string{"/changes", "/changes.csv", "/changes.xlsx", "/people/2/history"} {
		want(t, viewer.get(path), 403)
	}
	harbour := s.personWith("harbour", register.GivenRole{Role: register.Manager, Site: "Harbour"}, register.GivenRole{Role: register.Viewer})
	body := testkit.HTML(t, want(t, harbour.get("/changes"), 200).Body, testkit.In("table.rows", testkit.Text("HB-1")))
	if text := testkit.TextOf(body); strings.Contains(text, "RT-04") || strings.Contains(text, "Person viewer") {
		t.Errorf("a manager of one site who sees the others reads their changes: %s", text)
	}
	want(t, harbour.get("/people/2/history"), 404)
	own := s.personWith("own", register.GivenRole{Role: register.Viewer, Site: "Harbour"})
	want(t, own.get("/history/machine/"+number(s.machineOf("RT-04").ID)), 404)
	testkit.HTML(t, want(t, s.get("/people/2/history"), 200).Body, testkit.In("h1", testkit.Text("History: person viewer")), testkit.In("table.rows", testkit.Text("Role viewer of viewer")))
	testkit.HTML(t, want(t, s.get("/changes?thing=person"), 200).Body, testkit.In("table.rows", testkit.Text("Person viewer")))
}

// What is secret cannot come into the log: its fields are not in the JSON.
func TestChanges_HoldNoSecrets(t *testing.T) {
	const secret = "s3cret"
	for _, row := range []any{
		register.Token{Hash: secret}, register.Device{Hash: secret, PINHash: secret}, register.Invitation{Hash: secret}, register.Credential{PasswordHash: secret},
	} {
		if b, err := json.Marshal(row); err != nil || strings.Contains(string(b), secret) {
			t.Errorf("%T: %s, %v", row, b, err)
		}
	}
}
