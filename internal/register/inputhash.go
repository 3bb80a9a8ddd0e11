package register

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"

	"hoseward/internal/life"
	"hoseward/internal/life/usage"
	"hoseward/internal/quantity"
)

// inputHash is a digest of everything an estimate is made from but its as-of
// date: two inputs with the same digest give the same estimate on the same
// day.
func inputHash(in *life.Assembly, hours []seriesDigest) string {
	d := digest{make([]byte, 0, 1024)}
	d.text(in.ID)
	d.hose(&in.Hose)
	d.numbers(in.EndABar, in.EndBBar, in.BendMM, in.StraightMM, in.TableBar)
	d.days(in.Assembled, in.Fitted, in.LastInspection)
	d.flags(in.CanHurt, in.Twisted, in.MixedMakers, in.DateAmbiguous)
	d.text(in.Fluid)
	d.text(in.Lengthened)
	d.policy(&in.Policy)
	d.count(len(in.Conditions))
	for i := range in.Conditions {
		d.conditions(&in.Conditions[i])
	}
	d.count(len(in.Stints))
	for i := range in.Stints {
		d.days(in.Stints[i].From, in.Stints[i].To)
	}
	for _, h := range hours {
		d.b = append(d.b, h[:]...)
	}
	d.count(len(in.Findings))
	for _, n := range in.Findings {
		d.days(n.On, n.By, n.Closed)
		d.text(string(n.Class))
	}
	sum := sha256.Sum256(d.b)
	return hex.EncodeToString(sum[:])
}

// digest writes values so that different lists of values never give the same
// bytes: every text and list goes with its length, every pointer with a mark.
type digest struct{ b []byte }

func (d *digest) count(n int) { d.b = binary.AppendUvarint(d.b, uint64(n)) }

func (d *digest) text(s string) {
	d.count(len(s))
	d.b = append(d.b, s...)
}

func (d *digest) number(v float64) {
	d.b = binary.LittleEndian.AppendUint64(d.b, math.Float64bits(v))
}

func (d *digest) numbers(vs ...*float64) {
	for _, v := range vs {
		if v == nil {
			d.b = append(d.b, 0)
			continue
		}
		d.b = append(d.b, 1)
		d.number(*v)
	}
}

func (d *digest) months(vs ...*int) {
	for _, v := range vs {
		if v == nil {
			d.b = append(d.b, 0)
			continue
		}
		d.b = append(d.b, 1)
		d.b = binary.AppendVarint(d.b, int64(*v))
	}
}

func (d *digest) days(days ...quantity.Date) {
	for _, day := range days {
		d.b = binary.AppendVarint(d.b, int64(day.DayNumber()))
	}
}

func (d *digest) flags(flags ...bool) {
	for _, f := range flags {
		if f {
			d.b = append(d.b, 1)
		} else {
			d.b = append(d.b, 0)
		}
	}
}

func (d *digest) hose(h *life.Hose) {
	d.text(h.Designation)
	d.text(h.Construction)
	d.text(h.Tube)
	d.count(h.DN)
	d.numbers(h.RatedBar, h.MaxC, h.ImpulsePercent, h.ImpulseCycles, h.ImpulseTempC, h.OutsideMM, h.MinBendMM)
	d.days(h.Made)
	d.flags(h.RatingUnconfirmed)
}

func (d *digest) policy(p *life.Policy) {
	d.text(p.Name)
	d.months(p.MonthsFromAssembly, p.MonthsFromFitting, p.MonthsFromMake, p.HeatLimitMonths, p.StorageMonths, p.HoseAgeMonths, p.InspectMonths)
	d.numbers(p.HoursFromFitting, p.CyclesFromFitting, p.DamageLimit, p.AssumedFactor, p.HeatReferenceC, p.EaKJ)
	d.flags(p.CombineSum, p.PeakOnly, p.OwnCurveAlone)
	d.text(p.OwnCurveReason)
}

func (d *digest) conditions(c *life.Conditions) {
	d.days(c.From, c.Assessed)
	d.flags(c.Recorded, c.AlwaysHot, c.NoCycles)
	d.numbers(c.FluidC, c.SurroundingsC, c.AdapterBar, c.WorkingBar)
	d.count(len(c.Temperatures))
	for _, t := range c.Temperatures {
		d.number(t.C)
		d.number(t.Share)
	}
	d.count(len(c.Cycles))
	for _, y := range c.Cycles {
		d.number(y.MinBar)
		d.number(y.MaxBar)
		d.number(y.Count)
		d.text(y.Per)
		d.numbers(y.PerHour)
	}
}

// seriesDigest is the digest of a machine's hour meter and lay-ups.
type seriesDigest [sha256.Size]byte

func digestSeries(s usage.Series) seriesDigest {
	d := digest{make([]byte, 0, 1024)}
	d.numbers(s.PlannedPerWeek)
	d.count(len(s.Readings))
	for _, r := range s.Readings {
		d.days(r.On)
		d.number(r.Hours)
	}
	d.count(len(s.Events))
	for _, e := range s.Events {
		d.days(e.On)
		d.number(e.OldEnd)
		d.number(e.NewStart)
	}
	d.count(len(s.LaidUp))
	for _, l := range s.LaidUp {
		d.days(l.From, l.To)
	}
	return sha256.Sum256(d.b)
}
