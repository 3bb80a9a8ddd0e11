package api

import (
	"net/http"

	"hoseward/internal/register"
)

// MeterEvent is a meter that was replaced or rolled over.
type MeterEvent struct {
	ID      int64  `json:"id" doc:"Its number."`
	Machine string `json:"machine" doc:"Code of the machine."`
	MeterEventFields
	Version int `json:"version" doc:"Rises with each change."`
}

// MeterEventFields are what is written of a meter event.
type MeterEventFields struct {
	On       string  `json:"on" format:"date" doc:"The day, not after today at the site."`
	OldEnd   float64 `json:"old_end" minimum:"0" maximum:"1000000" doc:"What the old meter showed last, in h."`
	NewStart float64 `json:"new_start" minimum:"0" maximum:"1000000" doc:"What the new meter began at, in h."`
	Note     string  `json:"note,omitzero" maxLength:"4000" doc:"A note."`
}

// LayUp is a time a machine was out of use.
type LayUp struct {
	ID      int64  `json:"id" doc:"Its number."`
	Machine string `json:"machine" doc:"Code of the machine."`
	LayUpFields
	Version int `json:"version" doc:"Rises with each change."`
}

// LayUpFields are what is written of a lay-up.
type LayUpFields struct {
	From string `json:"from" format:"date" doc:"The first day out of use."`
	To   string `json:"to,omitzero" format:"date" doc:"The first day in use again; left out while it lasts."`
	Why  string `json:"why,omitzero" maxLength:"4000" doc:"Why it was out of use."`
}

type newMeterEventIn struct {
	Write
	OfMachine
	Body MeterEventFields
}

type changeMeterEventIn struct {
	Write
	Numbered
	Body struct {
		MeterEventFields
		Corrected
	}
}

type newLayUpIn struct {
	Write
	OfMachine
	Body LayUpFields
}

type changeLayUpIn struct {
	Write
	Numbered
	Body struct {
		LayUpFields
		Version int    `json:"version" minimum:"1" doc:"The version that was read."`
		Reason  string `json:"reason,omitzero" maxLength:"4000" doc:"Why it is corrected; to end one that lasts needs no reason."`
	}
}

func (a *API) meters() {
	a.meterEvents()
	a.layUps()
}

func (a *API) meterEvents() {
	const tag = "use"
	listed(a, op{"listMeterEvents", http.MethodGet, "/machines/{machine}/meter-events", register.RightSee, tag, "List the meter events of a machine", "Newest first."},
		func(k *call, in *listOfMachineIn, after string, limit int) ([]MeterEvent, string, error) {
			sheet, err := k.machine(in.Machine)
			all := mapped(sheet.MeterEvents, func(e register.MeterEvent) MeterEvent { return meterEventOf(e, sheet.Machine.Code) })
			key := func(e MeterEvent) string { return newestFirst(e.On, e.ID) }
			items, next := cut(sortedBy(all, key), after, limit, key)
			return items, next, err
		})
	read(a, op{"getMeterEvent", http.MethodGet, "/meter-events/{id}", register.RightSee, tag, "Get a meter event", ""}, func(k *call, in *Numbered) (MeterEvent, error) { return k.meterEvent(in.ID) })
	write(a, op{"addMeterEvent", http.MethodPost, "/machines/{machine}/meter-events", register.RightNote, tag, "Note a meter that was replaced or rolled over", ""}, func(k *call, in *newMeterEventIn) (change, error) {
		var r reader
		b := in.Body
		_, err := k.machine(in.Machine)
		return commands(register.AddMeterEvent{Machine: in.Machine, On: r.day("on", b.On), OldEnd: b.OldEnd, NewStart: b.NewStart, Note: b.Note}), firstOf(err, r.err())
	})
	write(a, op{"changeMeterEvent", http.MethodPut, "/meter-events/{id}", register.RightNote, tag, "Correct a meter event", "Replaces all that it says."}, func(k *call, in *changeMeterEventIn) (change, error) {
		var r reader
		row, _, err := k.Store.MeterEvent(k.ctx, in.ID)
		b := in.Body
		row.On, row.OldEnd, row.NewStart, row.Note, row.Version = r.day("on", b.On), b.OldEnd, b.NewStart, b.Note, b.Version
		return change{cmds: []register.Command{register.ChangeMeterEvent{Event: row, Reason: b.Reason}}, current: func() (any, error) { return k.meterEvent(in.ID) }}, firstOf(err, r.err())
	})
	takeBack(a, register.ThingMeterEvent, "meter-events", tag, "a meter event", func(k *call, id int64) error { _, err := k.meterEvent(id); return err })
}

func (a *API) layUps() {
	const tag = "use"
	listed(a, op{"listLayUps", http.MethodGet, "/machines/{machine}/lay-ups", register.RightSee, tag, "List the times a machine was out of use", "Newest first."},
		func(k *call, in *listOfMachineIn, after string, limit int) ([]LayUp, string, error) {
			sheet, err := k.machine(in.Machine)
			all := mapped(sheet.LayUps, func(l register.LayUp) LayUp { return layUpOf(l, sheet.Machine.Code) })
			key := func(l LayUp) string { return newestFirst(l.From, l.ID) }
			items, next := cut(sortedBy(all, key), after, limit, key)
			return items, next, err
		})
	read(a, op{"getLayUp", http.MethodGet, "/lay-ups/{id}", register.RightSee, tag, "Get a time out of use", ""}, func(k *call, in *Numbered) (LayUp, error) { return k.layUp(in.ID) })
	names := map[string]string{"reason": "why"}
	write(a, op{"addLayUp", http.MethodPost, "/machines/{machine}/lay-ups", register.RightPlan, tag, "Note a time a machine is out of use", ""}, func(k *call, in *newLayUpIn) (change, error) {
		var r reader
		b := in.Body
		_, err := k.machine(in.Machine)
		cmd := register.AddLayUp{Machine: in.Machine, From: r.day("from", b.From), To: r.day("to", b.To), Reason: b.Why}
		return change{cmds: []register.Command{cmd}, names: names}, firstOf(err, r.err())
	})
	write(a, op{"changeLayUp", http.MethodPut, "/lay-ups/{id}", register.RightPlan, tag, "Correct or end a time out of use", "Replaces all that it says."}, func(k *call, in *changeLayUpIn) (change, error) {
		var r reader
		row, _, err := k.Store.LayUp(k.ctx, in.ID)
		b := in.Body
		row.From, row.To, row.Reason, row.Version = r.day("from", b.From), r.day("to", b.To), b.Why, b.Version
		return change{
			cmds: []register.Command{register.ChangeLayUp{LayUp: row, Reason: b.Reason}}, names: map[string]string{"lay_up_reason": "why"},
			current: func() (any, error) { return k.layUp(in.ID) },
		}, firstOf(err, r.err())
	})
	takeBack(a, register.ThingLayUp, "lay-ups", tag, "a time out of use", func(k *call, id int64) error { _, err := k.layUp(id); return err })
}

func (k *call) meterEvent(id int64) (MeterEvent, error) {
	row, machine, err := k.Store.MeterEvent(k.ctx, id)
	return meterEventOf(row, machine), err
}

func (k *call) layUp(id int64) (LayUp, error) {
	row, machine, err := k.Store.LayUp(k.ctx, id)
	return layUpOf(row, machine), err
}

func meterEventOf(e register.MeterEvent, machine string) MeterEvent {
	return MeterEvent{e.ID, machine, MeterEventFields{dayText(e.On), e.OldEnd, e.NewStart, e.Note}, e.Version}
}

func layUpOf(l register.LayUp, machine string) LayUp {
	return LayUp{l.ID, machine, LayUpFields{dayText(l.From), dayText(l.To), l.Reason}, l.Version}
}
