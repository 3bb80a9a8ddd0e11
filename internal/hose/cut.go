package hose

import (
	"fmt"
	"math"

	"hoseward/internal/quantity"
)

// CutLength is the length of hose to cut for an assembly of the given overall
// length: overall less the cut-off factor of each end (the C dimension of
// fitting tables; three trade pages). Overall is measured to the end of the
// thread of a straight male end, to the sealing face of swivels and flanges,
// and to the centre line of the sealing face of bent ends. Nothing is added
// for growth in crimping. Lengths below zero, and ends that leave no hose, are
// errors.
func CutLength(overall, factorA, factorB quantity.Length) (quantity.Length, error) {
	for _, l := range [...]struct {
		name string
		v    quantity.Length
	}{{"overall length", overall}, {"cut-off factor of end A", factorA}, {"cut-off factor of end B", factorB}} {
		if !(l.v >= 0 && l.v <= quantity.MaxLength) {
			return 0, fmt.Errorf("the %s is not between 0 and 1 km", l.name)
		}
	}
	cut := overall - factorA - factorB
	if cut <= 0 {
		return 0, fmt.Errorf("the ends take %s of %s overall: no hose is left between them", (factorA + factorB).Format(quantity.MM), overall.Format(quantity.MM))
	}
	return cut, nil
}

// Tolerance is how far an assembly may be longer or shorter than ordered.
// Both are positive.
type Tolerance struct {
	Longer, Shorter quantity.Length
}

// toleranceRow is a row of the table: up to a length, by three groups of
// sizes.
type toleranceRow struct {
	upTo  quantity.Length
	group [3]Tolerance // up to DN 25, DN 32 to 50, DN 60 to 100
}

var toleranceRows = [...]toleranceRow{
	{630, [3]Tolerance{{7, 3}, {12, 4}, {25, 6}}},
	{1250, [3]Tolerance{{12, 4}, {20, 6}, {25, 6}}},
	{2500, [3]Tolerance{{20, 6}, {25, 6}, {25, 6}}},
}

// LengthTolerance is the tolerance on the overall length of an assembly by DIN
// 20066, read in a public manual that reproduces the table (EN 853 has the
// like). The third column over 630 mm and the percentages are printed as
// merged cells there and read as applying across. Over 2500 mm it is +1.5 %
// and -0.5 %, over 8000 mm +3 % and -1 %. The length must be over 0 and the
// size known, up to DN 100. Test: TestLengthTolerance_DIN20066.
func LengthTolerance(overall quantity.Length, size Size) (Tolerance, error) {
	if !(overall > 0 && overall <= quantity.MaxLength) {
		return Tolerance{}, fmt.Errorf("the length is not between 0 and 1 km")
	}
	if size.DN <= 0 || size.DN > 100 {
		return Tolerance{}, fmt.Errorf("the size is not known, or over DN 100; the tolerance depends on it")
	}
	group := 0
	switch {
	case size.DN > 51: // DN 60 in the table is DN 63 of the hose standards
		group = 2
	case size.DN > 25:
		group = 1
	}
	for _, row := range toleranceRows {
		if overall <= row.upTo {
			return row.group[group], nil
		}
	}
	if overall <= 8000 {
		return Tolerance{overall * 0.015, overall * 0.005}, nil
	}
	return Tolerance{overall * 0.03, overall * 0.01}, nil
}

// LengthChangeNote is to be shown beside a length.
const LengthChangeNote = "Under pressure a hose changes its length by +2 % to -4 %: leave slack for it."

// LengthUnderPressure is the range of length at the maximum working pressure
// of a hose of the given free length: -4 % to +2 % (EN 854:2015 extract; the
// same figure in general guidance). The length must be a number from 0 on;
// others give 0, 0.
func LengthUnderPressure(free quantity.Length) (shortest, longest quantity.Length) {
	if !(free >= 0) || math.IsInf(float64(free), 0) {
		return 0, 0
	}
	return free * 0.96, free * 1.02
}
