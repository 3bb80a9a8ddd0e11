package store

import (
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"slices"
	"strings"
	"time"

	"hoseward/internal/register"
)

var (
	imports       = newTable[register.Import]()
	headerChoices = newTable[register.HeaderChoice]()
)

// RowSource and ImportOptions stand in register, so that the server can name
// them.
type (
	RowSource     = register.RowSource
	ImportOptions = register.ImportOptions
)

// firstSite is the name of the site of a register that has none.
const firstSite = "Main site"

// Import takes a file in one transaction. A dry run does all of it and takes
// it back, or does it on a copy of the register, so that it says exactly what
// would happen; nobody waits for a long one. The report is complete
// also where the file is refused as a whole, with a *register.Error of code
// Refused. A file that says nothing new leaves nothing behind, not even a row
// in the list of imports.
//
// Machines are known by their code; positions by their name within their
// machine; assemblies by their code, else by position and fit date. A row
// leaves what its empty cells do not speak of. What it contradicts in the same
// file is refused.
func (s *Store) Import(ctx context.Context, now time.Time, by register.Actor, src RowSource, opts ImportOptions) (register.ImportReport, error) {
	if opts.DryRun {
		return s.dryRun(ctx, now, by, src, opts)
	}
	return s.importRows(ctx, now, by, src, opts)
}

func (s *Store) importRows(ctx context.Context, now time.Time, by register.Actor, src RowSource, opts ImportOptions) (register.ImportReport, error) {
	by.Origin = register.FromImport
	im := &importer{opts: opts}
	im.report.Kind = opts.Kind
	begun := false
	result, err := s.change(ctx, now, by, func(t *tx) error {
		if begun { // the rows are read and gone
			return refuse(register.Conflict, "", "Someone changed the register while the file was read; nothing was taken, import it again.")
		}
		begun = true
		t.need = register.RightPlan
		im.begin(t)
		return im.run(src)
	})
	im.finishReport()
	switch {
	case errors.Is(err, errTakeBack):
		im.report.ImportID = 0
		if !opts.DryRun && !opts.TakeGood && im.bad() > 0 {
			return im.report, im.refusedWhole()
		}
		return im.report, nil
	case err != nil:
		im.report.ImportID = 0
		return im.report, err
	}
	im.report.Stale = result.Stale + im.stale
	return im.report, nil
}

// errTakeBack ends a transaction that is not to be kept.
var errTakeBack = errors.New("taken back")

// importer is one import on its way.
type importer struct {
	t      *tx
	opts   ImportOptions
	report register.ImportReport
	row    *register.ImportRow
	did    []string // what the current row adds and changes
	added  bool
	seen   seenRows
	stale  int
	read   int             // notes of the current row that are the reader's
	madeUp string          // code given to the current row's hose
	made   map[string]bool // codes given to hoses of the file
	whole  map[register.CellError]*wholeColumn

	troubled, noted, plain []register.ImportLine
}

func (im *importer) begin(t *tx) {
	im.t = t
	im.seen.seed = maphash.MakeSeed()
	im.seen.rows = map[uint64]int32{}
	im.made = map[string]bool{}
	im.whole = map[register.CellError]*wholeColumn{}
}

func (im *importer) run(src RowSource) error {
	row := &register.Import{
		FileName: im.opts.FileName, FileHash: im.opts.FileHash, Kind: im.opts.Kind, At: im.t.now, PersonID: im.t.by.PersonID,
	}
	if err := im.t.orm.Create(row).Error; err != nil {
		return im.t.explain("note the import", err, nil)
	}
	im.t.by.ImportID, im.report.ImportID = row.ID, row.ID
	im.t.title = "Import of " + orElse(row.FileName, "a list")
	for {
		r, err := src.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		if err := im.take(&r); err != nil {
			return err
		}
		if err := im.t.ctx.Err(); err != nil {
			return err
		}
	}
	if im.opts.DryRun || im.bad() > 0 && !im.opts.TakeGood || im.report.Added+im.report.Changed == 0 {
		return errTakeBack
	}
	row.Rows, row.AddedN, row.ChangedN = im.report.Rows, im.report.Added, im.report.Changed
	row.SameN, row.RefusedN = im.report.Same, im.bad()
	if err := im.t.orm.Save(row).Error; err != nil {
		return im.t.explain("note the import", err, nil)
	}
	return im.t.note(imports.name, row.ID, register.Added, nil, row)
}

func (im *importer) bad() int { return im.report.Refused + im.report.Asked }

func (im *importer) refusedWhole() error {
	what := "Nothing was taken: "
	if im.report.Refused > 0 {
		what += fmt.Sprintf("%d of %d rows are refused", im.report.Refused, im.report.Rows)
	}
	if im.report.Asked > 0 {
		if im.report.Refused > 0 {
			what += ", "
		}
		what += fmt.Sprintf("%d name another hose than the register has at their position", im.report.Asked)
	}
	return refuse(register.Refused, "", "%s. Mend them, answer what is asked, or take the good rows alone.", what)
}

// asked is the error of a row that a person has to answer for.
type asked struct{ sentence string }

func (a *asked) Error() string { return a.sentence }

// cellsError is a refusal that names cells.
type cellsError []register.CellError

func (c cellsError) Error() string {
	all := make([]string, len(c))
	for i, e := range c {
		all[i] = e.Column + ": " + e.Sentence
	}
	return strings.Join(all, "; ")
}

// take takes or refuses one row. A refused row leaves nothing of itself.
func (im *importer) take(row *register.ImportRow) error {
	im.row, im.did, im.added, im.madeUp, im.read = row, nil, false, "", len(row.Notes)
	im.report.Rows++
	var err error
	if len(row.Errors) > 0 {
		err = cellsError(row.Errors)
	} else {
		err = im.t.try(func() error { return im.apply(row) })
	}
	if err == nil {
		im.seen.keep(row.Number)
		outcome := register.RowSame
		switch {
		case im.added:
			outcome = register.RowAdded
		case len(im.did) > 0:
			outcome = register.RowChanged
		}
		im.line(outcome, nil)
		return im.relieve()
	}
	im.seen.forget()
	var question *asked
	var cells cellsError
	var refusal *register.Error
	outcome, reasons := register.RowRefused, []register.CellError(nil)
	switch {
	case errors.As(err, &question):
		outcome = register.RowAsked
		reasons = []register.CellError{im.about("position", question.sentence)}
	case errors.As(err, &cells):
		reasons = cells
	case errors.As(err, &refusal):
		reasons = []register.CellError{im.about(im.fieldOf(refusal.Field), refusal.Sentence)}
	default:
		return fmt.Errorf("take row %d: %w", row.Number, err)
	}
	im.did = nil
	im.line(outcome, reasons)
	if im.opts.Refused != nil {
		return im.opts.Refused(*row, reasons)
	}
	return nil
}

func (im *importer) apply(row *register.ImportRow) error {
	switch {
	case row.Machine != nil:
		return im.machineRow(row.Machine)
	case row.Hose != nil:
		return im.hoseRow(row.Hose)
	case row.Reading != nil:
		return im.readingRow(row.Reading)
	}
	return refuse(register.Invalid, "", "The row is empty.")
}

// adds and changes note what the current row does, in words.
func (im *importer) adds(format string, args ...any) {
	im.added = true
	im.did = append(im.did, "adds "+fmt.Sprintf(format, args...))
}

func (im *importer) changes(format string, args ...any) {
	im.did = append(im.did, "changes "+fmt.Sprintf(format, args...))
}

// tell adds a note to the current row.
func (im *importer) tell(field, format string, args ...any) {
	im.row.Notes = append(im.row.Notes, im.about(field, fmt.Sprintf(format, args...)))
}

// about is a sentence on the row's cell of that field; on the whole row where
// the sheet has no column for it.
func (im *importer) about(field, sentence string) register.CellError {
	e := register.CellError{Column: im.row.Headers[field], Sentence: im.said(sentence)}
	if i, ok := im.row.At[field]; ok && i < len(im.row.Cells) {
		e.Value = im.row.Cells[i]
		if r := []rune(e.Value); len(r) > 60 {
			e.Value = string(r[:60]) + "…"
		}
	}
	return e
}

// said is a sentence without the code the register made up for the row's hose:
// nobody has seen it, and it is gone if the row is refused.
func (im *importer) said(sentence string) string {
	if im.madeUp == "" {
		return sentence
	}
	return strings.NewReplacer("Assembly "+im.madeUp, "The hose", "assembly "+im.madeUp, "the hose").Replace(sentence)
}

// fieldOf finds the field to blame for a refused command.
func (im *importer) fieldOf(field string) string {
	candidates := []string{field}
	switch field {
	case "on", "from", "released_by":
		candidates = []string{"fitted", "removed", "on"}
	case "code", "assembly_code":
		candidates = []string{"assembly", "machine"}
	case "name", "position":
		candidates = []string{"position", "machine"}
	case "kind":
		candidates = []string{"machine_kind"}
	case "zone":
		candidates = []string{"site_zone"}
	case "hours":
		candidates = []string{"hours", "fitted_hours", "removed_hours"}
	case "cycles[0].max_bar":
		candidates = []string{"max_bar"}
	case "note":
		candidates = []string{"note", "machine_note", "reading_note"}
	}
	for _, c := range candidates {
		if im.row.Headers[c] != "" {
			return c
		}
	}
	return ""
}

// line puts a row in the report and counts it.
func (im *importer) line(outcome register.RowOutcome, reasons []register.CellError) {
	r := &im.report
	switch outcome {
	case register.RowAdded:
		r.Added++
	case register.RowChanged:
		r.Changed++
	case register.RowSame:
		r.Same++
	case register.RowRefused:
		r.Refused++
	case register.RowAsked:
		r.Asked++
	}
	notes := im.notes(outcome)
	into := &im.plain
	switch {
	case len(reasons) > 0:
		into = &im.troubled
	case len(notes) > 0:
		into = &im.noted
	}
	if len(*into) >= register.MaxReportLines {
		r.Truncated = true
		return
	}
	*into = append(*into, register.ImportLine{
		Row: im.row.Number, Outcome: outcome, What: strings.Join(im.did, "; "), Errors: reasons, Notes: notes,
	})
}

// wholeColumn is a note that holds of many cells of a column.
type wholeColumn struct {
	note *register.CellError // in the line of the first row
	rows int
}

// notes are those of the current row's line: what holds of a whole column is
// told of its first row only, and what was read in a row that says nothing new
// was told when it was new.
func (im *importer) notes(outcome register.RowOutcome) []register.CellError {
	all := im.row.Notes
	if outcome == register.RowSame {
		all = all[min(im.read, len(all)):]
	}
	kept := make([]register.CellError, 0, len(all))
	for _, n := range all {
		if !n.WholeColumn {
			kept = append(kept, n)
			continue
		}
		key := n
		key.Value = ""
		if w := im.whole[key]; w != nil {
			w.rows++
			continue
		}
		kept = append(kept, n)
		im.whole[key] = &wholeColumn{note: &kept[len(kept)-1], rows: 1}
	}
	return kept
}

func (im *importer) finishReport() {
	for _, w := range im.whole {
		if w.rows > 1 {
			w.note.Sentence += fmt.Sprintf(" (the same in %d rows)", w.rows)
		}
	}
	lines := slices.Concat(im.troubled, im.noted, im.plain)
	if len(lines) > register.MaxReportLines {
		lines, im.report.Truncated = lines[:register.MaxReportLines], true
	}
	im.report.Lines = lines
}

// touchedKept bounds what an import remembers of touched assemblies before it
// marks their estimates stale, which it would do in the end in any case.
const touchedKept = 4 * atOnce

// relieve keeps memory flat from row to row.
func (im *importer) relieve() error {
	t := im.t
	t.codes = t.codes[:0]
	if len(t.touched.assemblies) > touchedKept {
		n, err := t.markTouchedStale()
		if err != nil {
			return err
		}
		im.stale += n
	}
	return t.flushFull()
}

// markTouchedStale marks the estimates of what was touched so far and forgets
// it.
func (t *tx) markTouchedStale() (int, error) {
	list, err := t.installedTouched()
	if err != nil {
		return 0, err
	}
	t.touched = touched{}
	return len(list), markStale(t.ctx, t.conn, list)
}

// seenRows remembers which row of the file spoke of which thing, so that a
// second one that contradicts it is refused instead of taken as a change. It
// forgets everything once it is full: contradictions further apart than that
// are taken as changes.
type seenRows struct {
	seed    maphash.Seed
	rows    map[uint64]int32
	pending []uint64
}

const seenKept = 200_000

func (s *seenRows) key(parts ...string) uint64 {
	return maphash.String(s.seed, fold(strings.Join(parts, "\x00")))
}

// note remembers that the current row speaks of a thing, once it is taken, and
// gives the earlier row that did, 0 if none.
func (s *seenRows) note(parts ...string) int {
	k := s.key(parts...)
	s.pending = append(s.pending, k)
	return int(s.rows[k])
}

func (s *seenRows) keep(row int) {
	if len(s.rows) > seenKept {
		clear(s.rows)
	}
	for _, k := range s.pending {
		if _, ok := s.rows[k]; !ok {
			s.rows[k] = int32(min(row, 1<<31-1))
		}
	}
	s.pending = s.pending[:0]
}

func (s *seenRows) forget() { s.pending = s.pending[:0] }
