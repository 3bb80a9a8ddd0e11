package register

import "time"

// Token lets a program use the API. Only its hash is kept.
type Token struct {
	ID       int64
	PersonID int64  // the program
	Hash     string `json:"-"`
	MadeAt   time.Time
	MadeBy   int64 // person
	EndsAt   time.Time
	UsedAt   *time.Time // about; nil if never
	EndedAt  *time.Time // when it was ended before its time; nil while it was not
}

// Good reports whether a token counts at a time.
func (t *Token) Good(now time.Time) bool { return t.EndedAt == nil && now.Before(t.EndsAt) }
