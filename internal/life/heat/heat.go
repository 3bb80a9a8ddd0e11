// Package heat works out how much faster rubber ages when it is hot.
//
// The main idea is the law of Arrhenius: ageing is a reaction whose rate goes
// with exp(-Ea/RT), so the rate at one temperature over that at a reference is
// a factor made of the two and an activation energy. For a hose it is taken
// never below 1: running cool earns no credit.
//
// The package knows no dates and no limits, chooses no reference temperature
// and does not say that a hose may run so hot.
package heat

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"hoseward/internal/quantity"
)

// GasConstant is R in J/(mol K), CODATA 2018.
const GasConstant = 8.314462618

// The kinds of a FieldError, for errors.Is.
var (
	// ErrTemperature: not a temperature above absolute zero.
	ErrTemperature = errors.New("not a temperature")
	// ErrEnergy: not an activation energy.
	ErrEnergy = errors.New("not an activation energy")
	// ErrShares: not shares of running time.
	ErrShares = errors.New("not shares of running time")
)

// FieldError says which number was refused and why.
type FieldError struct {
	Field string // temp_c, ref_c, ea_kj, share
	Value float64
	Text  string
	Kind  error // one of the kinds above
}

// Error is one sentence: field, value, what is wrong.
func (e *FieldError) Error() string { return fmt.Sprintf("%s %g %s", e.Field, e.Value, e.Text) }

// Unwrap gives the kind.
func (e *FieldError) Unwrap() error { return e.Kind }

// Bounds of what is taken for an activation energy, in kJ/mol, and for a
// temperature. Published values for rubbers lie between 60 and 110 kJ/mol.
const (
	maxEnergy                                = 500
	maxLogFactor                             = 700 // exp(709.8) is the largest finite number
	absoluteZeroMessage                      = "is at or below absolute zero, -273.15 °C"
	hottest             quantity.Temperature = 1000
)

// Factor is how many times faster a reaction of activation energy eaKJ
// (kJ/mol) runs at t than at ref:
//
//	exp( Ea/R (1/Tref - 1/T) )      T in kelvin, 0 degC = 273.15 K
//
// below 1 where t is cooler than ref. Both temperatures must lie above
// absolute zero and not above 1000 degC, eaKJ above 0 and not above 500, and
// the factor must be a finite number; else a *FieldError. Source: Arrhenius;
// NIST/SEMATECH e-Handbook 8.1.5.1. Tests: TestFactor_Published,
// TestFactor_Grid.
func Factor(t, ref quantity.Temperature, eaKJ float64) (float64, error) {
	if err := checkTemperature("temp_c", t); err != nil {
		return 0, err
	}
	if err := checkTemperature("ref_c", ref); err != nil {
		return 0, err
	}
	if !(eaKJ > 0 && eaKJ <= maxEnergy) {
		return 0, &FieldError{"ea_kj", eaKJ, "must be above 0 and at most 500 kJ/mol", ErrEnergy}
	}
	exponent := eaKJ * 1000 / GasConstant * (1/ref.Kelvin() - 1/t.Kelvin())
	if exponent > maxLogFactor {
		return 0, &FieldError{"ref_c", float64(ref), "is too far below the temperature for a factor to mean anything", ErrTemperature}
	}
	return math.Exp(exponent), nil
}

// AF is the ageing factor of a hose: Factor, but never below 1. Domain and
// errors as for Factor.
func AF(t, ref quantity.Temperature, eaKJ float64) (float64, error) {
	f, err := Factor(t, ref, eaKJ)
	if err != nil {
		return 0, err
	}
	return math.Max(1, f), nil
}

// Share is a temperature and the share of running time spent at it.
type Share struct {
	Temperature quantity.Temperature
	Share       float64
}

// ShareTolerance is how far shares may sum beside 1.
const ShareTolerance = 0.001

// MeanAF is the share-weighted mean of AF (not AF of the mean, which would be
// less). Shares are at least 0 and sum to 1 within ShareTolerance; the mean is
// over their sum, so it is never below 1. The order of shares changes nothing.
// Errors: those of AF, and ErrShares.
func MeanAF(shares []Share, ref quantity.Temperature, eaKJ float64) (float64, error) {
	if len(shares) == 0 {
		return 0, &FieldError{"share", 0, "is missing: no temperature given", ErrShares}
	}
	if len(shares) == 1 && shares[0].Share == 1 {
		return AF(shares[0].Temperature, ref, eaKJ)
	}
	var buf [16]Share
	sorted := append(buf[:0], shares...)
	slices.SortFunc(sorted, func(a, b Share) int {
		switch {
		case a.Temperature < b.Temperature || a.Temperature == b.Temperature && a.Share < b.Share:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	var sum, weighted float64
	for _, s := range sorted {
		if !(s.Share >= 0 && s.Share <= 1+ShareTolerance) {
			return 0, &FieldError{"share", s.Share, "must lie between 0 and 1", ErrShares}
		}
		f, err := AF(s.Temperature, ref, eaKJ)
		if err != nil {
			return 0, err
		}
		sum += s.Share
		weighted += s.Share * f
	}
	if math.Abs(sum-1) > ShareTolerance+1e-12 {
		return 0, &FieldError{"share", sum, "is the sum of the shares and must be 1 within 0.001", ErrShares}
	}
	return math.Max(1, weighted/sum), nil
}

// Energy is an activation energy with where it is from.
type Energy struct {
	KJ     float64 // kJ/mol
	Known  bool    // false: tube material unknown, the highest shipped value
	Source string
}

// EaFor is the activation energy for a tube material, written in any case: NBR
// 92, CR 80, EPDM 72 kJ/mol. Anything else, and nothing, is unknown and gets
// the highest of these, 92. For materials to which the heat clock does not
// apply see Applies.
func EaFor(tube string) Energy {
	switch normal(tube) {
	case "NBR", "NITRILE":
		return Energy{92, true, "Sandia, A critical assessment of the Arrhenius oven-aging methodology, 1993 (abstract): NBR 22 kcal/mol"}
	case "CR", "CHLOROPRENE", "NEOPRENE":
		return Energy{80, true, "Bouaziz et al., Polymers 12 (2020) 2354 (abstract): CR about 80 kJ/mol, 70-90 °C"}
	case "EPDM":
		return Energy{72, true, "middle of 68.7 and 75.8 kJ/mol, journal paper on rubber technology, January 2026 (page): EPDM, 100-150 °C"}
	}
	return Energy{92, false, "tube material unknown: the highest shipped value, that of NBR (choice)"}
}

// Applies reports whether rubber ageing is the right idea for a tube of this
// material: false for thermoplastic and PTFE, true for all else and for
// unknown.
func Applies(tube string) bool {
	switch normal(tube) {
	case "PTFE", "THERMOPLASTIC":
		return false
	}
	return true
}

func normal(tube string) string { return strings.ToUpper(strings.TrimSpace(tube)) }

func checkTemperature(field string, t quantity.Temperature) error {
	switch {
	case math.IsNaN(float64(t)):
		return &FieldError{field, float64(t), "is not a number", ErrTemperature}
	case t <= quantity.AbsoluteZero:
		return &FieldError{field, float64(t), absoluteZeroMessage, ErrTemperature}
	case t > hottest:
		return &FieldError{field, float64(t), "is above 1000 °C; check number and unit", ErrTemperature}
	}
	return nil
}
