package exchange

import (
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// looked is one inspection as a cell holds it.
type looked struct {
	On       *quantity.Date `json:"on"`
	By       string         `json:"by,omitempty"`
	Note     string         `json:"note,omitempty"`
	Findings []found        `json:"findings,omitempty"`
}

// found is one finding of it.
type found struct {
	Number int                `json:"number,omitempty"`
	Class  life.Class         `json:"class"`
	Place  string             `json:"place,omitempty"`
	ActBy  *quantity.Date     `json:"by,omitempty"`
	Note   string             `json:"note,omitempty"`
	Closed *quantity.Date     `json:"closed,omitempty"`
	How    register.ClosedHow `json:"how,omitempty"`
	Reason string             `json:"reason,omitempty"`
}

// inspectionsField is a column of the export's own: without it an open stop
// would be lost on the way into another register.
func inspectionsField() Field {
	return Field{
		Name: "inspections_with_findings", Title: "Inspections with findings", Kinds: inHoses, Words: words("inspections with findings"), text: true,
		Help: "All inspections of the hose at this position with what they saw, as the export writes them.",
		read: func(b *builder, c cell) {
			var all []looked
			if !readDocument(b, c, &all) {
				return
			}
			for _, l := range all {
				b.row.Hose.Inspections = append(b.row.Hose.Inspections, l.row())
			}
		},
		write: func(r *register.ImportRow) string {
			rows := r.Hose.Inspections
			if len(rows) == 0 {
				return ""
			}
			all := make([]looked, len(rows))
			for i, row := range rows {
				all[i] = lookedOf(row)
			}
			return printDocument(all)
		},
	}
}

func lookedOf(r register.InspectionRow) looked {
	l := looked{On: dateOrNil(r.On), By: r.By, Note: r.Note}
	for _, f := range r.Findings {
		l.Findings = append(l.Findings, found{
			f.Number, f.Class, f.Place, dateOrNil(f.ActBy), f.Note, dateOrNil(f.ClosedOn), f.ClosedHow, f.ClosedReason,
		})
	}
	return l
}

func (l looked) row() register.InspectionRow {
	r := register.InspectionRow{On: dateOf(l.On), By: l.By, Note: l.Note}
	for _, f := range l.Findings {
		r.Findings = append(r.Findings, register.FindingRow{
			NewFinding: register.NewFinding{Number: f.Number, Class: f.Class, Place: f.Place, ActBy: dateOf(f.ActBy), Note: f.Note},
			ClosedOn:   dateOf(f.Closed), ClosedHow: f.How, ClosedReason: f.Reason,
		})
	}
	return r
}
