package store

import (
	"context"
	"database/sql"
	"fmt"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// Export hands all rows of one kind to f, one at a time, as an import would
// read them: importing machines, readings and hoses into an empty register, in
// that order, gives the same machines, positions, assemblies, placements,
// removals, inspections with their findings, readings, service conditions and
// lay-ups. The row is f's until it returns. What no list holds is left out:
// policies and kinds that nothing uses, machines that left the fleet, positions
// that ceased to be and what sat there last, assemblies scrapped in store.
// Whole holds these too.
func (s *Store) Export(ctx context.Context, kind register.ImportKind, f func(*register.ImportRow) error) error {
	switch kind {
	case register.ImportMachines:
		return s.exportMachines(ctx, f)
	case register.ImportHoses:
		return s.exportHoses(ctx, f)
	case register.ImportReadings:
		return s.exportReadings(ctx, f)
	}
	return refuse(register.Invalid, "kind", "There is no list of %q; choose machines, hoses or readings.", string(kind))
}

// eachRow runs a query and hands every row to f.
func (s *Store) eachRow(ctx context.Context, what, query string, f func(*sql.Rows) error, args ...any) error {
	rows, err := s.reader().query(ctx, query, args...)
	if err != nil {
		return fmt.Errorf("read %s: %w", what, translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read %s: %w", what, translate(err))
	}
	return nil
}

func (s *Store) exportMachines(ctx context.Context, f func(*register.ImportRow) error) error {
	own, err := s.ownPolicies(ctx)
	if err != nil {
		return err
	}
	query := "SELECT " + machines.prefixed("m") + `, s.name, s.zone, y.name, y.id, COALESCE(k.name, '')
		FROM machines m JOIN sites s ON s.id = m.site_id JOIN policies y ON y.id = s.policy_id LEFT JOIN kinds k ON k.id = m.kind_id
		WHERE m.gone_on IS NULL ORDER BY m.code`
	return s.eachRow(ctx, "the machines", query, func(rows *sql.Rows) error {
		var m register.Machine
		var policyID int64
		r := &register.MachineRow{}
		if err := rows.Scan(append(machines.dest(nil, &m), &r.Site, &r.SiteZone, &r.SitePolicy, &policyID, &r.Kind)...); err != nil {
			return fmt.Errorf("read a machine: %w", err)
		}
		r.SitePolicyLimits = own[policyID]
		if err := fillSaid(ctx, s.reader(), r, &m); err != nil {
			return err
		}
		r.Code, r.Name, r.Serial, r.Note = m.Code, m.Name, m.Serial, m.Note
		r.PlannedHoursPerWeek, r.CanHurt = m.PlannedHoursPerWeek, &m.CanHurt
		return f(&register.ImportRow{Machine: r})
	})
}

// exportReadings gives readings and meter events by day, an event before the
// readings of its day and later: so they agree with each other from the first
// row on.
func (s *Store) exportReadings(ctx context.Context, f func(*register.ImportRow) error) error {
	query := `SELECT m.code, r.on_day, r.hours, NULL, r.source, r.disputed, r.note, m.id, 1 AS turn, r.id AS id
			FROM readings r JOIN machines m ON m.id = r.machine_id WHERE m.gone_on IS NULL
		UNION ALL
		SELECT m.code, e.on_day, e.old_end, e.new_start, '', FALSE, e.note, m.id, 0, e.id
			FROM meter_events e JOIN machines m ON m.id = e.machine_id WHERE m.gone_on IS NULL
		ORDER BY 1, 2, 9, 3, 10`
	return s.eachRow(ctx, "the readings", query, func(rows *sql.Rows) error {
		r := &register.ReadingRow{}
		var hours float64
		var disputed bool
		var machineID, id int64
		var turn int
		if err := rows.Scan(&r.Machine, &r.On, &hours, &r.NewStart, &r.Source, &disputed, &r.Note, &machineID, &turn, &id); err != nil {
			return fmt.Errorf("read a reading: %w", err)
		}
		r.Hours = &hours
		if r.NewStart == nil {
			r.Disputed = &disputed
		}
		return f(&register.ImportRow{Reading: r})
	})
}

// exportHoses gives the placements by the day they began, so that each can be
// taken in without knowing what follows; then the positions that never held
// anything, then the assemblies that were never fitted.
func (s *Store) exportHoses(ctx context.Context, f func(*register.ImportRow) error) error {
	own, err := s.ownPolicies(ctx)
	if err != nil {
		return err
	}
	if err := s.exportPlacements(ctx, own, f); err != nil {
		return err
	}
	query := "SELECT " + positions.prefixed("q") + `, m.code, s.name, COALESCE(c.name, ''), COALESCE(y.name, '')
		FROM positions q JOIN machines m ON m.id = q.machine_id JOIN sites s ON s.id = m.site_id
		LEFT JOIN circuits c ON c.id = q.circuit_id LEFT JOIN policies y ON y.id = q.policy_id
		WHERE m.gone_on IS NULL AND q.gone_on IS NULL AND NOT EXISTS (SELECT 1 FROM placements p WHERE p.position_id = q.id)
		ORDER BY m.code, q.walk_order, q.name`
	err = s.eachRow(ctx, "the empty positions", query, func(rows *sql.Rows) error {
		var q register.Position
		h := &register.HoseRow{}
		if err := rows.Scan(append(positions.dest(nil, &q), &h.Machine, &h.Site, &h.Circuit, &h.Policy)...); err != nil {
			return fmt.Errorf("read a position: %w", err)
		}
		fillPosition(h, &q, own)
		said, err := saidOf(ctx, s.reader(), register.AtPosition, q.ID, "")
		if err != nil {
			return err
		}
		h.Said = said
		return f(&register.ImportRow{Hose: h})
	})
	if err != nil {
		return err
	}
	query = "SELECT " + assemblies.prefixed("a") + `, s.name FROM assemblies a JOIN sites s ON s.id = a.site_id
		WHERE a.scrapped_on IS NULL AND NOT EXISTS (SELECT 1 FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
			WHERE p.assembly_id = a.id AND q.gone_on IS NULL AND m.gone_on IS NULL) ORDER BY a.code`
	return s.eachRow(ctx, "the assemblies in store", query, func(rows *sql.Rows) error {
		var a register.Assembly
		h := &register.HoseRow{}
		if err := rows.Scan(append(assemblies.dest(nil, &a), &h.Site)...); err != nil {
			return fmt.Errorf("read an assembly: %w", err)
		}
		fillAssembly(h, &a)
		return f(&register.ImportRow{Hose: h})
	})
}

func (s *Store) exportPlacements(ctx context.Context, own map[int64]*register.Policy, f func(*register.ImportRow) error) error {
	query := "SELECT " + placements.prefixed("p") + ", " + positions.prefixed("q") + ", " + assemblies.prefixed("a") + `,
			m.code, s.name, kept.name, COALESCE(c.name, ''), COALESCE(y.name, ''),
			r.cause, r.found_by, r.reason, r.seen,
			EXISTS (SELECT 1 FROM inspections i WHERE i.assembly_id = p.assembly_id AND i.position_id = p.position_id),
			EXISTS (SELECT 1 FROM conditions o WHERE o.level = 'position' AND o.owner_id = p.position_id AND o.from_on = p.from_on),
			NOT EXISTS (SELECT 1 FROM placements x WHERE x.position_id = p.position_id AND (x.from_on > p.from_on OR x.from_on = p.from_on AND x.id > p.id))
		FROM placements p
			JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id JOIN sites s ON s.id = m.site_id
			JOIN assemblies a ON a.id = p.assembly_id JOIN sites kept ON kept.id = a.site_id
			LEFT JOIN circuits c ON c.id = q.circuit_id LEFT JOIN policies y ON y.id = q.policy_id
			LEFT JOIN removals r ON r.placement_id = p.id
		WHERE m.gone_on IS NULL AND q.gone_on IS NULL
		ORDER BY p.from_on, COALESCE(p.to_on, p.from_on), m.code, q.walk_order, q.name, a.code`
	return s.eachRow(ctx, "the hoses", query, func(rows *sql.Rows) error {
		var p register.Placement
		var q register.Position
		var a register.Assembly
		var kept string
		var cause, found, reason, seen sql.NullString
		var inspected, conditioned, last bool // last: the position has had nothing since
		h := &register.HoseRow{}
		dest := assemblies.dest(positions.dest(placements.dest(nil, &p), &q), &a)
		dest = append(dest, &h.Machine, &h.Site, &kept, &h.Circuit, &h.Policy, &cause, &found, &reason, &seen, &inspected, &conditioned, &last)
		if err := rows.Scan(dest...); err != nil {
			return fmt.Errorf("read a fitting: %w", err)
		}
		fillPosition(h, &q, own)
		fillAssembly(h, &a)
		if kept != h.Site {
			h.KeptAt = kept
		}
		h.Fitted, h.FittedText, h.FittedHours = quantity.Day(p.From), p.FromText, p.FromHours
		h.Removed, h.RemovedHours = p.To, p.ToHours
		h.Cause, h.FoundBy, h.Reason, h.Seen = register.Cause(cause.String), register.FoundBy(found.String), reason.String, seen.String
		if cause.Valid {
			scrapped := a.ScrappedOn == p.To
			h.Scrapped = &scrapped
		}
		if inspected {
			looks, err := lookedAt(ctx, s.reader(), &p)
			if err != nil {
				return err
			}
			h.Inspections = looks
			h.LastInspection = lastLook(h.Inspections)
		}
		if conditioned {
			said, basis, err := serviceSaid(ctx, s.reader(), p.PositionID, p.From)
			if err != nil {
				return err
			}
			fillService(h, said, basis)
		}
		if last {
			said, err := saidOf(ctx, s.reader(), register.AtPosition, p.PositionID, "")
			if err != nil {
				return err
			}
			h.Said = said
		}
		return f(&register.ImportRow{Hose: h})
	})
}

// ownPolicies are the policies that did not come with the program, by id.
func (s *Store) ownPolicies(ctx context.Context) (map[int64]*register.Policy, error) {
	list, err := policies.where(ctx, s.reader(), "NOT shipped")
	own := map[int64]*register.Policy{}
	for i := range list {
		own[list[i].ID] = &list[i]
	}
	return own, err
}

func fillPosition(h *register.HoseRow, q *register.Position, own map[int64]*register.Policy) {
	if q.PolicyID != nil {
		h.PolicyLimits = own[*q.PolicyID]
	}
	h.Position, h.WalkOrder = q.Name, &q.WalkOrder
	h.CanHurt, h.Exposed, h.Twisted = &q.CanHurt, &q.Exposed, &q.Twisted
	h.PositionMM, h.BendMM, h.StraightMM, h.PositionNote = q.LengthMM, q.BendMM, q.StraightMM, q.Note
}

func fillAssembly(h *register.HoseRow, a *register.Assembly) {
	h.Code, h.Layline, h.Maker, h.Designation, h.Construction = a.Code, a.Layline, a.Maker, a.Designation, a.Construction
	h.Tube, h.Fluid, h.Size = a.Tube, a.Fluid, hose.Size{DN: a.DN, Dash: a.Dash}
	h.RatedBar, h.RatingSource, h.MaxC, h.LengthMM = a.RatedBar, a.RatingSource, a.MaxC, a.LengthMM
	h.EndA, h.EndABar, h.EndB, h.EndBBar, h.EndMake = a.EndA, a.EndABar, a.EndB, a.EndBBar, a.EndMake
	h.Made, h.MadeText, h.Assembled, h.AssembledText = a.Made, a.MadeText, a.Assembled, a.AssembledText
	h.MadeAmbiguous, h.Unconfirmed, h.Note = &a.MadeAmbiguous, &a.Unconfirmed, a.Note
}

// fillService puts service conditions into a row, as far as it has columns for
// them: one kind of cycle, per running hour.
func fillService(h *register.HoseRow, s register.Service, basis register.Basis) {
	h.FluidC, h.SurroundingsC, h.AlwaysHot = s.FluidC, s.SurroundingsC, s.AlwaysHot
	h.AdapterBar, h.WorkingBar, h.NoCycles, h.ConditionsBasis = s.AdapterBar, s.WorkingBar, s.NoCycles, basis
	if len(s.Cycles) == 1 && s.Cycles[0].Per == "" {
		c := s.Cycles[0]
		h.MinBar, h.MaxBar, h.CyclesPerHour = &c.MinBar, &c.MaxBar, &c.Count
		if isYes(s.Recorded) && basis == register.Measured {
			h.Recorded = s.Recorded
		}
	}
	if _, says := service(h); !says {
		h.ConditionsBasis = ""
	}
}

// serviceSaid is what was said of a position from one day on, later rows over
// earlier ones; basis is the last one's, empty if nothing was said.
func serviceSaid(ctx context.Context, c conn, positionID int64, from quantity.Date) (s register.Service, basis register.Basis, err error) {
	rows, err := conditions.where(ctx, c, "level = 'position' AND owner_id = ? AND from_on = "+c.e.date(from)+" ORDER BY id", positionID)
	for i := range rows {
		s, basis = overlaid(s, rows[i].Service), rows[i].Basis
	}
	return s, basis, err
}
