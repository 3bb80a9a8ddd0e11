package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"hoseward/internal/register"
)

// Undo takes back an act, all its changes in one transaction, newest first. It
// is refused, with a sentence that says why, to anyone but who did it, once
// register.UndoWithin has passed, a second time, of what was itself an undoing,
// and as soon as one of its rows was changed or built upon since. What the act
// took back is there again under its own number.
func (s *Store) Undo(ctx context.Context, now time.Time, by register.Actor, actID int64) (register.Result, error) {
	return s.change(ctx, now, by, func(t *tx) error {
		act, err := t.undoable(actID)
		if err != nil {
			return err
		}
		t.title = "Undo: " + act.Title
		t.by.Reason = orElse(t.by.Reason, "undone: "+act.Title)
		if act.Origin == register.FromImport {
			of, err := ids(t.ctx, t.conn, "SELECT import_id FROM changes WHERE act_id = ? AND import_id IS NOT NULL LIMIT 1", actID)
			if err != nil {
				return fmt.Errorf("find the import of act %d: %w", actID, err)
			}
			if len(of) == 1 {
				return t.undoImport(of[0])
			}
		}
		if err := t.goBack("act_id", actID, "This cannot be undone any more"); err != nil {
			return err
		}
		return t.markUndone(actID)
	})
}

// undoable is an act that the one who asks may still undo.
func (t *tx) undoable(id int64) (*register.Act, error) {
	act, err := acts.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, id)
	if err != nil {
		return nil, err
	}
	if act == nil {
		return nil, refuse(register.NotFound, "", "There is nothing of that number to undo.")
	}
	undoes, err := acts.one(t.ctx, t.conn, "undone_by = ? LIMIT 1", id)
	switch {
	case err != nil:
		return nil, err
	case undoes != nil:
		return nil, refuse(register.Refused, "", "An undoing is not undone; do again what you want back.")
	case act.UndoneBy != nil:
		return nil, refuse(register.Refused, "", "This was undone already.")
	case act.PersonID != t.by.PersonID || act.Origin == register.FromJob || act.Origin == register.FromDemo:
		return nil, refuse(register.Refused, "", "Only who did this can undo it; you can still correct it.")
	case t.now.Sub(act.At) > register.UndoWithin:
		return nil, refuse(register.Refused, "", "This was done more than %d hours ago; correct it instead.", int(register.UndoWithin.Hours()))
	}
	return act, nil
}

// undoing is a going back through changes.
type undoing struct {
	begin string // how its refusals begin
	agreement
}

func (u *undoing) refuse(format string, args ...any) error {
	return refuse(register.Refused, "", "%s: %s", u.begin, fmt.Sprintf(format, args...))
}

// undoAtOnce is how many change rows an undo reads at a time.
const undoAtOnce = 500

// goBack undoes the changes of an act or an import, newest first, and sees that
// what is left agrees with itself.
func (t *tx) goBack(column string, id int64, begin string) error {
	u := &undoing{begin: begin}
	before := int64(1) << 62
	for {
		// Read whole, then undo: one connection does one thing at a time.
		rows, err := changes.where(t.ctx, t.conn, fmt.Sprintf("%s = ? AND seq < ? ORDER BY seq DESC LIMIT %d", column, undoAtOnce), id, before)
		if err != nil {
			return err
		}
		if len(rows) == 0 {
			break
		}
		if err := t.undoRows(u, rows); err != nil {
			return err
		}
		before = rows[len(rows)-1].Seq
	}
	t.keys.clear()
	var no *register.Error
	if err := t.agree(&u.agreement); errors.As(err, &no) {
		return u.refuse("%s", no.Sentence)
	} else if err != nil {
		return err
	}
	return nil
}

func (t *tx) undoRows(u *undoing, rows []register.Change) error {
	for i := range rows {
		if rows[i].Entity == imports.name {
			continue
		}
		if err := undoableRow(u, &rows[i]); err != nil {
			return err
		}
		r, ok := rowsOf()[rows[i].Entity]
		if !ok {
			return fmt.Errorf("undo change %d: rows of %s are not known", rows[i].Seq, rows[i].Entity)
		}
		if rows[i].ImportID == nil {
			t.need = register.UndoRight(rows[i].Entity)
		}
		err := t.followingIf(t.keptElsewhere(&rows[i]), func() error { return r.undo(t, u, &rows[i]) })
		if err != nil {
			return err
		}
	}
	if len(t.touched.assemblies) > touchedKept {
		if _, err := t.markTouchedStale(); err != nil {
			return err
		}
	}
	return t.flushFull()
}

// undoableRow refuses to undo what is about people and what lets them in: the
// secrets that belong to it are gone. One's own units are no such thing.
func undoableRow(u *undoing, c *register.Change) error {
	switch c.Entity {
	case personRoles.name, credentials.name, tokens.name, invitations.name, devices.name:
	case people.name:
		if onlyUnits(c) {
			return nil
		}
	default:
		return nil
	}
	return u.refuse("what is about people and their signing in is not undone; change it anew.")
}

// onlyUnits reports whether a change of a person is one of their units alone.
func onlyUnits(c *register.Change) bool {
	var before, after register.Person
	if json.Unmarshal([]byte(c.Before), &before) != nil || json.Unmarshal([]byte(c.After), &after) != nil {
		return false
	}
	before.Units, before.Version = after.Units, after.Version
	return sameButVersion(&before, &after)
}

// rowKind undoes and takes back rows of one table.
type rowKind struct {
	undo     func(*tx, *undoing, *register.Change) error
	takeBack func(t *tx, u *undoing, id int64, version int) error
}

func rowsOf() map[string]rowKind {
	return map[string]rowKind{
		sites.name:         rowsIn(sites, func(r *register.Site) string { return "site " + r.Name }),
		kinds.name:         rowsIn(kinds, func(r *register.Kind) string { return "kind of machine " + r.Name }),
		kindPositions.name: rowsIn(kindPositions, func(r *register.KindPosition) string { return "usual position " + r.Name }),
		policies.name:      rowsIn(policies, func(r *register.Policy) string { return "policy " + r.Name }),
		people.name:        rowsIn(people, func(r *register.Person) string { return "what is kept of " + r.Name }),
		machines.name:      rowsIn(machines, func(r *register.Machine) string { return "machine " + r.Code }),
		circuits.name:      rowsIn(circuits, func(r *register.Circuit) string { return "circuit " + r.Name }),
		positions.name:     rowsIn(positions, func(r *register.Position) string { return "position " + r.Name }),
		assemblies.name:    rowsIn(assemblies, func(r *register.Assembly) string { return "assembly " + r.Code }),
		placements.name:    rowsIn(placements, func(r *register.Placement) string { return "a fitting of " + r.From.String() }),
		removals.name:      rowsIn(removals, func(*register.Removal) string { return "a removal" }),
		readings.name:      rowsIn(readings, func(r *register.Reading) string { return "a reading of " + r.On.String() }),
		meterEvents.name:   rowsIn(meterEvents, func(r *register.MeterEvent) string { return "a meter event of " + r.On.String() }),
		layUps.name:        rowsIn(layUps, func(r *register.LayUp) string { return "a lay-up from " + r.From.String() }),
		duties.name:        rowsIn(duties, func(*register.Duty) string { return "the duty of a kind of machine" }),
		conditions.name:    rowsIn(conditions, func(r *register.Conditions) string { return "service conditions from " + r.From.String() }),
		inspections.name:   rowsIn(inspections, func(r *register.Inspection) string { return "an inspection of " + r.On.String() }),
		findings.name:      rowsIn(findings, func(r *register.Finding) string { return "a finding of " + r.SeenOn.String() }),
	}
}

// rowsIn makes the rowKind of a table; name is how people call a row.
func rowsIn[T any](tab *table[T], name func(*T) string) rowKind {
	return rowKind{
		undo: func(t *tx, u *undoing, c *register.Change) error {
			now, err := tab.one(t.ctx, t.conn, "id = ?", c.EntityID)
			if err != nil {
				return err
			}
			if c.Action == register.Deleted {
				return putBack(t, u, tab, now, c, name)
			}
			left := new(T)
			if err := json.Unmarshal([]byte(c.After), left); err != nil {
				return fmt.Errorf("read change %d: %w", c.Seq, err)
			}
			if now == nil || !sameButVersion(now, left) {
				return u.refuse("%s was changed since.", name(left))
			}
			if c.Action == register.Added {
				return remove(t, u, tab, now, c.EntityID, name(now))
			}
			return revert(t, u, tab, now, c)
		},
		takeBack: func(t *tx, u *undoing, id int64, version int) error {
			now, err := tab.one(t.ctx, t.conn, "id = ?", id)
			now, err = orHidden(t, now, err)
			switch {
			case err != nil:
				return err
			case now == nil:
				return refuse(register.NotFound, "id", "This is not in the register any more.")
			case versionOf(now) != version:
				return conflict()
			}
			return remove(t, u, tab, now, id, name(now))
		},
	}
}

// revert makes a row again what it was before a change.
func revert[T any](t *tx, u *undoing, tab *table[T], now *T, c *register.Change) error {
	before := new(T)
	if err := json.Unmarshal([]byte(c.Before), before); err != nil {
		return fmt.Errorf("read change %d: %w", c.Seq, err)
	}
	version := versionOf(now)
	setVersion(before, version+1)
	taken := u.refuse("what it replaced has been put to another use since.")
	if err := update(t, tab, now, before, c.EntityID, version, taken); err != nil {
		return err
	}
	if err := t.bears(now); err != nil {
		return err
	}
	if err := t.bears(before); err != nil {
		return err
	}
	return firstError(t.mustAgree(&u.agreement, now), t.mustAgree(&u.agreement, before))
}

// putBack puts a row back that was deleted.
func putBack[T any](t *tx, u *undoing, tab *table[T], now *T, c *register.Change, name func(*T) string) error {
	row := new(T)
	if err := json.Unmarshal([]byte(c.Before), row); err != nil {
		return fmt.Errorf("read change %d: %w", c.Seq, err)
	}
	if now != nil {
		return u.refuse("%s is there again.", name(row))
	}
	setVersion(row, versionOf(row)+1)
	id := c.EntityID
	if err := t.orm.Create(row).Error; err != nil { // under its own number, which insert does not keep
		return t.explain("put back in "+tab.name, err, u.refuse("what %s was called or where it belongs is taken since.", name(row)))
	}
	if err := t.note(tab.name, id, register.Added, nil, row); err != nil {
		return err
	}
	if tab.name == assemblies.name {
		if err := t.codesBack(u, id); err != nil {
			return err
		}
	}
	if err := t.bears(row); err != nil {
		return err
	}
	return t.mustAgree(&u.agreement, row)
}

// codesBack keeps again all codes an assembly ever had, as the change log tells.
func (t *tx) codesBack(u *undoing, id int64) error {
	rows, err := changes.where(t.ctx, t.conn, "entity = ? AND entity_id = ? ORDER BY seq", assemblies.name, id)
	if err != nil {
		return err
	}
	kept := map[string]bool{}
	for i := range rows {
		for _, text := range []string{rows[i].Before, rows[i].After} {
			var a register.Assembly
			if text == "" {
				continue
			}
			if err := json.Unmarshal([]byte(text), &a); err != nil {
				return fmt.Errorf("read change %d: %w", rows[i].Seq, err)
			}
			if kept[fold(a.Code)] {
				continue
			}
			kept[fold(a.Code)] = true
			err := t.keepCode(a.Code, id)
			if isCode(err, register.Exists) {
				return u.refuse("the code %s is another assembly's now.", a.Code)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// remove deletes a row that nothing was built upon.
func remove[T any](t *tx, u *undoing, tab *table[T], row *T, id int64, name string) error {
	for _, c := range childrenOf(tab.name) {
		var n int
		if err := t.row(t.ctx, fmt.Sprintf("SELECT COUNT(*) FROM %s WHERE %s", c.table, c.where), id).Scan(&n); err != nil {
			return fmt.Errorf("look for %s of %s %d: %w", c.table, tab.name, id, translate(err))
		}
		if n > 0 {
			return u.refuse("%s has %s.", name, c.what)
		}
	}
	if p, ok := any(row).(*register.Placement); ok {
		if looks, err := t.looksOf(p); err != nil || len(looks) > 0 {
			return firstError(err, u.refuse("%s has an inspection of %s.", name, dayOf(looks)))
		}
	}
	return drop(t, u, tab, row, id)
}

// drop deletes a row whatever was built upon it.
func drop[T any](t *tx, u *undoing, tab *table[T], row *T, id int64) error {
	for _, q := range derivedOf(tab.name) {
		if _, err := t.exec(t.ctx, q, id); err != nil {
			return fmt.Errorf("delete what belongs to %s %d: %w", tab.name, id, err)
		}
	}
	gone, err := t.exec(t.ctx, "DELETE FROM "+tab.name+" WHERE id = ? AND version = ?", id, versionOf(row))
	if err != nil {
		return t.explain("delete from "+tab.name, err, nil)
	}
	if n, err := gone.RowsAffected(); err != nil || n == 0 {
		return firstError(err, conflict()) // changed since it was read
	}
	if err := t.note(tab.name, id, register.Deleted, row, nil); err != nil {
		return err
	}
	switch r := any(row).(type) {
	case *register.MeterEvent:
		u.machine(r.MachineID) // later readings may rest on it
	case *register.Finding:
		u.assembly(r.AssemblyID) // the verdict of its inspection does
	}
	return t.bears(row)
}

func versionOf(row any) int {
	return int(reflect.ValueOf(row).Elem().FieldByName("Version").Int())
}

func setVersion(row any, v int) {
	reflect.ValueOf(row).Elem().FieldByName("Version").SetInt(int64(v))
}

// sameButVersion compares rows by what the change log says of them.
func sameButVersion[T any](a, b *T) bool {
	x, y := *a, *b
	setVersion(&x, 0)
	setVersion(&y, 0)
	first, err1 := jsonOf(&x)
	second, err2 := jsonOf(&y)
	return err1 == nil && err2 == nil && first == second
}
