package exchange

import "hoseward/internal/hose"

// published takes what the line leaves out of the hose from the published
// table of its designation and size, above all its own impulse test, which may
// be stricter than the reference curve. What is stated stays, the rating always.
func (l *LifeReader) published() {
	h := &l.a.Hose
	if h.Designation == "" {
		return
	}
	rows, ok := hose.Lookup(h.Designation, hose.Size{DN: h.DN})
	if !ok {
		return
	}
	choice, ok := hose.Choose(rows, h.RatedBar)
	if !ok {
		return
	}
	row := &choice.Row
	if !choice.Agrees {
		bar := row.RatedBar
		l.a.TableBar = &bar
	}
	if h.Construction == "" {
		h.Construction = row.Construction
	}
	if h.MaxC == nil {
		h.MaxC = hose.Known(row.MaxC)
	}
	if h.ImpulsePercent != nil || h.ImpulseCycles != nil {
		return // a test of its own
	}
	h.ImpulsePercent, h.ImpulseCycles = hose.Known(row.ImpulsePercent), hose.Known(row.ImpulseCycles)
	if h.ImpulseTempC == nil {
		h.ImpulseTempC = hose.Known(row.ImpulseTempC)
	}
}
