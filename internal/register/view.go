package register

import (
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Estimate is the stored result of an estimate of one installed assembly. What
// it was made from is known by InputHash and AsOf; the working is recomputed
// from the stored facts when it is wanted.
type Estimate struct {
	AssemblyID      int64 `gorm:"primaryKey;autoIncrement:false"`
	AsOf            quantity.Date
	InputHash       string
	Stale           bool // facts changed since; the nightly job will mend it
	RatedBar        *float64
	RatingConfirmed bool
	Complete        bool
	Due             quantity.Date
	Earliest        quantity.Date
	Latest          quantity.Date
	// ActBy is Earliest where a burst can hurt someone, else Due: the date
	// that status and lists go by.
	ActBy         quantity.Date
	Governing     life.ClockName
	Used          *float64 // of the governing clock, at AsOf
	InspectionDue quantity.Date
	HoursNow      *float64
	HoursPerWeek  *float64
	StopOpen      bool
	CanHurt       bool
	Missing       Words  `gorm:"type:text"` // what incomplete clocks lack
	Warnings      Words  `gorm:"type:text"` // codes
	Problem       string // why no estimate could be made, in one sentence; empty if one was
	// Where the assembly sits, for the order of lists.
	MachineID   int64
	SiteID      int64
	MachineCode string
	WalkOrder   int
	// Gaps are what is not known; they are stored in a table of their own and
	// not read with the estimate.
	Gaps []Gap `gorm:"-"`
}

// GapFilter chooses gaps. Zero values do not restrict.
type GapFilter struct {
	Site string
	What GapKind
}

// GapGroup is what one look, one reading or one entry would make known: the
// same value missing of one assembly, one circuit or one machine.
type GapGroup struct {
	What     GapKind
	Site     string
	Machine  string
	Circuit  string // of pressure cycles and temperatures, where the position has one
	Position string // of values of one assembly
	Assembly string // likewise
	Hoses    int    // how many assemblies lack it
	Days     int    // how far the date of one of them could move, at most
	Sum      int    // of all of them together
}

// KnownShare says of one kind of value how many installed assemblies lack it.
type KnownShare struct {
	What    GapKind // empty: any of them, that is, the estimate is incomplete
	Lacking int
	Of      int
}

// KnownDay is one day of the share known over time.
type KnownDay struct {
	Day     quantity.Date
	Lacking int // incomplete estimates
	Of      int
}

// Line is one installed assembly as lists show it.
type Line struct {
	Site          string
	Zone          string
	Today         quantity.Date // the site's
	MachineCode   string
	MachineName   string
	Circuit       string
	Position      string
	WalkOrder     int
	AssemblyCode  string
	Designation   string
	DN, Dash      int
	Made          quantity.Period
	Assembled     quantity.Period
	Fitted        quantity.Date
	LastInspected quantity.Date
	Estimate      Estimate
	Estimated     bool // false: never estimated yet
	Status        life.Status
}

// Incomplete reports whether the line is to be shown as incomplete.
func (l Line) Incomplete() bool { return !l.Estimated || !l.Estimate.Complete }

// LineFilter chooses lines. Zero values do not restrict.
type LineFilter struct {
	Site, Machine, Kind string
	Status              life.Status
	Incomplete          bool
	InspectionOverdue   bool
	InspectionSoon      bool // the next inspection is due within 30 days, from today on
	OverRating          bool // a warning says it works above its rating
	CanHurt             bool
	WithinDays          *int // ActBy at most so many days after the site's today; overdue ones count
	Text                string
	After               string // opaque cursor from LinePage.Next
	Limit               int    // 0 means 100; at most 1000
	Uncounted           bool   // nobody asks for the total
}

// LinePage is a page of lines in the order of the due list: stop first, then
// by ActBy (no date last among equals), machine, walking order.
type LinePage struct {
	Lines []Line
	Next  string // cursor of the next page; empty on the last
	// Total is how many lines the filter chooses; where More is set there are
	// more than that, and nobody counted on. It is 0 for a filter that is
	// Uncounted.
	Total int
	More  bool
}

// Counts is what Today counts, over installed assemblies.
type Counts struct {
	Stop, Overdue, Incomplete, Soon, Ahead, InService int
	InspectionsOverdue, InspectionsSoon               int
	Machines, Positions, EmptyPositions, Assemblies   int
	InStore, Stale, OverRating                        int
}

// MachineLine is one machine as the list of machines shows it.
type MachineLine struct {
	Machine      Machine
	Site, Kind   string
	Positions    int
	Counts       Counts
	NextActBy    quantity.Date
	LastReading  *Reading
	HoursPerWeek *float64
}

// MachineFilter chooses machines. Zero values do not restrict.
type MachineFilter struct {
	Site, Kind, Text string
	After            string
	Limit            int
}

// MachineSheet is one machine with all that its page shows.
type MachineSheet struct {
	Machine Machine
	Site    Site
	Kind    string
	Policy  string
	Today   quantity.Date
	Lines   []Line // in walking order
	// Inspected are the days each of the assemblies was inspected, by code.
	Inspected   map[string][]quantity.Date
	Empty       []Position
	Readings    []Reading // newest first
	MeterEvents []MeterEvent
	LayUps      []LayUp
	Conditions  []Conditions // at machine and circuit level
	Circuits    []Circuit
}

// AssemblySheet is one assembly with all that its page shows.
type AssemblySheet struct {
	Assembly Assembly
	Site     Site
	Today    quantity.Date
	Line     *Line // where it sits now; nil if it does not
	Status   life.Status
	// Estimate, Working and Input are recomputed as of the stored AsOf, or
	// Today where nothing is stored; nil where no estimate can be made. With
	// Problem set they are of what is certain in spite of it.
	Estimate *life.Estimate
	Working  []life.Step
	Input    *life.Assembly
	Problem  string
	Service  []ServiceValue // in force today, with where each value comes from
	Policy   Policy
	Story    []Event // newest first
	Open     []Finding
	// Placements, Inspections and Findings are all there are, newest first, for
	// correcting them.
	Placements  []PlacementSheet
	Inspections []Inspection
	Findings    []Finding
	Store       []life.Warning // for assemblies in store: age limits passed
}

// ServiceValue is one field of the service conditions in force, with its
// source.
type ServiceValue struct {
	Field ServiceField
	Said  Service // what was said, this field of it alone
	Level Level
	Basis Basis
	From  quantity.Date // no date for a duty
	Note  string
}

// ServiceField names a field of the service conditions in words.
type ServiceField string

// The fields of service conditions.
const (
	ServiceCycles       ServiceField = "pressure cycles"
	ServiceTemperature  ServiceField = "fluid temperature"
	ServiceSurroundings ServiceField = "surroundings"
	ServiceAlwaysHot    ServiceField = "hot around the clock"
	ServiceAdapter      ServiceField = "adapter rating"
	ServiceWorking      ServiceField = "working pressure"
	ServiceAssessed     ServiceField = "assessed in writing"
)

// Event is one line of an assembly's life story.
type Event struct {
	On   quantity.Date
	What EventKind
	Text string
	By   string
}

// EventKind says what kind of event it is.
type EventKind string

// The kinds of events.
const (
	EventMade      EventKind = "made"
	EventAssembled EventKind = "assembled"
	EventStored    EventKind = "stored"
	EventFitted    EventKind = "fitted"
	EventInspected EventKind = "inspected"
	EventFinding   EventKind = "finding"
	EventMoved     EventKind = "moved"
	EventRemoved   EventKind = "removed"
)

// JobRun is one run of a scheduled job.
type JobRun struct {
	ID       int64
	Job      string
	ForDay   quantity.Date // the day the run was due
	Started  time.Time
	Finished *time.Time
	Done     int    // things handled
	Problem  string // why it failed; empty if it did not
	Total    int    // things to handle, as far as known; 0 if it is not
}
