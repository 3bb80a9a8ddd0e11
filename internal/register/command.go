package register

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Command is one change to the register. The list of its types is closed:
// package store applies each. Commands name things by what people call them.
// Check says what is wrong with a command that no register can mend; it
// returns an *Error with the field, or nil.
type Command interface {
	Check() error
	command()
}

// AddSite adds a site. Policy names one of the policies; empty means normal
// demand.
type AddSite struct{ Name, Zone, Policy string }

// AddKind adds a kind of machine.
type AddKind struct{ Name string }

// SetDuty says with which conditions machines of a kind, or one of their
// circuits, start.
type SetDuty struct {
	Kind, Circuit string
	Service       Service
	Note          string
}

// AddPolicy adds a policy of the fleet's own. A limit milder than that of the
// shipped policy for normal demand, or none in its place, needs Lengthened to
// say who lengthened what and why.
type AddPolicy struct{ Policy Policy }

// AddMachine adds a machine; its kind is added if the register lacks it.
type AddMachine struct {
	Site, Kind          string
	Code, Name, Serial  string
	PlannedHoursPerWeek *float64
	CanHurt             bool
	Note                string
}

// ChangeMachine replaces what is known of a machine. ID and Version must be
// those of the row that was read.
type ChangeMachine struct{ Machine Machine }

// AddPosition adds a position; its circuit is added if the machine lacks it.
// WalkOrder 0 puts it last. A Policy milder than its site's needs RightManage.
type AddPosition struct {
	Machine, Circuit, Name       string
	WalkOrder                    int
	CanHurt, Exposed, Twisted    bool
	Policy                       string
	LengthMM, BendMM, StraightMM *float64
	Note                         string
}

// ChangePosition replaces what is known of a position. A milder policy, its own
// or by having none of its own, needs RightManage and a Reason.
type ChangePosition struct {
	Position Position
	Reason   string
}

// AddAssembly adds an assembly to the store of a site. An empty Code is given
// out by the register; the store returns the code it gave.
type AddAssembly struct {
	Site     string
	Assembly Assembly // ID, SiteID and Version are ignored
}

// ChangeAssembly replaces what is known of an assembly.
type ChangeAssembly struct{ Assembly Assembly }

// Fit puts an assembly at a position. ReleasedBy and Reason are needed where
// it was stored beyond its limit. AssemblyCode empty means the one added by
// the AddAssembly just before in the same list.
type Fit struct {
	AssemblyCode       string
	Machine, Position  string
	On                 quantity.Date
	Hours              *float64
	OnText             string
	ReleasedBy, Reason string
}

// Remove takes an assembly off its position. Everything open on it is closed.
type Remove struct {
	AssemblyCode string
	On           quantity.Date
	Hours        *float64
	Cause        Cause
	FoundBy      FoundBy
	Reason, Seen string
	Scrapped     bool
}

// AddReading notes what the hour meter of a machine showed.
type AddReading struct {
	Machine string
	On      quantity.Date
	Hours   float64
	Source  string
	// Disputed keeps the reading out of the computation: it is known to be
	// doubtful, and is kept for a person to decide on.
	Disputed bool
	Note     string
}

// AddMeterEvent notes a meter that was replaced or rolled over.
type AddMeterEvent struct {
	Machine          string
	On               quantity.Date
	OldEnd, NewStart float64
	Note             string
}

// AddLayUp notes a time a machine is out of use.
type AddLayUp struct {
	Machine  string
	From, To quantity.Date
	Reason   string
}

// SetConditions says how a machine, one of its circuits or one of its
// positions is worked from a day on. Of Circuit and Position at most one is
// set; both empty means the machine.
type SetConditions struct {
	Machine, Circuit, Position string
	From                       quantity.Date
	Service                    Service
	Basis                      Basis
	Note                       string
}

// Inspect notes a look at the assembly that sits at a position on that day.
// No findings means sound.
type Inspect struct {
	Machine, Position string
	On                quantity.Date
	By, Note          string
	Findings          []NewFinding
}

// NewFinding is one thing an inspection saw.
type NewFinding struct {
	Number int
	Class  life.Class
	Place  string
	ActBy  quantity.Date
	Note   string
}

// CloseFinding releases a finding or ticks it done; releasing needs a reason.
type CloseFinding struct {
	FindingID int64
	On        quantity.Date
	How       ClosedHow
	Reason    string
}

func (AddSite) command()        {}
func (AddKind) command()        {}
func (SetDuty) command()        {}
func (AddPolicy) command()      {}
func (AddMachine) command()     {}
func (ChangeMachine) command()  {}
func (AddPosition) command()    {}
func (ChangePosition) command() {}
func (AddAssembly) command()    {}
func (ChangeAssembly) command() {}
func (Fit) command()            {}
func (Remove) command()         {}
func (AddReading) command()     {}
func (AddMeterEvent) command()  {}
func (AddLayUp) command()       {}
func (SetConditions) command()  {}
func (Inspect) command()        {}
func (CloseFinding) command()   {}
