package store

import (
	"encoding/json"
	"fmt"

	"hoseward/internal/register"
)

// Whoever makes changes names things by their codes, names and numbers. What
// belongs to a site they may not see is to them as if it were not there: it is
// NotFound in the words of what does not exist, and nothing of it stands in a
// refusal. permit decides of what they see whether they may change it.

// seesAll reports whether who makes the changes sees every site.
func (t *tx) seesAll() (bool, error) {
	mine, err := t.myRoles()
	return mine.Everywhere(register.RightSee), err
}

// sees reports whether who makes the changes may see a site; all may see what
// is of no site, 0.
func (t *tx) sees(siteID int64) (bool, error) {
	mine, err := t.myRoles()
	return siteID == 0 || mine.At(siteID, register.RightSee), err
}

// visible reports whether who makes the changes may see what a row belongs to.
func (t *tx) visible(row any) (bool, error) {
	if all, err := t.seesAll(); err != nil || all {
		return all, err
	}
	of, err := t.belongsTo(row)
	if err != nil {
		return false, err
	}
	return t.sees(of.site)
}

// orHidden is a row that was found by its name or number, nil where who makes
// the changes may not see it.
func orHidden[T any](t *tx, row *T, err error) (*T, error) {
	if err != nil || row == nil {
		return nil, err
	}
	if shown, err := t.visible(row); err != nil || !shown {
		return nil, err
	}
	return row, nil
}

// visibleSite is the site of a number, nil where there is none that who makes
// the changes may see.
func (t *tx) visibleSite(id int64) (*register.Site, error) {
	site, err := sites.one(t.ctx, t.conn, "id = ?", id)
	return orHidden(t, site, err)
}

// unseen are how many of some machines who makes the changes may not see.
func (t *tx) unseen(rows []register.Machine) (int, error) {
	n := 0
	for i := range rows {
		shown, err := t.sees(rows[i].SiteID)
		if err != nil {
			return 0, err
		}
		if !shown {
			n++
		}
	}
	return n, nil
}

// unseenSeats are how many of some positions who makes the changes may not see.
func (t *tx) unseenSeats(rows []register.Position) (int, error) {
	if all, err := t.seesAll(); err != nil || all {
		return 0, err
	}
	n := 0
	for i := range rows {
		shown, err := t.visible(&rows[i])
		if err != nil {
			return 0, err
		}
		if !shown {
			n++
		}
	}
	return n, nil
}

// sitesSeen are the first sites that who makes the changes may see, at most so
// many.
func (t *tx) sitesSeen(most int) ([]register.Site, error) {
	list, err := sites.where(t.ctx, t.conn, "1 = 1 ORDER BY id")
	if err != nil {
		return nil, err
	}
	var seen []register.Site
	for i := range list {
		shown, err := t.sees(list[i].ID)
		if err != nil {
			return nil, err
		}
		if shown && len(seen) < most {
			seen = append(seen, list[i])
		}
	}
	return seen, nil
}

// mayBegin refuses a command to whoever has its right nowhere, before anything
// of the register is told by another refusal. A site is added by whoever has it
// everywhere. What changes no row of the register is decided here alone.
func (t *tx) mayBegin(c register.Command) error {
	mine, err := t.myRoles()
	if err != nil {
		return err
	}
	may := mine.Anywhere(t.need)
	if _, ok := c.(register.AddSite); ok {
		may = mine.Everywhere(t.need)
	}
	if may {
		return nil
	}
	return t.forbidden(belongs{})
}

// mayTake refuses to take an assembly into use for whoever may not do so where
// it is now: a hose kept by one site is not for another to fit.
func (t *tx) mayTake(a *register.Assembly) error {
	of, err := t.ofAssembly(a)
	if err != nil {
		return err
	}
	mine, err := t.myRoles()
	if err != nil || mine.At(of.site, t.need) {
		return err
	}
	return t.forbidden(of)
}

// following lets f change what only follows from a change that was permitted,
// such as the site that keeps an assembly which came off a machine.
func (t *tx) following(f func() error) error {
	t.follows++
	defer func() { t.follows-- }()
	return f()
}

// followingIf is following where that is so, and runs f as it is otherwise.
func (t *tx) followingIf(so bool, f func() error) error {
	if !so {
		return f()
	}
	return t.following(f)
}

// keptElsewhere reports whether a change only says which site keeps an assembly,
// which is what the end of its placement brings with it, and was made where who
// undoes it may still make it.
func (t *tx) keptElsewhere(c *register.Change) bool {
	mine, err := t.myRoles()
	if err != nil || c.Entity != assemblies.name || c.Action != register.Changed || c.SiteID == nil || !mine.At(*c.SiteID, t.need) {
		return false
	}
	var before, after register.Assembly
	if json.Unmarshal([]byte(c.Before), &before) != nil || json.Unmarshal([]byte(c.After), &after) != nil {
		return false
	}
	if before.SiteID == after.SiteID {
		return false
	}
	before.SiteID, before.ScrappedOn, before.ScrappedReason, before.Version = after.SiteID, after.ScrappedOn, after.ScrappedReason, after.Version
	return sameButVersion(&before, &after)
}

// hidden is what a change of what belongs to a site that is not to be seen is
// answered.
func hidden() error {
	return refuse(register.NotFound, "", "This is not in the register any more.")
}

// nameOfSite is the name of a site for a sentence, empty for none.
func (t *tx) nameOfSite(id int64) (string, error) {
	site, err := sites.one(t.ctx, t.conn, "id = ?", id)
	if err != nil {
		return "", fmt.Errorf("find the name of site %d: %w", id, err)
	}
	if site == nil {
		return "", nil
	}
	return site.Name, nil
}
