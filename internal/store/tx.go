package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"gorm.io/gorm"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// tries bounds how often a transaction that lost against another is begun
// again; only PostgreSQL lets two writers meet.
const tries = 5

// tx is one transaction of changes. Helpers take it and see no other handle.
type tx struct {
	conn
	ctx context.Context
	s   *Store
	orm *gorm.DB
	now time.Time
	by  register.Actor

	chain      chain
	touched    touched
	finds      finds
	keys       keys
	codes      []string              // of the assemblies added so far
	person     int64                 // added last, 0 if none
	depth      int                   // of try
	need       register.Right        // of the command that is carried out
	roles      *register.PersonRoles // of who makes the changes; nil while not asked for
	follows    int                   // of following
	places     places
	generation int    // of the credential changed last, 0 if none was
	title      string // in words, what is done at once
	act        int64  // its row, 0 while nothing is written
	telling    *telling

	justAdded string          // code of the assembly added last in this list
	ahead     map[int64]int64 // by assembly: the placement a later Remove ends
}

// inTx runs f in a transaction and commits if f gives no error. f may run
// again from the beginning if it lost against another transaction.
func (s *Store) inTx(ctx context.Context, f func(conn) error) error {
	var err error
	for range tries {
		if err = s.once(ctx, f); !errors.Is(err, errAgain) {
			return err
		}
	}
	return err
}

func (s *Store) once(ctx context.Context, f func(conn) error) error {
	own, t, err := s.begin(ctx)
	if err != nil {
		return fmt.Errorf("begin a transaction: %w", err)
	}
	defer own.Close()  // gives the connection back
	defer t.Rollback() // does nothing after a commit
	c := conn{querier: t, e: s.e}
	if s.e.name == SQLite {
		c.ready = newPrepared(t)
	} else if _, err := c.exec(ctx, fmt.Sprintf("SET LOCAL lock_timeout = %d", patience.Milliseconds())); err != nil {
		return fmt.Errorf("begin a transaction: %w", err)
	}
	if err := f(c); err != nil {
		return translateCode(err)
	}
	if err := s.commit(ctx, t); err != nil {
		return fmt.Errorf("commit: %w", err)
	}
	return nil
}

// commit commits, and tells what was certainly not done from what may have been.
func (s *Store) commit(ctx context.Context, t *sql.Tx) error {
	if err := ctx.Err(); err != nil {
		return err // not begun
	}
	err := t.Commit()
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil && errors.Is(err, sql.ErrTxDone): // taken back before it was sent
		return ctx.Err()
	case ctx.Err() != nil && s.e.name == Postgres: // given up while the answer was waited for
		return fmt.Errorf("%w: %w", register.ErrUnsure, err)
	}
	return unsure(err)
}

// patience is how long a change waits for its turn, and on PostgreSQL for each
// row that others hold, before it is told that the register is busy.
const patience = 30 * time.Second

// begin waits for a connection and begins a transaction on it. A connection on
// which that fails because the server went meanwhile is left for another one:
// nothing was done on it yet.
func (s *Store) begin(ctx context.Context) (own *sql.Conn, t *sql.Tx, err error) {
	for range brokenConnections {
		if own, err = s.turn(ctx); err != nil {
			return nil, nil, err
		}
		if t, err = own.BeginTx(ctx, nil); err == nil {
			return own, t, nil
		}
		_ = own.Close()
		if !cutConnection(err) {
			break
		}
	}
	return nil, nil, translate(err)
}

// turn waits for a connection to write on. One that does not come within
// patience is register.ErrBusy.
func (s *Store) turn(ctx context.Context) (*sql.Conn, error) {
	wait, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	own, err := s.write.Conn(wait)
	if err != nil && ctx.Err() == nil && wait.Err() != nil {
		return nil, fmt.Errorf("%w: no turn within %s", register.ErrBusy, patience)
	}
	return own, translate(err)
}

// ormOn is gorm working inside the transaction c.
func (s *Store) ormOn(ctx context.Context, c conn) *gorm.DB {
	orm := s.orm.WithContext(ctx)
	orm.Statement.ConnPool = c.querier.(*sql.Tx)
	return orm
}

// change runs f in one transaction of changes: what f touches is estimated
// anew, the change log is chained, and all of it commits or none.
func (s *Store) change(ctx context.Context, now time.Time, by register.Actor, f func(*tx) error) (register.Result, error) {
	var result register.Result
	err := s.inTx(ctx, func(c conn) error {
		t := &tx{conn: c, ctx: ctx, s: s, orm: s.ormOn(ctx, c), now: now.UTC().Truncate(time.Microsecond), by: by}
		t.keys.clear()
		if err := f(t); err != nil {
			return err
		}
		stale, err := t.reestimateTouched()
		if err != nil {
			return err
		}
		if err := t.finishFinds(); err != nil {
			return err
		}
		result = register.Result{Codes: t.codes, PersonID: t.person, Generation: t.generation, Stale: stale}
		if err := t.tellAnswer(&result); err != nil {
			return err
		}
		return t.finishChain() // nothing may follow: it locks the chain
	})
	if err != nil {
		return register.Result{}, err
	}
	return result, nil
}

// try runs f and undoes what f did if it fails; the transaction goes on either
// way. It lets an import take the good rows and refuse the others.
func (t *tx) try(f func() error) error {
	t.depth++
	defer func() { t.depth-- }()
	name := fmt.Sprintf("try_%d", t.depth)
	if _, err := t.exec(t.ctx, "SAVEPOINT "+name); err != nil {
		return fmt.Errorf("set a savepoint: %w", err)
	}
	pending, codes := len(t.chain.pending), len(t.codes)
	err := f()
	if err == nil {
		if _, err := t.exec(t.ctx, "RELEASE SAVEPOINT "+name); err != nil {
			return fmt.Errorf("release a savepoint: %w", err)
		}
		return nil
	}
	t.chain.pending, t.codes, t.ahead = t.chain.pending[:pending], t.codes[:codes], nil
	t.keys.clear() // they may hold what is undone now
	t.places = places{}
	if errors.Is(err, errAgain) {
		return err
	}
	for _, q := range []string{"ROLLBACK TO SAVEPOINT ", "RELEASE SAVEPOINT "} {
		if _, rollErr := t.exec(t.ctx, q+name); rollErr != nil {
			return errors.Join(err, fmt.Errorf("go back to a savepoint: %w", rollErr))
		}
	}
	return err
}

// insert adds a row and notes the change. taken is what to tell if a unique
// value is in use.
func insert[T any](t *tx, tab *table[T], row *T, id *int64, taken error) error {
	var err error
	if *id, err = tab.insert(t.ctx, t.conn, row); err != nil {
		return t.explain("add to "+tab.name, err, taken)
	}
	return t.note(tab.name, *id, register.Added, nil, row)
}

// update replaces a row of which version was read, and notes the change. The
// caller has set the row's version to the one after.
func update[T any](t *tx, tab *table[T], before, after *T, id int64, version int, taken error) error {
	res := t.orm.Model(after).Select("*").Omit("id").Where("id = ? AND version = ?", id, version).Updates(after)
	if res.Error != nil {
		return t.explain("change "+tab.name, res.Error, taken)
	}
	if res.RowsAffected == 0 {
		return conflict()
	}
	return t.note(tab.name, id, register.Changed, before, after)
}

// explain turns an error of the database into a refusal where it is one.
func (t *tx) explain(what string, err, taken error) error {
	err = translate(err)
	switch {
	case errors.Is(err, gorm.ErrDuplicatedKey) && taken != nil:
		return taken
	case errors.Is(err, gorm.ErrDuplicatedKey):
		return refuse(register.Exists, "", "This is in the register already; look at it anew.")
	case errors.Is(err, gorm.ErrCheckConstraintViolated):
		return refuse(register.Invalid, "", "A value is outside what the register takes; check the numbers and dates.")
	case errors.Is(err, gorm.ErrForeignKeyViolated):
		return refuse(register.NotFound, "", "Something this refers to is not in the register any more; look at it anew.")
	}
	return fmt.Errorf("%s: %w", what, err)
}

// today is the day it is at a site.
func (t *tx) today(siteID int64) (quantity.Date, error) {
	if d, ok := t.keys.today[siteID]; ok {
		return d, nil
	}
	site, err := sites.one(t.ctx, t.conn, "id = ?", siteID)
	if err != nil {
		return quantity.Date{}, err
	}
	if site == nil {
		return quantity.Date{}, fmt.Errorf("find the zone of site %d: not there", siteID)
	}
	d := quantity.DateOf(t.now, zone(site.Zone))
	t.keys.today[siteID] = d
	return d, nil
}

// zone is the named time zone, UTC where the machine does not know the name.
func zone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	return loc
}

func refuse(code register.Code, field, format string, args ...any) error {
	return &register.Error{Code: code, Field: field, Sentence: fmt.Sprintf(format, args...)}
}

func conflict() error {
	return refuse(register.Conflict, "version", "Someone changed this meanwhile; look at it anew and repeat your change.")
}
