package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/register"
)

// findForm is the form of the texts search looks in. Whoever changes what they
// say counts it up, and Migrate makes them anew.
const findForm = 1

// findTable is one table of texts to search: what is in it and what its texts
// are made of. Rows it does not give have no text.
type findTable struct {
	name string
	from string // columns, tables and conditions, ending in a condition on id
	read func(*sql.Rows) (id int64, text string, err error)
}

// storedMark stands in the text of what is in store, so that it is found among
// all that is fitted. No name of a thing is likely to have it.
const storedMark = "in store ·"

var findAssemblies = findTable{
	name: "find_assemblies",
	from: `a.id, a.code, a.designation, a.layline, a.maker, a.dn, a.dash, COALESCE(m.code, ''), COALESCE(m.name, ''),
			COALESCE(ms.name, s.name), COALESCE(c.name, ''), COALESCE(q.name, ''),
			CASE WHEN p.id IS NOT NULL THEN '' WHEN a.scrapped_on IS NOT NULL THEN 'scrapped' ELSE '` + storedMark + `' END
		FROM assemblies a JOIN sites s ON s.id = a.site_id
			LEFT JOIN placements p ON p.assembly_id = a.id AND p.to_on IS NULL
			LEFT JOIN positions q ON q.id = p.position_id LEFT JOIN machines m ON m.id = q.machine_id
			LEFT JOIN sites ms ON ms.id = m.site_id LEFT JOIN circuits c ON c.id = q.circuit_id
		WHERE a.id`,
	read: func(rows *sql.Rows) (id int64, text string, err error) {
		var w [10]string
		var size hose.Size
		err = rows.Scan(&id, &w[0], &w[1], &w[2], &w[3], &size.DN, &size.Dash, &w[4], &w[5], &w[6], &w[7], &w[8], &w[9])
		return id, findText(append(sizeWords(size), w[:]...)...), err
	},
}

var findMachines = findTable{
	name: "find_machines",
	from: `m.id, m.code, m.name, m.serial, s.name, COALESCE(k.name, '')
		FROM machines m JOIN sites s ON s.id = m.site_id LEFT JOIN kinds k ON k.id = m.kind_id
		WHERE m.gone_on IS NULL AND m.id`,
	read: func(rows *sql.Rows) (id int64, text string, err error) {
		var w [5]string
		err = rows.Scan(&id, &w[0], &w[1], &w[2], &w[3], &w[4])
		return id, findText(w[:]...), err
	},
}

// findPositions has those without a hose: what is fitted is found as its
// assembly.
var findPositions = findTable{
	name: "find_positions",
	from: `q.id, m.code, m.name, s.name, COALESCE(k.name, ''), COALESCE(c.name, ''), q.name
		FROM positions q JOIN machines m ON m.id = q.machine_id JOIN sites s ON s.id = m.site_id
			LEFT JOIN kinds k ON k.id = m.kind_id LEFT JOIN circuits c ON c.id = q.circuit_id
		WHERE q.gone_on IS NULL AND m.gone_on IS NULL
			AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.position_id = q.id AND p.to_on IS NULL) AND q.id`,
	read: func(rows *sql.Rows) (id int64, text string, err error) {
		var w [6]string
		err = rows.Scan(&id, &w[0], &w[1], &w[2], &w[3], &w[4], &w[5])
		return id, findText(w[:]...), err
	},
}

// findText is what search looks in: words in small letters, a space before and
// behind each, so that a piece with a space before it begins a word.
func findText(parts ...string) string {
	words := strings.Fields(strings.ToLower(strings.Join(parts, " ")))
	return " " + strings.Join(words, " ") + " "
}

// sizeWords are the names of a size as people look for it: DN 12, -8 and 1/2.
func sizeWords(s hose.Size) []string {
	if full := s.Complete(); !full.IsZero() {
		s = full
	}
	var words []string
	if s.DN != 0 {
		words = append(words, "dn "+strconv.Itoa(s.DN))
	}
	if s.Dash != 0 {
		words = append(words, "-"+strconv.Itoa(s.Dash))
	}
	return append(words, strings.ReplaceAll(s.Inch(), " ", "-"))
}

// finds is what a transaction changed that bears on the texts to search.
type finds struct {
	assemblies, machines, positions map[int64]bool // themselves
	// What these hold has texts with their names in them.
	under map[owner]bool
}

// owner is a row whose name stands in the texts of others.
type owner struct {
	table string
	id    int64
}

// note takes in a change. Changes that alter no text are left out.
func (f *finds) note(before, after any) {
	switch b := before.(type) {
	case *register.Site:
		if a, ok := after.(*register.Site); ok && a.Name != b.Name {
			f.renamed(sites.name, b.ID)
		}
	case *register.Kind:
		if a, ok := after.(*register.Kind); ok && a.Name != b.Name {
			f.renamed(kinds.name, b.ID)
		}
	case *register.Circuit:
		if a, ok := after.(*register.Circuit); ok && a.Name != b.Name {
			f.renamed(circuits.name, b.ID)
		}
	case *register.Machine:
		if a, ok := after.(*register.Machine); ok && machineSays(a) != machineSays(b) {
			f.renamed(machines.name, b.ID)
		}
	case *register.Position:
		if a, ok := after.(*register.Position); ok && positionSays(a) != positionSays(b) {
			f.renamed(positions.name, b.ID)
		}
	}
	f.itself(before)
	f.itself(after)
}

func (f *finds) itself(row any) {
	switch r := row.(type) {
	case *register.Machine:
		mark(&f.machines, r.ID)
	case *register.Position:
		mark(&f.positions, r.ID)
	case *register.Assembly:
		mark(&f.assemblies, r.ID)
	case *register.Placement:
		mark(&f.assemblies, r.AssemblyID)
		mark(&f.positions, r.PositionID)
	}
}

func (f *finds) renamed(table string, id int64) {
	if f.under == nil {
		f.under = map[owner]bool{}
	}
	f.under[owner{table, id}] = true
}

// machineSays and positionSays are what of a row stands in the texts of what
// it holds.
func machineSays(m *register.Machine) string {
	kind := int64(0)
	if m.KindID != nil {
		kind = *m.KindID
	}
	return fmt.Sprintf("%q %q %d %d %v", m.Code, m.Name, m.SiteID, kind, m.GoneOn.IsZero())
}

func positionSays(p *register.Position) string {
	circuit := int64(0)
	if p.CircuitID != nil {
		circuit = *p.CircuitID
	}
	return fmt.Sprintf("%q %d %v", p.Name, circuit, p.GoneOn.IsZero())
}

// findsKept bounds what a transaction remembers of changed texts before it
// makes them.
const findsKept = 20000

// findsFull makes the texts changed so far if there are many of them.
func (t *tx) findsFull() error {
	if t.depth > 0 || len(t.finds.assemblies)+len(t.finds.machines)+len(t.finds.positions) < findsKept {
		return nil
	}
	return t.finishFinds()
}

// finishFinds makes the texts anew that the transaction changed.
func (t *tx) finishFinds() error {
	f := t.finds
	t.finds = finds{}
	if len(f.assemblies)+len(f.machines)+len(f.positions)+len(f.under) == 0 {
		return nil
	}
	if err := t.lockFinds(len(f.under) > 0); err != nil {
		return err
	}
	if err := f.spread(t.ctx, t.conn); err != nil {
		return err
	}
	for _, one := range []struct {
		table findTable
		ids   map[int64]bool
	}{{findAssemblies, f.assemblies}, {findMachines, f.machines}, {findPositions, f.positions}} {
		if err := one.table.make(t.ctx, t.conn, slices.Sorted(maps.Keys(one.ids))); err != nil {
			return err
		}
	}
	return nil
}

// findLock is any number that no other advisory lock of the register has.
const findLock = 0x66696e64

// lockFinds keeps a transaction that renames what others hold from making
// texts at the same time as one that changes what is held, so that neither
// makes them of rows the other is about to replace: the one is alone, the
// others share. SQLite has one writer anyway.
func (t *tx) lockFinds(alone bool) error {
	if t.e.name != Postgres {
		return nil
	}
	q := "SELECT pg_advisory_xact_lock_shared(?)"
	if alone {
		q = "SELECT pg_advisory_xact_lock(?)"
	}
	if _, err := t.exec(t.ctx, q, findLock); err != nil {
		return fmt.Errorf("wait for other texts to be made: %w", err)
	}
	return nil
}

// spread adds what stands under a renamed row.
func (f *finds) spread(ctx context.Context, c conn) error {
	const fitted = "SELECT p.assembly_id FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id WHERE p.to_on IS NULL AND "
	const places = "SELECT q.id FROM positions q JOIN machines m ON m.id = q.machine_id WHERE "
	const carriers = "SELECT m.id FROM machines m WHERE "
	column := map[string]string{sites.name: "m.site_id", kinds.name: "m.kind_id", machines.name: "m.id", circuits.name: "q.circuit_id", positions.name: "q.id"}
	for o := range f.under {
		cond := fmt.Sprintf("%s = %d", column[o.table], o.id)
		queries := map[*map[int64]bool]string{&f.assemblies: fitted + cond, &f.positions: places + cond}
		switch o.table {
		case sites.name:
			queries[&f.assemblies] += fmt.Sprintf(" UNION SELECT id FROM assemblies WHERE site_id = %d", o.id)
			queries[&f.machines] = carriers + cond
		case kinds.name:
			delete(queries, &f.assemblies) // their texts do not name it
			queries[&f.machines] = carriers + cond
		}
		for set, query := range queries {
			list, err := ids(ctx, c, query)
			if err != nil {
				return fmt.Errorf("find what %s %d is named in: %w", o.table, o.id, err)
			}
			for _, id := range list {
				mark(set, id)
			}
		}
	}
	return nil
}

// findAtOnce is how many texts go into one INSERT.
const findAtOnce = 200

// make makes the texts of some rows anew; those of rows that have none any
// more are taken away.
func (f findTable) make(ctx context.Context, c conn, list []int64) error {
	for chunk := range slices.Chunk(list, findAtOnce) {
		in := idList(chunk)
		if _, err := c.exec(ctx, "DELETE FROM "+f.name+" WHERE "+c.e.findID()+" IN ("+in+")"); err != nil {
			return fmt.Errorf("take texts from %s: %w", f.name, err)
		}
		if err := f.add(ctx, c, " IN ("+in+")"); err != nil {
			return err
		}
	}
	return nil
}

// add makes the texts of the rows whose ids meet a condition. There are none
// of them yet.
func (f findTable) add(ctx context.Context, c conn, condition string) error {
	rows, err := c.query(ctx, "SELECT "+f.from+condition)
	if err != nil {
		return fmt.Errorf("read what %s is made of: %w", f.name, translate(err))
	}
	defer rows.Close()
	args := make([]any, 0, 2*findAtOnce)
	for rows.Next() {
		id, text, err := f.read(rows)
		if err != nil {
			return fmt.Errorf("read what %s is made of: %w", f.name, err)
		}
		args = append(args, id, text)
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read what %s is made of: %w", f.name, translate(err))
	}
	if len(args) == 0 {
		return nil
	}
	rows.Close() // one connection does one thing at a time
	values := strings.TrimSuffix(strings.Repeat("(?, ?), ", len(args)/2), ", ")
	if _, err := c.exec(ctx, "INSERT INTO "+f.name+" ("+c.e.findID()+", text) VALUES "+values, args...); err != nil {
		return fmt.Errorf("add texts to %s: %w", f.name, err)
	}
	return nil
}

// MakeFinds makes all texts search looks in anew. Only rows written past the
// register's own methods need it.
func (s *Store) MakeFinds(ctx context.Context) error {
	return s.inTx(ctx, func(c conn) error {
		if s.e.name == Postgres {
			if _, err := c.exec(ctx, "SELECT pg_advisory_xact_lock(?)", findLock); err != nil {
				return fmt.Errorf("wait for other texts to be made: %w", err)
			}
		}
		for _, f := range []struct {
			table findTable
			of    string
		}{{findAssemblies, assemblies.name}, {findMachines, machines.name}, {findPositions, positions.name}} {
			if _, err := c.exec(ctx, "DELETE FROM "+f.table.name); err != nil {
				return fmt.Errorf("empty %s: %w", f.table.name, err)
			}
			list, err := ids(ctx, c, "SELECT id FROM "+f.of+" ORDER BY id")
			if err != nil {
				return fmt.Errorf("list %s: %w", f.of, err)
			}
			for chunk := range slices.Chunk(list, findAtOnce) {
				if err := f.table.add(ctx, c, " IN ("+idList(chunk)+")"); err != nil {
					return err
				}
			}
		}
		_, err := c.exec(ctx, "UPDATE find_form SET form = ? WHERE id = 1", findForm)
		return err
	})
}

// makeFindsOnce makes the texts if they are not there in this program's form.
func (s *Store) makeFindsOnce(ctx context.Context) error {
	var form int
	if err := s.reader().row(ctx, "SELECT form FROM find_form WHERE id = 1").Scan(&form); err != nil {
		return fmt.Errorf("read the form of the texts to search: %w", translate(err))
	}
	if form == findForm {
		return nil
	}
	return s.MakeFinds(ctx)
}
