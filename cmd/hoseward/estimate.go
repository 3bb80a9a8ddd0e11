package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// estimateCommand re-estimates the register, then lists what is due.
type estimateCommand struct {
	AsOf    string `name:"as-of" placeholder:"DATE" help:"Estimate as of this day and list; nothing is stored then. Today if not given."`
	Site    string `placeholder:"NAME" help:"Only this site."`
	Machine string `placeholder:"CODE" help:"Only this machine."`
	Within  int    `placeholder:"DAYS" default:"-1" help:"Only what is due within so many days, overdue ones included, and whatever is incomplete. All if not given."`
	output
}

// dueLine is one line of the list for programs.
type dueLine struct {
	Site          string        `json:"site"`
	Machine       string        `json:"machine"`
	Position      string        `json:"position"`
	Assembly      string        `json:"assembly"`
	Designation   string        `json:"designation"`
	DN            int           `json:"dn"`
	Status        life.Status   `json:"status"`
	Complete      bool          `json:"complete"`
	ActBy         quantity.Date `json:"act_by"`
	Due           quantity.Date `json:"due"`
	Earliest      quantity.Date `json:"earliest"`
	Latest        quantity.Date `json:"latest"`
	Governing     string        `json:"governing"`
	InspectionDue quantity.Date `json:"inspection_due"`
	Missing       []string      `json:"missing"`
	Problem       string        `json:"problem"`
}

// Run estimates and lists.
func (c estimateCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	if c.Within < -1 {
		return badCall(fmt.Errorf("--within %d: give a number of days, 0 or more", c.Within))
	}
	reg, err := openExisting(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	if err := c.known(ctx, reg); err != nil {
		return err
	}
	var lines []dueLine
	list := func(now time.Time, from lister) error {
		lines, err = c.list(ctx, from, now)
		return err
	}
	if c.AsOf == "" {
		now := m.Now()
		if _, err := reg.ReestimateAll(ctx, now, func(int, int) {}); err != nil {
			return fmt.Errorf("estimate the register: %w", err)
		}
		err = list(now, reg)
	} else {
		day, parseErr := quantity.ParseDate(c.AsOf)
		if parseErr != nil {
			return badCall(fmt.Errorf("--as-of: %w", parseErr))
		}
		now := day.In(time.UTC).Add(12 * time.Hour)
		err = reg.Rehearse(ctx, now, func(r *store.Rehearsal) error { return list(now, r) })
	}
	if err != nil {
		return fmt.Errorf("list what is due: %w", err)
	}
	return c.write(m, lines)
}

// known refuses a site or machine that the register does not have: an empty
// list would look as if nothing were due.
func (c estimateCommand) known(ctx context.Context, reg *store.Store) error {
	if c.Machine != "" {
		codes, err := reg.MachineCodes(ctx)
		if err != nil {
			return fmt.Errorf("look for machine %s: %w", c.Machine, err)
		}
		if !slices.Contains(codes, c.Machine) {
			return badData(fmt.Errorf("there is no machine %q in the register; write its code as the register has it", c.Machine))
		}
	}
	if c.Site != "" {
		sites, err := reg.Sites(ctx)
		if err != nil {
			return fmt.Errorf("look for site %s: %w", c.Site, err)
		}
		if !slices.ContainsFunc(sites, func(s register.Site) bool { return s.Name == c.Site }) {
			return badData(fmt.Errorf("there is no site %q in the register; write its name as the register has it", c.Site))
		}
	}
	return nil
}

// list is what the flags choose: open stops first, then what is overdue, then
// what is incomplete, whatever its date, then the rest by date. A date that
// lacks data may be too late, so no choice of days hides it.
func (c estimateCommand) list(ctx context.Context, from lister, now time.Time) ([]dueLine, error) {
	f := register.LineFilter{Site: c.Site, Machine: c.Machine, Incomplete: true}
	incomplete, err := allLines(ctx, from, now, f)
	if err != nil {
		return nil, err
	}
	f.Incomplete = false
	if c.Within >= 0 {
		f.WithinDays = &c.Within
	}
	chosen, err := allLines(ctx, from, now, f)
	if err != nil {
		return nil, err
	}
	chosen = slices.DeleteFunc(chosen, func(l dueLine) bool { return !l.Complete })
	all := append(incomplete, chosen...)
	slices.SortStableFunc(all, func(a, b dueLine) int {
		if d := a.rank() - b.rank(); d != 0 {
			return d
		}
		return a.date().Compare(b.date())
	})
	return all, nil
}

// date is the day to act by, the last there is for none.
func (l *dueLine) date() quantity.Date {
	if l.ActBy.IsZero() {
		return quantity.MaxDate
	}
	return l.ActBy
}

func (l *dueLine) rank() int {
	switch {
	case l.Status == life.StatusStop:
		return 0
	case l.Status == life.StatusOverdue:
		return 1
	case !l.Complete:
		return 2
	}
	return 3
}

// lister gives pages of the due list.
type lister interface {
	Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error)
}

func allLines(ctx context.Context, from lister, now time.Time, f register.LineFilter) ([]dueLine, error) {
	f.Limit = 1000
	lines := []dueLine{}
	for {
		page, err := from.Lines(ctx, now, f)
		if err != nil {
			return nil, err
		}
		for i := range page.Lines {
			lines = append(lines, dueLineOf(&page.Lines[i]))
		}
		if page.Next == "" {
			return lines, nil
		}
		f.After = page.Next
	}
}

func dueLineOf(l *register.Line) dueLine {
	e := &l.Estimate
	missing := []string(e.Missing)
	if missing == nil {
		missing = []string{}
	}
	return dueLine{
		Site: l.Site, Machine: l.MachineCode, Position: l.Position, Assembly: l.AssemblyCode,
		Designation: l.Designation, DN: l.DN, Status: l.Status, Complete: !l.Incomplete(),
		ActBy: e.ActBy, Due: e.Due, Earliest: e.Earliest, Latest: e.Latest, Governing: string(e.Governing),
		InspectionDue: e.InspectionDue, Missing: missing, Problem: e.Problem,
	}
}

// write prints the list: a table for people, with the caution that belongs to
// every list of dates, or one JSON document.
func (c estimateCommand) write(m *Main, lines []dueLine) error {
	if c.JSON {
		enc := json.NewEncoder(m.Stdout)
		enc.SetEscapeHTML(false)
		return enc.Encode(lines)
	}
	out := bufio.NewWriter(m.Stdout)
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "ACT BY\tSTATUS\tGOVERNS\tMACHINE\tPOSITION\tASSEMBLY\tHOSE\tMISSING")
	for _, l := range lines {
		status := string(l.Status)
		if !l.Complete {
			status += ", incomplete"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", dateOr(l.ActBy, "none"), status, l.Governing,
			plain(l.Machine), plain(l.Position), plain(l.Assembly), plain(hoseName(l)), plain(strings.Join(l.Missing, ", ")+l.Problem))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(out, "%d assemblies. %s\n", len(lines), life.SafetyLines()[0])
	return out.Flush()
}

func hoseName(l dueLine) string {
	if l.DN == 0 {
		return l.Designation
	}
	return strings.TrimSpace(fmt.Sprintf("%s DN %d", l.Designation, l.DN))
}

func dateOr(d quantity.Date, none string) string {
	if d.IsZero() {
		return none
	}
	return d.String()
}

// plain keeps what people typed from moving the table or the terminal.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 {
			return ' '
		}
		return r
	}, s)
}
