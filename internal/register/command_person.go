package register

import (
	"time"

	"hoseward/internal/quantity"
)

// GivenRole is a role by the name of its site; no site is all sites.
type GivenRole struct {
	Role Role
	Site string
}

// AddPerson adds a person, or a program that uses the API, with their roles.
// Nobody can sign in before they chose a password at the address of an Invite;
// one may come along, its PersonID is not looked at.
type AddPerson struct {
	Name, Email string
	Program     bool
	Roles       []GivenRole
	Invite      *Invite
}

// ChangePerson changes what a person is called and how they are written to. ID
// and Version must be those of the row that was read.
type ChangePerson struct {
	ID          int64
	Name, Email string
	Version     int
}

// SetRoles gives a person the roles named and takes all others away. Nobody
// sets their own; who manages some sites only sets roles at those, of people
// whose every role is at those; the last manager of all sites stays one.
type SetRoles struct {
	PersonID int64
	Roles    []GivenRole
	Version  int // of the person
}

// RetirePerson says that a person left: they are signed out, their devices and
// tokens end, and their roles sleep. What they did stays theirs.
type RetirePerson struct {
	ID      int64
	On      quantity.Date
	Reason  string
	Version int
}

// ReturnPerson says that a person who left is back, with the roles they had. A
// password they had still counts; tokens and devices do not come back.
type ReturnPerson struct {
	ID      int64
	Version int
}

// FirstManager adds the first person: a manager of all sites with a password.
// It is refused once anybody can sign in.
type FirstManager struct {
	Name, Email string
	Hash        string `json:"-"` // of the password
}

// Invite makes a one-time address at which a person chooses a password, by the
// hash of its secret. The password they had, their sessions and devices end at
// once, and so do addresses made for them before.
type Invite struct {
	PersonID int64
	Hash     string `json:"-"`
	EndsAt   time.Time
}

// ChoosePassword sets the password of the person who asks, by its hash. All
// their sessions and devices end. Invitation is the hash of the secret of the
// one-time address they came by, which is used up; empty where they gave the
// password they had. Generation is that of the credential whose password they
// gave: if it was ended meanwhile, the choice is refused. 0 asks for none.
type ChoosePassword struct {
	Hash       string `json:"-"`
	Invitation string `json:"-"`
	Generation int    `json:"-"`
}

// SignOutEverywhere ends all sessions and devices of a person: one's own, or
// of somebody one manages.
type SignOutEverywhere struct{ PersonID int64 }

// EnrolDevice lets the person who asks sign in on a device with a PIN. Hash is
// that of the device's secret, PINHash that of PIN and secret together;
// Generation is as in ChoosePassword.
type EnrolDevice struct {
	Name       string
	Hash       string `json:"-"`
	PINHash    string `json:"-"`
	EndsAt     time.Time
	Generation int `json:"-"`
}

// EndDevice ends a device of the person who asks.
type EndDevice struct{ ID int64 }

// MakeToken lets a program use the API until it ends, by the hash of the token.
type MakeToken struct {
	PersonID int64  // the program
	Hash     string `json:"-"`
	EndsAt   time.Time
}

// EndToken ends a token before its time.
type EndToken struct{ ID int64 }

func (AddPerson) command()         {}
func (ChangePerson) command()      {}
func (SetRoles) command()          {}
func (RetirePerson) command()      {}
func (ReturnPerson) command()      {}
func (FirstManager) command()      {}
func (Invite) command()            {}
func (ChoosePassword) command()    {}
func (SignOutEverywhere) command() {}
func (EnrolDevice) command()       {}
func (EndDevice) command()         {}
func (MakeToken) command()         {}
func (EndToken) command()          {}
