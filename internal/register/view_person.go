package register

import "time"

// RoleAt is a role with the name of its site; no name is all sites.
type RoleAt struct {
	Role Role
	Site string
}

// PersonLine is a person, or a program, as a list shows them.
type PersonLine struct {
	Person
	Roles []RoleAt
	// Password says that they have one; Invited until when their one-time
	// address counts, nil if there is none.
	Password bool
	Invited  *time.Time
	Locked   bool // by wrong passwords
	Tokens   int  // that count now
}

// PersonSheet is what a manager sees of a person or a program.
type PersonSheet struct {
	PersonLine
	Devices int
	Listed  []Token // of a program, the newest first
}
