package api

import (
	"fmt"
	"net/http"
	"strings"

	"hoseward/internal/register"
)

// Reading is what a machine's hour meter showed on a day.
type Reading struct {
	ID      int64  `json:"id" doc:"Its number."`
	Machine string `json:"machine" doc:"Code of the machine."`
	ReadingFields
	Source  string `json:"source,omitzero" doc:"Where it came from: page, API, import, fitting."`
	Version int    `json:"version" doc:"Rises with each change."`
}

// ReadingFields are what is written of a reading.
type ReadingFields struct {
	On       string  `json:"on" format:"date" doc:"The day, not after today at the site."`
	Hours    float64 `json:"hours" minimum:"0" maximum:"1000000" doc:"What the hour meter showed, in h."`
	Disputed bool    `json:"disputed,omitzero" doc:"It is doubtful; it is kept and left out of the computation."`
	Note     string  `json:"note,omitzero" maxLength:"4000" doc:"A note."`
}

type newReadingIn struct {
	Write
	OfMachine
	Body ReadingFields
}

// MachineReading is a reading with its machine.
type MachineReading struct {
	Machine string `json:"machine" minLength:"1" maxLength:"60" doc:"Code of the machine."`
	ReadingFields
}

type newReadingsIn struct {
	Write
	Body struct {
		Items []MachineReading `json:"items" minItems:"1" maxItems:"1000" nullable:"false" doc:"The readings, taken all or none. Of one machine the earlier day stands first."`
	}
}

type changeReadingIn struct {
	Write
	Numbered
	Body struct {
		ReadingFields
		Corrected
	}
}

// fromAPI is where readings say they came from.
const fromAPI = "API"

func (a *API) readings() {
	const tag = "use"
	listed(a, op{"listReadings", http.MethodGet, "/machines/{machine}/readings", register.RightSee, tag, "List the readings of a machine", "Newest first."},
		func(k *call, in *listOfMachineIn, after string, limit int) ([]Reading, string, error) {
			sheet, err := k.machine(in.Machine)
			all := mapped(sheet.Readings, func(r register.Reading) Reading { return readingOf(r, sheet.Machine.Code) })
			items, next := cut(all, after, limit, func(r Reading) string { return newestFirst(r.On, r.ID) })
			return items, next, err
		})
	read(a, op{"getReading", http.MethodGet, "/readings/{id}", register.RightSee, tag, "Get a reading", ""}, func(k *call, in *Numbered) (Reading, error) { return k.reading(in.ID) })
	write(a, op{"addReading", http.MethodPost, "/machines/{machine}/readings", register.RightNote, tag, "Note a reading", ""}, func(k *call, in *newReadingIn) (change, error) {
		var r reader
		cmd := in.Body.command(&r, "", in.Machine)
		_, err := k.machine(in.Machine)
		return commands(cmd), firstOf(err, r.err())
	})
	write(a, op{"addReadings", http.MethodPost, "/readings", register.RightNote, tag, "Note many readings at once", "All of them or none. A refusal says at which one."}, (*call).addReadings)
	write(a, op{"changeReading", http.MethodPut, "/readings/{id}", register.RightNote, tag, "Correct a reading", "Replaces all that it says."}, func(k *call, in *changeReadingIn) (change, error) {
		var r reader
		row, _, err := k.Store.Reading(k.ctx, in.ID)
		b := in.Body
		row.On, row.Hours, row.Disputed, row.Note, row.Version = r.day("on", b.On), b.Hours, b.Disputed, b.Note, b.Version
		return change{cmds: []register.Command{register.ChangeReading{Reading: row, Reason: b.Reason}}, current: func() (any, error) { return k.reading(in.ID) }}, firstOf(err, r.err())
	})
	takeBack(a, register.ThingReading, "readings", tag, "a reading", func(k *call, id int64) error { _, err := k.reading(id); return err })
}

func (k *call) reading(id int64) (Reading, error) {
	row, machine, err := k.Store.Reading(k.ctx, id)
	return readingOf(row, machine), err
}

func readingOf(r register.Reading, machine string) Reading {
	return Reading{ID: r.ID, Machine: machine, Source: r.Source, Version: r.Version, ReadingFields: ReadingFields{dayText(r.On), r.Hours, r.Disputed, r.Note}}
}

func (f ReadingFields) command(r *reader, at, machine string) register.AddReading {
	return register.AddReading{Machine: machine, On: r.day(at+"on", f.On), Hours: f.Hours, Source: fromAPI, Disputed: f.Disputed, Note: f.Note}
}

func (k *call) addReadings(in *newReadingsIn) (change, error) {
	codes, err := k.Store.MachineCodes(k.ctx)
	if err != nil {
		return change{}, err
	}
	seen := make(map[string]bool, len(codes))
	for _, code := range codes {
		seen[strings.ToLower(code)] = true
	}
	at := func(i int) string { return fmt.Sprintf("items[%d].", i) }
	var r reader
	todo := change{at: at}
	for i, item := range in.Body.Items {
		if !seen[strings.ToLower(item.Machine)] {
			r.fault(at(i)+"machine", "There is no machine "+item.Machine+"; check its code.")
			continue
		}
		todo.cmds = append(todo.cmds, item.command(&r, at(i), item.Machine))
	}
	return todo, r.err()
}
