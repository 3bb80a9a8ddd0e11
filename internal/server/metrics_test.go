package server_test

import (
	"errors"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/jobs"
	"hoseward/web"
)

func TestMetrics_OnlyForThoseWhoWatch(t *testing.T) {
	s := empty(t, behind("10.0.0.7/32", "127.0.0.1/32"))
	s.apply(register.AddSite{Name: "Depot", Zone: "UTC"})
	viewer := s.as(personWith(t, s, register.Viewer, ""))
	oneSite := s.as(personWith(t, s, register.Manager, "Depot"))
	for _, row := range []struct {
		why    string
		on     *site
		peer   string
		header []string
		status int
	}{
		{"a program on this computer", s.signedOut(), "127.0.0.1:1", nil, 200},
		{"the same by IPv6", s.signedOut(), "[::1]:1", []string{"Host", "localhost:8460"}, 200},
		{"a manager of all sites", s, "10.0.0.7:1", []string{"Host", "hoses.example.org"}, 200},
		{"a manager of one site", oneSite, "10.0.0.7:1", []string{"Host", "hoses.example.org"}, 404},
		{"a viewer", viewer, "10.0.0.7:1", []string{"Host", "hoses.example.org"}, 404},
		{"nobody known", s.signedOut(), "10.0.0.7:1", []string{"Host", "hoses.example.org"}, 404},
		{"passed on by a proxy on this computer", s.signedOut(), "127.0.0.1:1", []string{"X-Forwarded-For", "203.0.113.1"}, 404},
		{"passed on with another header", s.signedOut(), "127.0.0.1:1", []string{"Forwarded", "for=203.0.113.1"}, 404},
		{"passed on without a trace, by the public name", s.signedOut(), "127.0.0.1:1", []string{"Host", "hoses.example.org"}, 404},
		{"passed on, an address of loopback claimed", s.signedOut(), "127.0.0.1:1", []string{"X-Forwarded-For", "127.0.0.1"}, 404},
	} {
		if r := row.on.from(row.peer, http.MethodGet, "/metrics", row.header...); r.StatusCode != row.status {
			t.Errorf("%s: %d, want %d", row.why, r.StatusCode, row.status)
		}
	}
}

// watching asks for the metrics as a program on this computer does.
func (s *site) watching(header ...string) *http.Response {
	s.t.Helper()
	return want(s.t, s.from("127.0.0.1:1", http.MethodGet, "/metrics", header...), 200)
}

// scrape reads the metrics with the parser of those who made the format
// (https://prometheus.io/docs/instrumenting/exposition_formats/), in whichever
// of its forms the answer says it is.
func (s *site) scrape(header ...string) model.Vector {
	s.t.Helper()
	r := s.watching(header...)
	read := expfmt.SampleDecoder{Dec: expfmt.NewDecoder(r.Body, expfmt.ResponseFormat(r.Header)), Opts: &expfmt.DecodeOptions{}}
	var all model.Vector
	seen := map[string]bool{}
	for {
		var some model.Vector
		err := read.Decode(&some)
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			s.t.Fatal(err)
		}
		for _, sample := range some {
			if name := sample.Metric.String(); seen[name] {
				s.t.Errorf("%s comes twice", name)
			} else {
				seen[name] = true
			}
		}
		all = append(all, some...)
	}
}

// byName is samples by name and labels, as name{label="value", ...}.
func byName(samples model.Vector) map[string]float64 {
	all := map[string]float64{}
	for _, sample := range samples {
		all[sample.Metric.String()] = float64(sample.Value)
	}
	return all
}

func wantValues(t *testing.T, got, want map[string]float64) {
	t.Helper()
	for name, v := range want {
		if have, ok := got[name]; !ok || have != v {
			t.Errorf("%s is %v (told: %t), want %v", name, have, ok, v)
		}
	}
}

// ran notes a run of a job.
func (s *site) ran(job string, from, to time.Time, problem string) {
	s.t.Helper()
	run, _, err := s.store.StartJob(s.t.Context(), job, quantity.Date{}, from)
	if err == nil {
		err = s.store.FinishJob(s.t.Context(), run, to, 1, problem)
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

func TestMetrics_CountByPattern(t *testing.T) {
	s := empty(t)
	s.apply(
		register.AddSite{Name: "Depot", Zone: "UTC"},
		register.AddMachine{Site: "Depot", Kind: "wheel loader", Code: "SECRET-7"},
	)
	want(t, s.get("/machines/SECRET-7"), 200)
	want(t, s.get("/machines/SECRET-7"), 200)
	want(t, s.get("/machines/SECRET-8"), 404)
	want(t, s.get("/nowhere/SECRET-9"), 404)
	want(t, s.get("/due?text=SECRET-10"), 200)
	s.from("192.0.2.1:1", "SECRET", "/due")
	s.signedOut().post("/sign-in", "name", "nobody", "password", "SECRET-words-that-are-long")
	wantValues(t, byName(s.scrape()), map[string]float64{
		`hoseward_requests_total{method="GET", route="/machines/:code", status="2xx"}`: 2,
		`hoseward_requests_total{method="GET", route="/machines/:code", status="4xx"}`: 1,
		`hoseward_requests_total{method="GET", route="/due", status="2xx"}`:            1,
		`hoseward_requests_total{method="GET", route="none", status="4xx"}`:            1,
		`hoseward_requests_total{method="other", route="/due", status="4xx"}`:          1,
		`hoseward_request_seconds_count{route="/machines/:code"}`:                      3,
		`hoseward_request_seconds_bucket{le="0.005", route="/machines/:code"}`:         3, // the clock of the test stands
		`hoseward_request_seconds_bucket{le="30", route="/machines/:code"}`:            3,
		`hoseward_request_seconds_bucket{le="+Inf", route="/machines/:code"}`:          3,
		`hoseward_request_seconds_sum{route="/machines/:code"}`:                        0,
		`hoseward_requests_in_flight`:                                                  1,
		`hoseward_sign_in_failures_total`:                                              1,
		`hoseward_panics_total`:                                                        0,
		`hoseward_requests_limited_total{limit="door"}`:                                0,
	})
	if text := body(t, s.watching()); strings.Contains(text, "SECRET") {
		t.Error("the metrics tell what somebody asked for")
	}
}

// What strangers send must not make the metrics grow, nor get into them.
func TestMetrics_HaveBoundedLabels(t *testing.T) {
	s := empty(t)
	attack := func(i int) {
		n := strconv.Itoa(i)
		for _, on := range []*site{s, s.signedOut()} {
			for _, path := range []string{"/machines/" + n, "/" + n, "/static/" + n, "/api/v1/" + n, "/api/v1/machines/" + n, "/set-up/" + n, "/manual/%22%0a" + n, "/due?text=" + n} {
				on.from("192.0.2.1:1", http.MethodGet, path)
				on.from("192.0.2.1:1", "M"+n, path)
				on.from("192.0.2.1:1", http.MethodGet, path, "Host", n+".example")
			}
		}
	}
	s.scrape() // which is counted itself
	attack(1000)
	first := s.scrape()
	for i := range 20 {
		attack(1001 + i)
	}
	all := s.scrape()
	if ownSeries(all) != ownSeries(first) {
		t.Errorf("%d values at first, then %d", ownSeries(first), ownSeries(all))
	}
	oneOf := func(all ...string) func(string) bool {
		return func(s string) bool { return slices.Contains(all, s) }
	}
	routes := []string{"none"}
	for _, r := range s.server.Routes() {
		routes = append(routes, r.Path)
	}
	number := func(s string) bool { _, err := strconv.ParseFloat(s, 64); return err == nil }
	may := map[model.LabelName]func(string) bool{
		"route":  oneOf(routes...),
		"method": oneOf("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "other"),
		"status": oneOf("1xx", "2xx", "3xx", "4xx", "5xx"),
		"limit":  oneOf("at once by address", "at once", "door", "unknown", "person", "heavy"),
		"job":    oneOf(jobs.BackUp),
		"le":     number,
	}
	for _, sample := range all {
		name := string(sample.Metric[model.MetricNameLabel])
		if !strings.HasPrefix(name, "hoseward_") || name == "hoseward_build_info" {
			continue
		}
		for label, value := range sample.Metric {
			if ok := may[label]; label != model.MetricNameLabel && (ok == nil || !ok(string(value))) {
				t.Errorf("%s has %s %q", name, label, value)
			}
		}
	}
}

// ownSeries counts the values that the server itself gives.
func ownSeries(all model.Vector) (n int) {
	for name := range byName(all) {
		if strings.HasPrefix(name, "hoseward_") {
			n++
		}
	}
	return n
}

func TestMetrics_TellOfTheRegister(t *testing.T) {
	s := empty(t)
	// A backup that was never made is told too: no value at all raises no alarm.
	wantValues(t, byName(s.scrape()), map[string]float64{
		`hoseward_job_last_success_timestamp_seconds{job="back up"}`: 0,
		`hoseward_job_last_start_timestamp_seconds{job="back up"}`:   0,
		`hoseward_job_failures_total{job="back up"}`:                 0,
	})
	s.ran(jobs.BackUp, now.Add(-2*time.Hour), now.Add(-time.Hour), "")
	s.ran(jobs.BackUp, now.Add(-time.Minute), now, "The disk is full.")
	s.ran(jobs.EstimateAll, now.Add(-time.Minute), now, "")
	s.apply(register.AddSite{Name: "Depot", Zone: "UTC"})
	got := byName(s.scrape())
	wantValues(t, got, map[string]float64{
		`hoseward_register_up`: 1,
		`hoseward_job_last_success_timestamp_seconds{job="back up"}`:      float64(now.Add(-time.Hour).Unix()),
		`hoseward_job_last_success_duration_seconds{job="back up"}`:       3600,
		`hoseward_job_last_start_timestamp_seconds{job="back up"}`:        float64(now.Add(-time.Minute).Unix()),
		`hoseward_job_failures_total{job="back up"}`:                      1,
		`hoseward_job_last_success_timestamp_seconds{job="estimate all"}`: float64(now.Unix()),
		`hoseward_job_failures_total{job="estimate all"}`:                 0,
		`hoseward_estimates_stale`:                                        0,
		`hoseward_estimates_stale_oldest_timestamp_seconds`:               0,
		`hoseward_change_log_rows`:                                        float64(s.changes()),
	})
	if got[`hoseward_change_log_rows`] == 0 || got[`hoseward_database_connections_open`] < 1 || got[`hoseward_database_connections_most`] < 1 {
		t.Errorf("%v", got)
	}
}

func TestMetrics_OfARegisterThatDoesNotAnswer(t *testing.T) {
	for _, slow := range []bool{false, true} {
		s := empty(t, func(_ *server.Config, d *server.Deps) { d.For = only(sickStore{d.For(register.AllSites()), slow}) })
		began := time.Now()
		got := byName(s.scrape())
		if took := time.Since(began); took > 4*time.Second {
			t.Errorf("took %s", took)
		}
		// What the server knows by itself is told all the same.
		wantValues(t, got, map[string]float64{`hoseward_register_up`: 0, `hoseward_requests_in_flight`: 1, `hoseward_panics_total`: 0})
		for name := range got {
			if strings.HasPrefix(name, "hoseward_job_") || strings.HasPrefix(name, "hoseward_change_log") || strings.HasPrefix(name, "hoseward_database") {
				t.Errorf("%s of a register that does not answer", name)
			}
		}
		if text := body(t, s.watching()); strings.Contains(text, "hunter2") {
			t.Error("the metrics tell why the register does not answer")
		}
		if !strings.Contains(s.log.String(), "read the vitals of the register") {
			t.Error("the log does not say why")
		}
	}
}

func TestMetrics_KeepTheFormat(t *testing.T) {
	s := empty(t)
	r := s.watching()
	if got := r.Header.Get("Content-Type"); !strings.HasPrefix(got, "text/plain; version=0.0.4; charset=utf-8") {
		t.Errorf("Content-Type %q", got)
	}
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	for name, f := range families {
		if f.GetHelp() == "" || f.GetType().String() == "UNTYPED" || len(f.GetMetric()) == 0 {
			t.Errorf("%s has no text, kind or value", name)
		}
	}
	for _, name := range []string{"hoseward_build_info", "go_goroutines", "go_memstats_heap_alloc_bytes", "go_info"} {
		if families[name] == nil {
			t.Errorf("no %s", name)
		}
	}
	problems, err := promlint.New(s.watching().Body).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		if strings.HasPrefix(p.Metric, "hoseward_") {
			t.Errorf("%s: %s", p.Metric, p.Text)
		}
	}
	// The other form of the format tells the same.
	binary := "application/vnd.google.protobuf;proto=io.prometheus.client.MetricFamily;encoding=delimited"
	if a, b := ownSeries(s.scrape()), ownSeries(s.scrape("Accept", binary)); a != b || a == 0 {
		t.Errorf("%d values as text, %d as protocol buffers", a, b)
	}
	want(t, s.from("127.0.0.1:1", http.MethodHead, "/metrics"), 200)
}

// Each server counts for itself, and nothing is given to the registry that all
// the program shares.
func TestMetrics_AreOfOneServer(t *testing.T) {
	a, b := empty(t), empty(t)
	want(t, a.get("/policies"), 200)
	const name = `hoseward_requests_total{method="GET", route="/policies", status="2xx"}`
	if got := byName(a.scrape())[name]; got != 1 {
		t.Errorf("%v requests of the server that was asked", got)
	}
	if got := byName(b.scrape())[name]; got != 0 {
		t.Errorf("%v requests of the other", got)
	}
	shared, err := prometheus.DefaultGatherer.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range shared {
		if strings.HasPrefix(f.GetName(), "hoseward_") {
			t.Errorf("%s is in the shared registry", f.GetName())
		}
	}
}

// What the manual says to watch is there, by that name.
func TestMetrics_AreThoseOfTheManual(t *testing.T) {
	s := empty(t)
	s.ran(jobs.EstimateAll, now.Add(-time.Minute), now, "")
	pages, err := web.Manual()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(pages, func(p web.ManualPage) bool { return p.Name == "running" })
	if i < 0 {
		t.Fatal("no manual page about running it")
	}
	told, names := map[string]bool{}, regexp.MustCompile("`hoseward_[a-z_]+`").FindAll(pages[i].Text, -1)
	for _, sample := range s.scrape() {
		told[string(sample.Metric[model.MetricNameLabel])] = true
	}
	for _, name := range names {
		if !told[strings.Trim(string(name), "`")] {
			t.Errorf("the manual names %s, which is not told", name)
		}
	}
	if len(names) < 5 {
		t.Errorf("the manual names %d values", len(names))
	}
	for _, job := range []string{jobs.EstimateAll, jobs.BackUp} {
		if !strings.Contains(string(pages[i].Text), "`"+job+"`") {
			t.Errorf("the manual does not name the job %q", job)
		}
	}
}
