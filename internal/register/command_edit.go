package register

import "hoseward/internal/quantity"

// The commands of this file change what is there. ID and Version are those of
// the row that was read: if someone changed it meanwhile the command is
// refused with code Conflict. Reason says why a fact of the past is corrected.

// ChangeSite replaces what is known of a site. A milder policy needs a Reason;
// see MilderPolicy.
type ChangeSite struct {
	Site   Site
	Reason string
}

// ChangeKind renames a kind of machine.
type ChangeKind struct{ Kind Kind }

// AddKindPosition adds a position to those machines of a kind usually have.
// WalkOrder 0 puts it last.
type AddKindPosition struct {
	Kind     string
	Position KindPosition // ID, KindID and Version are ignored
}

// ChangeKindPosition replaces a usual position.
type ChangeKindPosition struct{ Position KindPosition }

// TakeUsual makes the positions of a machine the usual ones of its kind; what
// the kind had is replaced.
type TakeUsual struct{ Machine string }

// CopyPositions adds to a machine the positions it lacks of another one, or of
// its kind where From is empty. Worked also copies how the other machine, its
// circuits and these positions are worked, marked as assumed.
type CopyPositions struct {
	Machine, From string
	Worked        bool
}

// ChangePolicy replaces a policy of the fleet's own; a shipped one cannot be
// changed. The rules of AddPolicy hold, and a limit milder than before needs
// Lengthened to say anew who lengthened what and why.
type ChangePolicy struct{ Policy Policy }

// AddCircuit adds a circuit to a machine.
type AddCircuit struct{ Machine, Name string }

// ChangeCircuit renames a circuit.
type ChangeCircuit struct{ Circuit Circuit }

// OrderPositions gives the positions of a machine their walking order: the
// named ones in this order, then the others as they were.
type OrderPositions struct {
	Machine string
	Names   []string
}

// ChangePositions sets the same values at many positions; nil leaves what each
// has. An empty Policy or Circuit takes it away. A milder policy needs
// RightManage and a Reason.
type ChangePositions struct {
	Positions        []int64
	CanHurt, Exposed *bool
	Policy, Circuit  *string
	Reason           string
}

// ChangeMachines sets the same values at many machines; nil leaves what each
// has. An empty Kind takes it away.
type ChangeMachines struct {
	Machines            []int64
	Site, Kind          *string
	PlannedHoursPerWeek *float64
	CanHurt             *bool
}

// SetConditionsAt says how many positions are worked from a day on, each as
// SetConditions would.
type SetConditionsAt struct {
	Positions []int64
	From      quantity.Date
	Service   Service
	Basis     Basis
	Note      string
}

// RetireMachine takes a machine out of the fleet: sold, handed back, broken
// up. What sits on it goes with it: it is removed as planned and scrapped.
type RetireMachine struct {
	Machine string
	On      quantity.Date
	Reason  string
}

// RetirePosition notes that a position ceased to be. It must be empty.
type RetirePosition struct {
	Machine, Position string
	On                quantity.Date
	Reason            string
}

// Scrap notes that an assembly in store was thrown away.
type Scrap struct {
	AssemblyCode string
	On           quantity.Date
	Reason       string
}

// ChangePlacement corrects where and when an assembly sat and, where it came
// off, why. Removal is nil while it still sits there. The assembly stays;
// PositionID may be another position's. Scrapped says, where it came off,
// whether it was thrown away then.
type ChangePlacement struct {
	Placement Placement
	Removal   *Removal
	Scrapped  bool
	Reason    string
}

// ChangeReading corrects a reading; Disputed keeps it out of the computation.
type ChangeReading struct {
	Reading Reading
	Reason  string
}

// ChangeMeterEvent corrects a meter event.
type ChangeMeterEvent struct {
	Event  MeterEvent
	Reason string
}

// ChangeLayUp corrects or ends a lay-up. Ending one needs no reason.
type ChangeLayUp struct {
	LayUp  LayUp
	Reason string
}

// ChangeConditions corrects a row of service conditions. Level and owner stay.
type ChangeConditions struct {
	Conditions Conditions
	Reason     string
}

// ChangeInspection corrects the day, the inspector's name and the note of an
// inspection; its findings follow the day. Its verdict is that of its findings.
type ChangeInspection struct {
	Inspection Inspection
	Reason     string
}

// ChangeFinding corrects a finding; see MilderFinding for what needs
// RightManage. How it was closed is not changed by it.
type ChangeFinding struct {
	Finding Finding
	Reason  string
}

// Thing is what TakeBack takes back.
type Thing string

// The things, each named as its table.
const (
	ThingMachine      Thing = "machines"
	ThingPosition     Thing = "positions"
	ThingCircuit      Thing = "circuits"
	ThingKindPosition Thing = "kind_positions"
	ThingDuty         Thing = "duties"
	ThingAssembly     Thing = "assemblies"
	ThingPlacement    Thing = "placements"
	ThingRemoval      Thing = "removals"
	ThingReading      Thing = "readings"
	ThingMeterEvent   Thing = "meter_events"
	ThingLayUp        Thing = "lay_ups"
	ThingConditions   Thing = "conditions"
	ThingInspection   Thing = "inspections"
	ThingFinding      Thing = "findings"
)

// TakeBack deletes something that was noted by mistake and that nothing was
// built upon. A placement goes with its removal, an inspection with its
// findings; a removal taken back puts the assembly where it sat, with the
// findings it closed open again. The change log keeps what was there.
type TakeBack struct {
	What    Thing
	ID      int64
	Version int
	Reason  string
}

// SetUnits says how values are printed for the person who asks.
type SetUnits struct{ Units Units }

// SaveList keeps a list with its filters under a name for the person who asks;
// one of the same name is replaced. Address is a path on this server with its
// query, such as /due?status=soon.
type SaveList struct{ Name, Address string }

// ForgetList takes a saved list away.
type ForgetList struct{ ID int64 }

func (ChangeSite) command()         {}
func (ChangeKind) command()         {}
func (AddKindPosition) command()    {}
func (ChangeKindPosition) command() {}
func (TakeUsual) command()          {}
func (CopyPositions) command()      {}
func (ChangePolicy) command()       {}
func (AddCircuit) command()         {}
func (ChangeCircuit) command()      {}
func (OrderPositions) command()     {}
func (ChangePositions) command()    {}
func (ChangeMachines) command()     {}
func (SetConditionsAt) command()    {}
func (RetireMachine) command()      {}
func (RetirePosition) command()     {}
func (Scrap) command()              {}
func (ChangePlacement) command()    {}
func (ChangeReading) command()      {}
func (ChangeMeterEvent) command()   {}
func (ChangeLayUp) command()        {}
func (ChangeConditions) command()   {}
func (ChangeInspection) command()   {}
func (ChangeFinding) command()      {}
func (TakeBack) command()           {}
func (SetUnits) command()           {}
func (SaveList) command()           {}
func (ForgetList) command()         {}
