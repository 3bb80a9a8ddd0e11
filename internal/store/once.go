package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"
	"time"

	"hoseward/internal/register"
)

// AnswersKept is how long an answer is kept to be given again.
const AnswersKept = 30 * 24 * time.Hour

// errReplayed ends a transaction whose request was carried out before.
var errReplayed = errors.New("the request was carried out before")

// telling is what a transaction tells of itself to who sent its request.
type telling struct {
	once   register.Once
	answer func(register.Result) (status int, body []byte, err error)
	rows   []register.ChangedRow
	said   register.Answer
}

// CommandError says which of several commands was refused.
type CommandError struct {
	Index int // counted from 0
	Err   error
}

// Error is the text for operators.
func (e *CommandError) Error() string { return fmt.Sprintf("command %d: %v", e.Index+1, e.Err) }

// Unwrap is the refusal itself.
func (e *CommandError) Unwrap() error { return e.Err }

// CommandIndex is the number of the refused command, counted from 0.
func (e *CommandError) CommandIndex() int { return e.Index }

// ApplyOnce is Apply for a request that may be sent twice. What answer makes of
// the result is kept in the same transaction, so either both are there or
// neither. A request with a key under which the same person had one carried out
// within AnswersKept is not carried out again: its first answer is returned,
// and Stale is 0. Another request under that key is refused with code
// KeyTaken. A second one that is sent while the first is carried out waits for
// it. What is refused is not kept and may be tried again. Without a key nothing
// is kept. A refused command is told by a *CommandError that wraps the refusal.
// answer must not use the store.
func (s *Store) ApplyOnce(ctx context.Context, now time.Time, by register.Actor, once register.Once,
	answer func(register.Result) (status int, body []byte, err error), cmds ...register.Command,
) (register.Answer, register.Result, error) {
	var tell *telling
	result, err := s.change(ctx, now, by, func(t *tx) error {
		tell = &telling{once: once, answer: answer}
		t.telling, t.title = tell, register.Title(cmds...)
		if err := t.reserve(); err != nil {
			return err
		}
		if err := t.tellOfWhat(cmds); err != nil {
			return err
		}
		at, err := t.applyAll(cmds)
		if err != nil && at >= 0 {
			return &CommandError{Index: at, Err: err}
		}
		return err
	})
	if errors.Is(err, errReplayed) {
		return tell.said, register.Result{}, nil
	}
	if err != nil {
		return register.Answer{}, register.Result{}, err
	}
	return tell.said, result, nil
}

// reserve writes the row of the request's key, so that a second one of the same
// key waits for this transaction. It gives errReplayed where there was one.
func (t *tx) reserve() error {
	once := t.telling.once
	if once.Key == "" {
		return nil
	}
	_, err := t.exec(t.ctx, "DELETE FROM answers WHERE person_id = ? AND once = ? AND at < ?", t.by.PersonID, once.Key, t.now.Add(-AnswersKept))
	if err != nil {
		return fmt.Errorf("forget an old answer: %w", err)
	}
	r, err := t.exec(t.ctx, "INSERT INTO answers (person_id, once, request_hash, status, body, at) VALUES (?, ?, ?, 0, ?, ?) ON CONFLICT DO NOTHING",
		t.by.PersonID, once.Key, once.Request, []byte{}, t.now)
	if err != nil {
		return t.explain("keep the key of a request", err, nil)
	}
	if n, err := r.RowsAffected(); err != nil || n == 1 {
		return err
	}
	var request string
	said := &t.telling.said
	err = t.row(t.ctx, "SELECT request_hash, status, body FROM answers WHERE person_id = ? AND once = ?", t.by.PersonID, once.Key).Scan(&request, &said.Status, &said.Body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return errAgain // taken away between the two statements
	case err != nil:
		return fmt.Errorf("read an answer given before: %w", translate(err))
	case request != once.Request:
		return keyTaken()
	}
	said.Replayed = true
	return errReplayed
}

// tellRow remembers a row that was changed, to be told.
func (t *tx) tellRow(c *register.Change, after any) {
	if t.telling != nil {
		t.telling.rows = append(t.telling.rows, register.ChangedRow{Entity: c.Entity, ID: c.EntityID, Action: c.Action, Version: versionAfter(after)})
	}
}

// versionAfter is the version of a row, a pointer to a struct; 0 where it has none.
func versionAfter(row any) int {
	v := reflect.ValueOf(row)
	if v.Kind() != reflect.Pointer || v.IsNil() || v.Elem().Kind() != reflect.Struct {
		return 0
	}
	if f := v.Elem().FieldByName("Version"); f.IsValid() && f.CanInt() {
		return int(f.Int())
	}
	return 0
}

// tellAnswer makes the answer of a result and keeps it.
func (t *tx) tellAnswer(result *register.Result) error {
	if t.telling == nil {
		return nil
	}
	result.Rows = t.telling.rows
	said := &t.telling.said
	var err error
	if said.Status, said.Body, err = t.telling.answer(*result); err != nil {
		return fmt.Errorf("make the answer of a request: %w", err)
	}
	if t.telling.once.Key == "" {
		return nil
	}
	_, err = t.exec(t.ctx, "UPDATE answers SET status = ?, body = ? WHERE person_id = ? AND once = ?", said.Status, said.Body, t.by.PersonID, t.telling.once.Key)
	if err != nil {
		return fmt.Errorf("keep the answer of a request: %w", err)
	}
	return nil
}

// ForgetAnswers deletes the answers that are older than AnswersKept and says how
// many there were.
func (s *Store) ForgetAnswers(ctx context.Context, now time.Time) (int64, error) {
	var n int64
	err := s.inTx(ctx, func(c conn) error {
		r, err := c.exec(ctx, "DELETE FROM answers WHERE at < ?", now.UTC().Add(-AnswersKept))
		if err != nil {
			return fmt.Errorf("forget old answers: %w", err)
		}
		n, err = r.RowsAffected()
		return err
	})
	return n, err
}

// Answered is the answer given to a request before; its Replayed is false where
// there was none. Another request under its key is refused as by ApplyOnce.
func (s *Store) Answered(ctx context.Context, now time.Time, personID int64, once register.Once) (register.Answer, error) {
	var said register.Answer
	var request string
	err := s.reader().row(ctx, "SELECT request_hash, status, body FROM answers WHERE person_id = ? AND once = ? AND at >= ?",
		personID, once.Key, now.UTC().Add(-AnswersKept)).Scan(&request, &said.Status, &said.Body)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return register.Answer{}, nil
	case err != nil:
		return register.Answer{}, fmt.Errorf("look for an answer given before: %w", translate(err))
	case request != once.Request:
		return register.Answer{}, keyTaken()
	}
	said.Replayed = true
	return said, nil
}

func keyTaken() error {
	return refuse(register.KeyTaken, "", "This Idempotency-Key was used for another request; choose a new one for each request.")
}
