package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"hoseward/internal/register"
)

// The pages of the change log.
const (
	changesUsual = 100
	changesMost  = 1000
)

// Changes are rows of the change log, newest first, as far as they belong to the
// scope; what belongs to no site, but for kinds and policies, is for who sees
// all sites.
func (s *Store) Changes(ctx context.Context, f register.ChangeFilter) (register.ChangePage, error) {
	return s.changePage(ctx, f.Before, f.Limit, s.sourcesOf(f))
}

// HistoryOf are the changes of one thing, newest first: of a machine and an
// assembly all that belongs to it, of a position what sat and was seen there,
// of a kind its duties and usual positions, of a person their roles, tokens and
// devices, of an import all it changed, of anything else its own row. Rows from
// before changes said what they belong to are found by their own row only. Who
// may see what was changed about a person is for the caller to decide.
func (s *Store) HistoryOf(ctx context.Context, h register.History) (register.ChangePage, error) {
	var list []source
	for _, src := range historySources(h) {
		list = append(list, s.scoped(src)...)
	}
	page, err := s.changePage(ctx, h.Before, h.Limit, list)
	if _, known := page.Names.Of(h.Entity, h.ID); err != nil || known {
		return page, err
	}
	return page, s.nameRows(ctx, page.Names, h.Entity, []int64{h.ID}) // nobody changed it
}

// source is a condition by which rows of the log are found along one index.
type source struct {
	where string
	args  []any
}

func (q source) and(where string, args ...any) source {
	if q.where != "" {
		where = q.where + " AND " + where
	}
	return source{where, append(q.args[:len(q.args):len(q.args)], args...)}
}

// peopleTables are those whose rows are about people.
func peopleTables() string {
	return "('" + strings.Join([]string{people.name, personRoles.name, tokens.name, devices.name, invitations.name}, "', '") + "')"
}

// sourcesOf are where the rows of a filter are found.
func (s *Store) sourcesOf(f register.ChangeFilter) []source {
	var q source
	for _, c := range []struct {
		given bool
		where string
		value any
	}{
		{f.PersonID != 0, "person_id = ?", f.PersonID},
		{f.SiteID != 0, "site_id = ?", f.SiteID},
		{f.MachineID != 0, "machine_id = ?", f.MachineID},
		{f.AssemblyID != 0, "assembly_id = ?", f.AssemblyID},
		{f.ActID != 0, "act_id = ?", f.ActID},
		{f.ImportID != 0, "import_id = ?", f.ImportID},
		{f.EntityID != 0, "entity = ?", f.Entity}, // along the index of both
		{f.EntityID != 0, "entity_id = ?", f.EntityID},
		{f.Entity != "" && f.EntityID == 0, "entity || '' = ?", f.Entity}, // not along it: it would have to sort
		{f.Origin != "", "origin = ?", string(f.Origin)},
		{f.Action != "", "action = ?", string(f.Action)},
		{!f.From.IsZero(), "at >= ?", f.From.UTC()},
		{!f.Until.IsZero(), "at < ?", f.Until.UTC()},
		{f.Reason != "", "reason <> '' AND LOWER(reason) LIKE ? ESCAPE '^'", "%" + escapeLike(strings.ToLower(f.Reason)) + "%"},
	} {
		if c.given {
			q = q.and(c.where, c.value)
		}
	}
	if !f.People || !s.scope.All {
		q = q.and("entity NOT IN " + peopleTables())
	}
	return s.scoped(q)
}

func escapeLike(text string) string {
	return strings.NewReplacer("^", "^^", "%", "^%", "_", "^_").Replace(text)
}

// scoped are the sources that find of q what belongs to the scope: each site
// along its index, and what all may see.
func (s *Store) scoped(q source) []source {
	if s.scope.All {
		return []source{q}
	}
	list := []source{q.and("site_id IS NULL AND entity IN ('" + strings.Join([]string{kinds.name, kindPositions.name, duties.name, policies.name}, "', '") + "')")}
	for _, id := range s.scope.Sites {
		list = append(list, q.and("site_id = ?", id))
	}
	return list
}

// historySources are where the changes of a thing are found.
func historySources(h register.History) []source {
	own := source{"entity = ? AND entity_id = ?", []any{h.Entity, h.ID}}
	naming := func(tables string, key string) source {
		like := fmt.Sprintf(`%%"%s":%d,%%`, key, h.ID)
		return source{"entity IN (" + tables + `) AND ("before" LIKE ? OR "after" LIKE ?)`, []any{like, like}}
	}
	switch h.Entity {
	case machines.name:
		return []source{{"machine_id = ?", []any{h.ID}}, own.and("machine_id IS NULL")}
	case assemblies.name:
		return []source{{"assembly_id = ?", []any{h.ID}}, own.and("assembly_id IS NULL")}
	case positions.name:
		here := "machine_id = (SELECT machine_id FROM positions WHERE id = ?)"
		level := naming("'conditions'", "OwnerID").and(`("before" LIKE '%"Level":"position"%' OR "after" LIKE '%"Level":"position"%')`)
		return []source{own, naming("'placements', 'inspections'", "PositionID").and(here, h.ID), level.and(here, h.ID)}
	case kinds.name:
		return []source{own, naming("'duties', 'kind_positions'", "KindID")}
	case people.name:
		return []source{own, naming("'person_roles', 'tokens', 'devices', 'invitations'", "PersonID")}
	case imports.name:
		return []source{own.and("import_id IS NULL"), {"import_id = ?", []any{h.ID}}}
	}
	return []source{own}
}

// changePage reads the newest rows of all sources, in order, each once.
func (s *Store) changePage(ctx context.Context, before int64, limit int, list []source) (register.ChangePage, error) {
	if limit <= 0 {
		limit = changesUsual
	}
	limit = min(limit, changesMost)
	var page register.ChangePage
	for _, q := range list {
		if before > 0 {
			q = q.and("seq < ?", before)
		}
		rows, err := changes.where(ctx, s.reader(), cmp.Or(q.where, "TRUE")+fmt.Sprintf(" ORDER BY seq DESC LIMIT %d", limit+1), q.args...)
		if err != nil {
			return page, err
		}
		page.Changes = append(page.Changes, rows...)
	}
	slices.SortFunc(page.Changes, func(a, b register.Change) int { return cmp.Compare(b.Seq, a.Seq) })
	page.Changes = slices.CompactFunc(page.Changes, func(a, b register.Change) bool { return a.Seq == b.Seq })
	if len(page.Changes) > limit {
		page.Changes = page.Changes[:limit]
		page.Next = page.Changes[limit-1].Seq
	}
	var err error
	page.Names, err = s.namesIn(ctx, page.Changes)
	return page, err
}

// mentioned are the rows that the JSON of a row refers to.
type mentioned struct {
	SiteID, MachineID, KindID, PolicyID, CircuitID, PositionID, AssemblyID, InspectionID, PlacementID, PersonID, MadeBy, OwnerID *int64
	Level                                                                                                                        register.Level
}

// namesIn are the names of what some changes speak of.
func (s *Store) namesIn(ctx context.Context, rows []register.Change) (register.Names, error) {
	want := map[string][]int64{}
	add := func(table string, id *int64) {
		if id != nil && *id > 0 && !slices.Contains(want[table], *id) {
			want[table] = append(want[table], *id)
		}
	}
	for i := range rows {
		c := &rows[i]
		add(c.Entity, &c.EntityID)
		add(people.name, &c.PersonID)
		add(imports.name, c.ImportID)
		add(sites.name, c.SiteID)
		add(machines.name, c.MachineID)
		add(assemblies.name, c.AssemblyID)
		for _, text := range []string{c.Before, c.After} {
			var m mentioned
			unmarshal(text, &m)
			for table, id := range map[string]*int64{
				sites.name: m.SiteID, machines.name: m.MachineID, kinds.name: m.KindID, policies.name: m.PolicyID, circuits.name: m.CircuitID,
				positions.name: m.PositionID, assemblies.name: m.AssemblyID, inspections.name: m.InspectionID, placements.name: m.PlacementID,
				people.name: m.PersonID, string(m.Level) + "s": m.OwnerID,
			} {
				add(table, id)
			}
			add(people.name, m.MadeBy)
		}
	}
	names := register.Names{}
	for table, list := range want {
		if err := s.nameRows(ctx, names, table, list); err != nil {
			return nil, err
		}
	}
	return names, nil
}

// nameQuery gives id, name and machine of rows of a table of the scope; empty
// for a table whose rows have no names. Of people nothing but the name is told,
// which stands beside all they did.
func (s *Store) nameQuery(table string) string {
	at := s.within("m.site_id")
	switch table {
	case sites.name:
		return "SELECT id, name, '' FROM sites WHERE TRUE" + s.within("id") + " AND id IN "
	case machines.name:
		return "SELECT m.id, m.code, '' FROM machines m WHERE TRUE" + at + " AND m.id IN "
	case kinds.name, policies.name, people.name:
		return "SELECT id, name, '' FROM " + table + " WHERE id IN "
	case imports.name:
		return "SELECT id, file_name, '' FROM imports WHERE id IN "
	case positions.name, circuits.name:
		return "SELECT r.id, r.name, m.code FROM " + table + " r JOIN machines m ON m.id = r.machine_id" + at + " WHERE r.id IN "
	case assemblies.name:
		return "SELECT a.id, a.code, '' FROM assemblies a WHERE TRUE" + s.within(siteOfAssembly) + " AND a.id IN "
	case placements.name, inspections.name:
		return "SELECT r.id, a.code || ' at ' || q.name, m.code FROM " + table + ` r JOIN positions q ON q.id = r.position_id
			JOIN assemblies a ON a.id = r.assembly_id JOIN machines m ON m.id = q.machine_id` + at + " WHERE r.id IN "
	}
	return ""
}

func (s *Store) nameRows(ctx context.Context, names register.Names, table string, list []int64) error {
	query := s.nameQuery(table)
	if query == "" {
		return nil
	}
	if names[table] == nil {
		names[table] = map[int64]register.Name{}
	}
	rows, err := s.reader().query(ctx, query+"("+idList(list)+")")
	if err != nil {
		return fmt.Errorf("find names of %s: %w", table, translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var n register.Name
		if err := rows.Scan(&id, &n.Text, &n.Machine); err != nil {
			return fmt.Errorf("find names of %s: %w", table, err)
		}
		names[table][id] = n
	}
	return translate(rows.Err())
}

// IDNamed is the id of a machine, an assembly, a site, a kind, a policy or a
// person by what people call it, as far as it belongs to the scope; 0 if there
// is none.
func (s *Store) IDNamed(ctx context.Context, table, name string) (int64, error) {
	where := "LOWER(name) = ?"
	switch table {
	case machines.name:
		where = "LOWER(code) = ?" + s.within("site_id")
	case assemblies.name:
		where = "LOWER(code) = ?" + s.holdsAssembly("assemblies.id")
	case sites.name:
		where += s.within("id")
	case kinds.name, policies.name, people.name:
	default:
		return 0, fmt.Errorf("find a row of %s by its name: its rows have none", table)
	}
	found, err := ids(ctx, s.reader(), "SELECT id FROM "+table+" WHERE "+where+" ORDER BY id LIMIT 1", fold(name))
	if err != nil || len(found) == 0 {
		return 0, wrapNamed(table, name, err)
	}
	return found[0], nil
}

func wrapNamed(table, name string, err error) error {
	if err != nil {
		err = fmt.Errorf("find %q among %s: %w", name, table, err)
	}
	return err
}
