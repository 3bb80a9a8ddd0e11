package main_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/net/html"

	hoseward "hoseward/cmd/hoseward"
	"hoseward/internal/files"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// running is the real program, built and serving a new register.
type running struct {
	t       *testing.T
	cmd     *exec.Cmd
	address string
	setUp   string // the one-time address of the first start
	db      string
	errs    *bytes.Buffer
	ended   chan error
	client  *http.Client
}

var builtProgram struct {
	once sync.Once
	path string
	err  error
}

// builtBinary builds the program once: what is tested here is what main does.
func builtBinary(t *testing.T) string {
	t.Helper()
	builtProgram.once.Do(func() {
		dir, err := os.MkdirTemp("", "hoseward-program-*")
		if err != nil {
			builtProgram.err = err
			return
		}
		builtProgram.path = filepath.Join(dir, "hoseward")
		if out, err := exec.Command("go", "build", "-o", builtProgram.path, ".").CombinedOutput(); err != nil {
			builtProgram.err = fmt.Errorf("%w: %s", err, out)
		}
	})
	if builtProgram.err != nil {
		t.Fatal(builtProgram.err)
	}
	return builtProgram.path
}

var setUpAddress = regexp.MustCompile(`https?://\S+/set-up/\S+`)

func serveProgram(t *testing.T, args ...string) *running {
	t.Helper()
	path := builtBinary(t)
	dir := t.TempDir()
	r := &running{t: t, db: filepath.Join(dir, "register.db"), errs: &bytes.Buffer{}, ended: make(chan error, 1)}
	r.cmd = exec.Command(path, append([]string{"serve", "--db", r.db, "--files", filepath.Join(dir, "files"), "--backups", "none", "--listen", "127.0.0.1:0"}, args...)...)
	r.cmd.Dir, r.cmd.Stderr = dir, r.errs
	out, err := r.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := r.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.cmd.Process.Kill() })
	said := make(chan [2]string, 1)
	go func() {
		var found [2]string
		for lines := bufio.NewScanner(out); lines.Scan(); {
			if a := setUpAddress.FindString(lines.Text()); a != "" {
				found[1] = a
			}
			if _, a, ok := strings.Cut(lines.Text(), "serves at "); ok {
				found[0] = a
			}
			if found[0] != "" && found[1] != "" {
				break
			}
		}
		said <- found
		io.Copy(io.Discard, out)
		r.ended <- r.cmd.Wait()
	}()
	select {
	case found := <-said:
		r.address, r.setUp = found[0], found[1]
	case <-time.After(60 * time.Second):
	}
	if r.address == "" || r.setUp == "" {
		r.cmd.Process.Kill()
		t.Fatalf("it serves at %q, set up at %q: %s", r.address, r.setUp, r.errs)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	r.client = &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return r
}

// signal ends the program and says how it ended.
func (r *running) signal(s os.Signal) {
	r.t.Helper()
	if err := r.cmd.Process.Signal(s); err != nil {
		r.t.Fatal(err)
	}
}

func (r *running) wait(most time.Duration) error {
	r.t.Helper()
	select {
	case err := <-r.ended:
		return err
	case <-time.After(most):
		r.t.Fatalf("still running after %s: %s", most, r.errs)
		return nil
	}
}

// manage adds the first manager, who is signed in then.
func (r *running) manage() {
	r.t.Helper()
	const password = "rivets under the blue barrow"
	resp, err := r.client.PostForm(r.setUp, url.Values{"name": {"R. Fielding"}, "password": {password}, "again": {password}})
	if err != nil {
		r.t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusSeeOther {
		b, _ := io.ReadAll(resp.Body)
		r.t.Fatalf("set up: %d %.3000s", resp.StatusCode, b)
	}
}

// upload sends a sheet and gives the address of the report on it.
func (r *running) upload(sheet string) string {
	r.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	part, err := w.CreateFormFile("file", "machines.csv")
	if err == nil {
		_, err = io.WriteString(part, sheet)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		r.t.Fatal(err)
	}
	resp, err := r.client.Post(r.address+"/import", w.FormDataContentType(), &b)
	if err != nil {
		r.t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusSeeOther {
		r.t.Fatalf("upload: %d", resp.StatusCode)
	}
	return r.address + resp.Header.Get("Location")
}

// takeForm is what the report's form sends to take all rows.
func (r *running) takeForm(report string) url.Values {
	r.t.Helper()
	resp, err := r.client.Get(report)
	if err != nil {
		r.t.Fatal(err)
	}
	defer resp.Body.Close()
	doc, err := html.Parse(resp.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	v := url.Values{}
	for _, f := range testkit.Find(doc, "form") {
		if testkit.AttrOf(f, "method") != "post" {
			continue
		}
		for n := range f.Descendants() {
			name := testkit.AttrOf(n, "name")
			switch {
			case n.Type != html.ElementNode || name == "":
			case n.Data == "input" && testkit.AttrOf(n, "type") != "checkbox":
				v.Set(name, testkit.AttrOf(n, "value"))
			case n.Data == "select":
				v.Set(name, "")
				for _, o := range testkit.Find(n, "option[selected]") {
					v.Set(name, testkit.AttrOf(o, "value"))
				}
			}
		}
	}
	v.Set("do", "all")
	if v.Get("shown") == "" && v.Get("header_hash") == "" {
		r.t.Fatalf("status %d, the report's form holds %v", resp.StatusCode, v)
	}
	return v
}

// An import that runs when the program is told to stop is in the register
// whole or not at all, and the program ends well within its time.
func TestStop_ImportIsWholeOrNothing(t *testing.T) {
	const machines = 2000
	var sheet strings.Builder
	sheet.WriteString("site,machine,name\n")
	for i := range machines {
		fmt.Fprintf(&sheet, "Depot,M-%05d,machine %d\n", i, i)
	}
	for _, after := range []time.Duration{20 * time.Millisecond, 200 * time.Millisecond} {
		r := serveProgram(t)
		r.manage()
		report := r.upload(sheet.String())
		form := r.takeForm(report)
		answered := make(chan int, 1)
		go func() {
			resp, err := r.client.PostForm(report, form)
			if err != nil {
				answered <- 0
				return
			}
			defer resp.Body.Close()
			io.Copy(io.Discard, resp.Body)
			answered <- resp.StatusCode
		}()
		time.Sleep(after) // let it get somewhere
		r.signal(syscall.SIGTERM)
		if err := r.wait(60 * time.Second); err != nil {
			t.Errorf("after %s: %v: %s", after, err, r.errs)
		}
		status := <-answered
		s, err := store.Open(t.Context(), r.db, store.Options{})
		if err != nil {
			t.Fatal(err)
		}
		codes, err := s.MachineCodes(t.Context())
		if n := len(codes); err != nil || n != 0 && n != machines || n == 0 && status != 0 && status < 400 {
			t.Errorf("stopped after %s: answered %d, %d machines are there: %v", after, status, n, err)
		} else {
			t.Logf("stopped after %s: answered %d, %d machines are there", after, status, n)
		}
		if _, broken, err := s.VerifyChain(t.Context()); err != nil || broken != 0 {
			t.Errorf("the change log is broken at %d: %v", broken, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

// What takes longer than the time there is to end is cut off, and what it
// changed is taken back as a whole.
func TestStop_WhatTakesTooLongIsCutAndTakenBack(t *testing.T) {
	const machines = 3000
	var sheet strings.Builder
	sheet.WriteString("site,machine,name\n")
	for i := range machines {
		fmt.Fprintf(&sheet, "Depot,M-%05d,machine %d\n", i, i)
	}
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "register.db"), store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	folder, err := files.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	const secret = "secret-of-the-first-start"
	srv, err := server.New(server.Config{Addr: listener.Addr().String(), SetUp: secret}, server.Deps{
		For: func(sc register.Scope) server.Store { return s.For(sc) }, Uploads: folder, Now: time.Now, Zone: time.UTC, Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- hoseward.ServeWith(ctx, srv, listener, 50*time.Millisecond) }()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	r := &running{t: t, address: "http://" + listener.Addr().String(), client: &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	r.setUp = r.address + "/set-up/" + secret
	r.manage()
	report := r.upload(sheet.String())
	form := r.takeForm(report)
	answered := make(chan error, 1)
	go func() {
		resp, err := r.client.PostForm(report, form)
		if err == nil {
			resp.Body.Close()
		}
		answered <- err
	}()
	time.Sleep(100 * time.Millisecond)
	began := time.Now()
	stop()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("it goes on")
	}
	cut := <-answered
	codes, err := s.MachineCodes(t.Context())
	if n := len(codes); err != nil || cut != nil && n != 0 && n != machines || cut == nil && n != machines {
		t.Errorf("answered %v, %d machines are there: %v", cut, n, err)
	}
	t.Logf("ended within %s, the import with %v, %d machines", time.Since(began), cut, len(codes))
	if cut == nil {
		t.Error("the import was quicker than the time there was; take a larger one")
	}
	if _, broken, err := s.VerifyChain(t.Context()); err != nil || broken != 0 {
		t.Errorf("the change log is broken at %d: %v", broken, err)
	}
}

// hold keeps a request open that never ends by itself.
func (r *running) hold() net.Conn {
	r.t.Helper()
	host := strings.TrimPrefix(r.address, "http://")
	conn, err := net.Dial("tcp", host)
	if err != nil {
		r.t.Fatal(err)
	}
	fmt.Fprintf(conn, "POST /sign-in HTTP/1.1\r\nHost: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\nname=", host)
	return conn
}

func TestStop_SecondSignalEndsAtOnce(t *testing.T) {
	r := serveProgram(t)
	defer r.hold().Close()
	time.Sleep(300 * time.Millisecond) // until it is being read
	r.signal(syscall.SIGTERM)
	select {
	case err := <-r.ended:
		t.Fatalf("it did not wait for what was begun: %v", err)
	case <-time.After(time.Second):
	}
	r.signal(syscall.SIGTERM)
	began := time.Now()
	if err := r.wait(5 * time.Second); err == nil {
		t.Error("it ended as if all was well")
	}
	t.Logf("ended %s after the second signal", time.Since(began))
}

func TestStop_SaysSoBeforeItStops(t *testing.T) {
	r := serveProgram(t, "--trusted-proxies", "127.0.0.1", "--public-url", "https://hoses.example.org")
	status := func() int {
		resp, err := http.Get(r.address + "/readyz")
		if err != nil {
			return 0
		}
		defer resp.Body.Close()
		return resp.StatusCode
	}
	if got := status(); got != 200 {
		t.Fatalf("ready: %d", got)
	}
	r.signal(syscall.SIGTERM)
	said := false
	for began := time.Now(); time.Since(began) < 10*time.Second; time.Sleep(50 * time.Millisecond) {
		got := status()
		said = said || got == 503
		if got == 0 {
			break
		}
	}
	if !said {
		t.Error("it never said that it was about to stop")
	}
	if err := r.wait(20 * time.Second); err != nil {
		t.Errorf("%v: %s", err, r.errs)
	}
}

func TestHangUp_DoesNotEndTheProgram(t *testing.T) {
	r := serveProgram(t)
	r.signal(syscall.SIGHUP)
	time.Sleep(300 * time.Millisecond)
	resp, err := http.Get(r.address + "/healthz")
	if err != nil {
		t.Fatalf("it does not answer after SIGHUP: %v", err)
	}
	resp.Body.Close()
	r.signal(os.Interrupt)
	if err := r.wait(30 * time.Second); err != nil {
		t.Error(err)
	}
}
