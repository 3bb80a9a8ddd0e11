package exchange

import (
	"bytes"
	"encoding/json"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// limits is a policy of a fleet's own as one cell holds it, so that a list can
// be read by a register that lacks the policy.
type limits struct {
	MonthsFromAssembly   *int     `json:"months_from_assembly,omitempty"`
	MonthsFromFitting    *int     `json:"months_from_fitting,omitempty"`
	MonthsFromMake       *int     `json:"months_from_make,omitempty"`
	HoursFromFitting     *float64 `json:"hours_from_fitting,omitempty"`
	CyclesFromFitting    *float64 `json:"cycles_from_fitting,omitempty"`
	HeatLimitMonths      *int     `json:"heat_limit_months,omitempty"`
	StorageMonths        *int     `json:"storage_months,omitempty"`
	HoseAgeMonths        *int     `json:"hose_age_months,omitempty"`
	InspectMonths        *int     `json:"inspect_months,omitempty"`
	ExposedInspectMonths *int     `json:"exposed_inspect_months,omitempty"`
	DamageLimit          *float64 `json:"damage_limit,omitempty"`
	AssumedFactor        *float64 `json:"assumed_factor,omitempty"`
	HeatReferenceC       *float64 `json:"heat_reference_c,omitempty"`
	EaKJ                 *float64 `json:"ea_kj,omitempty"`
	CombineSum           bool     `json:"combine_sum,omitempty"`
	PeakOnly             bool     `json:"peak_only,omitempty"`
	OwnCurveAlone        bool     `json:"own_curve_alone,omitempty"`
	OwnCurveReason       string   `json:"own_curve_reason,omitempty"`
	Source               string   `json:"source,omitempty"`
	Lengthened           string   `json:"lengthened,omitempty"`
}

func limitsOf(p *register.Policy) limits {
	return limits{
		p.MonthsFromAssembly, p.MonthsFromFitting, p.MonthsFromMake, p.HoursFromFitting, p.CyclesFromFitting,
		p.HeatLimitMonths, p.StorageMonths, p.HoseAgeMonths, p.InspectMonths, p.ExposedInspectMonths,
		p.DamageLimit, p.AssumedFactor, p.HeatReferenceC, p.EaKJ,
		p.CombineSum, p.PeakOnly, p.OwnCurveAlone, p.OwnCurveReason, p.Source, p.Lengthened,
	}
}

func (l limits) policy() *register.Policy {
	return &register.Policy{
		Policy: life.Policy{
			MonthsFromAssembly: l.MonthsFromAssembly, MonthsFromFitting: l.MonthsFromFitting, MonthsFromMake: l.MonthsFromMake,
			HoursFromFitting: l.HoursFromFitting, CyclesFromFitting: l.CyclesFromFitting, HeatLimitMonths: l.HeatLimitMonths,
			StorageMonths: l.StorageMonths, HoseAgeMonths: l.HoseAgeMonths, InspectMonths: l.InspectMonths,
			DamageLimit: l.DamageLimit, AssumedFactor: l.AssumedFactor, HeatReferenceC: l.HeatReferenceC, EaKJ: l.EaKJ,
			CombineSum: l.CombineSum, PeakOnly: l.PeakOnly, OwnCurveAlone: l.OwnCurveAlone, OwnCurveReason: l.OwnCurveReason,
		},
		Source: l.Source, Lengthened: l.Lengthened, ExposedInspectMonths: l.ExposedInspectMonths,
	}
}

func limitsField(name, title string, kinds []register.ImportKind, list string, at func(*register.ImportRow) **register.Policy) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), text: true,
		Help: "What a policy of the fleet's own says, as the export writes it; used where the register lacks the policy.",
		read: func(b *builder, c cell) {
			var l limits
			if !readDocument(b, c, &l) {
				return
			}
			*at(b.row) = l.policy()
		},
		write: func(r *register.ImportRow) string {
			p := *at(r)
			if p == nil {
				return ""
			}
			return printDocument(limitsOf(p))
		},
	}
}

// readDocument reads a cell that holds a small document of the export's.
func readDocument(b *builder, c cell, to any) bool {
	d := json.NewDecoder(bytes.NewReader([]byte(c.text)))
	d.DisallowUnknownFields()
	if d.Decode(to) != nil || d.More() {
		b.fail(c, "this is not as the export writes it; leave the cell as it was, or empty")
		return false
	}
	return true
}

// printDocument prints what readDocument reads.
func printDocument(v any) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return "" // no value of these types fails
	}
	return string(bytes.TrimSpace(b.Bytes()))
}
