package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// leadKey is the advisory lock of the program that runs the jobs: the letters
// "hoseward" as a number.
const leadKey = 0x686f736577617264

// nudgeChannel is the channel of NOTIFY on which jobs are asked for.
const nudgeChannel = "hoseward_nudge"

// leadPing is how often the leader sees whether its connection still lives. A
// connection that is cut is noticed at once; this is for one that went silent.
const leadPing = 2 * time.Second

// Lead makes this program the one of all on this register that runs the jobs,
// if none is. lost is nil if another is; else it is closed as soon as this
// program leads no more, and after ctx ended, when another may lead.
//
// On PostgreSQL the leader holds an advisory lock on a connection of its own,
// so it stops leading whenever that connection ends, whatever ended it. It hears
// there what jobs others ask for with HandOn and tells nudged. On SQLite it holds
// a lock on a file beside the register, which ends with the program; two
// programs on one file are a slip there, and HandOn is not heard.
func (s *Store) Lead(ctx context.Context, nudged func(job string)) (lost <-chan struct{}, err error) {
	if s.e.name == SQLite {
		return s.leadSQLite(ctx)
	}
	c, err := s.write.Conn(ctx)
	if err != nil {
		return nil, fmt.Errorf("take a connection to lead: %w", err)
	}
	var mine bool
	err = c.QueryRowContext(ctx, "SELECT pg_try_advisory_lock($1)", int64(leadKey)).Scan(&mine)
	if err == nil && mine {
		_, err = c.ExecContext(ctx, "LISTEN "+nudgeChannel)
	}
	if err != nil || !mine {
		if err != nil {
			discard(c)
			return nil, fmt.Errorf("try to lead: %w", err)
		}
		return nil, c.Close()
	}
	end := make(chan struct{})
	go func() {
		defer close(end)
		defer discard(c)
		hear(ctx, c, nudged)
	}()
	return end, nil
}

// hear listens on the connection of the leader until it ends or ctx does.
func hear(ctx context.Context, c *sql.Conn, nudged func(job string)) {
	_ = c.Raw(func(conn any) error {
		for {
			if err := hearOnce(ctx, conn.(*stdlib.Conn).Conn(), nudged); err != nil {
				return err
			}
		}
	})
}

// hearOnce waits for a nudge a while and, where none comes, asks whether the
// server is still there.
func hearOnce(ctx context.Context, conn *pgx.Conn, nudged func(job string)) error {
	wait, cancel := context.WithTimeout(ctx, leadPing)
	defer cancel()
	n, err := conn.WaitForNotification(wait)
	switch {
	case err == nil:
		nudged(n.Payload)
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	case wait.Err() == nil:
		return err
	}
	ping, cancelPing := context.WithTimeout(ctx, leadPing)
	defer cancelPing()
	return conn.Ping(ping)
}

// discard ends a connection instead of giving it back to the pool: with it
// ends what it holds. Where the server still answers that is so at once, not
// only when it has noticed.
func discard(c *sql.Conn) {
	_ = c.Raw(func(conn any) error {
		end, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		of := conn.(*stdlib.Conn).Conn()
		_, _ = of.Exec(end, "SELECT pg_advisory_unlock_all()")
		_ = of.Close(end)
		return driver.ErrBadConn // the pool forgets it
	})
	_ = c.Close()
}

// leadSQLite holds an exclusive lock on a database of its own beside the
// register: the one kind of lock that SQLite has on every system.
func (s *Store) leadSQLite(ctx context.Context) (lost <-chan struct{}, err error) {
	db, err := sql.Open("sqlite", sqliteLeadDSN(s.dsn))
	if err != nil {
		return nil, fmt.Errorf("try to lead: %w", err)
	}
	c, err := db.Conn(ctx)
	if err == nil {
		_, err = c.ExecContext(ctx, "BEGIN EXCLUSIVE")
	}
	if err != nil {
		if c != nil {
			_ = c.Close()
		}
		_ = db.Close()
		var busy *sqlite.Error
		if errors.As(err, &busy) && busy.Code()&0xff == sqlite3.SQLITE_BUSY {
			return nil, nil
		}
		return nil, fmt.Errorf("try to lead: %w", err)
	}
	end := make(chan struct{})
	go func() {
		defer close(end)
		<-ctx.Done()
		_ = errors.Join(c.Close(), db.Close()) // the lock ends with them, whatever they say
	}()
	return end, nil
}

// HandOn asks the leader, wherever it is, to run a job soon. It is heard on
// PostgreSQL only; elsewhere, and where nobody leads at the moment, the job has
// its usual turn.
func (s *Store) HandOn(ctx context.Context, job string) error {
	if s.e.name != Postgres {
		return nil
	}
	if _, err := s.write.ExecContext(ctx, "SELECT pg_notify($1, $2)", nudgeChannel, job); err != nil {
		return fmt.Errorf("hand on the job %s: %w", job, err)
	}
	return nil
}
