package store_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// TestStories_TheOrderOfEntryChangesNothing takes what a random life ended with,
// enters it once as it happened and once in any order the rules take, and
// wants the same estimates, made from the same input, as the life itself left
// after all its corrections and undoings.
func TestStories_TheOrderOfEntryChangesNothing(t *testing.T) {
	var s [3]*store.Store
	for i := range s {
		s[i] = open(t, address(t, store.SQLite))
		forgetful(t, s[i])
	}
	told, entered := 0, 0
	tell(t, testkit.Stories(25), func(r *rapid.T) {
		w := newTale(t, r, s[0], map[string]int{})
		w.quick = true
		r.Repeat(w.actions())
		events, facts, exact := w.facts()
		shuffled := rapid.Permutation(facts).Draw(r, "order")
		for i, list := range [][]fact{events, shuffled} {
			empty(t, s[1+i])
			if _, err := s[1+i].Apply(context.Background(), now, me, places()...); err != nil {
				t.Fatal(err)
			}
			w.enter(s[1+i], list)
		}
		happened, anyhow := byCode(t, s[1]), byCode(t, s[2])
		if d := gocmp.Diff(happened, anyhow, sameDates); d != "" {
			r.Fatalf("entered as it happened (-) and in another order (+):\n%s\n%s", d, w.told())
		}
		if exact {
			if d := gocmp.Diff(byCode(t, s[0]), anyhow, sameDates); d != "" {
				r.Fatalf("as the life left it (-) and entered in another order (+):\n%s\n%s", d, w.told())
			}
		}
		told++
		entered += len(facts)
	})
	t.Logf("%d lives with %d facts", told, entered)
}

// byCode are the estimates of a register without the numbers it gave out.
func byCode(t *testing.T, s *store.Store) map[string]register.Estimate {
	t.Helper()
	list, err := s.Estimates(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]register.Estimate{}
	for _, e := range list {
		var code string
		if err := s.Raw().QueryRow(fmt.Sprintf("SELECT code FROM assemblies WHERE id = %d", e.AssemblyID)).Scan(&code); err != nil {
			t.Fatal(err)
		}
		e.AssemblyID, e.MachineID, e.SiteID = 0, 0, 0
		out[code] = e
	}
	return out
}

// fact is one thing to enter: commands, or the closing of a finding, which has
// to be looked for.
type fact struct {
	day   int
	what  string
	cmds  []register.Command
	close *mFinding
	code  string // of the assembly of the finding
}

// facts is what a life ended with: as it happened, fitting and removal apart,
// and as a list whose order says nothing. exact is false where something was
// left out whose meaning lies in the order of entry: what is inspected on the
// day of a swap is what was there when it was noted.
func (w *tale) facts() (events, facts []fact, exact bool) {
	m, exact := w.m, true
	both := func(day int, what string, cmds ...register.Command) {
		f := fact{day: day, what: what, cmds: cmds}
		events, facts = append(events, f), append(facts, f)
	}
	for _, id := range inOrderOf(m.assemblies) {
		a := m.assemblies[id]
		add := hose(a.code)
		add.Assembly.Made.From, add.Assembly.Made.To = dayOf(a.made), dayOf(a.made)
		add.Assembly.Assembled = add.Assembly.Made
		both(-100, "add", add)
		if a.scrapped != 0 && !slices.ContainsFunc(inOrderOf(m.stays), func(s int) bool { return m.stays[s].assembly == id && m.scrappedAtEnd(s) }) {
			both(a.scrapped, "scrap", register.Scrap{AssemblyCode: a.code, On: dayOf(a.scrapped)})
		}
	}
	for _, id := range inOrderOf(m.stays) {
		s := m.stays[id]
		fit := w.fitting(s.assembly, s.seat, s.from, -1)
		if s.to == 0 {
			both(s.from, "fit", fit)
			continue
		}
		scrapped := m.scrappedAtEnd(id) && !slices.ContainsFunc(inOrderOf(m.stays), func(o int) bool { // said once, of stays that ended on the day they began
			return o > id && m.stays[o].assembly == s.assembly && m.scrappedAtEnd(o)
		})
		remove := w.removal(s.assembly, s.to, -1, scrapped)
		facts = append(facts, fact{day: s.from, what: "stay", cmds: []register.Command{fit, remove}})
		if s.zero() {
			events = append(events, fact{day: s.from, what: "stay", cmds: []register.Command{fit, remove}})
			continue
		}
		events = append(events, fact{day: s.from, what: "fit", cmds: []register.Command{fit}}, fact{day: s.to, what: "remove", cmds: []register.Command{remove}})
	}
	for _, id := range inOrderOf(m.readings) {
		r := m.readings[id]
		both(r.day, "reading", register.AddReading{Machine: machineCode(r.machine), On: dayOf(r.day), Hours: r.hours, Disputed: r.disputed})
	}
	for _, id := range inOrderOf(m.events) {
		e := m.events[id]
		both(e.day, "event", register.AddMeterEvent{Machine: machineCode(e.machine), On: dayOf(e.day), OldEnd: e.oldEnd, NewStart: e.newStart})
	}
	exact = w.workFacts(both) && exact
	for _, id := range inOrderOf(m.looks) {
		l := m.looks[id]
		if w.anotherCouldBeMeant(l) {
			exact = false
			continue
		}
		cmd := register.Inspect{Machine: machineCode(machineOfSeat(l.seat)), Position: seatName(l.seat), On: dayOf(l.day), By: fmt.Sprint("look ", id)}
		lasts := m.stays[m.stayOf(l.assembly, l.seat, l.day)].to == 0
		for _, n := range inOrderOf(m.findings) {
			f := m.findings[n]
			if f.look != id {
				continue
			}
			cmd.Findings = append(cmd.Findings, register.NewFinding{Class: life.Class(f.class), Place: fmt.Sprint("finding ", n)})
			exact = exact && (lasts || f.how == "removed") // released, and off since: entered later, its removal closes it
			if lasts && f.how != "" {
				f.closedText = fmt.Sprint("finding ", n)
				c := fact{day: f.closed, what: "close", close: &f, code: m.assemblies[l.assembly].code}
				events, facts = append(events, c), append(facts, c)
			}
		}
		both(l.day, "inspect", cmd)
	}
	within := map[string]int{"remove": -3, "stay": -2, "fit": -1} // a day's removals make room
	slices.SortStableFunc(events, func(a, b fact) int { return cmp.Or(a.day-b.day, within[a.what]-within[b.what]) })
	return events, facts, exact
}

// workFacts are lay-ups and service conditions. Of conditions of one day the
// last holds; a lay-up that lasts is ended by another one of its day. It is
// false where something is left out for that.
func (w *tale) workFacts(add func(day int, what string, cmds ...register.Command)) bool {
	exact := true
	for _, id := range inOrderOf(w.m.layUps) {
		l := w.m.layUps[id]
		if l.to == 0 && slices.ContainsFunc(slices.Collect(maps.Values(w.m.layUps)), func(o mLayUp) bool { return o.machine == l.machine && o.from == l.from && o.to != 0 }) {
			exact = false
			continue
		}
		add(l.from, "lay-up", register.AddLayUp{Machine: machineCode(l.machine), From: dayOf(l.from), To: dayOf(l.to), Reason: l.reason})
	}
	last := map[mConditions]int{}
	for _, id := range inOrderOf(w.m.conditions) {
		c := w.m.conditions[id]
		c.fluid = 0
		last[c] = id
	}
	for _, id := range last {
		c := w.m.conditions[id]
		cmd := register.SetConditions{Machine: machineCode(c.owner), From: dayOf(c.from), Basis: register.Assumed, Service: register.Service{FluidC: &c.fluid}}
		switch c.level {
		case "circuit":
			cmd.Circuit = "lift"
		case "position":
			cmd.Machine, cmd.Position = machineCode(machineOfSeat(c.owner)), seatName(c.owner)
		}
		add(c.from, "conditions", cmd)
	}
	return exact
}

// anotherCouldBeMeant reports whether another assembly sat at the seat on the
// day of a look too.
func (w *tale) anotherCouldBeMeant(l mLook) bool {
	for _, s := range w.m.stays {
		if s.seat == l.seat && s.assembly != l.assembly && s.from <= l.day && end(s.to) >= l.day {
			return true
		}
	}
	return false
}

// enter enters facts; what is refused as yet is entered later. In the end all
// must be taken.
func (w *tale) enter(s *store.Store, facts []fact) {
	left := slices.Clone(facts)
	for len(left) > 0 {
		var later []fact
		var last error
		for _, f := range left {
			err := w.enterOne(s, f)
			var no *register.Error
			if err != nil && !errors.As(err, &no) {
				w.r.Fatalf("enter %s %+v: %v", f.what, f.cmds, err)
			}
			if err != nil {
				later, last = append(later, f), err
			}
		}
		if len(later) == len(left) {
			w.r.Fatalf("cannot be entered: %+v: %v\n%s", later, last, w.told())
		}
		left = later
	}
}

func (w *tale) enterOne(s *store.Store, f fact) error {
	ctx := context.Background()
	if f.close == nil {
		_, err := s.Apply(ctx, now, me, f.cmds...)
		return err
	}
	a, err := s.AssemblySheet(ctx, now, f.code)
	if err != nil {
		return err
	}
	for _, n := range a.Open {
		if n.Place == f.close.closedText {
			_, err := s.Apply(ctx, now, me, register.CloseFinding{FindingID: n.ID, On: dayOf(f.close.closed), How: register.ClosedHow(f.close.how), Reason: "why"})
			return err
		}
	}
	return &register.Error{Code: register.NotFound, Sentence: "The finding is not there yet."}
}
