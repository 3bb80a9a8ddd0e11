package server_test

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/internal/server"
	"hoseward/internal/store"
)

// The promise: with 100 000 assemblies and 32 connections the p99 of the pages
// below is at most 1.5 times that with 1 000.
const (
	loadFew, loadMany = 1000, 100_000
	loadConnections   = 32
	loadRequests      = 320 // of a round
	loadRounds        = 4   // by turns, so that both meet the same weather
)

// fleetRows are the hoses of an invented fleet: twenty on a machine, forty
// machines on a site, hoses of all ages, some of which lack what a date needs.
type fleetRows struct{ n, i int }

func (f *fleetRows) Next() (register.ImportRow, error) {
	if f.i >= f.n {
		return register.ImportRow{}, io.EOF
	}
	i := f.i
	f.i++
	machine := i / 20
	made := quantity.DateOf(now, time.UTC).AddDays(-(i*37)%2400 - 30)
	h := &register.HoseRow{
		Site: loadSite(machine), Machine: fmt.Sprintf("M-%05d", machine), MachineName: "Truck", Kind: "refuse truck",
		Circuit: "lift", Position: fmt.Sprintf("P%02d", i%20), Code: fmt.Sprintf("H-%06d", i), Designation: "EN 853 2SN",
		Size: hose.Size{DN: 12, Dash: 8}, RatingSource: register.RatingPrinted,
		Made: quantity.Day(made), Assembled: quantity.Day(made), Fitted: quantity.Day(made.AddDays(20)),
	}
	if i%29 != 0 {
		h.RatedBar = pointer(275.0)
	}
	return register.ImportRow{Number: i + 1, Hose: h}, nil
}

func pointer[T any](v T) *T { return &v }

func loadSite(machine int) string { return fmt.Sprintf("Yard %02d", machine/40%20) }

// fleet is a server on a register of n hoses, every one estimated.
func fleet(b *testing.B, n int) *httptest.Server {
	b.Helper()
	ctx := context.Background()
	reg := openStore(b, filepath.Join(b.TempDir(), fmt.Sprintf("%d.db", n)))
	r, err := reg.Import(ctx, now, me, &fleetRows{n: n}, store.ImportOptions{Kind: register.ImportHoses})
	if err != nil || r.Added != n {
		b.Fatalf("%d of %d hoses taken: %v %+v", r.Added, n, err, r.Lines[:min(len(r.Lines), 3)])
	}
	if made, err := reg.ReestimateAll(ctx, now, nil); err != nil || made != n {
		b.Fatalf("%d of %d estimated: %v", made, n, err)
	}
	web := httptest.NewUnstartedServer(nil)
	s := serve(b, reg, func(c *server.Config, _ *server.Deps) { c.Addr = web.Listener.Addr().String() })
	web.Config = s.server.HTTP()
	web.Config.Handler = s.signedIn(web.Config.Handler)
	web.Start()
	b.Cleanup(web.Close)
	return web
}

// visit asks for addresses over all connections at once, and says how long
// each answer took. Anything but a whole page of status 200 ends the benchmark.
func visit(b *testing.B, web *httptest.Server, client *http.Client, path func(*rand.Rand) string, has string) []time.Duration {
	b.Helper()
	var all sync.WaitGroup
	took := make([][]time.Duration, loadConnections)
	errs := make([]error, loadConnections)
	for c := range loadConnections {
		all.Go(func() {
			r := rand.New(rand.NewPCG(uint64(c), 11))
			for range loadRequests / loadConnections {
				at := path(r)
				start := time.Now()
				resp, err := client.Get(web.URL + at)
				if err != nil {
					errs[c] = err
					return
				}
				body, err := io.ReadAll(resp.Body)
				took[c] = append(took[c], time.Since(start))
				resp.Body.Close()
				if err != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(body), has) {
					errs[c] = fmt.Errorf("%s: status %d, %v, or %q is not on it", at, resp.StatusCode, err, has)
					return
				}
			}
		})
	}
	all.Wait()
	for _, err := range errs {
		if err != nil {
			b.Fatal(err)
		}
	}
	return slices.Concat(took...)
}

// p99 is the time that one answer in a hundred takes longer than.
func p99(took []time.Duration) time.Duration {
	slices.Sort(took)
	return took[len(took)*99/100]
}

// BenchmarkLoad says, page by page, how the p99 at 32 connections with 100 000
// assemblies stands to that with 1 000.
func BenchmarkLoad(b *testing.B) {
	few, many := fleet(b, loadFew), fleet(b, loadMany)
	client := &http.Client{Timeout: time.Minute, Transport: &http.Transport{MaxIdleConnsPerHost: loadConnections, MaxConnsPerHost: loadConnections}}
	b.Cleanup(client.CloseIdleConnections)
	any := func(r *rand.Rand) int { return r.IntN(loadFew) } // hoses that both have
	for _, page := range []struct {
		name, has string
		path      func(*rand.Rand) string
	}{
		{"Today", "What must be done", func(*rand.Rand) string { return "/" }},
		{"TodayOfASite", "What must be done", func(r *rand.Rand) string { return "/?site=Yard+" + fmt.Sprintf("%02d", r.IntN(2)) }},
		{"Due", "EN 853 2SN", func(*rand.Rand) string { return "/due" }},
		{"DueOfASite", "EN 853 2SN", func(r *rand.Rand) string {
			return "/due?site=Yard+00&status=" + []string{"overdue", "in+service"}[r.IntN(2)]
		}},
		{"Machine", "EN 853 2SN", func(r *rand.Rand) string { return fmt.Sprintf("/machines/M-%05d", any(r)/20) }},
		{"SearchCode", "EN 853 2SN", func(r *rand.Rand) string { return fmt.Sprintf("/search?q=H-%06d", any(r)) }},
		{"SearchMachine", "M-0", func(r *rand.Rand) string { return fmt.Sprintf("/search?q=m-%05d", any(r)/20) }},
		{"SearchWords", "EN 853 2SN", func(*rand.Rand) string { return "/search?q=853+dn+12+lift" }},
	} {
		b.Run(page.name, func(b *testing.B) {
			visit(b, few, client, page.path, page.has) // both warm
			visit(b, many, client, page.path, page.has)
			for b.Loop() {
				var tookFew, tookMany []time.Duration
				for range loadRounds {
					tookFew = append(tookFew, visit(b, few, client, page.path, page.has)...)
					tookMany = append(tookMany, visit(b, many, client, page.path, page.has)...)
				}
				short, long := p99(tookFew), p99(tookMany)
				b.ReportMetric(float64(long)/float64(short), "x-p99-of-few")
				b.ReportMetric(float64(short.Microseconds())/1000, "ms-p99-few")
				b.ReportMetric(float64(long.Microseconds())/1000, "ms-p99-many")
			}
		})
	}
}
