package usage

import (
	"sort"

	"hoseward/internal/quantity"
)

// Observation is what a machine had run in all on a day it was looked at: the
// running total over every change of meter, which is what the meter shows only
// where it was never changed.
type Observation struct {
	On    quantity.Date
	Hours float64
}

func observed(k knot) Observation { return Observation{quantity.DateOfDayNumber(k.day), k.hours} }

// Around are the last observation at or before the day number t and the first
// one after it; the one that does not exist has no date.
func (x *Hours) Around(t float64) (before, after Observation) {
	i := sort.Search(len(x.seen), func(i int) bool { return float64(x.seen[i].day) > t })
	if i > 0 {
		before = observed(x.seen[i-1])
	}
	if i < len(x.seen) {
		after = observed(x.seen[i])
	}
	return before, after
}

// Ends are the first and the last observation, without dates if there is none.
func (x *Hours) Ends() (first, last Observation) {
	if n := len(x.seen); n > 0 {
		first, last = observed(x.seen[0]), observed(x.seen[n-1])
	}
	return first, last
}

// DaysOut is the number of days out of lay-up from from up to, not including,
// to; below zero if to is before from. A lay-up that the meter contradicts is
// left out of account, see WarnRanLaidUp.
func (x *Hours) DaysOut(from, to quantity.Date) int {
	return x.clock.active(to.DayNumber()) - x.clock.active(from.DayNumber())
}

// FirstSlope are the two observations the first slope runs between, which the
// rate before the first observation is held to; ok is false where there is no
// slope.
func (x *Hours) FirstSlope() (from, to Observation, ok bool) {
	if x.slopeTo == 0 {
		return Observation{}, Observation{}, false
	}
	return observed(x.seen[x.slopeTo-1]), observed(x.seen[x.slopeTo]), true
}
