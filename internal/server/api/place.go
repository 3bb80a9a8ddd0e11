package api

import (
	"net/http"
	"strings"

	"hoseward/internal/register"
)

// Site is a place that machines belong to.
type Site struct {
	ID      int64  `json:"id" doc:"Its number."`
	Name    string `json:"name" doc:"Its name, unique; by which all else names it."`
	Zone    string `json:"zone" doc:"Its time zone, which decides what today is." example:"Europe/Berlin"`
	Policy  string `json:"policy" doc:"The policy its positions are held to unless they have their own."`
	Version int    `json:"version" doc:"Rises with each change."`
}

// Kind is a kind of machine.
type Kind struct {
	ID      int64  `json:"id" doc:"Its number."`
	Name    string `json:"name" doc:"Its name, unique."`
	Version int    `json:"version" doc:"Rises with each change."`
}

// KindMore is a kind of machine with what machines of it start from.
type KindMore struct {
	Kind
	Positions []UsualPosition `json:"positions" doc:"The positions machines of it usually have, in walking order."`
	Duties    []Duty          `json:"duties" doc:"How machines of it are taken to be worked where nothing better is known."`
	Machines  []string        `json:"machines" doc:"Codes of the machines of it, at most 1000."`
}

// UsualPosition is a position that machines of a kind usually have.
type UsualPosition struct {
	Name     string   `json:"name" doc:"Its name."`
	Circuit  string   `json:"circuit,omitzero" doc:"Its circuit."`
	CanHurt  bool     `json:"can_hurt" doc:"A burst there can hurt someone."`
	Exposed  bool     `json:"exposed" doc:"To abrasion, flexing, vibration, salt or hot spots."`
	LengthMM *float64 `json:"length_mm,omitzero" doc:"Length of the assembly that belongs there, in mm."`
	Note     string   `json:"note,omitzero" doc:"A note."`
}

// Duty is how machines of a kind are taken to be worked.
type Duty struct {
	Circuit string  `json:"circuit,omitzero" doc:"The circuit it is about; left out for the whole machine."`
	Service Service `json:"service" doc:"What is assumed."`
	Note    string  `json:"note,omitzero" doc:"Where the values come from."`
}

// Policy is a set of limits. A limit that is left out is none.
type Policy struct {
	ID                   int64    `json:"id" doc:"Its number."`
	Name                 string   `json:"name" doc:"Its name, unique."`
	Shipped              bool     `json:"shipped" doc:"It came with the program and cannot be changed."`
	Source               string   `json:"source" doc:"Where its limits are from."`
	Lengthened           string   `json:"lengthened,omitzero" doc:"Who lengthened a limit and why."`
	MonthsFromAssembly   *int     `json:"months_from_assembly,omitzero" doc:"From the assembly's make date, in months."`
	MonthsFromFitting    *int     `json:"months_from_fitting,omitzero" doc:"From first fitting, in months."`
	MonthsFromMake       *int     `json:"months_from_make,omitzero" doc:"From the hose's make date, in months."`
	HoursFromFitting     *float64 `json:"hours_from_fitting,omitzero" doc:"Running hours from first fitting, in h."`
	CyclesFromFitting    *float64 `json:"cycles_from_fitting,omitzero" doc:"Pressure cycles from first fitting."`
	StorageMonths        *int     `json:"storage_months,omitzero" doc:"In store before first fitting, in months."`
	HoseAgeMonths        *int     `json:"hose_age_months,omitzero" doc:"Greatest age of the hose when assembled, in months."`
	InspectMonths        *int     `json:"inspect_months,omitzero" doc:"From one inspection to the next, in months."`
	ExposedInspectMonths *int     `json:"exposed_inspect_months,omitzero" doc:"Likewise at exposed positions, in months."`
	HeatLimitMonths      *int     `json:"heat_limit_months,omitzero" doc:"Limit of the heat clock, in months."`
	DamageLimit          *float64 `json:"damage_limit,omitzero" doc:"How far the damage sum may go; left out: 0.5."`
	Version              int      `json:"version" doc:"Rises with each change."`
}

type sitesIn struct{ Paging }

type namedSite struct {
	Site string `path:"site" doc:"Name of the site."`
}

type namedKind struct {
	Kind string `path:"kind" doc:"Name of the kind of machine."`
}

func (a *API) places() {
	const tag = "places"
	listed(a, op{"listSites", http.MethodGet, "/sites", register.RightSee, tag, "List sites", "By number."},
		func(k *call, _ *sitesIn, after string, limit int) ([]Site, string, error) {
			all, err := k.sites()
			items, next := cut(all, after, limit, func(s Site) string { return byID(s.ID) })
			return items, next, err
		})
	read(a, op{"getSite", http.MethodGet, "/sites/{site}", register.RightSee, tag, "Get a site", ""}, func(k *call, in *namedSite) (Site, error) {
		all, err := k.sites()
		if err != nil {
			return Site{}, err
		}
		for _, s := range all {
			if strings.EqualFold(s.Name, in.Site) {
				return s, nil
			}
		}
		return Site{}, notThere("site", "There is no site %s; check its name.", in.Site)
	})
	listed(a, op{"listKinds", http.MethodGet, "/kinds", register.RightSee, tag, "List kinds of machines", "By number."},
		func(k *call, _ *sitesIn, after string, limit int) ([]Kind, string, error) {
			all, err := k.Store.Kinds(k.ctx)
			items, next := cut(sortedByID(mapped(all, kindOfMachine), func(v Kind) int64 { return v.ID }), after, limit, func(v Kind) string { return byID(v.ID) })
			return items, next, err
		})
	read(a, op{"getKind", http.MethodGet, "/kinds/{kind}", register.RightSee, tag, "Get a kind of machine", "With what machines of it start from."},
		func(k *call, in *namedKind) (KindMore, error) {
			sheet, err := k.Store.Kind(k.ctx, in.Kind)
			return kindMore(sheet), err
		})
	listed(a, op{"listPolicies", http.MethodGet, "/policies", register.RightSee, tag, "List policies", "By number."},
		func(k *call, _ *sitesIn, after string, limit int) ([]Policy, string, error) {
			all, err := k.Store.Policies(k.ctx)
			items, next := cut(sortedByID(mapped(all, policyOf), func(p Policy) int64 { return p.ID }), after, limit, func(p Policy) string { return byID(p.ID) })
			return items, next, err
		})
}

// sites are all sites, by number.
func (k *call) sites() ([]Site, error) {
	list, err := k.Store.Sites(k.ctx)
	if err != nil {
		return nil, err
	}
	policies, err := k.policyNames()
	if err != nil {
		return nil, err
	}
	all := mapped(list, func(s register.Site) Site {
		return Site{ID: s.ID, Name: s.Name, Zone: s.Zone, Policy: policies[s.PolicyID], Version: s.Version}
	})
	return sortedByID(all, func(s Site) int64 { return s.ID }), nil
}

// policyNames are the names of policies by number.
func (k *call) policyNames() (map[int64]string, error) {
	all, err := k.Store.Policies(k.ctx)
	names := make(map[int64]string, len(all))
	for _, p := range all {
		names[p.ID] = p.Name
	}
	return names, err
}

func kindOfMachine(v register.Kind) Kind { return Kind{v.ID, v.Name, v.Version} }

func kindMore(sheet register.KindSheet) KindMore {
	m := KindMore{Kind: kindOfMachine(sheet.Kind), Machines: append([]string{}, sheet.Machines...)}
	m.Positions = mapped(sheet.Positions, func(p register.KindPosition) UsualPosition {
		return UsualPosition{p.Name, p.Circuit, p.CanHurt, p.Exposed, p.LengthMM, p.Note}
	})
	m.Duties = mapped(sheet.Duties, func(d register.Duty) Duty { return Duty{d.Circuit, serviceOf(d.Service), d.Note} })
	return m
}

func policyOf(p register.Policy) Policy {
	return Policy{
		ID: p.ID, Name: p.Name, Shipped: p.Shipped, Source: p.Source, Lengthened: p.Lengthened,
		MonthsFromAssembly: p.MonthsFromAssembly, MonthsFromFitting: p.MonthsFromFitting, MonthsFromMake: p.MonthsFromMake,
		HoursFromFitting: p.HoursFromFitting, CyclesFromFitting: p.CyclesFromFitting, StorageMonths: p.StorageMonths, HoseAgeMonths: p.HoseAgeMonths,
		InspectMonths: p.InspectMonths, ExposedInspectMonths: p.ExposedInspectMonths, HeatLimitMonths: p.HeatLimitMonths, DamageLimit: p.DamageLimit,
		Version: p.Version,
	}
}
