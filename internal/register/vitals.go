package register

import (
	"time"

	"hoseward/internal/quantity"
)

// Vitals are what whoever runs the register watches.
type Vitals struct {
	Changes     int64         // rows of the change log
	Stale       int64         // estimates waiting to be worked out anew
	StaleSince  quantity.Date // the day the oldest of them was worked out; zero if none was
	Jobs        []JobVitals   // by name
	Connections Connections
}

// JobVitals are what became of the runs of a job.
type JobVitals struct {
	Job      string
	LastGood time.Time     // end of the last run that ended well; zero: none
	LastTook time.Duration // how long that took
	LastRun  time.Time     // start of the last run
	Failures int64         // runs that ended badly, ever
}

// Connections are the connections to the database.
type Connections struct {
	Open, InUse, Most int
	Waits             int64         // for a free one, since the start
	Waited            time.Duration // altogether
}
