package store_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

func TestImport_AsksAboutAnotherHoseAtAKnownPosition(t *testing.T) {
	first := "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P1;OLD;EN 853 2SN;12;3Q20;2021-03-01\n"
	next := "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P1;NEW;EN 853 2SN;12;3Q24;2025-03-01\n"
	for _, tc := range []struct {
		name      string
		different register.Different
		want      [5]int
		placed    string // part of the tables afterwards
	}{
		{"unanswered, the row is asked about and nothing changes", "", [5]int{0, 0, 0, 0, 1}, "OLD|A-1|P1|2021-03-01|<nil>||<nil>|"},
		{"swapped, the old one came off on the day the new one was fitted", register.DifferentSwap, [5]int{1, 0, 0, 0, 0}, "OLD|A-1|P1|2021-03-01|<nil>||2025-03-01|<nil>|unknown|"},
		{"swapped, the new one sits there", register.DifferentSwap, [5]int{1, 0, 0, 0, 0}, "NEW|A-1|P1|2025-03-01|<nil>||<nil>|"},
		{"corrected, there only ever was the one of the list", register.DifferentCorrect, [5]int{0, 1, 0, 0, 0}, "NEW|A-1|P1|2025-03-01|<nil>||<nil>|"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := open(t, address(t, store.SQLite))
			mustImport(t, s, first, store.ImportOptions{})
			r, err := importSheet(t, s, next, store.ImportOptions{Different: tc.different})
			if tc.different == "" {
				if !errors.Is(err, &register.Error{Code: register.Refused}) {
					t.Errorf("an unanswered question is taken: %v", err)
				}
			} else if err != nil {
				t.Fatal(err)
			}
			if counted(r) != tc.want {
				t.Errorf("counts are wrong:\n%s", lines(r))
			}
			got := tables(t, s)
			if !strings.Contains(got, tc.placed) {
				t.Errorf("%q is not in the register:\n%s", tc.placed, got)
			}
			if tc.different == register.DifferentCorrect && strings.Contains(got, "OLD") {
				t.Errorf("the wrong hose is still there:\n%s", got)
			}
			if tc.different != "" {
				again := mustImport(t, s, next, store.ImportOptions{})
				if again.Same != 1 {
					t.Errorf("answered once, it is asked again:\n%s", lines(again))
				}
			}
		})
	}
}

func TestImport_OlderListSwappedGoesIntoThePast(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, "Machine;Position;Type;DN;Made;Fitted\nA-1;P1;EN 853 2SN;12;3Q24;2025-03-01\n", store.ImportOptions{})
	mustImport(t, s, "Machine;Position;Type;DN;Made;Fitted\nA-1;P1;EN 853 2SN;12;3Q19;2020-03-01\n", store.ImportOptions{Different: register.DifferentSwap})
	if got := tables(t, s); !strings.Contains(got, "A-1|P1|2020-03-01|<nil>||2025-03-01|") {
		t.Errorf("the older hose did not come off when the newer one was fitted:\n%s", got)
	}
}

const rightOne = "Machine;Position;Assembly;Fitted\nA-1;P1;Y;2024-05-05\n"

// wronglyKnown is a register that has X at a position where Y sits, with an
// open stop on it.
func wronglyKnown(t *testing.T, s *store.Store) {
	t.Helper()
	mustImport(t, s, hosesHead+
		hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "rating=275", "made=3Q23", "fitted=2024-05-05")+
		hoseCells("site=Main site", "assembly=Y", "type=EN 853 2SN", "dn=12", "rating=275", "made=3Q23"), store.ImportOptions{})
	apply(t, s, register.Inspect{Machine: "A-1", Position: "P1", On: day("2026-01-01"), Findings: []register.NewFinding{{Number: 2, Class: life.Stop}}})
}

// What an inspection saw at the position is seen on the hose that sits there.
func TestImport_ACorrectionKeepsTheStopAtThePosition(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		wronglyKnown(t, s)
		mustImport(t, s, rightOne, store.ImportOptions{Different: register.DifferentCorrect})
		y, x := sheet(t, s, "Y"), sheet(t, s, "X")
		if y.Status != life.StatusStop || len(y.Open) != 1 {
			t.Errorf("Y is %q with %d open findings, want a stop", y.Status, len(y.Open))
		}
		if x.Line != nil || len(x.Open) != 0 {
			t.Errorf("X sits at %+v with %d open findings, want in store without any", x.Line, len(x.Open))
		}
		everyInstalledHasAnEstimate(t, s)
		agree(t, s)
	})
}

// The rating of the wrong hose is not that of the right one.
func TestImport_AnotherTypeHasNothingOfWhatWasReadOffTheWrongOne(t *testing.T) {
	known := hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "rating=275", "made=3Q23", "fitted=2024-05-05", "note=n")
	for _, tc := range []struct {
		says, first, then string
		opts              store.ImportOptions
		rated             float64 // 0: unknown
		source            register.RatingSource
		made              string
	}{
		{
			"corrected to another type, the typed rating and the date go", known,
			hoseCells("machine=A-1", "position=P1", "type=own brand 7", "fitted=2024-05-06"),
			store.ImportOptions{Different: register.DifferentCorrect},
			0, "", "",
		},
		{
			"corrected to another fit date, all stays", known,
			hoseCells("machine=A-1", "position=P1", "type=en853-2sn", "fitted=2024-05-06"),
			store.ImportOptions{Different: register.DifferentCorrect},
			275, register.RatingTyped, "3Q2023",
		},
		{
			"a table's rating does not outlast the type it was taken for", strings.Replace(known, ";275;", ";;", 1),
			hoseCells("machine=A-1", "position=P1", "assembly=X", "type=own brand 7", "fitted=2024-05-05"),
			store.ImportOptions{},
			0, "", "3Q2023",
		},
		{
			"nor the size", strings.Replace(known, ";275;", ";;", 1),
			hoseCells("machine=A-1", "position=P1", "assembly=X", "dn=25", "fitted=2024-05-05"),
			store.ImportOptions{},
			0, "", "3Q2023",
		},
	} {
		s := open(t, address(t, store.SQLite))
		mustImport(t, s, hosesHead+tc.first, store.ImportOptions{})
		mustImport(t, s, hosesHead+tc.then, tc.opts)
		a := sheet(t, s, "X").Assembly
		rated := 0.0
		if a.RatedBar != nil {
			rated = *a.RatedBar
		}
		if rated != tc.rated || a.RatingSource != tc.source || a.Made.String() != tc.made || a.Note != "n" {
			t.Errorf("%s: rated %g from %q, made %q, note %q; want %g from %q, made %q", tc.says, rated, a.RatingSource, a.Made, a.Note, tc.rated, tc.source, tc.made)
		}
	}
}

func TestImport_ABetterFitDateLeavesNoInspectionOutside(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, hosesHead+hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "made=3Q23", "fitted=2024-05-05"), store.ImportOptions{})
	apply(t, s, register.Inspect{Machine: "A-1", Position: "P1", On: day("2025-01-01")})
	r, err := importSheet(t, s, hosesHead+hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2025-02-01"), store.ImportOptions{})
	if !errors.Is(err, &register.Error{Code: register.Refused}) || !strings.Contains(lines(r), "inspected") {
		t.Errorf("the fit date goes past an inspection: %v\n%s", err, lines(r))
	}
	mustImport(t, s, hosesHead+hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2025-01-01"), store.ImportOptions{})
}

func TestImport_SaysHowLongAnotherHoseSatThere(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, hosesHead+
		hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "made=3Q20", "fitted=2021-05-05", "removed=2023-01-01", "cause=planned"), store.ImportOptions{})
	r, err := importSheet(t, s, hosesHead+hoseCells("machine=A-1", "position=P1", "assembly=Z", "made=3Q20", "fitted=2022-05-05"), store.ImportOptions{Different: register.DifferentSwap})
	if err == nil || !strings.Contains(lines(r), "From 2021-05-05 to 2023-01-01") {
		t.Errorf("%v\n%s", err, lines(r))
	}
}

func TestImport_LettersAndSpacesMakeNoOtherThing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		mustImport(t, s, "Site;Machine;Kind\nNorth Yard;RT-1;Refuse Truck\n", store.ImportOptions{})
		mustImport(t, s, "Machine;Circuit;Position;Assembly;Type;DN;Made;Fitted\nRT-1;Lift;Lift left;H-x;EN 853 2SN;12;3Q23;2024-05-05\n", store.ImportOptions{})
		log, before := changesLogged(t, s), tables(t, s)
		for _, sheet := range []string{
			"Site;Machine;Kind\nNORTH YARD; rt-1 ;refuse  truck\n",
			"Site;Machine;Circuit;Position;Assembly;Type;DN;Made;Fitted\nnorth\u00a0yard;Rt-1;LIFT; lift  LEFT;h-X;EN 853 2SN;12;3Q23;2024-05-05\n",
			"Machine;Position;Assembly;Type;DN;Made;Fitted\nRT-1;Lift left;n/a;en853-2SN;12;3Q23;2024-05-05\n",
		} {
			r, err := importSheet(t, s, sheet, store.ImportOptions{})
			if err != nil || r.Added != 0 {
				t.Errorf("a second thing: %v\n%s", err, lines(r))
			}
		}
		after := tables(t, s)
		if strings.Contains(strings.ToLower(after), "n/a") || strings.Count(after, "\n") != strings.Count(before, "\n") {
			t.Errorf("before:\n%s\nafter:\n%s", before, after)
		}
		if n := changesLogged(t, s); n > log+2 { // the designation as spelled, and its file
			t.Errorf("%d changes of what says nothing new", n-log)
		}
		r, err := importSheet(t, s, "Machine;Date;Hours\nrt-1;2026-01-01;100\nRT-1;2026-01-01;100\n", store.ImportOptions{})
		if err != nil || counted(r) != [5]int{1, 0, 1, 0, 0} {
			t.Errorf("readings: %v\n%s", err, lines(r))
		}
		if m, err := s.MachineSheet(context.Background(), now, "rT-1"); err != nil || m.Machine.Code != "RT-1" || len(m.Lines) != 1 {
			t.Errorf("its page: %v %+v", err, m.Machine)
		}
		if a := sheet(t, s, "h-x"); a.Assembly.Code != "H-x" {
			t.Errorf("code %q", a.Assembly.Code)
		}
	})
}
