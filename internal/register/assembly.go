package register

import (
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
)

// Assembly is a hose with two ends: one physical thing with a code of its own.
type Assembly struct {
	ID     int64
	SiteID int64  // where it is kept while in store
	Code   string // unique in the register, never used again for another one

	Layline      string // as printed
	Maker        string // as printed on the hose
	Designation  string // such as EN 853 2SN
	Construction string
	Tube         string // tube material, such as NBR; empty if unknown
	DN, Dash     int    // 0 if unknown
	RatedBar     *float64
	// RatingSource is where RatedBar comes from: printed, typed or table.
	RatingSource RatingSource
	MaxC         *float64
	Fluid        string
	LengthMM     *float64

	EndA    string // kind of end, as the trade calls it
	EndABar *float64
	EndB    string
	EndBBar *float64
	EndMake string // maker of the ends, where it is not the hose's

	Made          quantity.Period // hose made
	MadeText      string          // as printed
	MadeAmbiguous bool
	Assembled     quantity.Period // assembly made
	AssembledText string

	Unconfirmed bool // identity found by measuring, not by reading
	Note        string
	// ScrappedOn is the day it was thrown away; no date while it is in use or in
	// store. A scrapped assembly is never fitted again.
	ScrappedOn     quantity.Date
	ScrappedReason string
	Version        int
}

// RatingSource says where the rating of a hose comes from.
type RatingSource string

// The sources of a rating. A printed one wins over a table's.
const (
	RatingPrinted RatingSource = "printed"
	RatingTyped   RatingSource = "typed"
	RatingTable   RatingSource = "table"
)

// SettledRating is the rating that is stored of the one typed and the one
// printed on the hose, both in bar and nil where there is none, and where it is
// from. The printed one wins; a lower one that was typed is kept, since it is
// the safer one. Nothing typed gives nothing.
func SettledRating(typed, printed *float64) (*float64, RatingSource) {
	switch {
	case typed == nil:
		return nil, ""
	case printed == nil || *printed <= 0:
		return typed, RatingTyped
	case hose.SameRating(*typed, *printed) || *typed > *printed:
		return printed, RatingPrinted
	}
	return typed, RatingTyped
}

// FillFromTable fills what the published row of its designation and size says
// and nobody typed: rating, construction, tube, highest temperature.
func (a *Assembly) FillFromTable() {
	rows, _ := hose.Lookup(a.Designation, hose.Size{DN: a.DN, Dash: a.Dash})
	choice, ok := hose.Choose(rows, a.RatedBar)
	if !ok {
		return
	}
	if a.RatedBar == nil {
		a.RatedBar, a.RatingSource = hose.Known(choice.Row.RatedBar), RatingTable
	}
	a.Construction = choice.Row.Construction
	if a.Tube == "" {
		a.Tube = choice.Row.Tube
	}
	if a.MaxC == nil {
		a.MaxC = hose.Known(choice.Row.MaxC)
	}
}

// Placement says where an assembly sat, from when to when. An assembly sits at
// one position at a time, a position holds one assembly at a time; between
// placements an assembly is in store.
type Placement struct {
	ID         int64
	AssemblyID int64
	PositionID int64
	From       quantity.Date `gorm:"column:from_on"`
	FromHours  *float64      // hour meter at fitting
	// FromText is the fit date as written where it was not a day.
	FromText string
	To       quantity.Date `gorm:"column:to_on"` // no date while it still sits there
	ToHours  *float64
	Version  int
}

// Cause is why an assembly came off.
type Cause string

// The causes.
const (
	CauseHeat     Cause = "heat"     // hardened, cracked, charred
	CausePressure Cause = "pressure" // leak or burst in the hose body, broken wires
	CauseAssembly Cause = "assembly" // fitting slip, leak at a fitting
	CauseOutside  Cause = "outside"  // cut, crushed, chafed, pulled
	CauseUnknown  Cause = "unknown"  // worn out, cause not known
	CausePlanned  Cause = "planned"  // replaced by date, not because of damage
)

// Causes lists them in the order forms show them.
func Causes() []Cause {
	return []Cause{CausePlanned, CauseHeat, CausePressure, CauseAssembly, CauseOutside, CauseUnknown}
}

// FoundBy is how the need to remove was found.
type FoundBy string

// The ways.
const (
	FoundByEvent      FoundBy = "event"
	FoundByInspection FoundBy = "inspection"
)

// Removal is the end of a placement and why it came. Its day and hours are
// those of the placement's end. What came off went back in store, unless
// ScrappedOn of the assembly is that day.
type Removal struct {
	ID          int64
	PlacementID int64
	Cause       Cause
	FoundBy     FoundBy
	Reason      string
	Seen        string // what was seen on the hose
	Version     int
}

// DaysOutOfOrder is how far dates known by their first day may be out of
// order: a hose fitted in 2024 counts from 1 January, and may have been made
// in March. Package life takes as much and warns.
const DaysOutOfOrder = 366

// MoveOff takes an assembly off where it sits, for a fitting elsewhere on the
// same day: planned, since nothing failed. offHours is what the hour meter of
// the machine it leaves showed; on the same machine that of the fitting holds.
func MoveOff(from Line, to Fit, offHours *float64) Remove {
	r := Remove{
		AssemblyCode: from.AssemblyCode, On: to.On, Hours: offHours, Cause: CausePlanned, FoundBy: FoundByInspection,
		Reason: "moved to " + to.Machine + ", " + to.Position,
	}
	if strings.EqualFold(from.MachineCode, to.Machine) {
		r.Hours = to.Hours
	}
	return r
}
