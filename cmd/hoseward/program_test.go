package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
)

// noon is the day most tests run on.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// must is call where anything but success ends the test.
func must(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := call(t, "", args...)
	if code != exitDone {
		t.Fatalf("hoseward %s: exit %d\n%s%s", strings.Join(args, " "), code, out, errs)
	}
	return out
}

// service is the program serving in the background.
type service struct {
	address string
	said    string // what it printed before the address
	ways    string // what it printed below it, of how to get in
	stop    func() (code int, stderr string)
}

func serveDemoAt(t *testing.T, now time.Time) *service {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	read, write := io.Pipe()
	var errs bytes.Buffer
	m := &Main{Stdin: strings.NewReader(""), Stdout: write, Stderr: &errs, Now: func() time.Time { return now }}
	code := make(chan int, 1)
	go func() {
		code <- m.Run(ctx, []string{"serve", "--demo", "--listen", "127.0.0.1:0"})
		write.Close()
	}()
	s := &service{}
	lines := bufio.NewScanner(read)
	for lines.Scan() {
		if _, address, found := strings.Cut(lines.Text(), "serves at "); found {
			s.address = address
			break
		}
		s.said += lines.Text() + "\n"
	}
	for range 1 + len(register.Roles()) { // the address and these are printed at once
		if s.address != "" && lines.Scan() {
			s.ways += lines.Text() + "\n"
		}
	}
	s.stop = func() (int, string) {
		cancel()
		go io.Copy(io.Discard, read)
		return <-code, errs.String()
	}
	if s.address == "" {
		exit, stderr := s.stop()
		t.Fatalf("the service did not start: exit %d\n%s", exit, stderr)
	}
	return s
}

// signIn is a browser in which somebody of the demo signed in.
func (s *service) signIn(t *testing.T, name string) *http.Client {
	t.Helper()
	for _, line := range strings.Split(s.ways, "\n") {
		if way := strings.Fields(line); len(way) > 1 && way[0] == name {
			return signIn(t, s.address, name, way[1])
		}
	}
	t.Fatalf("no password of %s in %q", name, s.ways)
	return nil
}

// signIn is a browser in which somebody signed in by name and password.
func signIn(t *testing.T, address, name, password string) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: time.Minute}
	resp, err := client.PostForm(address+"/sign-in", url.Values{"name": {name}, "password": {password}, "next": {"/me/sign-in"}})
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK || resp.Request.URL.Path != "/me/sign-in" {
		t.Fatalf("signing in as %s leads to %s, status %d", name, resp.Request.URL, resp.StatusCode)
	}
	return client
}

func get(t *testing.T, client *http.Client, address string) (status int, body string) {
	t.Helper()
	resp, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(b)
}

func (s *service) mustStop(t *testing.T) {
	t.Helper()
	if code, stderr := s.stop(); code != exitDone {
		t.Fatalf("exit %d after being stopped\n%s", code, stderr)
	}
}

func TestServeDemo_MakesServesStopsAndMakesAnewWhenOld(t *testing.T) {
	t.Chdir(t.TempDir())
	first := serveDemoAt(t, noon)
	if !strings.Contains(first.said, "Making the demo register") {
		t.Errorf("the first start said %q, not that it makes the demo", first.said)
	}
	manager := first.signIn(t, "manager")
	for _, page := range []string{"/", "/machines", "/due", "/policies", "/jobs"} {
		if status, body := get(t, manager, first.address+page); status != http.StatusOK || !strings.Contains(strings.ToLower(body), "demo") {
			t.Errorf("%s: status %d, says demo: %v", page, status, strings.Contains(strings.ToLower(body), "demo"))
		}
	}
	first.mustStop(t)

	for _, c := range []struct {
		why  string
		now  time.Time
		made bool
	}{
		{"the same day the demo is kept", noon.Add(2 * time.Hour), false},
		{"a demo older than a day that nobody changed is made anew", noon.Add(26 * time.Hour), true},
	} {
		s := serveDemoAt(t, c.now)
		if got := strings.Contains(s.said, "Making"); got != c.made {
			t.Errorf("%s: made anew %v", c.why, got)
		}
		s.mustStop(t)
	}

	if err := os.WriteFile("new.csv", []byte("site,machine,name\nTarnbeck depot,ZZ-01,changed by hand\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "import", "--db", demoDB, "--kind", "machines", "new.csv")
	s := serveDemoAt(t, noon.Add(300*time.Hour))
	if strings.Contains(s.said, "Making") {
		t.Error("a demo that somebody changed was thrown away")
	}
	s.mustStop(t)
}

// demoRegister makes the demo in the current folder without serving it.
func demoRegister(t *testing.T) {
	t.Helper()
	m := &Main{Stdout: io.Discard, Stderr: io.Discard, Now: func() time.Time { return noon }}
	if err := os.MkdirAll("var", 0o700); err != nil {
		t.Fatal(err)
	}
	reg, err := openDemo(t.Context(), m, demoDB)
	if err != nil {
		t.Fatal(err)
	}
	if err := reg.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestExport_ImportsBackToTheSameRegister(t *testing.T) {
	t.Chdir(t.TempDir())
	demoRegister(t)
	kinds := []string{"machines", "hoses", "readings"}
	for _, kind := range kinds {
		must(t, "export", "--db", demoDB, "--kind", kind, kind+".csv")
	}
	for _, kind := range kinds {
		out := must(t, "import", "--db", "copy.db", kind+".csv")
		if !strings.Contains(out, "Read as "+kind) {
			t.Errorf("the kind of exported %s is not told from its headers:\n%s", kind, out)
		}
	}
	for _, kind := range kinds {
		again := must(t, "export", "--db", "copy.db", "--kind", kind, "-")
		original, err := os.ReadFile(kind + ".csv")
		if err != nil {
			t.Fatal(err)
		}
		if again != string(original) {
			t.Errorf("%s: the copy exports %d bytes, the original %d, and they differ", kind, len(again), len(original))
		}
		if out := must(t, "import", "--db", "copy.db", kind+".csv"); !strings.Contains(out, " 0 added, 0 changed,") {
			t.Errorf("%s a second time: %s", kind, out)
		}
	}
}

func TestEstimate_AsOfAnotherDayStoresNothing(t *testing.T) {
	t.Chdir(t.TempDir())
	demoRegister(t)
	before := must(t, "estimate", "--db", demoDB, "--json")
	later := must(t, "estimate", "--db", demoDB, "--json", "--as-of", "2028-11-25")
	if strings.Count(later, `"overdue"`) <= strings.Count(before, `"overdue"`) {
		t.Error("two years later no more assemblies are overdue")
	}
	if after := must(t, "estimate", "--db", demoDB, "--json"); after != before {
		t.Error("an estimate as of another day changed the register")
	}
}

func TestEstimate_ListsWhatIsDueWorstFirst(t *testing.T) {
	t.Chdir(t.TempDir())
	demoRegister(t)
	var all, soon []dueLine
	if err := json.Unmarshal([]byte(must(t, "estimate", "--db", demoDB, "--json")), &all); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(must(t, "estimate", "--db", demoDB, "--json", "--within", "30")), &soon); err != nil {
		t.Fatal(err)
	}
	if len(all) < 450 || all[0].Status != "stop" || len(soon) == 0 || len(soon) >= len(all) {
		t.Fatalf("%d lines, the first %q; %d within 30 days", len(all), all[0].Status, len(soon))
	}
	for _, l := range soon {
		if l.Complete && (l.ActBy.IsZero() || l.ActBy.String() > "2026-12-25") {
			t.Errorf("%s at %s is listed within 30 days, to be acted on by %q", l.Assembly, l.Position, l.ActBy)
		}
	}
	table := must(t, "estimate", "--db", demoDB, "--machine", "RT-01")
	if !strings.Contains(table, "ACT BY") || !strings.Contains(table, "never replaces") {
		t.Errorf("the table lacks its head or its caution:\n%s", table)
	}
}

func TestImport_SaysRowAndColumnAndHandsBackTheRest(t *testing.T) {
	t.Chdir(t.TempDir())
	sheet := "Machine;Position;Hose;Fitted;WP\n" +
		"RT-01;lift;EN 853 2SN DN12;01.07.2024;275 bar\n" +
		"RT-01;tilt;EN 853 2SN DN12;31.02.2024;275 bar\n"
	if err := os.WriteFile("hoses.csv", []byte(sheet), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, stderr := call(t, "", "import", "hoses.csv")
	if code != exitData || !strings.Contains(out, `"WP" as rated_bar`) || !strings.Contains(out, "row 3, ") || !strings.Contains(out, "31.02.2024") {
		t.Errorf("a sheet with a bad row: exit %d\n%s%s", code, out, stderr)
	}
	if got := must(t, "export", "-"); strings.Count(got, "\n") != 1 {
		t.Errorf("a refused sheet left something behind:\n%s", got)
	}
	if code, out, stderr = call(t, "", "import", "--good", "--rest", "rest.csv", "hoses.csv"); code != exitData {
		t.Fatalf("taking the good rows: exit %d\n%s%s", code, out, stderr)
	}
	if code, _, stderr = call(t, "", "import", "--good", "--rest", "hoses.csv", "hoses.csv"); code != exitCall || !strings.Contains(stderr, "is there already") {
		t.Errorf("the rest over the sheet itself: exit %d, %s", code, stderr)
	}
	rest, err := os.ReadFile("rest.csv")
	if err != nil || !bytes.Contains(rest, []byte("tilt")) || bytes.Contains(rest, []byte("lift")) {
		t.Errorf("handed back: %q, %v", rest, err)
	}
	if got := must(t, "export", "-"); !strings.Contains(got, "lift") || strings.Contains(got, "tilt") {
		t.Errorf("taken:\n%s", got)
	}
	must(t, "import", "--undo", "hoses.csv")
	if got := must(t, "export", "-"); strings.Contains(got, "lift") {
		t.Errorf("still there after undoing:\n%s", got)
	}
}

func TestRun_TellsTheCallFromTheDataFromTheEnvironment(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("notes.txt", []byte("nothing to see here"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("sheet.csv", []byte("machine,name\nRT-01,truck\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "import", "--dry-run", "sheet.csv") // makes the register
	for _, c := range []struct {
		why  string
		args []string
		code int
	}{
		{"no such command", []string{"frobnicate"}, exitCall},
		{"no such file", []string{"import", "absent.csv"}, exitCall},
		{"not a date", []string{"estimate", "--as-of", "soon"}, exitCall},
		{"an address open to others", []string{"serve", "--listen", "0.0.0.0:8460"}, exitCall},
		{"not a sheet", []string{"import", "notes.txt"}, exitData},
		{"a meaning for no column", []string{"import", "--meaning", "nosuch=machine", "sheet.csv"}, exitCall},
		{"a meaning that is no field", []string{"import", "--meaning", "machine=nonsense", "sheet.csv"}, exitCall},
		{"no such machine", []string{"estimate", "--machine", "NOPE"}, exitData},
		{"no such site", []string{"estimate", "--site", "NOPE"}, exitData},
		{"nothing at the path of the register", []string{"estimate", "--db", "absent/x.db"}, exitEnvironment},
		{"nothing at the path to export from", []string{"export", "--db", "absent/x.db", "-"}, exitEnvironment},
		{"no such folder to write to", []string{"export", "no/such/folder/x.csv"}, exitEnvironment},
		{"a register that is no database", []string{"estimate", "--db", "notes.txt"}, exitEnvironment},
	} {
		code, _, stderr := call(t, "", c.args...)
		if code != c.code || strings.Count(stderr, "\n") != 1 || strings.Contains(stderr, "invalid:") {
			t.Errorf("%s: exit %d, want %d, with one line: %q", c.why, code, c.code, stderr)
		}
	}
}

// The README's commands, run as they stand there.
func TestReadme_ItsCommandsWork(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	sheets := map[string]string{
		"machines.csv": "machine,name\nRT-01,refuse truck\n",
		"readings.csv": "machine,date,hours\nRT-01,2026-10-01,4200\n",
		"hoses.xlsx":   "machine,position,hose,size,fitted\nRT-01,lift,EN 853 2SN,DN 12,2024-07-01\n", // told by content, not by name
	}
	for name, text := range sheets {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ran := 0
	for _, line := range strings.Split(string(readme), "\n") {
		line, _, _ = strings.Cut(line, "#")
		args, found := strings.CutPrefix(strings.TrimSpace(line), "bin/hoseward ")
		if !found || strings.HasPrefix(args, "serve") {
			continue
		}
		ran++
		must(t, strings.Fields(args)...)
	}
	if ran < 4 {
		t.Errorf("only %d commands found in the README", ran)
	}
}
