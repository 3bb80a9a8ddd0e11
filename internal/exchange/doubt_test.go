package exchange_test

import (
	"strings"
	"testing"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

func TestNext_ARowOfTotalsIsNoMachine(t *testing.T) {
	for _, tc := range []struct {
		says, sheet string
		refused     bool
	}{
		{"a count of hoses below the list", "Maschine;Position;Typ;DN;Länge\nSumme;12 Schläuche;;;\n", true},
		{"a sum with a colon and its number", "Maschine;Position;Typ;DN;Länge\n;Total: 12;;;\n", true},
		{"a sum of hours", "Machine;Date;Hours\nGesamt;;1234\n", true},
		{"in capitals", "Machine;Name;Site\nSUM;;\n", true},
		{"a machine that only begins like one", "Machine;Position;Type;DN;Length\nSummer 3;P1;;;\n", false},
		{"a machine of that name with all its cells", "Machine;Position;Type;DN;Length\nTotal;P1;2SN;12;900 mm\n", false},
	} {
		rows, err := readAll(t, mustOpen(t, tc.sheet, exchange.Options{}))
		if err != nil || len(rows) != 1 {
			t.Fatalf("%s: %d rows, %v", tc.says, len(rows), err)
		}
		refused := len(rows[0].Errors) == 1 && strings.Contains(rows[0].Errors[0].Sentence, "looks like a row of totals") && rows[0].Errors[0].Value != ""
		if refused != tc.refused || !refused && len(rows[0].Errors) > 0 {
			t.Errorf("%s: refused %v, want %v: %v", tc.says, refused, tc.refused, rows[0].Errors)
		}
	}
}

func TestOpen_AHeaderWithTwoMeaningsIsNotTakenForEither(t *testing.T) {
	for _, h := range []string{"Betriebsdruck", "Betriebsdruck (bar)", "betriebsdruck in MPa", "Betriebsdruck bar"} {
		sheet := "Maschine;Position;Typ;DN;" + h + "\nA;P;EN 853 2SN;12;210\n"
		s := mustOpen(t, sheet, exchange.Options{})
		if un := s.Unread(); len(un) != 1 || un[0].Header != h || !strings.Contains(strings.Join(s.Notes, " "), "can be the rating of the hose, or the pressure it works at") {
			t.Errorf("%s: unread %v, notes %q", h, un, s.Notes)
		}
		if row, err := s.Next(); err != nil || row.Hose.RatedBar != nil || row.Hose.WorkingBar != nil {
			t.Errorf("%s is read, or the table's rating taken in its place: %v %+v", h, err, row.Hose)
		}
		s = mustOpen(t, sheet, exchange.Options{Meanings: map[string]string{h: "working_bar@bar"}})
		if row, err := s.Next(); err != nil || row.Hose.WorkingBar == nil || *row.Hose.WorkingBar != 210 || strings.Contains(strings.Join(s.Notes, " "), "can be") {
			t.Errorf("%s, chosen: %v %+v, notes %q", h, err, row.Hose, s.Notes)
		}
	}
	s := mustOpen(t, "Maschine;Position;Betriebsdruck;Länge\n;;bar;m\nA;P;210;1,2\n", exchange.Options{})
	if rows, err := readAll(t, s); err != nil || len(rows) != 1 || *rows[0].Hose.LengthMM != 1200 {
		t.Errorf("units below it: %v %+v", err, rows)
	}
	s = mustOpen(t, "Maschine;Position;Max. Betriebsdruck (bar)\nA;P;210\n", exchange.Options{})
	if len(s.Unread()) != 0 {
		t.Errorf("a highest pressure is a rating: %+v", s.Columns)
	}
}

func TestOpen_HosesThatSitNowhereAreSaidToGoIntoStore(t *testing.T) {
	const says = "No column is read as machine or position: the hoses would go into store"
	s := mustOpen(t, "Hose no;Type;Rig;Spot\n1;2SN;R1;boom\n", exchange.Options{})
	if !strings.Contains(strings.Join(s.Notes, " "), says) {
		t.Errorf("it is not said: %q", s.Notes)
	}
	s = mustOpen(t, "Hose no;Type;Equip #;Loc on unit;Install\n1;2SN;R1;boom;2024-05-05\n", exchange.Options{})
	row, err := s.Next()
	if err != nil || row.Hose.Machine != "R1" || row.Hose.Position != "boom" || row.Hose.Fitted.IsZero() || strings.Contains(strings.Join(s.Notes, " "), says) {
		t.Errorf("%v %+v %q", err, row.Hose, s.Notes)
	}
	for _, tc := range []struct{ headers, field string }{
		{"Hose no;Type;Unit;Location", "position"},
		{"Hose no;Type;Equipment;Position;Location", "site"},
	} {
		s := mustOpen(t, tc.headers+"\n1;2SN;R1;a;b\n", exchange.Options{})
		n := len(strings.Split(tc.headers, ";"))
		if got := s.Columns[n-1].Field; got != tc.field {
			t.Errorf("%s: Location is read as %s, want %s", tc.headers, got, tc.field)
		}
	}
}

func TestNext_OnlyALogMakesCyclesRecorded(t *testing.T) {
	for _, tc := range []struct {
		cell     string
		basis    register.Basis
		recorded bool
	}{
		{"measured", register.Measured, false},
		{"gemessen", register.Measured, false},
		{"logged", register.Measured, true},
		{"Recorded", register.Measured, true},
		{"aufgezeichnet", register.Measured, true},
		{"assumed", register.Assumed, false},
		{"", "", false},
	} {
		s := mustOpen(t, "Machine;Position;Conditions are;Highest pressure (bar)\nA;P;"+tc.cell+";200\n", exchange.Options{})
		row, err := s.Next()
		if err != nil || len(row.Errors) > 0 {
			t.Fatal(err, row.Errors)
		}
		h := row.Hose
		if got := h.Recorded != nil && *h.Recorded; h.ConditionsBasis != tc.basis || got != tc.recorded {
			t.Errorf("%q: basis %q, recorded %v", tc.cell, h.ConditionsBasis, got)
		}
	}
}
