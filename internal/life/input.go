package life

import (
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// Assembly is everything the estimate of one assembly is made from. Optional
// numbers are pointers, nil meaning unknown; optional dates may be "no date".
type Assembly struct {
	ID   string
	Hose Hose
	// EndA and EndB are the ratings of the two ends in bar, nil if unknown.
	EndABar, EndBBar *float64

	Assembled quantity.Date // date of manufacture of the assembly (ferrule stamp)
	Fitted    quantity.Date // first fitting; no date for an assembly in store

	CanHurt bool   // a burst can hurt someone
	Fluid   string // mineral oil, water-based, water, ... ; empty means mineral oil

	Policy     Policy
	Conditions []Conditions // any order; each holds from its day to the next one
	// Stints say where the assembly sat: on which machine's hours, from when
	// to when. Time between stints is storage. Any order.
	Stints   []Stint
	Findings []Finding
	// LastInspection is the last inspection with any verdict.
	LastInspection quantity.Date
	// Twisted, MixedMakers, DateAmbiguous and the lengths below only warn.
	Twisted, MixedMakers, DateAmbiguous bool
	BendMM, StraightMM                  *float64 // as found at the position
	// TableBar is the published rating of the designation and size where it
	// differs from the printed one; nil if there is none or it is the same.
	TableBar *float64
	// Lengthened says who lengthened a limit of the policy and why; shown
	// beside every date that uses it. Empty if nothing was lengthened.
	Lengthened string
}

// Hose is the hose of an assembly.
type Hose struct {
	Designation  string
	Construction string // wire braid, wire spiral, textile, thermoplastic, ...
	Tube         string // NBR, CR, EPDM, PTFE, thermoplastic, ...; empty is unknown
	DN           int
	RatedBar     *float64 // maximum working pressure; the printed one wins
	// RatingUnconfirmed: RatedBar was not read from the hose but taken from a
	// table or from measuring; the assembly's rating is unconfirmed then.
	RatingUnconfirmed bool
	Made              quantity.Date
	MaxC              *float64 // highest fluid temperature, degrees Celsius

	// The impulse-test point of the designation; nil if it has none.
	ImpulsePercent, ImpulseCycles, ImpulseTempC *float64

	OutsideMM, MinBendMM *float64
}

// Policy is the set of limits an assembly is held to. A nil limit does not
// apply.
type Policy struct {
	Name               string
	MonthsFromAssembly *int
	MonthsFromFitting  *int
	MonthsFromMake     *int
	HoursFromFitting   *float64
	CyclesFromFitting  *float64
	HeatLimitMonths    *int
	StorageMonths      *int
	HoseAgeMonths      *int // greatest age of the hose when assembled
	InspectMonths      *int
	DamageLimit        *float64 // nil: 0.5, halved where a burst can hurt
	AssumedFactor      *float64 // nil: 2
	HeatReferenceC     *float64 // nil: highest temperature of the hose - 20 K
	EaKJ               *float64 // nil: by tube material
	CombineSum         bool     // adds a clock: used of heat and pressure together
	PeakOnly           bool     // count every cycle from zero
	OwnCurveAlone      bool     // use the designation's own curve although milder
	OwnCurveReason     string   // required with OwnCurveAlone
}

// Conditions is how an assembly is worked from one day on.
type Conditions struct {
	From quantity.Date
	// Recorded: the cycles come from a recorded pressure log.
	Recorded bool
	// Assessed: the day a named written assessment of working over rating was
	// attached; no date if none.
	Assessed quantity.Date

	FluidC, SurroundingsC *float64
	AlwaysHot             bool // surroundings are hot around the clock
	Temperatures          []TemperatureShare

	AdapterBar *float64 // rating of an adapter at the position
	WorkingBar *float64 // working pressure, where no cycles are known
	Cycles     []Cycle
	// NoCycles: known to see no pressure cycles (return and suction lines).
	NoCycles bool
}

// TemperatureShare is a temperature and the share of running time at it.
type TemperatureShare struct{ C, Share float64 }

// Cycle is a row of pressure cycles, Count of them in each unit of the meter.
type Cycle struct {
	MinBar, MaxBar float64
	Count          float64 // per running hour, or per Per
	// Per names another unit the meter counts ("lift", "km"); empty is hour.
	// Cycles per another unit need PerHour to be known.
	Per     string
	PerHour *float64 // how many of Per there are in a running hour
}

// Stint is a stretch of time on one machine.
type Stint struct {
	From, To quantity.Date // To is no date while it still sits there
	// Hours are the machine's running hours, worked out once per machine and
	// shared by its assemblies; nil if the machine has neither readings nor
	// planned hours.
	Hours *usage.Hours
}

// Finding is what an inspection saw, open until released.
type Finding struct {
	On    quantity.Date
	Class Class
	By    quantity.Date // to be done by; no date if none was given
	// Closed is the day it was released, ticked done or ended by a removal.
	Closed quantity.Date
}

// Class is the class of a finding.
type Class string

// The classes of a finding, strictest first.
const (
	Stop    Class = "stop"
	Replace Class = "replace"
	Correct Class = "correct"
	Watch   Class = "watch"
	Sound   Class = "sound"
)
