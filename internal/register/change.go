package register

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"time"
)

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
// and how. Rows are chained: Hash is Chain(PrevHash, the row), so a row cannot
// be altered or taken out without breaking the chain.
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

// Chain is the hash of a row of the change log that follows one with the hash
// prev (empty for the first row): the SHA-256, in hex, of prev and the row's
// fields in the order they stand in Change, PrevHash and Hash left out. Texts
// go in with their length before them, numbers and lengths as eight bytes,
// most significant first; At counts microseconds since 1970 UTC, ImportID is 0
// if there is none. Test: TestChain_IsSHA256OfTheFields.
func Chain(prev string, c *Change) string {
	b := make([]byte, 0, 256+len(c.Before)+len(c.After)+len(c.Reason))
	number := func(n int64) { b = binary.BigEndian.AppendUint64(b, uint64(n)) }
	text := func(s string) {
		number(int64(len(s)))
		b = append(b, s...)
	}
	text(prev)
	number(c.Seq)
	number(c.At.UnixMicro())
	number(c.PersonID)
	text(string(c.Origin))
	importID := int64(0)
	if c.ImportID != nil {
		importID = *c.ImportID
	}
	number(importID)
	text(c.Entity)
	number(c.EntityID)
	text(string(c.Action))
	text(c.Before)
	text(c.After)
	text(c.Reason)
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
