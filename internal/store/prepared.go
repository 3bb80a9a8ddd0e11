package store

import (
	"context"
	"database/sql"
)

// prepared keeps the statements of one transaction ready. SQLite reads the text
// of a statement anew each time it is run, which for an import of many rows is
// most of the work; the driver of PostgreSQL keeps statements by itself.
//
// A statement that is still being read from must not run again, so a row is
// never looked up with the very text whose rows are being walked through.
type prepared struct {
	tx    *sql.Tx
	once  map[string]bool // texts run once so far
	ready map[string]*sql.Stmt
}

// What is kept ready: texts up to a length, which leaves out lists of ids, and
// so many of them.
const (
	preparedLength = 8000
	preparedKept   = 200
)

func newPrepared(tx *sql.Tx) *prepared {
	return &prepared{tx: tx, once: map[string]bool{}, ready: map[string]*sql.Stmt{}}
}

// statement is the statement of a text, nil where the text is run for the
// first time, cannot be prepared or has no place to be kept.
func (p *prepared) statement(ctx context.Context, query string) *sql.Stmt {
	if p == nil || len(query) > preparedLength {
		return nil
	}
	if st, ok := p.ready[query]; ok {
		return st
	}
	if !p.once[query] {
		if len(p.once) >= 4*preparedKept {
			clear(p.once)
		}
		p.once[query] = true
		return nil
	}
	if len(p.ready) >= preparedKept {
		return nil
	}
	st, err := p.tx.PrepareContext(ctx, query) // closed with the transaction
	if err != nil {
		return nil // running the text itself tells what is wrong with it
	}
	p.ready[query] = st
	return st
}
