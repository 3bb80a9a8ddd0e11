package store

import (
	"errors"
	"fmt"

	"gorm.io/gorm"

	"hoseward/internal/register"
)

func codeTaken(code string) error {
	return refuse(register.Exists, "code", "The code %s is or was another assembly's; codes are never used again. Choose another.", code)
}

func (t *tx) addAssembly(c register.AddAssembly) error {
	site, err := t.site(c.Site)
	if err != nil {
		return err
	}
	row := c.Assembly
	row.ID, row.SiteID, row.Version = 0, site.ID, 1
	if row.Code == "" {
		row.Code, err = t.nextCode()
	} else {
		err = t.codeFree(row.Code, 0)
	}
	if err != nil {
		return err
	}
	if err := insert(t, assemblies, &row, &row.ID, codeTaken(row.Code)); err != nil {
		return err
	}
	if err := t.keepCode(row.Code, row.ID); err != nil {
		return err
	}
	t.keys.room()
	t.keys.assemblies[fold(row.Code)] = &row
	t.codes = append(t.codes, row.Code)
	t.justAdded = row.Code
	return nil
}

// codeFree refuses a code that another assembly has or had.
func (t *tx) codeFree(code string, assemblyID int64) error {
	var n int
	err := t.row(t.ctx, "SELECT COUNT(*) FROM assembly_codes WHERE LOWER(code) = ? AND assembly_id <> ?", fold(code), assemblyID).Scan(&n)
	if err != nil {
		return fmt.Errorf("look up code %q: %w", code, translate(err))
	}
	if n > 0 {
		return codeTaken(code)
	}
	return nil
}

// keepCode remembers a code for good.
func (t *tx) keepCode(code string, assemblyID int64) error {
	_, err := t.exec(t.ctx, "INSERT INTO assembly_codes (code, assembly_id) VALUES (?, ?)", code, assemblyID)
	if errors.Is(err, gorm.ErrDuplicatedKey) {
		return codeTaken(code)
	}
	if err != nil {
		return fmt.Errorf("keep code %q: %w", code, err)
	}
	return nil
}

// nextCode gives out H-000001 and up, leaving out what people typed
// themselves.
func (t *tx) nextCode() (string, error) {
	for {
		var n int64
		err := t.row(t.ctx, "UPDATE code_counters SET last = last + 1 WHERE name = 'assembly' RETURNING last").Scan(&n)
		if err != nil {
			return "", fmt.Errorf("give out a code: %w", translate(err))
		}
		code := fmt.Sprintf("H-%06d", n)
		if err := t.codeFree(code, 0); !isCode(err, register.Exists) {
			return code, err
		}
	}
}

func (t *tx) changeAssembly(c register.ChangeAssembly) error {
	row := c.Assembly
	before, err := assemblies.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, row.ID)
	before, err = orHidden(t, before, err)
	switch {
	case err != nil:
		return err
	case before == nil:
		return refuse(register.NotFound, "", "This assembly is not in the register any more.")
	case before.Version != row.Version:
		return conflict()
	}
	if row.SiteID == 0 {
		row.SiteID = before.SiteID
	}
	if row.SiteID != before.SiteID {
		if site, err := t.visibleSite(row.SiteID); err != nil || site == nil {
			return firstError(err, refuse(register.NotFound, "site", "There is no such site; choose one of those the register has."))
		}
	}
	if err := t.staysAgree(&row); err != nil {
		return err
	}
	row.Version++
	newCode := row.Code != before.Code
	if newCode {
		if err := t.codeFree(row.Code, row.ID); err != nil {
			return err
		}
	}
	if err := update(t, assemblies, before, &row, row.ID, before.Version, codeTaken(row.Code)); err != nil {
		return err
	}
	if newCode {
		if err := t.keepNewCode(row.Code, row.ID); err != nil {
			return err
		}
	}
	delete(t.keys.assemblies, fold(before.Code))
	t.keys.assemblies[fold(row.Code)] = &row
	t.touched.assembly(row.ID)
	return nil
}

// keepNewCode keeps the code an assembly is changed to, which may be one it
// had before.
func (t *tx) keepNewCode(code string, assemblyID int64) error {
	var n int
	err := t.row(t.ctx, "SELECT COUNT(*) FROM assembly_codes WHERE LOWER(code) = ?", fold(code)).Scan(&n)
	if err != nil {
		return fmt.Errorf("look up code %q: %w", code, translate(err))
	}
	if n > 0 {
		return nil
	}
	return t.keepCode(code, assemblyID)
}
