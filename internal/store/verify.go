package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"hoseward/internal/register"
)

// ChainHead is the number and hash of the newest row of the change log; 0 and
// nothing where it has none.
func (s *Store) ChainHead(ctx context.Context) (register.Head, error) {
	return chainHead(ctx, s.reader())
}

func chainHead(ctx context.Context, c conn) (register.Head, error) {
	var h register.Head
	if err := c.row(ctx, "SELECT seq, hash FROM chain_head WHERE id = 1").Scan(&h.Seq, &h.Hash); err != nil {
		return h, fmt.Errorf("read the head of the change log: %w", translate(err))
	}
	return h, nil
}

// Verify holds the register to its change log: every hash of the log is worked
// out again, every row of the register compared with what its last change left,
// the counts with the tables, and the database asked whether it is sound. It
// reads one state of the register and writes nothing; memory does not grow with
// the register.
//
// Whoever owns the database can alter a row and write all of the log behind it
// anew: only a head that was printed before finds that, opts.Head.
func (s *Store) Verify(ctx context.Context, opts register.VerifyOptions) (register.Verdict, error) {
	v := &verifier{ctx: ctx, opts: opts}
	err := s.reading(ctx, func(c conn) error {
		v.conn = c
		for _, step := range []func() error{v.chain, v.rowsHeld, v.tallies, v.guards, v.file} {
			if err := step(); err != nil {
				return err
			}
		}
		return nil
	})
	return v.Verdict, err
}

// VerifyChain reads the whole change log and works out every hash again. rows
// is how many rows were read; firstBroken is the number of the first row that
// was altered, taken out or put in, 0 if the log is whole. Where rows are
// missing at the end it is the number of the first missing one.
func (s *Store) VerifyChain(ctx context.Context) (rows, firstBroken int64, err error) {
	v := &verifier{ctx: ctx}
	err = s.reading(ctx, func(c conn) error {
		v.conn = c
		return v.chain()
	})
	if err == nil && v.Chain != nil {
		firstBroken = v.Chain.Seq
	}
	return v.Changes, firstBroken, err
}

// reading runs f on one state of the register, which others go on changing.
func (s *Store) reading(ctx context.Context, f func(conn) error) error {
	if s.inside != nil {
		return f(s.reader())
	}
	options := &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}
	if s.e.name == SQLite {
		options = nil // any transaction of it reads one state
	}
	t, err := s.read.BeginTx(ctx, options)
	if err != nil {
		return fmt.Errorf("begin reading the register: %w", translate(err))
	}
	defer t.Rollback()
	return f(conn{querier: t, e: s.e})
}

// verifier is one walk over a register and its log.
type verifier struct {
	conn
	ctx  context.Context
	opts register.VerifyOptions
	register.Verdict
}

// progressEvery is after how many rows progress is told.
const progressEvery = 10_000

func (v *verifier) progress(what string, rows int64) {
	if v.opts.Progress != nil && rows%progressEvery == 0 {
		v.opts.Progress(what, rows)
	}
}

// link is how far the log was followed.
type link struct {
	seq  int64
	hash string
	at   string // hash of the row that should be the head
}

// chain follows the log from its first row to its last.
func (v *verifier) chain() error {
	var err error
	if v.Head, err = chainHead(v.ctx, v.conn); errors.Is(err, sql.ErrNoRows) {
		v.broken(register.ChainFault{What: register.FaultHead, Text: "the log has no head: the row that says which change is the newest was taken out"})
	} else if err != nil {
		return err
	}
	v.Given = v.opts.Head
	rows, err := v.query(v.ctx, "SELECT "+changes.columns+" FROM changes ORDER BY seq")
	if err != nil {
		return fmt.Errorf("read the change log: %w", err)
	}
	defer rows.Close()
	var last link
	given := ""
	for rows.Next() {
		c, readable, err := scanChange(rows)
		if err != nil {
			return fmt.Errorf("read a row of the change log: %w", err)
		}
		v.Changes++
		v.progress("change log", v.Changes)
		if v.Chain == nil {
			v.follow(&last, c, readable)
		}
		if v.Given != nil && c.Seq == v.Given.Seq {
			given = c.Hash
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read the change log: %w", translate(err))
	}
	v.end(last)
	v.lookForGiven(given)
	return nil
}

// scanChange reads a row of the log. readable is false where a value is none
// that the program could have written; of such a row only number and hash are
// told.
func scanChange(rows *sql.Rows) (c *register.Change, readable bool, err error) {
	c = &register.Change{}
	if rows.Scan(changes.dest(nil, c)...) == nil {
		return c, true, nil
	}
	raw := make([]any, len(changes.names))
	to := make([]any, len(raw))
	for i := range raw {
		to[i] = &raw[i]
	}
	if err := rows.Scan(to...); err != nil {
		return nil, false, err
	}
	c = &register.Change{}
	c.Seq, _ = raw[0].(int64)
	return c, false, nil
}

// broken keeps the first fault.
func (v *verifier) broken(f register.ChainFault) {
	if v.Chain == nil {
		v.Chain = &f
	}
}

// follow wants a row to be the one behind last.
func (v *verifier) follow(last *link, c *register.Change, readable bool) {
	fault := func(seq int64, what register.FaultKind, format string, args ...any) {
		v.broken(register.ChainFault{Seq: seq, What: what, About: v.about(seq, c), Text: fmt.Sprintf(format, args...)})
	}
	switch {
	case c.Seq <= last.seq:
		fault(c.Seq, register.FaultPutIn, "it was put in: the first row of a log is row 1")
	case c.Seq > last.seq+1:
		fault(last.seq+1, register.FaultMissing, "%s missing: the log goes on with row %d", missingRows(last.seq+1, c.Seq-1), c.Seq)
	case !readable:
		fault(c.Seq, register.FaultAltered, "it was altered: it holds a value that the program never writes")
	case c.Hash != register.Chain(c.PrevHash, c) || hasZeroID(c):
		fault(c.Seq, register.FaultAltered, "it was altered: its hash is not that of what it says")
	case c.PrevHash != last.hash:
		fault(c.Seq, register.FaultPutIn, "it was put in: it agrees with itself and does not follow row %d", last.seq)
	}
	last.seq, last.hash = c.Seq, c.Hash
	if c.Seq == v.Head.Seq {
		last.at = c.Hash
	}
}

// hasZeroID reports whether a row says 0 where the program writes nothing: both
// have one hash.
func hasZeroID(c *register.Change) bool {
	for _, id := range []*int64{c.ImportID, c.SiteID, c.MachineID, c.AssemblyID} {
		if id != nil && *id == 0 {
			return true
		}
	}
	return false
}

func missingRows(from, to int64) string {
	if from == to {
		return "it is"
	}
	return fmt.Sprintf("rows %d to %d are", from, to)
}

// end wants the log to end where its head says.
func (v *verifier) end(last link) {
	h := v.Head
	switch {
	case v.Chain != nil:
	case last.seq < h.Seq:
		v.broken(register.ChainFault{Seq: last.seq + 1, What: register.FaultMissing, Text: missingRows(last.seq+1, h.Seq) + " missing: the log ends before its head"})
	case last.seq > h.Seq:
		v.broken(register.ChainFault{Seq: h.Seq + 1, What: register.FaultPutIn, Text: fmt.Sprintf("it was put in, or the head was set back: the head says that row %d is the newest", h.Seq)})
	case last.at != h.Hash:
		v.broken(register.ChainFault{Seq: h.Seq, What: register.FaultHead, Text: "the head of the log has another hash than this row: one of the two was altered"})
	}
}

// lookForGiven wants the log to have the head that was printed once.
func (v *verifier) lookForGiven(hash string) {
	switch g := v.Given; {
	case g == nil, g.Seq == 0, g.Is(g.Seq, hash):
	case hash == "":
		v.GivenFault = fmt.Sprintf("the log has no row %d that can be read, so it is not the log of which %s was the head, or was cut off since", g.Seq, g)
	default:
		v.GivenFault = fmt.Sprintf("row %d has the hash %s, and the head given says %s: that row or one before it was written anew since", g.Seq, hash, g.Hash)
	}
}

// about says what a change is about; nothing of a row that is missing.
func (v *verifier) about(seq int64, c *register.Change) string {
	if c.Seq != seq || c.Entity == "" {
		return ""
	}
	text := fmt.Sprintf("%s %d", c.Entity, c.EntityID)
	var row struct{ Code, Name string }
	unmarshal(cmp.Or(c.After, c.Before), &row)
	if name := cmp.Or(row.Code, row.Name); name != "" {
		text += " " + name
	}
	return text + ", " + string(c.Action) + " on " + c.At.UTC().Format("2006-01-02 15:04 UTC")
}

// unmarshal reads what it can of a text that anybody may have altered.
func unmarshal(text string, to any) { _ = json.Unmarshal([]byte(text), to) }

// verifyKept bounds what is told of each kind of difference.
const verifyKept = 20

// tallies wants the counts to be what the tables have.
func (v *verifier) tallies() error {
	v.say("counts")
	rows, err := v.query(v.ctx, "WITH made (what, site_id, day, n) AS ("+strings.Join(recounts(v.e), " UNION ALL ")+
		") SELECT what, site_id, SUM(n) FROM (SELECT what, site_id, day, n FROM tallies UNION ALL SELECT what, site_id, day, -n FROM made) both_ways"+
		fmt.Sprintf(" GROUP BY what, site_id, day HAVING SUM(n) <> 0 ORDER BY what, site_id LIMIT %d", verifyKept))
	if err != nil {
		return fmt.Errorf("compare the counts: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var what string
		var site, n int64
		if err := rows.Scan(&what, &site, &n); err != nil {
			return fmt.Errorf("compare the counts: %w", err)
		}
		v.Tallies = append(v.Tallies, fmt.Sprintf("the count %q of site %d is off by %+d", what, site, n))
	}
	return translate(rows.Err())
}

// say tells that something else begins to be read.
func (v *verifier) say(what string) {
	if v.opts.Progress != nil {
		v.opts.Progress(what, 0)
	}
}

// guards wants the triggers to be there that refuse to alter the log.
func (v *verifier) guards() error {
	want, query := []string{"changes_are_never_altered", "changes_are_never_deleted", "changes_are_never_replaced"},
		"SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'changes'"
	if v.e.name == Postgres {
		want = []string{"changes_are_never_altered", "changes_are_never_emptied"}
		query = "SELECT tgname FROM pg_trigger WHERE tgrelid = 'changes'::regclass AND tgenabled IN ('O', 'A')"
	}
	have, err := texts(v.ctx, v.conn, query)
	if err != nil {
		return fmt.Errorf("look for the triggers of the change log: %w", err)
	}
	for _, name := range want {
		if !slices.Contains(have, name) {
			v.Guards = append(v.Guards, "the trigger "+name+", which refuses to alter the change log, is gone or switched off")
		}
	}
	return nil
}

// file asks SQLite whether its file is sound and every reference holds;
// PostgreSQL sees to both itself.
func (v *verifier) file() error {
	if v.e.name != SQLite {
		return nil
	}
	v.say("references")
	rows, err := v.query(v.ctx, "PRAGMA foreign_key_check")
	if err != nil {
		return fmt.Errorf("check references: %w", err)
	}
	defer rows.Close()
	for rows.Next() && len(v.File) < verifyKept {
		var table, parent string
		var row, key sql.NullInt64
		if err := rows.Scan(&table, &row, &parent, &key); err != nil {
			return fmt.Errorf("check references: %w", err)
		}
		v.File = append(v.File, fmt.Sprintf("row %d of %s refers to a row of %s that is not there", row.Int64, table, parent))
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return fmt.Errorf("check references: %w", translate(err))
	}
	v.say("pages of the file")
	found, err := texts(v.ctx, v.conn, fmt.Sprintf("PRAGMA integrity_check(%d)", verifyKept))
	if err != nil {
		return fmt.Errorf("check the file: %w", err)
	}
	for _, text := range found {
		if text != "ok" && !strings.Contains(text, "fts5:") { // search texts are made anew from the other tables
			v.File = append(v.File, "SQLite finds: "+text)
		}
	}
	return nil
}
