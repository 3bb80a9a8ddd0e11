package main_test

import (
	"context"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// fewCuts is how many power cuts an ordinary run of the tests tries; cutsARound
// how many go with each round asked for.
const (
	fewCuts    = 12
	cutsARound = 5
)

// traced runs this program as something under strace and returns the calls it
// made on files.
func traced(t *testing.T, args ...string) []diskCall {
	t.Helper()
	strace := testkit.NeedsTool(t, "strace", "power cuts are tried on what a program wrote, as strace saw it")
	trace := filepath.Join(t.TempDir(), "trace")
	child := testkit.Again(t, args...)
	cmd := exec.Command(strace, append([]string{"-f", "-y", "-xx", "-s", "1048576", "-o", trace, "-e", tracedCalls, child.Path}, args...)...)
	cmd.SysProcAttr = child.SysProcAttr
	out, err := cmd.CombinedOutput()
	if err != nil && strings.Contains(string(out), "ptrace") {
		testkit.NotHere(t, "power cuts are not tried: this machine does not let strace look at programs: "+strings.TrimSpace(string(out)))
	}
	if err != nil {
		t.Fatalf("strace: %v: %.500s", err, out)
	}
	calls, err := readTrace(trace)
	if err != nil {
		t.Fatal(err)
	}
	return calls
}

// acknowledged are the marks of writes that were acknowledged when a line of
// the trace was written.
func acknowledged(calls []diskCall, line int) []string {
	var marks []string
	for _, c := range calls {
		if c.path == "1" && c.began <= line {
			if m, ok := strings.CutPrefix(strings.TrimSpace(string(c.data)), "done "); ok {
				marks = append(marks, m)
			}
		}
	}
	return marks
}

// cuts are chosen lines of a trace in their order.
func cuts(dice *rand.Rand, calls []diskCall, n int) []int {
	last := 0
	for _, c := range calls {
		last = max(last, c.began)
	}
	var lines []int
	for range n {
		lines = append(lines, dice.IntN(last+1))
	}
	slices.Sort(lines)
	return lines
}

// eachCut lets the power be cut at some lines of a trace and hands out what is
// left. forgetful is a disk that makes nothing last.
func eachCut(t *testing.T, dice *rand.Rand, d *disk, calls []diskCall, n int, forgetful bool, f func(line int, dir string)) {
	t.Helper()
	next := 0
	for _, line := range cuts(dice, calls, n) {
		for ; next < len(calls) && calls[next].ended <= line; next++ {
			if !forgetful || calls[next].name != "fsync" {
				d.do(calls[next])
			}
		}
		var flying []diskCall
		for _, c := range calls[next:] {
			if c.began <= line {
				flying = append(flying, c)
			}
		}
		dir, err := os.MkdirTemp(t.TempDir(), "cut-")
		if err != nil {
			t.Fatal(err)
		}
		d.cut(t, dice, flying, dir)
		f(line, dir)
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.Fatalf("after a power cut at line %d of the trace", line)
		}
	}
}

// straceWriters is how many write under strace, which is slow.
const straceWriters = 15

// A power cut while many write to an SQLite register: whatever part of what was
// not yet made to last is on the disk, everything acknowledged is there and
// nothing is by half. A disk that makes nothing last, which the same test shows,
// loses what was acknowledged.
func TestFaults_PowerCutLosesNothingAcknowledged(t *testing.T) {
	t.Parallel()
	dice, n := testkit.Dice(t), cutsARound*testkit.FaultRounds(t, fewCuts/cutsARound)
	g := newGround(t, store.SQLite)
	path := g.register(t)
	before := func() *disk { return newDisk(t, filepath.Dir(path)) }
	honest, forgetful := before(), before()
	calls := traced(t, asWriters, path, "0", strconv.FormatUint(dice.Uint64(), 10), strconv.Itoa(straceWriters))
	tried, held, missing := 0, 0, 0
	eachCut(t, dice, honest, calls, n, false, func(line int, dir string) {
		marked := acknowledged(calls, line)
		tried, held = tried+1, held+len(marked)
		at := filepath.Join(dir, filepath.Base(path))
		missing += marks(t, at).held(t, marked)
		sound(t, at)
	})
	t.Logf("%d power cuts in a trace of %d calls with %d acknowledged writes: %d times a write had to be there, %d missing", tried, len(calls), len(acknowledged(calls, 1<<60)), held, missing)

	lost := 0
	eachCut(t, dice, forgetful, calls, 10, true, func(line int, dir string) {
		there := map[string]bool{}
		if reg, err := store.Open(context.Background(), filepath.Join(dir, filepath.Base(path)), store.Options{}); err == nil {
			reg.Close()
			for m := range marks(t, filepath.Join(dir, filepath.Base(path))).acts {
				there[m] = true
			}
		}
		for _, m := range acknowledged(calls, line) {
			if !there[m] {
				lost++
			}
		}
	})
	if lost == 0 {
		t.Error("a disk that makes nothing last lost nothing: this test would not see a loss")
	}
	t.Logf("10 power cuts on a disk that makes nothing last lost %d", lost)
}

// A power cut while a register is made: the next start makes it.
func TestFaults_PowerCutWhileARegisterIsMade(t *testing.T) {
	t.Parallel()
	dice, n := testkit.Dice(t), cutsARound*testkit.FaultRounds(t, fewCuts/cutsARound)
	path := filepath.Join(t.TempDir(), "register.db")
	d := newDisk(t, filepath.Dir(path))
	calls := traced(t, asWriters, path, "0", "1", "0")
	tried := 0
	eachCut(t, dice, d, calls, n, false, func(_ int, dir string) {
		tried++
		at := filepath.Join(dir, filepath.Base(path))
		sound(t, at)
		reg := opened(t, at)
		defer reg.Close()
		if policies, err := reg.Policies(context.Background()); err != nil || len(policies) < 3 {
			t.Errorf("%d policies, %v", len(policies), err)
		}
	})
	t.Logf("%d power cuts in a trace of %d calls", tried, len(calls))
}
