package server

import (
	"log/slog"
	"net/http"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"hoseward/internal/register"
)

// The limits, by the names under which refusals are counted.
const (
	limitAtOnceAddress = "at once by address"
	limitAtOnce        = "at once"
	limitDoor          = "door"
	limitUnknown       = "unknown"
	limitPerson        = "person"
	limitHeavy         = "heavy"
)

// metrics count what the server did since it started. Each server has its own,
// with a registry of its own. Routes are counted by their pattern, never by
// what somebody asked for, so that there is a bounded number of them and no
// code or token in them.
type metrics struct {
	requests       *prometheus.CounterVec   // by route, method, class of status
	seconds        *prometheus.HistogramVec // by route
	refused        *prometheus.CounterVec   // by limit
	inFlight       prometheus.Gauge
	signInFailures prometheus.Counter
	panics         prometheus.Counter
	text           http.Handler // sends all of them
}

// newMetrics makes metrics that tell of a server, of the program and of the
// register, which is read each time somebody wants to know.
func newMetrics(deps Deps) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hoseward_requests_total", Help: "Requests answered, by pattern of the route, method and class of status.",
		}, []string{"route", "method", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "hoseward_request_seconds", Help: "Time until a request was answered, by pattern of the route.",
			Buckets: []float64{0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30},
		}, []string{"route"}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hoseward_requests_limited_total", Help: "Requests refused because too many came, by limit.",
		}, []string{"limit"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "hoseward_requests_in_flight", Help: "Requests being worked on now.",
		}),
		signInFailures: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hoseward_sign_in_failures_total", Help: "Tries to sign in, set up or use a one-time address that were refused.",
		}),
		panics: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "hoseward_panics_total", Help: "Requests that ended in a mistake of the program.",
		}),
	}
	// From the start, so that the first refusal is a rise from nought.
	for _, limit := range []string{limitAtOnceAddress, limitAtOnce, limitDoor, limitUnknown, limitPerson, limitHeavy} {
		m.refused.WithLabelValues(limit)
	}
	registry := prometheus.NewRegistry()
	registry.MustRegister(
		m.requests, m.seconds, m.refused, m.inFlight, m.signInFailures, m.panics,
		newVitals(deps.For(register.AllSites()), deps.Log), buildInfo(), collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	m.text = promhttp.HandlerFor(registry, promhttp.HandlerOpts{
		ErrorHandling: promhttp.ContinueOnError, // what can be told is told; the rest is in the log
		ErrorLog:      slog.NewLogLogger(deps.Log.Handler(), slog.LevelWarn),
	})
	return m
}

// limited counts a request that a limit refused.
func (m *metrics) limited(limit string) { m.refused.WithLabelValues(limit).Inc() }

// answered counts a request that was answered. route is a pattern.
func (m *metrics) answered(route, method string, status int, took time.Duration) {
	m.requests.WithLabelValues(route, methodLabel(method), strconv.Itoa(status/100)+"xx").Inc()
	m.seconds.WithLabelValues(route).Observe(took.Seconds())
}

// methodLabel is a method as it is counted: one of those that are known.
func methodLabel(method string) string {
	if slices.Contains([]string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}, method) {
		return method
	}
	return "other"
}

// buildInfo says which program this is.
func buildInfo() prometheus.Collector {
	version := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		version = info.Main.Version
	}
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "hoseward_build_info", Help: "Always 1; the labels say which program this is.",
		ConstLabels: prometheus.Labels{"version": version, "go": runtime.Version(), "system": runtime.GOOS + "/" + runtime.GOARCH},
	}, func() float64 { return 1 })
}
