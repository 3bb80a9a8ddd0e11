package store

import (
	"strings"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// keysKept bounds what a transaction remembers of names, so that an import
// stays flat in memory; beyond it everything is forgotten and looked up again.
const keysKept = 20000

// fold is a name without the difference of capital and small letters, which
// tells no two things apart: RT-1 and rt-1 are one machine. Only the letters A
// to Z are folded, as LOWER does on both engines for columns of collation C.
// Codes and names are found by it, and unique by it.
func fold(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' {
			return r + 'a' - 'A'
		}
		return r
	}, name)
}

// keys remembers within one transaction what names, folded, mean. Rows in it
// are as the transaction left them; callers must not alter them.
type keys struct {
	sites      map[string]*register.Site
	kinds      map[string]*register.Kind
	machines   map[string]*register.Machine
	circuits   map[owned]*register.Circuit
	positions  map[owned]*register.Position
	assemblies map[string]*register.Assembly
	hours      map[int64]*register.MachineFacts
	today      map[int64]quantity.Date
	locked     map[int64]bool
	frame      *frame
	n          int
}

// owned is a folded name within a machine.
type owned struct {
	machineID int64
	name      string
}

func ownedBy(machineID int64, name string) owned { return owned{machineID, fold(name)} }

func (k *keys) clear() {
	*k = keys{
		sites: map[string]*register.Site{}, kinds: map[string]*register.Kind{}, machines: map[string]*register.Machine{},
		circuits: map[owned]*register.Circuit{}, positions: map[owned]*register.Position{},
		assemblies: map[string]*register.Assembly{}, hours: map[int64]*register.MachineFacts{},
		today: map[int64]quantity.Date{}, locked: map[int64]bool{},
	}
}

// room makes sure another entry may be remembered.
func (k *keys) room() {
	if k.n++; k.n > keysKept {
		k.clear()
	}
}

// lookUp finds a row by name, in what is remembered or else in the table; it
// is nil if there is none.
func lookUp[K comparable, T any](t *tx, known map[K]*T, key K, tab *table[T], condition string, args ...any) (*T, error) {
	if row, ok := known[key]; ok {
		return row, nil
	}
	row, err := tab.one(t.ctx, t.conn, condition, args...)
	if err == nil && row != nil {
		known[key] = row
	}
	return row, err
}

func (t *tx) site(name string) (*register.Site, error) {
	t.keys.room()
	site, err := lookUp(t, t.keys.sites, fold(name), sites, "LOWER(name) = ?", fold(name))
	site, err = orHidden(t, site, err)
	if err == nil && site == nil {
		err = refuse(register.NotFound, "site", "There is no site %s; add it first or check its name.", name)
	}
	return site, err
}

func (t *tx) machine(code string) (*register.Machine, error) {
	t.keys.room()
	m, err := lookUp(t, t.keys.machines, fold(code), machines, "LOWER(code) = ?", fold(code))
	m, err = orHidden(t, m, err)
	if err == nil && m == nil {
		err = refuse(register.NotFound, "machine", "There is no machine %s; add it first or check its code.", code)
	}
	return m, err
}

func (t *tx) position(m *register.Machine, name string) (*register.Position, error) {
	t.keys.room()
	p, err := lookUp(t, t.keys.positions, ownedBy(m.ID, name), positions, "machine_id = ? AND LOWER(name) = ?", m.ID, fold(name))
	if err == nil && p == nil {
		err = refuse(register.NotFound, "position", "Machine %s has no position %s; add it first or check its name.", m.Code, name)
	}
	return p, err
}

func (t *tx) assembly(code string) (*register.Assembly, error) {
	t.keys.room()
	a, err := lookUp(t, t.keys.assemblies, fold(code), assemblies, "LOWER(code) = ?", fold(code))
	a, err = orHidden(t, a, err)
	if err == nil && a == nil {
		err = refuse(register.NotFound, "assembly_code", "There is no assembly %s; add it first or check its code.", code)
	}
	return a, err
}

// policy is the policy of that name.
func (t *tx) policy(name string) (*register.Policy, error) {
	p, err := policies.one(t.ctx, t.conn, "LOWER(name) = ?", fold(name))
	if err == nil && p == nil {
		err = refuse(register.NotFound, "policy", "There is no policy %s; choose one of those the register has.", name)
	}
	return p, err
}

// lock keeps other writers off a machine until the commit, so that what is
// worked out of its facts cannot be out of date. SQLite has one writer anyway.
func (t *tx) lock(machineID int64) error {
	if t.e.forUpdate == "" || t.keys.locked[machineID] {
		return nil
	}
	var id int64
	err := t.row(t.ctx, "SELECT id FROM machines WHERE id = ?"+t.e.forUpdate, machineID).Scan(&id)
	if err != nil {
		return translate(err)
	}
	t.keys.locked[machineID] = true
	return nil
}

// lockMachine locks a machine that was found already and brings m to what it is
// now: it may have left the fleet or moved while the lock was waited for.
func (t *tx) lockMachine(m *register.Machine) error {
	if t.e.forUpdate == "" || t.keys.locked[m.ID] {
		return nil
	}
	now, err := machines.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, m.ID)
	if err != nil || now == nil {
		return firstError(err, refuse(register.NotFound, "machine", "Machine %s is not in the register any more.", m.Code))
	}
	*m = *now
	t.keys.locked[m.ID] = true
	return nil
}

// lockAssembly is lockMachine for an assembly: it may have been fitted or
// scrapped meanwhile. One this transaction just added is nobody else's yet.
func (t *tx) lockAssembly(a *register.Assembly) error {
	if t.e.forUpdate == "" || a.Code == t.justAdded {
		return nil
	}
	now, err := assemblies.one(t.ctx, t.conn, "id = ?"+t.e.forUpdate, a.ID)
	if err != nil || now == nil {
		return firstError(err, refuse(register.NotFound, "assembly_code", "Assembly %s is not in the register any more.", a.Code))
	}
	*a = *now
	return nil
}
