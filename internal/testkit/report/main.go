// Command report runs the tests and says in few lines what happened: a line
// for each package, the whole output of what failed, and at the end every
// test that was skipped with its reason, so that nobody takes a skipped test
// for a passed one. Its arguments go to go test.
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"strings"
)

// event is one line of go test -json.
type event struct {
	Action     string
	Package    string
	ImportPath string
	Test       string
	Output     string
	Elapsed    float64
}

func main() {
	os.Exit(run(os.Args[1:], os.Stdout))
}

func run(args []string, w io.Writer) int {
	cmd := exec.Command("go", append([]string{"test", "-json"}, args...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(w, "run the tests:", err)
		return 3
	}
	r := report{w: w, output: map[string][]string{}, skips: map[string][]string{}}
	r.read(out)
	err = cmd.Wait()
	r.close()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		return exit.ExitCode()
	case err != nil:
		fmt.Fprintln(w, "run the tests:", err)
		return 3
	}
	return 0
}

// report gathers what the tests say.
type report struct {
	w                       io.Writer
	output                  map[string][]string // by package and test, until it has ended
	reasons                 []string            // of skips, each once
	skips                   map[string][]string // tests by reason
	passed, failed, skipped int
}

func (r *report) read(out io.Reader) {
	lines := bufio.NewScanner(out)
	lines.Buffer(nil, 16<<20)
	for lines.Scan() {
		var e event
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			fmt.Fprintln(r.w, lines.Text())
			continue
		}
		r.take(e)
	}
}

func (r *report) take(e event) {
	key := e.Package + " " + e.Test
	switch e.Action {
	case "output":
		r.output[key] = append(r.output[key], e.Output)
	case "build-output":
		fmt.Fprint(r.w, e.Output)
	case "pass", "fail", "skip":
		r.end(e, r.output[key])
		delete(r.output, key)
	}
}

func (r *report) end(e event, output []string) {
	if e.Test == "" {
		r.endPackage(e, output)
		return
	}
	switch e.Action {
	case "pass":
		r.passed++
	case "fail":
		r.failed++
		fmt.Fprint(r.w, strings.Join(output, ""))
	case "skip":
		r.skipped++
		why := reason(output)
		if len(r.skips[why]) == 0 {
			r.reasons = append(r.reasons, why)
		}
		r.skips[why] = append(r.skips[why], e.Test)
	}
}

func (r *report) endPackage(e event, output []string) {
	switch e.Action {
	case "pass":
		fmt.Fprintf(r.w, "ok    %s  %.1fs\n", e.Package, e.Elapsed)
	case "fail":
		r.failed++
		fmt.Fprint(r.w, strings.Join(output, ""))
		fmt.Fprintf(r.w, "FAIL  %s\n", e.Package)
	}
}

// place is where in the source something was said.
var place = regexp.MustCompile(`^\w+\.go:\d+: `)

// reason is what a skipped test said, on one line.
func reason(output []string) string {
	var said []string
	for _, line := range output {
		t := strings.TrimSpace(line)
		if strings.HasPrefix(t, "===") || strings.HasPrefix(t, "---") {
			continue
		}
		said = append(said, place.ReplaceAllString(t, ""))
	}
	return strings.Join(said, " ")
}

func (r *report) close() {
	if len(r.reasons) > 0 {
		fmt.Fprintln(r.w, "\nSkipped, so not tested on this machine:")
	}
	for _, why := range r.reasons {
		tests := r.skips[why]
		more := ""
		if len(tests) > 1 {
			more = fmt.Sprintf(" and %d more", len(tests)-1)
		}
		fmt.Fprintf(r.w, "  %s%s: %s\n", tests[0], more, why)
	}
	fmt.Fprintf(r.w, "\n%d passed, %d failed, %d skipped\n", r.passed, r.failed, r.skipped)
}
