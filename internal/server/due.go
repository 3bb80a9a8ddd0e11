package server

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
	"hoseward/web"
)

// dueStore is what the due list asks of the register.
type dueStore interface {
	Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error)
	Sites(ctx context.Context) ([]register.Site, error)
	Kinds(ctx context.Context) ([]register.Kind, error)
	FewMachineCodes(ctx context.Context, most int) ([]string, error)
}

// duePage is everything in date order, grouped by month and machine.
type duePage struct {
	Base
	Filters []field
	Ticks   []tick
	Errors  []problem
	Months  []dueMonth
	Total   int
	More    bool // there are more than Total
	Shown   int
	Active  string // the filters in force, in words
	First   string // address of the first page; empty on it
	Next    string // address of the next page; empty on the last
	Files   listFiles
	Keep    string // address to keep this list by
	Clear   string // address without filters; empty if there are none
	Safety  []string
}

// dueMonth is what is due in one month, machine by machine.
type dueMonth struct {
	Title    string
	ID       string
	Lacking  bool   // what is incomplete, before the months
	More     string // address of all of it, where more is lacking
	Machines []dueMachine
}

type dueMachine struct {
	Code, Name, Site string
	Lines            []line
}

// dueLimit is how many lines one page of the due list has.
const dueLimit = 100

func (s *Server) due(c echo.Context) error {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	filter, form := dueFilter(c, sites)
	filter.After, filter.Limit = query(c, "after"), dueLimit
	found, err := s.store(c).Lines(ctx, s.deps.Now(), filter)
	if err != nil {
		return wrap("list what is due", err)
	}
	page := duePage{
		Base: s.base(c, "due", "Due"), Errors: form.Problems, Months: groupLines(form.style, found.Lines), Total: found.Total, More: found.More, Shown: len(found.Lines),
		Safety: safetyLines(),
	}
	page.Site, page.Machine = filter.Site, filter.Machine
	if err := s.incompleteFirst(c, &page, filter, form); err != nil {
		return err
	}
	if page.Filters, err = s.dueFields(c, form, sites); err != nil {
		return err
	}
	page.Ticks = []tick{
		form.tick("incomplete", "Incomplete only"),
		form.tick("hurt", "Only where a burst can hurt someone"),
		form.tick("over", "Only those worked above their rating"),
	}
	pairs := dueQuery(form)
	page.Files = filesOf(address("/due", pairs...))
	page.Keep = address("/due", pairs...)
	if address("/due", pairs...) != "/due" {
		page.Clear, page.Active = "/due", activeFilters(form)
	}
	if filter.After != "" {
		page.First = address("/due", pairs...)
	}
	if found.Next != "" {
		page.Next = address("/due", append(pairs, "after", found.Next)...)
	}
	return s.show(c, "due", page)
}

// incompleteLimit is how many incomplete assemblies lead the due list.
const incompleteLimit = 5

// incompleteFirst puts what is incomplete before the months, whatever its
// dates: a date that lacks data may be too late. Only what is stopped or
// overdue comes before it. It stands on the first page only.
func (s *Server) incompleteFirst(c echo.Context, page *duePage, filter register.LineFilter, form *form) error {
	ctx := c.Request().Context()
	if filter.After != "" || filter.Incomplete {
		return nil
	}
	filter.Incomplete, filter.WithinDays, filter.Limit, filter.Uncounted = true, nil, incompleteLimit, true
	found, err := s.store(c).Lines(ctx, s.deps.Now(), filter)
	if err != nil {
		return wrap("list what is incomplete", err)
	}
	if len(found.Lines) == 0 {
		return nil
	}
	part := dueMonth{Title: "Incomplete – the date may be too late", ID: "lacking", Lacking: true}
	for _, l := range found.Lines {
		part.add(form.style, l)
	}
	if found.Next != "" {
		part.More = address("/due", append(dueQuery(form), "incomplete", "yes")...)
	}
	at := 0
	for at < len(page.Months) && (page.Months[at].Title == stopTitle || page.Months[at].Title == overdueTitle) {
		at++
	}
	page.Months = slices.Insert(page.Months, at, part)
	return nil
}

// dueNames are the names of the filters in the address.
func dueNames() []string {
	return []string{"site", "machine", "kind", "status", "within", "inspection", "text", "incomplete", "hurt", "over"}
}

func dueQuery(f *form) []string {
	var pairs []string
	for _, name := range dueNames() {
		pairs = append(pairs, name, f.text(name))
	}
	return pairs
}

// activeFilters says which filters are in force.
func activeFilters(f *form) string {
	var words []string
	for _, name := range dueNames() {
		v := f.text(name)
		if v == "" || f.errorAt(name) != "" {
			continue
		}
		switch name {
		case "within":
			v = "due within " + v + " days"
		case "inspection":
			v = "inspection " + map[string]string{"overdue": "overdue", "soon": "within 30 days"}[v]
		case "incomplete":
			v = "incomplete"
		case "hurt":
			v = "where a burst can hurt someone"
		case "over":
			v = "worked above their rating"
		default:
			v = name + " “" + v + "”"
		}
		words = append(words, v)
	}
	return strings.Join(words, ", ")
}

// dueFilter reads the filters from the address. What cannot be meant is told
// and left out.
func dueFilter(c echo.Context, sites []register.Site) (register.LineFilter, *form) {
	f := newForm()
	f.style = styleOf(c)
	for _, name := range dueNames() {
		f.values.Set(name, query(c, name))
	}
	filter := register.LineFilter{
		Site: f.text("site"), Machine: f.text("machine"), Kind: f.text("kind"), Text: f.text("text"),
		Incomplete: f.ticked("incomplete"), CanHurt: f.ticked("hurt"), OverRating: f.ticked("over"),
	}
	if filter.Site != "" && knownSite(sites, filter.Site) == "" {
		f.wrong("site", "There is no site “"+filter.Site+"”; all sites are shown.")
		filter.Site = ""
	}
	switch status := life.Status(f.text("status")); status {
	case "":
	case life.StatusStop, life.StatusOverdue, life.StatusSoon, life.StatusAhead, life.StatusInService:
		filter.Status = status
	default:
		f.wrong("status", "There is no status “"+string(status)+"”; all are shown.")
	}
	switch f.text("inspection") {
	case "":
	case "overdue":
		filter.InspectionOverdue = true
	case "soon":
		filter.InspectionSoon = true
	default:
		f.wrong("inspection", "This filter is not known; it is left out.")
	}
	if within := f.text("within"); within != "" {
		days, err := strconv.Atoi(within)
		if err != nil || days < 0 || days > 36500 {
			f.wrong("within", "“"+within+"” is not a number of days from 0 to 36500; all dates are shown.")
		} else {
			filter.WithinDays = &days
		}
	}
	return filter, f
}

// suggestedMachines is up to how many machines a page offers their codes: more
// would outweigh all else on it.
const suggestedMachines = 200

// dueFields are the filters as the page shows them.
func (s *Server) dueFields(c echo.Context, f *form, sites []register.Site) ([]field, error) {
	ctx := c.Request().Context()
	kinds, err := s.store(c).Kinds(ctx)
	if err != nil {
		return nil, wrap("list kinds of machines", err)
	}
	codes, err := s.store(c).FewMachineCodes(ctx, suggestedMachines)
	if err != nil {
		return nil, wrap("list machines", err)
	}
	status := choiceOf("all", []string{string(life.StatusStop), string(life.StatusOverdue), string(life.StatusSoon), string(life.StatusAhead), string(life.StatusInService)})
	fields := []field{
		f.field("status", "Status").choose(status...),
		f.field("within", "Within days").decimal(),
		f.field("machine", "Machine").suggest(codes),
		f.field("kind", "Kind of machine").choose(choiceOf("all", kindNames(kinds))...),
		f.field("inspection", "Inspection").choose(option{"", "all"}, option{"overdue", "overdue"}, option{"soon", "within 30 days"}),
		f.field("text", "Search"),
	}
	if len(sites) > 1 || f.text("site") != "" {
		fields = append([]field{f.field("site", "Site").choose(choiceOf("all", siteNames(sites))...)}, fields...)
	}
	return fields, nil
}

// groupLines groups lines, which come in the order of the due list, by month
// and within it by machine; the first of each decides the order.
func groupLines(st web.Style, lines []register.Line) []dueMonth {
	var months []dueMonth
	for _, l := range lines {
		title := monthTitle(l)
		if len(months) == 0 || months[len(months)-1].Title != title {
			months = append(months, dueMonth{Title: title, ID: "month" + strconv.Itoa(len(months)+1)})
		}
		months[len(months)-1].add(st, l)
	}
	return months
}

// add adds a line under its machine.
func (m *dueMonth) add(st web.Style, l register.Line) {
	at := slices.IndexFunc(m.Machines, func(d dueMachine) bool { return d.Code == l.MachineCode })
	if at < 0 {
		at = len(m.Machines)
		m.Machines = append(m.Machines, dueMachine{Code: l.MachineCode, Name: l.MachineName, Site: l.Site})
	}
	m.Machines[at].Lines = append(m.Machines[at].Lines, lineOf(st, l))
}

// The headings of what does not wait for its month.
const (
	stopTitle    = "Stop – not to be worked with"
	overdueTitle = "Overdue"
)

// monthTitle is the heading a line stands under.
func monthTitle(l register.Line) string {
	switch l.Status {
	case life.StatusStop:
		return stopTitle
	case life.StatusOverdue:
		return overdueTitle
	}
	if l.Estimate.ActBy.IsZero() {
		return "No date"
	}
	y, m, _ := l.Estimate.ActBy.YMD()
	return time.Month(m).String() + " " + strconv.Itoa(y)
}

// machineTitle is a machine's code and name.
func machineTitle(code, name string) string {
	if web.Or(name, code) == code {
		return code
	}
	return code + " – " + name
}
