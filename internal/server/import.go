package server

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// importStore is what the import asks of the register.
type importStore interface {
	Import(ctx context.Context, now time.Time, by register.Actor, rows register.RowSource, opts register.ImportOptions) (register.ImportReport, error)
	UndoImport(ctx context.Context, now time.Time, by register.Actor, id int64) (register.Result, error)
	FileImported(ctx context.Context, fileHash string) (*register.Import, error)
	Imports(ctx context.Context) ([]register.Import, error)
	HeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string) (map[string]string, error)
	SaveHeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string, meanings map[string]string) error
}

// importPage offers to bring a sheet and lists the ones that were taken.
type importPage struct {
	Base
	Problems  []problem
	Kind      field
	MaxUpload string
	Past      []register.Import
}

func (s *Server) imports(c echo.Context) error {
	return s.uploadForm(c, newForm("kind", query(c, "kind")))
}

func (s *Server) uploadForm(c echo.Context, f *form) error {
	past, err := s.deps.Store.Imports(c.Request().Context())
	if err != nil {
		return wrap("list imports", err)
	}
	page := importPage{
		Base: s.base(c, "import", "Import a sheet"), Problems: f.Problems, MaxUpload: megabytes(s.cfg.MaxUpload), Past: past,
		Kind: f.field("kind", "What is in it").choose(kindOptions()...).hint("Told from the headers if you leave it so."),
	}
	return s.renderForm(c, f, "import", page)
}

func kindOptions() []option {
	o := []option{{"", "find out from the headers"}}
	for _, k := range exchange.Kinds() {
		o = append(o, option{string(k), string(k)})
	}
	return o
}

// knownKind is the kind of that name, empty if there is none.
func knownKind(name string) register.ImportKind {
	for _, k := range exchange.Kinds() {
		if string(k) == name {
			return k
		}
	}
	return ""
}

// drainAtMost bounds how much more than the limit of an upload is read and
// thrown away, so that a browser gets to read why it was refused.
const drainAtMost = 512 << 20

// upload keeps a file and goes on to the report on it.
func (s *Server) upload(c echo.Context) error {
	f := newForm()
	id, err := s.keepUpload(c, f)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		_, _ = io.CopyN(io.Discard, c.Request().Body, drainAtMost)
		f.wrong("file", "The file is larger than the "+megabytes(tooLarge.Limit)+" taken here. Split it, or import it on the command line: hoseward import FILE.")
	case err != nil:
		return err
	}
	if !f.ok() {
		return s.uploadForm(c, f)
	}
	return c.Redirect(http.StatusSeeOther, address(web.Path("import", id), "kind", string(knownKind(f.text("kind")))))
}

// keepUpload reads the parts of the form as they come; the file goes straight
// to disk.
func (s *Server) keepUpload(c echo.Context, f *form) (id string, err error) {
	r := c.Request()
	mediaType, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || mediaType != "multipart/form-data" {
		f.wrong("file", "Choose a file.")
		return "", nil
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return "", echo.NewHTTPError(http.StatusBadRequest, "The form could not be read. Go back and choose the file again.").WithInternal(err)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return "", brokeOff(err)
		}
		switch part.FormName() {
		case "kind":
			b, err := io.ReadAll(io.LimitReader(part, 100))
			if err != nil {
				return "", wrap("read form", err)
			}
			f.values.Set("kind", string(b))
		case "file":
			if part.FileName() == "" {
				continue
			}
			id, err = s.deps.Uploads.Save(part.FileName(), part, s.cfg.MaxUpload)
			if errors.Is(err, io.ErrUnexpectedEOF) {
				return "", brokeOff(err)
			}
			if err != nil {
				return "", wrap("keep upload", err)
			}
		}
	}
	if id == "" {
		f.wrong("file", "Choose a file.")
	}
	return id, nil
}

func brokeOff(err error) error {
	return echo.NewHTTPError(http.StatusBadRequest, "The file broke off on its way here. Send it again.").WithInternal(err)
}

// importReportPage tells what taking a sheet would do, or did.
type importReportPage struct {
	Base
	ID        string
	FileName  string
	Problem   string // why the file cannot be read at all
	Info      exchange.Info
	Settings  []field
	Columns   []columnRow
	Open      bool // the columns are shown opened: something is to be decided
	Report    *register.ImportReport
	Refused   []register.ImportLine
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
func (s *Server) openSheet(ctx context.Context, req *importRequest) (*opened, error) {
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
			return s.deps.Store.HeaderChoice(ctx, kind, hash)
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
	sheet, err := s.openSheet(ctx, req)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	defer sheet.Close()
	if req.meanings != nil && sheet.HeaderHash == f.text("header_hash") {
		if err := s.deps.Store.SaveHeaderChoice(ctx, sheet.Kind, sheet.HeaderHash, req.meanings); err != nil {
			return wrap("keep the meaning of columns", err)
		}
	}
	if do != takeAll && do != takeGood {
		return c.Redirect(http.StatusSeeOther, req.address())
	}
	opts := s.importOptions(req, sheet.Kind)
	opts.TakeGood = do == takeGood
	report, err := s.deps.Store.Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
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
	samples, err := s.samples(ctx, req)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	sheet, err := s.openSheet(ctx, req)
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
	report, err := s.deps.Store.Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
	if err != nil {
		return s.reportProblem(c, req, err)
	}
	page.fill(report, req)
	if page.Before, err = s.deps.Store.FileImported(ctx, req.hash); err != nil {
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

func restURL(req *importRequest) string {
	path, q, _ := strings.Cut(req.address(), "?")
	if q != "" {
		q = "?" + q
	}
	return path + "/refused.csv" + q
}

// showTaken shows what was done.
func (s *Server) showTaken(c echo.Context, req *importRequest, number int64) error {
	past, err := s.deps.Store.Imports(c.Request().Context())
	if err != nil {
		return wrap("list imports", err)
	}
	for _, p := range past {
		if p.ID != number {
			continue
		}
		page := importReportPage{Base: s.base(c, "import", "Imported "+p.FileName), ID: req.id, FileName: p.FileName, Taken: &p}
		if p.RefusedN > 0 && p.FileHash == req.id {
			page.RestURL = restURL(req)
		}
		return s.show(c, "import_report", page)
	}
	return echo.ErrNotFound
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

// sampleRows is how many rows the samples of columns are from.
const sampleRows = 3

// samples are the first values of each column.
func (s *Server) samples(ctx context.Context, req *importRequest) ([]string, error) {
	sheet, err := s.openSheet(ctx, req)
	if err != nil {
		return nil, err
	}
	defer sheet.Close()
	samples := make([]string, len(sheet.Columns))
	for range sampleRows {
		row, err := sheet.Next()
		if err != nil {
			break // told by the report itself
		}
		for i, cell := range row.Cells {
			if cell = cleanText(cell); cell == "" || i >= len(samples) {
				continue
			}
			if r := []rune(cell); len(r) > 40 {
				cell = string(r[:40]) + "…"
			}
			if samples[i] != "" {
				samples[i] += " · "
			}
			samples[i] += cell
		}
	}
	return samples, nil
}

// columnRows are the columns with the choice of their meaning.
func columnRows(info exchange.Info, samples []string) []columnRow {
	choice := meaningOptions(info.Kind)
	rows := make([]columnRow, len(info.Columns))
	for i, col := range info.Columns {
		value := asFound
		switch {
		case col.Found == exchange.Ignored:
			value = ignoreColumn
		case col.Found == exchange.Chosen:
			value = chosenValue(choice, col)
		}
		rows[i] = columnRow{
			Header: col.Header, Name: rowName("header", i), Samples: samples[i], Says: columnSays(info.Kind, col),
			Unread: col.Found == exchange.Unknown || col.Found == exchange.Duplicate,
			Choice: field{Name: rowName("meaning", i), Label: "Meaning of " + col.Header, Value: value, Options: choice},
		}
	}
	return rows
}

// chosenValue is the option of a column's field and unit, of its field alone
// where the unit is none of the options.
func chosenValue(choice []option, col exchange.Column) string {
	withUnit := col.Field + "@" + col.Unit
	for _, o := range choice {
		if o.Value == withUnit {
			return withUnit
		}
	}
	return col.Field
}

// columnSays says how a column is read.
func columnSays(kind register.ImportKind, col exchange.Column) string {
	title := func(name string) string {
		if f, ok := exchange.FieldNamed(kind, name); ok {
			return f.Title
		}
		return name
	}
	switch col.Found {
	case exchange.Ignored:
		return "left out"
	case exchange.Unknown:
		return "not known – not read"
	case exchange.Duplicate:
		return "not read: another column is " + title(col.Means) + " already"
	}
	says := title(col.Field)
	if col.Unit != "" && !strings.Contains(says, "("+col.Unit+")") {
		says += ", in " + col.Unit
	}
	if col.Found == exchange.Chosen {
		says += " (chosen)"
	}
	return says
}

// meaningOptions are what a column can mean in sheets of that kind.
func meaningOptions(kind register.ImportKind) []option {
	o := []option{{asFound, "as found"}, {ignoreColumn, "leave it out"}}
	units := map[exchange.Measure][]string{
		exchange.Pressures: {"psi", "MPa"}, exchange.Lengths: {"cm", "m", "in"}, exchange.Temperatures: {"°F"},
	}
	for _, f := range exchange.Fields(kind) {
		o = append(o, option{f.Name, f.Title})
		for _, unit := range units[f.Measure] {
			o = append(o, option{f.Name + "@" + unit, strings.TrimSuffix(f.Title, " (bar)") + ", in " + unit})
		}
	}
	return o
}

// importRefused is the rows that are not taken, as a sheet with the reasons.
func (s *Server) importRefused(c echo.Context) error {
	ctx := c.Request().Context()
	id, err := param(c, "id")
	if err != nil {
		return err
	}
	req := &importRequest{id: id, kind: knownKind(query(c, "kind")), sheet: query(c, "sheet"), site: query(c, "site"), different: knownDifferent(query(c, "different"))}
	sheet, err := s.openSheet(ctx, req)
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
	_, err = s.deps.Store.Import(ctx, s.deps.Now(), s.actor(c), sheet, opts)
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
	result, err := s.deps.Store.UndoImport(c.Request().Context(), s.deps.Now(), s.actor(c), number)
	if err != nil {
		return wrap("undo import", err)
	}
	s.nudge(result.Stale)
	return done(c, "/import", importUndone)
}
