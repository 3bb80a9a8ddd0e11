package demo

import "hoseward/internal/register"

// People are the people of the demo fleet, one for each role and called by it.
// The fitter works at one yard and the viewer looks at the other, so that it
// can be seen what that means.
func People() []register.AddPerson {
	at := map[register.Role]string{register.Fitter: siteDepot, register.Viewer: siteYard}
	var all []register.AddPerson
	for _, r := range register.Roles() {
		all = append(all, register.AddPerson{Name: string(r), Roles: []register.GivenRole{{Role: r, Site: at[r]}}})
	}
	return all
}
