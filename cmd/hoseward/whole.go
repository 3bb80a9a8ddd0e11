package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"hoseward/internal/config"
	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// exportCommand writes the whole register, or one kind of thing as a sheet.
// Either imports back.
type exportCommand struct {
	File string `arg:"" help:"File to write: .xlsx or .json holds the whole register, .csv or - (standard output) the hoses; with --kind .xlsx or .csv holds that list."`
	Kind string `enum:"machines,hoses,readings,?" default:"?" help:"machines, hoses or readings: a list of these alone."`
}

// Run writes the file. It takes its name only once it is whole.
func (c exportCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	write, err := c.writer()
	if err != nil {
		return err
	}
	reg, err := openExisting(ctx, m, s)
	if err != nil {
		return err
	}
	defer reg.Close()
	if c.File == "-" {
		return write(ctx, reg, m.Stdout)
	}
	part, err := os.CreateTemp(filepath.Dir(c.File), ".export-*")
	if err != nil {
		return fmt.Errorf("make the file: %w", err)
	}
	defer os.Remove(part.Name()) // fails once it has its name
	err = write(ctx, reg, part)
	if err == nil {
		err = part.Sync()
	}
	if err = errors.Join(err, part.Close()); err != nil {
		return fmt.Errorf("write the file: %w", err)
	}
	if err := os.Rename(part.Name(), c.File); err != nil {
		return fmt.Errorf("give the file its name: %w", err)
	}
	return nil
}

// writer is how the file is written, told by its ending.
func (c exportCommand) writer() (func(context.Context, *store.Store, io.Writer) error, error) {
	kind := register.ImportKind(c.Kind)
	list := c.Kind != "?"
	switch ending := strings.ToLower(filepath.Ext(c.File)); {
	case ending == ".json" && list:
		return nil, badCall(errors.New("a list is written as .csv or .xlsx; .json without --kind holds the whole register"))
	case ending == ".json":
		return wholeWriter(exchange.JSON), nil
	case ending == ".xlsx" && !list:
		return wholeWriter(exchange.XLSX), nil
	case ending == ".xlsx":
		return listWriter(kind, exchange.NewBookWriter), nil
	case !list:
		kind = register.ImportHoses
	}
	return listWriter(kind, func(w io.Writer, kind register.ImportKind, _ register.Head) exchange.RowWriter {
		return exchange.NewWriter(w, kind)
	}), nil
}

func wholeWriter(format exchange.Format) func(context.Context, *store.Store, io.Writer) error {
	return func(ctx context.Context, reg *store.Store, w io.Writer) error {
		head, err := reg.ChainHead(ctx)
		if err != nil {
			return fmt.Errorf("export the register: %w", err)
		}
		out, err := exchange.NewWholeWriter(w, format, head)
		if err != nil {
			return err
		}
		if err := reg.Whole(ctx, out.Write); err != nil {
			return fmt.Errorf("export the register: %w", err)
		}
		return out.Close()
	}
}

func listWriter(kind register.ImportKind, begin func(io.Writer, register.ImportKind, register.Head) exchange.RowWriter) func(context.Context, *store.Store, io.Writer) error {
	return func(ctx context.Context, reg *store.Store, w io.Writer) error {
		head, err := reg.ChainHead(ctx)
		if err != nil {
			return fmt.Errorf("export %s: %w", kind, err)
		}
		out := begin(w, kind, head)
		if err := reg.Export(ctx, kind, out.Write); err != nil {
			return fmt.Errorf("export %s: %w", kind, err)
		}
		return out.Flush()
	}
}

// whole takes a whole register into an empty one.
func (c importCommand) whole(ctx context.Context, m *Main, reg *store.Store, file *os.File, size int64) (err error) {
	if c.Undo || c.Good || c.Rest != "" || len(c.Meaning) > 0 || c.Sheet != "" || c.Site != "" || c.Different != "ask" {
		return badCall(errors.New("this file holds a whole register, which is taken as it is or not at all; only --dry-run goes with it"))
	}
	src, err := exchange.OpenWhole(file, size)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, src.Close()) }()
	fmt.Fprintf(m.Stdout, "Read as a whole register (%s).\n", strings.ToUpper(string(src.Format())))
	take := reg.TakeWhole
	if c.DryRun {
		take = reg.TryWhole
	}
	report, err := take(ctx, m.Now(), byCommand(), src)
	if err != nil {
		return err
	}
	verb := "Taken"
	if !report.Taken {
		verb = "Nothing was taken. It would be"
	}
	var counts []string
	for _, part := range register.WholeParts() {
		counts = append(counts, fmt.Sprintf("%d %s", report.Rows[part], strings.ReplaceAll(string(part), "_", " ")))
	}
	fmt.Fprintf(m.Stdout, "%s: %s.\n", verb, strings.Join(counts, ", "))
	if report.Stale == 0 {
		return nil
	}
	if _, err := reg.ReestimateStale(ctx, m.Now(), nil); err != nil {
		return fmt.Errorf("the register is taken, but estimating it failed; hoseward estimate does it again: %w", err)
	}
	return nil
}
