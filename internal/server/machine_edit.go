package server

import (
	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// machineValues are the fields of a form for a machine.
func machineValues(sheet register.MachineSheet) *form {
	m := sheet.Machine
	return newForm("code", m.Code, "name", m.Name, "site", sheet.Site.Name, "kind", sheet.Kind, "serial", m.Serial,
		"planned", numberText(m.PlannedHoursPerWeek, 3), "hurt", yes(m.CanHurt), "note", m.Note)
}

// machineFields are the fields for a machine, new or changed.
func machineFields(f *form, sites []register.Site, kinds []register.Kind) []field {
	return []field{
		f.field("code", "Machine code").need().hint("What people call it, such as RT-04. No other machine has it."),
		f.field("name", "Name").hint("What it is, such as refuse truck, rear loader."),
		f.field("site", "Site").need().suggest(siteNames(sites)).hint("Where it belongs. A new name adds a new site."),
		f.field("kind", "Kind of machine").suggest(kindNames(kinds)).hint("A kind gives starting values for pressure and temperature, and usual positions; a new name gives none."),
		f.field("serial", "Serial number"),
		f.field("planned", "Planned hours per week").decimal().hint("Used until hour-meter readings say better."),
		f.field("note", "Note").lines(2).wide(),
	}
}

func hurtTick(f *form) tick {
	return f.tick("hurt", "A burst on this machine can hurt someone").hint("Then dates are the earliest of their band, and less fatigue is allowed.")
}

func siteNames(list []register.Site) []string {
	names := make([]string, len(list))
	for i, v := range list {
		names[i] = v.Name
	}
	return names
}

func kindNames(list []register.Kind) []string {
	names := make([]string, len(list))
	for i, v := range list {
		names[i] = v.Name
	}
	return names
}

// sitesAndKinds are all sites and kinds of machines.
func (s *Server) sitesAndKinds(c echo.Context) ([]register.Site, []register.Kind, error) {
	sites, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return nil, nil, wrap("list sites", err)
	}
	kinds, err := s.store(c).Kinds(c.Request().Context())
	return sites, kinds, wrap("list kinds of machines", err)
}

// siteCommand adds the site a form names if the register lacks it; none if it
// has it. The name of a site that is there is taken as it is written there.
func (s *Server) siteCommand(f *form, sites []register.Site) (name string, cmds []register.Command, err error) {
	name = f.needed("site", "Say which site it belongs to.")
	if have := chosen(siteNames(sites), name); have != "" || name == "" {
		return have, nil, nil
	}
	site := register.AddSite{Name: name, Zone: s.deps.Zone.String()}
	if err := site.Check(); err != nil {
		return name, nil, f.refuse(err, map[string]string{"name": "site"})
	}
	return name, []register.Command{site}, nil
}

func (s *Server) machineEditForm(c echo.Context, sheet register.MachineSheet, f *form, view *previewView) error {
	sites, kinds, err := s.sitesAndKinds(c)
	if err != nil {
		return err
	}
	path := web.Path("machines", sheet.Machine.Code)
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, "Change "+sheet.Machine.Code, sheet), Action: path + "/edit", Cancel: path, Button: "Save the machine", Preview: view, Previews: true,
		Groups: []formGroup{{Fields: machineFields(f, sites, kinds), Ticks: []tick{hurtTick(f)}}},
		Safety: safetyLines(),
	})
}

func (s *Server) editMachine(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(machineValues(sheet), sheet.Machine.Version)
	return s.machineEditForm(c, sheet, f, nil)
}

func (s *Server) changeMachine(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(machineValues(sheet), sheet.Machine.Version) {
			return "", s.machineEditForm(c, sheet, f, nil)
		}
		cmds, code, err := s.machineCommands(c, f, sheet)
		if err != nil {
			return "", err
		}
		view, saved, err := s.save(c, f, previewed, map[string]string{"planned_hours_per_week": "planned"}, cmds...)
		if err != nil {
			return "", wrap("change machine", err)
		}
		if saved {
			return withDone(web.Path("machines", code), machineChanged), nil
		}
		return "", s.machineEditForm(c, sheet, f, view)
	})
}

// machineCommands are the changes that a form for a machine asks for: the site
// and the kind if they are new, then the machine.
func (s *Server) machineCommands(c echo.Context, f *form, sheet register.MachineSheet) (cmds []register.Command, code string, err error) {
	sites, kinds, err := s.sitesAndKinds(c)
	if err != nil {
		return nil, "", err
	}
	m := sheet.Machine
	m.Code, m.Name, m.Serial, m.Note = f.needed("code", "Give the machine a code."), f.text("name"), f.text("serial"), f.text("note")
	m.PlannedHoursPerWeek = kept(f, "planned", m.PlannedHoursPerWeek, func() *float64 { return f.hours("planned") })
	m.CanHurt = f.ticked("hurt")
	site, cmds, err := s.siteCommand(f, sites)
	if err != nil {
		return nil, "", err
	}
	var byName register.ChangeMachines // what is new has no id yet
	if len(cmds) > 0 {
		byName.Site = &site
	}
	for _, v := range sites {
		if v.Name == site {
			m.SiteID = v.ID
		}
	}
	kind := f.text("kind")
	switch have := chosen(kindNames(kinds), kind); {
	case kind == "":
		m.KindID = nil
	case have == "":
		cmds, byName.Kind = append(cmds, register.AddKind{Name: kind}), &kind
	default:
		for i := range kinds {
			if kinds[i].Name == have {
				m.KindID = &kinds[i].ID
			}
		}
	}
	cmds = append(cmds, register.ChangeMachine{Machine: m})
	if byName.Site != nil || byName.Kind != nil {
		byName.Machines = []int64{m.ID}
		cmds = append(cmds, byName)
	}
	return cmds, m.Code, nil
}

// leaveForm asks when and why a machine leaves the fleet.
func (s *Server) leaveForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	path := web.Path("machines", sheet.Machine.Code)
	lead := []string{"The machine then stands on no list and nothing can be noted for it any more. Its page and its history stay."}
	if n := len(sheet.Lines); n > 0 {
		lead = append(lead, "What sits on it goes with it: "+web.Count(n, "hose assembly is", "hose assemblies are")+" noted as removed on that day, planned, and scrapped. What you want to keep, put back in store first.")
	}
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, sheet.Machine.Code+" leaves the fleet", sheet), Lead: lead, Action: path + "/leave", Cancel: path, Button: "Take it out of the fleet",
		Groups: []formGroup{{Fields: []field{
			f.field("on", "Day").need().hint(f.style.HintDate()),
			f.field("reason", "Why").need().hint("Sold, handed back, broken up."),
		}}},
	})
}

func (s *Server) newLeave(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.leaveForm(c, sheet, s.newForm(c, "on", s.style(c).Date(sheet.Today)))
}

func (s *Server) leave(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		f.needed("on", "Give the day it leaves.")
		cmd := register.RetireMachine{Machine: sheet.Machine.Code, On: f.day("on"), Reason: f.needed("reason", "Say why it leaves: sold, handed back, broken up.")}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("take machine out of the fleet", err)
		}
		if saved {
			return withDone(web.Path("machines", sheet.Machine.Code), machineGone), nil
		}
		return "", s.leaveForm(c, sheet, f)
	})
}

// returnForm asks why a machine that left is in the fleet again.
func (s *Server) returnForm(c echo.Context, sheet register.MachineSheet, f *form) error {
	path := web.Path("machines", sheet.Machine.Code)
	return s.showForm(c, f, formPage{
		Base: s.machineBase(c, sheet.Machine.Code+" comes back", sheet), Action: path + "/return", Cancel: path, Button: "Take it back into the fleet",
		Lead:   []string{"The machine and its positions are in the fleet again. What sat on it stays scrapped: note what is fitted now, position by position."},
		Groups: []formGroup{{Fields: []field{f.field("reason", "Why").need().wide().hint("Bought back, or it never left. It is added to the note of the machine.")}}},
	})
}

func (s *Server) newReturn(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.returnForm(c, sheet, s.newForm(c))
}

func (s *Server) comeBack(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		m := sheet.Machine
		path := web.Path("machines", m.Code)
		if m.GoneOn.IsZero() {
			return path, nil // it is back already
		}
		reason := f.needed("reason", "Say why it is in the fleet again.")
		_, saved, err := s.save(c, f, atOnce, map[string]string{"note": "reason"}, register.ChangeMachine{Machine: m.Returned(sheet.Today, reason)})
		if err != nil {
			return "", wrap("take machine back into the fleet", err)
		}
		if saved {
			return withDone(path, machineBack), nil
		}
		return "", s.returnForm(c, sheet, f)
	})
}
