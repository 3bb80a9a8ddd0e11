package register

import "hoseward/internal/life"

// Policy is a set of limits that sites and positions are held to.
type Policy struct {
	ID int64
	life.Policy
	// Shipped policies come with the program and cannot be changed.
	Shipped bool
	Source  string // standard or manual the limits are from, or that they are a choice
	// ExposedInspectMonths is the interval of inspections at exposed positions.
	ExposedInspectMonths *int
	// Lengthened says who lengthened a limit and why; empty if nobody did.
	Lengthened string
	Version    int
}
