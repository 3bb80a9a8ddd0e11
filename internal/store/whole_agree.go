package store

import (
	"database/sql"
	"errors"
	"fmt"

	"hoseward/internal/register"
)

// finish holds the rules that bear on many rows, once all are there.
func (w *wholeTaker) finish() error {
	for _, rule := range []func() error{w.noOverlaps, w.looksAgree, w.verdictsAgree, w.findingsAgree, w.machinesAgree, w.countCodes} {
		if err := rule(); err != nil {
			return err
		}
	}
	return nil
}

// noOverlaps refuses two assemblies at a position, or one at two positions, at
// a time.
func (w *wholeTaker) noOverlaps() error {
	for _, of := range []string{"position_id", "assembly_id"} {
		p, err := placements.one(w.t.ctx, w.t.conn, `EXISTS (SELECT 1 FROM placements o WHERE o.`+of+` = placements.`+of+` AND o.id < placements.id
			AND (o.to_on IS NULL OR o.to_on > placements.from_on) AND (placements.to_on IS NULL OR o.from_on < placements.to_on)) ORDER BY id LIMIT 1`)
		if err != nil {
			return err
		}
		if p == nil {
			continue
		}
		s, err := w.t.seatByID(p.PositionID)
		if err != nil {
			return err
		}
		a, err := assemblies.one(w.t.ctx, w.t.conn, "id = ?", p.AssemblyID)
		if err != nil {
			return err
		}
		number, err := w.numberOf(placements.name, p.ID, w.placed)
		if err != nil {
			return err
		}
		return w.atPart(register.PartPlacements, number, firstError(w.t.positionFree(s, p), w.t.assemblyFree(a, p)))
	}
	return nil
}

// numberOf finds the number of the row an id came of.
func (w *wholeTaker) numberOf(table string, id int64, numbers []int) (int, error) {
	var before int
	if err := w.t.row(w.t.ctx, "SELECT COUNT(*) FROM "+table+" WHERE id < ?", id).Scan(&before); err != nil {
		return 0, fmt.Errorf("find the row of %s %d: %w", table, id, translate(err))
	}
	if before >= len(numbers) {
		return 0, fmt.Errorf("find the row of %s %d: there are only %d", table, id, len(numbers))
	}
	return numbers[before], nil
}

// looksAgree refuses an inspection of an assembly that did not sit there then,
// and looks of one day that are numbered alike.
func (w *wholeTaker) looksAgree() error {
	var id int64
	err := w.t.row(w.t.ctx, `SELECT i.id FROM inspections i WHERE NOT EXISTS (SELECT 1 FROM placements p
		WHERE p.assembly_id = i.assembly_id AND p.position_id = i.position_id
		AND p.from_on <= i.on_day AND (p.to_on IS NULL OR p.to_on >= i.on_day)) ORDER BY i.id LIMIT 1`).Scan(&id)
	if err == nil {
		return w.blameLook(id, refuse(register.Refused, "on", "The assembly did not sit at that position on that day."))
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("compare inspections with placements: %w", translate(err))
	}
	var days int
	if err := w.t.row(w.t.ctx, "SELECT COUNT(*) FROM (SELECT DISTINCT assembly_id, on_day FROM inspections) AS d").Scan(&days); err != nil {
		return fmt.Errorf("count the days of inspections: %w", translate(err))
	}
	if days != w.firstLooks {
		return refuse(register.Invalid, "look", "Two inspections of one assembly on one day are both look 1; number them from 1 in the order they were made.")
	}
	return nil
}

func (w *wholeTaker) blameLook(id int64, refusal error) error {
	number, err := w.numberOf(inspections.name, id, w.looked)
	if err != nil {
		return err
	}
	return w.atPart(register.PartInspections, number, refusal)
}

// verdictsAgree refuses an inspection whose verdict is not that of its
// findings.
func (w *wholeTaker) verdictsAgree() error {
	const rank = `CASE %s WHEN 'stop' THEN 0 WHEN 'replace' THEN 1 WHEN 'correct' THEN 2 WHEN 'watch' THEN 3 ELSE 4 END`
	var id int64
	err := w.t.row(w.t.ctx, `SELECT i.id FROM inspections i LEFT JOIN findings f ON f.inspection_id = i.id GROUP BY i.id, i.verdict
		HAVING MIN(`+fmt.Sprintf(rank, "f.class")+`) <> `+fmt.Sprintf(rank, "i.verdict")+` ORDER BY i.id LIMIT 1`).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("compare inspections with findings: %w", translate(err))
	}
	return w.blameLook(id, refuse(register.Refused, "verdict", "The verdict is not the strictest class of its findings, or sound where it has none."))
}

// findingsAgree brings what removals close in step with the placements, so that
// no file hides a stop on a hose that still sits there.
func (w *wholeTaker) findingsAgree() error {
	list, err := ids(w.t.ctx, w.t.conn, "SELECT DISTINCT assembly_id FROM findings WHERE closed_how IN ('', 'removed') ORDER BY assembly_id")
	if err != nil {
		return fmt.Errorf("find what removals close: %w", err)
	}
	for _, id := range list {
		if err := w.t.settleFindings(id); err != nil {
			return err
		}
		if err := w.t.flushFull(); err != nil {
			return err
		}
	}
	return nil
}

// machinesAgree refuses readings, meter events and lay-ups of a machine that
// contradict each other; the sentence names the machine.
func (w *wholeTaker) machinesAgree() error {
	list, err := ids(w.t.ctx, w.t.conn, `SELECT id FROM machines WHERE id IN (SELECT machine_id FROM readings UNION SELECT machine_id FROM meter_events
		UNION SELECT machine_id FROM lay_ups) ORDER BY id`)
	if err != nil {
		return fmt.Errorf("find the machines with hours: %w", err)
	}
	for _, id := range list {
		if err := w.t.machineAgrees(id); err != nil {
			return err
		}
		delete(w.t.keys.hours, id)
	}
	return nil
}

// countCodes makes the codes given out from now on begin behind those taken in.
func (w *wholeTaker) countCodes() error {
	_, err := w.t.exec(w.t.ctx, "UPDATE code_counters SET last = ? WHERE name = 'assembly' AND last < ?", w.lastCode, w.lastCode)
	if err != nil {
		return fmt.Errorf("set the counter of codes: %w", err)
	}
	return nil
}
