package register

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// KindSheet is a kind of machine with what machines of it start from.
type KindSheet struct {
	Kind      Kind
	Positions []KindPosition // in walking order
	Duties    []Duty
	Machines  []string // codes, at most 1000
}

// PositionSheet is one position with all that its pages show.
type PositionSheet struct {
	Position   Position
	Machine    Machine
	Site       Site
	Today      quantity.Date
	Circuit    string
	Policy     string // its own; empty if it has the site's
	Line       *Line  // what sits there now, nil if nothing
	Placements []PlacementSheet
	Conditions []Conditions // of the position, newest first
	Service    []ServiceValue
}

// PlacementSheet is one placement with its names.
type PlacementSheet struct {
	Placement    Placement
	Removal      *Removal // nil while it sits there
	AssemblyCode string
	Designation  string
	MachineCode  string
	PositionName string
	SiteID       int64
	Scrapped     bool // thrown away when it came off
	// Elsewhere: it was on a machine of a site that whoever asks may not see;
	// of where nothing is told, nor of why it came off.
	Elsewhere bool
	// Away: the assembly is at such a site now, so it has no page.
	Away bool
}

// AssemblyLine is one assembly of the list of all assemblies.
type AssemblyLine struct {
	Assembly Assembly
	Site     string // where it is or is kept
	// Machine and Position are where it sits; empty if it does not.
	Machine, Position string
	Status            life.Status
	ActBy             quantity.Date
	Incomplete        bool
	Placements        int // how often it was fitted
	// Warnings say why one in store may not be fitted any more; none if it may.
	Warnings []life.Warning
}

// AssemblyFilter chooses assemblies. Zero values do not restrict.
type AssemblyFilter struct {
	Site        string
	Where       string // fitted, in store, scrapped
	Designation string
	DN          int
	Text        string
	After       string
	Limit       int // 0 means 100; at most 1000
}

// AssemblyPage is a page of assemblies in the order of their codes.
type AssemblyPage struct {
	Lines []AssemblyLine
	Next  string
	Total int
	More  bool // there are more than Total
}

// PositionLine is one position of the list of all positions.
type PositionLine struct {
	ID           int64
	Site         string
	MachineCode  string
	MachineName  string
	Kind         string
	Circuit      string
	Name         string
	WalkOrder    int
	CanHurt      bool
	Exposed      bool
	Policy       string // its own; empty if it has the site's
	AssemblyCode string // empty if nothing sits there
	Designation  string
	Status       life.Status
	ActBy        quantity.Date
}

// PositionFilter chooses positions. Zero values do not restrict.
type PositionFilter struct {
	Site, Machine, Kind, Circuit, Policy string
	Empty                                bool
	CanHurt, Exposed                     *bool
	Text                                 string
	After                                string
	Limit                                int // 0 means 100; at most 1000
}

// PositionPage is a page of positions by machine and walking order.
type PositionPage struct {
	Lines []PositionLine
	Next  string
	Total int
	More  bool // there are more than Total
}

// Found is what a search found, at most some of each.
type Found struct {
	Machines   []FoundThing
	Assemblies []FoundThing
	Positions  []FoundThing // empty ones: what is fitted is found as its assembly
	// Only is the address of the one thing the text names exactly, as by its
	// code; empty if there is none or more than one.
	Only *FoundThing
	More bool // there is more than is listed
}

// FoundThing is one thing a search found.
type FoundThing struct {
	What  Thing // machines, assemblies or positions
	Code  string
	Where string // machine code and position of an assembly; machine of a position
	Says  string // in words: name, designation, size, layline
	// Position is the position's name where What is positions.
	Position string
	Status   life.Status // of an assembly
	// Incomplete: of a fitted assembly, its date lacks a value.
	Incomplete bool
}

// SavedList is a list with its filters that a person keeps.
type SavedList struct {
	ID       int64
	PersonID int64
	Name     string
	Address  string
}

// Preview says what commands would do to the dates, before they are applied.
type Preview struct {
	Touched int // installed assemblies whose date may move
	Seen    int // how many of them were worked out for this preview
	Earlier int // among those seen
	Later   int
	Same    int
	Gained  int // had no date or were incomplete, and are complete then
	Lost    int // become incomplete
	Overdue int // become overdue or stopped that were not
	Moves   []Move
}

// Move is one date that would move, largest first.
type Move struct {
	Machine, Position, AssemblyCode string
	Before, After                   quantity.Date
	StatusBefore, StatusAfter       life.Status
	GoverningBefore, GoverningAfter life.ClockName
}
