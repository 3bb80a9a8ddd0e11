package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// openSheet opens a sheet from memory.
func openSheet(t testing.TB, content string) *exchange.Sheet {
	t.Helper()
	s, err := exchange.Open(strings.NewReader(content), int64(len(content)), exchange.Options{Today: day("2026-11-25")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func importSheet(t testing.TB, s *store.Store, content string, opts store.ImportOptions) (register.ImportReport, error) {
	t.Helper()
	src := openSheet(t, content)
	opts.Kind = src.Kind
	return s.Import(context.Background(), now, me, src, opts)
}

// mustImport imports and fails on anything refused.
func mustImport(t testing.TB, s *store.Store, content string, opts store.ImportOptions) register.ImportReport {
	t.Helper()
	r, err := importSheet(t, s, content, opts)
	if err != nil || r.Refused+r.Asked > 0 {
		t.Fatalf("import: %v\n%s", err, lines(r))
	}
	return r
}

// lines prints a report.
func lines(r register.ImportReport) string {
	var b strings.Builder
	fmt.Fprintf(&b, "rows %d added %d changed %d same %d refused %d asked %d\n", r.Rows, r.Added, r.Changed, r.Same, r.Refused, r.Asked)
	for _, l := range r.Lines {
		fmt.Fprintf(&b, "%d %s %s\n", l.Row, l.Outcome, l.What)
		for _, e := range l.Errors {
			fmt.Fprintf(&b, "   error at %s: %s\n", e.Column, e.Sentence)
		}
		for _, e := range l.Notes {
			fmt.Fprintf(&b, "   note at %s: %s\n", e.Column, e.Sentence)
		}
	}
	return b.String()
}

func counted(r register.ImportReport) [5]int {
	return [5]int{r.Added, r.Changed, r.Same, r.Refused, r.Asked}
}

// tables is the content of the tables a list can hold, without ids.
func tables(t testing.TB, s *store.Store) string {
	t.Helper()
	var b strings.Builder
	for _, q := range []string{
		`SELECT name, zone FROM sites ORDER BY 1`,
		`SELECT m.code, m.name, m.serial, m.planned_hours_per_week, m.can_hurt, m.note, s.name, k.name FROM machines m JOIN sites s ON s.id = m.site_id LEFT JOIN kinds k ON k.id = m.kind_id ORDER BY 1`,
		`SELECT m.code, c.name FROM circuits c JOIN machines m ON m.id = c.machine_id ORDER BY 1, 2`,
		`SELECT m.code, q.name, q.walk_order, q.can_hurt, q.exposed, q.twisted, q.length_mm, q.bend_mm, q.straight_mm, q.note, c.name, y.name
			FROM positions q JOIN machines m ON m.id = q.machine_id LEFT JOIN circuits c ON c.id = q.circuit_id LEFT JOIN policies y ON y.id = q.policy_id ORDER BY 1, 2`,
		`SELECT a.code, s.name, a.layline, a.maker, a.designation, a.construction, a.tube, a.dn, a.dash, a.rated_bar, a.rating_source, a.max_c, a.fluid, a.length_mm,
			a.end_a, a.end_a_bar, a.end_b, a.end_b_bar, a.end_make, a.made, a.made_text, a.made_ambiguous, a.assembled, a.assembled_text, a.unconfirmed, a.note
			FROM assemblies a JOIN sites s ON s.id = a.site_id ORDER BY 1`,
		`SELECT a.code, m.code, q.name, p.from_on, p.from_hours, p.from_text, p.to_on, p.to_hours, r.cause, r.found_by, r.reason, r.seen, a.scrapped_on
			FROM placements p JOIN assemblies a ON a.id = p.assembly_id JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
			LEFT JOIN removals r ON r.placement_id = p.id ORDER BY 1, 4, 2`,
		`SELECT m.code, r.on_day, r.hours, r.source, r.disputed, r.note FROM readings r JOIN machines m ON m.id = r.machine_id ORDER BY 1, 2, 3`,
		`SELECT m.code, e.on_day, e.old_end, e.new_start, e.note FROM meter_events e JOIN machines m ON m.id = e.machine_id ORDER BY 1, 2`,
		`SELECT a.code, i.on_day, i."by", i.verdict, i.note FROM inspections i JOIN assemblies a ON a.id = i.assembly_id ORDER BY 1, 2, i.id`,
		`SELECT a.code, f.seen_on, f."number", f.class, f.place, f.act_by, f.note, f.closed_on, f.closed_how, f.closed_reason FROM findings f JOIN assemblies a ON a.id = f.assembly_id ORDER BY 1, 2, f.id`,
		`SELECT COALESCE(m.code, n.code, p.code), q.name, c.name, o.from_on, o.fluid_c, o.surroundings_c, o.adapter_bar, o.working_bar, o.cycles, o.temperatures,
				o.no_cycles, o.always_hot, o.recorded, o.assessed_on, o.basis, o.note
			FROM conditions o LEFT JOIN machines m ON o.level = 'machine' AND m.id = o.owner_id
			LEFT JOIN circuits c ON o.level = 'circuit' AND c.id = o.owner_id LEFT JOIN machines n ON n.id = c.machine_id
			LEFT JOIN positions q ON o.level = 'position' AND q.id = o.owner_id LEFT JOIN machines p ON p.id = q.machine_id ORDER BY 1, 2, 3, 4, o.id`,
		`SELECT k.name, d.circuit, d.fluid_c, d.surroundings_c, d.adapter_bar, d.working_bar, d.cycles, d.temperatures, d.no_cycles, d.always_hot, d.note
			FROM duties d JOIN kinds k ON k.id = d.kind_id ORDER BY 1, 2`,
		`SELECT m.code, l.from_on, l.to_on, l.reason FROM lay_ups l JOIN machines m ON m.id = l.machine_id ORDER BY 1, 2`,
	} {
		rows, err := s.Raw().Query(q)
		if err != nil {
			t.Fatal(err)
		}
		cols, _ := rows.Columns()
		for rows.Next() {
			vals, ptrs := make([]any, len(cols)), make([]any, len(cols))
			for i := range vals {
				ptrs[i] = &vals[i]
			}
			if err := rows.Scan(ptrs...); err != nil {
				t.Fatal(err)
			}
			for _, v := range vals {
				fmt.Fprintf(&b, "%v|", v)
			}
			b.WriteString("\n")
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
		b.WriteString("--\n")
	}
	return b.String()
}

// history is a list with everything that can be said of a hose.
func history(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "import", "hoses-history.csv"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

const readingsSheet = `Machine,Date,Hours,New meter starts at,Note,Disputed
BL-1,2018-06-01,100,,,
BL-1,2020-01-01,1500,,"said ""about"", =1+1",
BL-1,2020-02-01,9999,,typo,yes
BL-1,2022-01-01,2600,0,meter replaced,
BL-1,2023-01-01,700,,-later,
`

const machinesSheet = `Machine,Name,Kind,Site,Serial number,Planned hours per week,Burst can hurt someone,Time zone of site,Note
BL-1,"Backhoe, yellow",backhoe loader,Tarnbeck,S-1,20.5,yes,Europe/Berlin,'=SUM(1)
SW-2,@sweeper,sweeper,Outpost,,,no,Europe/Dublin,"two
lines"
`

const fullHoses = `Site,Machine,Circuit,Position,Walking order,Exposed,Twisted,Policy,Position length (mm),Bend radius,Position note,Assembly,Layline,Maker,Type,Construction,Tube,Fluid,DN,Rating (psi),Highest temperature of hose,Length (in),End A,Rating of end A,End B,Made,Assembled,Identity unconfirmed,Note,Kept at,Fitted,Hours at fitting,Min pressure (bar),Pmax (bar),Cycles per hour,Oil temp,Ambient,Adapter (bar),Conditions are,Last inspection
Outpost,SW-2,lift,A1,7,yes,no,heightened demand,900,100,tight,F-1,TESTCO EN 853 2SN DN 12 275 BAR 07/10,TESTCO,EN 853 2SN,wire braid,NBR,mineral oil,12,4000,100,49 1/4,DKOL,315,BSP,07/10,1011,yes,"=1+1, ""x""",Tarnbeck,03/2012,,0,210,40,72,40,250,measured,2026-05-30
Outpost,SW-2,lift,A2,8,no,no,,,,,,,,EN 853 2SN,,,,12,,,,,,,3Q24,,,,,2025-01-01,,,,,,,,,
Outpost,SW-2,,A3,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,,
,,,,,,,,,,,S-9,,,EN 857 2SC,,,,16,,,,,,,1Q26,,,in store,Tarnbeck,,,,,,,,,,
`

// fillByImport fills a register from lists alone.
func fillByImport(t testing.TB, s *store.Store) {
	t.Helper()
	for _, content := range []string{machinesSheet, readingsSheet, history(t), fullHoses} {
		r := mustImport(t, s, content, store.ImportOptions{Site: "Tarnbeck"})
		if r.Added == 0 {
			t.Fatalf("nothing was added:\n%s", lines(r))
		}
	}
}

func TestImport_TwiceAddsNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fillByImport(t, s)
		before, log := tables(t, s), changesLogged(t, s)
		for _, content := range []string{machinesSheet, readingsSheet, history(t), fullHoses} {
			r := mustImport(t, s, content, store.ImportOptions{Site: "Tarnbeck"})
			if r.Same != r.Rows || r.ImportID != 0 {
				t.Errorf("the second time is not the same:\n%s", lines(r))
			}
		}
		if after := tables(t, s); after != before {
			t.Error(cmp.Diff(before, after))
		}
		if n := changesLogged(t, s); n != log {
			t.Errorf("%d changes were logged by a file that says nothing new", n-log)
		}
	})
}

func changesLogged(t testing.TB, s *store.Store) int64 {
	t.Helper()
	rows, broken, err := s.VerifyChain(context.Background())
	if err != nil || broken != 0 {
		t.Fatalf("the change log is broken at %d: %v", broken, err)
	}
	return rows
}

func TestImport_DryRunSaysWhatHappensAndKeepsNothing(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	before := tables(t, s)
	dry := mustImport(t, s, history(t), store.ImportOptions{DryRun: true})
	if tables(t, s) != before || changesLogged(t, s) != 0 {
		t.Error("a dry run left something behind")
	}
	if list, err := s.Imports(context.Background(), register.LocalPersonID); err != nil || len(list) != 0 {
		t.Errorf("a dry run is in the list of imports: %v %v", list, err)
	}
	wet := mustImport(t, s, history(t), store.ImportOptions{FileName: "history.csv", FileHash: "abc"})
	if wet.ImportID == 0 {
		t.Error("the import has no number")
	}
	wet.ImportID = 0
	if diff := cmp.Diff(lines(dry), lines(wet)); diff != "" {
		t.Errorf("the dry run said otherwise (-dry +wet):\n%s", diff)
	}
}

const goodAndBad = `Machine;Position;Type;DN;Rating (bar);Made;Fitted
A-1;P1;EN 853 2SN;12;275;3Q23;2024-05-05
A-1;P2;EN 853 2SN;12;-3;3Q23;2024-05-05
A-2;;EN 853 2SN;12;275;3Q23;2024-05-05
A-3;P1;EN 853 2SN;12;275;3Q23;32.05.2024
A-4;P1;EN 853 2SN;12;275;;
A-1;P1;EN 853 2SN;12;275;3Q23;2024-05-05
A-1;P1;EN 853 2SN;12;250;3Q23;2024-05-05
A-1;=P3;EN 853 2SN;12;275;3Q23;2024-05-05
`

func TestImport_RefusedRowsLeaveNothingOfThemselves(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		r, err := importSheet(t, s, goodAndBad, store.ImportOptions{})
		if !errors.Is(err, &register.Error{Code: register.Refused}) || r.ImportID != 0 {
			t.Fatalf("a file with bad rows is taken: %v", err)
		}
		if got := tables(t, s); strings.Contains(got, "A-1") {
			t.Errorf("a refused file left something behind:\n%s", got)
		}
		r, err = importSheet(t, s, goodAndBad, store.ImportOptions{TakeGood: true})
		if err != nil {
			t.Fatal(err)
		}
		if counted(r) != [5]int{2, 0, 1, 5, 0} {
			t.Errorf("counts are wrong:\n%s", lines(r))
		}
		codes, err := s.MachineCodes(context.Background())
		if err != nil || !cmp.Equal(codes, []string{"A-1"}) {
			t.Errorf("machines of refused rows: %v %v", codes, err)
		}
		for _, want := range []struct {
			row      int
			column   string
			sentence string
		}{
			{3, "Rating (bar)", "below zero"},
			{4, "Position", "no position"},
			{5, "Fitted", "no day 32"},
			{6, "Fitted", "no fit date"},
			{8, "", "Row 2 of the file says otherwise"},
		} {
			found := false
			for _, l := range r.Lines {
				if l.Row == want.row && len(l.Errors) == 1 && strings.Contains(l.Errors[0].Sentence, want.sentence) {
					found = want.column == "" || l.Errors[0].Column == want.column
				}
			}
			if !found {
				t.Errorf("row %d is not refused at %q with %q:\n%s", want.row, want.column, want.sentence, lines(r))
			}
		}
	})
}

func TestImport_HandsBackTheRestAsASheetThatImportsAgain(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	src := openSheet(t, goodAndBad)
	var rest bytes.Buffer
	back := exchange.NewGiveBack(&rest, src.Info)
	_, err := s.Import(context.Background(), now, me, src, store.ImportOptions{Kind: src.Kind, TakeGood: true, Refused: back.Row})
	if err := errors.Join(err, back.Flush()); err != nil {
		t.Fatal(err)
	}
	if back.Rows() != 5 {
		t.Fatalf("%d rows came back, want 5:\n%s", back.Rows(), rest.String())
	}
	mended := strings.NewReplacer(";-3;", ";275;", "A-2;;", "A-2;P9;", "32.05.2024", "31.05.2024", "A-4;P1;EN 853 2SN;12;275;;;", "A-4;P1;EN 853 2SN;12;275;3Q23;2024-06-01;", ";250;", ";275;").Replace(rest.String())
	r := mustImport(t, s, mended, store.ImportOptions{})
	if r.Added != 4 || r.Same != 1 {
		t.Errorf("the mended rest is taken otherwise:\n%s\n%s", lines(r), mended)
	}
}

func TestImport_OneChangeRowPerThingAndOneForTheFile(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	r := mustImport(t, s, "Machine;Position;Assembly;Type;DN;Made;Fitted\nA-1;P1;X;EN 853 2SN;12;3Q23;2024-01-01\n", store.ImportOptions{FileName: "list.csv"})
	rows, err := s.Raw().Query("SELECT entity, action, origin, import_id FROM changes ORDER BY seq")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var got []string
	for rows.Next() {
		var entity, action, origin string
		var id int64
		if err := rows.Scan(&entity, &action, &origin, &id); err != nil {
			t.Fatal(err)
		}
		if origin != string(register.FromImport) || id != r.ImportID {
			t.Errorf("%s came through %q, import %d", entity, origin, id)
		}
		got = append(got, entity+" "+action)
	}
	want := []string{"sites added", "machines added", "positions added", "assemblies added", "placements added", "imports added"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	changesLogged(t, s)
}

// TestImport_FilesAsPeopleSendThem takes the good rows of every file of
// testdata/import: nothing may end in anything but rows taken, rows refused
// with a sentence, or a file refused with one.
func TestImport_FilesAsPeopleSendThem(t *testing.T) {
	names, err := filepath.Glob(filepath.Join("..", "..", "testdata", "import", "*"))
	if err != nil || len(names) < 12 {
		t.Fatal(err, names)
	}
	s := open(t, address(t, store.SQLite))
	for _, path := range names {
		if strings.HasSuffix(path, ".golden") {
			continue
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		src, err := exchange.Open(bytes.NewReader(b), int64(len(b)), exchange.Options{Today: day("2026-11-25")})
		if err != nil {
			continue // said in one sentence, as package exchange tests
		}
		before := tables(t, s)
		r, err := s.Import(context.Background(), now, me, src, store.ImportOptions{Kind: src.Kind, TakeGood: true, Site: "Tarnbeck"})
		var no *register.Error
		if err != nil && !errors.As(err, &no) {
			t.Errorf("%s: %v", filepath.Base(path), err)
		}
		if err != nil && tables(t, s) != before {
			t.Errorf("%s: a file that is refused left something behind", filepath.Base(path))
		}
		if r.Added+r.Changed+r.Same+r.Refused+r.Asked != r.Rows {
			t.Errorf("%s: rows are lost:\n%s", filepath.Base(path), lines(r))
		}
		_ = src.Close()
	}
	got := tables(t, s)
	for _, text := range []string{"<script>alert(1)</script>", "'); DROP TABLE machines;--", `=HYPERLINK("http://x","y")`, "@SUM(A1)", "Bürste vorne links"} {
		if !strings.Contains(got, text) {
			t.Errorf("%q was not kept as it stood", text)
		}
	}
	for _, kind := range exchange.Kinds() { // texts like formulas must come back as they went
		mustImport(t, s, exported(t, s, kind), store.ImportOptions{})
	}
}

// broken is a source that fails in the middle.
type broken struct {
	rows []register.ImportRow
	err  error
}

func (b *broken) Next() (register.ImportRow, error) {
	if len(b.rows) == 0 {
		return register.ImportRow{}, b.err
	}
	r := b.rows[0]
	b.rows = b.rows[1:]
	return r, nil
}

func TestImport_AFileThatBreaksOffLeavesNothing(t *testing.T) {
	s := open(t, address(t, store.SQLite))
	row := register.ImportRow{Number: 2, Machine: &register.MachineRow{Code: "A-1"}}
	_, err := s.Import(context.Background(), now, me, &broken{rows: []register.ImportRow{row}, err: io.ErrUnexpectedEOF}, store.ImportOptions{Kind: register.ImportMachines})
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("got %v", err)
	}
	if codes, _ := s.MachineCodes(context.Background()); len(codes) != 0 {
		t.Errorf("left behind: %v", codes)
	}
}

func TestHeaderChoice_IsKeptForASetOfHeaders(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		hash := exchange.HeaderHash([]string{"Maschine", "Position", "Kundenfeld 7"})
		if m, err := s.HeaderChoice(ctx, register.ImportHoses, hash); err != nil || m != nil {
			t.Fatalf("something is known of new headers: %v %v", m, err)
		}
		for _, want := range []map[string]string{{"Kundenfeld 7": "rated_bar@psi"}, {"Kundenfeld 7": ""}} {
			if err := s.SaveHeaderChoice(ctx, register.ImportHoses, hash, want); err != nil {
				t.Fatal(err)
			}
			got, err := s.HeaderChoice(ctx, register.ImportHoses, exchange.HeaderHash([]string{"POSITION", "kundenfeld-7", "Maschine"}))
			if err != nil || !cmp.Equal(got, want) {
				t.Errorf("kept %v, got %v %v", want, got, err)
			}
		}
		if m, err := s.HeaderChoice(ctx, register.ImportReadings, hash); err != nil || m != nil {
			t.Errorf("the choice holds for another kind: %v %v", m, err)
		}
	})
}
