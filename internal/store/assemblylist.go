package store

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// mostCounted is how far the lines of a list are counted; beyond it is said
// that there are more.
const mostCounted = 1000

// Where an assembly can be, for AssemblyFilter.
const (
	whereFitted   = "fitted"
	whereInStore  = "in store"
	whereScrapped = "scrapped"
)

// Assemblies is a page of the assemblies the filter chooses, by code: fitted,
// in store and scrapped ones. Total counts up to 1000.
func (s *Store) Assemblies(ctx context.Context, now time.Time, f register.AssemblyFilter) (register.AssemblyPage, error) {
	var page register.AssemblyPage
	d, err := s.days(ctx, now)
	if err != nil {
		return page, err
	}
	q, err := s.assemblyQuery(f)
	if err != nil {
		return page, err
	}
	if page.Total, page.More, err = s.countUpTo(ctx, "SELECT 1 "+q.from+q.where(), q.args); err != nil {
		return page, fmt.Errorf("count assemblies: %w", err)
	}
	if f.After != "" {
		var code string
		if err := decodeCursor(f.After, &code); err != nil {
			return page, err
		}
		q.and("a.code > ?", code)
	}
	limit := pageSize(f.Limit)
	list, err := assembliesWhere(ctx, s.reader(), q, limit+1)
	if err != nil {
		return page, err
	}
	if len(list) > limit {
		list = list[:limit]
		page.Next = encodeCursor(list[limit-1].Code)
	}
	if page.Lines, err = s.assemblyLines(ctx, d, list); err != nil {
		return page, err
	}
	return page, s.warnStored(ctx, d, page.Lines)
}

// warnStored says of those in store why they may not be fitted any more.
func (s *Store) warnStored(ctx context.Context, d *days, lines []register.AssemblyLine) error {
	at := map[int64]*register.AssemblyLine{}
	var in []int64
	for i := range lines {
		if lines[i].Status == life.StatusInStore {
			at[lines[i].Assembly.ID] = &lines[i]
			in = append(in, lines[i].Assembly.ID)
		}
	}
	if len(in) == 0 {
		return nil
	}
	f, err := readFrame(ctx, s.reader())
	if err != nil {
		return err
	}
	facts, err := f.facts(ctx, s.reader(), in)
	if err != nil {
		return err
	}
	for i := range facts.Assemblies {
		mine := &facts.Assemblies[i]
		site := d.sites[mine.Assembly.SiteID]
		sheet := register.AssemblySheet{
			Assembly: mine.Assembly, Site: site, Today: d.today[site.ID], Status: life.StatusInStore, Policy: facts.Policies[site.PolicyID],
		}
		if err := work(facts, mine, &sheet); err != nil {
			return err
		}
		at[mine.Assembly.ID].Warnings = sheet.Store
		if sheet.Problem != "" {
			at[mine.Assembly.ID].Warnings = append(sheet.Store, life.Warning{Code: life.WarnDataMissing, Text: sheet.Problem})
		}
	}
	return nil
}

// listQuery is the condition of a filter, put together.
type listQuery struct {
	from  string
	conds []string
	args  []any
}

func (q *listQuery) and(cond string, args ...any) {
	q.conds = append(q.conds, cond)
	q.args = append(q.args, args...)
}

func (q *listQuery) where() string {
	if len(q.conds) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(q.conds, " AND ")
}

// countUpTo counts the rows of a query up to mostCounted.
func (s *Store) countUpTo(ctx context.Context, query string, args []any) (n int, more bool, err error) {
	err = s.reader().row(ctx, "SELECT COUNT(*) FROM ("+query+" LIMIT "+strconv.Itoa(mostCounted+1)+") counted", args...).Scan(&n)
	if n > mostCounted {
		return mostCounted, true, translate(err)
	}
	return n, false, translate(err)
}

func (s *Store) assemblyQuery(f register.AssemblyFilter) (*listQuery, error) {
	q := &listQuery{from: "FROM assemblies a"}
	switch f.Where {
	case "":
	case whereFitted:
		q.and("EXISTS (SELECT 1 FROM placements o WHERE o.assembly_id = a.id AND o.to_on IS NULL)")
	case whereInStore: // few among many, so the texts to search lead to them
		cond, args := s.e.hasPieces(findAssemblies, []string{" " + storedMark + " "})
		q.and("a.id IN (SELECT "+s.e.findID()+" FROM "+findAssemblies.name+" WHERE "+cond+")", args...)
	case whereScrapped:
		q.and("a.scrapped_on IS NOT NULL")
	default:
		return nil, refuse(register.Invalid, "where", "Assemblies are fitted, in store or scrapped, not %s.", f.Where)
	}
	if f.Site != "" {
		q.and(siteOfAssembly+" IN (SELECT id FROM sites WHERE LOWER(name) = ?)", fold(lookFor(f.Site)))
	}
	s.atSite(q, siteOfAssembly)
	if f.Designation != "" {
		q.and("a.designation "+s.e.like+` ? ESCAPE '\'`, pattern(lookFor(f.Designation)))
	}
	if f.DN != 0 {
		q.and("a.dn = ?", f.DN)
	}
	s.textIn(q, findAssemblies, "a", f.Text)
	return q, nil
}

// textIn limits a query to rows whose text has all words of text in it; with
// one or two letters to those whose code begins with them.
func (s *Store) textIn(q *listQuery, f findTable, alias, text string) {
	text = plainText(text)
	if text == "" {
		return
	}
	cond, args := s.e.has(f, text)
	if cond == "" {
		q.and("LOWER("+alias+".code) >= ? AND LOWER("+alias+".code) < ?", fold(text), fold(text)+"\U0010ffff")
		return
	}
	q.and(alias+".id IN (SELECT "+s.e.findID()+" FROM "+f.name+" WHERE "+cond+")", args...)
}

func assembliesWhere(ctx context.Context, c conn, q *listQuery, limit int) ([]register.Assembly, error) {
	rows, err := c.query(ctx, "SELECT "+assemblies.prefixed("a")+" "+q.from+q.where()+" ORDER BY a.code LIMIT "+strconv.Itoa(limit), q.args...)
	if err != nil {
		return nil, fmt.Errorf("list assemblies: %w", translate(err))
	}
	defer rows.Close()
	var list []register.Assembly
	for rows.Next() {
		var a register.Assembly
		if err := rows.Scan(assemblies.dest(nil, &a)...); err != nil {
			return nil, fmt.Errorf("list assemblies: %w", err)
		}
		list = append(list, a)
	}
	return list, translate(rows.Err())
}

// assemblyLines adds to assemblies where they are and what their estimates say.
func (s *Store) assemblyLines(ctx context.Context, d *days, list []register.Assembly) ([]register.AssemblyLine, error) {
	lines := make([]register.AssemblyLine, len(list))
	at := make(map[int64]int, len(list))
	in := make([]int64, len(list))
	for i, a := range list {
		lines[i].Assembly, at[a.ID], in[i] = a, i, a.ID
	}
	rows, err := s.reader().query(ctx, `SELECT a.id, COALESCE(m.site_id, a.site_id), COALESCE(m.code, ''), COALESCE(q.name, ''), p.id IS NOT NULL,
			COALESCE(e.stop_open, FALSE), e.act_by, p.id IS NOT NULL AND NOT COALESCE(e.complete, FALSE),
			(SELECT COUNT(*) FROM placements o WHERE o.assembly_id = a.id)
		FROM assemblies a LEFT JOIN placements p ON p.assembly_id = a.id AND p.to_on IS NULL
			LEFT JOIN positions q ON q.id = p.position_id LEFT JOIN machines m ON m.id = q.machine_id
			LEFT JOIN estimates e ON e.assembly_id = a.id
		WHERE a.id IN (`+idList(in)+")")
	if err != nil {
		return nil, fmt.Errorf("read where assemblies are: %w", translate(err))
	}
	defer rows.Close()
	for rows.Next() {
		var r seenRow
		var id, site int64
		var incomplete bool
		var times int
		if err := rows.Scan(&id, &site, &r.machine, &r.position, &r.fitted, &r.stop, &r.actBy, &incomplete, &times); err != nil {
			return nil, fmt.Errorf("read where assemblies are: %w", err)
		}
		l := &lines[at[id]]
		r.scrapped = l.Assembly.ScrappedOn
		l.Site, l.Machine, l.Position, l.Placements = d.sites[site].Name, r.machine, r.position, times
		l.Status, l.ActBy, l.Incomplete = r.status(d.today[site]), r.actBy, incomplete
	}
	return lines, translate(rows.Err())
}
