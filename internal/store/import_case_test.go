package store_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

const hosesHead = "Site;Machine;Position;Assembly;Type;DN;Rating (bar);Made;Fitted;Hours at fitting;Removed;Cause;Scrapped;Can hurt;Peak pressure;Cycles per hour;Last inspection;Layline;Note\n"

// hoseCells writes one row below hosesHead, cells by the first word of their
// header.
func hoseCells(cells ...string) string {
	heads := strings.Split(strings.TrimSpace(hosesHead), ";")
	row := make([]string, len(heads))
	for _, c := range cells {
		name, value, _ := strings.Cut(c, "=")
		for i, h := range heads {
			if strings.EqualFold(h, name) || strings.HasPrefix(strings.ToLower(h), name+" ") {
				row[i] = value
			}
		}
	}
	return strings.Join(row, ";") + "\n"
}

func TestImport_DecidesWhatARowMeans(t *testing.T) {
	known := hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "rating=275", "made=3Q23", "fitted=2024-05-05")
	for _, tc := range []struct {
		says    string
		first   string // below hosesHead
		then    string
		opts    store.ImportOptions
		want    [5]int // added, changed, same, refused, asked
		has     []string
		hasNot  []string
		because string // part of a sentence in the report
	}{
		{
			says: "a better fit date of the same assembly is a change", first: known,
			then: hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2024-06-01"),
			want: [5]int{0, 1, 0, 0, 0}, has: []string{"X|A-1|P1|2024-06-01|"}, hasNot: []string{"2024-05-05"},
		},
		{
			says: "without code and fit date the row speaks of what sits there", first: known,
			then: hoseCells("machine=A-1", "position=P1", "type=EN 853 2SN", "note=rubs"),
			want: [5]int{0, 1, 0, 0, 0}, has: []string{"|rubs|"},
		},
		{
			says: "without code and fit date a hose made at another time is another one", first: known,
			then: hoseCells("machine=A-1", "position=P1", "type=EN 853 2SN", "made=1Q25"),
			want: [5]int{0, 0, 0, 0, 1}, because: "Was it swapped",
		},
		{
			says: "without a fit date the day it was made is taken and said", first: "",
			then: hoseCells("machine=A-1", "position=P1", "type=EN 853 2SN", "dn=12", "made=1Q25"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"A-1|P1|2025-01-01|<nil>|not known, made 2025-01-01|"}, because: "no fit date is given",
		},
		{
			says: "a position without a hose is a position", first: "",
			then: hoseCells("machine=A-1", "position=P9"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"A-1|P9|"}, because: "only the position is taken",
		},
		{
			says: "an assembly without machine and position is in store", first: "",
			then: hoseCells("site=North", "assembly=S-1", "type=EN 853 2SN"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"S-1|North|"},
		},
		{
			says: "a hose without code, machine and position cannot be told from another", first: "",
			then: hoseCells("type=EN 853 2SN", "made=1Q25"),
			want: [5]int{0, 0, 0, 1, 0}, because: "nothing tells which hose it is",
		},
		{
			says: "a removal that comes later ends the fitting", first: known,
			then: hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2024-05-05", "removed=2025-01-10", "cause=heat", "scrapped=no"),
			want: [5]int{0, 1, 0, 0, 0}, has: []string{"X|A-1|P1|2024-05-05|<nil>||2025-01-10|<nil>|heat|"},
		},
		{
			says: "a removal in the month it was fitted came on that day at the earliest", first: "",
			then: hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "made=3Q23", "fitted=2024-05-05", "removed=05/2024"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"X|A-1|P1|2024-05-05|<nil>||2024-05-05|"}, because: "that day is taken",
		},
		{
			says: "an assembly that sits elsewhere is not moved silently", first: known,
			then: hoseCells("machine=A-1", "position=P2", "assembly=X", "fitted=2025-02-01"),
			want: [5]int{0, 0, 0, 1, 0}, because: "remove it there first", hasNot: []string{"P2"},
		},
		{
			says:  "one that went back to store can be fitted elsewhere",
			first: known + hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2024-05-05", "removed=2025-01-10", "cause=planned", "scrapped=no"),
			then:  hoseCells("machine=A-2", "position=P1", "assembly=X", "fitted=2025-02-01"),
			want:  [5]int{1, 0, 0, 0, 0}, has: []string{"X|A-1|P1|2024-05-05|", "X|A-2|P1|2025-02-01|"},
		},
		{
			says:  "one that was scrapped is never fitted again",
			first: known + hoseCells("machine=A-1", "position=P1", "assembly=X", "fitted=2024-05-05", "removed=2025-01-10", "cause=planned", "scrapped=yes"),
			then:  hoseCells("machine=A-2", "position=P1", "assembly=X", "fitted=2025-02-01"),
			want:  [5]int{0, 0, 0, 1, 0}, because: "scrapped", hasNot: []string{"A-2"},
		},
		{
			says: "an earlier stay that is over goes before the one known", first: known,
			then: hoseCells("machine=A-1", "position=P1", "assembly=OLD", "type=EN 853 2SN", "dn=12", "made=1Q19", "fitted=2019-05-05", "removed=2024-05-05", "cause=planned"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"OLD|A-1|P1|2019-05-05|<nil>||2024-05-05|"},
		},
		{
			says: "corrected to an assembly the register has in store", first: known + hoseCells("site=Main site", "assembly=Y", "type=EN 853 2SN", "dn=12", "made=3Q23"),
			then: hoseCells("machine=A-1", "position=P1", "assembly=Y", "fitted=2024-05-05"), opts: store.ImportOptions{Different: register.DifferentCorrect},
			want: [5]int{0, 1, 0, 0, 0}, has: []string{"Y|A-1|P1|2024-05-05|", "X|Main site|"}, hasNot: []string{"X|A-1|P1"},
		},
		{
			says:  "swapped on a day before the one that sits there was fitted cannot be",
			first: known, then: hoseCells("machine=A-1", "position=P1", "assembly=Z", "made=3Q23", "fitted=2024-05-05"), opts: store.ImportOptions{Different: register.DifferentSwap},
			want: [5]int{0, 0, 0, 1, 0}, because: "cannot have replaced it",
		},
		{
			says:  "two rows of a file that name two hoses for one day and position",
			first: "", then: known + hoseCells("machine=A-1", "position=P1", "assembly=Z", "made=3Q23", "fitted=2024-05-05"),
			want: [5]int{1, 0, 0, 0, 1}, because: "Row 2 of the file has assembly X",
		},
		{
			says:  "two rows of a file that contradict each other about one hose",
			first: "", then: known + hoseCells("machine=A-1", "position=P1", "assembly=X", "rating=250", "fitted=2024-05-05"),
			want: [5]int{1, 0, 0, 1, 0}, because: "Row 2 of the file says otherwise of assembly X",
		},
		{
			says:  "two rows of a file that contradict each other about a position",
			first: "", then: hoseCells("machine=A-1", "position=P1", "can=yes") + hoseCells("machine=A-1", "position=P1", "can=no"),
			want: [5]int{1, 0, 0, 1, 0}, because: "Row 2 of the file says otherwise of position P1",
		},
		{
			says:  "hours that the meter cannot have shown",
			first: known, then: hoseCells("machine=A-1", "position=P2", "made=3Q23", "fitted=2024-06-01", "hours=500") + hoseCells("machine=A-1", "position=P3", "made=3Q23", "fitted=2024-07-01", "hours=400"),
			want: [5]int{1, 0, 0, 1, 0}, has: []string{"A-1|2024-06-01|500|fitting|"}, hasNot: []string{"P3"}, because: "400",
		},
		{
			says:  "a table's rating does not replace one that was typed",
			first: known, then: hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "fitted=2024-05-05", "note=n"),
			want: [5]int{0, 1, 0, 0, 0}, has: []string{"|275|typed|"}, because: "the row has no rating",
		},
		{
			says:  "highest pressure and cycles are conditions from the fitting on, assumed",
			first: "", then: hoseCells("machine=A-1", "position=P1", "made=3Q23", "fitted=2024-05-05", "peak=210", "cycles=40"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{`"MaxBar":210,"Count":40`, "|assumed|from an imported list|"},
		},
		{
			says:  "an inspection before the fitting was another hose's",
			first: "", then: hoseCells("machine=A-1", "position=P1", "made=3Q23", "fitted=2024-05-05", "last=2024-01-01"),
			want: [5]int{1, 0, 0, 0, 0}, hasNot: []string{"2024-01-01|sound"}, because: "another hose sat there",
		},
		{
			says:  "a hose stored longer than its policy allows is taken and told",
			first: "", then: hoseCells("machine=A-1", "position=P1", "assembly=X", "type=EN 853 2SN", "dn=12", "rating=275", "made=1Q15", "fitted=2022-05-05"),
			want: [5]int{1, 0, 0, 0, 0}, has: []string{"X|A-1|P1|2022-05-05|"}, because: "It was too old when it was fitted (",
		},
		{
			says:  "a row of another site leaves the machine where it is and says so",
			first: known, then: hoseCells("site=South", "machine=A-1", "position=P1", "assembly=X", "fitted=2024-05-05"),
			want: [5]int{0, 0, 1, 0, 0}, hasNot: []string{"South"}, because: "it stays there",
		},
	} {
		t.Run(tc.says, func(t *testing.T) {
			s := open(t, address(t, store.SQLite))
			if tc.first != "" {
				mustImport(t, s, hosesHead+tc.first, store.ImportOptions{})
			}
			tc.opts.TakeGood = true
			r, err := importSheet(t, s, hosesHead+tc.then, tc.opts)
			if err != nil {
				t.Fatal(err)
			}
			if counted(r) != tc.want {
				t.Errorf("counts are wrong, want %v:\n%s", tc.want, lines(r))
			}
			if !strings.Contains(lines(r), tc.because) {
				t.Errorf("the report does not say %q:\n%s", tc.because, lines(r))
			}
			got := tables(t, s)
			for _, text := range tc.has {
				if !strings.Contains(got, text) {
					t.Errorf("%q is not in the register:\n%s", text, got)
				}
			}
			for _, text := range tc.hasNot {
				if strings.Contains(got, text) {
					t.Errorf("%q is in the register:\n%s", text, got)
				}
			}
			before := tables(t, s)
			again, err := importSheet(t, s, hosesHead+tc.then, tc.opts)
			if err != nil || again.Added+again.Changed != 0 || tables(t, s) != before {
				t.Errorf("taken twice, the file changes something: %v\n%s", err, lines(again))
			}
			changesLogged(t, s)
		})
	}
}

func TestImport_MachinesAreKnownByTheirCode(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, "Machine;Name;Site;Kind;Hours per week\nA-1;Sweeper;North;sweeper;20\nA-2;Gritter;North;;\n", store.ImportOptions{Zone: "Europe/Berlin"})
	r := mustImport(t, s, "Machine;Name;Site;Kind;Hours per week\nA-1;;South;;25,5\nA-2;Gritter;;;\n", store.ImportOptions{})
	if counted(r) != [5]int{1, 0, 1, 0, 0} { // the first row adds a site
		t.Errorf("counts:\n%s", lines(r))
	}
	got := tables(t, s)
	for _, text := range []string{"North|Europe/Berlin|", "South|UTC|", "A-1|Sweeper||25.5|0||South|sweeper|"} {
		if !strings.Contains(got, text) {
			t.Errorf("%q is not in the register:\n%s", text, got)
		}
	}
	r, err := importSheet(t, s, "Machine;Name\nA-3;Third\n", store.ImportOptions{})
	if err == nil || !strings.Contains(lines(r), "several sites") {
		t.Errorf("a machine without site is put somewhere: %v\n%s", err, lines(r))
	}
	mustImport(t, s, "Machine;Name\nA-3;Third\n", store.ImportOptions{Site: "South"})
}

func TestImport_ReadingsOfUnknownMachinesAndFallingMetersAreRefused(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, "Machine;Name\nA-1;Sweeper\n", store.ImportOptions{})
	r, err := importSheet(t, s, `Machine;Date;Hours;New meter starts at
A-1;2026-01-01;100;
A-1;2026-02-01;90;
A-1;2026-03-01;150;0
A-1;2026-04-01;50;
A-1;2026-04-02;500;
A-9;2026-01-01;100;
A-1;2027-01-01;100;
A-1;2026-04-01;50;
`, store.ImportOptions{TakeGood: true})
	if err != nil {
		t.Fatal(err)
	}
	if counted(r) != [5]int{3, 0, 1, 4, 0} {
		t.Errorf("counts:\n%s", lines(r))
	}
	for _, text := range []string{"A-1", "There is no machine A-9", "still to come"} {
		if !strings.Contains(lines(r), text) {
			t.Errorf("the report does not say %q:\n%s", text, lines(r))
		}
	}
}

func TestImport_ManyHosesAreMarkedStaleAndMended(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	mustImport(t, s, "Machine;Site\nZ-1;Main site\n", store.ImportOptions{})
	r := mustImport(t, s, manyHoses(2600), store.ImportOptions{})
	if r.Stale != 2600 || len(r.Lines) != register.MaxReportLines || !r.Truncated {
		t.Errorf("%d stale, %d lines, truncated %v", r.Stale, len(r.Lines), r.Truncated)
	}
	ctx := context.Background()
	if n, err := s.ReestimateStale(ctx, now, nil); err != nil || n != 2600 {
		t.Errorf("mended %d: %v", n, err)
	}
	few := mustImport(t, s, "Machine;Position;Made;Fitted\nZ-1;P1;3Q23;2024-01-01\n", store.ImportOptions{})
	if few.Stale != 0 {
		t.Errorf("%d stale after one row", few.Stale)
	}
	undone, err := s.UndoImport(ctx, now, me, r.ImportID)
	if err != nil {
		t.Fatal(err)
	}
	if codes, _ := s.MachineCodes(ctx); fmt.Sprint(codes) != "[Z-1]" {
		t.Errorf("after undoing there are machines %v, %d stale", codes, undone.Stale)
	}
}

// A list of readings is held to the same rules as readings that come one by
// one, whatever order its rows are in.
func TestImport_TakesTheReadingsThatSingleOnesWouldBeTaken(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 8 {
		one, list := open(t, address(t, store.SQLite)), open(t, address(t, store.SQLite))
		event := register.AddMeterEvent{Machine: "A-1", On: day("2026-03-20"), OldEnd: 1900, NewStart: 5}
		for _, s := range []*store.Store{one, list} {
			mustImport(t, s, "Machine;Site\nA-1;x\n", store.ImportOptions{})
			apply(t, s, event)
		}
		var b strings.Builder
		b.WriteString("Machine;Date;Hours;Disputed\n")
		taken := 0
		for range 60 {
			n := rng.IntN(200)
			on := day("2026-01-01").AddDays(n)
			hours := float64(n*10 + rng.IntN(60) - 20)
			if n > 78 && rng.IntN(4) > 0 {
				hours = float64((n - 78) * 10)
			}
			hours = max(hours, 0)
			fmt.Fprintf(&b, "A-1;%s;%g;\n", on, hours)
			_, err := one.Apply(context.Background(), now, me, register.AddReading{Machine: "A-1", On: on, Hours: hours, Source: string(register.FromImport)})
			if err == nil {
				taken++
			}
		}
		r, err := importSheet(t, list, b.String(), store.ImportOptions{TakeGood: true})
		if err != nil {
			t.Fatal(err)
		}
		if r.Added != taken || taken < 5 || taken > 58 {
			t.Errorf("%d readings are taken from the list, %d one by one", r.Added, taken)
		}
		if diff := cmp.Diff(strings.Split(tables(t, one), "\n"), strings.Split(tables(t, list), "\n")); diff != "" {
			t.Errorf("the registers differ (-one by one +list):\n%s", diff)
		}
	}
}
