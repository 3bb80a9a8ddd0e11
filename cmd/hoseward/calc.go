package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"hoseward/internal/exchange"
	"hoseward/internal/life/fatigue"
	"hoseward/internal/life/heat"
	"hoseward/internal/quantity"
)

// calcCommands are the sub-commands of calc.
type calcCommands struct {
	Layline calcLayline `cmd:"" help:"Read the line printed on a hose."`
	Curve   calcCurve   `cmd:"" help:"How many pressure cycles of one kind a hose stands."`
	Heat    calcHeat    `cmd:"" help:"How many times faster rubber ages at a temperature than at a reference."`
	Date    calcDate    `cmd:"" help:"Add months to a date; a day the month does not have becomes its last."`
	Life    calcLife    `cmd:"" help:"When assemblies are due: JSON Lines in, one assembly each, JSON Lines out."`
}

// output is how a command prints its answer.
type output struct {
	JSON bool `name:"json" help:"Print one JSON document, for programs."`
}

// print prints doc as JSON, or else rows of a name and a value.
func (o output) print(w io.Writer, doc any, rows [][2]string) error {
	if o.JSON {
		enc := json.NewEncoder(w)
		enc.SetEscapeHTML(false)
		return enc.Encode(doc)
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintf(t, "%s\t%s\n", r[0], r[1])
	}
	return t.Flush()
}

// digits prints a number for people with six digits that count.
func digits(v float64) string { return fmt.Sprintf("%.6g", v) }

// badFlag is a number that package fatigue or heat refuses, under the name of
// its flag.
func badFlag(err error) error {
	var f *fatigue.FieldError
	var h *heat.FieldError
	switch {
	case errors.As(err, &f):
		return badData(fmt.Errorf("--%s: %v %s", strings.ReplaceAll(f.Field, "_", "-"), f.Value, f.Text))
	case errors.As(err, &h):
		return badData(fmt.Errorf("--%s: %v %s", strings.ReplaceAll(h.Field, "_", "-"), h.Value, h.Text))
	}
	return badData(err)
}

type calcCurve struct {
	output
	RatedBar       float64 `required:"" placeholder:"R" help:"Maximum working pressure of the hose."`
	MaxBar         float64 `required:"" placeholder:"P" help:"Highest pressure of the cycle."`
	MinBar         float64 `placeholder:"Q" help:"Lowest pressure of the cycle; 0 if not given."`
	BurstPercent   float64 `default:"400" help:"Burst pressure in per cent of the rating."`
	ImpulsePercent float64 `default:"133" help:"Pressure of the impulse test in per cent of the rating."`
	ImpulseCycles  float64 `default:"200000" help:"Cycles of the impulse test."`
	PeakOnly       bool    `help:"Count the cycle from zero."`
}

// Run prints what the pressure-life curve says of one cycle.
func (c *calcCurve) Run(m *Main) error {
	curve, err := fatigue.NewCurve(c.BurstPercent, c.ImpulsePercent, c.ImpulseCycles)
	if err != nil {
		return badFlag(err)
	}
	low := c.MinBar
	if err := curve.Check(c.RatedBar, low, c.MaxBar); err != nil {
		return badFlag(err)
	}
	if c.PeakOnly {
		low = 0
	}
	cycles, err := curve.CyclesToFailure(c.RatedBar, low, c.MaxBar)
	if err != nil {
		return badFlag(err)
	}
	equivalent, err := curve.EquivalentBar(c.RatedBar, low, c.MaxBar)
	if err != nil {
		return badFlag(err)
	}
	damage := curve.Damage(c.RatedBar, low, c.MaxBar)
	doc := struct {
		Exponent        float64 `json:"exponent"`
		EquivalentBar   float64 `json:"equivalent_bar"`
		CyclesToFailure float64 `json:"cycles_to_failure"`
		DamagePerCycle  float64 `json:"damage_per_cycle"`
	}{curve.Exponent(), equivalent, cycles, damage}
	return c.print(m.Stdout, doc, [][2]string{
		{"exponent", digits(doc.Exponent)},
		{"equivalent zero-to-peak pressure", digits(doc.EquivalentBar) + " bar"},
		{"cycles to failure", digits(doc.CyclesToFailure)},
		{"damage per cycle", digits(doc.DamagePerCycle)},
	})
}

type calcHeat struct {
	output
	TempC float64 `required:"" placeholder:"T" help:"Temperature, degrees Celsius."`
	RefC  float64 `required:"" placeholder:"T0" help:"Reference temperature, degrees Celsius."`
	EaKJ  float64 `name:"ea-kj" default:"80" help:"Activation energy, kJ/mol."`
}

// Run prints the ageing factor, never below 1.
func (c *calcHeat) Run(m *Main) error {
	factor, err := heat.AF(quantity.Temperature(c.TempC), quantity.Temperature(c.RefC), c.EaKJ)
	if err != nil {
		return badFlag(err)
	}
	doc := struct {
		Factor float64 `json:"factor"`
	}{factor}
	return c.print(m.Stdout, doc, [][2]string{{"ageing factor", digits(factor)}})
}

type calcDate struct {
	output
	Date   string `arg:"" help:"A date, as 2024-02-29."`
	Months int    `required:"" placeholder:"N" help:"Calendar months to add; below zero to go back."`
}

// Run prints the date so many months on.
func (c *calcDate) Run(m *Main) error {
	d, err := quantity.ParseDate(c.Date)
	if err != nil {
		return badData(err)
	}
	const most = 12 * 9999
	if c.Months > most || c.Months < -most {
		return badData(fmt.Errorf("--months: %d leads out of the years 1 to 9999", c.Months))
	}
	y, month, _ := d.YMD()
	if n := y*12 + month - 1 + c.Months; n < 12 || n >= 10000*12 {
		return badData(fmt.Errorf("--months: %d leads out of the years 1 to 9999", c.Months))
	}
	sum := d.AddMonths(c.Months)
	doc := struct {
		Date quantity.Date `json:"date"`
	}{sum}
	return c.print(m.Stdout, doc, [][2]string{{"date", sum.String()}})
}

type calcLife struct {
	output
	File    string `arg:"" help:"JSON Lines, one assembly a line; - is standard input."`
	Working bool   `help:"Add how each date was worked out."`
}

// Run answers every line. Lines that are wrong are answered with what is
// wrong, and make the exit code 1 at the end.
func (c *calcLife) Run(ctx context.Context, m *Main) error {
	in := m.Stdin
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("%w; give a file of JSON Lines, or - for standard input", err)
		}
		defer f.Close()
		in = f
	}
	detail := exchange.Plain
	if c.Working {
		detail = exchange.WithWorking
	}
	counts, err := exchange.CalcLife(ctx, in, m.Stdout, detail)
	if err != nil {
		return err
	}
	if counts.Bad > 0 {
		return badData(fmt.Errorf("%d of %d lines are wrong; their answers say why", counts.Bad, counts.Lines))
	}
	return nil
}
