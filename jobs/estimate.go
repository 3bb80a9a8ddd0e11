package jobs

import (
	"context"
	"time"

	"hoseward/internal/quantity"
)

// The names of the jobs.
const (
	EstimateAll   = "estimate all"
	EstimateStale = "estimate stale"
)

// nightlyHour is when, in UTC, the run of a day becomes due.
const nightlyHour = 2

// Estimates is what the estimate jobs need of the store.
type Estimates interface {
	// ReestimateAll makes the estimates of all installed assemblies anew.
	ReestimateAll(ctx context.Context, now time.Time, progress func(done, total int)) (int, error)
	// ReestimateStale makes those anew that changes have left stale.
	ReestimateStale(ctx context.Context, now time.Time, progress func(done, total int)) (int, error)
}

// Nightly re-estimates the whole register once a day: dates move with time
// even where no fact changes.
func Nightly(store Estimates) Job {
	return Job{
		Name: EstimateAll,
		// Nudged each quarter of an hour, so that a failed or missed run is
		// made up soon; ForDay keeps it to one good run a day.
		Spec:   "*/15 * * * *",
		ForDay: nightOf,
		Run: func(ctx context.Context, now time.Time, far Progress) (int, error) {
			return store.ReestimateAll(ctx, now, far)
		},
	}
}

// nightOf is the day whose nightly run is due: today from the nightly hour on,
// else yesterday.
func nightOf(now time.Time) quantity.Date {
	return quantity.DateOf(now.UTC().Add(-nightlyHour*time.Hour), time.UTC)
}

// Stale re-estimates the assemblies that a large change left stale. Such a
// change nudges it; it also looks every few minutes, in case a nudge was lost.
func Stale(store Estimates) Job {
	return Job{
		Name: EstimateStale,
		Spec: "*/5 * * * *",
		Run: func(ctx context.Context, now time.Time, far Progress) (int, error) {
			return store.ReestimateStale(ctx, now, far)
		},
	}
}
