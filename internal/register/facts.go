package register

import (
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// Facts is what the register knows that bears on the estimates of some
// assemblies: store gathers it, Reestimate and LifeInput read it. It holds
// every machine on which one of the assemblies ever sat.
type Facts struct {
	Sites      map[int64]Site
	Policies   map[int64]Policy
	Duties     map[int64][]Duty // by kind
	Machines   map[int64]*MachineFacts
	Positions  map[int64]*Position // of these machines
	Assemblies []AssemblyFacts     // the ones to estimate
}

// MachineFacts is what bears on the estimates of one machine's assemblies.
type MachineFacts struct {
	Machine    Machine
	Circuits   map[int64]Circuit
	Conditions map[Owner][]Conditions // of the machine, its circuits and positions
	Readings   []Reading
	Events     []MeterEvent
	LayUps     []LayUp

	hours  *hoursResult  // worked out once, by hoursOf
	digest *seriesDigest // likewise, by hoursDigests
}

// Owner names the thing a row of service conditions is about.
type Owner struct {
	Level Level
	ID    int64
}

// AssemblyFacts is what bears on the estimate of one assembly.
type AssemblyFacts struct {
	Assembly   Assembly
	Placements []Placement
	Findings   []Finding
	// Inspections are all its inspections, in any order; only the day counts.
	Inspections []Inspection
}

type hoursResult struct {
	asOf  quantity.Date
	hours *usage.Hours
	err   error
}
