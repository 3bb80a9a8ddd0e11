package store

import (
	"context"
	"fmt"
	"time"

	"hoseward/internal/register"
)

// maxTitle bounds the letters of an act's title.
const maxTitle = 200

// beginAct writes the row of the act this transaction is, once it is certain
// that it changes something.
func (t *tx) beginAct() error {
	if t.act != 0 {
		return nil
	}
	title := []rune(t.title)
	if len(title) > maxTitle {
		title = append(title[:maxTitle-1], '…')
	}
	err := t.row(t.ctx, "INSERT INTO acts (at, person_id, origin, title) VALUES (?, ?, ?, ?) RETURNING id",
		t.now, t.by.PersonID, string(t.by.Origin), string(title)).Scan(&t.act)
	if err != nil {
		return fmt.Errorf("note what is done: %w", translate(err))
	}
	return nil
}

// tellOfWhat adds to the title of a correction, which knows a row by its number
// only, the assembly or machine it is about.
func (t *tx) tellOfWhat(cmds []register.Command) error {
	if len(cmds) != 1 {
		return nil
	}
	query, id := "", int64(0)
	const ofAssembly, ofMachine = "SELECT code FROM assemblies WHERE id = (SELECT assembly_id FROM %s WHERE id = ?)", "SELECT code FROM machines WHERE id = (SELECT machine_id FROM %s WHERE id = ?)"
	switch c := cmds[0].(type) {
	case register.ChangePlacement:
		query, id = fmt.Sprintf(ofAssembly, placements.name), c.Placement.ID
	case register.ChangeInspection:
		query, id = fmt.Sprintf(ofAssembly, inspections.name), c.Inspection.ID
	case register.ChangeFinding:
		query, id = fmt.Sprintf(ofAssembly, findings.name), c.Finding.ID
	case register.CloseFinding:
		query, id = fmt.Sprintf(ofAssembly, findings.name), c.FindingID
	case register.ChangeReading:
		query, id = fmt.Sprintf(ofMachine, readings.name), c.Reading.ID
	case register.ChangeMeterEvent:
		query, id = fmt.Sprintf(ofMachine, meterEvents.name), c.Event.ID
	case register.ChangeLayUp:
		query, id = fmt.Sprintf(ofMachine, layUps.name), c.LayUp.ID
	default:
		return nil
	}
	codes, err := t.texts(query, id)
	if err == nil && len(codes) == 1 {
		t.title += ", " + codes[0]
	}
	return err
}

// markUndone notes that this transaction undid an act.
func (t *tx) markUndone(id int64) error {
	if err := t.beginAct(); err != nil {
		return err
	}
	if _, err := t.exec(t.ctx, "UPDATE acts SET undone_by = ? WHERE id = ?", t.act, id); err != nil {
		return fmt.Errorf("note that act %d is undone: %w", id, err)
	}
	return nil
}

// Acts are what a person did and may still undo, newest first: within
// register.UndoWithin, not undone, no undoing, and nothing about people and
// their signing in. Whether something was built
// upon one is found out by undoing it. limit 0 means 100.
func (s *Store) Acts(ctx context.Context, now time.Time, personID int64, limit int) ([]register.Act, error) {
	if limit <= 0 {
		limit = 100
	}
	return acts.where(ctx, s.reader(), fmt.Sprintf(`person_id = ? AND at >= ? AND undone_by IS NULL AND origin NOT IN (?, ?)
		AND NOT EXISTS (SELECT 1 FROM acts u WHERE u.undone_by = acts.id)
		AND NOT EXISTS (SELECT 1 FROM changes c WHERE c.act_id = acts.id AND (c.entity IN ('person_roles', 'credentials', 'invitations', 'devices', 'tokens')
			OR c.entity = 'people' AND c.entity_id <> acts.person_id)) ORDER BY id DESC LIMIT %d`, limit),
		personID, now.UTC().Add(-register.UndoWithin), string(register.FromJob), string(register.FromDemo))
}
