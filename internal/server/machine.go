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
	Keep     string        // address to keep this list by
	Kept     []hiddenValue // the filters, for the form around the lines
	All      string        // address to change all of the list
	Files    listFiles
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
	list, next, err := s.store(c).MachineLines(ctx, s.deps.Now(), register.MachineFilter{
		Site: f.text("site"), Kind: f.text("kind"), Text: f.text("text"), After: after, Limit: 100,
	})
	if err != nil {
		return wrap("list machines", err)
	}
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	kinds, err := s.store(c).Kinds(ctx)
	if err != nil {
		return wrap("list kinds of machines", err)
	}
	page := machinesPage{Base: s.base(c, "machines", "Machines")}
	page.Site = knownSite(sites, f.text("site"))
	if field := siteField(sites, f.text("site")); field != nil {
		page.Filters = append(page.Filters, *field)
	}
	page.Filters = append(page.Filters, f.field("kind", "Kind of machine").choose(choiceOf("all", kindNames(kinds))...), f.field("text", "Search"))
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
	page.Files = filesOf(address("/machines", pairs...))
	if address("/machines", pairs...) != "/machines" {
		page.Clear = "/machines"
	}
	page.Keep, page.Kept = address("/machines", pairs...), f.hidden(machineFilterNames()...)
	page.All = address("/machines/change", append(pairs, "all", "yes")...)
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
	OutOfUse *register.LayUp // lasting today; nil if it is in use
	Safety   []string
}

// conditionRow is one row of service conditions in words.
type conditionRow struct {
	ID    int64
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
	sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return wrap("show machine", err)
	}
	page := machinePage{Base: s.base(c, "machines", machineTitle(sheet.Machine.Code, sheet.Machine.Name)), Sheet: sheet, Safety: safetyLines()}
	page.Site, page.Machine, page.Today, page.May = sheet.Site.Name, sheet.Machine.Code, sheet.Today, s.mayAt(c, sheet.Site.ID)
	st := s.style(c)
	axis := axisOf(sheet.Today, sheet.Lines...)
	for i, l := range sheet.Lines {
		v := lineOf(st, l)
		v.Strip = strip(st, stripID(i), axis, l, sheet.Inspected[l.AssemblyCode])
		page.Lines = append(page.Lines, v)
		page.Stopped = page.Stopped || l.Status == life.StatusStop
		if page.PerWeek == nil {
			page.PerWeek, page.Hours = l.Estimate.HoursPerWeek, l.Estimate.HoursNow
		}
	}
	page.Readings = sheet.Readings
	if n := len(sheet.Readings); n > shownReadings && query(c, "readings") != "all" {
		page.Readings, page.More = sheet.Readings[:shownReadings], n-shownReadings
	}
	for i, l := range sheet.LayUps {
		if l.To.IsZero() && !l.From.After(sheet.Today) {
			page.OutOfUse = &sheet.LayUps[i]
		}
	}
	page.Service = conditionRows(st, sheet)
	return s.show(c, "machine", page)
}

// conditionRows puts the service conditions of a machine into words, the
// newest first.
func conditionRows(st web.Style, sheet register.MachineSheet) []conditionRow {
	circuits := map[int64]string{}
	for _, c := range sheet.Circuits {
		circuits[c.ID] = c.Name
	}
	var rows []conditionRow
	for _, c := range sheet.Conditions {
		row := conditionRow{ID: c.ID, Where: "whole machine", From: c.From, Basis: c.Basis, Note: c.Note, Says: serviceWords(st, c.Service)}
		if c.Level == register.AtCircuit {
			row.Where = "circuit " + circuits[c.OwnerID]
		}
		rows = append(rows, row)
	}
	slices.SortStableFunc(rows, func(a, b conditionRow) int { return b.From.Compare(a.From) })
	return rows
}

// renderForm renders a form's page, with status 422 where something is wrong,
// or that of a trouble that kept the register from taking it.
func (s *Server) renderForm(c echo.Context, f *form, name string, page any) error {
	if f.trouble != nil {
		s.deps.Log.Error("form not taken", "id", requestID(c), "error", f.trouble)
		status, _ := trouble(f.trouble)
		return s.render(c, status, name, page)
	}
	if !f.ok() {
		return s.render(c, 422, name, page)
	}
	return s.show(c, name, page)
}
