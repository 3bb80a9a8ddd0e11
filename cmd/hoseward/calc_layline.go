package main

import (
	"fmt"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
)

type calcLayline struct {
	output
	Text string `arg:"" help:"One printed line, in quotes."`
}

// laylineDoc is what a line says; null where it does not say it.
type laylineDoc struct {
	Standard    *string  `json:"standard"`
	Designation *string  `json:"designation"` // with its standard, as calc life takes it
	DN          *int     `json:"dn"`
	Dash        *int     `json:"dash"`
	RatedBar    *float64 `json:"rated_bar"`
	Made        *made    `json:"made"`
	Ambiguous   bool     `json:"ambiguous"`
	Notes       []string `json:"notes"`
}

type made struct {
	From      quantity.Date      `json:"from"`
	To        quantity.Date      `json:"to"`
	Precision quantity.Precision `json:"precision"`
}

// Run prints what the line says. It does not look at the day, so that a line
// reads the same for ever.
func (c *calcLayline) Run(m *Main) error {
	if strings.TrimSpace(c.Text) == "" {
		return badData(fmt.Errorf("the line is empty; give what is printed on the hose, in quotes"))
	}
	l := hose.ReadLayline(c.Text)
	doc := laylineDoc{
		Standard:    nonZero(l.Standard),
		Designation: nonZero(l.Designation.String()),
		DN:          nonZero(l.Size.DN),
		Dash:        nonZero(l.Size.Dash),
		RatedBar:    l.RatedBar,
		Ambiguous:   l.Ambiguous,
		Notes:       append([]string{}, l.Notes...),
	}
	if !l.Made.IsZero() {
		doc.Made = &made{l.Made.From, l.Made.To, l.Made.Precision}
	}
	return c.print(m.Stdout, doc, laylineRows(l))
}

func laylineRows(l hose.Layline) [][2]string {
	size, rated, made := "", "", ""
	if l.Size.DN != 0 {
		size = fmt.Sprintf("DN %d, dash -%d", l.Size.DN, l.Size.Dash)
	}
	if l.RatedBar != nil {
		rated = quantity.Pressure(*l.RatedBar).FormatRating(quantity.Bar)
	}
	if !l.Made.IsZero() {
		made = fmt.Sprintf("%s (%s to %s)", l.Made, l.Made.From, l.Made.To)
	}
	ambiguous := "no"
	if l.Ambiguous {
		ambiguous = "yes, see the notes"
	}
	rows := [][2]string{
		{"standard", said(l.Standard)},
		{"designation", said(l.Designation.String())},
		{"size", said(size)},
		{"rated", said(rated)},
		{"made", said(made)},
		{"ambiguous", ambiguous},
	}
	for _, n := range l.Notes {
		rows = append(rows, [2]string{"note", n})
	}
	return rows
}

func said(v string) string {
	if v == "" {
		return "not said"
	}
	return v
}

// nonZero is nil for the zero value.
func nonZero[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}
