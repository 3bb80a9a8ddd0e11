package register

import "time"

// Credential is what a person signs in by. It is secret and stands apart from
// Person, so that no list, export or row of the change log can hold it.
type Credential struct {
	PersonID     int64
	PasswordHash string     `json:"-"` // empty: none chosen yet
	Generation   int        // one more ends every session begun before
	Tries        int        `json:"-"` // wrong passwords in a row
	TriedAt      *time.Time `json:"-"` // the last of them; nil if there was none
}

// Waits is how much longer its person has to wait before a password is looked
// at.
func (c *Credential) Waits(now time.Time) time.Duration {
	if c.TriedAt == nil {
		return 0
	}
	return TryWait(c.Tries, *c.TriedAt, now)
}

// SignedIn is a person as each of their requests needs them.
type SignedIn struct {
	Person     Person
	Roles      PersonRoles // none of one who left
	Generation int         // 0 of one who never had a password
}

// Invitation is a one-time address at which a person chooses a password.
type Invitation struct {
	ID        int64
	PersonID  int64
	Hash      string `json:"-"`
	ExpiresAt time.Time
	UsedAt    *time.Time // nil while it was not
}

// Good reports whether an invitation counts at a time.
func (i *Invitation) Good(now time.Time) bool { return i.UsedAt == nil && now.Before(i.ExpiresAt) }

// Device is one on which a person signs in with a PIN.
type Device struct {
	ID        int64
	PersonID  int64
	Name      string
	Hash      string `json:"-"` // of the secret the device holds
	PINHash   string `json:"-" gorm:"column:pin_hash"`
	Tries     int    // wrong PINs in a row
	MadeAt    time.Time
	UsedAt    *time.Time // when the PIN was last given; nil if never
	ExpiresAt time.Time
}

// The limits of secrets. They are choices of ours; OWASP's Authentication Cheat
// Sheet (from memory) wants slowing down after failed tries, and names no
// numbers.
const (
	// InvitationLasts is how long a one-time address counts.
	InvitationLasts = 7 * 24 * time.Hour
	// DeviceLasts is how long a PIN counts after its person gave their password.
	DeviceLasts = 30 * 24 * time.Hour
	// TokenLasts is how long a token counts at most.
	TokenLasts = 2 * 366 * 24 * time.Hour
	// MaxPINTries wrong PINs in a row end the enrolment of a device.
	MaxPINTries = 5
	// MaxTries wrong passwords in a row lock signing in by password.
	MaxTries = 50

	freeTries = 5 // wrong passwords before somebody has to wait
	firstWait = 30 * time.Second
	longest   = 15 * time.Minute
)

// TryWait is how much longer somebody has to wait before their next password
// is looked at, after so many wrong ones in a row, the last of them at last:
// nothing after up to four, 30 s after the fifth, twice as long after each
// further one, 15 min at most. Tests: TestTryWait_DoublesFromTheFifth.
func TryWait(tries int, last, now time.Time) time.Duration {
	if tries < freeTries || now.Before(last) { // a clock set back locks nobody out
		return 0
	}
	wait := longest
	if n := tries - freeTries; n < 5 { // 30 s twice five times is past 15 min
		wait = firstWait << n
	}
	return max(0, last.Add(min(wait, longest)).Sub(now))
}

// TriesLocked reports whether so many wrong passwords in a row lock signing in.
func TriesLocked(tries int) bool { return tries >= MaxTries }
