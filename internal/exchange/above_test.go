package exchange_test

import (
	"bytes"
	"strings"
	"testing"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// sentences joins what is said of a row.
func sentences(of []register.CellError) string {
	var all []string
	for _, e := range of {
		all = append(all, e.Column+": "+e.Sentence)
	}
	return strings.Join(all, "; ")
}

// Common practice, no source: how lists kept by hand repeat a value.
func TestNext_AMachineWrittenOnceHoldsForItsBlock(t *testing.T) {
	const head = "Unit,Where it sits,Type,Size,Put on\n"
	for _, tc := range []struct {
		says, rows  string
		machine     string // of the last row
		note, error string
	}{
		{"an empty cell below the machine", "EX 12,lift LH,2SN,DN 12,2024-01-02\n,lift RH,2SN,DN 12,2024-01-02\n", "EX 12", "Unit: empty; EX 12 of the row above is taken", ""},
		{"through a row with a mark", "EX 12,lift LH,2SN,DN 12,2024-01-02\n\"\"\"\",tilt,2SN,DN 12,2024-01-02\n,lift RH,2SN,DN 12,2024-01-02\n", "EX 12", "EX 12 of the row above", ""},
		{"below a head that stands alone", "EX 12,,,,\n,lift LH,2SN,DN 12,2024-01-02\n", "EX 12", "EX 12 of the row above", ""},
		{"over the headers of a printed page", "EX 12,lift LH,2SN,DN 12,2024-01-02\n" + head + ",lift RH,2SN,DN 12,2024-01-02\n", "EX 12", "EX 12 of the row above", ""},
		{"not over a blank row", "EX 12,lift LH,2SN,DN 12,2024-01-02\n,,,,\n,lift RH,2SN,DN 12,2024-01-02\n", "", "", ""},
		{"not over a count", "EX 12,lift LH,2SN,DN 12,2024-01-02\n,EX 12: 34 hoses,,,\n,lift RH,2SN,DN 12,2024-01-02\n", "", "", ""},
		{"not for a text that stands alone", "EX 12,lift LH,2SN,DN 12,2024-01-02\n,EX 12: 34 hoses,,,\n", "", "", "Where it sits: this stands alone in its row and looks like a heading or a sub-total"},
		{"not for a hose in store", "EX 12,lift LH,2SN,DN 12,2024-01-02\n,,2SN,DN 12,\n", "", "", ""},
		{"a row of its own machine", "EX 12,lift LH,2SN,DN 12,2024-01-02\nWL3,lift RH,2SN,DN 12,2024-01-02\n", "WL3", "", ""},
	} {
		rows, err := readAll(t, mustOpen(t, head+tc.rows, exchange.Options{Kind: register.ImportHoses}))
		if err != nil || len(rows) == 0 {
			t.Fatalf("%s: %d rows, %v", tc.says, len(rows), err)
		}
		last := rows[len(rows)-1]
		if last.Hose.Machine != tc.machine {
			t.Errorf("%s: machine %q, want %q", tc.says, last.Hose.Machine, tc.machine)
		}
		if notes := sentences(last.Notes); !strings.Contains(notes, tc.note) || tc.note == "" && strings.Contains(notes, "above") {
			t.Errorf("%s: notes %q, want %q", tc.says, notes, tc.note)
		}
		if errs := sentences(last.Errors); !strings.Contains(errs, tc.error) || tc.error == "" && errs != "" {
			t.Errorf("%s: errors %q, want %q", tc.says, errs, tc.error)
		}
		if tc.machine != "" && last.Cells[0] != tc.machine {
			t.Errorf("%s: a row handed back would have lost its machine: %q", tc.says, last.Cells)
		}
	}
}

// Common practice, no source: the signs people write for "the same".
func TestNext_ADittoMarkRepeatsTheValueAbove(t *testing.T) {
	for _, mark := range []string{`"`, "”", "″", "''", ",,", `-"-`, `- " -`, "do.", "dto.", "ditto", "as above", "wie oben"} {
		cell := `"` + strings.ReplaceAll(mark, `"`, `""`) + `"`
		rows, err := readAll(t, mustOpen(t, "Machine;Position;Type;Size;Length (mm);Fitted\nA;P;EN 853 2SN;DN 12;900;2024-01-02\n"+cell+";Q;"+cell+";"+cell+";"+cell+";"+cell+"\n", exchange.Options{}))
		if err != nil || len(rows) != 2 {
			t.Fatalf("%s: %d rows, %v", mark, len(rows), err)
		}
		h := rows[1].Hose
		if len(rows[1].Errors) > 0 || h.Machine != "A" || h.Position != "Q" || h.Designation != "EN 853 2SN" || h.Size.DN != 12 || h.LengthMM == nil || *h.LengthMM != 900 || h.Fitted != rows[0].Hose.Fitted {
			t.Errorf("%s: %+v %s", mark, h, sentences(rows[1].Errors))
		}
		if !strings.Contains(sentences(rows[1].Notes), "is read as the value above, DN 12") {
			t.Errorf("%s is not told: %s", mark, sentences(rows[1].Notes))
		}
	}
	const firstRow = "Machine;Position;Assembly;Type;Fitted\n\"\"\"\";P;H1;2SN;2024-01-02\n"
	rows, err := readAll(t, mustOpen(t, firstRow, exchange.Options{}))
	if err != nil || !strings.Contains(sentences(rows[0].Errors), "repeats the value above, but there is none") {
		t.Errorf("a mark with nothing above it: %v %s", err, sentences(rows[0].Errors))
	}
	rows, err = readAll(t, mustOpen(t, "Machine;Position;Assembly;Type;Fitted\nA;P;H1;2SN;2024-01-02\nA;Q;\"\"\"\";2SN;2024-01-02\n", exchange.Options{}))
	if err != nil || !strings.Contains(sentences(rows[1].Errors), "a code is one assembly's own") {
		t.Errorf("a code is not repeated: %v %s", err, sentences(rows[1].Errors))
	}
}

func TestNext_ACountHandedBackIsStillACount(t *testing.T) {
	rows, err := readAll(t, mustOpen(t, "Unit;Position;Type;Size;Why it was not taken\n;EX 12: 34 hoses;;;this stands alone\n", exchange.Options{}))
	if err != nil || len(rows) != 1 || !strings.Contains(sentences(rows[0].Errors), "looks like a heading or a sub-total") {
		t.Errorf("%v %+v", err, rows)
	}
}

func TestNext_AnExportsQuotationMarkIsOne(t *testing.T) {
	from := []*register.HoseRow{
		{Machine: "A", Position: "P", Note: "seen", Seen: "seen"},
		{Machine: "A", Position: "Q", Note: `"`, Seen: "''"},
	}
	var out bytes.Buffer
	w := exchange.NewWriter(&out, register.ImportHoses)
	for _, h := range from {
		if err := w.Write(&register.ImportRow{Hose: h}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	rows, err := readAll(t, mustOpen(t, out.String(), exchange.Options{}))
	if err != nil || len(rows) != 2 || rows[1].Hose.Note != `"` || rows[1].Hose.Seen != "''" {
		t.Errorf("%v %+v", err, rows)
	}
}

// A machine of 1.234 h and one of 1234 h are far apart: only other cells of
// the column decide.
func TestNext_ASignBetweenThousandsOfHoursIsToldByTheColumn(t *testing.T) {
	for _, tc := range []struct {
		says, cells string // hours of one row each; the first is 4,120
		want        float64
	}{
		{"alone it can be both", "4,120", 0},
		{"beside whole hours of four digits", "4,120;6106", 4120},
		{"with the unit behind", "4,120 h;6106 h", 4120},
		{"beside hours with decimals", "4,120;6106;12,5", 0},
		{"beside small whole hours", "4,120;12", 0},
	} {
		sheet := "Machine\tDate\tHours\n"
		for i, c := range strings.Split(tc.cells, ";") {
			sheet += "M" + string(rune('1'+i)) + "\t2024-01-02\t" + c + "\n"
		}
		rows, err := readAll(t, mustOpen(t, sheet, exchange.Options{}))
		if err != nil {
			t.Fatal(err)
		}
		r := rows[0]
		if tc.want == 0 {
			if !strings.Contains(sentences(r.Errors), "can be 4120 or 4.120") {
				t.Errorf("%s: %s", tc.says, sentences(r.Errors))
			}
			continue
		}
		if len(r.Errors) > 0 || r.Reading.Hours == nil || *r.Reading.Hours != tc.want || !strings.Contains(sentences(r.Notes), "4,120 is read as 4120") {
			t.Errorf("%s: %+v %s %s", tc.says, r.Reading, sentences(r.Errors), sentences(r.Notes))
		}
	}
}

func TestNext_TheRestOfTheRowTellsWhichSizeIsMeant(t *testing.T) {
	for _, tc := range []struct {
		says, layline string
		dn            int
	}{
		{"the layline names the DN", "EN 857 2SC DN 16 W.P. 250 bar", 16},
		{"the layline names the dash", "EN 856 4SH DN 25", 25},
		{"the layline names another size", "EN 853 2SN DN 12 275 BAR 3Q22", 0},
		{"the layline names none", "worn off", 0},
	} {
		rows, err := readAll(t, mustOpen(t, "Machine;Position;Layline;Size\nA;P;"+tc.layline+";16\n", exchange.Options{}))
		if err != nil {
			t.Fatal(err)
		}
		r := rows[0]
		if tc.dn == 0 {
			if !strings.Contains(sentences(r.Errors), "16 can be DN 16 or dash 16") {
				t.Errorf("%s: %s", tc.says, sentences(r.Errors))
			}
			continue
		}
		if len(r.Errors) > 0 || r.Hose.Size.DN != tc.dn || !strings.Contains(sentences(r.Notes), "as the rest of the row says") {
			t.Errorf("%s: %+v %s %s", tc.says, r.Hose.Size, sentences(r.Errors), sentences(r.Notes))
		}
	}
}

func TestFirstRows_CanBeSeenBeforeAMissingColumnIsNamed(t *testing.T) {
	s := mustOpen(t, "Green book\nUnit;Spot;Size\n\nA;P;DN 12\nB;Q;DN 16\n", exchange.Options{Kind: register.ImportHoses})
	if len(s.Missing) == 0 {
		t.Fatal("the sheet has a column for the position")
	}
	if rows := s.FirstRows(1); len(rows) != 1 || rows[0][1] != "P" {
		t.Errorf("first rows: %q", rows)
	}
}
