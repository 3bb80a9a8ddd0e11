package store

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"hoseward/internal/register"
)

// ownImports limits imports to those of a person where the scope does not hold
// all sites: a file may have brought things of any of them.
func (s *Store) ownImports(personID int64) string {
	if s.scope.All {
		return ""
	}
	return " AND person_id = " + strconv.FormatInt(personID, 10)
}

// Imports are the files that were taken in, newest first, at most 200: all of
// them for whoever sees all sites, else those that the person brought.
func (s *Store) Imports(ctx context.Context, personID int64) ([]register.Import, error) {
	return imports.where(ctx, s.reader(), "1 = 1"+s.ownImports(personID)+" ORDER BY id DESC LIMIT 200")
}

// FileImported finds a taken and not undone import of a file among Imports, nil
// if there is none.
func (s *Store) FileImported(ctx context.Context, personID int64, fileHash string) (*register.Import, error) {
	return imports.one(ctx, s.reader(), "file_hash = ? AND undone_at IS NULL"+s.ownImports(personID)+" ORDER BY id DESC LIMIT 1", fileHash)
}

// UndoImport takes back all that an import added and changed, in one
// transaction. It is refused, with a sentence that names what, as soon as one
// of its rows was changed or built upon since.
func (s *Store) UndoImport(ctx context.Context, now time.Time, by register.Actor, id int64) (register.Result, error) {
	return s.change(ctx, now, by, func(t *tx) error { return t.undoImport(id) })
}

func (t *tx) undoImport(id int64) error {
	t.need = register.RightPlan
	mine, err := t.myRoles()
	if err != nil {
		return err
	}
	row, err := imports.one(t.ctx, t.conn, "id = ?", id)
	switch {
	case err != nil:
		return err
	case row == nil || !mine.Everywhere(register.RightPlan) && row.PersonID != t.by.PersonID:
		return refuse(register.NotFound, "", "There is no import %d.", id)
	case row.UndoneAt != nil:
		return refuse(register.Refused, "", "This import was undone already.")
	}
	t.by.Reason = orElse(t.by.Reason, fmt.Sprintf("import %d (%s) undone", id, row.FileName))
	t.title = orElse(t.title, "Undo the import of "+orElse(row.FileName, "a list"))
	if err := t.goBack("import_id", id, "The import cannot be undone any more"); err != nil {
		return err
	}
	after := *row
	after.UndoneAt = &t.now
	if err := t.orm.Save(&after).Error; err != nil {
		return t.explain("note the undoing", err, nil)
	}
	if err := t.note(imports.name, id, register.Changed, row, &after); err != nil {
		return err
	}
	acts, err := ids(t.ctx, t.conn, "SELECT DISTINCT act_id FROM changes WHERE import_id = ? AND act_id IS NOT NULL", id)
	if err != nil {
		return fmt.Errorf("find the act of import %d: %w", id, err)
	}
	for _, act := range acts {
		if err := t.markUndone(act); err != nil {
			return err
		}
	}
	return nil
}
