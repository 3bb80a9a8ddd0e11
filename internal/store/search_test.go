package store_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// yardForSearch has two sites with a machine each, a hose in store, one thrown
// away, and an empty position.
func yardForSearch(t testing.TB, s *store.Store) {
	t.Helper()
	made := func(site, code, designation string, dn, dash int, layline, maker string) register.AddAssembly {
		return register.AddAssembly{Site: site, Assembly: register.Assembly{
			Code: code, Designation: designation, DN: dn, Dash: dash, Layline: layline, Maker: maker, Made: quantity.Day(day("2024-04-01")), Assembled: quantity.Day(day("2024-06-18")),
		}}
	}
	apply(t, s, depot()...)
	apply(t, s,
		register.AddSite{Name: "Quarry Süd", Zone: "UTC"},
		register.AddMachine{Site: "Quarry Süd", Code: "EX-02", Name: "Crawler", Kind: "excavator", Serial: "SN-9917"},
		register.AddPosition{Machine: "EX-02", Circuit: "boom", Name: "boom raise"},
		register.AddPosition{Machine: "EX-02", Circuit: "boom", Name: "boom lower"},
		made("Depot", "H-1", "EN 853 2SN", 12, 8, "INVENTED 2SN 1/2 275 BAR 2Q24", "Invented Hose"), fit("H-1", "lift left", "2024-07-02"),
		made("Quarry Süd", "H-2", "EN 856 4SP", 31, 20, "", ""), register.Fit{AssemblyCode: "H-2", Machine: "EX-02", Position: "boom raise", On: day("2024-07-02")},
		made("Depot", "H-3", "EN 853 1SN", 8, 5, "", ""),
		made("Depot", "OLD-4", "EN 853 1SN", 8, 5, "", ""), fit("OLD-4", "lift right", "2024-07-02"),
		register.Remove{AssemblyCode: "OLD-4", On: day("2025-01-02"), Cause: register.CausePlanned, FoundBy: register.FoundByInspection, Scrapped: true},
	)
}

// found says in short what a search found.
func found(t testing.TB, s *store.Store, text string) string {
	t.Helper()
	f, err := s.Search(context.Background(), now, text, 0)
	if err != nil {
		t.Fatalf("search %q: %v", text, err)
	}
	var out []string
	for _, m := range f.Machines {
		out = append(out, m.Code)
	}
	for _, a := range f.Assemblies {
		out = append(out, a.Code)
	}
	for _, p := range f.Positions {
		out = append(out, p.Code+"/"+p.Position)
	}
	text = strings.Join(out, " ")
	if f.Only != nil {
		text = "only " + text
	}
	return text
}

func TestSearch_FindsByAnyWord(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yardForSearch(t, s)
		for _, c := range []struct{ why, text, want string }{
			{"an exact code leads to its one thing", "H-1", "only H-1"},
			{"the case of the letters does not matter", "rt-01", "only RT-01"},
			{"part of a code", "X-0", "EX-02 H-2 EX-02/boom lower"},
			{"one letter begins a code", "h", "H-1 H-2 H-3"},
			{"two letters begin a code", "ol", "OLD-4"},
			{"a fragment of the layline", "275 bar 2q", "H-1"},
			{"the maker", "invented hose", "H-1"},
			{"a machine's name finds what is on it too", "truck one", "RT-01 H-1 RT-01/lift right"},
			{"a machine's serial number", "9917", "EX-02"},
			{"a site, letters of other scripts in either case", "SÜD", "EX-02 H-2 EX-02/boom lower"},
			{"a position", "boom low", "EX-02/boom lower"},
			{"several words, in any order, all must match", "raise ex-02", "H-2"},
			{"a word that nothing has", "raise nothing", ""},
			{"a designation", "2sn", "H-1"},
			{"a nominal size", "DN 12", "H-1"},
			{"a nominal size in one word", "dn8", "H-3 OLD-4"},
			{"a trade name of a nominal size: DN 13 is DN 12", "DN 13", "H-1"},
			{"no part of a number is a size", "DN 3", ""},
			{"a dash size", "-8", "H-1"},
			{"a size in inches", `1/2"`, "H-1"},
			{"a size of one inch and a part", "1 1/4", "H-2"},
			{"a size with a place", "-20 quarry", "H-2"},
			{"a hose in store is found at its site", "1sn depot", "H-3 OLD-4"},
			{"nothing but space", "  ", ""},
			{"nothing of that name", "zzzz", ""},
		} {
			if got := found(t, s, c.text); got != c.want {
				t.Errorf("%s: %q finds %q, want %q", c.why, c.text, got, c.want)
			}
		}
	})
}

func TestSearch_SaysWhatAndWhereAThingIs(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yardForSearch(t, s)
		f, err := s.Search(context.Background(), now, "en 85", 0)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, a := range f.Assemblies {
			got = append(got, fmt.Sprintf("%s: %s, %s", a.Code, a.Where, a.Status))
		}
		slices.Sort(got)
		for i, want := range []string{"H-1: RT-01 lift left, ", "H-2: EX-02 boom raise, ", "H-3: Depot, in store", "OLD-4: Depot, removed"} {
			if i >= len(got) || !strings.HasPrefix(got[i], want) {
				t.Errorf("got %q, want %q", got, want)
			}
		}
	})
}

func TestSearch_ACodeAnAssemblyHadBeforeLeadsToIt(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yardForSearch(t, s)
		sheet, err := s.AssemblySheet(context.Background(), now, "H-3")
		if err != nil {
			t.Fatal(err)
		}
		a := sheet.Assembly
		a.Code = "NEW-3"
		apply(t, s, register.ChangeAssembly{Assembly: a})
		if got := found(t, s, "h-3"); got != "only NEW-3" {
			t.Errorf("the old code finds %q", got)
		}
		if got := found(t, s, "new-"); got != "NEW-3" {
			t.Errorf("part of the new code finds %q", got)
		}
	})
}

func TestSearch_AtMostSoManyAndSaysThereAreMore(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		var cmds []register.Command
		for i := range 30 {
			cmds = append(cmds, hose(fmt.Sprintf("K-%02d", i)))
		}
		apply(t, s, cmds...)
		f, err := s.Search(context.Background(), now, "2sn", 25)
		if err != nil || len(f.Assemblies) != 25 || !f.More {
			t.Errorf("%d found, more %v, %v", len(f.Assemblies), f.More, err)
		}
		f, err = s.Search(context.Background(), now, "2sn", 30)
		if err != nil || len(f.Assemblies) != 30 || f.More {
			t.Errorf("%d found, more %v, %v", len(f.Assemblies), f.More, err)
		}
	})
}

// hostile texts are what an attacker or a cat on the keyboard types.
func hostile() []string {
	return []string{
		`"`, `""`, `"a`, `a"b"c`, `'; DROP TABLE machines; --`, "*", "a*", "NEAR(a b)", "abc NEAR/2 def", "AND", "abc AND", "OR NOT", "NOT abc", "text: abc", "^abc", "{text}: abc",
		"%", "%%%", "_", "___", `\`, `\\\`, `\%abc`, "(", ")", "((((", "abc)", "+", "abc + def", "-", "--", "-abc", ":", "?", "$1", "a\x00b", "\x00", "\x1b[31m", "abc\r\ndef", "\xff\xfe", "abc\xffdef",
		"\u202eabc", "שלום עולם", "Привет мир", "液压软管", "🚛🚛🚛", "e\u0301e\u0301e\u0301", "İİİ", "ẞßſ", "ǅǅǅ", strings.Repeat("a", 100000), strings.Repeat("ab ", 50000), strings.Repeat(`"`, 3000), strings.Repeat("% ", 300),
		"dn", "dn dn dn", "dn 999", "dn99999999999999999999", "-99", "99/99", "1/0", "1 1/0", "<script>alert(1)</script>",
	}
}

func TestSearch_HostileTextsAreNeverAnError(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		yardForSearch(t, s)
		for _, text := range hostile() {
			if _, err := s.Search(ctx, now, text, 0); err != nil {
				t.Errorf("search %.60q: %v", text, err)
			}
			if _, err := s.Assemblies(ctx, now, register.AssemblyFilter{Text: text, Designation: text, Site: text}); err != nil && !refusal(err) {
				t.Errorf("assemblies with %.60q: %v", text, err)
			}
			if _, err := s.Positions(ctx, now, register.PositionFilter{Text: text, Circuit: text, Policy: text}); err != nil && !refusal(err) {
				t.Errorf("positions with %.60q: %v", text, err)
			}
		}
	})
}

// refusal reports whether an error is the register's own sentence.
func refusal(err error) bool {
	var no *register.Error
	return errors.As(err, &no)
}

func TestSearch_SignsAreLettersLikeOthers(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		apply(t, s, depot()...)
		for _, code := range []string{`A"B"C`, "100%X", "100_X", "A*B*C", `C:\D\E`} {
			apply(t, s, hose(code))
		}
		for text, want := range map[string]string{`"b"`: `A"B"C`, "00%": "100%X", "00_": "100_X", "*b*": "A*B*C", `:\d`: `C:\D\E`, "0_x": "100_X"} {
			if got := found(t, s, text); got != want {
				t.Errorf("%q finds %q, want %q", text, got, want)
			}
		}
	})
}

func FuzzPieces(f *testing.F) {
	for _, text := range hostile() {
		f.Add(text)
	}
	f.Add("RT-04 dn 12 1 1/4 -8")
	f.Fuzz(func(t *testing.T, text string) {
		for _, p := range store.Pieces(text) {
			if !utf8.ValidString(p) || strings.ContainsFunc(p, func(r rune) bool { return r < ' ' }) {
				t.Errorf("%q gives a piece %q", text, p)
			}
			if utf8.RuneCountInString(p) < 3 || strings.TrimSpace(p) == "" {
				t.Errorf("%q gives a piece %q too short for an index of three letters", text, p)
			}
		}
	})
}

// TestFinds_AreAlwaysWhatTheyWouldBeMadeAnew changes a register at random and
// holds the texts search looks in to those made from scratch.
func TestFinds_AreAlwaysWhatTheyWouldBeMadeAnew(t *testing.T) {
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) {
			ctx := context.Background()
			s := open(t, address(t, engine))
			fill(t, s)
			taken, n, runs := 0, 0, 0
			rapid.Check(t, func(r *rapid.T) {
				if runs++; runs > 30 && engine == store.Postgres {
					return // each run makes all texts anew, and a server takes its time
				}
				for range rapid.IntRange(1, 4).Draw(r, "changes") {
					n++
					_, err := s.Apply(ctx, now, me, someChange(r, s, n)...)
					if err != nil && !refusal(err) {
						r.Fatal(err)
					}
					if err == nil {
						taken++
					}
				}
				had, err1 := s.Finds(ctx)
				err2 := s.MakeFinds(ctx)
				made, err3 := s.Finds(ctx)
				if err := errors.Join(err1, err2, err3); err != nil {
					r.Fatal(err)
				}
				if d := cmp.Diff(made, had); d != "" {
					r.Fatalf("made anew (-) and kept (+):\n%s", d)
				}
			})
			if taken < 25 {
				t.Errorf("only %d of %d changes were taken: the test proves little", taken, n)
			}
		})
	}
}

// someChange is a list of commands that may or may not be taken.
func someChange(r *rapid.T, s *store.Store, n int) []register.Command {
	ctx := context.Background()
	word := rapid.SampledFrom([]string{"alpha", "beta", "gamma", "delta"})
	name := fmt.Sprintf("%s %d", word.Draw(r, "name"), n)
	machinesNow, _, err := s.MachineLines(ctx, now, register.MachineFilter{})
	if err != nil {
		r.Fatal(err)
	}
	m := rapid.SampledFrom(machinesNow).Draw(r, "machine").Machine
	positions, err := s.Positions(ctx, now, register.PositionFilter{Machine: m.Code})
	if err != nil {
		r.Fatal(err)
	}
	sheet, err := s.MachineSheet(ctx, now, m.Code)
	if err != nil {
		r.Fatal(err)
	}
	hoses, err := s.Assemblies(ctx, now, register.AssemblyFilter{})
	if err != nil {
		r.Fatal(err)
	}
	a := rapid.SampledFrom(hoses.Lines).Draw(r, "assembly")
	position := "none"
	if len(positions.Lines) > 0 {
		position = rapid.SampledFrom(positions.Lines).Draw(r, "position").Name
	}
	switch rapid.IntRange(0, 11).Draw(r, "what") {
	case 0:
		return []register.Command{register.AddSite{Name: name, Zone: "UTC"}, register.AddMachine{Site: name, Code: "M " + name, Name: name}, register.AddPosition{Machine: "M " + name, Name: "first"}}
	case 1:
		m.Name = name
		return []register.Command{register.ChangeMachine{Machine: m}}
	case 2:
		return []register.Command{register.AddPosition{Machine: m.Code, Circuit: word.Draw(r, "circuit"), Name: name}}
	case 3:
		if len(sheet.Circuits) > 0 {
			c := rapid.SampledFrom(sheet.Circuits).Draw(r, "circuit")
			c.Name = name
			return []register.Command{register.ChangeCircuit{Circuit: c}}
		}
		return []register.Command{register.AddCircuit{Machine: m.Code, Name: name}}
	case 4:
		return []register.Command{hose(fmt.Sprintf("F-%d", n)), register.Fit{Machine: m.Code, Position: position, On: day("2026-10-01")}}
	case 5:
		return []register.Command{register.Remove{AssemblyCode: a.Assembly.Code, On: day("2026-11-01"), Cause: register.CausePlanned, FoundBy: register.FoundByEvent, Scrapped: rapid.Bool().Draw(r, "scrapped")}}
	case 6:
		a.Assembly.Layline, a.Assembly.DN, a.Assembly.Dash = name, 16, 10
		return []register.Command{register.ChangeAssembly{Assembly: a.Assembly}}
	case 7:
		site := sheet.Site
		site.Name = name
		return []register.Command{register.ChangeSite{Site: site}}
	case 8:
		return []register.Command{register.RetirePosition{Machine: m.Code, Position: position, On: day("2026-11-20"), Reason: "rebuilt"}}
	case 9:
		if len(machinesNow) < 3 {
			return []register.Command{register.AddMachine{Site: sheet.Site.Name, Code: "X " + name}}
		}
		return []register.Command{register.RetireMachine{Machine: m.Code, On: day("2026-11-20"), Reason: "sold"}}
	case 10:
		kind := name
		return []register.Command{register.ChangeMachines{Machines: []int64{m.ID}, Kind: &kind}}
	}
	circuit := name
	var all []int64
	for _, p := range positions.Lines {
		all = append(all, p.ID)
	}
	return []register.Command{register.ChangePositions{Positions: all, Circuit: &circuit}}
}

// Renaming what others hold and changing what is held at the same moment must
// not leave a text of the one that lacks the other.
func TestFinds_TwoWhoChangeAtOnce(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		fill(t, s)
		ended := make(chan error, 3)
		go func() {
			for i := range 15 {
				site, err := s.Site(ctx, siteNamed(i))
				if err == nil {
					site.Name = siteNamed(i + 1)
					_, err = s.Apply(ctx, now, me, register.ChangeSite{Site: site})
				}
				if err != nil {
					ended <- fmt.Errorf("rename %d: %w", i, err)
					return
				}
			}
			ended <- nil
		}()
		for _, code := range []string{"H-A", "H-D"} {
			go func() {
				for i := range 15 {
					sheet, err := s.AssemblySheet(ctx, now, code)
					if err == nil {
						sheet.Assembly.Layline = fmt.Sprintf("layline %d", i)
						_, err = s.Apply(ctx, now, me, register.ChangeAssembly{Assembly: sheet.Assembly})
					}
					if err != nil {
						ended <- fmt.Errorf("change %s: %w", code, err)
						return
					}
				}
				ended <- nil
			}()
		}
		for range 3 {
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
		had, err1 := s.Finds(ctx)
		err2 := s.MakeFinds(ctx)
		made, err3 := s.Finds(ctx)
		if err := errors.Join(err1, err2, err3); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(made, had); d != "" {
			t.Errorf("made anew (-) and kept (+):\n%s", d)
		}
	})
}

func siteNamed(i int) string {
	if i == 0 {
		return "Depot"
	}
	return fmt.Sprintf("Depot %d", i)
}

func TestFinds_KeepStepWithImportAndItsUndoing(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		ctx := context.Background()
		fill(t, s)
		same := func(when string) {
			t.Helper()
			had, err1 := s.Finds(ctx)
			err2 := s.MakeFinds(ctx)
			made, err3 := s.Finds(ctx)
			if err := errors.Join(err1, err2, err3); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(made, had); d != "" {
				t.Errorf("%s: made anew (-) and kept (+):\n%s", when, d)
			}
		}
		r := mustImport(t, s, "Machine;Machine name;Site;Position;Assembly;Type;DN;Made;Fitted\nRT-01;Renamed truck;Depot;lift left;H-A;EN 853 2SN;12;2Q24;2024-07-02\nZZ-9;Zed;Depot;boom;Z-1;EN 856 4SP;20;2Q24;2024-07-02\n", store.ImportOptions{})
		if r.Added+r.Changed == 0 {
			t.Fatal(lines(r))
		}
		same("after the import")
		if got := found(t, s, "zed boom"); got != "Z-1" {
			t.Errorf("what was imported: %q", got)
		}
		if _, err := s.UndoImport(ctx, now, me, r.ImportID); err != nil {
			t.Fatal(err)
		}
		same("after its undoing")
		if got := found(t, s, "zed boom"); got != "" {
			t.Errorf("what was undone is still found: %q", got)
		}
	})
}

func TestMigrate_FillsTheTextsOfAFilledRegister(t *testing.T) {
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) {
			ctx := context.Background()
			s := open(t, address(t, engine))
			fill(t, s)
			before, err := s.Finds(ctx)
			if err != nil || len(before) == 0 {
				t.Fatal(len(before), err)
			}
			for _, q := range []string{"DELETE FROM find_assemblies", "DELETE FROM find_machines", "DELETE FROM find_positions", "UPDATE find_form SET form = 0"} {
				if _, err := s.Raw().Exec(q); err != nil {
					t.Fatal(err)
				}
			}
			if err := s.Migrate(ctx); err != nil {
				t.Fatal(err)
			}
			after, err := s.Finds(ctx)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(before, after); d != "" {
				t.Error(d)
			}
		})
	}
}

// BenchmarkSearch asks a register of 1 000 and one of 100 000 the same things.
func BenchmarkSearch(b *testing.B) {
	for _, n := range []int{1000, promised} {
		s := open(b, filepath.Join(b.TempDir(), "bench.db"))
		crowd(b, s, n)
		if err := s.MakeFinds(context.Background()); err != nil {
			b.Fatal(err)
		}
		for _, text := range []string{"H-77", "M-12 P3", "2sn dn 12", "depot p17", "m-4 p7 nothing", "refuse truck"} {
			b.Run(fmt.Sprintf("%d/%s", n, text), func(b *testing.B) {
				for b.Loop() {
					if _, err := s.Search(context.Background(), now, text, 0); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
