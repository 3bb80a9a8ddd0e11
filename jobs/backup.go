package jobs

import (
	"context"
	"time"

	"hoseward/internal/register"
)

// BackUp is the name of the job.
const BackUp = register.BackUpJob

// Backups makes backups.
type Backups interface {
	// BackUp makes one, tries it by loading it, and takes old ones away.
	BackUp(ctx context.Context, now time.Time) error
}

// Backup makes a backup once a day. Its run ended well only if the backup was
// found good.
func Backup(b Backups) Job {
	return Job{
		Name:   BackUp,
		Spec:   "10,25,40,55 * * * *", // between the turns of the nightly estimates; ForDay keeps it to one good run a day
		ForDay: nightOf,
		Run: func(ctx context.Context, now time.Time, _ Progress) (int, error) {
			if err := b.BackUp(ctx, now); err != nil {
				return 0, err
			}
			return 1, nil
		},
	}
}
