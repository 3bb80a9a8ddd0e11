package store_test

import (
	"context"
	"strings"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/store"
)

// positionNames are the positions a filter chooses, page by page.
func positionNames(t testing.TB, s *store.Store, f register.PositionFilter) []string {
	t.Helper()
	var out []string
	for {
		page, err := s.Positions(context.Background(), now, f)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range page.Lines {
			out = append(out, l.MachineCode+"/"+l.Name)
		}
		if page.Next == "" {
			all, err := s.PositionIDs(context.Background(), f)
			if err != nil || len(all) != len(out) {
				t.Errorf("%+v: %d ids of %d positions, %v", f, len(all), len(out), err)
			}
			return out
		}
		f.After = page.Next
	}
}

func TestPositions_EachFilterChooses(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		yardForSearch(t, s)
		apply(t, s, register.AddPosition{Machine: "RT-01", Name: "return", WalkOrder: 1, Exposed: true, Policy: "heightened demand"})
		yes, no := true, false
		for _, c := range []struct {
			why  string
			f    register.PositionFilter
			want string
		}{
			{"all, by machine and walking order", register.PositionFilter{}, "EX-02/boom raise, EX-02/boom lower, RT-01/lift left, RT-01/return, RT-01/lift right"},
			{"a site", register.PositionFilter{Site: "depot"}, "RT-01/lift left, RT-01/return, RT-01/lift right"},
			{"a machine", register.PositionFilter{Machine: "ex-02"}, "EX-02/boom raise, EX-02/boom lower"},
			{"a kind of machine", register.PositionFilter{Kind: "excavator"}, "EX-02/boom raise, EX-02/boom lower"},
			{"a circuit", register.PositionFilter{Circuit: "LIFT"}, "RT-01/lift left, RT-01/lift right"},
			{"a policy of its own", register.PositionFilter{Policy: "heightened demand"}, "RT-01/return"},
			{"the policy of the site counts too", register.PositionFilter{Policy: "normal demand", Site: "Depot"}, "RT-01/lift left, RT-01/lift right"},
			{"without a hose", register.PositionFilter{Empty: true}, "EX-02/boom lower, RT-01/return, RT-01/lift right"},
			{"where a burst can hurt", register.PositionFilter{CanHurt: &yes}, "RT-01/lift right"},
			{"where none can", register.PositionFilter{CanHurt: &no, Site: "Depot"}, "RT-01/lift left, RT-01/return"},
			{"exposed", register.PositionFilter{Exposed: &yes}, "RT-01/return"},
			{"not exposed", register.PositionFilter{Exposed: &no, Machine: "RT-01"}, "RT-01/lift left, RT-01/lift right"},
			{"a text of what is fitted there", register.PositionFilter{Text: "4sp"}, "EX-02/boom raise"},
			{"a text of the place itself", register.PositionFilter{Text: "boom"}, "EX-02/boom raise, EX-02/boom lower"},
			{"two letters begin a machine's code", register.PositionFilter{Text: "rt"}, "RT-01/lift left, RT-01/return, RT-01/lift right"},
		} {
			for _, limit := range []int{0, 1, 2} {
				c.f.Limit = limit
				if got := strings.Join(positionNames(t, s, c.f), ", "); got != c.want {
					t.Errorf("%s, %d a page: %q, want %q", c.why, limit, got, c.want)
				}
			}
		}
	})
}

func TestPositions_SayWhatSitsThere(t *testing.T) {
	onBoth(t, func(t *testing.T, s *store.Store) {
		fill(t, s)
		page, err := s.Positions(context.Background(), now, register.PositionFilter{})
		if err != nil || len(page.Lines) != 3 {
			t.Fatal(len(page.Lines), err)
		}
		lines, err := s.Lines(context.Background(), now, register.LineFilter{})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range lines.Lines {
			at := -1
			for i, p := range page.Lines {
				if p.Name == l.Position {
					at = i
				}
			}
			if at < 0 {
				t.Errorf("%s is not on the list", l.Position)
				continue
			}
			p := page.Lines[at]
			if p.AssemblyCode != l.AssemblyCode || p.Status != l.Status || p.ActBy != l.Estimate.ActBy || p.Circuit != l.Circuit || p.Site != l.Site {
				t.Errorf("%+v does not say what the due list says, %+v", p, l)
			}
		}
		if p := page.Lines[2]; p.Policy != "night shift" || !p.Exposed || p.CanHurt || page.Lines[1].Policy != "" || !page.Lines[1].CanHurt {
			t.Errorf("%+v", page.Lines)
		}
	})
}
