package server

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"hoseward/internal/register"
)

// sentBack is the form as a browser sends it from the page that shows f, after
// a person typed over it.
func sentBack(f *form, over ...string) *form {
	e := f.editing()
	back := newForm()
	maps.Copy(back.values, f.values)
	back.values.Set("version", e.Version)
	for name := range back.values {
		for _, prefix := range []string{wasPrefix, clashPrefix} {
			if len(name) > len(prefix) && name[:len(prefix)] == prefix {
				back.values.Del(name)
			}
		}
	}
	for _, v := range e.Was {
		back.values.Set(v.Name, v.Value)
	}
	for _, v := range e.Clashes {
		back.values.Set(clashPrefix+v.Name, "yes")
	}
	for i := 0; i+1 < len(over); i += 2 {
		back.values.Set(over[i], over[i+1])
	}
	return back
}

func openedForm(version int, pairs ...string) *form {
	f := newForm()
	f.edits(newForm(pairs...), version)
	return f
}

func TestEdits_FillsAFormThatIsOpened(t *testing.T) {
	f := openedForm(3, "name", "lift", "hurt", "yes", "note", "")
	if f.text("name") != "lift" || !f.ticked("hurt") || f.version() != 3 || !f.ok() {
		t.Errorf("opened as %v, version %d, problems %v", f.values, f.version(), f.Problems)
	}
	if e := f.editing(); !e.On || len(e.Was) != 3 || len(e.Clashes)+len(e.Taken) != 0 {
		t.Errorf("sends back %+v", e)
	}
}

func TestEdits_SettlesFieldByField(t *testing.T) {
	for _, c := range []struct {
		why, was, mine, theirs string
		want                   string // the field's value then
		show, clash            bool
	}{
		{"nobody changed it", "a", "a", "a", "a", false, false},
		{"only this person changed it", "a", "b", "a", "b", false, false},
		{"only this person emptied it", "a", "", "a", "", false, false},
		{"only the other changed it", "a", "a", "c", "c", true, false},
		{"only the other emptied it", "a", "a", "", "", true, false},
		{"both changed it to the same", "a", "b", "b", "b", false, false},
		{"both changed it", "a", "b", "c", "b", true, true},
		{"one emptied what the other changed", "a", "", "c", "", true, true},
		{"lines end as browsers end them", "a\nb", "a\r\nb", "a\nb", "a\r\nb", false, false},
	} {
		f := sentBack(openedForm(1, "x", c.was), "x", c.mine)
		show := f.edits(newForm("x", c.theirs), 2)
		if show != c.show || f.raw("x") != c.want || len(f.editing().Clashes) > 0 != c.clash || f.ok() == c.show {
			t.Errorf("%s: shown %v, value %q, asks %v, problems %v", c.why, show, f.raw("x"), f.editing().Clashes, f.Problems)
		}
		if f.version() != 2 {
			t.Errorf("%s: would be saved over version %d", c.why, f.version())
		}
	}
}

func TestEdits_AsksUntilBothValuesWereChosenBetween(t *testing.T) {
	f := sentBack(openedForm(1, "x", "a"), "x", "mine")
	f.edits(newForm("x", "theirs"), 2)
	v := f.editing().Clashes[0]
	if v.Before != "a" || v.Mine != "mine" || v.Theirs != "theirs" || v.Chosen != "" {
		t.Fatalf("asks %+v", v)
	}
	again := sentBack(f)
	if !again.edits(newForm("x", "theirs"), 2) || again.errorAt("keep.x") == "" {
		t.Errorf("not chosen, and shown again with %v", again.Problems)
	}
	for _, c := range []struct {
		why  string
		over []string
		want string
	}{
		{"mine", []string{"keep.x", "mine"}, "mine"},
		{"theirs", []string{"keep.x", "theirs"}, "theirs"},
		{"mine, typed anew", []string{"keep.x", "mine", "x", "better"}, "better"},
		{"theirs, typed by hand without choosing", []string{"x", "theirs"}, "theirs"},
	} {
		next := sentBack(again, c.over...)
		if next.edits(newForm("x", "theirs"), 2) || next.raw("x") != c.want || !next.ok() {
			t.Errorf("%s: %q, problems %v", c.why, next.raw("x"), next.Problems)
		}
	}
	// A third person comes while the question stands: it is asked anew.
	third := sentBack(again, "keep.x", "mine")
	if !third.edits(newForm("x", "third"), 3) || third.editing().Clashes[0].Theirs != "third" || third.editing().Clashes[0].Chosen != "" {
		t.Errorf("after a third change: %+v", third.editing())
	}
}

// Whatever three people type, nothing of anybody is lost unseen: what ends up
// in a field is what the only one who changed it said, or what was chosen.
func TestEdits_LosesNothingUnseen(t *testing.T) {
	words := rapid.SampledFrom([]string{"", "a", "b", "c"})
	names := []string{"p", "q", "r"}
	rapid.Check(t, func(t *rapid.T) {
		value := func(of string) []string {
			var pairs []string
			for _, n := range names {
				pairs = append(pairs, n, words.Draw(t, of+" "+n))
			}
			return pairs
		}
		was, mine, theirs := value("was"), value("mine"), value("theirs")
		f := sentBack(openedForm(1, was...), mine...)
		shown := f.edits(newForm(theirs...), 2)
		asked := map[string]string{}
		for _, c := range f.editing().Clashes {
			asked[c.Name] = rapid.SampledFrom([]string{keepMine, keepTheirs}).Draw(t, "keep "+c.Name)
		}
		if shown {
			over := []string{}
			for n, choice := range asked {
				over = append(over, keepPrefix+n, choice)
			}
			f = sentBack(f, over...)
			if f.edits(newForm(theirs...), 2) {
				t.Fatalf("all is answered, and it is shown again: %v", f.Problems)
			}
		}
		for i := 0; i < len(was); i += 2 {
			n, w, m, o := was[i], was[i+1], mine[i+1], theirs[i+1]
			want := m
			if m == w || asked[n] == keepTheirs {
				want = o
			}
			if got := f.raw(n); got != want {
				t.Fatalf("%s was %q, mine %q, theirs %q, kept %v: %q", n, w, m, o, asked, got)
			}
			if m != w && o != w && m != o && asked[n] == "" {
				t.Fatalf("%s was changed by both and not asked about", n)
			}
		}
	})
}

// Rows of cycles come and go: what somebody took away is not saved again by
// one who left it as it was, and asked about where both changed it.
func TestEdits_ARowSomebodyTookAwayStaysAway(t *testing.T) {
	opened := openedForm(1, "max-0", "200 bar", "max-1", "100 bar")
	left := sentBack(opened)
	if !left.edits(newForm("max-0", "200 bar"), 2) || left.raw("max-1") != "" {
		t.Errorf("max-1 is %q, told %+v", left.raw("max-1"), left.editing().Taken)
	}
	if again := sentBack(left); again.edits(newForm("max-0", "200 bar"), 2) || again.raw("max-1") != "" {
		t.Errorf("sent again max-1 is %q, problems %v", again.raw("max-1"), again.Problems)
	}
	changed := sentBack(opened, "max-1", "150 bar")
	if !changed.edits(newForm("max-0", "200 bar"), 2) || len(changed.editing().Clashes) != 1 {
		t.Errorf("both changed it: %+v", changed.editing())
	}
}

func TestKept_TakesTheRowsValueForAFieldNobodyTouched(t *testing.T) {
	f := sentBack(openedForm(1, "rated", "275 bar"))
	f.edits(newForm("rated", "275 bar"), 1)
	read := func() float64 { t.Error("read an untouched field"); return 0 }
	if got := kept(f, "rated", 275.04, read); got != 275.04 {
		t.Errorf("became %v", got)
	}
	f = sentBack(openedForm(1, "rated", "275 bar"), "rated", "280 bar")
	f.edits(newForm("rated", "275 bar"), 1)
	if got := kept(f, "rated", 275.04, func() float64 { return 280 }); got != 280 {
		t.Errorf("typed 280, became %v", got)
	}
}

func TestMove_SwapsNeighboursAndNeverLosesOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z]{1,3}(-[a-z])?`), 1, 6, rapid.ID).Draw(t, "names")
		var rows []ordered
		for _, n := range names {
			rows = append(rows, ordered{name: n})
		}
		i := rapid.IntRange(0, len(names)-1).Draw(t, "which")
		way := rapid.SampledFrom([]string{"up", "down"}).Draw(t, "way")
		moved := move(rows, way+"-"+names[i])
		after := orderNames(rows)
		at := slices.Index(after, names[i])
		want := min(i+1, len(names)-1)
		if way == "up" {
			want = max(i-1, 0)
		}
		if at != want || (moved == "") != (at == i) {
			t.Fatalf("%s %s of %v: %v, says %q", way, names[i], names, after, moved)
		}
		slices.Sort(names)
		slices.Sort(after)
		if !slices.Equal(names, after) {
			t.Fatalf("%v became %v", names, after)
		}
	})
}

func TestReadOrder_SortsByWhatWasTyped(t *testing.T) {
	f := newForm("name-0", "a", "order-0", "3", "name-1", "b", "order-1", "1", "name-2", "c", "order-2", "", "name-3", "d", "order-3", "2,5")
	if got := orderNames(readOrder(f)); !slices.Equal(got, []string{"b", "d", "a", "c"}) {
		t.Errorf("sorted as %v", got)
	}
	f = newForm("name-0", "a", "order-0", "first", "name-1", "b", "order-1", "1")
	if got := orderNames(readOrder(f)); f.errorAt("order-0") == "" || !slices.Equal(got, []string{"a", "b"}) {
		t.Errorf("sorted as %v, problems %v", got, f.Problems)
	}
}

func TestPreviewKey_StandsForTheCommands(t *testing.T) {
	key := func(cmds ...register.Command) string {
		k, err := previewKey(cmds)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	one, two := 1.0, 2.0
	same := key(register.SetDuty{Kind: "a", Service: register.Service{FluidC: &one}})
	if other := 1.0; key(register.SetDuty{Kind: "a", Service: register.Service{FluidC: &other}}) != same {
		t.Error("the same commands have two keys")
	}
	for _, c := range []register.Command{
		register.SetDuty{Kind: "a", Service: register.Service{FluidC: &two}}, register.SetDuty{Kind: "b", Service: register.Service{FluidC: &one}}, register.AddKind{Name: "a"},
	} {
		if key(c) == same {
			t.Errorf("%+v has the key of another command", c)
		}
	}
}
