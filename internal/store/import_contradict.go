package store

import (
	"reflect"
	"strings"

	"hoseward/internal/register"
)

// contradicts refuses a change of what an earlier row of the file said. before
// and after are the thing as it is and as the row says; the columns in which
// they differ are named, the first is blamed.
func (im *importer) contradicts(earlier int, what string, before, after any) error {
	fields := im.differ(before, after)
	if len(fields) == 0 {
		return refuse(register.Refused, "position", "Row %d of the file says otherwise of %s; leave one of the two.", earlier, what)
	}
	heads := make([]string, len(fields))
	for i, f := range fields {
		heads[i] = im.row.Headers[f]
	}
	return refuse(register.Refused, fields[0], "Row %d of the file says otherwise of %s (%s); leave one of the two.", earlier, what, strings.Join(heads, ", "))
}

// differ names the fields of the sheet in which two structs of one type differ.
func (im *importer) differ(before, after any) []string {
	var of []string
	seen := map[string]bool{}
	b, a := reflect.ValueOf(before), reflect.ValueOf(after)
	for i := range b.NumField() {
		if reflect.DeepEqual(b.Field(i).Interface(), a.Field(i).Interface()) {
			continue
		}
		for _, f := range fieldsSaying(b.Type().Name() + "." + b.Type().Field(i).Name) {
			if im.row.Headers[f] != "" && !seen[f] {
				seen[f] = true
				of = append(of, f)
				break
			}
		}
	}
	return of
}

// fieldsSaying are the fields of a sheet that can say what a field of an entity
// holds, the likeliest first.
func fieldsSaying(of string) []string {
	list := map[string]string{
		"Machine.SiteID": "site", "Machine.KindID": "machine_kind", "Machine.Name": "machine_name", "Machine.Serial": "serial", "Machine.CanHurt": "can_hurt",
		"Machine.PlannedHoursPerWeek": "planned_hours_per_week", "Machine.Note": "machine_note",
		"Position.CircuitID": "circuit", "Position.PolicyID": "policy", "Position.WalkOrder": "walk_order", "Position.CanHurt": "can_hurt",
		"Position.Exposed": "exposed", "Position.Twisted": "twisted", "Position.LengthMM": "position_length_mm", "Position.BendMM": "bend_mm",
		"Position.StraightMM": "straight_mm", "Position.Note": "position_note",
		"Assembly.SiteID": "kept_at site", "Assembly.Layline": "layline", "Assembly.Maker": "maker layline", "Assembly.Designation": "designation layline",
		"Assembly.Construction": "construction", "Assembly.Tube": "tube", "Assembly.DN": "dn size dash inch layline", "Assembly.Dash": "dash size dn inch layline",
		"Assembly.RatedBar": "rated_bar layline designation", "Assembly.RatingSource": "rating_source rated_bar", "Assembly.MaxC": "max_c", "Assembly.Fluid": "fluid",
		"Assembly.LengthMM": "length_mm", "Assembly.EndA": "end_a", "Assembly.EndABar": "end_a_bar", "Assembly.EndB": "end_b", "Assembly.EndBBar": "end_b_bar",
		"Assembly.EndMake": "end_make", "Assembly.Made": "made layline", "Assembly.MadeText": "made_text made", "Assembly.MadeAmbiguous": "made_ambiguous made",
		"Assembly.Assembled": "assembled", "Assembly.AssembledText": "assembled_text assembled", "Assembly.Unconfirmed": "unconfirmed", "Assembly.Note": "note",
		"Placement.From": "fitted", "Placement.FromText": "fitted_text fitted", "Placement.FromHours": "fitted_hours", "Placement.To": "removed", "Placement.ToHours": "removed_hours",
		"Service.FluidC": "fluid_c", "Service.SurroundingsC": "surroundings_c", "Service.AlwaysHot": "always_hot", "Service.AdapterBar": "adapter_bar",
		"Service.WorkingBar": "working_bar max_bar", "Service.Cycles": "max_bar cycles_per_hour", "Service.NoCycles": "no_cycles", "Service.Recorded": "conditions_basis",
	}
	return strings.Fields(list[of])
}

// sitting names a hose as the row does: by its code where the file gives one.
func (im *importer) sitting(code string, h *register.HoseRow) string {
	if h.Code == "" && im.made[code] {
		return "the hose there"
	}
	return "assembly " + code
}

// nameMadeUp remembers that nobody has seen a code yet. Like what was seen it
// is forgotten once there are too many.
func (im *importer) nameMadeUp(code string) {
	if len(im.made) > seenKept {
		clear(im.made)
	}
	im.madeUp, im.made[code] = code, true
}
