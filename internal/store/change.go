package store

import (
	"encoding/json"
	"fmt"
	"strings"

	"hoseward/internal/register"
)

// pendingChanges bounds the change rows a transaction holds in memory. Only a
// transaction that makes more than this locks the chain before its end.
const pendingChanges = 2000

// chain is the change log as seen by one transaction: rows not yet written,
// and once some are written the last link.
type chain struct {
	pending []register.Change
	locked  bool
	seq     int64
	hash    string
}

// note puts a row in the change log, if who makes the change may make it.
// before and after are pointers to the row as it was and is; nil where there is
// none.
func (t *tx) note(entity string, id int64, action register.Action, before, after any) error {
	of, err := t.permit(entity, action, before, after)
	if err != nil {
		return err
	}
	b, err := jsonOf(before)
	if err != nil {
		return fmt.Errorf("note a change of %s %d: %w", entity, id, err)
	}
	a, err := jsonOf(after)
	if err != nil {
		return fmt.Errorf("note a change of %s %d: %w", entity, id, err)
	}
	c := register.Change{
		At: t.now, PersonID: t.by.PersonID, Origin: t.by.Origin, Entity: entity, EntityID: id,
		Action: action, Before: b, After: a, Reason: t.by.Reason,
		SiteID: idOrNil(of.site), MachineID: idOrNil(of.machine), AssemblyID: idOrNil(of.assembly),
	}
	if t.by.ImportID != 0 {
		importID := t.by.ImportID
		c.ImportID = &importID
	}
	t.chain.pending = append(t.chain.pending, c)
	t.tellRow(&c, after)
	t.finds.note(before, after)
	return nil
}

func idOrNil(id int64) *int64 {
	if id == 0 {
		return nil
	}
	return &id
}

func jsonOf(v any) (string, error) {
	if v == nil {
		return "", nil
	}
	b, err := json.Marshal(v)
	return string(b), err
}

// flushFull writes the pending rows if there are many, so that a large
// transaction stays flat in memory. Not inside try, which may take them back.
func (t *tx) flushFull() error {
	if err := t.findsFull(); err != nil {
		return err
	}
	if t.depth > 0 || len(t.chain.pending) < pendingChanges {
		return nil
	}
	if !t.chain.locked { // locks are taken in one order by all
		if err := t.lockFinds(true); err != nil {
			return err
		}
	}
	return t.flush()
}

// finishChain writes what is pending and moves the head of the chain.
func (t *tx) finishChain() error {
	if err := t.flush(); err != nil || !t.chain.locked {
		return err
	}
	_, err := t.exec(t.ctx, "UPDATE chain_head SET seq = ?, hash = ? WHERE id = 1", t.chain.seq, t.chain.hash)
	if err != nil {
		return fmt.Errorf("move the head of the change log: %w", err)
	}
	return nil
}

// changesAtOnce is how many rows go into one INSERT.
const changesAtOnce = 100

func (t *tx) flush() error {
	if len(t.chain.pending) == 0 {
		return nil
	}
	if err := t.beginAct(); err != nil {
		return err
	}
	if !t.chain.locked {
		// Setting the row to itself locks it until the commit, and reads it
		// after the lock is had.
		err := t.row(t.ctx, "UPDATE chain_head SET seq = seq WHERE id = 1 RETURNING seq, hash").Scan(&t.chain.seq, &t.chain.hash)
		if err != nil {
			return fmt.Errorf("lock the head of the change log: %w", translate(err))
		}
		t.chain.locked = true
	}
	rows := t.chain.pending
	for i := range rows {
		t.chain.seq++
		rows[i].Seq, rows[i].PrevHash, rows[i].ActID = t.chain.seq, t.chain.hash, &t.act
		rows[i].Hash = register.Chain(t.chain.hash, &rows[i])
		t.chain.hash = rows[i].Hash
	}
	for len(rows) > 0 {
		n := min(len(rows), changesAtOnce)
		if err := t.insertChanges(rows[:n]); err != nil {
			return err
		}
		rows = rows[n:]
	}
	t.chain.pending = t.chain.pending[:0]
	return nil
}

func (t *tx) insertChanges(rows []register.Change) error {
	args := make([]any, 0, len(rows)*len(changes.names))
	for i := range rows {
		c := &rows[i]
		args = append(args, c.Seq, c.At, c.PersonID, c.Origin, c.ImportID, c.ActID, c.SiteID, c.MachineID, c.AssemblyID, c.Entity, c.EntityID, c.Action,
			c.Before, c.After, c.Reason, c.PrevHash, c.Hash)
	}
	one := "(" + strings.Repeat("?, ", len(changes.names)-1) + "?)"
	values := strings.TrimSuffix(strings.Repeat(one+", ", len(rows)), ", ")
	if _, err := t.exec(t.ctx, "INSERT INTO changes ("+changes.columns+") VALUES "+values, args...); err != nil {
		return fmt.Errorf("write the change log: %w", err)
	}
	return nil
}
