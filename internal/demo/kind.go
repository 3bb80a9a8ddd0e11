package demo

import "hoseward/internal/life"

// kind is a kind of machine: the pattern its machines are made from.
type kind struct {
	name     string
	fluidC   float64 // of the fluid while running, unless a circuit has its own
	note     string
	circuits []*circuit
}

// circuit is a hydraulic circuit of a kind, with how it is worked.
type circuit struct {
	name   string
	fluidC float64 // 0: as the machine
	// cycles are the pressures of a running hour; none for a line that is known
	// to see no pressure cycles.
	cycles  []life.Cycle
	working float64 // bar, of a line without cycles
	unknown bool    // nobody knows how it is worked
	policy  string  // empty: the site's
	// hours is after about how many running hours its lines are spent, by the
	// limit of the policy or by their pressure; 0: neither comes first. hot is
	// how many days a running hour ages them beyond the time it takes.
	hours float64
	hot   float64
	lines []line
}

// line is a line of a circuit: a position on every machine of the kind.
type line struct {
	name   string
	family family
	dn     int
	mm     float64
	marks  marks
}

// marks say what is special about a line.
type marks int

const (
	hurts   marks = 1 << iota // a burst can hurt someone
	exposed                   // to abrasion, flexing, salt or hot spots
)

// The policies of the demo fleet that do not come with the program, and the
// shipped ones it names.
const (
	twoShifts    = "refuse trucks, two shifts"
	makersLimit  = "maker's limit, 4000 h"
	fewHours     = "snow ploughs, few hours"
	heightened   = "heightened demand"
	thermoplast  = "thermoplastic or PTFE tube"
	normalDemand = "normal demand"
)

// every is count cycles in a running hour between two pressures in bar.
func every(count, low, high float64) []life.Cycle {
	return []life.Cycle{{MinBar: low, MaxBar: high, Count: count}}
}

// one is a single line.
func one(name string, f family, dn int, mm float64, m marks) []line {
	return []line{{name: name, family: f, dn: dn, mm: mm, marks: m}}
}

// both are the two lines of a cylinder.
func both(cylinder string, f family, dn int, mm float64, m marks) []line {
	return []line{
		{name: cylinder + ", piston side", family: f, dn: dn, mm: mm, marks: m},
		{name: cylinder + ", rod side", family: f, dn: dn, mm: mm + 60, marks: m},
	}
}

// sides are the lines of a cylinder on the left and of one on the right.
func sides(cylinder string, f family, dn int, mm float64, m marks) []line {
	return append(both(cylinder+" left", f, dn, mm, m), both(cylinder+" right", f, dn, mm, m)...)
}

// turns are the two lines of a motor that runs both ways.
func turns(motor, one, other string, f family, dn int, mm float64, m marks) []line {
	return []line{
		{name: motor + ", " + one, family: f, dn: dn, mm: mm, marks: m},
		{name: motor + ", " + other, family: f, dn: dn, mm: mm, marks: m},
	}
}

func all(groups ...[]line) []line {
	var ls []line
	for _, g := range groups {
		ls = append(ls, g...)
	}
	return ls
}

// tank is the circuit without pressure cycles that every machine has.
func tank(lines ...[]line) *circuit {
	return &circuit{name: "tank and return", working: 6, lines: all(lines...)}
}
