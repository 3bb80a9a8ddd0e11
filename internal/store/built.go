package store

import "hoseward/internal/register"

// child is a table whose rows may be built upon another's.
type child struct{ table, where, what string }

func childrenOf(table string) []child {
	said := func(level register.Level) child {
		return child{conditions.name, "level = '" + string(level) + "' AND owner_id = ?", "service conditions"}
	}
	switch table {
	case sites.name:
		return []child{{machines.name, "site_id = ?", "machines"}, {assemblies.name, "site_id = ?", "assemblies"}}
	case policies.name:
		return []child{{sites.name, "policy_id = ?", "sites"}, {positions.name, "policy_id = ?", "positions"}}
	case kinds.name:
		return []child{
			{machines.name, "kind_id = ?", "machines"},
			{duties.name, "kind_id = ?", "a duty"},
			{kindPositions.name, "kind_id = ?", "usual positions"},
		}
	case machines.name:
		return []child{
			{positions.name, "machine_id = ?", "positions"},
			{circuits.name, "machine_id = ?", "circuits"},
			{readings.name, "machine_id = ?", "readings"},
			{meterEvents.name, "machine_id = ?", "meter events"},
			{layUps.name, "machine_id = ?", "lay-ups"},
			said(register.AtMachine),
		}
	case circuits.name:
		return []child{{positions.name, "circuit_id = ?", "positions"}, said(register.AtCircuit)}
	case positions.name:
		return []child{{placements.name, "position_id = ?", "assemblies"}, {inspections.name, "position_id = ?", "inspections"}, said(register.AtPosition)}
	case assemblies.name:
		return []child{{placements.name, "assembly_id = ?", "fittings"}, {inspections.name, "assembly_id = ?", "inspections"}, {findings.name, "assembly_id = ?", "findings"}}
	case placements.name:
		return []child{{removals.name, "placement_id = ?", "a removal"}} // and what was seen during it
	case inspections.name:
		return []child{{findings.name, "inspection_id = ?", "findings"}}
	}
	return nil
}

// derivedOf deletes what is kept for a row and is no change.
func derivedOf(table string) []string {
	switch table {
	case assemblies.name:
		return []string{"DELETE FROM gaps WHERE assembly_id = ?", "DELETE FROM estimates WHERE assembly_id = ?", "DELETE FROM assembly_codes WHERE assembly_id = ?"}
	case sites.name:
		return []string{"DELETE FROM known_days WHERE site_id = ?"}
	}
	return nil
}
