package testkit

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// DurablePostgres is a PostgreSQL server that keeps what it has committed, as
// one in use does, and that a test may stop, kill and start again.
type DurablePostgres struct {
	*PostgresServer
	c    *cluster
	port int
	cmd  *exec.Cmd // nil while it is not running
}

// StartDurablePostgres makes a cluster of its own for a test and starts it.
// Where no server is installed the test is skipped, or fails where
// HOSEWARD_TEST_ALL is 1.
func StartDurablePostgres(t testing.TB) *DurablePostgres {
	t.Helper()
	d, err := newDurable()
	if err != nil {
		NotHere(t, fmt.Sprintf("not run on a PostgreSQL of its own (%v): install the package postgresql", err))
	}
	t.Cleanup(func() {
		if d.cmd != nil {
			d.Stop(t, Immediate)
		}
		if err := os.RemoveAll(d.c.dir); err != nil {
			t.Errorf("remove the files of PostgreSQL: %v", err)
		}
	})
	d.Start(t)
	return d
}

func newDurable() (*DurablePostgres, error) {
	bin, err := postgresBin()
	if err != nil {
		return nil, err
	}
	as, err := serverUser()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "hoseward-durable-")
	if err != nil {
		return nil, fmt.Errorf("make a folder for PostgreSQL: %w", err)
	}
	c := &cluster{bin: bin, dir: dir, as: as}
	if err := c.init(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	port, err := freePort()
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return &DurablePostgres{c: c, port: port, PostgresServer: &PostgresServer{
		dsn: fmt.Sprintf("postgres://tester@127.0.0.1:%d/postgres?sslmode=disable", port),
	}}, nil
}

// startTime is how long a server may take to come up after it was killed.
const startTime = time.Minute

// Start starts the server and waits until it answers.
func (d *DurablePostgres) Start(t testing.TB) {
	t.Helper()
	late := time.Now().Add(startTime)
	for {
		err := d.tryStart()
		if err == nil {
			return
		}
		// One that was killed leaves its memory behind until the last of its
		// processes is gone.
		if time.Now().After(late) {
			t.Errorf("start PostgreSQL: %v", err)
			return
		}
	}
}

func (d *DurablePostgres) tryStart() error {
	// What it says is of use to whoever looks into a failure.
	log, err := os.OpenFile(filepath.Join(d.c.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd := d.c.command("postgres", "-D", filepath.Join(d.c.dir, "data"), "-h", "127.0.0.1", "-p", strconv.Itoa(d.port), "-k", d.c.dir, "-c", "max_connections=100")
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		return err
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case err := <-ended:
			return fmt.Errorf("it ended at once: %w", err)
		case <-tick.C:
			if d.run(context.Background(), "SELECT 1") == nil {
				d.cmd, d.stop = cmd, func() error { return <-ended }
				return nil
			}
		}
	}
}

// ShutDown is a way a server stops.
type ShutDown syscall.Signal

// The ways: Fast ends every transaction and stops cleanly, Immediate stops as
// if it had crashed.
const (
	Fast      = ShutDown(syscall.SIGINT)
	Immediate = ShutDown(syscall.SIGQUIT)
)

// Stop stops the server and waits until it is gone.
func (d *DurablePostgres) Stop(t testing.TB, how ShutDown) {
	t.Helper()
	if err := d.cmd.Process.Signal(syscall.Signal(how)); err != nil {
		t.Errorf("stop PostgreSQL: %v", err)
		return
	}
	_ = d.stop() // it says how it was ended
	d.cmd = nil
}

// Kill kills the server and all its processes at once, as the machine would do
// that is out of memory.
func (d *DurablePostgres) Kill(t testing.TB) {
	t.Helper()
	children := childrenOf(d.cmd.Process.Pid)
	if err := d.cmd.Process.Kill(); err != nil {
		t.Errorf("kill PostgreSQL: %v", err)
		return
	}
	for _, pid := range children {
		if p, err := os.FindProcess(pid); err == nil {
			_ = p.Kill() // it may be gone with its parent
		}
	}
	_ = d.stop()
	d.cmd = nil
}

// childrenOf are the processes a process has started, where the system tells.
func childrenOf(pid int) []int {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", pid, pid))
	if err != nil {
		return nil
	}
	var pids []int
	for _, f := range bytes.Fields(text) {
		if n, err := strconv.Atoi(string(f)); err == nil {
			pids = append(pids, n)
		}
	}
	return pids
}

// Address is the address of an empty database of the server; all go with it.
func (d *DurablePostgres) Address(t testing.TB) string {
	t.Helper()
	dsn, _, err := d.database(context.Background())
	if err != nil {
		t.Fatalf("make a database for the test: %v", err)
	}
	return dsn
}

// CopyOf is the address of a copy of a database that nobody is connected to.
func (d *DurablePostgres) CopyOf(t testing.TB, dsn string) string {
	t.Helper()
	name := dsn[strings.LastIndexByte(dsn, '/')+1:]
	name, _, _ = strings.Cut(name, "?")
	copied := fmt.Sprintf("%s_copy_%d", name, d.n.Add(1))
	if err := d.run(context.Background(), "CREATE DATABASE "+copied+" TEMPLATE "+name); err != nil {
		t.Fatalf("copy the database: %v", err)
	}
	// A copied sequence is one that PostgreSQL believes to have logged ahead; a
	// crash before the next checkpoint would set it back.
	if err := d.run(context.Background(), "CHECKPOINT"); err != nil {
		t.Fatalf("copy the database: %v", err)
	}
	return strings.Replace(dsn, "/"+name, "/"+copied, 1)
}
