package server_test

import (
	"testing"

	"golang.org/x/net/html"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
	"hoseward/web"
)

// earlyLine is a line of the demo fleet whose date is the earliest of its band
// and not the likely one.
func (s *site) earlyLine() register.Line {
	s.t.Helper()
	page, err := s.store.Lines(s.t.Context(), now, register.LineFilter{CanHurt: true, Limit: 1000})
	if err != nil {
		s.t.Fatal(err)
	}
	for _, l := range page.Lines {
		if e := l.Estimate; !e.ActBy.IsZero() && e.ActBy != e.Due && !e.Due.IsZero() {
			return l
		}
	}
	s.t.Fatal("the demo fleet has no line whose earliest date counts")
	return register.Line{}
}

// The clock that governs the likely date does not govern the earliest one.
func TestDates_TheEarliestIsNotSaidToBeTheClocks(t *testing.T) {
	s := demoFleet(t)
	l := s.earlyLine()
	likely := "likely " + l.Estimate.Due.String() + " by the " + string(l.Estimate.Governing) + " clock"
	page := testkit.HTML(t, want(t, s.get(web.Path("assemblies", l.AssemblyCode)), 200).Body,
		testkit.In(".verdict", testkit.Text(l.Estimate.ActBy.String()+" is the earliest of the band"), testkit.Text("because a burst here can hurt someone; "+likely)),
		testkit.In("svg.strip desc", testkit.Text("due "+l.Estimate.ActBy.String()+", the earliest of the band, "+likely)),
		testkit.In("table.clocks .governs", testkit.Text("governs the likely date")))
	if err := testkit.Text("Governed by the")(testkit.Find(page, ".verdict")[0]); err == nil {
		t.Error("the assembly's page says that a clock governs the earliest date")
	}
	row := func(page *html.Node, selector string) *html.Node {
		for _, n := range testkit.Find(page, selector) {
			if testkit.Text(l.AssemblyCode)(n) == nil {
				return n
			}
		}
		t.Fatalf("no %s of %s", selector, l.AssemblyCode)
		return nil
	}
	for path, selector := range map[string]string{"/due?machine=" + l.MachineCode: "table.due tr", web.Path("machines", l.MachineCode): ".positions li"} {
		n := row(testkit.HTML(t, want(t, s.get(path), 200).Body), selector)
		if err := testkit.Text("the earliest of the band; " + likely)(n); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		if testkit.Text("% used")(n) == nil {
			t.Errorf("%s: a used share stands beside a date it does not lead to", path)
		}
	}
}

func TestUsed_IsNotAllBeforeItsDate(t *testing.T) {
	today := day("2026-11-25")
	for _, c := range []struct {
		why  string
		used float64
		due  quantity.Date
		want string
	}{
		{"nearly all before the date", 0.9995, today.AddDays(1), "99 %"},
		{"all by rounding before the date", 1, today.AddDays(1), "99 %"},
		{"all on the date", 1, today, "100 %"},
		{"more behind it", 1.2, today.AddDays(-90), "120 %"},
		{"half", 0.5, today.AddDays(900), "50 %"},
	} {
		if got := server.UsedText(&c.used, c.due, today); got != c.want {
			t.Errorf("%s: %q, want %q", c.why, got, c.want)
		}
	}
}
