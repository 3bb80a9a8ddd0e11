package server

import (
	"context"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// machineStore is what the pages of machines ask of the register.
type machineStore interface {
	MachineLines(ctx context.Context, now time.Time, f register.MachineFilter) ([]register.MachineLine, string, error)
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	Sites(ctx context.Context) ([]register.Site, error)
	Kinds(ctx context.Context) ([]register.Kind, error)
	Policies(ctx context.Context) ([]register.Policy, error)
	Apply(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Result, error)
}

// machinesPage is the list of machines.
type machinesPage struct {
	Base
	Filters  []field
	Machines []machineLine
	Next     string
	First    string
	Clear    string
}

// machineLine is one machine of the list.
type machineLine struct {
	register.MachineLine
	Title string
	Worst []countRow // what is pressing on it
}

func (s *Server) machines(c echo.Context) error {
	ctx := c.Request().Context()
	f := newForm("site", query(c, "site"), "kind", query(c, "kind"), "text", query(c, "text"))
	after := query(c, "after")
	list, next, err := s.deps.Store.MachineLines(ctx, s.deps.Now(), register.MachineFilter{
		Site: f.text("site"), Kind: f.text("kind"), Text: f.text("text"), After: after, Limit: 100,
	})
	if err != nil {
		return wrap("list machines", err)
	}
	sites, err := s.deps.Store.Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	kinds, err := s.deps.Store.Kinds(ctx)
	if err != nil {
		return wrap("list kinds of machines", err)
	}
	page := machinesPage{Base: s.base(c, "machines", "Machines")}
	page.Site = knownSite(sites, f.text("site"))
	if field := siteField(sites, f.text("site")); field != nil {
		page.Filters = append(page.Filters, *field)
	}
	choice := []option{{"", "all"}}
	for _, k := range kinds {
		choice = append(choice, option{k.Name, k.Name})
	}
	page.Filters = append(page.Filters, f.field("kind", "Kind of machine").choose(choice...), f.field("text", "Search"))
	for _, m := range list {
		page.Machines = append(page.Machines, machineLine{MachineLine: m, Title: machineTitle(m.Machine.Code, m.Machine.Name), Worst: worst(m.Counts)})
	}
	pairs := []string{"site", f.text("site"), "kind", f.text("kind"), "text", f.text("text")}
	if next != "" {
		page.Next = address("/machines", append(pairs, "after", next)...)
	}
	if after != "" {
		page.First = address("/machines", pairs...)
	}
	if address("/machines", pairs...) != "/machines" {
		page.Clear = "/machines"
	}
	return s.show(c, "machines", page)
}

// worst is what is pressing on a machine, with its count.
func worst(n register.Counts) []countRow {
	var rows []countRow
	for _, r := range []countRow{
		{N: n.Stop, Status: life.StatusStop},
		{N: n.Overdue, Status: life.StatusOverdue},
		{N: n.Soon, Status: life.StatusSoon},
		{N: n.Incomplete, Word: "incomplete"},
	} {
		if r.N > 0 {
			rows = append(rows, r)
		}
	}
	return rows
}

// machinePage is one machine: its positions in walking order, its readings,
// how it is worked.
type machinePage struct {
	Base
	Sheet    register.MachineSheet
	Lines    []line
	Stopped  bool // a stop finding is open on it
	Readings []register.Reading
	More     int // readings not shown
	Hours    *float64
	PerWeek  *float64
	Service  []conditionRow
	Safety   []string
}

// conditionRow is one row of service conditions in words.
type conditionRow struct {
	Where string
	From  quantity.Date
	Basis register.Basis
	Says  []string
	Note  string
}

// shownReadings is how many readings the page of a machine shows.
const shownReadings = 12

func (s *Server) machine(c echo.Context) error {
	code, err := param(c, "code")
	if err != nil {
		return err
	}
	sheet, err := s.deps.Store.MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return wrap("show machine", err)
	}
	page := machinePage{Base: s.base(c, "machines", machineTitle(sheet.Machine.Code, sheet.Machine.Name)), Sheet: sheet, Safety: safetyLines()}
	page.Site, page.Machine, page.Today = sheet.Site.Name, sheet.Machine.Code, sheet.Today
	axis := axisOf(sheet.Today, sheet.Lines...)
	for i, l := range sheet.Lines {
		v := lineOf(l)
		v.Strip = strip(stripID(i), axis, l, sheet.Inspected[l.AssemblyCode])
		page.Lines = append(page.Lines, v)
		page.Stopped = page.Stopped || l.Status == life.StatusStop
		if page.PerWeek == nil {
			page.PerWeek, page.Hours = l.Estimate.HoursPerWeek, l.Estimate.HoursNow
		}
	}
	page.Readings = sheet.Readings
	if n := len(sheet.Readings); n > shownReadings {
		page.Readings, page.More = sheet.Readings[:shownReadings], n-shownReadings
	}
	page.Service = conditionRows(sheet)
	return s.show(c, "machine", page)
}

// conditionRows puts the service conditions of a machine into words, the
// newest first.
func conditionRows(sheet register.MachineSheet) []conditionRow {
	circuits := map[int64]string{}
	for _, c := range sheet.Circuits {
		circuits[c.ID] = c.Name
	}
	var rows []conditionRow
	for _, c := range sheet.Conditions {
		row := conditionRow{Where: "whole machine", From: c.From, Basis: c.Basis, Note: c.Note, Says: serviceWords(c.Service)}
		if c.Level == register.AtCircuit {
			row.Where = "circuit " + circuits[c.OwnerID]
		}
		rows = append(rows, row)
	}
	slices.SortStableFunc(rows, func(a, b conditionRow) int { return b.From.Compare(a.From) })
	return rows
}

// serviceWords says what a row of service conditions says.
func serviceWords(v register.Service) []string {
	var says []string
	add := func(what string, value *float64, print func(*float64) string) {
		if value != nil {
			says = append(says, what+" "+print(value))
		}
	}
	add("fluid", v.FluidC, web.Celsius)
	add("surroundings", v.SurroundingsC, web.Celsius)
	if v.AlwaysHot != nil && *v.AlwaysHot {
		says = append(says, "surroundings hot around the clock")
	}
	for _, t := range v.Temperatures {
		says = append(says, web.Celsius(&t.C)+" for "+web.Percent(&t.Share)+" of running time")
	}
	add("working pressure", v.WorkingBar, web.Bar)
	add("adapter rated", v.AdapterBar, web.Bar)
	for _, y := range v.Cycles {
		per := "running hour"
		if y.Per != "" {
			per = y.Per
		}
		says = append(says, web.Bar(&y.MinBar)+" to "+web.Bar(&y.MaxBar)+", "+web.Number(y.Count, 2)+" per "+per)
	}
	if v.NoCycles != nil && *v.NoCycles {
		says = append(says, "no pressure cycles")
	}
	if v.Recorded != nil && *v.Recorded {
		says = append(says, "from a recorded pressure log")
	}
	if !v.AssessedOn.IsZero() {
		says = append(says, "working over rating assessed on "+v.AssessedOn.String())
	}
	return says
}

// newMachinePage is the form for one machine.
type newMachinePage struct {
	Base
	Problems []problem
	Fields   []field
	Ticks    []tick
}

func (s *Server) newMachine(c echo.Context) error {
	return s.machineForm(c, newForm("site", query(c, "site")))
}

// machineForm shows the form for one machine, with status 422 where something
// is wrong with it.
func (s *Server) machineForm(c echo.Context, f *form) error {
	ctx := c.Request().Context()
	sites, err := s.deps.Store.Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	kinds, err := s.deps.Store.Kinds(ctx)
	if err != nil {
		return wrap("list kinds of machines", err)
	}
	if len(sites) == 1 {
		f.set("site", sites[0].Name)
	}
	var siteNames, kindNames []string
	for _, v := range sites {
		siteNames = append(siteNames, v.Name)
	}
	for _, v := range kinds {
		kindNames = append(kindNames, v.Name)
	}
	page := newMachinePage{Base: s.base(c, "machines", "Add a machine"), Problems: f.Problems}
	page.Fields = []field{
		f.field("code", "Machine code").need().hint("What people call it, such as RT-04. No other machine has it."),
		f.field("name", "Name").hint("What it is, such as refuse truck, rear loader."),
		f.field("site", "Site").need().suggest(siteNames).hint("Where it belongs. A new name adds a new site."),
		f.field("kind", "Kind of machine").suggest(kindNames).hint("Kinds of the list give starting values for pressure and temperature; another name gives none."),
		f.field("serial", "Serial number"),
		f.field("planned", "Planned hours per week").decimal().hint("Used until hour-meter readings say better."),
		f.field("note", "Note").lines(2).wide(),
	}
	page.Ticks = []tick{f.tick("hurt", "A burst on this machine can hurt someone").hint("Then dates are the earliest of their band, and less fatigue is allowed.")}
	return s.renderForm(c, f, "machine_new", page)
}

// renderForm renders a form's page, with status 422 where something is wrong.
func (s *Server) renderForm(c echo.Context, f *form, name string, page any) error {
	if !f.ok() {
		return s.render(c, 422, name, page)
	}
	return s.show(c, name, page)
}

func (s *Server) addMachine(c echo.Context) error {
	ctx := c.Request().Context()
	f, err := readForm(c)
	if err != nil {
		return err
	}
	m := register.AddMachine{
		Code: f.needed("code", "Give the machine a code."), Name: f.text("name"), Site: f.needed("site", "Say which site it belongs to."), Kind: f.text("kind"),
		Serial: f.text("serial"), Note: f.text("note"), PlannedHoursPerWeek: f.hours("planned"), CanHurt: f.ticked("hurt"),
	}
	if !f.ok() {
		return s.machineForm(c, f)
	}
	sites, err := s.deps.Store.Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	var cmds []register.Command
	if !slices.ContainsFunc(sites, func(v register.Site) bool { return v.Name == m.Site }) {
		site := register.AddSite{Name: m.Site, Zone: s.deps.Zone.String()}
		if err := f.refuse(site.Check(), map[string]string{"name": "site"}); err != nil {
			return wrap("check site", err)
		}
		if !f.ok() {
			return s.machineForm(c, f)
		}
		cmds = append(cmds, site)
	}
	if _, err := s.apply(c, append(cmds, m)...); err != nil {
		if err := f.refuse(err, map[string]string{"planned_hours_per_week": "planned"}); err != nil {
			return wrap("add machine", err)
		}
		return s.machineForm(c, f)
	}
	return done(c, web.Path("machines", m.Code), machineAdded)
}
