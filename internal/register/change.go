package register

import "time"

// Origin says through which door a change came.
type Origin string

// The origins.
const (
	FromPage    Origin = "page"
	FromImport  Origin = "import"
	FromCommand Origin = "command line"
	FromJob     Origin = "job"
	FromDemo    Origin = "demo"
)

// Actor is who changes something, through which door.
type Actor struct {
	PersonID int64
	Origin   Origin
	ImportID int64  // the import that makes the change; 0 if none
	Reason   string // why, where the change needs a reason
}

// LocalPersonID is the one person there is until people can be added.
const LocalPersonID int64 = 1

// Person is someone who uses the register.
type Person struct {
	ID      int64
	Name    string
	Email   string
	Version int
}

// Action is what was done to a row.
type Action string

// The actions.
const (
	Added   Action = "added"
	Changed Action = "changed"
	Deleted Action = "deleted" // only by undoing what added it
)

// Change is one row of the change log: one thing, added or changed, by whom
// and how. Rows are chained: Hash is the SHA-256 of Chain(PrevHash, the row),
// so a row cannot be altered or taken out without breaking the chain.
type Change struct {
	Seq      int64 `gorm:"primaryKey;autoIncrement:false"`
	At       time.Time
	PersonID int64
	Origin   Origin
	ImportID *int64
	Entity   string // table name
	EntityID int64
	Action   Action
	Before   string // JSON of the row before; empty if added
	After    string // JSON of the row after; empty if deleted
	Reason   string
	PrevHash string
	Hash     string
}
