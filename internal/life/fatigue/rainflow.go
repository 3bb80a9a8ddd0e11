package fatigue

import (
	"fmt"
	"math"
)

// Cycle is a pressure cycle between Min and Max, counted Count times: 1 for a
// closed cycle, 0.5 for half of one, any number for a sum.
type Cycle struct{ Min, Max, Count float64 }

// Range is Max less Min.
func (c Cycle) Range() float64 { return c.Max - c.Min }

// Residue says what becomes of the turning points that close no cycle.
type Residue string

// The choices.
const (
	// Halves counts each range between them as half a cycle, as ASTM E1049-85
	// does.
	Halves Residue = "halves"
	// Discard leaves them out: for a history known to be whole.
	Discard Residue = "discard"
	// Repeat counts what closes when the history is gone through once more:
	// the cycles of one period of a history that repeats for ever.
	Repeat Residue = "repeat"
)

// ParseResidue reads the name of a choice.
func ParseResidue(s string) (Residue, error) {
	switch r := Residue(s); r {
	case Halves, Discard, Repeat:
		return r, nil
	}
	return "", fmt.Errorf("residue %q: use halves, discard or repeat", s)
}

// MaxSample is the largest size of a sample, in any unit: beyond it a number
// is no pressure.
const MaxSample = 1e12

// Counter takes a pressure history apart into cycles by rainflow counting,
// sample by sample. It keeps the open turning points only, so its memory does
// not grow with the history but for one whose swings grow without end. A swing
// closes when the next is at least as large; nothing is rounded and no swing
// is too small to count.
//
// The rule is that of four points. Its closed cycles and its residue as halves
// give the same counts per range as the three-point rule of ASTM E1049-85
// 5.4.4, ties included; which of them are two halves and in what order they
// close may differ. Tests: TestCounter_Published, TestCounter_Million.
type Counter struct {
	sink    func(Cycle)
	open    []float64 // turning points that have closed no cycle
	last    float64   // the last sample: a turning point if the next turns back
	rising  bool
	state   state
	samples int
	turns   int
}

type state uint8

const (
	empty  state = iota // no sample yet
	level               // all samples the same
	moving              // last lies beyond the last open turning point
)

// NewCounter makes a Counter that hands each closed cycle to sink, with Count
// 1.
func NewCounter(sink func(Cycle)) *Counter { return &Counter{sink: sink} }

// Add takes in the next samples. One that is NaN or beyond MaxSample is a
// *FieldError (ErrSample) and stops before it; those before it are counted.
func (c *Counter) Add(samples ...float64) error {
	for _, v := range samples {
		if !(v >= -MaxSample && v <= MaxSample) {
			return fieldError(fmt.Sprintf("sample %d", c.samples+1), v, "is not a pressure", ErrSample)
		}
		c.samples++
		if c.state == moving {
			if v == c.last {
				continue
			}
			if up := v > c.last; up != c.rising {
				c.turn(c.last)
				c.rising = up
			}
			c.last = v
			continue
		}
		c.start(v)
	}
	return nil
}

// start takes in a sample while all before it were the same.
func (c *Counter) start(v float64) {
	switch {
	case c.state == empty:
		c.state = level
		c.turn(v)
	case v != c.last:
		c.state = moving
		c.rising = v > c.last
	}
	c.last = v
}

// turn takes in a turning point and closes every cycle it closes.
func (c *Counter) turn(v float64) {
	c.turns++
	s := append(c.open, v)
	for n := len(s); n >= 4; n = len(s) {
		inner := math.Abs(s[n-2] - s[n-3])
		if inner > math.Abs(s[n-3]-s[n-4]) || inner > math.Abs(v-s[n-2]) {
			break
		}
		c.sink(Cycle{min(s[n-2], s[n-3]), max(s[n-2], s[n-3]), 1})
		s[n-3] = v
		s = s[:n-2]
	}
	c.open = s
}

// Finish takes the last sample for a turning point, hands what the choice
// makes of the residue to sink, and returns the history in figures. The
// Counter must not be used after it.
func (c *Counter) Finish(choice Residue) History {
	if c.state == moving {
		c.turn(c.last)
	}
	h := History{Samples: c.samples, TurningPoints: c.turns, Residue: append([]float64(nil), c.open...)}
	switch choice {
	case Discard:
	case Repeat:
		again := NewCounter(c.sink)
		// The residue holds samples that were taken once, so they are again.
		_ = again.Add(h.Residue...)
		_ = again.Add(h.Residue...)
		if again.state == moving {
			again.turn(again.last)
		}
	default:
		for i := 1; i < len(h.Residue); i++ {
			a, b := h.Residue[i-1], h.Residue[i]
			c.sink(Cycle{min(a, b), max(a, b), 0.5})
		}
	}
	return h
}

// History is a counted pressure history in figures.
type History struct {
	Samples int
	// TurningPoints are counted with the first sample and, unless all are the
	// same, the last.
	TurningPoints int
	Residue       []float64 // the turning points that closed no cycle, in order
}

// CountCycles counts a whole history at once.
func CountCycles(samples []float64, choice Residue) ([]Cycle, History, error) {
	var cycles []Cycle
	c := NewCounter(func(x Cycle) { cycles = append(cycles, x) })
	if err := c.Add(samples...); err != nil {
		return nil, History{}, err
	}
	h := c.Finish(choice)
	return cycles, h, nil
}
