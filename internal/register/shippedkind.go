package register

import "strings"

// ShippedKind is a kind of machine that a new register starts with, and its
// duties.
type ShippedKind struct {
	Name   string
	Duties []Duty
}

// ShippedNote stands beside every value of a shipped duty.
const ShippedNote = "Assumed starting value, a choice of ours and not measured on any machine; replace it by what your machines do."

// ShippedKinds are the kinds of machines with starting values for how they are
// worked, so that a fresh register has more than calendar dates. The values
// are invented, on the strict side of what such machines do, and marked as
// assumed wherever they are used. Temperatures hold for the whole machine.
// Pressures stand at circuits only: a pressure assumed for a whole machine
// would call every return line over-rated.
func ShippedKinds() []ShippedKind {
	list := []struct {
		name   string
		fluidC float64
		work   []circuitDuty
	}{
		{"excavator", 75, []circuitDuty{{"work", 300, 180}, {"travel", 320, 60}, {"swing", 250, 120}}},
		{"backhoe loader", 70, []circuitDuty{{"work", 220, 150}, {"lift", 220, 60}}},
		{"wheel loader", 75, []circuitDuty{{"work", 230, 120}, {"lift", 230, 90}}},
		{"skid steer loader", 78, []circuitDuty{{"work", 210, 120}, {"lift", 210, 90}, {"travel", 300, 120}}},
		{"telescopic handler", 68, []circuitDuty{{"work", 250, 60}, {"lift", 250, 60}}},
		{"fork-lift truck", 60, []circuitDuty{{"lift", 180, 60}, {"tilt", 180, 40}}},
		{"tractor", 70, []circuitDuty{{"work", 200, 60}, {"lift", 200, 40}}},
		{"mobile crane", 65, []circuitDuty{{"work", 300, 40}, {"lift", 300, 30}, {"stabilisers", 210, 4}}},
		{"lorry loader", 60, []circuitDuty{{"work", 280, 60}, {"stabilisers", 200, 4}}},
		{"tipper", 55, []circuitDuty{{"tipping", 180, 6}}},
		{"refuse truck", 65, []circuitDuty{{"packer", 200, 120}, {"lift", 180, 90}, {"tailgate", 180, 6}}},
		{"sweeper", 65, []circuitDuty{{"brushes", 160, 60}, {"lift", 180, 30}}},
		{"platform lift", 55, []circuitDuty{{"lift", 210, 20}, {"stabilisers", 180, 4}}},
		{"gritter", 50, []circuitDuty{{"spreading", 150, 40}}},
		{"snow plough", 45, []circuitDuty{{"blade", 210, 50}}},
		{"verge mower", 72, []circuitDuty{{"flail", 220, 200}, {"arm", 200, 70}}},
	}
	kinds := make([]ShippedKind, len(list))
	for i, k := range list {
		duties := []Duty{{Service: Service{FluidC: ptr(k.fluidC), SurroundingsC: ptr(30.0)}}}
		for _, c := range k.work {
			duties = append(duties, Duty{Circuit: c.circuit, Service: Service{Cycles: Cycles{{MaxBar: c.maxBar, Count: c.perHour}}}})
		}
		duties = append(duties,
			Duty{Circuit: "steering", Service: Service{Cycles: Cycles{{MaxBar: 160, Count: 120}}}},
			Duty{Circuit: "pilot", Service: Service{Cycles: Cycles{{MaxBar: 35, Count: 300}}}},
			Duty{Circuit: "return", Service: Service{NoCycles: ptr(true), WorkingBar: ptr(6.0)}},
			Duty{Circuit: "suction", Service: Service{NoCycles: ptr(true), WorkingBar: ptr(1.0)}},
		)
		for j := range duties {
			duties[j].Note = ShippedNote
		}
		kinds[i] = ShippedKind{k.name, duties}
	}
	return kinds
}

// Starting reports whether a duty is a shipped one that nobody changed: what a
// fleet says of its own machines takes its place.
func (d *Duty) Starting() bool { return d.Version == 1 && d.Note == ShippedNote }

// circuitDuty is a circuit that goes from no pressure to maxBar so many times
// in a running hour.
type circuitDuty struct {
	circuit         string
	maxBar, perHour float64
}

// StartingCircuits are the names of the circuits for which a shipped kind has
// duties, for forms to suggest; none for a kind that is not shipped.
func StartingCircuits(kind string) []string {
	var names []string
	for _, k := range ShippedKinds() {
		if !strings.EqualFold(k.Name, kind) {
			continue
		}
		for _, d := range k.Duties {
			if d.Circuit != "" {
				names = append(names, d.Circuit)
			}
		}
	}
	return names
}
