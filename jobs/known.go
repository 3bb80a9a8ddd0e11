package jobs

import (
	"context"
	"time"
)

// CountKnown is the name of the job.
const CountKnown = "count what is known"

// Knower keeps how much the register knows.
type Knower interface {
	NoteKnown(ctx context.Context, now time.Time) error
}

// Known keeps, once a day, the share of hoses whose estimate is complete, so
// that its way over time can be shown.
func Known(store Knower) Job {
	return Job{
		Name:   CountKnown,
		Spec:   "5,20,35,50 * * * *", // between the turns of the nightly job; ForDay keeps it to one good run a day
		ForDay: nightOf,
		Run: func(ctx context.Context, now time.Time, _ Progress) (int, error) {
			if err := store.NoteKnown(ctx, now); err != nil {
				return 0, err
			}
			return 1, nil
		},
	}
}
