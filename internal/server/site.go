package server

import (
	"slices"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// sitesPage lists the sites.
type sitesPage struct {
	Base
	Sites []siteLine
	Add   bool // whoever reads it may add sites
}

// siteLine is one site of the list.
type siteLine struct {
	register.Site
	Policy string
	Change bool // whoever reads it may change the site
}

func (s *Server) sites(c echo.Context) error {
	ctx := c.Request().Context()
	list, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	policies, err := s.store(c).Policies(ctx)
	if err != nil {
		return wrap("list policies", err)
	}
	page := sitesPage{Base: s.base(c, "sites", "Sites"), Add: s.hasAt(c, 0, register.RightManage)}
	for _, v := range list {
		page.Sites = append(page.Sites, siteLine{v, policyName(policies, &v.PolicyID), s.hasAt(c, v.ID, register.RightManage)})
	}
	return s.show(c, "sites", page)
}

// policyName is the name of the policy of that id; empty for none.
func policyName(list []register.Policy, id *int64) string {
	for _, p := range list {
		if id != nil && p.ID == *id {
			return p.Name
		}
	}
	return ""
}

// policyID is the id of the policy of that name; nil for none.
func policyID(list []register.Policy, name string) *int64 {
	for _, p := range list {
		if p.Name == name {
			return &p.ID
		}
	}
	return nil
}

func policyOptions(list []register.Policy, first ...option) []option {
	o := slices.Clone(first)
	for _, p := range list {
		o = append(o, option{p.Name, p.Name})
	}
	return o
}

func siteValues(v register.Site, policies []register.Policy) *form {
	return newForm("name", v.Name, "zone", v.Zone, "policy", policyName(policies, &v.PolicyID))
}

// siteForm shows the form for a site, a new one where site is nil.
func (s *Server) siteForm(c echo.Context, site *register.Site, f *form, view *previewView) error {
	policies, err := s.store(c).Policies(c.Request().Context())
	if err != nil {
		return wrap("list policies", err)
	}
	page := formPage{Base: s.base(c, "sites", "Add a site"), Action: "/sites/new", Button: "Add the site", Cancel: "/sites", Preview: view}
	if site != nil {
		page.Title, page.Site, page.Action, page.Button = "Change site "+site.Name, site.Name, web.Path("sites", site.Name, "edit"), "Save the site"
		page.Previews = true
	}
	page.Groups = []formGroup{{Fields: []field{
		f.field("name", "Name").need().hint("Such as Depot North. Machines are listed by it."),
		f.field("zone", "Time zone").need().suggest(commonZones()).hint("Decides what today is there, such as Europe/Berlin."),
		f.field("policy", "Policy").choose(policyOptions(policies)...).hint("The limits its hoses are held to, unless a position has its own."),
	}}}
	if site != nil {
		page.Groups[0].Fields = append(page.Groups[0].Fields, whyMilder(f))
	}
	return s.showForm(c, f, page)
}

// commonZones are time zones to suggest; any other can be typed.
func commonZones() []string {
	return []string{
		"UTC", "Africa/Cairo", "Africa/Johannesburg", "Africa/Lagos", "America/Chicago", "America/Denver", "America/Los_Angeles", "America/Mexico_City",
		"America/New_York", "America/Sao_Paulo", "Asia/Dubai", "Asia/Jakarta", "Asia/Kolkata", "Asia/Shanghai", "Asia/Tokyo", "Australia/Perth",
		"Australia/Sydney", "Europe/Athens", "Europe/Berlin", "Europe/Istanbul", "Europe/Lisbon", "Europe/London", "Europe/Madrid", "Europe/Paris",
		"Europe/Rome", "Europe/Vienna", "Europe/Warsaw", "Europe/Zurich", "Pacific/Auckland",
	}
}

func (s *Server) newSite(c echo.Context) error {
	return s.siteForm(c, nil, s.newForm(c, "zone", s.deps.Zone.String(), "policy", life.NormalDemand().Name), nil)
}

func (s *Server) addSite(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		cmd := register.AddSite{
			Name: f.needed("name", "Give the site a name."), Zone: f.needed("zone", "Give the site's time zone, like Europe/Berlin or UTC."), Policy: f.text("policy"),
		}
		_, saved, err := s.save(c, f, atOnce, nil, cmd)
		if err != nil {
			return "", wrap("add site", err)
		}
		if saved {
			return withDone("/sites", siteAdded), nil
		}
		return "", s.siteForm(c, nil, f, nil)
	})
}

// siteOf is the site in the path, with all policies.
func (s *Server) siteOf(c echo.Context) (register.Site, []register.Policy, error) {
	name, err := param(c, "name")
	if err != nil {
		return register.Site{}, nil, err
	}
	site, err := s.store(c).Site(c.Request().Context(), name)
	if err == nil {
		err = s.hereToo(c, site)
	}
	if err != nil {
		return site, nil, wrap("find site", err)
	}
	policies, err := s.store(c).Policies(c.Request().Context())
	return site, policies, wrap("list policies", err)
}

func (s *Server) editSite(c echo.Context) error {
	site, policies, err := s.siteOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(siteValues(site, policies), site.Version)
	return s.siteForm(c, &site, f, nil)
}

func (s *Server) changeSite(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		site, policies, err := s.siteOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(siteValues(site, policies), site.Version) {
			return "", s.siteForm(c, &site, f, nil)
		}
		changed := site
		changed.Name, changed.Zone = f.needed("name", "Give the site a name."), f.needed("zone", "Give the site's time zone, like Europe/Berlin or UTC.")
		if id := policyID(policies, f.text("policy")); id != nil {
			changed.PolicyID = *id
		} else {
			f.wrong("policy", "There is no such policy; choose one of the list.")
		}
		view, saved, err := s.save(c, f, previewed, nil, register.ChangeSite{Site: changed, Reason: f.text("reason")})
		if err != nil {
			return "", wrap("change site", err)
		}
		if saved {
			return withDone("/sites", siteChanged), nil
		}
		return "", s.siteForm(c, &site, f, view)
	})
}
