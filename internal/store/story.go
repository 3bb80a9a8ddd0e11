package store

import (
	"context"
	"fmt"
	"slices"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// story is an assembly's life, newest first: made, stored, fitted, inspected,
// moved, removed.
func (s *Store) story(ctx context.Context, facts *register.Facts, a *register.AssemblyFacts) ([]register.Event, error) {
	var events []register.Event
	add := func(on quantity.Date, what register.EventKind, by, format string, args ...any) {
		if !on.IsZero() {
			events = append(events, register.Event{On: on, What: what, Text: fmt.Sprintf(format, args...), By: by})
		}
	}
	add(a.Assembly.Made.Start(), register.EventMade, "", "Hose made")
	add(a.Assembly.Assembled.Start(), register.EventAssembled, "", "Assembly made")
	if err := s.tellPlacements(ctx, facts, a, add); err != nil {
		return nil, err
	}
	if last := lastOf(a.Placements); last == nil || last.To != a.Assembly.ScrappedOn {
		text := "Scrapped"
		if a.Assembly.ScrappedReason != "" {
			text += ": " + a.Assembly.ScrappedReason
		}
		add(a.Assembly.ScrappedOn, register.EventRemoved, "", "%s", text)
	}
	elsewhere := map[int64]bool{} // by inspection
	for _, i := range a.Inspections {
		if !s.seatHere(facts, i.PositionID) {
			elsewhere[i.ID] = true
			i.By, i.Note = "", "At another site"
		}
		text := "Inspected: " + string(i.Verdict)
		if i.Note != "" {
			text += ". " + i.Note
		}
		add(i.On, register.EventInspected, i.By, "%s", text)
	}
	sentences := map[int]string{}
	for _, k := range life.FindingKinds() {
		sentences[k.Number] = k.Sentence
	}
	for _, f := range a.Findings {
		if elsewhere[f.InspectionID] {
			f.Place, f.Note, f.ClosedReason = "", "", ""
		}
		add(f.SeenOn, register.EventFinding, "", "%s", findingText(f, sentences[f.Number]))
		if f.ClosedHow == register.ClosedByRelease || f.ClosedHow == register.ClosedDone {
			add(f.ClosedOn, register.EventFinding, "", "Finding %s: %s", f.ClosedHow, findingText(f, sentences[f.Number]))
		}
	}
	slices.Reverse(events) // of one day, what was told last comes first
	slices.SortStableFunc(events, func(x, y register.Event) int { return y.On.Compare(x.On) })
	return events, nil
}

func findingText(f register.Finding, sentence string) string {
	text := "Class " + string(f.Class)
	if f.Place != "" {
		text += ", " + f.Place
	}
	if sentence != "" {
		text += ": " + sentence
	}
	if f.Note != "" {
		text += " " + f.Note
	}
	if f.ClosedReason != "" {
		text += " (" + f.ClosedReason + ")"
	}
	return text
}

func (s *Store) tellPlacements(ctx context.Context, facts *register.Facts, a *register.AssemblyFacts, add func(quantity.Date, register.EventKind, string, string, ...any)) error {
	list := make([]int64, len(a.Placements))
	for i, p := range a.Placements {
		list[i] = p.ID
	}
	ended, err := removals.where(ctx, s.reader(), "placement_id IN ("+idList(list)+")")
	if err != nil {
		return err
	}
	why := map[int64]*register.Removal{}
	for i := range ended {
		why[ended[i].PlacementID] = &ended[i]
	}
	who, err := s.whoAdded(ctx, list)
	if err != nil {
		return err
	}
	for i, p := range a.Placements {
		pos := facts.Positions[p.PositionID]
		here := s.seatHere(facts, p.PositionID)
		at, by := "another site", ""
		if here {
			at, by = fmt.Sprintf("position %s of machine %s", pos.Name, facts.Machines[pos.MachineID].Machine.Code)+atHours(p.FromHours), who[p.ID]
		}
		if i > 0 && a.Placements[i-1].To == p.From {
			add(p.From, register.EventMoved, by, "Moved to %s", at)
		} else {
			add(p.From, register.EventFitted, by, "Fitted at %s", at)
		}
		r := why[p.ID]
		if r == nil {
			continue
		}
		scrapped := a.Assembly.ScrappedOn == p.To
		says := removalText(r, scrapped) + atHours(p.ToHours)
		if !here {
			says = "Removed, at another site"
		}
		add(p.To, register.EventRemoved, "", "%s", says)
		if !scrapped && (i+1 == len(a.Placements) || a.Placements[i+1].From != p.To) {
			add(p.To, register.EventStored, "", "Back in store")
		}
	}
	return nil
}

func atHours(hours *float64) string {
	if hours == nil {
		return ""
	}
	return " at " + quantity.FormatNumber(*hours, 1) + " h"
}

func removalText(r *register.Removal, scrapped bool) string {
	text := "Removed: " + string(r.Cause) + ", found by " + string(r.FoundBy)
	if scrapped {
		text += ", scrapped"
	}
	for _, more := range []string{r.Reason, r.Seen} {
		if more != "" {
			text += "; " + more
		}
	}
	return text
}

// whoAdded names who noted placements.
func (s *Store) whoAdded(ctx context.Context, placementIDs []int64) (map[int64]string, error) {
	rows, err := s.reader().query(ctx, `SELECT c.entity_id, h.name FROM changes c JOIN people h ON h.id = c.person_id
		WHERE c.entity = 'placements' AND c.action = 'added' AND c.entity_id IN (`+idList(placementIDs)+")")
	if err != nil {
		return nil, fmt.Errorf("read who fitted: %w", translate(err))
	}
	defer rows.Close()
	who := map[int64]string{}
	for rows.Next() {
		var id int64
		var name string
		if err := rows.Scan(&id, &name); err != nil {
			return nil, fmt.Errorf("read who fitted: %w", err)
		}
		who[id] = name
	}
	return who, rows.Err()
}
