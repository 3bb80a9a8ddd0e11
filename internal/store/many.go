package store

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// manyAtOnce is how many rows a change of many reads and notes at a time.
const manyAtOnce = 1000

// orderPositions gives the positions of a machine their walking order. Only
// rows whose order changes are written.
func (t *tx) orderPositions(c register.OrderPositions) error {
	m, err := t.machine(c.Machine)
	if err != nil {
		return err
	}
	if err := firstError(t.lockMachine(m), there(m)); err != nil {
		return err
	}
	rows, err := positions.where(t.ctx, t.conn, "machine_id = ? AND gone_on IS NULL ORDER BY walk_order, name, id", m.ID)
	if err != nil {
		return err
	}
	at := make(map[string]int, len(rows))
	for i := range rows {
		at[fold(rows[i].Name)] = i
	}
	order := make([]int, 0, len(rows))
	named := make([]bool, len(rows))
	for _, name := range c.Names {
		i, ok := at[fold(name)]
		if !ok {
			return refuse(register.NotFound, "names", "Machine %s has no position %s; look at its positions anew.", m.Code, name)
		}
		if named[i] {
			return refuse(register.Invalid, "names", "Position %s stands twice in the order.", rows[i].Name)
		}
		named[i] = true
		order = append(order, i)
	}
	for i := range rows {
		if !named[i] {
			order = append(order, i)
		}
	}
	for n, i := range order {
		before := &rows[i]
		if before.WalkOrder == n+1 {
			continue
		}
		row := *before
		row.WalkOrder, row.Version = n+1, before.Version+1
		if err := update(t, positions, before, &row, row.ID, before.Version, nil); err != nil {
			return err
		}
		delete(t.keys.positions, ownedBy(m.ID, row.Name))
	}
	return nil
}

// changePositions sets the same values at many positions.
func (t *tx) changePositions(c register.ChangePositions) error {
	var policyID *int64
	if c.Policy != nil && *c.Policy != "" {
		p, err := t.policy(*c.Policy)
		if err != nil {
			return err
		}
		policyID = &p.ID
	}
	return t.eachPosition(c.Positions, func(rows []register.Position) error {
		circuitOf, err := t.circuitsFor(c.Circuit, rows)
		if err != nil {
			return err
		}
		var changed, milder []pair[register.Position]
		what := "" // of the last that becomes milder
		for i := range rows {
			row := rows[i]
			if !row.GoneOn.IsZero() {
				return t.positionGone(&row)
			}
			setPosition(&row, c, policyID, circuitOf[row.MachineID])
			if sameButVersion(&rows[i], &row) {
				continue
			}
			row.Version++
			says, err := t.milderThere(row.MachineID, rows[i].PolicyID, row.PolicyID)
			if err != nil {
				return err
			}
			both := pair[register.Position]{rows[i], row}
			if says == "" {
				changed = append(changed, both)
			} else {
				milder, what = append(milder, both), says
			}
			t.touched.machine(row.MachineID)
		}
		id := func(p *register.Position) int64 { return p.ID }
		if err := updateMany(t, positions, changed, id); err != nil {
			return err
		}
		return t.milder(c.Reason, what, func() error { return updateMany(t, positions, milder, id) })
	})
}

// setPosition sets at a position what a change of many says.
func setPosition(row *register.Position, c register.ChangePositions, policyID, circuitID *int64) {
	if c.CanHurt != nil {
		row.CanHurt = *c.CanHurt
	}
	if c.Exposed != nil {
		row.Exposed = *c.Exposed
	}
	if c.Policy != nil {
		row.PolicyID = policyID
	}
	if c.Circuit != nil {
		row.CircuitID = circuitID
	}
}

func (t *tx) positionGone(p *register.Position) error {
	s, err := t.seatByID(p.ID)
	if err != nil {
		return err
	}
	return refuse(register.Refused, "positions", "%s is no more since %s; leave it out.", capital(s.String()), p.GoneOn)
}

// circuitsFor are the circuits of that name of the machines of some positions,
// added where a machine lacks it; nil for an empty name.
func (t *tx) circuitsFor(name *string, rows []register.Position) (map[int64]*int64, error) {
	of := map[int64]*int64{}
	if name == nil || *name == "" {
		return of, nil
	}
	for i := range rows {
		id := rows[i].MachineID
		if of[id] != nil {
			continue
		}
		circuit, err := t.circuitOrNew(&register.Machine{ID: id}, *name)
		if err != nil {
			return nil, err
		}
		of[id] = &circuit.ID
	}
	return of, nil
}

// eachPosition hands positions to f, some at a time, their machines locked.
// Each id counts once; one that is not there is refused, and so is a position
// of a machine that has left the fleet.
func (t *tx) eachPosition(list []int64, f func([]register.Position) error) error {
	list = once(list)
	defer clear(t.keys.positions) // they may be older now
	for chunk := range slices.Chunk(list, manyAtOnce) {
		in := idList(chunk)
		if _, err := ids(t.ctx, t.conn, "SELECT id FROM machines WHERE id IN (SELECT machine_id FROM positions WHERE id IN ("+in+")) ORDER BY id"+t.e.forUpdate); err != nil {
			return fmt.Errorf("lock the machines of positions: %w", err)
		}
		rows, err := positions.where(t.ctx, t.conn, "id IN ("+in+") ORDER BY id")
		if err != nil {
			return err
		}
		unseen, err := t.unseenSeats(rows)
		if err != nil {
			return err
		}
		if lacking := len(chunk) - len(rows) + unseen; lacking > 0 {
			return refuse(register.NotFound, "positions", "%d of the positions are not in the register any more; look at the list anew.", lacking)
		}
		if err := t.allThere("SELECT DISTINCT machine_id FROM positions WHERE id IN (" + in + ")"); err != nil {
			return err
		}
		if err := f(rows); err != nil {
			return err
		}
		if err := t.flushFull(); err != nil {
			return err
		}
	}
	return nil
}

// allThere refuses machines of which one has left the fleet.
func (t *tx) allThere(query string) error {
	gone, err := machines.one(t.ctx, t.conn, "gone_on IS NOT NULL AND id IN ("+query+") ORDER BY code LIMIT 1")
	if err != nil || gone == nil {
		return err
	}
	return there(gone)
}

// once is a list of ids in order, each once.
func once(list []int64) []int64 {
	list = slices.Clone(list)
	slices.Sort(list)
	return slices.Compact(list)
}

// changeMachines sets the same values at many machines.
func (t *tx) changeMachines(c register.ChangeMachines) error {
	site, kindID, err := t.siteAndKind(c)
	if err != nil {
		return err
	}
	defer t.keys.clear() // machines and their hours may be older now
	for chunk := range slices.Chunk(once(c.Machines), manyAtOnce) {
		rows, err := machines.where(t.ctx, t.conn, "id IN ("+idList(chunk)+") ORDER BY id"+t.e.forUpdate)
		if err != nil {
			return err
		}
		unseen, err := t.unseen(rows)
		if err != nil {
			return err
		}
		if lacking := len(chunk) - len(rows) + unseen; lacking > 0 {
			return refuse(register.NotFound, "machines", "%d of the machines are not in the register any more; look at the list anew.", lacking)
		}
		var changed []pair[register.Machine]
		for i := range rows {
			row := rows[i]
			if err := there(&row); err != nil {
				return err
			}
			if site != nil {
				row.SiteID = site.ID
			}
			if c.Kind != nil {
				row.KindID = kindID
			}
			if c.PlannedHoursPerWeek != nil {
				row.PlannedHoursPerWeek = c.PlannedHoursPerWeek
			}
			if c.CanHurt != nil {
				row.CanHurt = *c.CanHurt
			}
			if sameButVersion(&rows[i], &row) {
				continue
			}
			row.Version++
			changed = append(changed, pair[register.Machine]{rows[i], row})
			t.touched.machine(row.ID)
		}
		if err := updateMany(t, machines, changed, func(m *register.Machine) int64 { return m.ID }); err != nil {
			return err
		}
		if err := t.flushFull(); err != nil {
			return err
		}
	}
	return nil
}

// siteAndKind finds what ChangeMachines names.
func (t *tx) siteAndKind(c register.ChangeMachines) (site *register.Site, kindID *int64, err error) {
	if c.Site != nil {
		if site, err = t.site(*c.Site); err != nil {
			return nil, nil, err
		}
	}
	if c.Kind != nil {
		kind, err := t.kind(*c.Kind)
		if err != nil {
			return nil, nil, err
		}
		if kind != nil {
			kindID = &kind.ID
		}
	}
	return site, kindID, nil
}

// pair is a row before and after a change.
type pair[T any] struct{ before, after T }

// updateMany writes many rows and notes each change. Rows whose changed
// columns get the same values are written together.
func updateMany[T any](t *tx, tab *table[T], rows []pair[T], id func(*T) int64) error {
	groups := map[string][]int64{}
	args := map[string][]any{}
	var order []string
	for i := range rows {
		set, values := tab.difference(&rows[i].before, &rows[i].after)
		key := set + fmt.Sprintf(" %v", plain(values))
		if _, ok := groups[key]; !ok {
			order = append(order, key)
			args[key] = append([]any{set}, values...)
		}
		groups[key] = append(groups[key], id(&rows[i].before))
	}
	for _, key := range order {
		set, values := args[key][0].(string), args[key][1:]
		if _, err := t.exec(t.ctx, "UPDATE "+tab.name+" SET "+set+"version = version + 1 WHERE id IN ("+idList(groups[key])+")", values...); err != nil {
			return t.explain("change "+tab.name, err, nil)
		}
	}
	for i := range rows {
		p := &rows[i]
		if err := t.note(tab.name, id(&p.before), register.Changed, &p.before, &p.after); err != nil {
			return err
		}
	}
	return nil
}

// difference is the SET clause for the columns in which two rows differ, but
// their version, and the values it takes.
func (t *table[T]) difference(before, after *T) (string, []any) {
	var set strings.Builder
	var values []any
	was, is := t.fields(before), t.fields(after)
	for i, name := range t.names {
		if name == "version" || name == "id" || reflect.DeepEqual(was[i], is[i]) {
			continue
		}
		set.WriteString(`"` + name + `" = ?, `)
		values = append(values, is[i])
	}
	return set.String(), values
}

// fields are the values of a row's columns.
func (t *table[T]) fields(row *T) []any {
	v := reflect.ValueOf(row).Elem()
	out := make([]any, len(t.paths))
	for i, p := range t.paths {
		out[i] = v.FieldByIndex(p).Interface()
	}
	return out
}

// plain is values with what pointers point at, so that they can be told apart
// in words.
func plain(values []any) []any {
	out := make([]any, len(values))
	for i, v := range values {
		out[i] = v
		if p := reflect.ValueOf(v); p.Kind() == reflect.Pointer {
			out[i] = nil
			if !p.IsNil() {
				out[i] = p.Elem().Interface()
			}
		}
	}
	return out
}

// setConditionsAt says how many positions are worked from a day on, each as
// setConditions would: where the same was said last of that day, nothing is
// added.
func (t *tx) setConditionsAt(c register.SetConditionsAt) error {
	return t.eachPosition(c.Positions, func(rows []register.Position) error {
		said, err := t.saidLast(rows, c.From)
		if err != nil {
			return err
		}
		var add []register.Conditions
		for i := range rows {
			p := &rows[i]
			if !p.GoneOn.IsZero() {
				return t.positionGone(p)
			}
			row := register.Conditions{Level: register.AtPosition, OwnerID: p.ID, From: c.From, Service: c.Service, Basis: c.Basis, Note: c.Note, Version: 1}
			last := said[p.ID]
			if last != nil && last.Basis == row.Basis && last.Note == row.Note && sameService(&last.Service, &row.Service) {
				continue
			}
			t.touched.machine(p.MachineID)
			add = append(add, row)
		}
		return t.addConditions(add)
	})
}

// saidLast is what was said last, of one day, of how positions are worked.
func (t *tx) saidLast(rows []register.Position, from quantity.Date) (map[int64]*register.Conditions, error) {
	list := make([]int64, len(rows))
	for i := range rows {
		list[i] = rows[i].ID
	}
	said := map[int64]*register.Conditions{}
	err := conditions.each(t.ctx, t.conn, "level = ? AND owner_id IN ("+idList(list)+") AND from_on = "+t.e.date(from)+" ORDER BY id",
		[]any{string(register.AtPosition)}, func(r *register.Conditions) error {
			said[r.OwnerID] = r
			return nil
		})
	return said, err
}

// addConditions adds rows of different owners, many in one statement.
func (t *tx) addConditions(rows []register.Conditions) error {
	for chunk := range slices.Chunk(rows, changesAtOnce) {
		one := "(" + strings.Repeat("?, ", len(conditions.names)-2) + "?)"
		values := strings.TrimSuffix(strings.Repeat(one+", ", len(chunk)), ", ")
		var args []any
		at := make(map[int64]*register.Conditions, len(chunk))
		for i := range chunk {
			args = append(args, conditions.fields(&chunk[i])[1:]...) // all but the id
			at[chunk[i].OwnerID] = &chunk[i]
		}
		columns := `"` + strings.Join(conditions.names[1:], `", "`) + `"`
		if err := t.addAndNumber("INSERT INTO conditions ("+columns+") VALUES "+values+" RETURNING id, owner_id", args, at); err != nil {
			return err
		}
		for i := range chunk {
			if err := t.note(conditions.name, chunk[i].ID, register.Added, nil, &chunk[i]); err != nil {
				return err
			}
		}
	}
	return nil
}

// addAndNumber runs an INSERT of rows and fills in the ids they got.
func (t *tx) addAndNumber(query string, args []any, byOwner map[int64]*register.Conditions) error {
	got, err := t.query(t.ctx, query, args...)
	if err != nil {
		return t.explain("add to conditions", err, nil)
	}
	defer got.Close()
	for got.Next() {
		var id, owner int64
		if err := got.Scan(&id, &owner); err != nil {
			return fmt.Errorf("number the rows added to conditions: %w", err)
		}
		byOwner[owner].ID = id
	}
	if err := got.Err(); err != nil {
		return t.explain("add to conditions", err, nil)
	}
	return nil
}
