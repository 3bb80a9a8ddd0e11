package jobs

import (
	"context"
	"time"
)

// ForgetOldAnswers is the name of the job.
const ForgetOldAnswers = "forget old answers"

// Answers keeps what was answered to programs, so that what they send twice is
// done once.
type Answers interface {
	ForgetAnswers(ctx context.Context, now time.Time) (int64, error)
}

// Forget deletes, once a day, the answers that are kept no longer.
func Forget(store Answers) Job {
	return Job{
		Name:   ForgetOldAnswers,
		Spec:   "10,25,40,55 * * * *", // ForDay keeps it to one good run a day
		ForDay: nightOf,
		Run: func(ctx context.Context, now time.Time, _ Progress) (int, error) {
			n, err := store.ForgetAnswers(ctx, now)
			return int(n), err
		},
	}
}
