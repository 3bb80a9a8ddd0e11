package server

import (
	"errors"
	"maps"
	"slices"
	"strconv"
	"strings"

	"hoseward/internal/register"
)

// Two people can change one row at once. A form that changes a row therefore
// carries the row's version and what each field was when the form was opened.
// When it is sent, the row is read again; where somebody changed it meanwhile,
// a field only they changed takes theirs, one only this person changed keeps
// this person's, and of one that both changed the page shows both values and
// asks, neither chosen beforehand. Nothing is saved before it was shown.
//
// A handler uses it so, with xValues(row) the form as the row fills it, every
// field set, also those that are empty:
//
//	opening:  f := s.newForm(c); f.edits(xValues(row), row.Version); return s.xForm(c, row, f)
//	sending:  f, err := readForm(c)
//	          row := ... read anew ...
//	          if f.edits(xValues(row), row.Version) { return s.xForm(c, row, f) }
//	          ... read the fields, and apply register.ChangeX{... ID: row.ID, Version: f.version()}
//	          if isConflict(err) { return s.changeX(c) } // changed at this very moment: from the start
//	page:     Edit: f.editing(), called after its fields were built
//	template: {{template "editing" .Edit}} inside the form
//
// A field nobody touched is best taken from the row and not from its text, by
// f.untouched, so that a value printed rounded stays what it is.

// edit is the part of a form that knows the row it changes.
type edit struct {
	on      bool
	version int
	was     map[string]string
	taken   []taken
	clashes []string
	before  map[string]string // what clashing fields were when the form was opened
}

// taken is a field somebody else changed and this person did not.
type taken struct{ Name, Label, Before, Now string }

const (
	wasPrefix   = "was."
	clashPrefix = "clash."
	keepPrefix  = "keep."
	keepTheirs  = "theirs"
	keepMine    = "mine"
)

// edits makes the form one that changes a row, current being the form as the
// row fills it now. On a form that is opened it fills the fields; on one that
// was sent it merges what somebody else changed meanwhile. It reports whether
// the form is to be shown before anything is saved.
func (f *form) edits(current *form, version int) (show bool) {
	f.edit = edit{on: true, version: version, was: map[string]string{}, before: map[string]string{}}
	_, sent := f.values["version"]
	for _, name := range f.editNames(current) {
		theirs := current.values.Get(name)
		f.edit.was[name] = theirs
		if sent {
			f.merge(name, theirs)
		} else if _, given := f.values[name]; !given {
			f.values.Set(name, theirs)
		}
	}
	if len(f.edit.taken)+len(f.edit.clashes) == 0 {
		return false
	}
	if len(f.edit.taken) > 0 || len(f.edit.before) > 0 {
		f.wrong("", "Somebody else changed this since you opened the page. See below what they changed, then save again.")
	}
	return true
}

// editNames are the fields of the row as it is now, and those it had when the
// form was opened: a row of cycles that somebody took away meanwhile is empty
// now, not one to be saved again.
func (f *form) editNames(current *form) []string {
	names := slices.Collect(maps.Keys(current.values))
	for name := range f.values {
		if was, ok := strings.CutPrefix(name, wasPrefix); ok {
			names = append(names, was)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// merge settles one field of a form that was sent, theirs being what the row
// says now.
func (f *form) merge(name, theirs string) {
	was, mine := f.values.Get(wasPrefix+name), f.values.Get(name)
	asked := f.ticked(clashPrefix + name)
	if asked { // was is what the page showed as theirs
		switch choice := f.values.Get(keepPrefix + name); {
		case choice == keepTheirs:
			f.values.Set(name, was)
			mine, asked = was, false
		case choice == keepMine, alike(mine, was):
			asked = false
		}
	}
	switch {
	case alike(theirs, was):
		if asked {
			f.edit.clashes = append(f.edit.clashes, name)
			f.wrong(keepPrefix+name, "Choose which of the two to keep.")
		}
	case alike(mine, was):
		f.values.Set(name, theirs)
		f.edit.taken = append(f.edit.taken, taken{Name: name, Before: was, Now: theirs})
	case !alike(mine, theirs):
		f.values.Del(keepPrefix + name)
		f.edit.clashes = append(f.edit.clashes, name)
		f.edit.before[name] = was
	}
}

// alike reports whether two texts of a field say the same: browsers send lines
// with ends of their own.
func alike(a, b string) bool {
	plain := func(s string) string { return strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n")) }
	return plain(a) == plain(b)
}

// version is the version of the row the form changes.
func (f *form) version() int { return f.edit.version }

// untouched reports whether a field of an edit says what the row says now.
func (f *form) untouched(name string) bool {
	was, ok := f.edit.was[name]
	return ok && alike(was, f.values.Get(name))
}

// kept is the row's value where its field is untouched, else what read makes
// of it. Read is not called for an untouched field.
func kept[T any](f *form, name string, old T, read func() T) T {
	if f.untouched(name) {
		return old
	}
	return read()
}

// isConflict reports whether a row was changed by somebody else meanwhile.
func isConflict(err error) bool { return errors.Is(err, &register.Error{Code: register.Conflict}) }

// editing is what a page sends back about the row it changes, and what it asks.
type editing struct {
	On      bool
	Version string
	Was     []fact // names and values of hidden fields
	Taken   []taken
	Clashes []clash
}

// clash is a field that two people changed.
type clash struct{ Name, Label, Before, Theirs, Mine, Chosen, Error string }

// editing is the hidden part of a form that changes a row. It is called after
// the page's fields were built, whose labels it uses.
func (f *form) editing() editing {
	e := editing{On: f.edit.on, Version: strconv.Itoa(f.edit.version)}
	for _, name := range slices.Sorted(maps.Keys(f.edit.was)) {
		e.Was = append(e.Was, fact{wasPrefix + name, f.edit.was[name]})
	}
	for _, t := range f.edit.taken {
		t.Label, t.Before, t.Now = f.labelOf(t.Name), f.said(t.Name, t.Before), f.said(t.Name, t.Now)
		e.Taken = append(e.Taken, t)
	}
	for _, name := range f.edit.clashes {
		v := clash{
			Name: name, Label: f.labelOf(name), Theirs: f.said(name, f.edit.was[name]), Mine: f.said(name, f.values.Get(name)),
			Chosen: f.raw(keepPrefix + name), Error: f.errorAt(keepPrefix + name),
		}
		if before, ok := f.edit.before[name]; ok {
			v.Before = f.said(name, before)
		}
		e.Clashes = append(e.Clashes, v)
	}
	return e
}

// labelOf is what the page calls a field.
func (f *form) labelOf(name string) string {
	if label := f.labels[name]; label != "" {
		return label
	}
	return strings.ReplaceAll(name, "_", " ")
}

// said is a field's value in words.
func (f *form) said(name, value string) string {
	switch {
	case f.ticks[name] && value == "yes":
		return "ticked"
	case f.ticks[name]:
		return "not ticked"
	case strings.TrimSpace(value) == "":
		return "nothing"
	}
	return value
}
