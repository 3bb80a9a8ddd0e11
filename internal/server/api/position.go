package api

import (
	"net/http"
	"slices"
	"strings"

	"hoseward/internal/register"
)

// PositionFields are what is written of a position.
type PositionFields struct {
	Name       string   `json:"name" minLength:"1" maxLength:"200" doc:"Its name, unique on its machine."`
	Circuit    string   `json:"circuit,omitzero" maxLength:"200" doc:"Its circuit. For a new position it is added if the machine lacks it."`
	WalkOrder  int      `json:"walk_order,omitzero" minimum:"0" maximum:"100000" doc:"Its place in the order in which one walks round the machine; 0 puts a new one last."`
	CanHurt    bool     `json:"can_hurt" doc:"A burst here can hurt someone."`
	Exposed    bool     `json:"exposed" doc:"To abrasion, flexing, vibration, salt or hot spots."`
	Twisted    bool     `json:"twisted,omitzero" doc:"The hose is twisted as it is routed."`
	Policy     string   `json:"policy,omitzero" maxLength:"200" doc:"Its own policy; left out: that of the site. A milder one needs the right manage."`
	LengthMM   *float64 `json:"length_mm,omitzero" minimum:"1" maximum:"1000000" doc:"Length of the assembly that belongs here, in mm."`
	BendMM     *float64 `json:"bend_mm,omitzero" minimum:"0" maximum:"1000000" doc:"Tightest bend radius as routed, in mm."`
	StraightMM *float64 `json:"straight_mm,omitzero" minimum:"0" maximum:"1000000" doc:"Straight length behind the fitting, in mm."`
	Note       string   `json:"note,omitzero" maxLength:"4000" doc:"A note."`
}

// Position is a place on a machine where a hose belongs.
type Position struct {
	ID      int64  `json:"id" doc:"Its number."`
	Machine string `json:"machine" doc:"Code of its machine."`
	PositionFields
	Assembly   string         `json:"assembly,omitzero" doc:"Code of what sits here; left out if nothing does."`
	Service    []ServiceValue `json:"service" doc:"How it is worked today, value by value, with where each comes from."`
	GoneOn     string         `json:"gone_on,omitzero" format:"date" doc:"The day the place ceased to be."`
	GoneReason string         `json:"gone_reason,omitzero" doc:"Why it ceased to be."`
	Version    int            `json:"version" doc:"Rises with each change."`
}

// PositionLine is a position as the list of positions has it.
type PositionLine struct {
	ID          int64  `json:"id" doc:"Its number."`
	Site        string `json:"site" doc:"Name of the site."`
	Machine     string `json:"machine" doc:"Code of the machine."`
	Name        string `json:"name" doc:"Its name."`
	Circuit     string `json:"circuit,omitzero" doc:"Its circuit."`
	WalkOrder   int    `json:"walk_order" doc:"Its place in the walking order."`
	CanHurt     bool   `json:"can_hurt" doc:"A burst here can hurt someone."`
	Exposed     bool   `json:"exposed" doc:"To abrasion, flexing, vibration, salt or hot spots."`
	Policy      string `json:"policy,omitzero" doc:"Its own policy; left out: that of the site."`
	Assembly    string `json:"assembly,omitzero" doc:"Code of what sits here; left out if nothing does."`
	Designation string `json:"designation,omitzero" doc:"Designation of what sits here."`
	Status      string `json:"status,omitzero" doc:"Status of what sits here today."`
	ActBy       string `json:"act_by,omitzero" format:"date" doc:"The day by which what sits here is to be replaced."`
}

// PositionFilters choose positions.
type PositionFilters struct {
	Circuit string `query:"circuit" maxLength:"200" doc:"Only positions of circuits of this name."`
	Policy  string `query:"policy" maxLength:"200" doc:"Only positions held to this policy, their own or the site's."`
	Empty   bool   `query:"empty" doc:"Only positions without a hose."`
	CanHurt string `query:"can_hurt" enum:"true,false" doc:"Only positions where a burst can hurt someone, or only the others."`
	Exposed string `query:"exposed" enum:"true,false" doc:"Only exposed positions, or only the others."`
	Text    string `query:"text" maxLength:"200" doc:"Only positions in whose texts this stands."`
}

type positionsIn struct {
	Paging
	PositionFilters
	Site    string `query:"site" maxLength:"200" doc:"Only positions at this site."`
	Machine string `query:"machine" maxLength:"60" doc:"Only positions of the machine of this code."`
	Kind    string `query:"kind" maxLength:"200" doc:"Only positions of machines of this kind."`
}

type machinePositionsIn struct {
	Paging
	PositionFilters
	OfMachine
}

// OfPosition names a position in the path.
type OfPosition struct {
	Machine  string `path:"machine" doc:"Code of the machine."`
	Position string `path:"position" doc:"Name of the position."`
}

type newPositionIn struct {
	Write
	OfMachine
	Body PositionFields
}

type changePositionIn struct {
	Write
	OfPosition
	Body struct {
		PositionFields
		Version int    `json:"version" minimum:"1" doc:"The version that was read."`
		Reason  string `json:"reason,omitzero" maxLength:"4000" doc:"Why; needed for a milder policy."`
	}
}

type retirePositionIn struct {
	Write
	OfPosition
	Body WhyOn
}

type orderIn struct {
	Write
	OfMachine
	Body struct {
		Names []string `json:"names" minItems:"1" maxItems:"1000" nullable:"false" doc:"Names of positions in their order; those not named follow as they were."`
	}
}

type copyIn struct {
	Write
	OfMachine
	Body struct {
		From   string `json:"from,omitzero" maxLength:"60" doc:"Code of the machine to copy from; left out: the usual positions of its kind."`
		Worked bool   `json:"worked,omitzero" doc:"Copy how they are worked too, marked as assumed."`
	}
}

func (a *API) positions() {
	const tag = "machines"
	listed(a, op{"listPositions", http.MethodGet, "/positions", register.RightSee, tag, "List positions", "By machine and walking order."}, (*call).listPositions)
	listed(a, op{"listMachinePositions", http.MethodGet, "/machines/{machine}/positions", register.RightSee, tag, "List the positions of a machine", "In walking order."},
		func(k *call, in *machinePositionsIn, after string, limit int) ([]PositionLine, string, error) {
			if _, err := k.machine(in.Machine); err != nil {
				return nil, "", err
			}
			return k.listPositions(&positionsIn{PositionFilters: in.PositionFilters, Machine: in.Machine}, after, limit)
		})
	read(a, op{"getPosition", http.MethodGet, "/machines/{machine}/positions/{position}", register.RightSee, tag, "Get a position", "With how it is worked today."},
		func(k *call, in *OfPosition) (Position, error) { return k.position(*in) })
	write(a, op{"addPosition", http.MethodPost, "/machines/{machine}/positions", register.RightPlace, tag, "Add a position", ""}, func(k *call, in *newPositionIn) (change, error) {
		b := in.Body
		_, err := k.machine(in.Machine)
		return change{names: map[string]string{"position": "name"}, cmds: []register.Command{register.AddPosition{
			Machine: in.Machine, Circuit: b.Circuit, Name: b.Name, WalkOrder: b.WalkOrder, CanHurt: b.CanHurt, Exposed: b.Exposed, Twisted: b.Twisted,
			Policy: b.Policy, LengthMM: b.LengthMM, BendMM: b.BendMM, StraightMM: b.StraightMM, Note: b.Note,
		}}}, err
	})
	write(a, op{"changePosition", http.MethodPut, "/machines/{machine}/positions/{position}", register.RightPlace, tag, "Change a position", "Replaces all that is written of it; what is left out is taken away."}, (*call).changePosition)
	write(a, op{"retirePosition", http.MethodPost, "/machines/{machine}/positions/{position}/retire", register.RightPlan, tag, "Note that a position ceased to be", "It must be empty."},
		func(k *call, in *retirePositionIn) (change, error) {
			var r reader
			cmd := register.RetirePosition{Machine: in.Machine, Position: in.Position, On: r.day("on", in.Body.On), Reason: in.Body.Reason}
			_, err := k.position(in.OfPosition)
			return commands(cmd), firstOf(err, r.err())
		})
	write(a, op{"orderPositions", http.MethodPut, "/machines/{machine}/walking-order", register.RightPlace, tag, "Order the positions of a machine", ""},
		func(k *call, in *orderIn) (change, error) {
			_, err := k.machine(in.Machine)
			return commands(register.OrderPositions{Machine: in.Machine, Names: in.Body.Names}), err
		})
	write(a, op{"copyPositions", http.MethodPost, "/machines/{machine}/positions/copy", register.RightPlace, tag, "Copy positions from another machine or the kind", "Adds those the machine lacks."},
		func(k *call, in *copyIn) (change, error) {
			_, err := k.machine(in.Machine)
			if err == nil && in.Body.From != "" {
				_, err = k.machine(in.Body.From)
			}
			return commands(register.CopyPositions{Machine: in.Machine, From: in.Body.From, Worked: in.Body.Worked}), err
		})
}

func (k *call) listPositions(in *positionsIn, after string, limit int) ([]PositionLine, string, error) {
	page, err := k.Store.Positions(k.ctx, k.now, register.PositionFilter{
		Site: in.Site, Machine: in.Machine, Kind: in.Kind, Circuit: in.Circuit, Policy: in.Policy, Empty: in.Empty,
		CanHurt: yesOrNo(in.CanHurt), Exposed: yesOrNo(in.Exposed), Text: in.Text, After: after, Limit: limit,
	})
	return mapped(page.Lines, func(l register.PositionLine) PositionLine {
		return PositionLine{
			ID: l.ID, Site: l.Site, Machine: l.MachineCode, Name: l.Name, Circuit: l.Circuit, WalkOrder: l.WalkOrder, CanHurt: l.CanHurt, Exposed: l.Exposed,
			Policy: l.Policy, Assembly: l.AssemblyCode, Designation: l.Designation, Status: string(l.Status), ActBy: dayText(l.ActBy),
		}
	}), page.Next, err
}

// yesOrNo is what a filter of true or false says, nil if nothing.
func yesOrNo(text string) *bool {
	if text == "" {
		return nil
	}
	return ptr(text == "true")
}

func (k *call) position(at OfPosition) (Position, error) {
	sheet, err := k.Store.PositionSheet(k.ctx, k.now, at.Machine, at.Position)
	return positionOf(sheet), err
}

func positionOf(sheet register.PositionSheet) Position {
	p := sheet.Position
	out := Position{
		ID: p.ID, Machine: sheet.Machine.Code, GoneOn: dayText(p.GoneOn), GoneReason: p.GoneReason, Version: p.Version, Service: serviceValues(sheet.Service),
		PositionFields: PositionFields{
			Name: p.Name, Circuit: sheet.Circuit, WalkOrder: p.WalkOrder, CanHurt: p.CanHurt, Exposed: p.Exposed, Twisted: p.Twisted, Policy: sheet.Policy,
			LengthMM: p.LengthMM, BendMM: p.BendMM, StraightMM: p.StraightMM, Note: p.Note,
		},
	}
	if sheet.Line != nil {
		out.Assembly = sheet.Line.AssemblyCode
	}
	return out
}

func (k *call) changePosition(in *changePositionIn) (change, error) {
	sheet, err := k.Store.PositionSheet(k.ctx, k.now, in.Machine, in.Position)
	if err != nil {
		return change{}, err
	}
	p, b := sheet.Position, in.Body
	p.Name, p.CanHurt, p.Exposed, p.Twisted, p.Note, p.Version = b.Name, b.CanHurt, b.Exposed, b.Twisted, b.Note, b.Version
	p.LengthMM, p.BendMM, p.StraightMM = b.LengthMM, b.BendMM, b.StraightMM
	if b.WalkOrder > 0 {
		p.WalkOrder = b.WalkOrder
	}
	if p.CircuitID, err = k.circuitID(in.Machine, b.Circuit); err != nil {
		return change{}, err
	}
	if p.PolicyID, err = k.policyID(b.Policy); err != nil {
		return change{}, err
	}
	return change{
		cmds:    []register.Command{register.ChangePosition{Position: p, Reason: b.Reason}},
		current: func() (any, error) { return k.position(in.OfPosition) },
	}, nil
}

// circuitID is the number of a circuit of a machine, nil for none.
func (k *call) circuitID(machine, name string) (*int64, error) {
	if name == "" {
		return nil, nil
	}
	sheet, err := k.machine(machine)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(sheet.Circuits, func(v register.Circuit) bool { return strings.EqualFold(v.Name, name) }); i >= 0 {
		return &sheet.Circuits[i].ID, nil
	}
	return nil, notThereIn("circuit", "Machine "+sheet.Machine.Code+" has no circuit "+name+"; add it first or check its name.")
}

// policyID is the number of a policy, nil for none.
func (k *call) policyID(name string) (*int64, error) {
	if name == "" {
		return nil, nil
	}
	all, err := k.Store.Policies(k.ctx)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(all, func(v register.Policy) bool { return strings.EqualFold(v.Name, name) }); i >= 0 {
		return &all[i].ID, nil
	}
	return nil, notThereIn("policy", "There is no policy "+name+"; choose one of those the register has.")
}
