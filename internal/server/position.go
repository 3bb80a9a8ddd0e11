package server

import (
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// positionSheetOf is the position in the path.
func (s *Server) positionSheetOf(c echo.Context) (register.PositionSheet, error) {
	code, err := param(c, "code")
	if err != nil {
		return register.PositionSheet{}, err
	}
	name, err := param(c, "name")
	if err != nil {
		return register.PositionSheet{}, err
	}
	sheet, err := s.store(c).PositionSheet(c.Request().Context(), s.deps.Now(), code, name)
	if err == nil {
		err = s.hereToo(c, sheet.Site)
	}
	return sheet, wrap("find position", err)
}

func positionPath(machine, name string, more ...string) string {
	return web.Path(append([]string{"machines", machine, "positions", name}, more...)...)
}

func positionValues(st shownAs, sheet register.PositionSheet) *form {
	p := sheet.Position
	return newForm("name", p.Name, "circuit", sheet.Circuit, "order", orderText(p.WalkOrder), "hurt", yes(p.CanHurt), "exposed", yes(p.Exposed), "twisted", yes(p.Twisted),
		"policy", sheet.Policy, "length", st.mm(p.LengthMM), "bend", st.mm(p.BendMM), "straight", st.mm(p.StraightMM), "note", p.Note)
}

// positionGroups are the fields for a position.
func positionGroups(f *form, circuits []string, policies []register.Policy) []formGroup {
	return []formGroup{
		{
			Fields: []field{
				f.field("name", "Position").need().hint("The place where a hose belongs, such as lift cylinder, lower left."),
				f.field("circuit", "Circuit").suggest(circuits).hint("Such as lift, steering or return. A circuit that the kind of machine knows gives pressures to start with."),
				f.field("policy", "Policy").choose(policyOptions(policies, option{"", "as the site"})...),
				f.field("order", "Place in the walking order").decimal().hint("Empty: last."),
			},
			Ticks: []tick{
				f.tick("hurt", "A burst here can hurt someone").hint("Then dates are the earliest of their band, and less fatigue is allowed."),
				f.tick("exposed", "Exposed to abrasion, flexing, vibration, salt or hot spots").hint("Then it is inspected more often."),
				f.tick("twisted", "The hose is routed with a twist").hint("It is warned of beside the date."),
			},
		},
		{
			Title: "How the hose lies",
			Fields: []field{
				f.field("length", "Length of the assembly").hint(f.style.HintLength()),
				f.field("bend", "Tightest bend, radius").hint("As routed."),
				f.field("straight", "Straight length behind the fitting").hint("As routed."),
				f.field("note", "Note").lines(2).wide(),
			},
		},
	}
}

// machineCircuits are the circuits of a machine and those its kind knows.
func machineCircuits(sheet register.MachineSheet) []string {
	var names []string
	for _, v := range sheet.Circuits {
		names = append(names, v.Name)
	}
	for _, name := range register.StartingCircuits(sheet.Kind) {
		if chosen(names, name) == "" {
			names = append(names, name)
		}
	}
	return names
}

func (s *Server) newPosition(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.newPositionForm(c, sheet, s.newForm(c, "name", query(c, "name"), "circuit", query(c, "circuit")))
}

func (s *Server) newPositionForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	policies, err := s.store(c).Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	path := web.Path("machines", sheet.Machine.Code)
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, "Add a position to "+sheet.Machine.Code, sheet), Action: path + "/positions/new", Cancel: path,
		Button: "Add the position", Buttons: []formButton{{"next", "Add it, then the next one"}},
		Groups: positionGroups(f, machineCircuits(sheet), policies),
	})
}

func (s *Server) addPosition(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		p := register.AddPosition{
			Machine: sheet.Machine.Code, Name: f.needed("name", "Give the position a name."), Circuit: f.text("circuit"), Policy: f.text("policy"), Note: f.text("note"),
			CanHurt: f.ticked("hurt"), Exposed: f.ticked("exposed"), Twisted: f.ticked("twisted"),
			LengthMM: f.length("length", "Length"), BendMM: f.length("bend", "Tightest bend"), StraightMM: f.length("straight", "Straight length"),
		}
		if n := f.number("order"); n != nil {
			p.WalkOrder = *n
		}
		_, saved, err := s.save(c, f, atOnce, positionNames(), p)
		if err != nil {
			return "", wrap("add position", err)
		}
		path := web.Path("machines", sheet.Machine.Code)
		switch {
		case !saved:
			return "", s.newPositionForm(c, sheet, f)
		case f.do() == "next":
			return withDone(address(path+"/positions/new", "circuit", p.Circuit), positionAdded), nil
		}
		return withDone(path, positionAdded), nil
	})
}

func (s *Server) editPosition(c echo.Context) error {
	sheet, err := s.positionSheetOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(positionValues(shownAs{s.style(c)}, sheet), sheet.Position.Version)
	return s.positionForm(c, sheet, f, nil)
}

func (s *Server) positionBase(c echo.Context, title string, sheet register.PositionSheet) Base {
	b := s.base(c, "machines", title)
	b.Site, b.Machine, b.Today, b.May = sheet.Site.Name, sheet.Machine.Code, sheet.Today, s.mayAt(c, sheet.Site.ID)
	return b
}

// positionForm shows the form that changes a position.
func (s *Server) positionForm(c echo.Context, sheet register.PositionSheet, f *form, view *previewView) error {
	ctx := c.Request().Context()
	policies, err := s.store(c).Policies(ctx)
	if err != nil {
		return wrap("list policies", err)
	}
	machine, err := s.store(c).MachineSheet(ctx, s.deps.Now(), sheet.Machine.Code)
	if err != nil {
		return wrap("find machine", err)
	}
	code, name := sheet.Machine.Code, sheet.Position.Name
	page := formPage{
		Base: s.positionBase(c, name+", "+code, sheet), Action: positionPath(code, name, "edit"), Cancel: web.Path("machines", code),
		Button: "Save the position", Preview: view, Previews: true, Groups: positionGroups(f, machineCircuits(machine), policies), Safety: safetyLines(),
		Links: []formLink{{address(web.Path("machines", code, "conditions", "new"), "position", name), "How it is worked"}, {historyPath("positions", sheet.Position.ID), "History"}},
	}
	page.Groups[0].Fields = append(page.Groups[0].Fields, whyMilder(f))
	if sheet.Line != nil {
		page.Lead = []string{"Assembly " + sheet.Line.AssemblyCode + " sits here. The place stays when the hose is changed."}
		page.Links = append(page.Links, formLink{web.Path("assemblies", sheet.Line.AssemblyCode), "Assembly " + sheet.Line.AssemblyCode})
	} else if sheet.Position.GoneOn.IsZero() {
		page.Lead = []string{"Nothing sits here."}
		page.Links = append(page.Links, formLink{positionPath(code, name, "end"), "This place is no more"})
	}
	if p := sheet.Position; !p.GoneOn.IsZero() {
		page.Lead = []string{"This place ceased to be on " + s.style(c).Date(p.GoneOn) + ": " + p.GoneReason}
	}
	return s.showForm(c, f, page)
}

func (s *Server) changePosition(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.positionSheetOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(positionValues(shownAs{s.style(c)}, sheet), sheet.Position.Version) {
			return "", s.positionForm(c, sheet, f, nil)
		}
		cmds, err := s.positionCommands(c, f, sheet)
		if err != nil {
			return "", err
		}
		view, saved, err := s.save(c, f, previewed, positionNames(), cmds...)
		if err != nil {
			return "", wrap("change position", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), positionChanged), nil
		}
		return "", s.positionForm(c, sheet, f, view)
	})
}

// positionCommands are the changes that a form for a position asks for: a
// circuit the machine lacks is added and named, as it has no id yet.
func (s *Server) positionCommands(c echo.Context, f *form, sheet register.PositionSheet) ([]register.Command, error) {
	ctx := c.Request().Context()
	policies, err := s.store(c).Policies(ctx)
	if err != nil {
		return nil, wrap("list policies", err)
	}
	machine, err := s.store(c).MachineSheet(ctx, s.deps.Now(), sheet.Machine.Code)
	if err != nil {
		return nil, wrap("find machine", err)
	}
	p := sheet.Position
	p.Name, p.Note = f.needed("name", "Give the position a name."), f.text("note")
	p.CanHurt, p.Exposed, p.Twisted = f.ticked("hurt"), f.ticked("exposed"), f.ticked("twisted")
	p.LengthMM = kept(f, "length", p.LengthMM, func() *float64 { return f.length("length", "Length") })
	p.BendMM = kept(f, "bend", p.BendMM, func() *float64 { return f.length("bend", "Tightest bend") })
	p.StraightMM = kept(f, "straight", p.StraightMM, func() *float64 { return f.length("straight", "Straight length") })
	p.WalkOrder = 0
	if n := f.number("order"); n != nil {
		p.WalkOrder = *n
	}
	p.PolicyID = policyID(policies, f.text("policy"))
	if f.text("policy") != "" && p.PolicyID == nil {
		f.wrong("policy", "There is no such policy; choose one of the list.")
	}
	circuit := f.text("circuit")
	i := slices.IndexFunc(machine.Circuits, func(v register.Circuit) bool { return strings.EqualFold(v.Name, circuit) })
	switch {
	case circuit == "":
		p.CircuitID = nil
	case i >= 0:
		p.CircuitID = &machine.Circuits[i].ID
	default:
		return []register.Command{
			register.AddCircuit{Machine: sheet.Machine.Code, Name: circuit},
			register.ChangePosition{Position: p, Reason: f.text("reason")},
			register.ChangePositions{Positions: []int64{p.ID}, Circuit: &circuit},
		}, nil
	}
	return []register.Command{register.ChangePosition{Position: p, Reason: f.text("reason")}}, nil
}

// endForm asks when and why a place ceased to be.
func (s *Server) endForm(c echo.Context, sheet register.PositionSheet, f *form) error {
	code, name := sheet.Machine.Code, sheet.Position.Name
	return s.showForm(c, f, formPage{
		Base: s.positionBase(c, name+", "+code+" is no more", sheet), Action: positionPath(code, name, "end"), Cancel: web.Path("machines", code), Button: "End the position",
		Lead: []string{"For a place that ceased to be, as when a machine is rebuilt. What was fitted there stays in the life story of its assemblies."},
		Groups: []formGroup{{Fields: []field{
			f.field("on", "Day").need().hint(f.style.HintDate()),
			f.field("reason", "Why").need().hint("Such as: cylinder taken out."),
		}}},
	})
}

func (s *Server) newEnd(c echo.Context) error {
	sheet, err := s.positionSheetOf(c)
	if err != nil {
		return err
	}
	return s.endForm(c, sheet, s.newForm(c, "on", s.style(c).Date(sheet.Today)))
}

func (s *Server) endPosition(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.positionSheetOf(c)
		if err != nil {
			return "", err
		}
		f.needed("on", "Give the day.")
		cmd := register.RetirePosition{Machine: sheet.Machine.Code, Position: sheet.Position.Name, On: f.day("on"), Reason: f.needed("reason", "Say why the place is no more.")}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("end position", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), positionEnded), nil
		}
		return "", s.endForm(c, sheet, f)
	})
}
