package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/hose"
	"hoseward/internal/register"
)

// assembliesPage is the list of all assemblies.
type assembliesPage struct {
	Base
	Filters []field
	Errors  []problem
	Lines   []assemblyLine
	List    listView
}

// assemblyLine is one assembly of the list.
type assemblyLine struct {
	register.AssemblyLine
	InStore bool
}

// listView is what every long list shows around its lines.
type listView struct {
	Count string // how many there are, in words
	First string // address of the first page; empty on it
	Next  string // address of the next page; empty on the last
	Clear string // address without filters; empty if there are none
	Keep  string // address to keep this list by
}

// listLimit is how many lines one page of a list has.
const listLimit = 100

// listOf is the view of a list at a path with its filters.
func listOf(path string, pairs []string, after, next, count string) listView {
	v := listView{Count: count, Keep: address(path, pairs...)}
	if after != "" {
		v.First = v.Keep
	}
	if next != "" {
		v.Next = address(path, append(pairs, "after", next)...)
	}
	if v.Keep != path {
		v.Clear = path
	}
	return v
}

// counted is a count that stops at total where there are more.
func counted(total int, more bool, one, many string) string {
	switch {
	case more:
		return "over " + strconv.Itoa(total) + " " + many
	case total == 1:
		return "1 " + one
	}
	return strconv.Itoa(total) + " " + many
}

// fromQuery is a form of the values of the address, for filters.
func (s *Server) fromQuery(c echo.Context, names ...string) *form {
	f := s.newForm(c)
	for _, name := range names {
		f.values.Set(name, query(c, name))
	}
	return f
}

// pairs are the values of some fields, for an address.
func (f *form) pairs(names ...string) []string {
	var out []string
	for _, name := range names {
		out = append(out, name, f.text(name))
	}
	return out
}

func assemblyFilterNames() []string { return []string{"where", "site", "designation", "dn", "text"} }

// wheres is where an assembly can be.
func wheres() []string { return []string{"fitted", "in store", "scrapped"} }

// assemblyFilter reads the filters from the address. What cannot be meant is
// told and left out.
func (s *Server) assemblyFilter(c echo.Context) (register.AssemblyFilter, *form) {
	f := s.fromQuery(c, assemblyFilterNames()...)
	filter := register.AssemblyFilter{
		Where: chosen(wheres(), f.text("where")), Site: f.text("site"), Designation: f.text("designation"), DN: f.nominal("dn"), Text: f.text("text"),
	}
	if filter.Where == "" && f.text("where") != "" {
		f.wrong("where", "Assemblies are fitted, in store or scrapped; all are shown.")
	}
	return filter, f
}

func (s *Server) assemblies(c echo.Context) error {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	filter, f := s.assemblyFilter(c)
	filter.After, filter.Limit = query(c, "after"), listLimit
	found, err := s.store(c).Assemblies(ctx, s.deps.Now(), filter)
	if err != nil {
		return wrap("list assemblies", err)
	}
	page := assembliesPage{Base: s.base(c, "assemblies", "Hose assemblies"), Errors: f.Problems}
	page.Site = knownSite(sites, filter.Site)
	page.Filters = []field{
		f.field("where", "Where").choose(append([]option{{"", "everywhere"}}, options(wheres()...)...)...),
		f.field("designation", "Designation"), f.field("dn", "DN").hint("12, or a size such as -8 or 1/2\"."), f.field("text", "Search"),
	}
	if own := siteField(sites, f.text("site")); own != nil {
		page.Filters = append([]field{*own}, page.Filters...)
	}
	for _, l := range found.Lines {
		page.Lines = append(page.Lines, assemblyLine{l, l.Machine == "" && l.Assembly.ScrappedOn.IsZero()})
	}
	page.List = listOf("/assemblies", f.pairs(assemblyFilterNames()...), filter.After, found.Next, counted(found.Total, found.More, "hose assembly", "hose assemblies"))
	return s.show(c, "assemblies", page)
}

// nominal reads a size as its DN; a bare number is a DN. 0 where nothing is
// typed or it is no size.
func (f *form) nominal(name string) int {
	text := f.text(name)
	if text == "" {
		return 0
	}
	if n, err := strconv.Atoi(text); err == nil {
		if size, ok := hose.SizeOfDN(n); ok {
			return size.DN
		}
	}
	size, err := hose.OneSize(text)
	if err != nil || size.DN == 0 {
		f.wrong(name, "“"+text+"” is no size; all sizes are shown.")
		return 0
	}
	return size.DN
}
