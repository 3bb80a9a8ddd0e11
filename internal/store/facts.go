package store

import (
	"context"
	"maps"
	"slices"

	"hoseward/internal/register"
)

// frame is what bears on every estimate alike.
type frame struct {
	sites    map[int64]register.Site
	policies map[int64]register.Policy
	duties   map[int64][]register.Duty
}

func readFrame(ctx context.Context, c conn) (*frame, error) {
	f := &frame{sites: map[int64]register.Site{}, policies: map[int64]register.Policy{}, duties: map[int64][]register.Duty{}}
	err := sites.each(ctx, c, "", nil, func(r *register.Site) error { f.sites[r.ID] = *r; return nil })
	if err != nil {
		return nil, err
	}
	if err := policies.each(ctx, c, "", nil, func(r *register.Policy) error { f.policies[r.ID] = *r; return nil }); err != nil {
		return nil, err
	}
	err = duties.each(ctx, c, "1 = 1 ORDER BY id", nil, func(r *register.Duty) error {
		f.duties[r.KindID] = append(f.duties[r.KindID], *r)
		return nil
	})
	return f, err
}

// facts gathers what bears on the estimates of some assemblies. Each table is
// asked once, whatever the number of assemblies.
func (f *frame) facts(ctx context.Context, c conn, assemblyIDs []int64) (*register.Facts, error) {
	out := &register.Facts{
		Sites: f.sites, Policies: f.policies, Duties: f.duties,
		Machines: map[int64]*register.MachineFacts{}, Positions: map[int64]*register.Position{},
		Assemblies: make([]register.AssemblyFacts, 0, len(assemblyIDs)),
	}
	if len(assemblyIDs) == 0 {
		return out, nil
	}
	if err := gatherAssemblies(ctx, c, out, assemblyIDs); err != nil {
		return nil, err
	}
	seats := map[int64]bool{}
	for i := range out.Assemblies {
		for _, p := range out.Assemblies[i].Placements {
			seats[p.PositionID] = true
		}
	}
	positionIDs := slices.Sorted(maps.Keys(seats))
	machineIDs := map[int64]bool{}
	err := positions.each(ctx, c, "id IN ("+idList(positionIDs)+")", nil, func(r *register.Position) error {
		out.Positions[r.ID] = r
		machineIDs[r.MachineID] = true
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, gatherMachines(ctx, c, out, positionIDs, slices.Sorted(maps.Keys(machineIDs)))
}

func gatherAssemblies(ctx context.Context, c conn, out *register.Facts, assemblyIDs []int64) error {
	in := idList(assemblyIDs)
	at := make(map[int64]int, len(assemblyIDs))
	err := assemblies.each(ctx, c, "id IN ("+in+") ORDER BY id", nil, func(r *register.Assembly) error {
		at[r.ID] = len(out.Assemblies)
		out.Assemblies = append(out.Assemblies, register.AssemblyFacts{Assembly: *r})
		return nil
	})
	if err != nil {
		return err
	}
	of := " IN (" + in + ")"
	err = placements.each(ctx, c, "assembly_id"+of+" ORDER BY assembly_id, from_on, id", nil, func(r *register.Placement) error {
		a := &out.Assemblies[at[r.AssemblyID]]
		a.Placements = append(a.Placements, *r)
		return nil
	})
	if err != nil {
		return err
	}
	err = findings.each(ctx, c, "assembly_id"+of+" ORDER BY assembly_id, seen_on, id", nil, func(r *register.Finding) error {
		a := &out.Assemblies[at[r.AssemblyID]]
		a.Findings = append(a.Findings, *r)
		return nil
	})
	if err != nil {
		return err
	}
	return inspections.each(ctx, c, "assembly_id"+of+" ORDER BY assembly_id, on_day, id", nil, func(r *register.Inspection) error {
		a := &out.Assemblies[at[r.AssemblyID]]
		a.Inspections = append(a.Inspections, *r)
		return nil
	})
}

func gatherMachines(ctx context.Context, c conn, out *register.Facts, positionIDs, machineIDs []int64) error {
	of := "machine_id IN (" + idList(machineIDs) + ")"
	err := machines.each(ctx, c, "id IN ("+idList(machineIDs)+")", nil, func(r *register.Machine) error {
		out.Machines[r.ID] = &register.MachineFacts{
			Machine: *r, Circuits: map[int64]register.Circuit{}, Conditions: map[register.Owner][]register.Conditions{},
		}
		return nil
	})
	if err != nil {
		return err
	}
	var circuitIDs []int64
	machineOf := map[int64]int64{} // by circuit
	err = circuits.each(ctx, c, of, nil, func(r *register.Circuit) error {
		out.Machines[r.MachineID].Circuits[r.ID] = *r
		circuitIDs = append(circuitIDs, r.ID)
		machineOf[r.ID] = r.MachineID
		return nil
	})
	if err != nil {
		return err
	}
	for _, level := range [...]struct {
		name    register.Level
		owners  []int64
		machine func(owner int64) int64
	}{
		{register.AtMachine, machineIDs, func(id int64) int64 { return id }},
		{register.AtCircuit, circuitIDs, func(id int64) int64 { return machineOf[id] }},
		{register.AtPosition, positionIDs, func(id int64) int64 { return out.Positions[id].MachineID }},
	} {
		if len(level.owners) == 0 {
			continue
		}
		q := "level = '" + string(level.name) + "' AND owner_id IN (" + idList(level.owners) + ") ORDER BY owner_id, from_on, id"
		err := conditions.each(ctx, c, q, nil, func(r *register.Conditions) error {
			m := out.Machines[level.machine(r.OwnerID)]
			o := register.Owner{Level: r.Level, ID: r.OwnerID}
			m.Conditions[o] = append(m.Conditions[o], *r)
			return nil
		})
		if err != nil {
			return err
		}
	}
	return gatherHours(ctx, c, out, of)
}

func gatherHours(ctx context.Context, c conn, out *register.Facts, of string) error {
	err := readings.each(ctx, c, of+" ORDER BY machine_id, on_day, hours", nil, func(r *register.Reading) error {
		m := out.Machines[r.MachineID]
		m.Readings = append(m.Readings, *r)
		return nil
	})
	if err != nil {
		return err
	}
	err = meterEvents.each(ctx, c, of+" ORDER BY machine_id, on_day, id", nil, func(r *register.MeterEvent) error {
		m := out.Machines[r.MachineID]
		m.Events = append(m.Events, *r)
		return nil
	})
	if err != nil {
		return err
	}
	return layUps.each(ctx, c, of+" ORDER BY machine_id, from_on, id", nil, func(r *register.LayUp) error {
		m := out.Machines[r.MachineID]
		m.LayUps = append(m.LayUps, *r)
		return nil
	})
}

// ids reads a column of ids.
func ids(ctx context.Context, c conn, query string, args ...any) ([]int64, error) {
	rows, err := c.query(ctx, query, args...)
	if err != nil {
		return nil, translate(err)
	}
	defer rows.Close()
	var out []int64
	for rows.Next() {
		var id int64
		if err := rows.Scan(&id); err != nil {
			return nil, err
		}
		out = append(out, id)
	}
	return out, translate(rows.Err())
}
