package server

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"maps"
	"mime"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// importReportPage tells what taking a sheet would do, or did.
type importReportPage struct {
	Base
	ID        string
	FileName  string
	Problem   string // why the file cannot be read at all
	Info      exchange.Info
	Settings  []field
	Columns   []columnRow
	Shown     string // stands for the choices the report was made with
	Open      bool   // the columns are shown opened: something is to be decided
	Report    *register.ImportReport
	Refused   []register.ImportLine
	InShort   string // which columns hold most of what is refused; empty for few rows
	Rest      []register.ImportLine
	Noted     int // of Rest, those with something to know
	Notes     []string
	Ask       *ask
	RestURL   string
	Taken     *register.Import // set after it was taken
	Before    *register.Import // the same file was taken before; nil if not
	TakeError string
}

// columnRow is one column of the sheet and the choice of its meaning.
type columnRow struct {
	Header  string
	Name    string // of the select box; the header itself travels in Name-header
	Samples string
	Says    string
	Unread  bool
	Choice  field
}

// importRequest is what was chosen for a sheet.
type importRequest struct {
	id, name  string
	hash      string
	kind      register.ImportKind
	sheet     string
	site      string // taken where rows name none
	different register.Different
	meanings  map[string]string // nil: as remembered or recognised
}

// opened is an open sheet with the file under it.
type opened struct {
	*exchange.Sheet
	file *os.File
}

func (o *opened) Close() error { return errors.Join(o.Sheet.Close(), o.file.Close()) }

// openSheet opens a kept file as the request says.
func (s *Server) openSheet(c echo.Context, req *importRequest) (*opened, error) {
	ctx := c.Request().Context()
	name, file, err := s.deps.Uploads.Open(req.id)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &register.Error{Code: register.NotFound, Sentence: "This file is no longer kept here: files wait a day to be taken. Send it again."}
	}
	if err != nil {
		return nil, wrap("open kept file", err)
	}
	req.name, req.hash = name, req.id // files are named by the SHA-256 of their content
	info, err := file.Stat()
	if err != nil {
		return nil, errors.Join(wrap("open kept file", err), file.Close())
	}
	sheet, err := exchange.Open(file, info.Size(), exchange.Options{
		Kind: req.kind, Sheet: req.sheet, Meanings: req.meanings, Today: quantity.DateOf(s.deps.Now(), s.deps.Zone),
		Remembered: func(kind register.ImportKind, hash string) (map[string]string, error) {
			return s.store(c).HeaderChoice(ctx, kind, hash)
		},
	})
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return &opened{sheet, file}, nil
}

func (s *Server) importReport(c echo.Context) error {
	id, err := param(c, "id")
	if err != nil {
		return err
	}
	req := &importRequest{id: id, kind: knownKind(query(c, "kind")), sheet: query(c, "sheet"), site: query(c, "site"), different: knownDifferent(query(c, "different"))}
	if taken, err := strconv.ParseInt(query(c, "taken"), 10, 64); err == nil {
		return s.showTaken(c, req, taken)
	}
	return s.showReport(c, req, "")
}

func knownDifferent(v string) register.Different {
	switch d := register.Different(v); d {
	case register.DifferentSwap, register.DifferentCorrect:
		return d
	}
	return register.DifferentAsk
}

// importTake checks again with other choices, or takes the rows.
func (s *Server) importTake(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := param(c, "id")
	if err != nil {
		return err
	}
	f, err := readForm(c)
	if err != nil {
		return err
	}
	req := &importRequest{id: id, kind: knownKind(f.text("kind")), sheet: cleanText(f.raw("sheet")), site: cleanText(f.raw("site")), different: knownDifferent(f.text("different"))}
	if f.text("shown_kind") == string(req.kind) { // else the meanings are those of another kind of sheet
		req.meanings = readMeanings(f)
	}
	do := f.text("do")
	sheet, err := s.openSheet(c, req)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	defer sheet.Close()
	if req.meanings != nil && sheet.HeaderHash == f.text("header_hash") {
		if err := s.store(c).SaveHeaderChoice(ctx, sheet.Kind, sheet.HeaderHash, req.meanings); err != nil {
			return wrap("keep the meaning of columns", err)
		}
	}
	if do != takeAll && do != takeGood {
		return c.Redirect(http.StatusSeeOther, req.address())
	}
	if f.text("shown") != shownKey(string(req.different), f.text) {
		return c.Redirect(http.StatusSeeOther, req.address("done", importAnew))
	}
	opts := s.importOptions(req, sheet.Kind)
	opts.TakeGood = do == takeGood
	report, err := s.store(c).Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
	if err != nil {
		if refusal := asRegisterError(err); refusal != nil {
			return s.showReport(c, req, refusal.Sentence)
		}
		return wrap("import", err)
	}
	s.nudge(report.Stale)
	req.kind = sheet.Kind
	if report.ImportID == 0 { // it says nothing new, so nothing was noted
		return c.Redirect(http.StatusSeeOther, req.address())
	}
	return c.Redirect(http.StatusSeeOther, req.address("taken", strconv.FormatInt(report.ImportID, 10)))
}

// What the buttons of the report do.
const (
	takeAll  = "all"
	takeGood = "good"
)

// shownKey stands for the choices a report was made with, so that rows are only
// taken as they were shown. value gives the value of a field of the form, empty
// where the form has no such field.
func shownKey(different string, value func(name string) string) string {
	values := []string{different, value("kind"), value("site"), value("sheet")}
	for i := range maxColumns {
		values = append(values, value(rowName("meaning", i)))
	}
	sum := sha256.Sum256([]byte(strings.Join(values, "\x00")))
	return hex.EncodeToString(sum[:8])
}

// shown is the key of the choices the page has.
func (p *importReportPage) shown(req *importRequest) string {
	values := map[string]string{}
	for _, fd := range p.Settings {
		values[fd.Name] = strings.TrimSpace(fd.Value)
	}
	for _, col := range p.Columns {
		values[col.Choice.Name] = col.Choice.Value
	}
	return shownKey(string(req.different), func(name string) string { return values[name] })
}

// importOptions are what every import of a request has in common.
func (s *Server) importOptions(req *importRequest, kind register.ImportKind) register.ImportOptions {
	return register.ImportOptions{
		Kind: kind, FileName: req.name, FileHash: req.hash, Different: req.different, Site: req.site, Zone: s.deps.Zone.String(),
	}
}

// address is the page of the report with the choices that are in the address.
func (req *importRequest) address(more ...string) string {
	different := string(req.different)
	if req.different == register.DifferentAsk {
		different = ""
	}
	return address(web.Path("import", req.id), append([]string{"kind", string(req.kind), "sheet", req.sheet, "site", req.site, "different", different}, more...)...)
}

// maxColumns bounds how many columns a form gives meanings to.
const maxColumns = 500

// readMeanings reads what each column was said to mean; nil if the form says
// nothing of columns. A column left "as found" is not in the result.
func readMeanings(f *form) map[string]string {
	if f.text("columns") == "" {
		return nil
	}
	meanings := map[string]string{}
	for i := range maxColumns {
		header, ok := f.values[rowName("header", i)]
		if !ok {
			break
		}
		switch v := f.text(rowName("meaning", i)); v {
		case asFound:
		case ignoreColumn:
			meanings[header[0]] = ""
		default:
			meanings[header[0]] = v
		}
	}
	return meanings
}

// The choices of a column that are no field.
const (
	asFound      = ""
	ignoreColumn = "-"
)

// reportProblem shows the page of a file that cannot be read; what is no
// refusal is an error of ours.
func (s *Server) reportProblem(c echo.Context, req *importRequest, err error) error {
	refusal := asRegisterError(err)
	if refusal == nil {
		return wrap("open sheet", err)
	}
	if refusal.Code == register.NotFound {
		return refusal
	}
	page := importReportPage{
		Base: s.base(c, "import", "Import "+web.Or(req.name, "a sheet")), ID: req.id, FileName: req.name, Problem: refusal.Sentence,
		Settings: settingFields(req, exchange.Info{}),
	}
	return s.render(c, http.StatusUnprocessableEntity, "import_report", page)
}

// showReport shows what taking the sheet would do. takeError is why taking it
// failed just now.
func (s *Server) showReport(c echo.Context, req *importRequest, takeError string) error {
	ctx := c.Request().Context()
	samples, err := s.samples(c, req)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	sheet, err := s.openSheet(c, req)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	defer sheet.Close()
	page := importReportPage{
		Base: s.base(c, "import", "Import "+req.name), ID: req.id, FileName: req.name, Info: sheet.Info, TakeError: takeError,
		Settings: settingFields(req, sheet.Info), Notes: sheet.Notes, Columns: columnRows(sheet.Info, samples),
	}
	for _, col := range page.Columns {
		page.Open = page.Open || col.Unread
	}
	status := http.StatusOK
	if takeError != "" {
		status = http.StatusUnprocessableEntity
	}
	if len(sheet.Missing) > 0 {
		_, err := sheet.Next()
		if refusal := asRegisterError(err); refusal != nil {
			page.Problem = refusal.Sentence
		}
		page.Open = true
		return s.render(c, http.StatusUnprocessableEntity, "import_report", page)
	}
	opts := s.importOptions(req, sheet.Kind)
	opts.DryRun = true
	report, err := s.store(c).Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	page.fill(report, req)
	page.Shown = page.shown(req)
	if page.Before, err = s.store(c).FileImported(ctx, s.actor(c).PersonID, req.hash); err != nil {
		return wrap("look for the file among imports", err)
	}
	return s.render(c, status, "import_report", page)
}

// fill sets what the page shows of a report.
func (p *importReportPage) fill(report register.ImportReport, req *importRequest) {
	p.Report = &report
	for _, l := range report.Lines {
		if l.Outcome == register.RowRefused || l.Outcome == register.RowAsked {
			p.Refused = append(p.Refused, l)
		} else {
			p.Rest = append(p.Rest, l)
			if len(l.Notes) > 0 {
				p.Noted++
			}
		}
	}
	p.InShort = inShort(p.Refused, report.Refused+report.Asked)
	if report.Refused+report.Asked > 0 {
		p.RestURL = restURL(req)
	}
	if report.Asked > 0 || req.different != register.DifferentAsk {
		p.Ask = &ask{
			Name: "different", Question: "Some rows name a different hose at a position that already has one. What is it?", Value: string(req.different),
			Options: []option{
				{string(register.DifferentSwap), "The hose was swapped: the old one came off on the day the new one was fitted"},
				{string(register.DifferentCorrect), "The register was wrong: correct it, no hose was swapped"},
				{string(register.DifferentAsk), "Leave these rows out"},
			},
		}
	}
}

// manyRefused is how many rows that are not taken are more than one reads
// before knowing where most of it is wrong.
const manyRefused = 10

// inShort says in which columns the rows are wrong, the worst first; empty for
// few rows. all is how many rows are not taken, of which lines are the first.
func inShort(lines []register.ImportLine, all int) string {
	if len(lines) <= manyRefused {
		return ""
	}
	rows := map[string]int{}
	for _, l := range lines {
		seen := map[string]bool{}
		for _, e := range l.Errors {
			if e.Column != "" && !seen[e.Column] {
				seen[e.Column] = true
				rows[e.Column]++
			}
		}
	}
	columns := slices.SortedFunc(maps.Keys(rows), func(a, b string) int { return cmp.Or(rows[b]-rows[a], strings.Compare(a, b)) })
	if len(columns) == 0 {
		return ""
	}
	for i, name := range columns {
		columns[i] = name + " (" + web.Count(rows[name], "row", "rows") + ")"
	}
	where := ""
	if len(lines) < all {
		where = " in the first " + web.Count(len(lines), "row", "rows")
	}
	return "Columns that are wrong" + where + ", the most frequent first: " + strings.Join(columns, ", ") + "."
}

func restURL(req *importRequest) string {
	path, q, _ := strings.Cut(req.address(), "?")
	if q != "" {
		q = "?" + q
	}
	return path + "/refused.csv" + q
}

// showTaken shows what was done.
func (s *Server) showTaken(c echo.Context, req *importRequest, number int64) error {
	past, err := s.store(c).Imports(c.Request().Context(), s.actor(c).PersonID)
	if err != nil {
		return wrap("list imports", err)
	}
	for _, p := range past {
		if p.ID != number || p.FileHash != req.id { // that of another file tells nothing about this one
			continue
		}
		page := importReportPage{Base: s.base(c, "import", "Imported "+p.FileName), ID: req.id, FileName: p.FileName, Taken: &p}
		if p.RefusedN > 0 {
			page.RestURL = restURL(req)
		}
		return s.show(c, "import_report", page)
	}
	return s.showReport(c, req, "")
}

// settingFields choose how the file is read.
func settingFields(req *importRequest, info exchange.Info) []field {
	kind := string(info.Kind)
	if kind == "" {
		kind = string(req.kind)
	}
	f := newForm("kind", kind, "sheet", web.Or(info.SheetName, req.sheet), "site", req.site)
	fields := []field{f.field("kind", "What is in it").choose(kindOptions()...)}
	if info.Kind == register.ImportHoses || info.Kind == register.ImportMachines {
		fields = append(fields, f.field("site", "Site of rows that name none").hint("Needed where the register has several sites and the sheet no column for it."))
	}
	if len(info.OtherSheets) > 0 {
		sheets := append([]string{info.SheetName}, info.OtherSheets...)
		fields = append(fields, f.field("sheet", "Sheet of the workbook").choose(options(sheets...)...))
	}
	return fields
}

// importRefused is the rows that are not taken, as a sheet with the reasons.
func (s *Server) importRefused(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := param(c, "id")
	if err != nil {
		return err
	}
	req := &importRequest{id: id, kind: knownKind(query(c, "kind")), sheet: query(c, "sheet"), site: query(c, "site"), different: knownDifferent(query(c, "different"))}
	sheet, err := s.openSheet(c, req)
	if err != nil {
		return err
	}
	defer sheet.Close()
	h := c.Response().Header()
	h.Set("Content-Type", "text/csv; charset=utf-8")
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": restName(req.name)}))
	out := exchange.NewGiveBack(c.Response(), sheet.Info)
	opts := s.importOptions(req, sheet.Kind)
	opts.DryRun, opts.Refused = true, out.Row
	_, err = s.store(c).Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
	if err != nil {
		if !c.Response().Committed {
			h.Del("Content-Disposition")
		}
		return wrap("give rows back", err)
	}
	return out.Flush()
}

// restName is the name of the sheet of rows handed back.
func restName(name string) string {
	base := name
	if i := strings.LastIndexByte(base, '.'); i > 0 {
		base = base[:i]
	}
	return base + "-not-taken.csv"
}

func (s *Server) importUndo(c echo.Context) error {
	number, err := strconv.ParseInt(c.Param("number"), 10, 64)
	if err != nil {
		return echo.ErrNotFound
	}
	result, err := s.store(c).UndoImport(c.Request().Context(), s.deps.Now(), s.actor(c), number)
	if err != nil {
		return wrap("undo import", err)
	}
	s.nudge(result.Stale)
	s.sent.forget()
	return done(c, "/import", importUndone)
}
