package server

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/web"
)

// historyStore is what the pages of the change log ask of the register.
type historyStore interface {
	Changes(ctx context.Context, f register.ChangeFilter) (register.ChangePage, error)
	HistoryOf(ctx context.Context, h register.History) (register.ChangePage, error)
	IDNamed(ctx context.Context, table, name string) (int64, error)
	ChainHead(ctx context.Context) (register.Head, error)
}

// historyRoutes are the pages of the change log.
func (s *Server) historyRoutes() []route {
	return []route{
		{get, "/history/:thing/:id", register.RightSee, s.history},
		{get, "/people/:id/history", register.RightManage, s.personHistory},
		{get, "/changes", register.RightManage, s.changes},
		{get, "/changes.csv", register.RightManage, s.changesFile},
		{get, "/changes.xlsx", register.RightManage, s.changesFile},
	}
}

// changeView is a row of the change log in words.
type changeView struct {
	Seq     int64
	Hash    string // its first letters
	When    string
	Who     string
	By      string // page, import, API, job, command line
	Report  string // where the report of its import is; empty if none
	Subject string // Machine RT-04
	History string // where its history is; empty if it has none
	Action  string
	Fields  []changedField
	Reason  string
}

// hashLetters is how many letters of a hash pages show.
const hashLetters = 12

// changeViews puts rows of the log into words. Times are those of the site a
// change belongs to.
func (s *Server) changeViews(c echo.Context, page register.ChangePage) ([]changeView, error) {
	sites, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return nil, wrap("list sites", err)
	}
	zones := map[int64]*time.Location{}
	for _, site := range sites {
		if loc, err := time.LoadLocation(site.Zone); err == nil {
			zones[site.ID] = loc
		}
	}
	plans := s.has(c, register.RightPlan)
	views := make([]changeView, len(page.Changes))
	for i := range page.Changes {
		ch := &page.Changes[i]
		w := changeWords{style: s.style(c), names: page.Names, zone: s.deps.Zone}
		if ch.SiteID != nil && zones[*ch.SiteID] != nil {
			w.zone = zones[*ch.SiteID]
		}
		views[i] = changeView{
			Seq: ch.Seq, Hash: ch.Hash[:min(len(ch.Hash), hashLetters)], When: w.when(ch.At), Who: w.named("people", ch.PersonID), By: string(ch.Origin),
			Subject: w.subject(ch), History: historyPath(ch.Entity, ch.EntityID), Action: string(ch.Action), Fields: w.fields(ch), Reason: ch.Reason,
		}
		if ch.ImportID != nil {
			views[i].By = "import"
			if n, ok := page.Names.Of("imports", *ch.ImportID); ok && n.Text != "" {
				views[i].By += " of " + n.Text
			}
			if plans {
				views[i].Report = historyPath("imports", *ch.ImportID)
			}
		}
	}
	return views, nil
}

// historyPath is where the history of a row is; empty where it has none.
func historyPath(table string, id int64) string {
	if table == "people" {
		return personPath(id, "history")
	}
	if k := kindOfTable(table); k.Path != "" {
		return web.Path("history", k.Path, intText64(id))
	}
	return ""
}

// historyPage is the changes of one thing.
type historyPage struct {
	Base
	Changes []changeView
	List    listView
	Shipped bool // it may have come with the program
	Partial bool // whoever reads it sees some sites only
}

func (s *Server) history(c echo.Context) error {
	id, err := idParam(c, "id")
	if err != nil {
		return err
	}
	i := slices.IndexFunc(thingKinds(), func(k thingKind) bool { return k.Path != "" && k.Path == c.Param("thing") })
	if i < 0 {
		return echo.ErrNotFound
	}
	kind := thingKinds()[i]
	if kind.Table == "imports" && !s.has(c, register.RightPlan) {
		return errForbidden(register.RightPlan)
	}
	return s.showHistory(c, kind, id)
}

// personHistory is what was changed about a person, for who may change them.
func (s *Server) personHistory(c echo.Context) error {
	sheet, err := s.sheetOfPerson(c)
	if err != nil {
		return err
	}
	return s.showHistory(c, kindOfTable("people"), sheet.ID)
}

func (s *Server) showHistory(c echo.Context, kind thingKind, id int64) error {
	ctx := c.Request().Context()
	before, err := cursor(c)
	if err != nil {
		return err
	}
	reg := s.store(c)
	if kind.Table == "people" {
		reg = s.all() // what is about people is of no site; who may see it was decided
	}
	page, err := reg.HistoryOf(ctx, register.History{Entity: kind.Table, ID: id, Before: before, Limit: listLimit})
	if err != nil {
		return wrap("read the history", err)
	}
	shipped := kind.Table == "kinds" || kind.Table == "policies" || kind.Table == "duties"
	name, known := page.Names.Of(kind.Table, id)
	if len(page.Changes) == 0 && before == 0 && !(shipped && known) {
		return echo.ErrNotFound
	}
	out := historyPage{Base: s.base(c, "", ""), Shipped: shipped, Partial: !s.hasAt(c, 0, register.RightSee)}
	if out.Changes, err = s.changeViews(c, page); err != nil {
		return err
	}
	thing := strings.TrimSpace(kind.One + " " + name.Text)
	if !known {
		thing = subjectOf(out.Changes, historyPath(kind.Table, id), thing)
	}
	if name.Machine != "" {
		thing += ", machine " + name.Machine
		out.Machine = name.Machine
	}
	if kind.Table == "machines" {
		out.Machine = name.Text
	}
	out.Title = "History: " + thing
	out.List = listOf(historyPath(kind.Table, id), nil, c.QueryParam("after"), nextOf(page), web.Count(len(page.Changes), "change", "changes"))
	if out.List.First != "" || out.List.Next != "" {
		out.List.Count = web.Count(len(page.Changes), "change", "changes") + " on this page"
	}
	return s.show(c, "history", out)
}

// subjectOf is what a thing that is not there any more is called, by its own
// changes.
func subjectOf(list []changeView, path, otherwise string) string {
	for _, v := range list {
		if v.History == path {
			return uncapital(v.Subject)
		}
	}
	return otherwise
}

// cursor is where a page of the log begins.
func cursor(c echo.Context) (int64, error) {
	text := c.QueryParam("after")
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 {
		return 0, echo.ErrNotFound
	}
	return n, nil
}

func nextOf(p register.ChangePage) string {
	if p.Next == 0 {
		return ""
	}
	return intText64(p.Next)
}

// changesPage is the whole log with filters.
type changesPage struct {
	Base
	Filters []field
	Errors  []problem
	Changes []changeView
	List    listView
	Head    register.Head
	People  bool // changes about people are among them
}

func changeFilterNames() []string {
	return []string{"person", "origin", "from", "to", "site", "machine", "assembly", "thing", "action", "reason", "act"}
}

func origins() []string {
	return []string{string(register.FromPage), string(register.FromImport), string(register.FromAPI), string(register.FromCommand), string(register.FromJob), string(register.FromDemo)}
}

func actions() []string {
	return []string{string(register.Added), string(register.Changed), string(register.Deleted)}
}

// managed is the register of the sites that whoever sends a request manages.
func (s *Server) managed(c echo.Context) Store { return s.deps.For(s.managing(c)) }

// changeFilter reads the filters from the address. What cannot be meant is told
// and left out.
func (s *Server) changeFilter(c echo.Context) (register.ChangeFilter, *form, error) {
	f := s.fromQuery(c, changeFilterNames()...)
	filter := register.ChangeFilter{
		Origin: register.Origin(chosen(origins(), f.text("origin"))), Action: register.Action(chosen(actions(), f.text("action"))),
		Reason: f.text("reason"), People: s.managing(c).All,
	}
	for _, k := range thingKinds() {
		if k.One == f.text("thing") {
			filter.Entity = k.Table
		}
	}
	if filter.Entity == "" && f.text("thing") != "" {
		f.wrong("thing", "There is no such thing in the change log; all are shown.")
	}
	if d := f.day("from"); !d.IsZero() {
		filter.From = d.In(s.deps.Zone)
	}
	if d := f.day("to"); !d.IsZero() {
		filter.Until = d.AddDays(1).In(s.deps.Zone)
	}
	if n, err := strconv.ParseInt(f.text("act"), 10, 64); err == nil {
		filter.ActID = n
	}
	for _, by := range []struct {
		name, table, sentence string
		to                    *int64
	}{
		{"person", "people", "There is nobody of this name; changes of all are shown.", &filter.PersonID},
		{"site", "sites", "There is no such site; all are shown.", &filter.SiteID},
		{"machine", "machines", "There is no machine of this code; all are shown.", &filter.MachineID},
		{"assembly", "assemblies", "There is no assembly of this code; all are shown.", &filter.AssemblyID},
	} {
		if f.text(by.name) == "" {
			continue
		}
		id, err := s.managed(c).IDNamed(c.Request().Context(), by.table, f.text(by.name))
		if err != nil {
			return filter, f, wrap("read filters", err)
		}
		if *by.to = id; id == 0 {
			f.wrong(by.name, by.sentence)
		}
	}
	return filter, f, nil
}

func (s *Server) changes(c echo.Context) error {
	ctx := c.Request().Context()
	filter, f, err := s.changeFilter(c)
	if err != nil {
		return err
	}
	if filter.Before, err = cursor(c); err != nil {
		return err
	}
	filter.Limit = listLimit
	found, err := s.managed(c).Changes(ctx, filter)
	if err != nil {
		return wrap("list changes", err)
	}
	page := changesPage{Base: s.base(c, "changes", "Changes"), Errors: f.Problems, People: filter.People}
	if page.Head, err = s.store(c).ChainHead(ctx); err != nil {
		return wrap("list changes", err)
	}
	if page.Changes, err = s.changeViews(c, found); err != nil {
		return err
	}
	if page.Filters, err = s.changeFields(c, f); err != nil {
		return err
	}
	page.List = listOf("/changes", f.pairs(changeFilterNames()...), c.QueryParam("after"), nextOf(found), web.Count(len(found.Changes), "change", "changes")+" on this page")
	return s.show(c, "changes", page)
}

func (s *Server) changeFields(c echo.Context, f *form) ([]field, error) {
	sites, err := s.managed(c).Sites(c.Request().Context())
	if err != nil {
		return nil, wrap("list sites", err)
	}
	var things []string
	for _, k := range thingKinds() {
		things = append(things, k.One)
	}
	hint := s.style(c).HintDate()
	fields := []field{
		f.field("person", "Who"), f.field("from", "From").hint(hint), f.field("to", "To").hint(hint),
		f.field("machine", "Machine"), f.field("assembly", "Assembly"),
		f.field("thing", "What").choose(choiceOf("everything", things)...),
		f.field("action", "Was").choose(choiceOf("added, changed or deleted", actions())...),
		f.field("origin", "Through").choose(choiceOf("any door", origins())...),
		f.field("reason", "In the reason"),
	}
	if own := siteField(sites, f.text("site")); own != nil {
		fields = append(fields, *own)
	}
	return fields, nil
}

// changeRow is a change as a list has it.
type changeRow struct {
	register.Change
	words changeWords
}

func changeColumns() []exchange.ListColumn[changeRow] {
	id := func(v *int64) any {
		if v == nil {
			return nil
		}
		return int(*v)
	}
	return []exchange.ListColumn[changeRow]{
		column("number", func(r changeRow) any { return int(r.Seq) }),
		column("at_utc", func(r changeRow) any { return r.At.UTC().Format("2006-01-02T15:04:05.000000Z") }),
		column("who", func(r changeRow) any { return r.words.named("people", r.PersonID) }),
		column("through", func(r changeRow) any { return string(r.Origin) }),
		column("what", func(r changeRow) any { return r.words.subject(&r.Change) }),
		column("was", func(r changeRow) any { return string(r.Action) }),
		column("fields", func(r changeRow) any { return fieldsText(r.words.fields(&r.Change)) }),
		column("reason", func(r changeRow) any { return r.Reason }),
		column("import", func(r changeRow) any { return id(r.ImportID) }),
		column("act", func(r changeRow) any { return id(r.ActID) }),
		column("table", func(r changeRow) any { return r.Entity }),
		column("id", func(r changeRow) any { return int(r.EntityID) }),
		column("hash_before", func(r changeRow) any { return r.PrevHash }),
		column("hash", func(r changeRow) any { return r.Hash }),
	}
}

func fieldsText(fields []changedField) string {
	texts := make([]string, len(fields))
	for i, f := range fields {
		texts[i] = f.Label + ": " + web.Or(f.Before, web.None) + " -> " + web.Or(f.After, web.None)
	}
	return strings.Join(texts, "; ")
}

// changesFile is the log with the same filters, whole.
func (s *Server) changesFile(c echo.Context) error {
	filter, f, err := s.changeFilter(c)
	if err != nil {
		return err
	}
	if err := firstProblem(f); err != nil {
		return err
	}
	filter.Limit = exportAtOnce
	reg := s.managed(c)
	return sendList(s, c, "changes", changeColumns(), pages(func(after string) ([]changeRow, string, error) {
		if after != "" {
			filter.Before, _ = strconv.ParseInt(after, 10, 64)
		}
		found, err := reg.Changes(c.Request().Context(), filter)
		rows := make([]changeRow, len(found.Changes))
		for i := range found.Changes {
			rows[i] = changeRow{found.Changes[i], changeWords{style: s.style(c), names: found.Names, zone: s.deps.Zone}}
		}
		return rows, nextOf(found), err
	}))
}
