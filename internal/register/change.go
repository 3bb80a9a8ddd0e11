package register

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"time"

	"hoseward/internal/quantity"
)

// Origin says through which door a change came.
type Origin string

// The origins.
const (
	FromPage    Origin = "page"
	FromImport  Origin = "import"
	FromAPI     Origin = "API"
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
	// ByPIN says that the person signed in with a PIN: what needs RightManage is
	// then refused until they give their password.
	ByPIN bool
}

// LocalPersonID stands for the program itself: who acts by command line, job
// or demo. It is a manager of all sites and cannot sign in.
const LocalPersonID int64 = 1

// Person is someone, or a program, that uses the register. The units and the
// style of dates are how pages print for this person; empty is bar, degC, mm
// and 2026-11-25.
type Person struct {
	ID      int64
	Name    string // unique; what is typed to sign in
	Email   string
	Program bool // uses the API with a token and cannot sign in
	// GoneOn is the day they left: they can do nothing more, what they did stays
	// theirs. No date while they belong to it.
	GoneOn     quantity.Date
	GoneReason string
	// PasswordAt is when they last chose a password; nil if never.
	PasswordAt *time.Time
	Units
	Version int
}

// Units are what a person wants values printed in. Empty fields are bar, degC,
// mm and iso.
type Units struct {
	PressureUnit    string // bar, psi, MPa
	TemperatureUnit string // degC, degF
	LengthUnit      string // mm, inch
	DateStyle       string // iso 2026-11-25, dmy 25.11.2026, dmy/ 25/11/2026, mdy 11/25/2026
}

// Act is what one person did at once: the changes of one transaction, which
// are undone together.
type Act struct {
	ID       int64
	At       time.Time
	PersonID int64
	Origin   Origin
	Title    string // in words, by the first of its commands
	UndoneBy *int64 // the act that undid it
}

// UndoWithin is how long a person may undo what they did on a page.
const UndoWithin = 24 * time.Hour

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
	// ActID is the act the change was part of; rows from before acts were kept
	// have none.
	ActID *int64
	// SiteID, MachineID and AssemblyID are what the change belongs to, as far as
	// it belongs to one; rows from before they were kept have none.
	SiteID     *int64
	MachineID  *int64
	AssemblyID *int64

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
// if there is none. ActID stands behind them, and only where there is one;
// SiteID, MachineID and AssemblyID, 0 where there is none, stand last, and only
// where there is one of them. So rows from before these were kept have the hash
// they always had. Test:
// TestChain_IsSHA256OfTheFields.
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
	number(orZero(c.ImportID))
	text(c.Entity)
	number(c.EntityID)
	text(string(c.Action))
	text(c.Before)
	text(c.After)
	text(c.Reason)
	if c.ActID != nil {
		number(*c.ActID)
	}
	if c.SiteID != nil || c.MachineID != nil || c.AssemblyID != nil {
		number(orZero(c.SiteID))
		number(orZero(c.MachineID))
		number(orZero(c.AssemblyID))
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func orZero(id *int64) int64 {
	if id == nil {
		return 0
	}
	return *id
}
