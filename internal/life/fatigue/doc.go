// Package fatigue sums the wear that pressure cycles do to a hose.
//
// The main idea: a pressure-life curve says how many cycles of one kind a hose
// stands (Curve), a recorded pressure history is taken apart into such cycles
// by rainflow counting (Counter), and each cycle uses up its share of the
// life, shares adding up by the rule of Palmgren and Miner (DamageSum).
//
// Pressures are gauge pressures in bar and ratings are in bar, though a
// Counter takes any unit. The package sets no limit on the sum, knows no
// safety factor and says nothing of the validity of the curve for a hose;
// that is the caller's part.
package fatigue
