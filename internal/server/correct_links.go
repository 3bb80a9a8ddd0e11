package server

import (
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/web"
)

// correctRow is one fact of an assembly's life that can be corrected.
type correctRow struct {
	What, Says string
	URL        string
	Doubt      string // why somebody may want to correct it; empty if nothing speaks for it
}

// correctRows are the facts of an assembly's life story that whoever reads it
// can correct, newest first of each kind. What happened at a site they do not
// see is none of them.
func correctRows(st web.Style, can may, sheet register.AssemblySheet) []correctRow {
	var rows []correctRow
	for _, p := range sheet.Placements {
		if !can.Fit || p.Elsewhere {
			continue
		}
		says := "at " + at(p.MachineCode, p.PositionName) + ", from " + st.Date(p.Placement.From)
		if p.Placement.To.IsZero() {
			says += " on"
		} else {
			says += " to " + st.Date(p.Placement.To)
		}
		row := correctRow{What: "Fitting", Says: says, URL: correctPath(register.ThingPlacement, p.Placement.ID), Doubt: p.Placement.FromText}
		if p.Removal != nil {
			row.What = "Fitting and removal"
			row.Says += "; " + causeText(p.Removal.Cause)
		}
		rows = append(rows, row)
	}
	elsewhere := map[int64]bool{} // by inspection
	for _, i := range sheet.Inspections {
		if i.PositionID == 0 {
			elsewhere[i.ID] = true
		}
		if !can.Inspect || i.PositionID == 0 {
			continue
		}
		says := st.Date(i.On) + ", " + string(i.Verdict)
		if i.By != "" {
			says += ", by " + i.By
		}
		rows = append(rows, correctRow{What: "Inspection", Says: says, URL: correctPath(register.ThingInspection, i.ID)})
	}
	for _, f := range sheet.Findings {
		if !can.Note || elsewhere[f.InspectionID] {
			continue
		}
		says := st.Date(f.SeenOn) + ", " + string(f.Class) + ": " + findingWords(f)
		if f.ClosedHow != "" {
			says += " (" + string(f.ClosedHow) + ")"
		}
		rows = append(rows, correctRow{What: "Finding", Says: says, URL: findingPath(f.ID)})
	}
	return rows
}

// workedRows are what is said of how the position is worked by itself, where
// anything of it is in force. What is said of machine and circuits is corrected
// from the machine's page.
func (s *Server) workedRows(c echo.Context, st web.Style, sheet register.AssemblySheet) ([]correctRow, error) {
	ctx := c.Request().Context()
	own := func(v register.ServiceValue) bool { return v.Level == register.AtPosition }
	if sheet.Line == nil || !s.hasAt(c, sheet.Site.ID, register.RightPlan) || !slices.ContainsFunc(sheet.Service, own) {
		return nil, nil
	}
	at, err := s.store(c).PositionSheet(ctx, s.deps.Now(), sheet.Line.MachineCode, sheet.Line.Position)
	if err != nil {
		return nil, wrap("find how the position is worked", err)
	}
	var rows []correctRow
	for _, k := range at.Conditions {
		says := "since " + st.Date(k.From) + ": " + strings.Join(serviceWords(st, k.Service), ", ")
		rows = append(rows, correctRow{What: "How this position is worked", Says: says, URL: correctPath(register.ThingConditions, k.ID)})
	}
	return rows, nil
}

// stepsAfter are the steps of fitting where a page comes right after one.
func stepsAfter(word string) []string {
	switch word {
	case swapped, fitted, movedOn:
		return fittingSteps()
	}
	return nil
}
