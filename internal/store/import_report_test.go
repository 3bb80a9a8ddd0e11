package store_test

import (
	"strings"
	"testing"

	"hoseward/internal/store"
)

func TestImport_AContradictionNamesTheCellAndTheColumn(t *testing.T) {
	for _, tc := range []struct {
		says, sheet           string
		column, value, starts string
	}{
		{
			"two serial numbers of a machine", "Machine no.;Model;Serial\nEX-01;Digger;11\nEX-01;Digger;12\n",
			"Serial", "12", "Row 2 of the file says otherwise of machine EX-01 (Serial); leave one",
		},
		{
			"two lengths of a hose without a code", "Machine;Position;Type;DN;Length;Fitted;Made\nA;P1;2SN;12;900;2024-05-05;3Q23\nA;P1;2SN;12;950;2024-05-05;3Q23\n",
			"Length", "950", "Row 2 of the file says otherwise of the hose there (Length); leave one",
		},
		{
			"two ratings of a hose with a code", "Machine;Position;Hose no;Type;Rating (bar);Fitted;Made\nA;P1;X;2SN;200;2024-05-05;3Q23\nA;P1;X;2SN;210;2024-05-05;3Q23\n",
			"Rating (bar)", "210", "Row 2 of the file says otherwise of assembly X (Rating (bar)); leave one",
		},
		{
			"two circuits of a position", "Machine;Position;Circuit\nA;P1;lift\nA;P1;steering\n",
			"Circuit", "steering", "Row 2 of the file says otherwise of position P1 of machine A (Circuit); leave one",
		},
		{
			"two pressures of a position", "Machine;Position;Made;Fitted;System pressure (bar)\nA;P1;3Q23;2024-05-05;180\nA;P1;3Q23;2024-05-05;190\n",
			"System pressure (bar)", "190", "Row 2 of the file says otherwise of how position P1 is worked (System pressure (bar)); leave one",
		},
		{
			"a hose without a code that another one cannot follow", "Machine;Position;Type;Made;Fitted\nA;P1;EN 853 2SN;3Q23;2024-05-05\nA;P1;EN 853 1SN;3Q23;2024-06-06\n",
			"Position", "P1", "Row 2 of the file has another hose at ",
		},
	} {
		s := open(t, address(t, store.SQLite))
		r, err := importSheet(t, s, tc.sheet, store.ImportOptions{TakeGood: true})
		if err != nil || r.Refused+r.Asked != 1 || len(r.Lines[0].Errors) != 1 {
			t.Errorf("%s: %v\n%s", tc.says, err, lines(r))
			continue
		}
		got := r.Lines[0].Errors[0]
		if got.Column != tc.column || got.Value != tc.value || !strings.HasPrefix(got.Sentence, tc.starts) {
			t.Errorf("%s: %+v", tc.says, got)
		}
		if strings.Contains(got.Sentence, "H-0") {
			t.Errorf("%s: it cites a code nobody gave: %s", tc.says, got.Sentence)
		}
	}
}

func TestImport_TheReportSaysThingsOnce(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	sheet := "Machine;Position;Type;DN;Rating;Fitted;Made\nA;P1;2SN;12;275;2024-05-05;3Q23\nA;P2;2SN;12;270;2024-05-05;3Q23\nA;P3;2SN;12;265;2024-05-05;3Q23\n"
	r := mustImport(t, s, sheet, store.ImportOptions{})
	text := lines(r)
	if strings.Count(text, "bar is taken") != 1 || !strings.Contains(text, "note at Rating: no unit, bar is taken (the same in 3 rows)") {
		t.Errorf("the unit taken is not said once, with its count:\n%s", text)
	}
	for _, l := range r.Lines {
		if strings.Count(l.What, "adds assembly") != 1 || !strings.Contains(l.What, " at ") {
			t.Errorf("row %d: %s", l.Row, l.What)
		}
	}
	again := mustImport(t, s, sheet, store.ImportOptions{})
	if again.Same != 3 || strings.Contains(lines(again), "note") {
		t.Errorf("rows that say nothing new have notes:\n%s", lines(again))
	}
	one := mustImport(t, s, "Machine;Position;Type;DN;Rating;Fitted;Made\nA;P4;2SN;12;275;2024-05-05;3Q23\n", store.ImportOptions{})
	if !strings.Contains(lines(one), "no unit, bar is taken\n") {
		t.Errorf("one row:\n%s", lines(one))
	}
}

func TestImport_AHoseTooOldWhenFittedIsTakenAndSaid(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	r := mustImport(t, s, "Machine;Position;Hose no;Type;DN;Rating (bar);Fitted;Assembled\nA;P1;X;2SN;12;275;2024-05-05;2005-01-03\n", store.ImportOptions{})
	text := lines(r)
	if r.Added != 1 || !strings.Contains(text, "It was too old when it was fitted (") || !strings.Contains(text, "); it is taken as the list says. Look at it and plan its replacement.") {
		t.Errorf("it is not said:\n%s", text)
	}
	for _, not := range []string{"do not fit it", "lets it be fitted", "release"} {
		if strings.Contains(text, not) {
			t.Errorf("the report says %q of a hose that is taken:\n%s", not, text)
		}
	}
}

func TestImport_OnlyALogMakesCyclesRecorded(t *testing.T) {
	for _, tc := range []struct {
		first, then string // basis; pressure after a stroke
		want        bool
	}{
		{"measured/200", "", false},
		{"logged/200", "", true},
		{"logged/200", "assumed/240", false},
		{"logged/200", "/240", false},
		{"measured/200", "recorded/200", true},
	} {
		s := open(t, address(t, store.SQLite))
		for _, cells := range []string{tc.first, tc.then} {
			if cells == "" {
				continue
			}
			basis, bar, _ := strings.Cut(cells, "/")
			mustImport(t, s, "Machine;Position;Hose no;Made;Fitted;Highest pressure (bar);Cycles per hour;Conditions are\nA;P1;X;3Q23;2024-05-05;"+bar+";60;"+basis+"\n", store.ImportOptions{})
		}
		var recorded *bool
		if err := s.Raw().QueryRow("SELECT recorded FROM conditions WHERE recorded IS NOT NULL ORDER BY id DESC LIMIT 1").Scan(&recorded); err != nil && tc.want {
			t.Error(err)
		}
		if got := recorded != nil && *recorded; got != tc.want {
			t.Errorf("%s, then %s: recorded %v", tc.first, tc.then, got)
		}
	}
}
