package exchange

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// said is one row of service conditions as a cell holds it, in the names and
// units of calc life.
type said struct {
	Circuit       string         `json:"circuit,omitempty"`
	From          *quantity.Date `json:"from,omitempty"`
	Basis         register.Basis `json:"basis,omitempty"`
	FluidC        *float64       `json:"fluid_c,omitempty"`
	SurroundingsC *float64       `json:"surroundings_c,omitempty"`
	AlwaysHot     *bool          `json:"always_hot,omitempty"`
	Temperatures  []saidShare    `json:"temperatures,omitempty"`
	AdapterBar    *float64       `json:"adapter_bar,omitempty"`
	WorkingBar    *float64       `json:"working_bar,omitempty"`
	Cycles        []saidCycle    `json:"cycles,omitempty"`
	NoCycles      *bool          `json:"no_cycles,omitempty"`
	Recorded      *bool          `json:"recorded,omitempty"`
	Assessed      *quantity.Date `json:"assessed,omitempty"`
	Note          string         `json:"note,omitempty"`
}

type saidShare struct {
	C     float64 `json:"c"`
	Share float64 `json:"share"`
}

type saidCycle struct {
	MinBar  float64  `json:"min_bar"`
	MaxBar  float64  `json:"max_bar"`
	Count   float64  `json:"count"`
	Per     string   `json:"per,omitempty"`
	PerHour *float64 `json:"per_hour,omitempty"`
}

// dateOrNil is nil for no date, so that it is left out.
func dateOrNil(d quantity.Date) *quantity.Date {
	if d.IsZero() {
		return nil
	}
	return &d
}

func dateOf(d *quantity.Date) quantity.Date {
	if d == nil {
		return quantity.Date{}
	}
	return *d
}

func saidOf(r register.SaidRow) said {
	s := said{
		Circuit: r.Circuit, From: dateOrNil(r.From), Basis: r.Basis, Note: r.Note,
		FluidC: r.Service.FluidC, SurroundingsC: r.Service.SurroundingsC, AlwaysHot: r.Service.AlwaysHot,
		AdapterBar: r.Service.AdapterBar, WorkingBar: r.Service.WorkingBar, NoCycles: r.Service.NoCycles,
		Recorded: r.Service.Recorded, Assessed: dateOrNil(r.Service.AssessedOn),
	}
	for _, t := range r.Service.Temperatures {
		s.Temperatures = append(s.Temperatures, saidShare{t.C, t.Share})
	}
	for _, c := range r.Service.Cycles {
		s.Cycles = append(s.Cycles, saidCycle{c.MinBar, c.MaxBar, c.Count, c.Per, c.PerHour})
	}
	return s
}

func (s said) row() register.SaidRow {
	r := register.SaidRow{Circuit: s.Circuit, From: dateOf(s.From), Basis: s.Basis, Note: s.Note}
	r.Service = register.Service{
		FluidC: s.FluidC, SurroundingsC: s.SurroundingsC, AlwaysHot: s.AlwaysHot,
		AdapterBar: s.AdapterBar, WorkingBar: s.WorkingBar, NoCycles: s.NoCycles,
		Recorded: s.Recorded, AssessedOn: dateOf(s.Assessed),
	}
	for _, t := range s.Temperatures {
		r.Service.Temperatures = append(r.Service.Temperatures, life.TemperatureShare{C: t.C, Share: t.Share})
	}
	for _, c := range s.Cycles {
		r.Service.Cycles = append(r.Service.Cycles, life.Cycle{MinBar: c.MinBar, MaxBar: c.MaxBar, Count: c.Count, Per: c.Per, PerHour: c.PerHour})
	}
	return r
}

// saidField is a column of the export's own: what was said of how something is
// worked has more to it than fits in cells for people.
func saidField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) *[]register.SaidRow) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help, text: true,
		read: func(b *builder, c cell) {
			var all []said
			if !readDocument(b, c, &all) {
				return
			}
			rows := make([]register.SaidRow, len(all))
			for i, s := range all {
				rows[i] = s.row()
			}
			*at(b.row) = rows
		},
		write: func(r *register.ImportRow) string {
			rows := *at(r)
			if len(rows) == 0 {
				return ""
			}
			all := make([]said, len(rows))
			for i, row := range rows {
				all[i] = saidOf(row)
			}
			return printDocument(all)
		},
	}
}

// laidUp is one lay-up as a cell holds it.
type laidUp struct {
	From   *quantity.Date `json:"from"`
	To     *quantity.Date `json:"to,omitempty"`
	Reason string         `json:"reason,omitempty"`
}

func laidUpField() Field {
	return Field{
		Name: "laid_up", Title: "Laid up", Kinds: inMachines, Words: words("laid up"), text: true,
		Help: "When the machine stood still, as the export writes it.",
		read: func(b *builder, c cell) {
			var all []laidUp
			if !readDocument(b, c, &all) {
				return
			}
			for _, l := range all {
				b.row.Machine.LaidUp = append(b.row.Machine.LaidUp, register.LayUp{From: dateOf(l.From), To: dateOf(l.To), Reason: l.Reason})
			}
		},
		write: func(r *register.ImportRow) string {
			if len(r.Machine.LaidUp) == 0 {
				return ""
			}
			all := make([]laidUp, len(r.Machine.LaidUp))
			for i, l := range r.Machine.LaidUp {
				all[i] = laidUp{dateOrNil(l.From), dateOrNil(l.To), l.Reason}
			}
			return printDocument(all)
		},
	}
}
