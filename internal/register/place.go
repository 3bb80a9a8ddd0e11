package register

import (
	"strings"

	"hoseward/internal/quantity"
)

// Site is a place that machines belong to; its zone decides what "today" is.
type Site struct {
	ID       int64
	Name     string // unique
	Zone     string // IANA name, such as Europe/Berlin
	PolicyID int64  // the policy of its positions unless they have their own
	Version  int
}

// Kind is a kind of machine, such as refuse truck. Its duties give starting
// values where nothing better is known.
type Kind struct {
	ID      int64
	Name    string // unique
	Version int
}

// Machine is what carries hoses.
type Machine struct {
	ID     int64
	SiteID int64
	KindID *int64
	Code   string // what people call it; unique in the register
	Name   string
	Serial string
	// PlannedHoursPerWeek is used until readings say better; nil if unknown.
	PlannedHoursPerWeek *float64
	CanHurt             bool // a burst on this machine can hurt someone
	Note                string
	// GoneOn is the day it left the fleet, sold or broken up; no date while it
	// belongs to it. A machine that left is on no list but keeps its history.
	GoneOn     quantity.Date
	GoneReason string
	Version    int
}

// Returned is the machine as it is when it comes back into the fleet on a day:
// why, and that it had left, is told in its note.
func (m Machine) Returned(on quantity.Date, reason string) Machine {
	m.Note = strings.TrimSpace(m.Note + "\nLeft on " + m.GoneOn.String() + " (" + m.GoneReason + "), back on " + on.String() + ": " + reason)
	m.GoneOn, m.GoneReason = quantity.Date{}, ""
	return m
}

// Circuit is a hydraulic circuit of a machine: lift, steering, return.
type Circuit struct {
	ID        int64
	MachineID int64
	Name      string // unique on its machine
	Version   int
}

// Position is a place on a machine where a hose belongs. It stays when the
// hose is changed.
type Position struct {
	ID        int64
	MachineID int64
	CircuitID *int64
	Name      string // unique on its machine
	// WalkOrder sorts the positions as one walks round the machine.
	WalkOrder int
	CanHurt   bool // a burst here can hurt someone
	Exposed   bool // to abrasion, flexing, vibration, salt or hot spots
	PolicyID  *int64
	LengthMM  *float64 // of the assembly that belongs here
	BendMM    *float64 // tightest bend radius as routed
	// StraightMM is the straight length behind the fitting as routed.
	StraightMM *float64
	Twisted    bool
	Note       string
	// GoneOn is the day the place ceased to be, as when a machine is rebuilt; no
	// date while it is there.
	GoneOn     quantity.Date
	GoneReason string
	Version    int
}

// KindPosition is a position that machines of a kind usually have: what a new
// machine of the kind starts from.
type KindPosition struct {
	ID        int64
	KindID    int64
	Circuit   string
	Name      string // unique of its kind
	WalkOrder int
	CanHurt   bool
	Exposed   bool
	LengthMM  *float64
	Note      string
	Version   int
}
