package exchange_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"hoseward/internal/exchange"
	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// text is what a register can hold in a text: trimmed, no lone dash.
func text() *rapid.Generator[string] {
	return rapid.StringMatching(`([a-zA-Zäß'"=+@<&][a-zA-Z0-9äß '"=+@;,\n<>&-]{0,12}[a-zA-Z0-9äß'")])?`)
}

// name is what a register can hold in a name: single spaces.
func name() *rapid.Generator[string] {
	return rapid.Map(text(), func(s string) string { return strings.Join(strings.Fields(s), " ") })
}

func positive(most float64) *rapid.Generator[*float64] {
	return rapid.Custom(func(t *rapid.T) *float64 {
		if rapid.Bool().Draw(t, "none") {
			return nil
		}
		v := rapid.Float64Range(1e-3, most).Draw(t, "value")
		return &v
	})
}

func flagOrNone() *rapid.Generator[*bool] {
	return rapid.Custom(func(t *rapid.T) *bool {
		if rapid.Bool().Draw(t, "none") {
			return nil
		}
		v := rapid.Bool().Draw(t, "value")
		return &v
	})
}

func dayFrom(y int) *rapid.Generator[quantity.Date] {
	return rapid.Custom(func(t *rapid.T) quantity.Date {
		d, err := quantity.NewDate(y, 1, 1)
		if err != nil {
			t.Fatal(err)
		}
		return d.AddDays(rapid.IntRange(0, 1400).Draw(t, "days"))
	})
}

func period() *rapid.Generator[quantity.Period] {
	return rapid.Custom(func(t *rapid.T) quantity.Period {
		y, m := rapid.IntRange(1990, 2014).Draw(t, "year"), rapid.IntRange(1, 12).Draw(t, "month")
		var p quantity.Period
		var err error
		switch rapid.IntRange(0, 4).Draw(t, "precision") {
		case 1:
			p, err = quantity.Month(y, m)
		case 2:
			p, err = quantity.Quarter(y, (m+2)/3)
		case 3:
			p, err = quantity.CalendarYear(y)
		case 4:
			p = quantity.Day(dayFrom(y).Draw(t, "day"))
		}
		if err != nil {
			t.Fatal(err)
		}
		return p
	})
}

func hoseRow() *rapid.Generator[*register.HoseRow] {
	return rapid.Custom(func(t *rapid.T) *register.HoseRow {
		str := func() string { return text().Draw(t, "text") }
		named := func() string { return name().Draw(t, "name") }
		num := func(most float64) *float64 { return positive(most).Draw(t, "number") }
		yes := func() *bool { return flagOrNone().Draw(t, "flag") }
		h := &register.HoseRow{
			Site: named(), Machine: "M" + named(), Circuit: named(), Position: "P" + named(), Policy: named(),
			CanHurt: yes(), Exposed: yes(), Twisted: yes(), PositionMM: num(9000), BendMM: num(900), StraightMM: num(900), PositionNote: str(),
			Code: named(), Layline: str(), Maker: str(), Designation: str(), Construction: str(), Tube: str(), Fluid: str(),
			MaxC: num(300), LengthMM: num(9000), EndA: str(), EndABar: num(700), EndB: str(), EndBBar: num(700), EndMake: str(),
			Made: period().Draw(t, "made"), MadeText: str(), AssembledText: str(), MadeAmbiguous: yes(), Unconfirmed: yes(), Note: str(), KeptAt: named(),
			FittedText: str(), FittedHours: num(90000), RemovedHours: num(90000), Reason: str(), Seen: str(), Scrapped: yes(),
			WorkingBar: num(700), FluidC: num(100), SurroundingsC: num(100), AlwaysHot: yes(), NoCycles: yes(), AdapterBar: num(700), CyclesPerHour: num(1000),
			Size: rapid.SampledFrom(append(hose.Sizes(), hose.Size{}, hose.Size{DN: 100})).Draw(t, "size"),
		}
		if h.RatedBar = num(700); h.RatedBar != nil {
			h.RatingSource = rapid.SampledFrom([]register.RatingSource{register.RatingPrinted, register.RatingTyped, register.RatingTable}).Draw(t, "source")
		}
		h.Cause = rapid.SampledFrom(append(register.Causes(), "")).Draw(t, "cause")
		h.FoundBy = rapid.SampledFrom([]register.FoundBy{"", register.FoundByEvent, register.FoundByInspection}).Draw(t, "found")
		h.ConditionsBasis = rapid.SampledFrom([]register.Basis{"", register.Measured, register.Assumed}).Draw(t, "basis")
		if h.ConditionsBasis == register.Measured && rapid.Bool().Draw(t, "recorded") {
			yes := true
			h.Recorded = &yes
		}
		for range rapid.IntRange(0, 2).Draw(t, "inspections") {
			look := register.InspectionRow{On: dayFrom(2020).Draw(t, "on"), By: str(), Note: str()}
			if rapid.Bool().Draw(t, "saw") {
				look.Findings = []register.FindingRow{{
					NewFinding: register.NewFinding{Number: rapid.IntRange(0, 9).Draw(t, "number"), Class: life.Stop, Place: str(), Note: str()},
					ClosedOn:   dayFrom(2021).Draw(t, "closed"), ClosedHow: register.ClosedByRelease, ClosedReason: str(),
				}}
			}
			h.Inspections = append(h.Inspections, look)
		}
		h.Fitted = quantity.Day(dayFrom(2019).Draw(t, "fitted"))
		if rapid.Bool().Draw(t, "off") {
			h.Removed = h.Fitted.From.AddDays(rapid.IntRange(0, 400).Draw(t, "stay"))
		}
		return h
	})
}

// What the writer writes, Open reads as the same rows.
func TestWriter_OpenReadsTheSameRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(hoseRow(), 1, 4).Draw(t, "rows")
		var b bytes.Buffer
		w := exchange.NewWriter(&b, register.ImportHoses)
		for _, h := range rows {
			if err := w.Write(&register.ImportRow{Hose: h}); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		s, err := exchange.Open(bytes.NewReader(b.Bytes()), int64(b.Len()), exchange.Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		for _, want := range rows {
			got, err := s.Next()
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Errors) > 0 {
				t.Fatalf("%v\n%s", got.Errors, b.String())
			}
			if diff := cmp.Diff(want, got.Hose, cmp.Comparer(func(a, b quantity.Date) bool { return a == b })); diff != "" {
				t.Fatalf("%s\n%s", diff, b.String())
			}
		}
	})
}
