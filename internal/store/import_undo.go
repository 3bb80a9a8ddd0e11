package store

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"time"

	"hoseward/internal/register"
)

// Imports are the files that were taken in, newest first, at most 200.
func (s *Store) Imports(ctx context.Context) ([]register.Import, error) {
	return imports.where(ctx, s.reader(), "1 = 1 ORDER BY id DESC LIMIT 200")
}

// FileImported finds a taken and not undone import of a file, nil if there is
// none.
func (s *Store) FileImported(ctx context.Context, fileHash string) (*register.Import, error) {
	return imports.one(ctx, s.reader(), "file_hash = ? AND undone_at IS NULL ORDER BY id DESC LIMIT 1", fileHash)
}

// undoAtOnce is how many change rows an undo reads at a time.
const undoAtOnce = 500

// UndoImport takes back all that an import added and changed, in one
// transaction. It is refused, with a sentence that names what, as soon as one
// of its rows was changed or built upon since.
func (s *Store) UndoImport(ctx context.Context, now time.Time, by register.Actor, id int64) (register.Result, error) {
	return s.change(ctx, now, by, func(t *tx) error {
		row, err := imports.one(ctx, t.conn, "id = ?", id)
		switch {
		case err != nil:
			return err
		case row == nil:
			return refuse(register.NotFound, "", "There is no import %d.", id)
		case row.UndoneAt != nil:
			return refuse(register.Refused, "", "This import was undone already.")
		}
		t.by.Reason = orElse(t.by.Reason, fmt.Sprintf("import %d (%s) undone", id, row.FileName))
		if err := t.undoChanges(id); err != nil {
			return err
		}
		t.keys.clear()
		if err := t.metersAgree(); err != nil {
			return err
		}
		after := *row
		after.UndoneAt = &t.now
		if err := t.orm.Save(&after).Error; err != nil {
			return t.explain("note the undoing", err, nil)
		}
		return t.note(imports.name, id, register.Changed, row, &after)
	})
}

// metersAgree refuses an undoing that takes away what later readings rest on,
// such as the day on which a meter was replaced.
func (t *tx) metersAgree() error {
	for _, id := range slices.Sorted(maps.Keys(t.touched.meters)) {
		m, err := machines.one(t.ctx, t.conn, "id = ?", id)
		if err != nil {
			return err
		}
		if m == nil {
			continue // it came with the import and went with it
		}
		f, err := t.hoursOf(m)
		if err != nil {
			return err
		}
		today, err := t.today(m.SiteID)
		if err != nil {
			return err
		}
		if err := f.CheckHours(today); err != nil {
			return refuse(register.Refused, "", "The import cannot be undone any more: later readings of machine %s rest on its meter event. %s", m.Code, register.SentenceOf(err))
		}
	}
	return nil
}

func (t *tx) undoChanges(importID int64) error {
	before := int64(1) << 62
	for {
		// Read whole, then undo: one connection does one thing at a time.
		rows, err := changes.where(t.ctx, t.conn, fmt.Sprintf("import_id = ? AND seq < ? ORDER BY seq DESC LIMIT %d", undoAtOnce), importID, before)
		if err != nil || len(rows) == 0 {
			return err
		}
		for i := range rows {
			if rows[i].Entity == imports.name {
				continue
			}
			undo, ok := undoers()[rows[i].Entity]
			if !ok {
				return fmt.Errorf("undo import %d: rows of %s are not known", importID, rows[i].Entity)
			}
			if err := undo(t, &rows[i]); err != nil {
				return err
			}
		}
		before = rows[len(rows)-1].Seq
		if len(t.touched.assemblies) > touchedKept {
			if _, err := t.markTouchedStale(); err != nil {
				return err
			}
		}
		if err := t.flushFull(); err != nil {
			return err
		}
	}
}

// undoer takes back one change.
type undoer func(*tx, *register.Change) error

func undoers() map[string]undoer {
	return map[string]undoer{
		sites.name:       undoerOf(sites, func(r *register.Site) string { return "site " + r.Name }),
		kinds.name:       undoerOf(kinds, func(r *register.Kind) string { return "kind of machine " + r.Name }),
		policies.name:    undoerOf(policies, func(r *register.Policy) string { return "policy " + r.Name }),
		machines.name:    undoerOf(machines, func(r *register.Machine) string { return "machine " + r.Code }),
		circuits.name:    undoerOf(circuits, func(r *register.Circuit) string { return "circuit " + r.Name }),
		positions.name:   undoerOf(positions, func(r *register.Position) string { return "position " + r.Name }),
		assemblies.name:  undoerOf(assemblies, func(r *register.Assembly) string { return "assembly " + r.Code }),
		placements.name:  undoerOf(placements, func(r *register.Placement) string { return "a fitting of " + r.From.String() }),
		removals.name:    undoerOf(removals, func(*register.Removal) string { return "a removal" }),
		readings.name:    undoerOf(readings, func(r *register.Reading) string { return "a reading of " + r.On.String() }),
		meterEvents.name: undoerOf(meterEvents, func(r *register.MeterEvent) string { return "a meter event of " + r.On.String() }),
		layUps.name:      undoerOf(layUps, func(r *register.LayUp) string { return "a lay-up from " + r.From.String() }),
		duties.name:      undoerOf(duties, func(*register.Duty) string { return "the duty of a kind of machine" }),
		conditions.name:  undoerOf(conditions, func(r *register.Conditions) string { return "service conditions from " + r.From.String() }),
		inspections.name: undoerOf(inspections, func(r *register.Inspection) string { return "an inspection of " + r.On.String() }),
		findings.name:    undoerOf(findings, func(r *register.Finding) string { return "a finding of " + r.SeenOn.String() }),
	}
}

// undoerOf makes the undoer of a table; name is how people call a row.
func undoerOf[T any](tab *table[T], name func(*T) string) undoer {
	return func(t *tx, c *register.Change) error {
		now, err := tab.one(t.ctx, t.conn, "id = ?", c.EntityID)
		if err != nil {
			return err
		}
		left, before := new(T), new(T)
		if err := json.Unmarshal([]byte(c.After), left); err != nil {
			return fmt.Errorf("read change %d: %w", c.Seq, err)
		}
		if now == nil || !sameButVersion(now, left) {
			return refuse(register.Refused, "", "The import cannot be undone any more: %s was changed since.", name(left))
		}
		if c.Action == register.Added {
			return remove(t, tab, now, c.EntityID, name(now))
		}
		if err := json.Unmarshal([]byte(c.Before), before); err != nil {
			return fmt.Errorf("read change %d: %w", c.Seq, err)
		}
		version := versionOf(now)
		setVersion(before, version+1)
		if err := update(t, tab, now, before, c.EntityID, version, nil); err != nil {
			return err
		}
		return t.undone(now, before)
	}
}

// remove deletes a row that nothing was built upon.
func remove[T any](t *tx, tab *table[T], row *T, id int64, name string) error {
	for _, c := range childrenOf(tab.name) {
		var n int
		if err := t.row(t.ctx, fmt.Sprintf("SELECT COUNT(*) FROM %s WHERE %s", c.table, c.where), id).Scan(&n); err != nil {
			return fmt.Errorf("look for %s of %s %d: %w", c.table, tab.name, id, translate(err))
		}
		if n > 0 {
			return refuse(register.Refused, "", "The import cannot be undone any more: %s has got %s since.", name, c.what)
		}
	}
	for _, q := range derivedOf(tab.name) {
		if _, err := t.exec(t.ctx, q, id); err != nil {
			return fmt.Errorf("delete what belongs to %s %d: %w", tab.name, id, err)
		}
	}
	if _, err := t.exec(t.ctx, "DELETE FROM "+tab.name+" WHERE id = ?", id); err != nil {
		return t.explain("delete from "+tab.name, err, nil)
	}
	if err := t.note(tab.name, id, register.Deleted, row, nil); err != nil {
		return err
	}
	return t.undone(row, nil)
}

// child is a table whose rows may be built upon another's.
type child struct{ table, where, what string }

func childrenOf(table string) []child {
	said := func(level register.Level) child {
		return child{conditions.name, "level = '" + string(level) + "' AND owner_id = ?", "service conditions"}
	}
	switch table {
	case sites.name:
		return []child{{machines.name, "site_id = ?", "machines"}, {assemblies.name, "site_id = ?", "assemblies"}}
	case policies.name:
		return []child{{sites.name, "policy_id = ?", "sites"}, {positions.name, "policy_id = ?", "positions"}}
	case kinds.name:
		return []child{{machines.name, "kind_id = ?", "machines"}, {duties.name, "kind_id = ?", "a duty"}}
	case machines.name:
		return []child{
			{positions.name, "machine_id = ?", "positions"},
			{circuits.name, "machine_id = ?", "circuits"},
			{readings.name, "machine_id = ?", "readings"},
			{meterEvents.name, "machine_id = ?", "meter events"},
			{layUps.name, "machine_id = ?", "lay-ups"},
			said(register.AtMachine),
		}
	case circuits.name:
		return []child{{positions.name, "circuit_id = ?", "positions"}, said(register.AtCircuit)}
	case positions.name:
		return []child{{placements.name, "position_id = ?", "assemblies"}, {inspections.name, "position_id = ?", "inspections"}, said(register.AtPosition)}
	case assemblies.name:
		return []child{{placements.name, "assembly_id = ?", "fittings"}, {inspections.name, "assembly_id = ?", "inspections"}, {findings.name, "assembly_id = ?", "findings"}}
	case placements.name:
		return []child{
			{removals.name, "placement_id = ?", "a removal"},
			{inspections.name, "id IN (SELECT i.id FROM inspections i JOIN placements p ON p.assembly_id = i.assembly_id AND p.position_id = i.position_id AND i.on_day >= p.from_on AND (p.to_on IS NULL OR i.on_day <= p.to_on) WHERE p.id = ?)", "inspections"},
		}
	case inspections.name:
		return []child{{findings.name, "inspection_id = ?", "findings"}}
	}
	return nil
}

// derivedOf deletes what is kept for a row and is no change.
func derivedOf(table string) []string {
	if table == assemblies.name {
		return []string{"DELETE FROM estimates WHERE assembly_id = ?", "DELETE FROM assembly_codes WHERE assembly_id = ?"}
	}
	return nil
}

// undone keeps estimates in step with a row that was taken back; after is nil
// if it was deleted.
func (t *tx) undone(now, after any) error {
	switch r := now.(type) {
	case *register.Placement:
		if err := t.dropEstimate(r.AssemblyID); err != nil {
			return err
		}
		t.touched.assembly(r.AssemblyID)
		if p, ok := after.(*register.Placement); ok {
			t.touched.assembly(p.AssemblyID)
			if p.To.IsZero() {
				return t.awaitEstimate(p.AssemblyID)
			}
		}
	case *register.Assembly:
		t.touched.assembly(r.ID)
	case *register.Machine:
		t.touched.machine(r.ID)
	case *register.Position:
		t.touched.machine(r.MachineID)
	case *register.Reading:
		t.touched.machine(r.MachineID)
	case *register.MeterEvent:
		t.touched.machine(r.MachineID)
		mark(&t.touched.meters, r.MachineID)
	case *register.Inspection:
		t.touched.assembly(r.AssemblyID)
	case *register.Finding:
		t.touched.assembly(r.AssemblyID)
	case *register.LayUp:
		t.touched.machine(r.MachineID)
	case *register.Duty:
		t.touched.kind(r.KindID)
		t.keys.frame = nil
	case *register.Conditions:
		return t.touchOwner(r)
	}
	return nil
}

// touchOwner marks the machine that service conditions are about.
func (t *tx) touchOwner(r *register.Conditions) error {
	switch r.Level {
	case register.AtPosition:
		s, err := t.seatByID(r.OwnerID)
		if err == nil {
			t.touched.machine(s.machine.ID)
		}
		return err
	case register.AtCircuit:
		c, err := circuits.one(t.ctx, t.conn, "id = ?", r.OwnerID)
		if err == nil && c != nil {
			t.touched.machine(c.MachineID)
		}
		return err
	}
	t.touched.machine(r.OwnerID)
	return nil
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
