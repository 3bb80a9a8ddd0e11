package store

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// notHeld says why rows of a table are not held to the change log; empty of
// those that are. A table that is in neither list fails a test.
func notHeld(table string) string {
	switch table {
	case "changes", "chain_head":
		return "the log itself"
	case "acts":
		return "how changes belong together for undoing; what was done stands in the changes"
	case "estimates", "gaps", "known_days":
		return "worked out anew from the other tables"
	case "job_runs":
		return "what the jobs did, no change of the register"
	case "saved_lists":
		return "what a person keeps for themselves"
	case "header_choices":
		return "how columns of sheets were read last, asked again where it is missing"
	case "credentials", "sessions", "invitations":
		return "secret, and never in the log; the log says that a password was chosen"
	case "answers":
		return "answers to programs that ask twice, forgotten after a while"
	case "code_counters":
		return "which code to propose next"
	case "assembly_codes":
		return "codes that are in use or were, derived from the assemblies"
	}
	return leftOut(table)
}

// rowCheck holds the rows of one table to the log.
type rowCheck struct {
	table string
	check func(*verifier) error
}

// rowChecks are the tables that are held to the log.
func rowChecks() []rowCheck {
	return []rowCheck{
		held(sites, nil), held(kinds, ownKind), held(machines, nil), held(circuits, nil), held(positions, nil),
		held(policies, ownPolicy), held(assemblies, nil), held(placements, nil), held(removals, nil), held(readings, nil),
		held(meterEvents, nil), held(layUps, nil), held(conditions, nil), held(duties, ownDuty()), held(inspections, nil),
		held(findings, nil), held(kindPositions, nil), held(imports, nil),
		held(people, ownPerson, "Version"), // counted up when roles are given too, which are rows of their own
		held(personRoles, ownRole),
		held(tokens, nil, "UsedAt"), // when it was last used is no change
		held(devices, nil, "Tries", "UsedAt", "ExpiresAt"),
	}
}

// rowsHeld holds every row of the register to the change log: each must be what
// its last change made of it, and none may be there or be missing without a
// change that says so. The chain shows that nobody altered the log; this shows
// that nobody altered the register past the log, and that no change is there by
// half. What comes with the program is held to the program.
func (v *verifier) rowsHeld() error {
	for _, c := range rowChecks() {
		if err := c.check(v); err != nil {
			return err
		}
	}
	return nil
}

func (v *verifier) differs(table string, id int64, what string) {
	if len(v.Differ) < verifyKept {
		v.Differ = append(v.Differ, register.RowFault{Table: table, ID: id, What: what})
	}
}

// The rows that are there without a change, because they come with the program.

func ownKind(k *register.Kind) bool {
	return k.Version == 1 && slices.ContainsFunc(register.ShippedKinds(), func(s register.ShippedKind) bool { return s.Name == k.Name })
}

func ownPolicy(p *register.Policy) bool {
	return slices.ContainsFunc(life.ShippedPolicies(), func(s life.Sourced) bool {
		want := shipped(s)
		want.ID, want.Version = p.ID, p.Version
		return sameJSON(p, &want)
	})
}

// ownDuty compares by value: a shipped value of an earlier version of the
// program must stay among those it knows.
func ownDuty() func(*register.Duty) bool {
	known := map[string]bool{}
	for _, k := range register.ShippedKinds() {
		for _, d := range k.Duties {
			known[dutyText(d)] = true
		}
	}
	return func(d *register.Duty) bool { return d.Version == 1 && known[dutyText(*d)] }
}

func dutyText(d register.Duty) string {
	d.ID, d.KindID, d.Version = 0, 0, 0
	text, _ := jsonOf(d)
	return text
}

func ownPerson(p *register.Person) bool { return p.ID == register.LocalPersonID }

func ownRole(r *register.PersonRole) bool {
	return r.PersonID == register.LocalPersonID && r.SiteID == nil && r.Role == register.Manager
}

func sameJSON(a, b any) bool {
	one, err := jsonOf(a)
	other, err2 := jsonOf(b)
	return err == nil && err2 == nil && one == other
}

// rowsAtOnce is how many rows are held to the log at a time.
const rowsAtOnce = 2000

// held is the check of one table. own tells the rows that come with the
// program, nil where none do; skip are fields that change without a change row.
func held[T any](tab *table[T], own func(*T) bool, skip ...string) rowCheck {
	return rowCheck{tab.name, func(v *verifier) error {
		v.say(tab.name)
		rows := int64(0)
		for last := int64(0); ; {
			list, err := tab.where(v.ctx, v.conn, fmt.Sprintf("id > ? ORDER BY id LIMIT %d", rowsAtOnce), last)
			if err != nil {
				return err
			}
			if len(list) == 0 {
				return v.missing(tab.name)
			}
			after := last
			last = idOf(&list[len(list)-1])
			if err := holdRows(v, tab, own, skip, list, after, last); err != nil {
				return err
			}
			rows += int64(len(list))
			v.progress(tab.name, rows)
		}
	}}
}

func holdRows[T any](v *verifier, tab *table[T], own func(*T) bool, skip []string, list []T, after, last int64) error {
	log, err := v.lastChanges(tab.name, after, last)
	if err != nil {
		return err
	}
	for i := range list {
		v.Rows++
		id := idOf(&list[i])
		c, ok := log[id]
		switch {
		case !ok && own != nil && own(&list[i]):
		case !ok && own != nil:
			v.differs(tab.name, id, "is there, no change says so, and it is none that comes with this program")
		case !ok:
			v.differs(tab.name, id, "is there, and no change says so")
		case c.Action == register.Deleted:
			v.differs(tab.name, id, fmt.Sprintf("is there, and change %d deleted it", c.Seq))
		default:
			fields, err := otherThanLogged(c.After, &list[i], skip)
			if err != nil {
				v.differs(tab.name, id, fmt.Sprintf("cannot be compared with change %d, which holds no such row", c.Seq))
			} else if len(fields) > 0 {
				v.differs(tab.name, id, fmt.Sprintf("is not as change %d left it: %s", c.Seq, strings.Join(fields, ", ")))
			}
		}
	}
	return nil
}

// lastChanges are the last changes of the rows of a table whose ids lie behind
// after and up to last.
func (v *verifier) lastChanges(entity string, after, last int64) (map[int64]register.Change, error) {
	found := map[int64]register.Change{}
	rows, err := v.query(v.ctx, `SELECT seq, entity_id, action, "after" FROM changes WHERE entity = ? AND entity_id > ? AND entity_id <= ? ORDER BY entity_id, seq`, entity, after, last)
	if err != nil {
		return nil, fmt.Errorf("read the changes of %s: %w", entity, translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var c register.Change
		if err := rows.Scan(&c.Seq, &c.EntityID, &c.Action, &c.After); err != nil {
			return nil, fmt.Errorf("read a change of %s: %w", entity, err)
		}
		found[c.EntityID] = c
	}
	return found, translate(rows.Err())
}

// missing finds rows that no change deleted and that are not there.
func (v *verifier) missing(entity string) error {
	rows, err := v.query(v.ctx, `SELECT c.entity_id, c.seq FROM changes c WHERE c.entity = ? AND c.action <> 'deleted'
		AND NOT EXISTS (SELECT 1 FROM `+entity+` r WHERE r.id = c.entity_id)
		AND c.seq = (SELECT MAX(d.seq) FROM changes d WHERE d.entity = c.entity AND d.entity_id = c.entity_id)`+
		fmt.Sprintf(` ORDER BY c.entity_id LIMIT %d`, verifyKept), entity)
	if err != nil {
		return fmt.Errorf("look for rows of %s that are missing: %w", entity, translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var id, seq int64
		if err := rows.Scan(&id, &seq); err != nil {
			return fmt.Errorf("look for rows of %s that are missing: %w", entity, err)
		}
		v.differs(entity, id, fmt.Sprintf("is missing, and change %d left it there", seq))
	}
	return translate(rows.Err())
}

// otherThanLogged are the fields in which a row is not what the log says, but
// for some. Columns that came into being after the change are not in it and are
// not compared.
func otherThanLogged(log string, row any, skip []string) ([]string, error) {
	now, err := jsonOf(row)
	if err != nil || now == log {
		return nil, err
	}
	var was, is map[string]any
	if err := json.Unmarshal([]byte(log), &was); err != nil {
		return nil, err
	}
	if err := json.Unmarshal([]byte(now), &is); err != nil {
		return nil, err
	}
	var fields []string
	for name, value := range was {
		if have, ok := is[name]; ok && !slices.Contains(skip, name) && !sameValue(value, have) {
			fields = append(fields, name)
		}
	}
	slices.Sort(fields)
	return fields, nil
}

// sameValue compares two values of JSON; an instant is the same in any zone.
func sameValue(a, b any) bool {
	if reflect.DeepEqual(a, b) {
		return true
	}
	one, ok := a.(string)
	other, ok2 := b.(string)
	if !ok || !ok2 {
		return false
	}
	at, err := time.Parse(time.RFC3339Nano, one)
	at2, err2 := time.Parse(time.RFC3339Nano, other)
	return err == nil && err2 == nil && at.Equal(at2)
}

// idOf is the id of a row of a register type.
func idOf(row any) int64 { return reflect.ValueOf(row).Elem().FieldByName("ID").Int() }
