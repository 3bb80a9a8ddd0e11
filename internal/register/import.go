package register

import (
	"time"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
)

// ImportKind says what the rows of a sheet are.
type ImportKind string

// The kinds of sheets.
const (
	ImportMachines ImportKind = "machines"
	ImportHoses    ImportKind = "hoses"
	ImportReadings ImportKind = "readings"
)

// CellError is what is wrong with one cell, in one sentence.
type CellError struct {
	Column, Value, Sentence string
	// WholeColumn: it would hold of every cell of the column that is filled in
	// the same way; a report says it once.
	WholeColumn bool
}

// ImportRow is one row of a sheet, read and typed. Exactly one of Machine,
// Hose and Reading is set, by the kind of the sheet. Notes are things read but
// to be told (an ambiguous date, a table value taken).
type ImportRow struct {
	Number  int      // row of the sheet, counted from 1 as spreadsheets do
	Cells   []string // as they stood, for handing back
	Machine *MachineRow
	Hose    *HoseRow
	Reading *ReadingRow
	Errors  []CellError
	Notes   []CellError
	// Headers gives the header of each field the sheet has a column for; all
	// rows of a sheet share it.
	Headers map[string]string
	// At gives the index in Cells of each such field, shared likewise.
	At map[string]int
}

// MachineRow is a row of a machines sheet; empty or nil means the cell was
// empty or the column absent, and leaves what the register knows.
type MachineRow struct {
	Site, Code, Name, Kind, Serial, Note string
	PlannedHoursPerWeek                  *float64
	CanHurt                              *bool
	// SiteZone and SitePolicy are used where the row's site is new,
	// SitePolicyLimits where the register lacks that policy.
	SiteZone, SitePolicy string
	SitePolicyLimits     *Policy
	// Duty is of the machine's kind, used where the register has none for it
	// but shipped ones;
	// Said is how the machine and its circuits are worked; LaidUp when it
	// stood still.
	Duty   []SaidRow
	Said   []SaidRow
	LaidUp []LayUp
}

// SaidRow is one row of service conditions, or of a duty, as a list holds it.
type SaidRow struct {
	Circuit string        // empty for the machine, or the position, as a whole
	From    quantity.Date // no date for a duty
	Service Service
	Basis   Basis
	Note    string
}

// HoseRow is a row of a hoses sheet: one assembly at one position for one
// stretch of time. Without Machine and Position it is an assembly in store,
// without anything about a hose it is an empty position. Empty or nil means
// as in MachineRow.
type HoseRow struct {
	Site, Machine, MachineName, Kind string
	Circuit, Position                string
	WalkOrder                        *int
	CanHurt, Exposed, Twisted        *bool
	Policy                           string
	PolicyLimits                     *Policy // used where the register lacks the policy
	// The three lengths and PositionNote are the position's.
	PositionMM, BendMM, StraightMM *float64
	PositionNote                   string

	Code, Layline, Maker, Designation, Construction, Tube, Fluid string
	Size                                                         hose.Size
	RatedBar                                                     *float64
	RatingSource                                                 RatingSource
	MaxC, LengthMM                                               *float64
	EndA, EndB, EndMake                                          string
	EndABar, EndBBar                                             *float64
	Made, Assembled                                              quantity.Period
	MadeText, AssembledText                                      string
	MadeAmbiguous, Unconfirmed                                   *bool
	Note                                                         string
	KeptAt                                                       string // site of the store; empty means Site

	Fitted                quantity.Period // first day counts
	FittedText            string          // as written where it is not a day
	FittedHours           *float64
	Removed               quantity.Date
	RemovedHours          *float64
	Cause                 Cause
	FoundBy               FoundBy
	Reason, Seen          string
	Scrapped              *bool
	MinBar, MaxBar        *float64
	CyclesPerHour         *float64
	NoCycles              *bool
	WorkingBar            *float64
	FluidC, SurroundingsC *float64
	AlwaysHot             *bool
	AdapterBar            *float64
	ConditionsBasis       Basis
	Recorded              *bool // the cycles come from a recorded pressure log
	// Said is all that was said of how the position is worked, on any day; the
	// fields above are what holds from the fitting on.
	Said           []SaidRow
	LastInspection quantity.Date
	// Inspections are all looks at the hose during this stay.
	Inspections []InspectionRow
}

// InspectionRow is one inspection with what it saw, as a list holds it. Each
// finding holds how it was closed; one that is open on a hose that came off is
// closed by that.
type InspectionRow struct {
	On       quantity.Date
	By, Note string
	Findings []FindingRow
}

// FindingRow is one finding of an inspection, as a list holds it.
type FindingRow struct {
	NewFinding
	ClosedOn     quantity.Date // no date if it is open or was closed by the removal
	ClosedHow    ClosedHow     // released or done
	ClosedReason string
}

// NamesHose reports whether the row says anything about a hose, not only
// about the position it belongs to.
func (h *HoseRow) NamesHose() bool {
	return h.Code != "" || h.Layline != "" || h.Maker != "" || h.Designation != "" || h.Construction != "" ||
		!h.Size.IsZero() || h.RatedBar != nil || h.LengthMM != nil || h.EndA != "" || h.EndB != "" ||
		!h.Made.IsZero() || !h.Assembled.IsZero() || !h.Fitted.IsZero()
}

// ReadingRow is a row of a readings sheet. With NewStart set it says that the
// meter was replaced or rolled over: the old one ended at Hours, the new one
// began at NewStart.
type ReadingRow struct {
	Machine  string
	On       quantity.Date
	Hours    *float64
	NewStart *float64
	Source   string
	Disputed *bool
	Note     string
}

// Import is one file that was taken into the register.
type Import struct {
	ID       int64
	FileName string
	FileHash string // SHA-256 of the file
	Kind     ImportKind
	At       time.Time
	PersonID int64
	Rows     int
	AddedN   int
	ChangedN int
	SameN    int
	RefusedN int
	UndoneAt *time.Time
}

// HeaderChoice keeps what each column of a set of headers was said to mean.
type HeaderChoice struct {
	ID         int64
	Kind       ImportKind
	HeaderHash string // of the set of headers, in any order; see exchange.HeaderHash
	Meanings   string // JSON: header to field name, "" for ignored
}

// Different says what to do with a hose that is not the one the register has
// at a position.
type Different string

// The answers.
const (
	DifferentAsk     Different = "ask"     // refuse the row and ask
	DifferentSwap    Different = "swap"    // the old one came off on the new one's fit date
	DifferentCorrect Different = "correct" // the register was wrong
)

// RowOutcome is what an import would do, or did, with one row.
type RowOutcome string

// The outcomes.
const (
	RowAdded   RowOutcome = "added"
	RowChanged RowOutcome = "changed"
	RowSame    RowOutcome = "same"
	RowRefused RowOutcome = "refused"
	RowAsked   RowOutcome = "asked"
)

// ImportLine is one line of the report on an import.
type ImportLine struct {
	Row     int
	Outcome RowOutcome
	What    string // what was added or changed, in words
	Errors  []CellError
	Notes   []CellError
}

// ImportReport is what an import would do, or did. Lines holds at most
// MaxReportLines, refused and asked ones first, then those with notes; the
// counts are complete.
type ImportReport struct {
	// ImportID is 0 where nothing was kept: a dry run, a file refused as a
	// whole, or one that says nothing new.
	ImportID                             int64
	Kind                                 ImportKind
	Rows                                 int
	Added, Changed, Same, Refused, Asked int
	Lines                                []ImportLine
	Truncated                            bool // there are more lines than Lines
	Stale                                int  // estimates left for the nightly job to mend
}

// MaxReportLines bounds the lines a report keeps.
const MaxReportLines = 500
