package server

import (
	"context"
	"log/slog"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"hoseward/internal/register"
)

// vitals are what the register tells of itself, read anew each time somebody
// asks. Ages are not given, but the instants they are worked out from. It is a
// prometheus.Collector.
type vitals struct {
	of     vitalStore
	log    *slog.Logger
	up     *prometheus.Desc
	ofAll  []vital[register.Vitals]
	ofJobs []vital[register.JobVitals] // labelled by the name of the job
}

// vital is one value of a T.
type vital[T any] struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	of   func(T) float64
}

func newVitals(of vitalStore, log *slog.Logger) *vitals {
	return &vitals{
		of: of, log: log,
		up:     prometheus.NewDesc("hoseward_register_up", "1 if the register answers.", nil, nil),
		ofAll:  append(registerVitals(), connectionVitals()...),
		ofJobs: jobVitals(),
	}
}

func registerVitals() []vital[register.Vitals] {
	gauge := func(name, help string, of func(register.Vitals) float64) vital[register.Vitals] {
		return vital[register.Vitals]{prometheus.NewDesc(name, help, nil, nil), prometheus.GaugeValue, of}
	}
	return []vital[register.Vitals]{
		gauge("hoseward_change_log_rows", "Rows of the change log.", func(v register.Vitals) float64 { return float64(v.Changes) }),
		gauge("hoseward_estimates_stale", "Estimates that wait to be worked out anew.", func(v register.Vitals) float64 { return float64(v.Stale) }),
		gauge("hoseward_estimates_stale_oldest_timestamp_seconds", "Day on which the oldest stale estimate was worked out; 0 if there is none.",
			func(v register.Vitals) float64 {
				if v.StaleSince.IsZero() {
					return 0
				}
				return unix(v.StaleSince.In(time.UTC))
			}),
	}
}

func connectionVitals() []vital[register.Vitals] {
	value := func(kind prometheus.ValueType, name, help string, of func(register.Connections) float64) vital[register.Vitals] {
		return vital[register.Vitals]{prometheus.NewDesc(name, help, nil, nil), kind, func(v register.Vitals) float64 { return of(v.Connections) }}
	}
	return []vital[register.Vitals]{
		value(prometheus.GaugeValue, "hoseward_database_connections_open", "Connections to the database.", func(c register.Connections) float64 { return float64(c.Open) }),
		value(prometheus.GaugeValue, "hoseward_database_connections_in_use", "Connections to the database at work.", func(c register.Connections) float64 { return float64(c.InUse) }),
		value(prometheus.GaugeValue, "hoseward_database_connections_most", "Connections to the database there may be.", func(c register.Connections) float64 { return float64(c.Most) }),
		value(prometheus.CounterValue, "hoseward_database_waits_total", "Times somebody waited for a connection.", func(c register.Connections) float64 { return float64(c.Waits) }),
		value(prometheus.CounterValue, "hoseward_database_wait_seconds_total", "Time spent waiting for a connection.", func(c register.Connections) float64 { return c.Waited.Seconds() }),
	}
}

func jobVitals() []vital[register.JobVitals] {
	value := func(kind prometheus.ValueType, name, help string, of func(register.JobVitals) float64) vital[register.JobVitals] {
		return vital[register.JobVitals]{prometheus.NewDesc(name, help, []string{"job"}, nil), kind, of}
	}
	return []vital[register.JobVitals]{
		value(prometheus.GaugeValue, "hoseward_job_last_success_timestamp_seconds", "End of the last run of a job that ended well; 0 if none did.",
			func(j register.JobVitals) float64 { return unix(j.LastGood) }),
		value(prometheus.GaugeValue, "hoseward_job_last_success_duration_seconds", "Time the last good run of a job took.",
			func(j register.JobVitals) float64 { return j.LastTook.Seconds() }),
		value(prometheus.GaugeValue, "hoseward_job_last_start_timestamp_seconds", "Start of the last run of a job; 0 if it never ran.",
			func(j register.JobVitals) float64 { return unix(j.LastRun) }),
		value(prometheus.CounterValue, "hoseward_job_failures_total", "Runs of a job that failed, as the register has them on record.",
			func(j register.JobVitals) float64 { return float64(j.Failures) }),
	}
}

// Describe names all values.
func (v *vitals) Describe(ch chan<- *prometheus.Desc) {
	ch <- v.up
	for _, one := range v.ofAll {
		ch <- one.desc
	}
	for _, one := range v.ofJobs {
		ch <- one.desc
	}
}

// Collect reads the register, which may take readyWithin. Of one that does not
// answer nothing is told but that.
func (v *vitals) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), readyWithin)
	defer cancel()
	now, err := v.of.Vitals(ctx)
	if err != nil {
		v.log.Warn("read the vitals of the register", "error", err)
		ch <- prometheus.MustNewConstMetric(v.up, prometheus.GaugeValue, 0)
		return
	}
	ch <- prometheus.MustNewConstMetric(v.up, prometheus.GaugeValue, 1)
	for _, one := range v.ofAll {
		ch <- prometheus.MustNewConstMetric(one.desc, one.kind, one.of(now))
	}
	for _, job := range withBackups(now.Jobs) {
		for _, one := range v.ofJobs {
			ch <- prometheus.MustNewConstMetric(one.desc, one.kind, one.of(job), job.Job)
		}
	}
}

// withBackups adds the job that makes backups if it never ran: no value at all
// would raise no alarm.
func withBackups(jobs []register.JobVitals) []register.JobVitals {
	if slices.ContainsFunc(jobs, func(j register.JobVitals) bool { return j.Job == register.BackUpJob }) {
		return jobs
	}
	return append(slices.Clip(jobs), register.JobVitals{Job: register.BackUpJob})
}

// unix is an instant in seconds since 1970; 0 for none.
func unix(t time.Time) float64 {
	if t.IsZero() {
		return 0
	}
	return float64(t.Unix())
}
