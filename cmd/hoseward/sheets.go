package main

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"hoseward/internal/config"
	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// importCommand takes a sheet into the register.
type importCommand struct {
	File      string            `arg:"" help:"CSV or XLSX file; or a whole register as XLSX or JSON, which an empty register takes."`
	Kind      string            `enum:"machines,hoses,readings,?" default:"?" help:"machines, hoses or readings; told from the headers if not given."`
	Sheet     string            `placeholder:"NAME" help:"Sheet of a workbook; the one whose headers fit best if not given."`
	DryRun    bool              `help:"Say what would be added, changed and refused, and change nothing."`
	Good      bool              `help:"Take the good rows although others are refused."`
	Rest      string            `placeholder:"FILE" help:"Write the rows that are not taken to this CSV file, with the reasons."`
	Different string            `enum:"ask,swap,correct" default:"ask" help:"A hose other than the register's at a position: ask (refuse it), swap (the old one came off on the new one's fit date) or correct (the register was wrong)."`
	Meaning   map[string]string `mapsep:"none" placeholder:"HEADER=FIELD" help:"What a column means, field names as in the manual; nothing behind the = ignores it. Kept for this set of headers."`
	Site      string            `placeholder:"NAME" help:"Site of rows that name none."`
	Undo      bool              `help:"Undo the import of this very file."`
}

// Run imports and reports by row and column.
func (c importCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	file, err := os.Open(c.File)
	if err != nil {
		return badCall(fmt.Errorf("open the sheet: %w", err))
	}
	defer file.Close()
	reg, err := openRegister(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	hash, size, err := hashOf(file)
	if err != nil {
		return fmt.Errorf("read the sheet: %w", err)
	}
	if c.Kind == "?" && exchange.IsWhole(file, size) {
		return c.whole(ctx, m, reg, file, size)
	}
	if c.Undo {
		return c.undo(ctx, m, reg, hash)
	}
	sheet, err := c.openSheet(ctx, m, reg, file, size)
	if err != nil {
		return err
	}
	defer sheet.Close()
	c.describe(m.Stdout, sheet.Info)
	return c.take(ctx, m, s, reg, sheet, hash)
}

func hashOf(file *os.File) (hash string, size int64, err error) {
	h := sha256.New()
	if size, err = io.Copy(h, file); err != nil {
		return "", 0, err
	}
	return hex.EncodeToString(h.Sum(nil)), size, nil
}

func (c importCommand) openSheet(ctx context.Context, m *Main, reg *store.Store, file *os.File, size int64) (*exchange.Sheet, error) {
	opts := exchange.Options{
		Sheet: c.Sheet, Meanings: c.Meaning, Today: quantity.DateOf(m.Now(), m.Now().Location()),
		Remembered: func(kind register.ImportKind, headers string) (map[string]string, error) {
			return reg.HeaderChoice(ctx, kind, headers)
		},
	}
	if c.Kind != "?" {
		opts.Kind = register.ImportKind(c.Kind)
	}
	sheet, err := exchange.Open(file, size, opts)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", filepath.Base(c.File), err)
	}
	if err := c.checkMeanings(sheet.Info); err != nil {
		return nil, errors.Join(err, sheet.Close())
	}
	if len(c.Meaning) > 0 && !c.DryRun {
		if err := reg.SaveHeaderChoice(ctx, sheet.Kind, sheet.HeaderHash, c.Meaning); err != nil {
			return nil, errors.Join(fmt.Errorf("keep the meaning of columns: %w", err), sheet.Close())
		}
	}
	return sheet, nil
}

// checkMeanings refuses a meaning that nothing would come of.
func (c importCommand) checkMeanings(info exchange.Info) error {
	for header, field := range c.Meaning {
		if !slices.Contains(info.Headers(), header) {
			return badCall(fmt.Errorf("--meaning: the sheet has no column %q", header))
		}
		name, _, _ := strings.Cut(field, "@")
		if _, ok := exchange.FieldNamed(info.Kind, name); !ok && name != "" {
			return badCall(fmt.Errorf("--meaning: %s have no field %q; the manual lists them", info.Kind, name))
		}
	}
	return nil
}

// describe says how the sheet was read, so that nothing is guessed silently.
func (c importCommand) describe(w io.Writer, info exchange.Info) {
	how := info.Format
	for _, part := range []string{info.Encoding, info.Separator, info.SheetName} {
		if part != "" {
			how += ", " + plain(part)
		}
	}
	guessed := ""
	if info.KindGuessed {
		guessed = ", told from its headers"
	}
	fmt.Fprintf(w, "Read as %s%s (%s, headers in row %d).\n", info.Kind, guessed, how, info.HeaderRow)
	for _, note := range info.Notes {
		fmt.Fprintln(w, plain(note))
	}
	var read []string
	for _, col := range info.Columns {
		if col.Field == "" {
			continue
		}
		as := col.Field
		if col.Unit != "" {
			as += " in " + col.Unit
		}
		read = append(read, fmt.Sprintf("%q as %s", col.Header, as))
	}
	fmt.Fprintf(w, "Columns: %s.\n", strings.Join(read, ", "))
	if unread := info.Unread(); len(unread) > 0 {
		names := make([]string, len(unread))
		for i, col := range unread {
			names[i] = fmt.Sprintf("%q", col.Header)
		}
		fmt.Fprintf(w, "Not read: %s. --meaning gives a column a meaning, or none.\n", strings.Join(names, ", "))
	}
}

// take runs the import, hands back what is refused, and says what happened.
func (c importCommand) take(ctx context.Context, m *Main, s config.Settings, reg *store.Store, sheet *exchange.Sheet, hash string) error {
	opts := register.ImportOptions{
		Kind: sheet.Kind, DryRun: c.DryRun, TakeGood: c.Good, Different: register.Different(c.Different),
		FileName: filepath.Base(c.File), FileHash: hash, Site: c.Site, Zone: s.Zone.String(),
	}
	var rest *restFile
	if c.Rest != "" {
		var err error
		if rest, err = newRestFile(c.Rest, sheet.Info); err != nil {
			return err
		}
		opts.Refused = rest.back.Row
	}
	report, err := reg.Import(ctx, m.Now(), byCommand(), sheet, opts)
	if restErr := rest.close(); restErr != nil && err == nil {
		err = restErr
	}
	if printErr := c.print(m.Stdout, report); printErr != nil && err == nil {
		err = printErr
	}
	if err != nil {
		return err
	}
	if report.Stale > 0 {
		if _, err := reg.ReestimateStale(ctx, m.Now(), nil); err != nil {
			return fmt.Errorf("the rows are taken, but estimating them failed; hoseward estimate does it again: %w", err)
		}
	}
	if report.Asked > 0 {
		fmt.Fprintln(m.Stdout, "Where another hose sits at the position, answer once for the file: --different swap (the old one came off on the new one's fit date) or --different correct (the register was wrong).")
	}
	if bad := report.Refused + report.Asked; bad > 0 {
		return badData(fmt.Errorf("%d of %d rows cannot be taken as they are; mend them, or take the others with --good --rest FILE", bad, report.Rows))
	}
	return nil
}

func (c importCommand) print(w io.Writer, r register.ImportReport) error {
	out := bufio.NewWriter(w)
	for _, line := range r.Lines {
		for _, e := range line.Errors {
			fmt.Fprintf(out, "row %d, %s %q: %s\n", line.Row, plain(e.Column), e.Value, plain(e.Sentence))
		}
		for _, n := range line.Notes {
			fmt.Fprintf(out, "row %d, %s %q, to note: %s\n", line.Row, plain(n.Column), n.Value, plain(n.Sentence))
		}
	}
	if r.Truncated && r.Refused+r.Asked > 0 {
		fmt.Fprintln(out, "Only the first lines are shown; --rest FILE writes every row that is refused.")
	}
	verb := "Taken"
	if r.ImportID == 0 {
		verb = "Nothing was taken. It would be"
	}
	fmt.Fprintf(out, "%s: %d rows, %d added, %d changed, %d known already, %d refused, %d with a question.\n",
		verb, r.Rows, r.Added, r.Changed, r.Same, r.Refused, r.Asked)
	return out.Flush()
}

// undo takes back the last import of the file with this hash.
func (c importCommand) undo(ctx context.Context, m *Main, reg *store.Store, hash string) error {
	taken, err := reg.FileImported(ctx, byCommand().PersonID, hash)
	if err != nil {
		return fmt.Errorf("look for the import: %w", err)
	}
	if taken == nil {
		return badData(errors.New("this file was not imported, or its import is undone already"))
	}
	if _, err := reg.UndoImport(ctx, m.Now(), byCommand(), taken.ID); err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "The import of %s is undone.\n", plain(taken.FileName))
	return nil
}

// restFile is the sheet of rows that were not taken.
type restFile struct {
	file *os.File
	back *exchange.GiveBack
}

// newRestFile makes a file that is not there yet, so that it never takes the
// place of a sheet.
func newRestFile(path string, info exchange.Info) (*restFile, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return nil, badCall(fmt.Errorf("--rest: %s is there already; give a name that is free", path))
	}
	if err != nil {
		return nil, fmt.Errorf("make the file for the rows that are not taken: %w", err)
	}
	return &restFile{f, exchange.NewGiveBack(f, info)}, nil
}

func (r *restFile) close() error {
	if r == nil {
		return nil
	}
	return errors.Join(r.back.Flush(), r.file.Close())
}
