package api

import (
	"fmt"
	"net/http"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// Inspection is one look at one assembly where it sat.
type Inspection struct {
	ID      int64  `json:"id" doc:"Its number."`
	Machine string `json:"machine" doc:"Code of the machine it was made at."`
	On      string `json:"on" format:"date" doc:"The day."`
	By      string `json:"by,omitzero" doc:"Who inspected, as written."`
	Verdict string `json:"verdict" enum:"sound,watch,correct,replace,stop" doc:"The strictest class of its findings, or sound."`
	Note    string `json:"note,omitzero" doc:"A note."`
	Version int    `json:"version" doc:"Rises with each change."`
}

// FindingFields are what is written of a finding.
type FindingFields struct {
	Number int    `json:"number" minimum:"0" maximum:"26" doc:"What was seen, by the catalogue of findings; 0 for something else, told in note."`
	Class  string `json:"class" enum:"stop,replace,correct,watch" doc:"What it asks for. Milder than the catalogue suggests needs the right manage."`
	Place  string `json:"place,omitzero" maxLength:"200" doc:"Where on the hose: end A, middle, end B, whole length."`
	ActBy  string `json:"act_by,omitzero" format:"date" doc:"The day by which something is to be done."`
	Note   string `json:"note,omitzero" maxLength:"4000" doc:"In one's own words."`
}

// Finding is one thing an inspection saw.
type Finding struct {
	ID         int64  `json:"id" doc:"Its number."`
	Inspection int64  `json:"inspection" doc:"Number of its inspection."`
	Machine    string `json:"machine,omitzero" doc:"Code of the machine it was seen at."`
	FindingFields
	SeenOn       string `json:"seen_on" format:"date" doc:"The day of the inspection."`
	ClosedOn     string `json:"closed_on,omitzero" format:"date" doc:"The day it was closed; left out while it is open."`
	ClosedHow    string `json:"closed_how,omitzero" enum:"removed,released,done" doc:"How it was closed."`
	ClosedReason string `json:"closed_reason,omitzero" doc:"Why it was closed."`
	Version      int    `json:"version" doc:"Rises with each change."`
}

type inspectIn struct {
	Write
	OfPosition
	Body struct {
		On       string          `json:"on" format:"date" doc:"The day, not after today at the site."`
		By       string          `json:"by,omitzero" maxLength:"200" doc:"Who inspected."`
		Verdict  string          `json:"verdict" enum:"sound,found" doc:"What the inspector says: sound, or that something was found. Sound needs the right inspect."`
		Findings []FindingFields `json:"findings,omitzero" maxItems:"100" doc:"What was found; none where it is sound."`
		Note     string          `json:"note,omitzero" maxLength:"4000" doc:"A note."`
	}
}

type changeInspectionIn struct {
	Write
	Numbered
	Body struct {
		On   string `json:"on" format:"date" doc:"The day."`
		By   string `json:"by,omitzero" maxLength:"200" doc:"Who inspected."`
		Note string `json:"note,omitzero" maxLength:"4000" doc:"A note."`
		Corrected
	}
}

type changeFindingIn struct {
	Write
	Numbered
	Body struct {
		FindingFields
		Corrected
	}
}

type doneFindingIn struct {
	Write
	Numbered
	Body struct {
		On     string `json:"on" format:"date" doc:"The day it was done, not after today at the site."`
		Reason string `json:"reason,omitzero" maxLength:"4000" doc:"What was done."`
	}
}

type releaseFindingIn struct {
	Write
	Numbered
	Body struct {
		On         string `json:"on" format:"date" doc:"The day of the release, not after today at the site."`
		ReleasedBy string `json:"released_by" minLength:"1" maxLength:"200" doc:"Name of the manager who answers for it."`
		Why
	}
}

type findingsIn struct {
	Paging
	OfAssembly
	Open bool `query:"open" doc:"Only those that are open."`
}

func (a *API) inspections() {
	const tag = "inspections"
	listed(a, op{"listInspections", http.MethodGet, "/assemblies/{assembly}/inspections", register.RightSee, tag, "List the inspections of an assembly", "Newest first."},
		func(k *call, in *assemblyListIn, after string, limit int) ([]Inspection, string, error) {
			sheet, err := k.assembly(in.Assembly)
			if err != nil {
				return nil, "", err
			}
			key := func(i Inspection) string { return newestFirst(i.On, i.ID) }
			items, next := cut(sortedBy(mapped(sheet.Inspections, func(i register.Inspection) Inspection { return inspectionOf(i, machineAt(sheet, i)) }), key), after, limit, key)
			return items, next, nil
		})
	read(a, op{"getInspection", http.MethodGet, "/inspections/{id}", register.RightSee, tag, "Get an inspection", ""}, func(k *call, in *Numbered) (Inspection, error) { return k.inspection(in.ID) })
	write(a, op{"inspect", http.MethodPost, "/machines/{machine}/positions/{position}/inspections", register.RightNote, tag, "Note an inspection", "Of what sat at the position on that day."}, (*call).inspect)
	write(a, op{"changeInspection", http.MethodPut, "/inspections/{id}", register.RightInspect, tag, "Correct an inspection", "Its findings follow its day; its verdict is that of its findings."}, func(k *call, in *changeInspectionIn) (change, error) {
		var r reader
		row, _, err := k.Store.Inspection(k.ctx, in.ID)
		b := in.Body
		row.On, row.By, row.Note, row.Version = r.day("on", b.On), b.By, b.Note, b.Version
		return change{cmds: []register.Command{register.ChangeInspection{Inspection: row, Reason: b.Reason}}, current: func() (any, error) { return k.inspection(in.ID) }}, firstOf(err, r.err())
	})
	takeBack(a, register.ThingInspection, "inspections", tag, "an inspection, with its findings", func(k *call, id int64) error { _, err := k.inspection(id); return err })
}

// machineAt is the machine an inspection was made at, as far as it is told.
func machineAt(sheet register.AssemblySheet, i register.Inspection) string {
	for _, p := range sheet.Placements {
		if p.Placement.PositionID == i.PositionID {
			return p.MachineCode
		}
	}
	return ""
}

func (k *call) inspection(id int64) (Inspection, error) {
	row, machine, err := k.Store.Inspection(k.ctx, id)
	return inspectionOf(row, machine), err
}

func inspectionOf(i register.Inspection, machine string) Inspection {
	return Inspection{i.ID, machine, dayText(i.On), i.By, string(i.Verdict), i.Note, i.Version}
}

// verdictSound and verdictFound are what an inspector says; sound is never what
// is left when nothing is said.
const verdictSound, verdictFound = "sound", "found"

func (k *call) inspect(in *inspectIn) (change, error) {
	var r reader
	b := in.Body
	cmd := register.Inspect{Machine: in.Machine, Position: in.Position, On: r.day("on", b.On), By: b.By, Note: b.Note}
	for i, f := range b.Findings {
		at := fmt.Sprintf("findings[%d].", i)
		cmd.Findings = append(cmd.Findings, f.found(&r, at))
	}
	switch {
	case b.Verdict == verdictSound && len(b.Findings) > 0:
		r.fault("verdict", "Sound and a finding cannot both be right.")
	case b.Verdict == verdictFound && len(b.Findings) == 0:
		r.fault("findings", "Say what was found.")
	}
	_, err := k.position(in.OfPosition)
	return commands(cmd), firstOf(err, r.err())
}

func (f FindingFields) found(r *reader, at string) register.NewFinding {
	if f.Number == 0 && f.Note == "" {
		r.fault(at+"note", "Say in your own words what was seen.")
	}
	return register.NewFinding{Number: f.Number, Class: life.Class(f.Class), Place: f.Place, ActBy: r.day(at+"act_by", f.ActBy), Note: f.Note}
}

func (a *API) findings() {
	const tag = "inspections"
	listed(a, op{"listFindings", http.MethodGet, "/assemblies/{assembly}/findings", register.RightSee, tag, "List the findings on an assembly", "Newest first."},
		func(k *call, in *findingsIn, after string, limit int) ([]Finding, string, error) {
			sheet, err := k.assembly(in.Assembly)
			if err != nil {
				return nil, "", err
			}
			var all []Finding
			for _, d := range sheet.Findings {
				if !in.Open || d.ClosedOn.IsZero() {
					all = append(all, findingOf(d, ""))
				}
			}
			key := func(d Finding) string { return newestFirst(d.SeenOn, d.ID) }
			items, next := cut(sortedBy(all, key), after, limit, key)
			return items, next, nil
		})
	read(a, op{"getFinding", http.MethodGet, "/findings/{id}", register.RightSee, tag, "Get a finding", ""}, func(k *call, in *Numbered) (Finding, error) { return k.finding(in.ID) })
	write(a, op{"changeFinding", http.MethodPut, "/findings/{id}", register.RightNote, tag, "Change the class of a finding, or correct it", "Replaces what was seen. A milder class needs the right manage. How it was closed stays."}, (*call).changeFinding)
	write(a, op{"tickFindingDone", http.MethodPost, "/findings/{id}/done", register.RightNote, tag, "Tick a finding of class correct done", ""}, func(k *call, in *doneFindingIn) (change, error) {
		var r reader
		cmd := register.CloseFinding{FindingID: in.ID, On: r.day("on", in.Body.On), How: register.ClosedDone, Reason: in.Body.Reason}
		_, err := k.finding(in.ID)
		return commands(cmd), firstOf(err, r.err())
	})
	write(a, op{"releaseFinding", http.MethodPost, "/findings/{id}/release", register.RightManage, tag, "Release a finding", "The hose may stay in use in spite of it."}, func(k *call, in *releaseFindingIn) (change, error) {
		var r reader
		cmd := register.CloseFinding{FindingID: in.ID, On: r.day("on", in.Body.On), How: register.ClosedByRelease, Reason: register.ReleaseReason(in.Body.ReleasedBy, in.Body.Reason)}
		_, err := k.finding(in.ID)
		return commands(cmd), firstOf(err, r.err())
	})
	takeBack(a, register.ThingFinding, "findings", tag, "a finding", func(k *call, id int64) error { _, err := k.finding(id); return err })
}

func (k *call) finding(id int64) (Finding, error) {
	row, machine, err := k.Store.Finding(k.ctx, id)
	return findingOf(row, machine), err
}

func findingOf(d register.Finding, machine string) Finding {
	return Finding{
		ID: d.ID, Inspection: d.InspectionID, Machine: machine, SeenOn: dayText(d.SeenOn), ClosedOn: dayText(d.ClosedOn), ClosedHow: string(d.ClosedHow), ClosedReason: d.ClosedReason,
		FindingFields: FindingFields{d.Number, string(d.Class), d.Place, dayText(d.ActBy), d.Note}, Version: d.Version,
	}
}

func (k *call) changeFinding(in *changeFindingIn) (change, error) {
	var r reader
	row, _, err := k.Store.Finding(k.ctx, in.ID)
	b := in.Body
	n := b.found(&r, "")
	row.Number, row.Class, row.Place, row.ActBy, row.Note, row.Version = n.Number, n.Class, n.Place, n.ActBy, n.Note, b.Version
	return change{cmds: []register.Command{register.ChangeFinding{Finding: row, Reason: b.Reason}}, current: func() (any, error) { return k.finding(in.ID) }}, firstOf(err, r.err())
}
