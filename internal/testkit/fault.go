package testkit

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
)

// The variables of the tests that break things on purpose.
const (
	faultsVariable = "HOSEWARD_FAULTS"      // how many rounds each goes
	diceVariable   = "HOSEWARD_FAULTS_DICE" // what its dice begin with
)

// FaultRounds is how many rounds a test that breaks things goes: as many as
// HOSEWARD_FAULTS says, few where it says nothing.
func FaultRounds(t testing.TB, few int) int {
	t.Helper()
	text := os.Getenv(faultsVariable)
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q is no number of rounds", faultsVariable, text)
	}
	return n
}

// Dice are what a test that breaks things decides by. They fall the same way
// each time; HOSEWARD_FAULTS_DICE=n makes them fall another way. What they
// began with is in the log of the test.
func Dice(t testing.TB) *rand.Rand {
	t.Helper()
	n, err := uint64(1), error(nil)
	if text := os.Getenv(diceVariable); text != "" {
		if n, err = strconv.ParseUint(text, 10, 64); err != nil {
			t.Fatalf("%s=%q is no number", diceVariable, text)
		}
	}
	t.Logf("the dice begin with %s=%d", diceVariable, n)
	return rand.New(rand.NewPCG(n, 2))
}

// Again is this test program run once more, as a process of its own that can be
// killed; args are its arguments, of which the TestMain of the package must
// know the first. It ends with the test at the latest.
func Again(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(fmt.Errorf("find this program: %w", err))
	}
	cmd := exec.Command(self, args...)
	endWithTests(cmd)
	t.Cleanup(func() {
		if cmd.Process != nil {
			_ = cmd.Process.Kill() // gone already, mostly
		}
	})
	return cmd
}

// NeedsTool is the path of a program that a test works with. Where it is not
// installed the test is skipped, or fails where HOSEWARD_TEST_ALL is 1.
func NeedsTool(t testing.TB, name, why string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		NotHere(t, fmt.Sprintf("no %s; %s: install the package %s", name, why, name))
	}
	return path
}

// NotHere skips a test that this machine has not what it takes for, or fails
// it where HOSEWARD_TEST_ALL is 1.
func NotHere(t testing.TB, sentence string) {
	t.Helper()
	if os.Getenv(allVariable) == "1" {
		t.Fatal(sentence)
	}
	t.Skip(sentence)
}
