package server_test

import (
	"net/http"
	"sync"
	"testing"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

// The catalogue suggests stop for finding 2 and replace for finding 3.
func TestInspectionForm_AMilderClassNeedsItsReason(t *testing.T) {
	s := inspected(t)
	path := "/machines/RT-01/inspections/new"
	before := changes(t, s)
	page := testkit.HTML(t, want(t, s.fill(path, "position", "lift", "verdict", "found", "kind-1", "2", "class-1", "watch"), 422).Body,
		testkit.In("#note-1-error", testkit.Text("milder"), testkit.Text("Only a manager"), testkit.Text("reason")))
	checkNames(t, path, page)
	if changes(t, s) != before {
		t.Error("it was saved")
	}
	want(t, s.post(path, typed(t, page, "note-1", "old scratch, seen and judged by the maker")...), http.StatusSeeOther)
	want(t, s.fill(path, "position", "lift", "verdict", "found", "kind-1", "3", "class-1", "stop"), http.StatusSeeOther)
	want(t, s.fill(path, "position", "lift", "verdict", "found", "kind-1", "3", "class-1", "replace"), http.StatusSeeOther)
}

func TestInspectionForm_TheSameOneIsStoredOnce(t *testing.T) {
	path := "/machines/RT-01/inspections/new"
	sound := []string{"position", "lift", "by", "N. Ott", "verdict", "sound", "note", "wiped clean"}
	found := []string{"position", "lift", "by", "N. Ott", "verdict", "found", "kind-1", "3", "place-1", "end A", "act-1", "2026-12-10", "kind-2", "15"}
	with := func(base []string, name, value string) []string {
		over := append([]string{}, base...)
		for i := 0; i+1 < len(over); i += 2 {
			if over[i] == name {
				over[i+1] = value
				return over
			}
		}
		return append(over, name, value)
	}
	for _, c := range []struct {
		why           string
		first, second []string
		stored        int
	}{
		{"sound twice", sound, sound, 1},
		{"the same findings twice", found, found, 1},
		{"another inspector", sound, with(sound, "by", "M. Adler"), 2},
		{"another day", sound, with(sound, "on", "2026-11-20"), 2},
		{"another note", sound, with(sound, "note", "wet"), 2},
		{"sound, then found", sound, found, 2},
		{"another place", found, with(found, "place-1", "end B"), 2},
		{"to be done by another day", found, with(found, "act-1", "2026-12-01"), 2},
		{"another class", found, with(found, "class-2", "stop"), 2},
	} {
		t.Run(c.why, func(t *testing.T) {
			s := inspected(t)
			want(t, s.fill(path, c.first...), http.StatusSeeOther)
			r := want(t, s.fill(path, c.second...), http.StatusSeeOther)
			if n := s.inspections(); n != c.stored {
				t.Errorf("%d inspections are stored, want %d", n, c.stored)
			}
			if c.stored == 1 {
				page := s.wentTo(r, "/machines/RT-01?done=inspection-known")
				if err := testkit.In(".done", testkit.Text("nothing was added"))(page); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

func TestInspectionForm_TwoSentAtOnceAreOne(t *testing.T) {
	s := inspected(t)
	path := "/machines/RT-01/inspections/new"
	sent := typed(t, testkit.HTML(t, s.get(path).Body), "position", "lift", "verdict", "sound")
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() { s.post(path, sent...) })
	}
	wg.Wait()
	if n := s.inspections(); n != 1 {
		t.Errorf("%d inspections are stored", n)
	}
}

// inspections counts those of the one hose of machine RT-01.
func (s *site) inspections() (n int) {
	s.t.Helper()
	machine, err := s.store.MachineSheet(s.t.Context(), now, "RT-01")
	if err != nil {
		s.t.Fatal(err)
	}
	sheet, err := s.store.AssemblySheet(s.t.Context(), now, machine.Lines[0].AssemblyCode)
	if err != nil {
		s.t.Fatal(err)
	}
	for _, e := range sheet.Story {
		if e.What == register.EventInspected {
			n++
		}
	}
	return n
}
