package server

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

func policyValues(st shownAs, p register.Policy) *form {
	return newForm("name", p.Name, "source", p.Source, "lengthened", p.Lengthened,
		"months_from_assembly", intText(p.MonthsFromAssembly), "months_from_fitting", intText(p.MonthsFromFitting), "months_from_make", intText(p.MonthsFromMake),
		"hours_from_fitting", numberText(p.HoursFromFitting, 1), "cycles_from_fitting", numberText(p.CyclesFromFitting, 0),
		"storage_months", intText(p.StorageMonths), "hose_age_months", intText(p.HoseAgeMonths),
		"inspect_months", intText(p.InspectMonths), "exposed_inspect_months", intText(p.ExposedInspectMonths),
		"heat_limit_months", intText(p.HeatLimitMonths), "heat_reference_c", st.celsius(p.HeatReferenceC), "ea_kj", numberText(p.EaKJ, 3),
		"damage_limit", numberText(p.DamageLimit, 4), "assumed_factor", numberText(p.AssumedFactor, 4),
		"combine_sum", yes(p.CombineSum), "peak_only", yes(p.PeakOnly), "own_curve_alone", yes(p.OwnCurveAlone), "own_curve_reason", p.OwnCurveReason)
}

// policyGroups are the fields for a policy: every limit, an empty one being
// none.
func policyGroups(f *form) []formGroup {
	months := func(name, label, hint string) field { return f.field(name, label+", months").decimal().hint(hint) }
	return []formGroup{
		{Fields: []field{
			f.field("name", "Name").need(),
			f.field("source", "Source").wide().hint("The standard or manual the limits are from, or that they are a choice."),
			f.field("lengthened", "Who lengthened what, and why").lines(2).wide().hint("Needed as soon as a limit is milder than that of the policy for normal demand, or left out. It is shown beside every date that uses it."),
		}},
		{Title: "How long a hose may serve", Hint: "Empty: no such limit. The earliest governs.", Fields: []field{
			months("months_from_assembly", "From assembly", "Normal demand: 72."), months("months_from_fitting", "From first fitting", "Heightened demand: 24."),
			months("months_from_make", "From make of the hose", ""),
			f.field("hours_from_fitting", "From first fitting, running hours").decimal(), f.field("cycles_from_fitting", "From first fitting, cycles").decimal(),
			months("hose_age_months", "Age of the hose when assembled", "Normal demand: 48."), months("storage_months", "In store", "Normal demand: 24."),
		}},
		{Title: "Inspections", Fields: []field{
			months("inspect_months", "Every", "Normal demand: 12, heightened: 6."), months("exposed_inspect_months", "At exposed positions every", "Empty: as elsewhere."),
		}},
		{
			Title: "Heat and pressure", Hint: "What the program takes where a field is empty is its own choice, no standard, and the strictest it ships.",
			Fields: []field{
				months("heat_limit_months", "Heat limit", "Empty: that of the calendar."),
				f.field("heat_reference_c", "Heat reference").hint("Empty: 20 K below the hose's highest temperature."),
				f.field("ea_kj", "Activation energy, kJ/mol").decimal().hint("Empty: by tube material."),
				f.field("damage_limit", "Damage limit").decimal().hint("Empty: " + web.Number(life.DefaultDamageLimit, 3) + ". Halved where a burst can hurt someone."),
				f.field("assumed_factor", "Factor for assumed cycles").decimal().hint("Empty: " + strconv.Itoa(life.DefaultAssumedFactor) + "."),
				f.field("own_curve_reason", "Why the hose's own curve alone is used").wide().hint("Only with the tick below."),
			},
			Ticks: []tick{
				f.tick("combine_sum", "Heat and pressure also add up"), f.tick("peak_only", "Every cycle counts from zero to its highest pressure"),
				f.tick("own_curve_alone", "Use the hose's own fatigue curve alone, even where it is milder"),
			},
		},
	}
}

// readPolicy reads the form into a policy; fields nobody touched keep their
// value.
func readPolicy(f *form, p register.Policy) register.Policy {
	months := func(name string, old *int) *int { return kept(f, name, old, func() *int { return f.number(name) }) }
	number := func(name string, old *float64) *float64 {
		return kept(f, name, old, func() *float64 { return f.decimal(name) })
	}
	p.Name, p.Source, p.Lengthened = f.needed("name", "Give the policy a name."), f.text("source"), f.text("lengthened")
	p.MonthsFromAssembly, p.MonthsFromFitting = months("months_from_assembly", p.MonthsFromAssembly), months("months_from_fitting", p.MonthsFromFitting)
	p.MonthsFromMake, p.HeatLimitMonths = months("months_from_make", p.MonthsFromMake), months("heat_limit_months", p.HeatLimitMonths)
	p.StorageMonths, p.HoseAgeMonths = months("storage_months", p.StorageMonths), months("hose_age_months", p.HoseAgeMonths)
	p.InspectMonths, p.ExposedInspectMonths = months("inspect_months", p.InspectMonths), months("exposed_inspect_months", p.ExposedInspectMonths)
	p.HoursFromFitting = kept(f, "hours_from_fitting", p.HoursFromFitting, func() *float64 { return f.hours("hours_from_fitting") })
	p.CyclesFromFitting = number("cycles_from_fitting", p.CyclesFromFitting)
	p.HeatReferenceC = kept(f, "heat_reference_c", p.HeatReferenceC, func() *float64 { return f.temperature("heat_reference_c") })
	p.EaKJ, p.DamageLimit, p.AssumedFactor = number("ea_kj", p.EaKJ), number("damage_limit", p.DamageLimit), number("assumed_factor", p.AssumedFactor)
	p.CombineSum, p.PeakOnly, p.OwnCurveAlone, p.OwnCurveReason = f.ticked("combine_sum"), f.ticked("peak_only"), f.ticked("own_curve_alone"), f.text("own_curve_reason")
	return p
}

// askWhoLengthened notes, where a milder limit was refused, that the field for
// who lengthened it is to be filled in.
func askWhoLengthened(f *form) {
	for _, p := range f.Problems {
		if strings.Contains(p.Sentence, "who lengthened it") {
			f.wrong("lengthened", "Say who lengthened a limit, and why.")
			return
		}
	}
}

// whyMilder asks why something is held to a milder policy.
func whyMilder(f *form) field {
	return f.field("reason", "Why a milder policy").wide().hint("Only where the policy becomes milder; a manager says why.")
}

// policyNamed is the policy to copy: that of the name, or the one for normal
// demand.
func policyNamed(list []register.Policy, name string) register.Policy {
	from := register.Policy{Policy: life.NormalDemand()}
	for _, p := range list {
		if p.Name == from.Name && name == "" || p.Name == name {
			from = p
		}
	}
	return from
}

func (s *Server) newPolicy(c echo.Context) error {
	list, err := s.store(c).Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	from := policyNamed(list, query(c, "from"))
	f := policyValues(shownAs{s.style(c)}, from)
	f.style = s.style(c)
	f.values.Set("name", "")
	f.values.Set("from", from.Name)
	if from.Shipped {
		f.values.Set("source", "copied from "+from.Name+": "+from.Source)
	}
	return s.policyForm(c, nil, f, nil)
}

// policyForm shows the form for a policy, a new one where p is nil.
func (s *Server) policyForm(c echo.Context, p *register.Policy, f *form, view *previewView) error {
	page := formPage{
		Base: s.base(c, "policies", "Add a policy"), Action: "/policies/new", Cancel: "/policies", Button: "Add the policy",
		Lead: []string{"It starts as a copy. Then give it to a site or to positions."}, Groups: policyGroups(f), Safety: safetyLines(),
	}
	if p != nil {
		page.Title, page.Action, page.Button = "Change policy "+p.Name, web.Path("policies", strconv.FormatInt(p.ID, 10), "edit"), "Save the policy"
		page.Preview, page.Previews = view, true
		used, err := s.policyUse(c, *p)
		if err != nil {
			return err
		}
		page.Lead = []string{used}
		page.Links = []formLink{{address("/positions", "policy", p.Name), "Positions with this policy of their own"}}
	}
	return s.showForm(c, f, page)
}

// policyUse says which sites use a policy.
func (s *Server) policyUse(c echo.Context, p register.Policy) (string, error) {
	list, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return "", wrap("list sites", err)
	}
	return policyUsed(list, p.ID), nil
}

func policyUsed(sites []register.Site, id int64) string {
	var names []string
	for _, v := range sites {
		if v.PolicyID == id {
			names = append(names, v.Name)
		}
	}
	switch {
	case len(names) == 0:
		return "No site uses it; positions may have it as their own."
	case len(names) == 1:
		return "Used by the site " + names[0] + ", and by positions that have it as their own."
	}
	return "Used by the sites " + strings.Join(names, ", ") + ", and by positions that have it as their own."
}

func (s *Server) addPolicy(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		p := readPolicy(f, register.Policy{})
		_, saved, err := s.save(c, f, atOnce, nil, register.AddPolicy{Policy: p})
		if err != nil {
			return "", wrap("add policy", err)
		}
		if saved {
			return withDone("/policies", policyAdded), nil
		}
		askWhoLengthened(f)
		return "", s.policyForm(c, nil, f, nil)
	})
}

// policyOf is the policy in the path. A shipped one cannot be changed.
func (s *Server) policyOf(c echo.Context) (register.Policy, error) {
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil {
		return register.Policy{}, echo.ErrNotFound
	}
	p, err := s.store(c).Policy(c.Request().Context(), id)
	if err == nil && p.Shipped {
		err = &register.Error{Code: register.Refused, Sentence: "A policy that is shipped with the program cannot be changed. Copy it under another name, and give that one to your sites."}
	}
	return p, wrap("find policy", err)
}

func (s *Server) editPolicy(c echo.Context) error {
	p, err := s.policyOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(policyValues(shownAs{s.style(c)}, p), p.Version)
	return s.policyForm(c, &p, f, nil)
}

func (s *Server) changePolicy(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		p, err := s.policyOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(policyValues(shownAs{s.style(c)}, p), p.Version) {
			return "", s.policyForm(c, &p, f, nil)
		}
		view, saved, err := s.save(c, f, previewed, nil, register.ChangePolicy{Policy: readPolicy(f, p)})
		if err != nil {
			return "", wrap("change policy", err)
		}
		if saved {
			return withDone("/policies", policyChanged), nil
		}
		askWhoLengthened(f)
		return "", s.policyForm(c, &p, f, view)
	})
}
