package exchange_test

import (
	"errors"
	"strings"
	"testing"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

func openText(t testing.TB, content string, opts exchange.Options) (*exchange.Sheet, error) {
	t.Helper()
	s, err := exchange.Open(strings.NewReader(content), int64(len(content)), opts)
	if err == nil {
		t.Cleanup(func() { _ = s.Close() })
	}
	return s, err
}

func mustOpen(t testing.TB, content string, opts exchange.Options) *exchange.Sheet {
	t.Helper()
	s, err := openText(t, content, opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestOpen_UnderstandsHeaders(t *testing.T) {
	for _, tc := range []struct {
		header, field, unit string
	}{
		{"WP (psi)", "rated_bar", "psi"},
		{"Druck [bar]", "rated_bar", "bar"},
		{"Druck in bar", "rated_bar", "bar"},
		{"Max. Betriebsdruck MPa", "rated_bar", "MPa"},
		{"PSI", "rated_bar", "psi"},
		{"Length mm", "length_mm", "mm"},
		{"LÄNGE (m)", "length_mm", "m"},
		{"Laenge_mm", "length_mm", "mm"},
		{"length in inches", "length_mm", "in"},
		{"Temp. °C", "fluid_c", "°C"},
		{"Oil temp (°F)", "fluid_c", "°F"},
		{"HoseType", "designation", ""},
		{"Hose-Type:", "designation", ""},
		{"rated_bar", "rated_bar", "bar"},
		{"end_a_bar", "end_a_bar", "bar"},
		{"fitted_hours", "fitted_hours", "h"},
		{"Einbau-Datum", "fitted", ""},
		{"Date\nfitted", "fitted", ""},
		{"Betriebsstunden bei Einbau (h)", "fitted_hours", "h"},
	} {
		s := mustOpen(t, "Machine;Position;\""+tc.header+"\"\nA;B;1\n", exchange.Options{})
		c := s.Columns[2]
		if c.Field != tc.field || c.Unit != tc.unit {
			t.Errorf("%q is read as %q in %q, want %q in %q", tc.header, c.Field, c.Unit, tc.field, tc.unit)
		}
	}
}

func TestOpen_GuessesTheKindAndSaysSo(t *testing.T) {
	for _, tc := range []struct {
		headers string
		want    register.ImportKind
	}{
		{"Machine;Date;Hours", register.ImportReadings},
		{"Fahrzeug;Ablesedatum;Betriebsstunden;Bemerkung", register.ImportReadings},
		{"Code;Name", register.ImportMachines},
		{"Machine;Name;Serial;Note", register.ImportMachines},
		{"Machine;Position", register.ImportHoses},
		{"Site;Machine;Machine name;Kind;Position", register.ImportHoses},
		{"Hose no;Type", register.ImportHoses},
	} {
		s := mustOpen(t, tc.headers+"\nx;y\n", exchange.Options{})
		if s.Kind != tc.want || !s.KindGuessed || len(s.Notes) == 0 || !strings.Contains(s.Notes[0], string(tc.want)) {
			t.Errorf("%s: guessed %s, said %q, want %s", tc.headers, s.Kind, s.Notes, tc.want)
		}
	}
}

const unknownColumns = "Maschine;Position;Kundenfeld 7;Zuständig\nA-1;P1;4000;Halle 2\n"

func TestOpen_UnknownColumnsCanBeGivenAMeaning(t *testing.T) {
	s := mustOpen(t, unknownColumns, exchange.Options{})
	if un := s.Unread(); len(un) != 2 || un[0].Header != "Kundenfeld 7" || un[1].Header != "Zuständig" {
		t.Errorf("unread columns: %v", un)
	}
	chosen := map[string]string{"Kundenfeld 7": "rated_bar@psi", "Zuständig": ""}
	asked := 0
	for _, opts := range []exchange.Options{
		{Meanings: chosen},
		{Remembered: func(kind register.ImportKind, hash string) (map[string]string, error) {
			asked++
			if kind != register.ImportHoses || hash != s.HeaderHash {
				t.Errorf("asked for %s %s", kind, hash)
			}
			return chosen, nil
		}},
	} {
		s := mustOpen(t, unknownColumns, opts)
		if len(s.Unread()) != 0 || s.Columns[2].Found != exchange.Chosen || s.Columns[3].Found != exchange.Ignored {
			t.Errorf("columns: %+v", s.Columns)
		}
		row, err := s.Next()
		if err != nil || row.Hose.RatedBar == nil || *row.Hose.RatedBar < 275.7 || *row.Hose.RatedBar > 275.9 {
			t.Errorf("the chosen meaning is not read: %v %+v", err, row.Hose)
		}
	}
	if asked != 1 {
		t.Errorf("asked %d times for what is remembered", asked)
	}
	boom := errors.New("boom")
	if _, err := openText(t, unknownColumns, exchange.Options{Remembered: func(register.ImportKind, string) (map[string]string, error) { return nil, boom }}); !errors.Is(err, boom) {
		t.Errorf("the error of what is remembered is lost: %v", err)
	}
}

func TestOpen_HeadersNobodyKnowsCanAllBeChosen(t *testing.T) {
	content := "Feld 1;Feld 2;Feld 3\nA-1;2026-01-05;812\n"
	if _, err := openText(t, content, exchange.Options{}); err == nil {
		t.Fatal("headers that mean nothing are taken for some")
	}
	s := mustOpen(t, content, exchange.Options{Kind: register.ImportReadings, Meanings: map[string]string{"Feld 1": "machine", "Feld 2": "on", "Feld 3": "hours"}})
	row, err := s.Next()
	if err != nil || row.Reading.Machine != "A-1" || *row.Reading.Hours != 812 {
		t.Errorf("%v %+v", err, row)
	}
}

func TestNext_WithoutItsColumnsSaysWhichIsMissing(t *testing.T) {
	s := mustOpen(t, "Machine;Hours;Note\nA;5;\n", exchange.Options{Kind: register.ImportReadings})
	if len(s.Missing) != 1 || s.Missing[0] != "on" {
		t.Errorf("missing: %v", s.Missing)
	}
	_, err := s.Next()
	if got := sentenceOf(err); got != "The sheet has no column for Date, which a list of readings needs; say which of its columns it is." {
		t.Errorf("got %q", got)
	}
}

func sentenceOf(err error) string {
	var e *register.Error
	if errors.As(err, &e) {
		return e.Sentence
	}
	return ""
}

func TestHeaderHash_IsOfASetOfHeaders(t *testing.T) {
	h := exchange.HeaderHash([]string{"Machine", "Länge (mm)"})
	if h != exchange.HeaderHash([]string{"LÄNGE mm", "machine"}) {
		t.Error("order, case and signs make another hash")
	}
	if h != exchange.HeaderHash([]string{"Machine", "Länge (mm)", "Why it was not taken"}) {
		t.Error("the column of reasons makes another hash")
	}
	if h == exchange.HeaderHash([]string{"Machine"}) {
		t.Error("another set has the same hash")
	}
}

func TestOpen_RefusesOtherFilesInOneSentence(t *testing.T) {
	for _, tc := range []struct{ content, part string }{
		{"", "empty"},
		{"\n\n\n", "no rows"},
		{"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1 old", ".xls"},
		{"%PDF-1.7", "PDF"},
		{"\x1f\x8b\x08", "packed"},
		{"  <!DOCTYPE html><table>", "web page"},
		{"PK\x03\x04 nothing", "not a workbook"},
		{"just a letter to the workshop\nwith two lines\n", "No row among the first 30"},
		{strings.Repeat("\x01\x02", 50), "not a text file"},
		{"a;b\x00c", "zero bytes"},
	} {
		_, err := openText(t, tc.content, exchange.Options{})
		if got := sentenceOf(err); !strings.Contains(got, tc.part) || strings.Contains(got, "\n") {
			t.Errorf("%.20q: got %v, want a sentence with %q", tc.content, err, tc.part)
		}
	}
}

func TestNext_RefusesWhatCannotBePrintedInAnyCell(t *testing.T) {
	s := mustOpen(t, "Machine;Position;Cause;Fitted;Note\nA;B;\x7fbitten;;\nA;B;;;bell\x07\nA;B;;2024-\x7f01-01;\n", exchange.Options{})
	rows, err := readAll(t, s)
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows: %v", len(rows), err)
	}
	for _, r := range rows {
		if len(r.Errors) != 1 || !strings.Contains(r.Errors[0].Sentence, "cannot be printed") {
			t.Errorf("row %d: %v", r.Number, r.Errors)
		}
	}
}

func TestOpen_UnitsBelowHeadersAreUnitsOnlyBelowMeasures(t *testing.T) {
	s := mustOpen(t, "Machine;Position;Pressure;Fitted\n;;psi;\nA;B;4000;\n", exchange.Options{})
	if row, err := s.Next(); err != nil || s.Columns[2].Unit != "psi" || row.Hose.RatedBar == nil || *row.Hose.RatedBar > 276 {
		t.Errorf("the row of units is not read as one: %v %+v", err, s.Columns)
	}
	s = mustOpen(t, "Machine;Position;Pressure;Fitted\nM;H;;\n", exchange.Options{})
	if row, err := s.Next(); err != nil || row.Hose.Machine != "M" || row.Hose.Position != "H" {
		t.Errorf("a machine M is taken for metres: %v %+v", err, row.Hose)
	}
}
