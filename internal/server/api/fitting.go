package api

import (
	"net/http"
	"strings"

	"hoseward/internal/register"
)

// Fitting is where an assembly sat, from when to when.
type Fitting struct {
	ID        int64       `json:"id" doc:"Its number."`
	Assembly  string      `json:"assembly" doc:"Code of the assembly."`
	Elsewhere bool        `json:"elsewhere,omitzero" doc:"It was at a site you may not see; of where and why nothing is told."`
	Machine   string      `json:"machine,omitzero" doc:"Code of the machine."`
	Position  string      `json:"position,omitzero" doc:"Name of the position."`
	From      string      `json:"from" format:"date" doc:"The day it was fitted."`
	FromText  string      `json:"from_text,omitzero" doc:"That day as it was written, where it was not one day."`
	FromHours *float64    `json:"from_hours,omitzero" doc:"What the hour meter showed then, in h."`
	To        string      `json:"to,omitzero" format:"date" doc:"The day it came off; left out while it sits there."`
	ToHours   *float64    `json:"to_hours,omitzero" doc:"What the hour meter showed then, in h."`
	Removal   *RemovalRow `json:"removal,omitzero" doc:"Why it came off; left out while it sits there."`
	Version   int         `json:"version" doc:"Rises with each change."`
}

// RemovalRow is a removal that was noted.
type RemovalRow struct {
	ID int64 `json:"id" doc:"Its number."`
	Removal
	Version int `json:"version" doc:"Rises with each change."`
}

// Removal is why an assembly came off.
type Removal struct {
	Cause    string `json:"cause" enum:"planned,heat,pressure,assembly,outside,unknown" doc:"Why it came off."`
	FoundBy  string `json:"found_by" enum:"event,inspection" doc:"How the need was found: by an event, such as a leak at work, or by an inspection."`
	Reason   string `json:"reason,omitzero" maxLength:"4000" doc:"A note on the removal."`
	Seen     string `json:"seen,omitzero" maxLength:"4000" doc:"What was seen on the hose."`
	Scrapped bool   `json:"scrapped" doc:"It was thrown away then; else it went in store."`
}

// Release lets an assembly be fitted that may not be fitted by its age or by
// what was found on it.
type Release struct {
	ReleasedBy string `json:"released_by,omitzero" maxLength:"200" doc:"Who releases an assembly that was stored too long or is damaged; needs the right manage."`
	Reason     string `json:"reason,omitzero" maxLength:"4000" doc:"Why; a release needs it."`
}

// When is when something was done.
type When struct {
	On    string   `json:"on" format:"date" doc:"The day it was done, not after today."`
	Hours *float64 `json:"hours,omitzero" minimum:"0" maximum:"1000000" doc:"What the hour meter of the machine showed then, in h."`
}

type fitIn struct {
	Write
	OfAssembly
	Body struct {
		Machine  string `json:"machine" minLength:"1" maxLength:"60" doc:"Code of the machine."`
		Position string `json:"position" minLength:"1" maxLength:"200" doc:"Name of the position, which must be empty."`
		When
		Release
	}
}

type moveIn struct {
	Write
	OfAssembly
	Body struct {
		Machine  string `json:"machine" minLength:"1" maxLength:"60" doc:"Code of the machine it goes to."`
		Position string `json:"position" minLength:"1" maxLength:"200" doc:"Name of the position it goes to, which must be empty."`
		When
		OffHours *float64 `json:"off_hours,omitzero" minimum:"0" maximum:"1000000" doc:"What the hour meter of the machine it leaves showed then, in h; on the same machine that is hours."`
		Release
	}
}

type removeIn struct {
	Write
	OfAssembly
	Body struct {
		When
		Removal
	}
}

type scrapIn struct {
	Write
	OfAssembly
	Body struct {
		On     string `json:"on" format:"date" doc:"The day it was thrown away, not after today."`
		Reason string `json:"reason,omitzero" maxLength:"4000" doc:"Why."`
	}
}

type swapIn struct {
	Write
	OfPosition
	Body struct {
		When
		Off *struct {
			Assembly string `json:"assembly" minLength:"1" maxLength:"60" doc:"Code of what sits there; if something else sits there by now, the swap is refused."`
			Removal
		} `json:"off,omitzero" doc:"What comes off; left out where the position is empty."`
		Assembly string       `json:"assembly,omitzero" maxLength:"60" doc:"Code of the assembly in store that goes on; either this or new."`
		New      *NewAssembly `json:"new,omitzero" doc:"The new assembly that goes on; it is added to the register."`
		Release
	}
}

type assemblyListIn struct {
	Paging
	OfAssembly
}

type correctFittingIn struct {
	Write
	Numbered
	Body struct {
		Machine   string   `json:"machine" minLength:"1" maxLength:"60" doc:"Code of the machine it sat on."`
		Position  string   `json:"position" minLength:"1" maxLength:"200" doc:"Name of the position it sat at."`
		From      string   `json:"from" format:"date" doc:"The day it was fitted."`
		FromText  string   `json:"from_text,omitzero" maxLength:"200" doc:"That day as it was written, where it was not one day."`
		FromHours *float64 `json:"from_hours,omitzero" minimum:"0" maximum:"1000000" doc:"What the hour meter showed then, in h."`
		To        string   `json:"to,omitzero" format:"date" doc:"The day it came off; left out while it sits there."`
		ToHours   *float64 `json:"to_hours,omitzero" minimum:"0" maximum:"1000000" doc:"What the hour meter showed then, in h."`
		Removal   *Removal `json:"removal,omitzero" doc:"Why it came off; with to, and only with it."`
		Corrected
	}
}

func (a *API) fittings() {
	const tag = "assemblies"
	listed(a, op{"listFittings", http.MethodGet, "/assemblies/{assembly}/fittings", register.RightSee, tag, "List where an assembly sat", "Newest first."},
		func(k *call, in *assemblyListIn, after string, limit int) ([]Fitting, string, error) {
			sheet, err := k.assembly(in.Assembly)
			items, next := cut(mapped(sheet.Placements, fittingOf), after, limit, func(f Fitting) string { return newestFirst(f.From, f.ID) })
			return items, next, err
		})
	read(a, op{"getFitting", http.MethodGet, "/fittings/{id}", register.RightSee, tag, "Get where an assembly sat", ""}, func(k *call, in *Numbered) (Fitting, error) { return k.fitting(in.ID) })
	write(a, op{"fitAssembly", http.MethodPost, "/assemblies/{assembly}/fit", register.RightFit, tag, "Fit an assembly that is in store", ""}, func(k *call, in *fitIn) (change, error) {
		var r reader
		b := in.Body
		cmd := b.Release.fit(&r, in.Assembly, b.Machine, b.Position, b.When)
		return commands(cmd), firstOf(r.err(), k.seen(in.Assembly, b.Machine))
	})
	write(a, op{"moveAssembly", http.MethodPost, "/assemblies/{assembly}/move", register.RightFit, tag, "Move an assembly to another position", ""}, (*call).move)
	write(a, op{"removeAssembly", http.MethodPost, "/assemblies/{assembly}/remove", register.RightFit, tag, "Take an assembly off its position", "Everything open on it is closed."},
		func(k *call, in *removeIn) (change, error) {
			var r reader
			cmd := in.Body.Removal.command(&r, in.Assembly, in.Body.When)
			return commands(cmd), firstOf(r.err(), k.seen(in.Assembly, ""))
		})
	write(a, op{"scrapAssembly", http.MethodPost, "/assemblies/{assembly}/scrap", register.RightFit, tag, "Scrap an assembly that is in store", ""}, func(k *call, in *scrapIn) (change, error) {
		var r reader
		cmd := register.Scrap{AssemblyCode: in.Assembly, On: r.day("on", in.Body.On), Reason: in.Body.Reason}
		return commands(cmd), firstOf(r.err(), k.seen(in.Assembly, ""))
	})
	write(a, op{"swap", http.MethodPost, "/machines/{machine}/positions/{position}/swap", register.RightFit, tag, "Swap the hose at a position", "The old one comes off and the new one goes on at once, or neither."}, (*call).swap)
	write(a, op{"correctFitting", http.MethodPut, "/fittings/{id}", register.RightFit, tag, "Correct where an assembly sat", "Replaces all of it."}, (*call).correctFitting)
	takeBack(a, register.ThingPlacement, "fittings", tag, "a fitting, with its removal", func(k *call, id int64) error { _, err := k.fitting(id); return err })
	write(a, op{"takeBackRemoval", http.MethodPost, "/fittings/{id}/removal/take-back", register.ThingRemoval.Right(), tag, "Take back a removal that was noted by mistake", "The assembly then sits there still, and the findings its removal closed are open again. The version is that of the removal."},
		func(k *call, in *takeBackIn) (change, error) {
			sheet, err := k.Store.PlacementSheet(k.ctx, in.ID)
			if err == nil && sheet.Removal == nil {
				err = notThere("", "It did not come off there; there is no removal to take back.")
			}
			if err != nil {
				return change{}, err
			}
			return in.Body.takeBack(register.ThingRemoval, sheet.Removal.ID), nil
		})
}

func (k *call) fitting(id int64) (Fitting, error) {
	sheet, err := k.Store.PlacementSheet(k.ctx, id)
	return fittingOf(sheet), err
}

func fittingOf(p register.PlacementSheet) Fitting {
	f := Fitting{
		ID: p.Placement.ID, Assembly: p.AssemblyCode, Elsewhere: p.Elsewhere, Machine: p.MachineCode, Position: p.PositionName, From: dayText(p.Placement.From), FromText: p.Placement.FromText,
		FromHours: p.Placement.FromHours, To: dayText(p.Placement.To), ToHours: p.Placement.ToHours, Version: p.Placement.Version,
	}
	if r := p.Removal; r != nil {
		f.Removal = &RemovalRow{r.ID, Removal{string(r.Cause), string(r.FoundBy), r.Reason, r.Seen, p.Scrapped}, r.Version}
	}
	return f
}

// seen says whether the caller may see an assembly and, where it is named, a
// machine.
func (k *call) seen(assembly, machine string) error {
	if _, err := k.assembly(assembly); err != nil {
		return err
	}
	if machine == "" {
		return nil
	}
	_, err := k.machine(machine)
	return inBody("machine", err)
}

func (v Release) fit(r *reader, assembly, machine, position string, when When) register.Fit {
	return register.Fit{
		AssemblyCode: assembly, Machine: machine, Position: position, On: r.day("on", when.On), Hours: when.Hours, ReleasedBy: v.ReleasedBy, Reason: v.Reason,
	}
}

func (v Removal) command(r *reader, assembly string, when When) register.Remove {
	return register.Remove{
		AssemblyCode: assembly, On: r.day("on", when.On), Hours: when.Hours, Cause: register.Cause(v.Cause), FoundBy: register.FoundBy(v.FoundBy),
		Reason: v.Reason, Seen: v.Seen, Scrapped: v.Scrapped,
	}
}

func (k *call) move(in *moveIn) (change, error) {
	var r reader
	b := in.Body
	fit := b.Release.fit(&r, in.Assembly, b.Machine, b.Position, b.When)
	sheet, err := k.assembly(in.Assembly)
	if err := firstOf(r.err(), err, k.seen(in.Assembly, b.Machine)); err != nil {
		return change{}, err
	}
	if sheet.Line == nil {
		return change{}, &register.Error{Code: register.Refused, Sentence: in.Assembly + " sits nowhere, so it cannot be moved; fit it instead."}
	}
	return commands(register.MoveOff(*sheet.Line, fit, b.OffHours), fit), nil
}

func (k *call) swap(in *swapIn) (change, error) {
	var r reader
	b := in.Body
	at, err := k.position(in.OfPosition)
	if err != nil {
		return change{}, err
	}
	var todo change
	add := func(in string, cmd register.Command) {
		todo.cmds = append(todo.cmds, cmd)
		before := todo.at
		n := len(todo.cmds) - 1
		todo.at = func(i int) string {
			if i == n || before == nil {
				return in
			}
			return before(i)
		}
	}
	if b.Off != nil {
		if !strings.EqualFold(at.Assembly, b.Off.Assembly) {
			return change{}, k.notThereNow(at, b.Off.Assembly)
		}
		add("off.", b.Off.Removal.command(&r, b.Off.Assembly, b.When))
	}
	switch {
	case (b.Assembly == "") == (b.New == nil):
		r.fault("assembly", "Say what goes on: the code of one in store as assembly, or a new one as new, not both.")
	case b.New != nil:
		add("new.", b.New.command(&r, "new.", k))
		err = k.siteSeen(b.New.Site)
	default:
		err = k.seen(b.Assembly, "")
	}
	add("", b.Release.fit(&r, b.Assembly, at.Machine, at.Name, b.When))
	todo.names = map[string]string{"assembly_code": "assembly"}
	return todo, firstOf(r.err(), err)
}

// notThereNow refuses a swap whose position holds something else by now.
func (k *call) notThereNow(at Position, code string) error {
	says := "Nothing sits at this position any more; look at it anew."
	if at.Assembly != "" {
		says = at.Assembly + " sits at this position, not " + code + "; look at it anew."
	}
	return &refused{at: "body.off.assembly", current: at, err: &register.Error{Code: register.Conflict, Field: "assembly_code", Sentence: says}}
}

func (k *call) correctFitting(in *correctFittingIn) (change, error) {
	var r reader
	b := in.Body
	sheet, err := k.Store.PlacementSheet(k.ctx, in.ID)
	if err != nil {
		return change{}, err
	}
	at, err := k.Store.PositionSheet(k.ctx, k.now, b.Machine, b.Position)
	if err != nil {
		return change{}, inBody("position", err)
	}
	row := sheet.Placement
	row.PositionID, row.From, row.FromText, row.FromHours = at.Position.ID, r.day("from", b.From), b.FromText, b.FromHours
	row.To, row.ToHours, row.Version = r.day("to", b.To), b.ToHours, b.Version
	cmd := register.ChangePlacement{Placement: row, Reason: b.Reason}
	if v := b.Removal; v != nil {
		cmd.Removal = &register.Removal{PlacementID: row.ID, Cause: register.Cause(v.Cause), FoundBy: register.FoundBy(v.FoundBy), Reason: v.Reason, Seen: v.Seen}
		if sheet.Removal != nil {
			cmd.Removal.ID, cmd.Removal.Version = sheet.Removal.ID, sheet.Removal.Version
		}
		cmd.Scrapped = v.Scrapped
	}
	return change{
		cmds: []register.Command{cmd}, current: func() (any, error) { return k.fitting(in.ID) },
		names: map[string]string{
			"from_on": "from", "to_on": "to", "cause": "removal.cause", "found_by": "removal.found_by", "removal_reason": "removal.reason", "seen": "removal.seen", "scrapped": "removal.scrapped",
		},
	}, r.err()
}

// inBody says that an error is at a field of the body.
func inBody(field string, err error) error {
	if asRefusal(err) == nil {
		return err
	}
	return &refused{at: "body." + field, err: err}
}
