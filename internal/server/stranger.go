package server

import (
	"crypto/rand"
	"crypto/sha256"
	"strings"
	"sync"
	"time"

	"hoseward/internal/register"
)

// strangersKept is how many names that are nobody's are remembered.
const strangersKept = 10000

// strangers counts tries to sign in by names that are nobody's, and lets them
// wait as others do: who is made to wait shall not tell who is there. It is
// kept in memory, bounded, and holds no name, as people type passwords there.
// Its zero value is ready.
type strangers struct {
	mu    sync.Mutex
	salt  string
	tried map[[sha256.Size]byte]*tried
	order [][sha256.Size]byte
}

// tried is how often one name was tried in a row, and when last.
type tried struct {
	tries int
	last  time.Time
}

// try counts a try unless it has to wait, and returns what counts for a person
// before theirs is counted.
func (s *strangers) try(name string, now time.Time) (tries int, wait time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.tried == nil {
		s.tried, s.salt = map[[sha256.Size]byte]*tried{}, rand.Text()
	}
	key := sha256.Sum256([]byte(s.salt + strings.ToLower(name)))
	e, ok := s.tried[key]
	if !ok {
		if len(s.order) == strangersKept {
			delete(s.tried, s.order[0])
			s.order = s.order[1:]
		}
		e = &tried{}
		s.tried[key], s.order = e, append(s.order, key)
	}
	tries = e.tries
	if tries > 0 {
		wait = register.TryWait(tries, e.last, now)
	}
	if wait == 0 && !register.TriesLocked(tries) {
		e.tries, e.last = e.tries+1, now
	}
	return tries, wait
}
