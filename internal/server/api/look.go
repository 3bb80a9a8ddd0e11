package api

import (
	"net/http"

	"hoseward/internal/hose"
	"hoseward/internal/register"
)

// Found is what a search found, at most some of each.
type Found struct {
	Machines   []FoundThing `json:"machines" doc:"Machines."`
	Assemblies []FoundThing `json:"assemblies" doc:"Assemblies."`
	Positions  []FoundThing `json:"positions" doc:"Positions without a hose; one with a hose is found as its assembly."`
	More       bool         `json:"more" doc:"There is more than is listed."`
}

// FoundThing is one thing a search found.
type FoundThing struct {
	Code       string `json:"code" doc:"Code of the machine or the assembly; of a position, of its machine."`
	Position   string `json:"position,omitzero" doc:"Name of the position, where it is one."`
	Where      string `json:"where,omitzero" doc:"Where it is, in words."`
	Says       string `json:"says,omitzero" doc:"What it is, in words."`
	Status     string `json:"status,omitzero" doc:"Status of an assembly today."`
	Incomplete bool   `json:"incomplete,omitzero" doc:"Of a fitted assembly: its date lacks a value."`
}

// Layline is what is printed on a hose.
type Layline struct {
	Kind        string       `json:"kind" enum:"hose,assembly" doc:"Whether it is the line of a hose or the stamp of an assembly."`
	Standard    string       `json:"standard,omitzero" doc:"The first standard that is printed."`
	Designation string       `json:"designation,omitzero" doc:"The first designation that is printed."`
	Others      []string     `json:"other_designations" doc:"What else is printed, where a hose is made to several standards."`
	Sizes       []SizeRead   `json:"sizes" doc:"Its size; more than one where it can be read in more than one way."`
	RatedBar    *float64     `json:"rated_bar,omitzero" doc:"The working pressure that is printed, in bar; the lower where two differ. Burst and test pressures are none."`
	Made        []DateRead   `json:"made" doc:"When it was made; more than one where it can be read in more than one way, the earliest first."`
	Ambiguous   bool         `json:"ambiguous" doc:"Date or size can be read in more than one way."`
	Notes       []string     `json:"notes" doc:"What is to be known of the reading."`
	Table       *TableRating `json:"table,omitzero" doc:"What the published table says of the designation and size; left out where it has no row or the size is not settled."`
}

// SizeRead is one reading of a size.
type SizeRead struct {
	DN   int    `json:"dn,omitzero" doc:"Nominal bore, DN."`
	Dash int    `json:"dash,omitzero" doc:"Dash size."`
	As   string `json:"as" doc:"How it is read."`
}

// DateRead is one reading of a date.
type DateRead struct {
	Made string `json:"made" doc:"The time, as made of an assembly takes it."`
	As   string `json:"as,omitzero" doc:"How it is read."`
}

// TableRating is a row of a published table.
type TableRating struct {
	Designation string   `json:"designation" doc:"The designation of the row."`
	RatedBar    *float64 `json:"rated_bar,omitzero" doc:"Maximum working pressure, in bar."`
	MaxC        *float64 `json:"max_c,omitzero" doc:"Highest fluid temperature, in degrees Celsius."`
	BendMM      *float64 `json:"bend_mm,omitzero" doc:"Smallest bend radius, in mm."`
	Agrees      bool     `json:"agrees" doc:"The printed pressure is that of the row."`
	Source      string   `json:"source" doc:"Where the row is from."`
	Note        string   `json:"note,omitzero" doc:"What is to be known of the choice."`
}

type laylineIn struct {
	Body struct {
		Text string `json:"text" minLength:"1" maxLength:"4000" doc:"The line as it is printed."`
	}
}

func (a *API) looks() {
	const tag = "looking"
	read(a, op{"search", http.MethodGet, "/search", register.RightSee, tag, "Search", "Machines, assemblies and empty positions in whose texts the words stand."}, func(k *call, in *struct {
		Text  string `query:"text" required:"true" minLength:"1" maxLength:"200" doc:"What to look for."`
		Limit int    `query:"limit" minimum:"1" maximum:"100" default:"20" doc:"How many of each to answer at most."`
	},
	) (Found, error) {
		f, err := k.Store.Search(k.ctx, k.now, in.Text, in.Limit)
		return Found{mapped(f.Machines, foundThing), mapped(f.Assemblies, foundThing), mapped(f.Positions, foundThing), f.More}, err
	})
	read(a, op{"readLayline", http.MethodPost, "/laylines", register.RightSee, tag, "Read what is printed on a hose", "Nothing is stored. What can be read in more than one way is told with all its readings."},
		func(k *call, in *laylineIn) (Layline, error) {
			return laylineOf(hose.ReadLaylineBy(in.Body.Text, k.today())), nil
		})
}

func foundThing(f register.FoundThing) FoundThing {
	return FoundThing{f.Code, f.Position, f.Where, f.Says, string(f.Status), f.Incomplete}
}

func laylineOf(l hose.Layline) Layline {
	out := Layline{
		Kind: "hose", Standard: l.Standard, Designation: l.Designation.String(), RatedBar: l.RatedBar, Ambiguous: l.Ambiguous, Notes: words(l.Notes), Others: []string{},
		Sizes: mapped(l.SizeReadings, func(s hose.SizeReading) SizeRead { return SizeRead{s.Size.DN, s.Size.Dash, s.As} }),
		Made:  mapped(l.MadeReadings, func(d hose.DateReading) DateRead { return DateRead{d.Period.String(), d.As} }),
	}
	if l.Kind == hose.Assembly {
		out.Kind = "assembly"
	}
	for _, d := range l.Designations {
		if d != l.Designation {
			out.Others = append(out.Others, d.String())
		}
	}
	if l.Size.IsZero() || out.Designation == "" {
		return out
	}
	rows, _ := hose.Lookup(out.Designation, l.Size)
	if c, ok := hose.Choose(rows, l.RatedBar); ok {
		out.Table = &TableRating{c.Row.Designation.String(), hose.Known(c.Row.RatedBar), hose.Known(c.Row.MaxC), hose.Known(c.Row.BendMM), c.Agrees, c.Row.Source, c.Note}
	}
	return out
}
