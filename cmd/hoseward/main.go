// Command hoseward keeps a register of hydraulic hoses and says when each is
// due.
//
// The main idea: this package is the only one that knows all the others. Each
// sub-command is a struct with its flags and a Run method in a file of its
// own and a line in commands; Run takes what it needs by type (see
// Main.Run), does its work through the packages, and tells by the kind of its
// error how the program exits.
//
// It decides nothing of the trade.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"
	_ "time/tzdata" // zones also where the machine has no table of them

	"github.com/alecthomas/kong"

	"hoseward/internal/config"
	"hoseward/internal/register"
)

// commands are the sub-commands.
type commands struct {
	config.Flags `embed:"" group:"settings"`

	Serve    serveCommand    `cmd:"" help:"Serve the pages and run the scheduled jobs."`
	Estimate estimateCommand `cmd:"" help:"Re-estimate the register, then list what is due, worst first."`
	Import   importCommand   `cmd:"" help:"Take a sheet of machines, hoses or readings, or a whole register, into the register."`
	Export   exportCommand   `cmd:"" help:"Write the whole register, or machines, hoses or readings, as a file that imports back."`
	Migrate  migrateCommand  `cmd:"" help:"Bring the schema of the register up to date."`
	Backup   backupCommand   `cmd:"" help:"Write the register and its files as one zip, and try whether it can be restored."`
	Restore  restoreCommand  `cmd:"" help:"Make an empty register and its files from a backup."`
	Copy     copyCommand     `cmd:"" help:"Copy a register to another database, SQLite or PostgreSQL, and compare."`
	Verify   verifyCommand   `cmd:"" help:"Hold the register to its change log: was anything altered past it, is the log as it was?"`

	Person personCommands `cmd:"" help:"People who may sign in: add one, list them, let one in again."`

	Calc calcCommands `cmd:"" help:"The mathematics alone, on files, with no register."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	m := &Main{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Now: time.Now}
	code := m.Run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// Main is the program with what it touches of the world outside, so that
// tests can run it.
type Main struct {
	Stdin          io.Reader
	Stdout, Stderr io.Writer
	Now            func() time.Time // the only clock
}

// The exit codes.
const (
	exitDone        = 0
	exitData        = 1 // the data is wrong
	exitCall        = 2 // the call is wrong
	exitEnvironment = 3 // the environment failed: a file, a database, a port
)

// exitError is an error that says how the program exits.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string { return e.err.Error() }
func (e *exitError) Unwrap() error { return e.err }

// badData is an error in what was to be worked on, badCall one in flags and
// arguments; the text says what to do. Any other error of a command is the
// environment's, but for a register.Error, which is data.
func badData(err error) error { return &exitError{exitData, err} }
func badCall(err error) error { return &exitError{exitCall, err} }

// Run runs the program with the arguments behind its name and returns its
// exit code. A command's Run method may take context.Context, *Main, and the
// checked config.Settings; settings are checked only for a command that takes
// them. Errors are one line on standard error.
func (m *Main) Run(ctx context.Context, args []string) int {
	err := m.run(ctx, args)
	if err == nil {
		return exitDone
	}
	text := strings.Join(strings.FieldsFunc(forPeople(err), func(r rune) bool { return r == '\n' || r == '\r' }), "; ")
	fmt.Fprintln(m.Stderr, "hoseward:", text)
	return exitCode(err)
}

// forPeople is the text of an error in which a refusal of the register is its
// sentence, without the code that logs show.
func forPeople(err error) string {
	var refused *register.Error
	if errors.As(err, &refused) {
		return strings.Replace(err.Error(), refused.Error(), refused.Sentence, 1)
	}
	return err.Error()
}

func exitCode(err error) int {
	var exit *exitError
	var refused *register.Error
	var setting *config.Error
	switch {
	case errors.As(err, &exit):
		return exit.code
	case errors.As(err, &refused):
		return exitData
	case errors.As(err, &setting):
		return exitCall
	}
	return exitEnvironment
}

func (m *Main) run(ctx context.Context, args []string) error {
	var c commands
	helped := false
	parser, err := kong.New(&c,
		kong.Name("hoseward"),
		kong.Description("A register of hydraulic hoses that says when each is due, and shows its working."),
		kong.Writers(m.Stdout, m.Stderr),
		kong.Exit(func(int) { helped = true }), // called by --help only
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Groups{"settings": "Settings (each also by its variable):"},
		kong.Resolvers(config.Secrets()),
		kong.WithHyphenPrefixedParameters(true), // temperatures below zero
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(m),
		kong.BindToProvider(func() (config.Settings, error) { return c.Flags.Check() }),
	)
	if err != nil {
		return fmt.Errorf("build the command line: %w", err)
	}
	call, err := parser.Parse(args)
	if helped {
		return nil
	}
	var file *fs.PathError
	switch {
	case errors.As(err, &file): // a secret's
		return err
	case err != nil:
		return badCall(fmt.Errorf("%w; see hoseward --help", err))
	}
	return call.Run()
}
