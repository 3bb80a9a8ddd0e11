package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// AssemblySheet is one assembly with all that its page shows; a
// *register.Error of code NotFound if there is none of that code. The estimate
// and its working are made anew from the stored facts, as of the day the
// stored estimate was made.
func (s *Store) AssemblySheet(ctx context.Context, now time.Time, code string) (register.AssemblySheet, error) {
	c := s.reader()
	a, err := assemblies.one(ctx, c, "LOWER(code) = ?"+s.holdsAssembly("assemblies.id"), fold(code))
	if err != nil {
		return register.AssemblySheet{}, err
	}
	if a == nil {
		return register.AssemblySheet{}, refuse(register.NotFound, "assembly", "There is no assembly %s; check its code.", code)
	}
	d, err := s.days(ctx, now)
	if err != nil {
		return register.AssemblySheet{}, err
	}
	f, err := readFrame(ctx, c)
	if err != nil {
		return register.AssemblySheet{}, err
	}
	facts, err := f.facts(ctx, c, []int64{a.ID})
	if err != nil {
		return register.AssemblySheet{}, err
	}
	if len(facts.Assemblies) == 0 {
		return register.AssemblySheet{}, fmt.Errorf("gather the facts of assembly %s: not there", code)
	}
	sheet := register.AssemblySheet{Assembly: *a, Site: d.sites[a.SiteID], Today: d.today[a.SiteID]}
	mine := &facts.Assemblies[0]
	for _, n := range mine.Findings {
		if n.ClosedOn.IsZero() {
			sheet.Open = append(sheet.Open, n)
		}
	}
	sheet.Inspections, sheet.Findings = slices.Clone(mine.Inspections), slices.Clone(mine.Findings)
	slices.Reverse(sheet.Inspections)
	slices.Reverse(sheet.Findings)
	s.hideElsewhere(facts, &sheet)
	if sheet.Placements, err = s.placementSheets(ctx, "p.assembly_id = ?", a.ID); err != nil {
		return sheet, err
	}
	if err := s.whereNow(ctx, d, facts, mine, &sheet); err != nil {
		return sheet, err
	}
	if err := work(facts, mine, &sheet); err != nil {
		return sheet, err
	}
	sheet.Problem = s.problemHere(sheet.Problem, facts)
	sheet.Story, err = s.story(ctx, facts, mine)
	return sheet, err
}

// whereNow fills in where the assembly is and what that asks for.
func (s *Store) whereNow(ctx context.Context, d *days, facts *register.Facts, mine *register.AssemblyFacts, sheet *register.AssemblySheet) error {
	var open *register.Placement
	for i := range mine.Placements {
		if mine.Placements[i].To.IsZero() {
			open = &mine.Placements[i]
		}
	}
	if open == nil {
		sheet.Status, sheet.Policy = life.StatusInStore, facts.Policies[sheet.Site.PolicyID]
		if !mine.Assembly.ScrappedOn.IsZero() {
			sheet.Status = life.StatusRemoved
		}
		return nil
	}
	m := facts.Machines[facts.Positions[open.PositionID].MachineID].Machine
	sheet.Site, sheet.Today = d.sites[m.SiteID], d.today[m.SiteID]
	lines, err := s.linesOf(ctx, d, []int64{open.ID})
	if err != nil {
		return err
	}
	if len(lines) == 1 {
		sheet.Line, sheet.Status = &lines[0], lines[0].Status
	}
	sheet.Service = facts.ServiceOn(open.PositionID, sheet.Today)
	sheet.Policy = facts.PolicyOf(open.PositionID)
	return nil
}

// work makes the estimate anew with its working. Where the facts contradict
// each other it says why, and makes the estimate of what is certain.
func work(facts *register.Facts, mine *register.AssemblyFacts, sheet *register.AssemblySheet) error {
	asOf := sheet.Today
	if sheet.Line != nil && sheet.Line.Estimated {
		asOf = sheet.Line.Estimate.AsOf
	}
	in, err := facts.LifeInput(mine, asOf)
	if err == nil {
		err = life.Check(in, asOf)
	}
	if err != nil {
		if !aboutFacts(err) {
			return fmt.Errorf("estimate assembly %s: %w", sheet.Assembly.Code, err)
		}
		sheet.Problem = register.SentenceOf(err)
		var certain bool
		if in, _, certain = facts.CertainOf(mine, asOf); !certain {
			return nil
		}
	}
	if sheet.Line == nil {
		in.Policy, in.Lengthened = sheet.Policy.Policy, sheet.Policy.Lengthened
	}
	e, err := life.Of(&in, asOf)
	if err == nil {
		sheet.Working, err = life.Working(&in, asOf)
	}
	if err != nil {
		return fmt.Errorf("estimate assembly %s: %w", sheet.Assembly.Code, err)
	}
	e.Complete = e.Complete && sheet.Problem == ""
	sheet.Input, sheet.Estimate = &in, &e
	if sheet.Status == life.StatusInStore {
		sheet.Store = storeWarnings(&in, sheet.Today)
	}
	return nil
}

// storeWarnings say why an assembly in store may not be fitted any more; none
// if it may.
func storeWarnings(in *life.Assembly, today quantity.Date) []life.Warning {
	var no *life.FitError
	if !errors.As(life.MayFit(in, today), &no) {
		return nil
	}
	code := life.WarnStoredTooLong
	if no.Rule == life.RuleUnknownAge {
		code = life.WarnDataMissing
	}
	return []life.Warning{{Code: code, Text: no.Sentence}}
}
