package register

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// WholeVersion is the version of the form a whole register is written in. A
// reader refuses any other.
const WholeVersion = 1

// WholePart says what the rows of one part of a whole register are; it is the
// name of the sheet, or of the key, they stand under.
type WholePart string

// The parts, in the order they are written and taken in: a row names only
// things of its own part's rows before it or of parts before.
const (
	PartPolicies      WholePart = "policies"
	PartSites         WholePart = "sites"
	PartKinds         WholePart = "kinds"
	PartKindPositions WholePart = "kind_positions"
	PartDuties        WholePart = "duties"
	PartMachines      WholePart = "machines"
	PartCircuits      WholePart = "circuits"
	PartPositions     WholePart = "positions"
	PartAssemblies    WholePart = "assemblies"
	PartFormerCodes   WholePart = "former_codes"
	PartPlacements    WholePart = "placements"
	PartReadings      WholePart = "readings"
	PartMeterEvents   WholePart = "meter_events"
	PartLayUps        WholePart = "lay_ups"
	PartConditions    WholePart = "conditions"
	PartInspections   WholePart = "inspections"
	PartFindings      WholePart = "findings"
)

// WholeParts are the parts in their order.
func WholeParts() []WholePart {
	return []WholePart{
		PartPolicies, PartSites, PartKinds, PartKindPositions, PartDuties, PartMachines, PartCircuits, PartPositions,
		PartAssemblies, PartFormerCodes, PartPlacements, PartReadings, PartMeterEvents, PartLayUps, PartConditions,
		PartInspections, PartFindings,
	}
}

// NewWholeRow is an empty row of a part, nil for no part.
func NewWholeRow(part WholePart) WholeRow {
	switch part {
	case PartPolicies:
		return &WholePolicy{}
	case PartSites:
		return &WholeSite{}
	case PartKinds:
		return &WholeKind{}
	case PartKindPositions:
		return &WholeKindPosition{}
	case PartDuties:
		return &WholeDuty{}
	case PartMachines:
		return &WholeMachine{}
	case PartCircuits:
		return &WholeCircuit{}
	case PartPositions:
		return &WholePosition{}
	case PartAssemblies:
		return &WholeAssembly{}
	case PartFormerCodes:
		return &WholeFormerCode{}
	case PartPlacements:
		return &WholePlacement{}
	case PartReadings:
		return &WholeReading{}
	case PartMeterEvents:
		return &WholeMeterEvent{}
	case PartLayUps:
		return &WholeLayUp{}
	case PartConditions:
		return &WholeConditions{}
	case PartInspections:
		return &WholeInspection{}
	case PartFindings:
		return &WholeFinding{}
	}
	return nil
}

// WholeRow is one row of a whole register: a pointer to one of the Whole
// structs of this file. They name other things by what people call them, never
// by ids; the tags are their columns. Empty texts, no date and nil mean nothing
// is said. Check says what no register could mend: an *Error with the column.
type WholeRow interface {
	Part() WholePart
	Check() error
}

// WholeSource gives the rows of a whole register, part by part in the order of
// WholeParts and within a part as they were written; io.EOF behind the last.
type WholeSource interface {
	// Next gives a row and its number, by which Place finds it again.
	Next() (row WholeRow, number int, err error)
	// Place says where a row stands, to begin a sentence with: Sheet sites, row 2.
	Place(part WholePart, number int) string
}

// WholeReport is what of a whole register was taken, or would be.
type WholeReport struct {
	Taken bool // false for a trial
	Rows  map[WholePart]int
	Stale int // estimates left for the job
}

// WholePolicy is a policy of the fleet's own; shipped ones are in every
// register.
type WholePolicy struct {
	Name                 string   `json:"name"`
	MonthsFromAssembly   *int     `json:"months_from_assembly"`
	MonthsFromFitting    *int     `json:"months_from_fitting"`
	MonthsFromMake       *int     `json:"months_from_make"`
	HoursFromFitting     *float64 `json:"hours_from_fitting"`
	CyclesFromFitting    *float64 `json:"cycles_from_fitting"`
	HeatLimitMonths      *int     `json:"heat_limit_months"`
	StorageMonths        *int     `json:"storage_months"`
	HoseAgeMonths        *int     `json:"hose_age_months"`
	InspectMonths        *int     `json:"inspect_months"`
	ExposedInspectMonths *int     `json:"exposed_inspect_months"`
	DamageLimit          *float64 `json:"damage_limit"`
	AssumedFactor        *float64 `json:"assumed_factor"`
	HeatReferenceC       *float64 `json:"heat_reference_c"`
	EaKJ                 *float64 `json:"ea_kj"`
	CombineSum           bool     `json:"combine_sum"`
	PeakOnly             bool     `json:"peak_only"`
	OwnCurveAlone        bool     `json:"own_curve_alone"`
	OwnCurveReason       string   `json:"own_curve_reason"`
	Source               string   `json:"source"`
	Lengthened           string   `json:"lengthened"`
}

// WholeSite is a site.
type WholeSite struct {
	Name   string `json:"name"`
	Zone   string `json:"zone"`
	Policy string `json:"policy"`
}

// WholeKind is a kind of machine.
type WholeKind struct {
	Name string `json:"name"`
}

// WholeKindPosition is a usual position of a kind.
type WholeKindPosition struct {
	Kind      string   `json:"kind"`
	Circuit   string   `json:"circuit"`
	Name      string   `json:"name"`
	WalkOrder int      `json:"walk_order"`
	CanHurt   bool     `json:"can_hurt"`
	Exposed   bool     `json:"exposed"`
	LengthMM  *float64 `json:"length_mm"`
	Note      string   `json:"note"`
}

// WholeService is how something is worked, as in Service.
type WholeService struct {
	FluidC        *float64      `json:"fluid_c"`
	SurroundingsC *float64      `json:"surroundings_c"`
	AlwaysHot     *bool         `json:"always_hot"`
	Temperatures  Temperatures  `json:"temperatures"`
	AdapterBar    *float64      `json:"adapter_bar"`
	WorkingBar    *float64      `json:"working_bar"`
	Cycles        Cycles        `json:"cycles"`
	NoCycles      *bool         `json:"no_cycles"`
	Recorded      *bool         `json:"recorded"`
	AssessedOn    quantity.Date `json:"assessed_on"`
}

// WholeDuty is a duty of a kind.
type WholeDuty struct {
	Kind    string `json:"kind"`
	Circuit string `json:"circuit"`
	WholeService
	Note string `json:"note"`
}

// WholeMachine is a machine, also one that left the fleet.
type WholeMachine struct {
	Site                string        `json:"site"`
	Kind                string        `json:"kind"`
	Code                string        `json:"code"`
	Name                string        `json:"name"`
	Serial              string        `json:"serial"`
	PlannedHoursPerWeek *float64      `json:"planned_hours_per_week"`
	CanHurt             bool          `json:"can_hurt"`
	Note                string        `json:"note"`
	GoneOn              quantity.Date `json:"gone_on"`
	GoneReason          string        `json:"gone_reason"`
}

// WholeCircuit is a circuit of a machine.
type WholeCircuit struct {
	Machine string `json:"machine"`
	Name    string `json:"name"`
}

// WholePosition is a position, also one that ceased to be.
type WholePosition struct {
	Machine    string        `json:"machine"`
	Circuit    string        `json:"circuit"`
	Name       string        `json:"name"`
	WalkOrder  int           `json:"walk_order"`
	CanHurt    bool          `json:"can_hurt"`
	Exposed    bool          `json:"exposed"`
	Policy     string        `json:"policy"`
	LengthMM   *float64      `json:"length_mm"`
	BendMM     *float64      `json:"bend_mm"`
	StraightMM *float64      `json:"straight_mm"`
	Twisted    bool          `json:"twisted"`
	Note       string        `json:"note"`
	GoneOn     quantity.Date `json:"gone_on"`
	GoneReason string        `json:"gone_reason"`
}

// WholeAssembly is an assembly, also one that was thrown away. Site is where it
// is kept.
type WholeAssembly struct {
	Site           string          `json:"site"`
	Code           string          `json:"code"`
	Layline        string          `json:"layline"`
	Maker          string          `json:"maker"`
	Designation    string          `json:"designation"`
	Construction   string          `json:"construction"`
	Tube           string          `json:"tube"`
	DN             int             `json:"dn"`
	Dash           int             `json:"dash"`
	RatedBar       *float64        `json:"rated_bar"`
	RatingSource   RatingSource    `json:"rating_source"`
	MaxC           *float64        `json:"max_c"`
	Fluid          string          `json:"fluid"`
	LengthMM       *float64        `json:"length_mm"`
	EndA           string          `json:"end_a"`
	EndABar        *float64        `json:"end_a_bar"`
	EndB           string          `json:"end_b"`
	EndBBar        *float64        `json:"end_b_bar"`
	EndMake        string          `json:"end_make"`
	Made           quantity.Period `json:"made"`
	MadeText       string          `json:"made_text"`
	MadeAmbiguous  bool            `json:"made_ambiguous"`
	Assembled      quantity.Period `json:"assembled"`
	AssembledText  string          `json:"assembled_text"`
	Unconfirmed    bool            `json:"unconfirmed"`
	Note           string          `json:"note"`
	ScrappedOn     quantity.Date   `json:"scrapped_on"`
	ScrappedReason string          `json:"scrapped_reason"`
}

// WholeFormerCode is a code an assembly had before its present one.
type WholeFormerCode struct {
	Code     string `json:"code"`
	Assembly string `json:"assembly"`
}

// WholePlacement is where an assembly sat, with its removal where it came off:
// Cause to Seen are those of the removal, empty while it sits there.
type WholePlacement struct {
	Assembly  string        `json:"assembly"`
	Machine   string        `json:"machine"`
	Position  string        `json:"position"`
	From      quantity.Date `json:"from_on"`
	FromHours *float64      `json:"from_hours"`
	FromText  string        `json:"from_text"`
	To        quantity.Date `json:"to_on"`
	ToHours   *float64      `json:"to_hours"`
	Cause     Cause         `json:"cause"`
	FoundBy   FoundBy       `json:"found_by"`
	Reason    string        `json:"removal_reason"`
	Seen      string        `json:"seen"`
}

// WholeReading is a reading.
type WholeReading struct {
	Machine  string        `json:"machine"`
	On       quantity.Date `json:"on"`
	Hours    float64       `json:"hours"`
	Source   string        `json:"source"`
	Disputed bool          `json:"disputed"`
	Note     string        `json:"note"`
}

// WholeMeterEvent is a meter event.
type WholeMeterEvent struct {
	Machine  string        `json:"machine"`
	On       quantity.Date `json:"on"`
	OldEnd   float64       `json:"old_end_hours"`
	NewStart float64       `json:"new_start_hours"`
	Note     string        `json:"note"`
}

// WholeLayUp is a lay-up.
type WholeLayUp struct {
	Machine string        `json:"machine"`
	From    quantity.Date `json:"from_on"`
	To      quantity.Date `json:"to_on"`
	Reason  string        `json:"reason"`
}

// WholeConditions is a row of service conditions: of the position where one is
// named, else of the circuit, else of the machine.
type WholeConditions struct {
	Machine  string        `json:"machine"`
	Circuit  string        `json:"circuit"`
	Position string        `json:"position"`
	From     quantity.Date `json:"from_on"`
	WholeService
	Basis Basis  `json:"basis"`
	Note  string `json:"note"`
}

// WholeInspection is a look at an assembly where it sat. Look numbers the looks
// at the assembly on that day, from 1.
type WholeInspection struct {
	Assembly string        `json:"assembly"`
	On       quantity.Date `json:"on"`
	Look     int           `json:"look"`
	Machine  string        `json:"machine"`
	Position string        `json:"position"`
	By       string        `json:"by"`
	Verdict  life.Class    `json:"verdict"`
	Note     string        `json:"note"`
}

// WholeFinding is what the inspection of that assembly, day and look saw, and
// how it was closed.
type WholeFinding struct {
	Assembly     string        `json:"assembly"`
	On           quantity.Date `json:"on"`
	Look         int           `json:"look"`
	Number       int           `json:"number"`
	Class        life.Class    `json:"class"`
	Place        string        `json:"place"`
	ActBy        quantity.Date `json:"act_by"`
	Note         string        `json:"note"`
	ClosedOn     quantity.Date `json:"closed_on"`
	ClosedHow    ClosedHow     `json:"closed_how"`
	ClosedReason string        `json:"closed_reason"`
}

// Part is PartPolicies.
func (*WholePolicy) Part() WholePart { return PartPolicies }

// Part is PartSites.
func (*WholeSite) Part() WholePart { return PartSites }

// Part is PartKinds.
func (*WholeKind) Part() WholePart { return PartKinds }

// Part is PartKindPositions.
func (*WholeKindPosition) Part() WholePart { return PartKindPositions }

// Part is PartDuties.
func (*WholeDuty) Part() WholePart { return PartDuties }

// Part is PartMachines.
func (*WholeMachine) Part() WholePart { return PartMachines }

// Part is PartCircuits.
func (*WholeCircuit) Part() WholePart { return PartCircuits }

// Part is PartPositions.
func (*WholePosition) Part() WholePart { return PartPositions }

// Part is PartAssemblies.
func (*WholeAssembly) Part() WholePart { return PartAssemblies }

// Part is PartFormerCodes.
func (*WholeFormerCode) Part() WholePart { return PartFormerCodes }

// Part is PartPlacements.
func (*WholePlacement) Part() WholePart { return PartPlacements }

// Part is PartReadings.
func (*WholeReading) Part() WholePart { return PartReadings }

// Part is PartMeterEvents.
func (*WholeMeterEvent) Part() WholePart { return PartMeterEvents }

// Part is PartLayUps.
func (*WholeLayUp) Part() WholePart { return PartLayUps }

// Part is PartConditions.
func (*WholeConditions) Part() WholePart { return PartConditions }

// Part is PartInspections.
func (*WholeInspection) Part() WholePart { return PartInspections }

// Part is PartFindings.
func (*WholeFinding) Part() WholePart { return PartFindings }
