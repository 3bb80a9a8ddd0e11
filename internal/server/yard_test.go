package server_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// lastReading is what the meter of a machine last showed, disputed readings
// told apart.
func lastReading(t testing.TB, s *site, machine string) string {
	t.Helper()
	sheet, err := s.store.MachineSheet(t.Context(), now, machine)
	if err != nil {
		t.Fatal(err)
	}
	if len(sheet.Readings) == 0 {
		return "none"
	}
	r := sheet.Readings[0]
	text := fmt.Sprintf("%g on %s", r.Hours, r.On)
	if r.Disputed {
		text += ", disputed"
	}
	return text
}

func TestYard_NotesWhatWasTypedAndSkipsWhatIsEmpty(t *testing.T) {
	s := twoSites(t)
	testkit.HTML(t, want(t, s.get("/readings"), 200).Body, testkit.Count("table.yard tbody tr", 2), testkit.Has("input[name=on][value=2026-11-25]"),
		testkit.In("table.yard", testkit.Text("5000 h on 2026-11-01"), testkit.Text("30 h a week")), testkit.Has("form[data-enter=next]"))
	page := s.wentTo(s.fill("/readings", "hours.RT-01", "5 060,5", "hours.EX-02", ""), "/readings?done=readings-noted")
	if err := testkit.In("table.yard", testkit.Text("5060.5 h on 2026-11-25"))(page); err != nil {
		t.Error(err)
	}
	if got := lastReading(t, s, "RT-01"); got != "5060.5 on 2026-11-25" {
		t.Error(got)
	}
	if got := lastReading(t, s, "EX-02"); got != "none" {
		t.Errorf("an empty field was noted: %s", got)
	}
}

func TestYard_GoodOnesAreNotedBadOnesStayWithTheirError(t *testing.T) {
	for _, c := range []struct{ why, typed, says string }{
		{"less than the last reading", "4900", "less than the last reading, 5000 h on 2026-11-01"},
		{"more than a day has", "5900", "more than 24 h a day"},
		{"no number", "many", "is not a plain number"},
		{"a number that can be two things", "812.375", "RT-01: 812.375 can be 812375 or 812.375"},
		{"below zero", "-4", "below zero"},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := twoSites(t)
			page := testkit.HTML(t, want(t, s.fill("/readings", "hours.RT-01", c.typed, "hours.EX-02", "120"), 422).Body,
				testkit.In("[role=status]", testkit.Text("1 reading is noted"), testkit.Text("1 is not")),
				testkit.In("table.yard .wrong", testkit.Text(c.says)), testkit.Has("input[name=disputed.RT-01]"), testkit.HasNot("input[name=disputed.EX-02]"))
			for _, n := range testkit.Find(page, "table.yard input") {
				switch name, value := testkit.AttrOf(n, "name"), testkit.AttrOf(n, "value"); {
				case name == "hours.RT-01" && value != c.typed:
					t.Errorf("what was typed is lost: %q", value)
				case name == "hours.EX-02" && value != "":
					t.Errorf("what is noted stands in its field still: %q", value)
				}
			}
			if got := lastReading(t, s, "EX-02"); got != "120 on 2026-11-25" {
				t.Errorf("the good one: %s", got)
			}
			if got := lastReading(t, s, "RT-01"); got != "5000 on 2026-11-01" {
				t.Errorf("the bad one was noted: %s", got)
			}
		})
	}
}

func TestYard_TheLastReadingTellsThousands(t *testing.T) {
	s := twoSites(t)
	s.wentTo(s.fill("/readings", "hours.RT-01", "5,100"), "/readings?done=readings-noted")
	if got := lastReading(t, s, "RT-01"); got != "5100 on 2026-11-25" {
		t.Error(got)
	}
}

func TestYard_ADoubtfulReadingCanBeKeptAsDisputed(t *testing.T) {
	s := twoSites(t)
	s.wentTo(s.fill("/readings", "hours.RT-01", "4900", "disputed.RT-01", "yes"), "/readings?done=readings-noted")
	if got := lastReading(t, s, "RT-01"); got != "4900 on 2026-11-25, disputed" {
		t.Error(got)
	}
}

func TestYard_WhatTheRegisterRefusesStandsAtItsField(t *testing.T) {
	s := twoSites(t)
	s.apply(register.AddReading{Machine: "RT-01", On: day("2026-11-20"), Hours: 5100})
	// A day before the last reading, more than the last one shows.
	page := testkit.HTML(t, want(t, s.fill("/readings", "on", "2026-11-10", "hours.RT-01", "5200", "hours.EX-02", "9"), 422).Body,
		testkit.In("#problems", testkit.Text("5100")), testkit.In("[role=status]", testkit.Text("1 reading is noted")))
	if n := len(testkit.Find(page, "table.yard .wrong")); n != 1 {
		t.Errorf("%d fields are wrong", n)
	}
	if got := lastReading(t, s, "EX-02"); got != "9 on 2026-11-10" {
		t.Error(got)
	}
}

func TestYard_WantsADayAndAReading(t *testing.T) {
	s := twoSites(t)
	for _, c := range []struct {
		why, says string
		over      []string
	}{
		{"no day", "Give the day", []string{"on", "", "hours.RT-01", "5050"}},
		{"a month is no day", "is not one day", []string{"on", "11/2026", "hours.RT-01", "5050"}},
		{"a day to come", "lies ahead", []string{"on", "2026-12-24", "hours.RT-01", "5050"}},
		{"nothing typed", "No reading was typed", nil},
	} {
		t.Run(c.why, func(t *testing.T) {
			page := testkit.HTML(t, want(t, s.fill("/readings", c.over...), 422).Body, testkit.In("#problems", testkit.Text(c.says)))
			for _, n := range testkit.Find(page, "input[name=hours.RT-01]") {
				if len(c.over) > 0 && testkit.AttrOf(n, "value") != "5050" {
					t.Error("what was typed is lost")
				}
			}
		})
	}
	if got := lastReading(t, s, "RT-01"); got != "5000 on 2026-11-01" {
		t.Errorf("noted %s", got)
	}
}

// In a browser Enter goes on from field to field, and sends the form only from
// the button behind the last one; what is wrong is told without a violation.
func TestYard_EnterGoesOnToTheNextField(t *testing.T) {
	s, base := listening(t, twoSitesOn)
	ctx := watched(t)
	do(t, ctx, testkit.On(testkit.SmallPhone), chromedp.Navigate(base+"/readings"))
	loaded(t, ctx)
	active := func(want string) {
		t.Helper()
		if got := run(t, ctx, chromedp.Evaluate[string](`document.activeElement.name || document.activeElement.textContent`)); got != want {
			t.Fatalf("the reader stands at %q, want %q", got, want)
		}
	}
	do(t, ctx, chromedp.Focus(chromedp.CSS("main form[data-enter] input[inputmode=decimal]")), chromedp.KeyEvent("120"))
	active("hours.EX-02")
	enter(t, ctx)
	active("hours.RT-01")
	do(t, ctx, chromedp.KeyEvent("4900"))
	enter(t, ctx)
	active("Note the readings")
	if got := lastReading(t, s, "EX-02"); got != "none" {
		t.Fatalf("sent before the button was pressed: %s", got)
	}
	enter(t, ctx)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#problems")))
	if m := run(t, ctx, chromedp.Evaluate[measured](measure)); len(m.Wide)+len(m.Small)+len(m.Forbidden) > 0 {
		t.Errorf("the page with a mistake: %+v", m)
	}
	for _, v := range axe(t, ctx, testkit.Axe(t)) {
		t.Error(v)
	}
	if got := lastReading(t, s, "EX-02"); got != "120 on 2026-11-25" {
		t.Errorf("noted %s", got)
	}
}

// twoSitesOn is twoSites for a server that listens.
func twoSitesOn(t testing.TB, settings ...setting) *site {
	t.Helper()
	return serve(t, twoSites(t).store, settings...)
}

func TestYard_SentTwiceIsNotedOnce(t *testing.T) {
	s := twoSites(t)
	page := testkit.HTML(t, want(t, s.get("/readings"), 200).Body)
	form := typed(t, page, "hours.RT-01", "5050")
	for range 2 {
		want(t, s.post("/readings", form...), http.StatusSeeOther)
	}
	sheet, err := s.store.MachineSheet(t.Context(), now, "RT-01")
	if err != nil || len(sheet.Readings) != 2 {
		t.Errorf("%d readings, %v", len(sheet.Readings), err)
	}
}

func TestYard_APageHasAHundredMachinesAndSaysWhenOneIsGone(t *testing.T) {
	s := depot(t)
	var cmds []register.Command
	for i := range 120 {
		cmds = append(cmds, register.AddMachine{Site: "Depot", Code: fmt.Sprintf("M-%03d", i)})
	}
	s.apply(cmds...)
	page := testkit.HTML(t, want(t, s.get("/readings"), 200).Body, testkit.Count("table.yard tbody tr", 100))
	next := testkit.AttrOf(testkit.Find(page, ".pager a")[0], "href")
	page = testkit.HTML(t, want(t, s.get(next), 200).Body, testkit.Count("table.yard tbody tr", 21))
	action := testkit.AttrOf(testkit.Find(page, "form[data-enter=next]")[0], "action")
	r := want(t, s.post(action, typed(t, page, "hours.M-119", "7", "hours.NO-SUCH", "8")...), 422)
	testkit.HTML(t, r.Body, testkit.In("#problems", testkit.Text("NO-SUCH"), testkit.Text("was not noted")))
	if got := lastReading(t, s, "M-119"); !strings.HasPrefix(got, "7 on") {
		t.Error(got)
	}
}
