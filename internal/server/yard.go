package server

import (
	"fmt"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// yardPage is one field for each machine of a yard, to note what their hour
// meters show.
type yardPage struct {
	Base
	Problems []problem
	Filters  []field
	List     listView
	Action   string
	Once     string
	Told     []string // what was taken for granted in reading the day
	ToldKey  string
	Day      field
	Rows     []yardRow
	Noted    int // readings noted by the page that was sent
	Left     int // how many were not, and why stands at their fields
}

// yardRow is one machine of the page.
type yardRow struct {
	Line    register.MachineLine
	Title   string
	Hours   field
	Dispute *tick  // keep a doubtful reading out of the computation; nil where none is
	Meter   string // address of the form for a replaced meter
}

// yardLimit is how many machines one page has; of a page that was sent more
// are read, so that none that was typed at is missed.
const yardLimit = 100

func yardFilterNames() []string { return []string{"site", "kind", "text"} }

// hoursName and disputeName are the fields of a machine, by its code: a page
// that was sent names the machines it was typed at.
func hoursName(code string) string   { return "hours." + code }
func disputeName(code string) string { return "disputed." + code }

func (s *Server) yard(c echo.Context) error {
	return s.yardForm(c, s.newForm(c, "on", s.style(c).Date(s.base(c, "", "").Today)), 0)
}

// yardLines are the machines of the page in the address.
func (s *Server) yardLines(c echo.Context, limit int) (lines []register.MachineLine, filters *form, next string, err error) {
	filters = s.fromQuery(c, yardFilterNames()...)
	lines, next, err = s.store(c).MachineLines(c.Request().Context(), s.deps.Now(), register.MachineFilter{
		Site: filters.text("site"), Kind: filters.text("kind"), Text: filters.text("text"), After: query(c, "after"), Limit: limit,
	})
	return lines, filters, next, wrap("list machines", err)
}

// yardForm shows the page, noted being how many readings were just noted.
func (s *Server) yardForm(c echo.Context, f *form, noted int) error {
	lines, filters, next, err := s.yardLines(c, yardLimit)
	if err != nil {
		return err
	}
	page := yardPage{Base: s.base(c, "readings", "Note readings"), Noted: noted, Once: f.once(), Problems: f.Problems, Told: f.Told, ToldKey: f.told()}
	if page.Filters, page.Site, err = s.yardFields(c, filters); err != nil {
		return err
	}
	pairs := filters.pairs(yardFilterNames()...)
	after := query(c, "after")
	page.List = listOf("/readings", pairs, after, next, "")
	page.Action = address("/readings", append(pairs, "after", after)...)
	page.Day = f.field("on", "Day of the readings").need().hint(f.style.HintDate())
	for _, l := range lines {
		page.Rows = append(page.Rows, yardRowOf(f, l))
		if f.errorAt(hoursName(l.Machine.Code)) != "" {
			page.Left++
		}
	}
	return s.renderForm(c, f, "yard", page)
}

func yardRowOf(f *form, l register.MachineLine) yardRow {
	code := l.Machine.Code
	row := yardRow{
		Line: l, Title: machineTitle(code, l.Machine.Name), Hours: f.field(hoursName(code), "Hour meter of "+code).decimal(),
		Meter: web.Path("machines", code, "readings", "new"),
	}
	if row.Hours.Error != "" {
		t := f.tick(disputeName(code), "Keep it as disputed")
		row.Dispute = &t
	}
	return row
}

func (s *Server) yardFields(c echo.Context, f *form) ([]field, string, error) {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return nil, "", wrap("list sites", err)
	}
	kinds, err := s.store(c).Kinds(ctx)
	if err != nil {
		return nil, "", wrap("list kinds of machines", err)
	}
	fields := []field{f.field("kind", "Kind of machine").choose(choiceOf("all", kindNames(kinds))...), f.field("text", "Search")}
	if own := siteField(sites, f.text("site")); own != nil {
		fields = append([]field{*own}, fields...)
	}
	return fields, knownSite(sites, f.text("site")), nil
}

// noteYard notes the good readings; the others stay on the page with what is
// wrong with them.
func (s *Server) noteYard(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		f.needed("on", "Give the day of the readings.")
		on := f.day("on")
		lines, filters, _, err := s.yardLines(c, 2*yardLimit)
		if err != nil {
			return "", err
		}
		good := s.yardReadings(f, lines, on)
		if f.errorAt("on") != "" || f.toTell() {
			return "", s.yardForm(c, f, 0)
		}
		noted, err := s.noteReadings(c, f, good)
		if err != nil {
			return "", err
		}
		if f.ok() && noted > 0 {
			return withDone(address("/readings", append(filters.pairs(yardFilterNames()...), "after", query(c, "after"))...), readingsNoted), nil
		}
		if f.ok() {
			f.wrong("", "No reading was typed yet.")
		}
		return "", s.yardForm(c, f, noted)
	})
}

// yardReadings are the readings that were typed and are no obvious slip.
func (s *Server) yardReadings(f *form, lines []register.MachineLine, on quantity.Date) []register.AddReading {
	var good []register.AddReading
	listed := map[string]bool{}
	for i := range lines {
		l := &lines[i]
		name := hoursName(l.Machine.Code)
		listed[name] = true
		hours := f.meter(name, l.LastReading)
		if hours == nil {
			f.sayWhose(name, l.Machine.Code)
			continue
		}
		r := register.AddReading{Machine: l.Machine.Code, On: on, Hours: *hours, Source: "page", Disputed: f.ticked(disputeName(l.Machine.Code))}
		if slip := slipOf(f.style, l.LastReading, r); slip != "" && !r.Disputed {
			f.wrong(name, slip)
			continue
		}
		good = append(good, r)
	}
	for name := range f.values {
		if code, ok := strings.CutPrefix(name, "hours."); ok && f.text(name) != "" && !listed[name] {
			f.wrong("", fmt.Sprintf("Machine %s is not on this page any more; its reading of %s h was not noted.", code, f.text(name)))
		}
	}
	return good
}

// sayWhose puts the machine before what is wrong with its reading: the list of
// what is not noted stands far from the field.
func (f *form) sayWhose(name, machine string) {
	for i, p := range f.Problems {
		if p.Field == name {
			f.Problems[i].Sentence = machine + ": " + p.Sentence
		}
	}
}

// slipOf says what is obviously wrong with a reading after the last one; empty
// if nothing is.
func slipOf(st web.Style, last *register.Reading, r register.AddReading) string {
	switch {
	case last == nil || r.On.IsZero() || r.On.Before(last.On):
		return ""
	case r.Hours < last.Hours:
		return fmt.Sprintf("%s: that is less than the last reading, %s h on %s. Mend it; if the meter was replaced, note that at the machine.", r.Machine, web.Number(last.Hours, 1), st.Date(last.On))
	}
	days := float64(r.On.Sub(last.On))
	if more := r.Hours - last.Hours; more > 24*days && more > 0 {
		return fmt.Sprintf("%s: that is %s h more than on %s, %s, which is more than 24 h a day. Mend the number or the day.", r.Machine, web.Number(more, 1), st.Date(last.On), web.Count(int(days), "day ago", "days ago"))
	}
	return ""
}

// noteReadings notes readings, all at once or, if one of them is refused, each
// for itself. What is noted is taken off the form.
func (s *Server) noteReadings(c echo.Context, f *form, good []register.AddReading) (noted int, err error) {
	if len(good) == 0 {
		return 0, nil
	}
	cmds := make([]register.Command, len(good))
	for i, r := range good {
		cmds[i] = r
	}
	done := func(r register.AddReading) {
		f.values.Del(hoursName(r.Machine))
		f.values.Del(disputeName(r.Machine))
		noted++
	}
	if _, err := s.apply(c, cmds...); err == nil {
		for _, r := range good {
			done(r)
		}
		return noted, nil
	} else if asRegisterError(err) == nil {
		return 0, wrap("note readings", err)
	}
	for _, r := range good {
		_, err := s.apply(c, r)
		if err == nil {
			done(r)
			continue
		}
		refusal := asRegisterError(err)
		if refusal == nil {
			return noted, wrap("note reading", err)
		}
		f.wrong(hoursName(r.Machine), refusal.Sentence)
	}
	return noted, nil
}
