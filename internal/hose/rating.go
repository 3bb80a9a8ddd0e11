package hose

import "math"

// Part is a part of an assembly with its own rating, by its name: hose, end
// A, end B, adapter. Bar is nil if the rating is not known; a value that is
// not a positive number counts as not known.
type Part struct {
	Name string
	Bar  *float64
}

// AssemblyRating is the maximum working pressure of an assembly.
type AssemblyRating struct {
	Bar     *float64 // nil if no part has a known rating
	Decides string   // the part with the lowest rating; of equals the first
	Unknown []string // the parts without a known rating
}

// Confirmed reports whether every part has a known rating. If not, the true
// rating may be lower than Bar.
func (r AssemblyRating) Confirmed() bool { return r.Bar != nil && len(r.Unknown) == 0 }

// Rating is the lowest rating of the parts (SAE J517, ISO 11237, ISO 18752,
// scopes: an assembly is rated by its lowest rated part). Test:
// TestRating_IsTheLowestPart.
func Rating(parts ...Part) AssemblyRating {
	var r AssemblyRating
	for _, p := range parts {
		if p.Bar == nil || !(*p.Bar > 0) || math.IsInf(*p.Bar, 0) {
			r.Unknown = append(r.Unknown, p.Name)
			continue
		}
		if r.Bar == nil || *p.Bar < *r.Bar {
			v := *p.Bar
			r.Bar, r.Decides = &v, p.Name
		}
	}
	return r
}
