package server

import (
	"context"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/register"
)

// todayStore is what Today asks of the register.
type todayStore interface {
	Counts(ctx context.Context, now time.Time, site string) (register.Counts, error)
	Lines(ctx context.Context, now time.Time, f register.LineFilter) (register.LinePage, error)
	Sites(ctx context.Context) ([]register.Site, error)
	JobRuns(ctx context.Context, limit int) ([]register.JobRun, error)
}

// countRow is one line of Today: how many, what, and what to do about it.
type countRow struct {
	N      int
	Status life.Status // empty where the row is not one
	Word   string
	Text   string
	URL    string
}

// todayPage answers "what must I do now".
type todayPage struct {
	Base
	SiteField *field // nil with fewer than two sites
	Rows      []countRow
	Others    []countRow
	Counts    register.Counts
	Pressing  []line
	Failed    []register.JobRun
	Running   []jobProgress
	Backups   backupState // Late only for those who can do something about it
	Lists     []register.SavedList
	Safety    []string
}

// pressing is how many lines Today shows itself.
const pressing = 10

func (s *Server) today(c echo.Context) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	page := todayPage{Base: s.base(c, "today", "Today"), Safety: safetyLines()}
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	site := knownSite(sites, query(c, "site"))
	page.Site = site
	page.SiteField = siteField(sites, site)
	if page.Counts, err = s.store(c).Counts(ctx, now, site); err != nil {
		return wrap("count what is due", err)
	}
	page.Rows, page.Others = countRows(page.Counts, site)
	if page.Counts.Stop+page.Counts.Overdue+page.Counts.Soon+page.Counts.Incomplete > 0 {
		found, err := s.store(c).Lines(ctx, now, register.LineFilter{Site: site, Limit: pressing, Uncounted: true})
		if err != nil {
			return wrap("list what is due", err)
		}
		for _, l := range found.Lines {
			if l.Status != life.StatusInService || l.Incomplete() {
				page.Pressing = append(page.Pressing, lineOf(s.style(c), l))
			}
		}
	}
	runs, err := s.store(c).JobRuns(ctx, 50)
	if err != nil {
		return wrap("list runs of jobs", err)
	}
	page.Failed, page.Running = failedJobs(runs), running(runs)
	if s.has(c, register.RightManage) {
		if page.Backups, err = s.backups(c); err != nil {
			return err
		}
	}
	if page.Lists, err = s.savedLists(c); err != nil {
		return err
	}
	return s.show(c, "today", page)
}

// failedJobs are the jobs whose last run failed; runs come newest first.
func failedJobs(runs []register.JobRun) []register.JobRun {
	var failed []register.JobRun
	seen := map[string]bool{}
	for _, r := range runs {
		if r.Finished == nil || seen[r.Job] {
			continue
		}
		seen[r.Job] = true
		if r.Problem != "" {
			failed = append(failed, r)
		}
	}
	return failed
}

// countRows are the rows of Today: what is pressing, and what else there is to
// know.
func countRows(n register.Counts, site string) (rows, others []countRow) {
	due := func(pairs ...string) string { return address("/due", append(pairs, "site", site)...) }
	status := func(count int, s life.Status, text string) countRow {
		return countRow{N: count, Status: s, Word: string(s), Text: text, URL: due("status", string(s))}
	}
	rows = []countRow{
		status(n.Stop, life.StatusStop, "Damage that forbids working. Take the machine out of service now."),
		status(n.Overdue, life.StatusOverdue, "The date has passed. Replace these first."),
		{N: n.Incomplete, Word: "incomplete", Text: "A value is missing, so the date may be too late. Fill it in.", URL: due("incomplete", "yes")},
		status(n.Soon, life.StatusSoon, "Due within 30 days. Order or build the hoses."),
		{N: n.InspectionsOverdue, Word: "inspections overdue", Text: "The interval has passed. Look at these hoses.", URL: due("inspection", "overdue")},
		{N: n.InspectionsSoon, Word: "inspections soon", Text: "To be inspected within 30 days.", URL: due("inspection", "soon")},
		status(n.Ahead, life.StatusAhead, "Due within 31 to 90 days. Plan the work."),
		status(n.InService, life.StatusInService, "Not due within 90 days."),
	}
	others = []countRow{
		{N: n.OverRating, Word: "worked above their rating", Text: "Without a recorded pressure log or an assessment this is outside accepted practice.", URL: due("over", "yes")},
		{N: n.EmptyPositions, Word: "positions without a hose", Text: "Known to belong there, but none is noted.", URL: address("/positions", "empty", "yes", "site", site)},
		{N: n.Stale, Word: "being worked out anew", Text: "Dates that wait for a job that runs by itself.", URL: "/jobs"},
		{N: n.InStore, Word: "in store", Text: "Hose assemblies not fitted to a machine.", URL: address("/assemblies", "where", "in store", "site", site)},
	}
	return rows, others
}

// knownSite is name if it is one of the sites, else empty.
func knownSite(sites []register.Site, name string) string {
	for _, s := range sites {
		if s.Name == name {
			return name
		}
	}
	return ""
}

// siteField chooses a site; nil where there is nothing to choose.
func siteField(sites []register.Site, chosen string) *field {
	if len(sites) < 2 {
		return nil
	}
	fd := field{Name: "site", Label: "Site", Value: chosen}.choose(choiceOf("all sites", siteNames(sites))...)
	return &fd
}
