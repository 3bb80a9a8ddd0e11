package server

import (
	"slices"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// positionsPage is the list of all positions. Ticked ones, or all of the list,
// can be changed at once.
type positionsPage struct {
	Base
	Filters []field
	Ticks   []tick
	Errors  []problem
	Lines   []register.PositionLine
	Kept    []hiddenValue // the filters, for the form around the lines
	List    listView
	All     string // address to change all of the list; empty if there are none
}

// hiddenValue is what a form carries on and does not show.
type hiddenValue struct{ Name, Value string }

// hidden are the values of some fields that are not empty.
func (f *form) hidden(names ...string) []hiddenValue {
	var out []hiddenValue
	for _, name := range names {
		if v := f.text(name); v != "" {
			out = append(out, hiddenValue{name, v})
		}
	}
	return out
}

func positionFilterNames() []string {
	return []string{"site", "machine", "kind", "circuit", "policy", "hurt", "exposed", "text", "empty"}
}

// positionFilter reads the filters from the address. What cannot be meant is
// told and left out.
func (s *Server) positionFilter(c echo.Context) (register.PositionFilter, *form) {
	f := s.fromQuery(c, positionFilterNames()...)
	return register.PositionFilter{
		Site: f.text("site"), Machine: f.text("machine"), Kind: f.text("kind"), Circuit: f.text("circuit"), Policy: f.text("policy"),
		Empty: f.ticked("empty"), CanHurt: f.yesOrNo("hurt"), Exposed: f.yesOrNo("exposed"), Text: f.text("text"),
	}, f
}

// yesOrNo reads yes or no, empty as nil.
func (f *form) yesOrNo(name string) *bool {
	v := f.text(name)
	is := v == "yes"
	switch v {
	case "":
		return nil
	case "yes", "no":
		return &is
	}
	f.wrong(name, "Choose yes or no; it is left out.")
	return nil
}

func (s *Server) positions(c echo.Context) error {
	ctx := c.Request().Context()
	filter, f := s.positionFilter(c)
	filter.After, filter.Limit = query(c, "after"), listLimit
	found, err := s.store(c).Positions(ctx, s.deps.Now(), filter)
	if err != nil {
		return wrap("list positions", err)
	}
	page := positionsPage{Base: s.base(c, "positions", "Positions"), Errors: f.Problems, Lines: found.Lines, Ticks: []tick{f.tick("empty", "Without a hose only")}}
	if page.Filters, page.Site, err = s.positionFields(c, f); err != nil {
		return err
	}
	pairs := f.pairs(positionFilterNames()...)
	page.List = listOf("/positions", pairs, filter.After, found.Next, counted(found.Total, found.More, "position", "positions"))
	page.Kept = f.hidden(positionFilterNames()...)
	if len(found.Lines) > 0 {
		page.All = address("/positions/change", append(pairs, "all", "yes")...)
	}
	return s.show(c, "positions", page)
}

// positionFields are the filters as the page shows them, and the site they
// name if there is one.
func (s *Server) positionFields(c echo.Context, f *form) (fields []field, site string, err error) {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return nil, "", wrap("list sites", err)
	}
	kinds, err := s.store(c).Kinds(ctx)
	if err != nil {
		return nil, "", wrap("list kinds of machines", err)
	}
	policies, err := s.store(c).Policies(ctx)
	if err != nil {
		return nil, "", wrap("list policies", err)
	}
	var policyNames []string
	for _, p := range policies {
		policyNames = append(policyNames, p.Name)
	}
	either := choiceOf("all", []string{"yes", "no"})
	fields = []field{
		f.field("machine", "Machine"), f.field("kind", "Kind of machine").choose(choiceOf("all", kindNames(kinds))...), f.field("circuit", "Circuit"),
		f.field("policy", "Policy").choose(choiceOf("all", policyNames)...), f.field("hurt", "A burst can hurt someone").choose(either...),
		f.field("exposed", "Exposed").choose(either...), f.field("text", "Search"),
	}
	if own := siteField(sites, f.text("site")); own != nil {
		fields = slices.Insert(fields, 0, *own)
	}
	return fields, knownSite(sites, f.text("site")), nil
}
