package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"hoseward/internal/config"
	"hoseward/internal/register"
	"hoseward/internal/store"
)

// verifyCommand holds a register to its change log.
type verifyCommand struct {
	Head string `placeholder:"NUMBER:HASH" help:"A head of the change log as it was printed on an export: the log must still have it."`
	JSON bool   `name:"json" help:"Write one JSON document."`
}

// Run verifies and says what was found. It writes nothing to the register.
func (c verifyCommand) Run(ctx context.Context, m *Main, s config.Settings) error {
	opts := register.VerifyOptions{Progress: progressTo(m.Stderr, m.Now)}
	if c.Head != "" {
		head, err := register.ParseHead(c.Head)
		if err != nil {
			return badCall(err)
		}
		opts.Head = &head
	}
	if err := wantFile(s.DB); err != nil {
		return err
	}
	reg, err := store.OpenToRead(ctx, s.DB)
	switch {
	case errors.Is(err, store.ErrSchemaNew), errors.Is(err, store.ErrSchemaOld):
		return fmt.Errorf("verify the register with the hoseward that wrote it: %w", err)
	case err != nil:
		return fmt.Errorf("open the register: %w", err)
	}
	defer reg.Close()
	v, err := reg.Verify(ctx, opts)
	if err != nil {
		return fmt.Errorf("verify the register: %w", err)
	}
	show := showVerdict
	if c.JSON {
		show = writeVerdict
	}
	if err := show(m.Stdout, &v); err != nil {
		return err
	}
	if !v.Whole() {
		return badData(errors.New("not all of it agrees, see above; keep the database as it is and find out who could write to it"))
	}
	return nil
}

// progressTo tells on a stream what is being read, once it takes long.
func progressTo(w io.Writer, now func() time.Time) func(string, int64) {
	last := now()
	return func(what string, rows int64) {
		if t := now(); t.Sub(last) >= 2*time.Second {
			last = t
			fmt.Fprintf(w, "reading %s: %d rows\n", what, rows)
		}
	}
}

// showVerdict tells people.
func showVerdict(w io.Writer, v *register.Verdict) error {
	line := func(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }
	if v.Chain == nil {
		line("The change log is whole: %d rows, head %s", v.Changes, v.Head)
	} else {
		line("The change log is broken at %s", v.Chain)
	}
	switch {
	case v.GivenFault != "":
		line("The head given is not in the log: %s", v.GivenFault)
	case v.Given != nil && v.Chain == nil:
		line("The log still has the head given, %s", v.Given)
	}
	if len(v.Differ) == 0 {
		line("Every row of the register is as the log says: %d rows", v.Rows)
	}
	for _, list := range [][]string{sentences(v.Differ), v.Tallies, v.Guards, v.File} {
		for _, s := range list {
			line("%s", s)
		}
	}
	if n := len(v.Differ); n >= 20 {
		line("There may be more; the first %d are named.", n)
	}
	return nil
}

func sentences(list []register.RowFault) []string {
	var out []string
	for _, f := range list {
		out = append(out, f.String())
	}
	return out
}

// verdictJSON is a verdict as one document; all keys are always present.
type verdictJSON struct {
	Whole      bool                 `json:"whole"`
	Changes    int64                `json:"changes"`
	Head       string               `json:"head"`
	Broken     *register.ChainFault `json:"broken"`
	HeadGiven  *string              `json:"head_given"`
	HeadFault  string               `json:"head_fault"`
	Rows       int64                `json:"rows"`
	RowsDiffer []register.RowFault  `json:"rows_differ"`
	Counts     []string             `json:"counts_differ"`
	Guards     []string             `json:"guards_missing"`
	File       []string             `json:"file_faults"`
}

// writeVerdict tells programs.
func writeVerdict(w io.Writer, v *register.Verdict) error {
	doc := verdictJSON{
		Whole: v.Whole(), Changes: v.Changes, Head: v.Head.String(), Broken: v.Chain, HeadFault: v.GivenFault, Rows: v.Rows,
		RowsDiffer: append([]register.RowFault{}, v.Differ...), Counts: append([]string{}, v.Tallies...),
		Guards: append([]string{}, v.Guards...), File: append([]string{}, v.File...),
	}
	if v.Given != nil {
		text := v.Given.String()
		doc.HeadGiven = &text
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(doc)
}
