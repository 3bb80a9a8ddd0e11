package store_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// assemblyCodes are the codes a filter chooses, page by page.
func assemblyCodes(t testing.TB, s *store.Store, f register.AssemblyFilter) []string {
	t.Helper()
	var out []string
	for {
		page, err := s.Assemblies(context.Background(), now, f)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range page.Lines {
			out = append(out, l.Assembly.Code)
		}
		if page.Next == "" {
			if f.After == "" && page.Total != len(out) {
				t.Errorf("%+v: counted %d of %d", f, page.Total, len(out))
			}
			return out
		}
		f.After = page.Next
	}
}

func TestAssemblies_EachFilterChooses(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yardForSearch(t, s)
		for _, c := range []struct {
			why  string
			f    register.AssemblyFilter
			want string
		}{
			{"all, by code", register.AssemblyFilter{}, "H-1 H-2 H-3 OLD-4"},
			{"fitted", register.AssemblyFilter{Where: "fitted"}, "H-1 H-2"},
			{"in store", register.AssemblyFilter{Where: "in store"}, "H-3"},
			{"scrapped", register.AssemblyFilter{Where: "scrapped"}, "OLD-4"},
			{"a site: what is fitted or kept there", register.AssemblyFilter{Site: "depot"}, "H-1 H-3 OLD-4"},
			{"another site", register.AssemblyFilter{Site: "Quarry Süd"}, "H-2"},
			{"a site that is not there", register.AssemblyFilter{Site: "Moon"}, ""},
			{"part of a designation", register.AssemblyFilter{Designation: "853"}, "H-1 H-3 OLD-4"},
			{"a nominal size", register.AssemblyFilter{DN: 8}, "H-3 OLD-4"},
			{"a text, as search finds it", register.AssemblyFilter{Text: "truck lift"}, "H-1"},
			{"a letter begins a code", register.AssemblyFilter{Text: "o"}, "OLD-4"},
			{"several at once", register.AssemblyFilter{Where: "in store", DN: 8, Text: "1sn"}, "H-3"},
		} {
			for _, limit := range []int{0, 1, 2} {
				c.f.Limit = limit
				if got := strings.Join(assemblyCodes(t, s, c.f), " "); got != c.want {
					t.Errorf("%s, %d a page: %q, want %q", c.why, limit, got, c.want)
				}
			}
		}
	})
}

func TestAssemblies_RefusesWhatCannotBeMeant(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		for _, f := range []register.AssemblyFilter{{Where: "lost"}, {After: "???"}, {After: "e30"}} {
			if _, err := s.Assemblies(context.Background(), now, f); !refusal(err) {
				t.Errorf("%+v: %v, want a refusal", f, err)
			}
		}
		for _, f := range []register.PositionFilter{{After: "???"}, {After: "WzFd"}} {
			if _, err := s.Positions(context.Background(), now, f); !refusal(err) {
				t.Errorf("%+v: %v, want a refusal", f, err)
			}
		}
	})
}

func TestAssemblies_SayWhereTheyAreAndHowTheyStand(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		old := hose("H-OLD")
		old.Assembly.Made.From, old.Assembly.Made.To = day("2016-04-01"), day("2016-04-01")
		old.Assembly.Assembled = old.Assembly.Made
		apply(t, s, old)
		page, err := s.Assemblies(context.Background(), now, register.AssemblyFilter{})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, l := range page.Lines {
			got = append(got, fmt.Sprintf("%s: %s %s %s, %s, fitted %d times, %d warnings", l.Assembly.Code, l.Site, l.Machine, l.Position, l.Status, l.Placements, len(l.Warnings)))
			sheet, err := s.AssemblySheet(context.Background(), now, l.Assembly.Code)
			if err != nil {
				t.Fatal(err)
			}
			if l.Status != sheet.Status {
				t.Errorf("%s is %q on the list, %q on its own page", l.Assembly.Code, l.Status, sheet.Status)
			}
			if d := cmp.Diff(sheet.Store, l.Warnings); d != "" {
				t.Errorf("%s: warnings of its own page (-) and of the list (+):\n%s", l.Assembly.Code, d)
			}
			if sheet.Line != nil && (sheet.Line.Estimate.ActBy != l.ActBy || sheet.Line.Incomplete() != l.Incomplete) {
				t.Errorf("%s: act by %s, incomplete %v, want those of its page", l.Assembly.Code, l.ActBy, l.Incomplete)
			}
		}
		for _, want := range []string{
			"H-B: Depot  , removed, fitted 1 times, 0 warnings",
			"H-C: Depot RT-01 return, ",
			"H-OLD: Depot  , in store, fitted 0 times, 1 warnings",
		} {
			if !slices.ContainsFunc(got, func(l string) bool { return strings.HasPrefix(l, want) }) {
				t.Errorf("no line %q in\n%s", want, strings.Join(got, "\n"))
			}
		}
	})
}

// TestLists_CountUpToAThousand holds the counts of long lists to what they say.
func TestLists_CountUpToAThousand(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "many.db"))
	crowd(t, s, 1100)
	ctx := context.Background()
	a, err1 := s.Assemblies(ctx, now, register.AssemblyFilter{})
	p, err2 := s.Positions(ctx, now, register.PositionFilter{})
	if err1 != nil || err2 != nil || a.Total != 1000 || !a.More || p.Total != 1000 || !p.More {
		t.Errorf("assemblies %d more %v, positions %d more %v, %v %v", a.Total, a.More, p.Total, p.More, err1, err2)
	}
	if a, err := s.Assemblies(ctx, now, register.AssemblyFilter{Where: "in store"}); err != nil || a.Total != 0 || a.More {
		t.Errorf("in store %d more %v, %v", a.Total, a.More, err)
	}
	all, err := s.PositionIDs(ctx, register.PositionFilter{})
	if err != nil || len(all) != 1100 {
		t.Errorf("%d positions, %v", len(all), err)
	}
}

func BenchmarkLists(b *testing.B) {
	s := open(b, filepath.Join(b.TempDir(), "bench.db"))
	crowd(b, s, promised)
	ctx := context.Background()
	if err := s.MakeFinds(ctx); err != nil {
		b.Fatal(err)
	}
	yes := true
	for _, f := range []register.AssemblyFilter{{}, {Where: "fitted"}, {Where: "in store"}, {Where: "scrapped"}, {Site: "Depot"}, {Designation: "2SN"}, {Designation: "none"}, {Text: "m-12 p3"}, {Text: "2sn"}} {
		b.Run(fmt.Sprintf("assemblies %+v", f), func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Assemblies(ctx, now, f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	for _, f := range []register.PositionFilter{{}, {Machine: "M-77"}, {Circuit: "lift"}, {Empty: true}, {CanHurt: &yes}, {Exposed: &yes}, {Text: "m-12 p3"}, {Text: "2sn"}, {Policy: life.NormalDemand().Name}} {
		b.Run(fmt.Sprintf("positions %+v", f), func(b *testing.B) {
			for b.Loop() {
				if _, err := s.Positions(ctx, now, f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
