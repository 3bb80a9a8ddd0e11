package main_test

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"testing"
	"time"

	hoseward "hoseward/cmd/hoseward"
)

// The tests of this package that break things run this test program again, as a
// process that can be killed. Its first argument says as what.
const (
	asProgram = "as-the-program" // the program itself, with the arguments that follow
	asWriters = "as-writers"     // many writers on one register; see writers
)

func TestMain(m *testing.M) {
	if len(os.Args) > 1 {
		switch os.Args[1] {
		case asProgram:
			os.Exit(beProgram(os.Args[2:]))
		case asWriters:
			os.Exit(beWriters(os.Args[2:]))
		}
	}
	os.Exit(m.Run())
}

// faultNoon is when the clock of a program under test begins.
var faultNoon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// sinceNoon is a clock that begins at faultNoon.
func sinceNoon() func() time.Time {
	start := time.Now()
	return func() time.Time { return faultNoon.Add(time.Since(start)) }
}

func beProgram(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	m := &hoseward.Main{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Now: sinceNoon()}
	return m.Run(ctx, args)
}

// failed says on standard error why a child could not do what it is for.
func failed(what string, err error) int {
	fmt.Fprintf(os.Stderr, "%s: %v\n", what, err)
	return 1
}
