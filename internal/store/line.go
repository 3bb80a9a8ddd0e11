package store

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// The sizes of a page of a list.
const (
	usualLimit = 100
	mostLimit  = 1000
)

func pageSize(limit int) int {
	if limit <= 0 {
		return usualLimit
	}
	return min(limit, mostLimit)
}

// Lines is a page of the installed assemblies the filter chooses, in the order
// of the due list. Every installed assembly has a row in estimates, so that
// table alone is looked through, along one of its indexes.
func (s *Store) Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error) {
	d, err := s.days(ctx, now)
	if err != nil {
		return register.LinePage{}, err
	}
	q := s.lineQuery(d, f)
	var page register.LinePage
	if page.Total, page.More, err = s.totalOf(ctx, d, f, q); err != nil {
		return register.LinePage{}, fmt.Errorf("count lines: %w", translate(err))
	}
	if err := q.after(f.After); err != nil {
		return register.LinePage{}, err
	}
	limit := pageSize(f.Limit)
	query, args := q.list(limit + 1)
	list, err := ids(ctx, s.reader(), query, args...)
	if err != nil {
		return register.LinePage{}, fmt.Errorf("list lines: %w", err)
	}
	more := len(list) > limit
	list = list[:min(len(list), limit)]
	if page.Lines, err = s.linesOf(ctx, d, list); err != nil {
		return register.LinePage{}, err
	}
	if more && len(page.Lines) > 0 {
		page.Next = cursorOf(&page.Lines[len(page.Lines)-1])
	}
	return page, nil
}

// countedTo is how far lines are counted that no tally counts.
const countedTo = 1000

// totalOf says how many lines a filter chooses: from the tallies where these
// know, else counted up to countedTo.
func (s *Store) totalOf(ctx context.Context, d *days, f register.LineFilter, q *lineQuery) (total int, more bool, err error) {
	if f.Uncounted {
		return 0, false, nil
	}
	if pick := tallyOf(f); pick != nil {
		c, err := s.countsOf(ctx, d, d.at(f.Site))
		return pick(&c), false, err
	}
	err = s.reader().row(ctx, "SELECT COUNT(*) FROM (SELECT 1"+q.from()+q.where()+fmt.Sprintf(" LIMIT %d) counted", countedTo+1), q.args...).Scan(&total)
	return min(total, countedTo), total > countedTo, err
}

// tallyOf picks the count that holds what a filter chooses at its site; nil
// where none does.
func tallyOf(f register.LineFilter) func(*register.Counts) int {
	site := register.LineFilter{Site: f.Site, After: f.After, Limit: f.Limit}
	with := func(set func(*register.LineFilter)) bool {
		other := site
		set(&other)
		return other == f
	}
	switch {
	case f == site:
		return func(c *register.Counts) int { return c.Assemblies }
	case with(func(o *register.LineFilter) { o.Incomplete = true }):
		return func(c *register.Counts) int { return c.Incomplete }
	case with(func(o *register.LineFilter) { o.OverRating = true }):
		return func(c *register.Counts) int { return c.OverRating }
	case with(func(o *register.LineFilter) { o.InspectionOverdue = true }):
		return func(c *register.Counts) int { return c.InspectionsOverdue }
	case with(func(o *register.LineFilter) { o.InspectionSoon = true }):
		return func(c *register.Counts) int { return c.InspectionsSoon }
	case with(func(o *register.LineFilter) { o.Status = f.Status }):
		return statusCount(f.Status)
	}
	return nil
}

// statusCount picks the count of a status.
func statusCount(status life.Status) func(*register.Counts) int {
	return func(c *register.Counts) int {
		switch status {
		case life.StatusStop:
			return c.Stop
		case life.StatusOverdue:
			return c.Overdue
		case life.StatusSoon:
			return c.Soon
		case life.StatusAhead:
			return c.Ahead
		case life.StatusInService:
			return c.InService
		}
		return 0 // in store and removed: not installed
	}
}

// lineQuery is the condition of a filter on estimates e, put together.
type lineQuery struct {
	e     *engine
	conds []string
	args  []any
	one   bool // one machine leads, not the order of the list
	// sites are the sites to choose from; nil for all. An empty list has none.
	sites []int64
}

// whereItSits joins the placement, position and machine of estimate e.
const whereItSits = `SELECT 1 FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
	WHERE p.assembly_id = e.assembly_id AND p.to_on IS NULL AND `

func (s *Store) lineQuery(d *days, f register.LineFilter) *lineQuery {
	q := &lineQuery{e: s.e}
	if f.Site != "" || !d.all {
		q.sites = append([]int64{}, d.at(f.Site)...)
	}
	if f.Machine != "" {
		q.one = true
		q.and("e.machine_id IN (SELECT id FROM machines WHERE LOWER(code) = ?)", fold(f.Machine))
	}
	if f.Kind != "" { // + keeps SQLite on the index of the list
		q.and("+e.machine_id IN (SELECT id FROM machines WHERE kind_id IN (SELECT id FROM kinds WHERE LOWER(name) = ?))", fold(f.Kind))
	}
	if f.CanHurt {
		q.and("EXISTS (" + whereItSits + "(q.can_hurt OR m.can_hurt))")
	}
	if f.Incomplete {
		q.and("NOT e.complete")
	}
	if f.InspectionOverdue {
		q.and("e.inspection_due < " + d.day(0))
	}
	if f.InspectionSoon {
		q.and(inspectionSoon(d))
	}
	if f.OverRating {
		q.and(overRating)
	}
	if f.WithinDays != nil {
		q.and("e.act_by <= " + d.day(*f.WithinDays))
		q.and(q.e.dueKey + " <= " + q.e.key(false, d.last.AddDays(*f.WithinDays)))
	}
	if f.Status != "" {
		q.status(f.Status, d)
	}
	if f.Text != "" {
		like := " " + s.e.like + ` ? ESCAPE '\'`
		p := pattern(f.Text)
		q.and("(EXISTS ("+whereItSits+"(m.code"+like+" OR m.name"+like+" OR q.name"+like+
			")) OR e.assembly_id IN (SELECT id FROM assemblies WHERE code"+like+" OR designation"+like+"))", p, p, p, p, p)
	}
	return q
}

// siteIs is the condition for some sites.
func (q *lineQuery) siteIs(of []int64) string {
	column := "e.site_id"
	if q.one {
		column = "+e.site_id" // the machine is found by its own index
	}
	if len(of) == 1 {
		return fmt.Sprintf("%s = %d", column, of[0])
	}
	return column + " IN (" + idList(of) + ")"
}

func (q *lineQuery) and(cond string, args ...any) {
	q.conds = append(q.conds, cond)
	q.args = append(q.args, args...)
}

// status chooses a status by where it begins and ends in the index of the due
// list. Where it is not the same day everywhere these ends are loose ones, and
// the condition itself comes with them.
func (q *lineQuery) status(s life.Status, d *days) {
	if d.differ {
		q.and(statusIs(s, d))
	}
	from, to := quantity.MinDate, quantity.MaxDate
	switch s {
	case life.StatusStop:
		q.and(q.e.dueKey + " < " + q.e.key(false, quantity.MinDate))
		return
	case life.StatusOverdue:
		to = d.last.AddDays(-1)
	case life.StatusSoon:
		from, to = d.first, d.last.AddDays(soonDays)
	case life.StatusAhead:
		from, to = d.first.AddDays(soonDays+1), d.last.AddDays(aheadDays)
	case life.StatusInService:
		from = d.first.AddDays(aheadDays + 1)
	default: // of nothing that is installed
		q.and(statusIs(s, d))
		return
	}
	q.and(q.e.dueKey + " >= " + q.e.key(false, from) + " AND " + q.e.dueKey + " <= " + q.e.key(false, to))
}

func (q *lineQuery) from() string { return " FROM estimates e" }

func (q *lineQuery) where() string { return q.whereAt(q.sites) }

func (q *lineQuery) whereAt(siteIDs []int64) string {
	conds := q.conds
	if siteIDs != nil {
		conds = append([]string{q.siteIs(siteIDs)}, conds...)
	}
	if len(conds) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(conds, " AND ")
}

// mergedSites bounds the sites whose lists are merged; the lists of more are
// looked for along the list of all.
const mergedSites = 100

// list asks for the placements of a page. The list of several sites is merged
// from the beginnings of theirs, each along the index of its site, so that no
// page looks through all that these sites have.
func (q *lineQuery) list(limit int) (string, []any) {
	const placement = "SELECT COALESCE((SELECT p.id FROM placements p WHERE p.assembly_id = e.assembly_id AND p.to_on IS NULL), 0)"
	inOrder := func(key string) string {
		return " ORDER BY " + key + fmt.Sprintf(", e.machine_code, e.walk_order, e.assembly_id LIMIT %d", limit)
	}
	if len(q.sites) < 2 || len(q.sites) > mergedSites || q.one {
		return placement + q.from() + q.where() + inOrder(q.e.dueKey), q.args
	}
	var args []any
	parts := make([]string, len(q.sites))
	for i, id := range q.sites {
		parts[i] = "SELECT * FROM (SELECT e.assembly_id, e.machine_code, e.walk_order, " + q.e.dueKey + " AS due_key" +
			q.from() + q.whereAt([]int64{id}) + inOrder(q.e.dueKey) + ") of_one"
		args = append(args, q.args...)
	}
	return placement + " FROM (" + strings.Join(parts, " UNION ALL ") + ") e" + inOrder("e.due_key"), args
}

// pattern is a text to be found anywhere, for LIKE.
func pattern(text string) string {
	return "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(text) + "%"
}

// The ends of soon and ahead, in days; life.StatusOn has the same.
const (
	soonDays  = 30
	aheadDays = 90
)

// inspectionSoon is the condition for an inspection due within soonDays.
func inspectionSoon(d *days) string {
	return "e.inspection_due >= " + d.day(0) + " AND e.inspection_due <= " + d.day(soonDays)
}

// overRating is the condition for work above the rating.
const overRating = `(e.warnings LIKE '%"over-rating"%' OR e.warnings LIKE '%"over-200-percent"%')`

// statusIs is the condition for a status of installed assemblies.
func statusIs(s life.Status, d *days) string {
	switch s {
	case life.StatusStop:
		return "e.stop_open"
	case life.StatusOverdue:
		return "NOT e.stop_open AND e.act_by < " + d.day(0)
	case life.StatusSoon:
		return "NOT e.stop_open AND e.act_by >= " + d.day(0) + " AND e.act_by <= " + d.day(soonDays)
	case life.StatusAhead:
		return "NOT e.stop_open AND e.act_by > " + d.day(soonDays) + " AND e.act_by <= " + d.day(aheadDays)
	case life.StatusInService:
		return "NOT e.stop_open AND (e.act_by IS NULL OR e.act_by > " + d.day(aheadDays) + ")"
	}
	return "1 = 0" // in store and removed: not installed
}

// cursor is where a page ended.
type cursor struct {
	Stop    bool          `json:"s,omitempty"`
	ActBy   quantity.Date `json:"d"`
	Machine string        `json:"m"`
	Walk    int           `json:"w"`
	ID      int64         `json:"i"`
}

func cursorOf(l *register.Line) string {
	e := &l.Estimate
	return encodeCursor(cursor{e.StopOpen, e.ActBy, e.MachineCode, e.WalkOrder, e.AssemblyID})
}

func encodeCursor(c any) string {
	b, err := json.Marshal(c)
	if err != nil {
		return "" // a struct of plain values always has a JSON form
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

func decodeCursor(text string, c any) error {
	b, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(b, c)
	}
	if err != nil {
		return refuse(register.Invalid, "after", "This page of the list cannot be found; begin at its first page.")
	}
	return nil
}

// after limits the query to what follows a cursor.
func (q *lineQuery) after(text string) error {
	if text == "" {
		if !q.one {
			// True of every row; it makes SQLite walk the index of the due list
			// instead of sorting all rows.
			q.and(q.e.dueKey + " >= " + q.e.key(true, quantity.MinDate))
		}
		return nil
	}
	var c cursor
	if err := decodeCursor(text, &c); err != nil {
		return err
	}
	key := q.e.key(c.Stop, c.ActBy)
	q.and(q.e.dueKey+" >= "+key+" AND ("+q.e.dueKey+" > "+key+" OR (e.machine_code, e.walk_order, e.assembly_id) > (?, ?, ?))", c.Machine, c.Walk, c.ID)
	return nil
}

// linesOf reads the lines of placements, in their order.
func (s *Store) linesOf(ctx context.Context, d *days, placementIDs []int64) ([]register.Line, error) {
	if len(placementIDs) == 0 {
		return nil, nil
	}
	rows, err := s.reader().query(ctx, `SELECT p.id, m.site_id, m.code, m.name, COALESCE(c.name, ''), q.name, q.walk_order,
			a.code, a.designation, a.dn, a.dash, a.made, a.assembled, p.from_on, `+estimates.prefixed("e")+`
		FROM placements p JOIN positions q ON q.id = p.position_id JOIN machines m ON m.id = q.machine_id
			JOIN assemblies a ON a.id = p.assembly_id JOIN estimates e ON e.assembly_id = p.assembly_id
			LEFT JOIN circuits c ON c.id = q.circuit_id
		WHERE p.id IN (`+idList(placementIDs)+")")
	if err != nil {
		return nil, fmt.Errorf("read lines: %w", translate(err))
	}
	defer rows.Close()
	at := make(map[int64]int, len(placementIDs))
	for i, id := range placementIDs {
		at[id] = i
	}
	lines := make([]register.Line, len(placementIDs))
	for rows.Next() {
		var l register.Line
		var placementID, siteID int64
		dest := []any{
			&placementID, &siteID, &l.MachineCode, &l.MachineName, &l.Circuit, &l.Position, &l.WalkOrder,
			&l.AssemblyCode, &l.Designation, &l.DN, &l.Dash, &l.Made, &l.Assembled, &l.Fitted,
		}
		if err := rows.Scan(estimates.dest(dest, &l.Estimate)...); err != nil {
			return nil, fmt.Errorf("read a line: %w", err)
		}
		site := d.sites[siteID]
		l.Site, l.Zone, l.Today = site.Name, site.Zone, d.today[siteID]
		l.Estimated = !l.Estimate.AsOf.IsZero()
		l.Estimate.Problem = s.problemOnLine(l.Estimate.Problem, l.MachineCode)
		l.Status = life.StatusOn(l.Estimate.StopOpen, l.Estimate.ActBy, l.Today)
		lines[at[placementID]] = l
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read lines: %w", translate(err))
	}
	lines = slices.DeleteFunc(lines, func(l register.Line) bool { return l.AssemblyCode == "" }) // removed meanwhile
	return lines, s.lastInspected(ctx, lines)
}

// lastInspected fills in the day of the last inspection.
func (s *Store) lastInspected(ctx context.Context, lines []register.Line) error {
	byAssembly := make(map[int64]*register.Line, len(lines))
	list := make([]int64, len(lines))
	for i := range lines {
		list[i] = lines[i].Estimate.AssemblyID
		byAssembly[list[i]] = &lines[i]
	}
	rows, err := s.reader().query(ctx, "SELECT assembly_id, MAX(on_day) FROM inspections WHERE assembly_id IN ("+idList(list)+") GROUP BY assembly_id")
	if err != nil {
		return fmt.Errorf("read last inspections: %w", translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var on quantity.Date
		if err := rows.Scan(&id, &on); err != nil {
			return fmt.Errorf("read last inspections: %w", err)
		}
		byAssembly[id].LastInspected = on
	}
	return translate(rows.Err())
}
