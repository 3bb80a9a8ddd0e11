package server_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

// unlimited are limits that no test meets by accident: the clock of the tests
// stands still, so nothing is ever forgotten.
func unlimited() *server.Limits {
	free := server.Rate{Every: time.Nanosecond, Burst: 1 << 30}
	return &server.Limits{Door: free, Unknown: free, Person: free, Heavy: 1 << 20, AtOnce: 1 << 20, Each: 1 << 20}
}

// limits are the usual limits, on a clock that a test sets.
func limits(clock *fakeClock) setting {
	return func(c *server.Config, d *server.Deps) {
		usual := server.UsualLimits()
		c.Limits = &usual
		d.Now = clock.now
	}
}

type fakeClock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *fakeClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *fakeClock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// behind sets trusted proxies and a public URL.
func behind(proxies ...string) setting {
	return func(c *server.Config, _ *server.Deps) {
		for _, p := range proxies {
			c.Proxies = append(c.Proxies, netip.MustParsePrefix(p))
		}
		c.PublicURL = &url.URL{Scheme: "https", Host: "hoses.example.org"}
	}
}

// from sends a request as another end of the connection does.
func (s *site) from(peer, method, path string, header ...string) *http.Response {
	s.t.Helper()
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr = peer
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
			continue
		}
		r.Header.Add(header[i], header[i+1])
	}
	return s.do(r)
}

func TestLimits_GuessingAtTheDoorIsSlowedDown(t *testing.T) {
	clock := &fakeClock{t: now}
	s := empty(t, limits(clock)).signedOut()
	try := func(peer, path string) *http.Response { return s.from(peer, http.MethodPost, path) }
	for i := range 10 {
		if r := try("192.0.2.1:"+strconv.Itoa(1000+i), "/sign-in"); r.StatusCode == 429 {
			t.Fatalf("try %d is refused", i+1)
		}
	}
	r := want(t, try("192.0.2.1:2000", "/sign-in"), 429)
	if r.Header.Get("Retry-After") != "6" {
		t.Errorf("Retry-After %q, want 6", r.Header.Get("Retry-After"))
	}
	testkit.HTML(t, r.Body, testkit.In(".verdict", testkit.Text("Wait 6 seconds")))
	for _, path := range []string{"/set-up/guess", "/welcome/guess", "/sign-in/pin"} { // one measure for all doors
		want(t, try("192.0.2.1:2000", path), 429)
	}
	want(t, s.from("192.0.2.1:2000", http.MethodGet, "/welcome/guess"), 429)
	want(t, s.from("192.0.2.1:2000", http.MethodGet, "/set-up/guess"), 429)
	if r := s.from("192.0.2.1:2000", http.MethodGet, "/sign-in"); r.StatusCode == 429 {
		t.Error("the page of signing in is refused; it tries nothing")
	}
	if r := try("192.0.2.2:2000", "/sign-in"); r.StatusCode == 429 {
		t.Error("another address is refused too")
	}
	clock.pass(6 * time.Second)
	if r := try("192.0.2.1:2001", "/sign-in"); r.StatusCode == 429 {
		t.Error("refused still after 6 s")
	}
	want(t, try("192.0.2.1:2002", "/sign-in"), 429)
}

func TestLimits_ForgedAddressesDoNotHelp(t *testing.T) {
	for _, row := range []struct {
		why     string
		set     setting
		peer    string
		header  func(i int) []string
		refused bool
	}{
		{"no proxy is trusted", limits(&fakeClock{t: now}), "192.0.2.1:1", func(i int) []string { return []string{"X-Forwarded-For", fmt.Sprint("203.0.113.", i)} }, true},
		{"other headers", limits(&fakeClock{t: now}), "192.0.2.1:1", func(i int) []string {
			return []string{"X-Real-Ip", fmt.Sprint("203.0.113.", i), "Forwarded", fmt.Sprint("for=203.0.113.", i), "True-Client-Ip", fmt.Sprint("203.0.113.", i)}
		}, true},
		{"behind a proxy, a list begun by the sender", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("203.0.113.%d, 192.0.2.1", i), "Host", "hoses.example.org"}
		}, true},
		{"behind a proxy, two headers", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("203.0.113.%d", i), "X-Forwarded-For", "192.0.2.1", "Host", "hoses.example.org"}
		}, true},
		{"behind two proxies", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("203.0.113.%d, 192.0.2.1, 10.0.0.2", i), "Host", "hoses.example.org"}
		}, true},
		{"behind a proxy, nonsense in the list", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("x%d", i), "Host", "hoses.example.org"}
		}, true},
		{"behind a proxy, a private address is not trusted for being private", behind("10.0.0.1/32"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("203.0.113.%d, 192.168.1.1", i), "Host", "hoses.example.org"}
		}, true},
		{"IPv6 addresses of one line", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("2001:db8::%x", i), "Host", "hoses.example.org"}
		}, true},
		{"behind a proxy, really different senders", behind("10.0.0.0/8"), "10.0.0.1:1", func(i int) []string {
			return []string{"X-Forwarded-For", fmt.Sprintf("203.0.113.%d", i), "Host", "hoses.example.org"}
		}, false},
	} {
		s := empty(t, limits(&fakeClock{t: now}), row.set).signedOut()
		refused := false
		for i := range 30 {
			refused = s.from(row.peer, http.MethodPost, "/sign-in", row.header(i)...).StatusCode == 429 || refused
		}
		if refused != row.refused {
			t.Errorf("%s: refused %v", row.why, refused)
		}
	}
}

func TestLimits_PersonsAndStrangers(t *testing.T) {
	clock := &fakeClock{t: now}
	s := empty(t, limits(clock))
	for i := range 200 {
		if r := s.from(fmt.Sprintf("192.0.2.%d:1", i), http.MethodGet, "/policies"); r.StatusCode != 200 {
			t.Fatalf("request %d of a person: %d", i+1, r.StatusCode)
		}
	}
	r := want(t, s.from("198.51.100.1:1", http.MethodGet, "/policies"), 429)
	if r.Header.Get("Retry-After") != "1" {
		t.Errorf("Retry-After %q", r.Header.Get("Retry-After"))
	}
	clock.pass(time.Second) // fifty more
	for i := range 50 {
		if r := s.get("/policies"); r.StatusCode != 200 {
			t.Fatalf("request %d after a second: %d", i+1, r.StatusCode)
		}
	}
	want(t, s.get("/policies"), 429)

	out := s.signedOut()
	static := testkit.AttrOf(testkit.Find(testkit.HTML(t, out.get("/nowhere").Body), "link[rel=stylesheet]")[0], "href")
	for range 99 {
		if r := out.get("/nowhere"); r.StatusCode == 429 {
			t.Fatal("a stranger is refused too early")
		}
	}
	want(t, out.get("/nowhere"), 429)
	want(t, out.get(static), 200)
	want(t, out.get("/healthz"), 200)
	want(t, out.get("/readyz"), 200)
	// A cookie or a token that says nothing does not make a person.
	for range 200 {
		out.from("203.0.113.9:1", http.MethodGet, "/policies", "Cookie", "x=y", "Authorization", "Bearer nonsense")
	}
	want(t, out.from("203.0.113.9:1", http.MethodGet, "/policies", "Cookie", "x=y"), 429)
}

// blockingStore holds lists of machines until it is let go.
type blockingStore struct {
	server.Store
	began chan bool
	going chan bool
}

func (b blockingStore) MachineLines(ctx context.Context, at time.Time, f register.MachineFilter) ([]register.MachineLine, string, error) {
	b.began <- true
	<-b.going
	return b.Store.MachineLines(ctx, at, f)
}

func TestLimits_FewExportsAtOnceAndABoundForAll(t *testing.T) {
	hold := blockingStore{began: make(chan bool, 100), going: make(chan bool)}
	s := empty(t, func(c *server.Config, d *server.Deps) {
		all := *unlimited()
		all.Heavy, all.AtOnce, all.Each = 2, 4, 3
		c.Limits = &all
		hold.Store = d.For(register.AllSites())
		d.For = only(hold)
	})
	var wait sync.WaitGroup
	begin := func(peer, path string) {
		wait.Go(func() {
			if r := s.from(peer, http.MethodGet, path); r.StatusCode != 200 {
				t.Errorf("%s: %d", path, r.StatusCode)
			}
		})
		<-hold.began
	}
	begin("192.0.2.1:1", "/machines.csv")
	begin("192.0.2.1:1", "/machines.xlsx")
	third := want(t, s.from("192.0.2.1:1", http.MethodGet, "/machines.csv"), 429)
	testkit.HTML(t, third.Body, testkit.In(".verdict", testkit.Text("other exports or imports")))
	want(t, s.from("192.0.2.1:1", http.MethodGet, "/policies"), 200)
	begin("192.0.2.1:1", "/machines")
	if r := want(t, s.from("192.0.2.1:1", http.MethodGet, "/policies"), 429); r.Header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
	begin("192.0.2.2:1", "/machines")
	if r := want(t, s.from("192.0.2.3:1", http.MethodGet, "/policies"), 503); r.Header.Get("Retry-After") == "" {
		t.Error("no Retry-After")
	}
	want(t, s.get("/healthz"), 200)
	close(hold.going)
	wait.Wait()
	want(t, s.get("/machines.csv"), 200)
	text := body(t, s.from("127.0.0.1:1", http.MethodGet, "/metrics"))
	for _, line := range []string{`hoseward_requests_limited_total{limit="heavy"} 1`, `hoseward_requests_limited_total{limit="at once"} 1`, `hoseward_requests_limited_total{limit="at once by address"} 1`} {
		if !strings.Contains(text, line) {
			t.Errorf("the metrics do not say %s", line)
		}
	}
}

func TestPeers_PastTheProxyNobodyIsAnswered(t *testing.T) {
	s := empty(t, behind("10.0.0.0/24"))
	host := []string{"Host", "hoses.example.org"}
	for _, row := range []struct {
		peer   string
		status int
	}{
		{"10.0.0.7:1", 200},
		{"[::ffff:10.0.0.7]:1", 200},
		{"127.0.0.1:1", 200},
		{"[::1]:1", 200},
		{"10.0.1.7:1", 403},
		{"192.0.2.1:1", 403},
		{"[2001:db8::1]:1", 403},
		{"", 403},
	} {
		if r := s.from(row.peer, http.MethodGet, "/policies", host...); r.StatusCode != row.status {
			t.Errorf("%s: %d, want %d", row.peer, r.StatusCode, row.status)
		}
	}
	want(t, s.from("192.0.2.1:1", http.MethodGet, "/policies", "Host", "hoses.example.org", "X-Forwarded-For", "10.0.0.7"), 403)
	if !strings.Contains(s.log.String(), "status=403") {
		t.Error("the log does not say that somebody came past the proxy")
	}
	// The address a trusted proxy forwards is the one in the log.
	s.from("10.0.0.7:1", http.MethodGet, "/policies", "Host", "hoses.example.org", "X-Forwarded-For", "6.6.6.6, 203.0.113.5", "X-Request-Id", "proxy-0123456789")
	if log := s.log.String(); !strings.Contains(log, "from=203.0.113.5") || strings.Contains(log, "6.6.6.6") || !strings.Contains(log, "id=proxy-0123456789") {
		t.Error("the log has another address or number than the proxy gave")
	}
}

// Whoever could mend it is told on every page that passwords can be read.
func TestClear_IsSaidToManagers(t *testing.T) {
	s := empty(t, func(c *server.Config, _ *server.Deps) { c.Clear = true })
	viewer := s.as(personWith(t, s, register.Viewer, ""))
	const says = "Passwords can be read on their way here"
	if !strings.Contains(body(t, s.get("/")), says) {
		t.Error("a manager is not told")
	}
	if strings.Contains(body(t, viewer.get("/")), says) || strings.Contains(body(t, s.signedOut().get("/sign-in")), says) || strings.Contains(body(t, empty(t).get("/")), says) {
		t.Error("it is said where it does not help, or is not so")
	}
}

// A cookie that means nothing is no way round the bound of strangers, and who
// is in keeps nobody out by having hashes made.
func TestLimits_ACookieOfNothingCountsAsNone(t *testing.T) {
	clock := &fakeClock{t: now}
	s := empty(t, limits(clock)).signedOut()
	for i := range 100 {
		if r := s.from("192.0.2.1:1000", http.MethodGet, "/sign-in", "Cookie", "hoseward=x"+strconv.Itoa(i)); r.StatusCode == 429 {
			t.Fatalf("request %d is refused", i+1)
		}
	}
	want(t, s.from("192.0.2.1:1000", http.MethodGet, "/sign-in", "Cookie", "hoseward=x"), 429)
	want(t, s.from("192.0.2.1:1000", http.MethodGet, "/healthz", "Cookie", "hoseward=x"), 200)
	if r := s.from("192.0.2.2:1000", http.MethodGet, "/sign-in", "Cookie", "hoseward=x"); r.StatusCode == 429 {
		t.Error("another address is refused too")
	}

	clock.pass(time.Hour)
	for i, path := range []string{"/me/password", "/me/devices", "/me/password", "/me/devices", "/me/password", "/me/devices", "/me/password", "/me/devices", "/me/password", "/me/devices"} {
		if r := s.from("192.0.2.3:1000", http.MethodPost, path); r.StatusCode == 429 {
			t.Fatalf("hash %d is refused", i+1)
		}
	}
	want(t, s.from("192.0.2.3:1000", http.MethodPost, "/me/password"), 429)
}
