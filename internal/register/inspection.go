package register

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Inspection is one look at one assembly where it sat.
type Inspection struct {
	ID         int64
	AssemblyID int64
	PositionID int64
	On         quantity.Date `gorm:"column:on_day"`
	By         string        // name of the inspector, as written
	// Verdict is the strictest class of its findings, or sound.
	Verdict life.Class
	Note    string
	Version int
}

// Finding is one thing an inspection saw. It stays open until the assembly is
// removed, a manager releases it with a reason, or (correct) it is ticked done.
type Finding struct {
	ID           int64
	InspectionID int64
	AssemblyID   int64
	Number       int // of the catalogue life.FindingKinds; 0 for one of its own words
	Class        life.Class
	Place        string        // end A, middle, end B
	ActBy        quantity.Date // no date if none was given
	Note         string
	SeenOn       quantity.Date // the day of the inspection
	ClosedOn     quantity.Date
	ClosedHow    ClosedHow
	ClosedReason string
	Version      int
}

// ClosedHow says what closed a finding.
type ClosedHow string

// The ways a finding is closed; empty while it is open.
const (
	ClosedByRemoval ClosedHow = "removed"
	ClosedByRelease ClosedHow = "released"
	ClosedDone      ClosedHow = "done"
)

// ReleaseReason is the reason of a release as it stays beside a finding: who
// released it, and why.
func ReleaseReason(by, why string) string { return "released by " + by + ": " + why }
