package store

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hoseward/internal/register"
)

// For is the register as far as it belongs to the sites of a scope. Its reads
// hold nothing of other sites: lists, counts and search leave it out, and a
// single thing is NotFound in the words of one that does not exist. An assembly
// belongs to the site of the machine it sits on, else to the one that keeps it.
// What belongs to no site - kinds, policies, the book of jobs - is for all.
//
// Reads take the scope; changes are decided row by row by the roles of who makes
// them, see permit. That a code is in use is told to all, because codes are
// unique in the register: a refusal to use one twice tells that somebody has it,
// and nothing else.
func (s *Store) For(scope register.Scope) *Store {
	c := *s
	c.scope = scope
	return &c
}

// within limits a condition to rows whose site, a column or an expression, is
// in the scope. It is empty where the scope restricts nothing.
func (s *Store) within(site string) string {
	if cond := s.siteCond(site); cond != "" {
		return " AND " + cond
	}
	return ""
}

// siteCond is within without the AND.
func (s *Store) siteCond(site string) string {
	switch {
	case s.scope.All:
		return ""
	case len(s.scope.Sites) == 1:
		return site + " = " + strconv.FormatInt(s.scope.Sites[0], 10)
	}
	return site + " IN (" + idList(s.scope.Sites) + ")"
}

// atSite limits a list to the scope.
func (s *Store) atSite(q *listQuery, site string) {
	if cond := s.siteCond(site); cond != "" {
		q.and(cond)
	}
}

// siteOfAssembly is the site an assembly belongs to, as an expression in which
// the assembly is row a.
const siteOfAssembly = `COALESCE((SELECT m.site_id FROM placements o JOIN positions q ON q.id = o.position_id JOIN machines m ON m.id = q.machine_id
			WHERE o.assembly_id = a.id AND o.to_on IS NULL), a.site_id)`

// holdsAssembly is the condition for an id, a column or an expression, of an
// assembly of the scope; empty where the scope restricts nothing.
func (s *Store) holdsAssembly(id string) string {
	if s.scope.All {
		return ""
	}
	return " AND EXISTS (SELECT 1 FROM assemblies a WHERE a.id = " + id + s.within(siteOfAssembly) + ")"
}

// holdsFound gives, for a table of search texts, the condition for ids of the
// scope; it gives nothing where the scope restricts nothing.
func (s *Store) holdsFound(f findTable) func(id string) string {
	switch {
	case s.scope.All:
		return func(string) string { return "" }
	case f.name == findAssemblies.name:
		return s.holdsAssembly
	case f.name == findMachines.name:
		return func(id string) string {
			return " AND EXISTS (SELECT 1 FROM machines m WHERE m.id = " + id + s.within("m.site_id") + ")"
		}
	}
	return func(id string) string {
		return " AND EXISTS (SELECT 1 FROM positions q JOIN machines m ON m.id = q.machine_id WHERE q.id = " + id + s.within("m.site_id") + ")"
	}
}

// machineCoded is the machine of a code, nil if the scope has none.
func (s *Store) machineCoded(ctx context.Context, code string) (*register.Machine, error) {
	m, err := machines.one(ctx, s.reader(), "LOWER(code) = ?"+s.within("site_id"), fold(code))
	if err == nil && m == nil {
		err = refuse(register.NotFound, "machine", "There is no machine %s; check its code.", code)
	}
	return m, err
}

// elsewhere hides what a placement at a machine of another site tells of that
// site: the hose was somewhere else, from when to when.
func (s *Store) elsewhere(p *register.PlacementSheet) {
	if s.scope.Holds(p.SiteID) {
		return
	}
	p.Elsewhere = true
	p.MachineCode, p.PositionName, p.SiteID = "", "", 0
	p.Placement.PositionID, p.Placement.FromHours, p.Placement.ToHours, p.Placement.FromText = 0, nil, nil, ""
	p.Removal = nil
}

// seatHere reports whether a position, one of the facts, is of the scope.
func (s *Store) seatHere(facts *register.Facts, positionID int64) bool {
	p := facts.Positions[positionID]
	return p != nil && facts.Machines[p.MachineID] != nil && s.scope.Holds(facts.Machines[p.MachineID].Machine.SiteID)
}

// hideElsewhere leaves of what was seen at other sites that it was seen: its
// class, kind and days are of the assembly, and whoever fits it must know them;
// names and words are of the site.
func (s *Store) hideElsewhere(facts *register.Facts, sheet *register.AssemblySheet) {
	if s.scope.All {
		return
	}
	elsewhere := map[int64]bool{} // by inspection
	for i := range sheet.Inspections {
		look := &sheet.Inspections[i]
		if !s.seatHere(facts, look.PositionID) {
			elsewhere[look.ID] = true
			look.PositionID, look.By, look.Note = 0, "", ""
		}
	}
	for _, list := range [][]register.Finding{sheet.Findings, sheet.Open} {
		for i := range list {
			if elsewhere[list[i].InspectionID] {
				list[i].Place, list[i].Note, list[i].ClosedReason = "", "", ""
			}
		}
	}
}

// problemHere is the sentence that says how facts contradict each other,
// without the name of a machine of another site.
func (s *Store) problemHere(sentence string, facts *register.Facts) string {
	for _, m := range facts.Machines {
		if !s.scope.Holds(m.Machine.SiteID) && strings.HasPrefix(sentence, "Machine "+m.Machine.Code+":") {
			return problemElsewhere
		}
	}
	return sentence
}

// problemOnLine is problemHere for what a list shows, of which only the machine
// is known where the assembly sits now.
func (s *Store) problemOnLine(sentence, machine string) string {
	if !s.scope.All && strings.HasPrefix(sentence, "Machine ") && !strings.HasPrefix(sentence, "Machine "+machine+":") {
		return problemElsewhere
	}
	return sentence
}

const problemElsewhere = "The hours of a machine on which it was before, at another site, contradict each other."

// away marks the placements of assemblies that are outside the scope now.
func (s *Store) away(ctx context.Context, sheets []register.PlacementSheet) error {
	if s.scope.All || len(sheets) == 0 {
		return nil
	}
	of := make([]int64, len(sheets))
	for i := range sheets {
		of[i] = sheets[i].Placement.AssemblyID
	}
	here, err := ids(ctx, s.reader(), "SELECT a.id FROM assemblies a WHERE a.id IN ("+idList(of)+")"+s.within(siteOfAssembly))
	if err != nil {
		return fmt.Errorf("find which assemblies are here: %w", err)
	}
	for i := range sheets {
		sheets[i].Away = !slices.Contains(here, of[i])
	}
	return nil
}
