package server

import (
	"container/list"
	"fmt"
	"math"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"
)

// Limits bound what is taken from whom. Addresses are those of real peers, or
// of those a trusted proxy forwards; IPv6 counts by network of 64 bits, which
// is what one line has.
type Limits struct {
	Door    Rate // signing in, setting up, welcome addresses; by address
	Unknown Rate // all else of nobody known; by address
	Person  Rate // by person or program
	Heavy   int  // exports and imports at once; by person
	AtOnce  int  // requests at once, of everybody
	Each    int  // requests at once; by address
}

// Rate lets through Burst at once and then one more after each Every.
type Rate struct {
	Every time.Duration
	Burst int
}

// UsualLimits are generous for people and programs, and slow for guessing. A
// phone that was out of reach sends what it noted in one go.
func UsualLimits() Limits {
	return Limits{
		Door:    Rate{6 * time.Second, 10},
		Unknown: Rate{100 * time.Millisecond, 100},
		Person:  Rate{20 * time.Millisecond, 200},
		Heavy:   3,
		AtOnce:  512,
		Each:    64,
	}
}

// maxBuckets is how many addresses or persons are remembered; the one that was
// quiet for longest is forgotten first, which gives it its burst anew.
const maxBuckets = 20_000

// buckets are the rates of many, each by its key.
type buckets struct {
	rate Rate
	most int

	mu    sync.Mutex
	byKey map[string]*list.Element
	order *list.List // of *bucket, the latest first
}

type bucket struct {
	key     string
	limiter *rate.Limiter
}

func newBuckets(r Rate, most int) *buckets {
	return &buckets{rate: r, most: most, byKey: map[string]*list.Element{}, order: list.New()}
}

// take takes one request of a key. wait is 0 where it may go on, else how long
// until it might.
func (b *buckets) take(key string, now time.Time) (wait time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	e, ok := b.byKey[key]
	if !ok {
		if b.order.Len() >= b.most {
			last := b.order.Back()
			delete(b.byKey, b.order.Remove(last).(*bucket).key)
		}
		e = b.order.PushFront(&bucket{key, rate.NewLimiter(rate.Every(b.rate.Every), b.rate.Burst)})
		b.byKey[key] = e
	}
	b.order.MoveToFront(e)
	r := e.Value.(*bucket).limiter.ReserveN(now, 1)
	if wait = r.DelayFrom(now); wait > 0 {
		r.CancelAt(now)
	}
	return wait
}

// slots are how many of something each may have at once.
type slots struct {
	most int

	mu    sync.Mutex
	taken map[string]int
}

// take takes a slot; ok is false where none is free, and leave is nil then.
func (s *slots) take(key string) (leave func(), ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.taken[key] >= s.most {
		return nil, false
	}
	s.taken[key]++
	return func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.taken[key]--; s.taken[key] == 0 {
			delete(s.taken, key)
		}
	}, true
}

// limiters are the limits with what was taken of them.
type limiters struct {
	door, unknown, person *buckets
	heavy, all, each      slots
}

func newLimiters(l Limits) *limiters {
	return &limiters{
		door:    newBuckets(l.Door, maxBuckets),
		unknown: newBuckets(l.Unknown, maxBuckets),
		person:  newBuckets(l.Person, maxBuckets),
		heavy:   slots{most: l.Heavy, taken: map[string]int{}},
		all:     slots{most: l.AtOnce, taken: map[string]int{}},
		each:    slots{most: l.Each, taken: map[string]int{}},
	}
}

// limitAll bounds the requests that are worked on at once, of everybody and of
// one address, so that nobody alone can fill the place of all. Whether the
// program lives is answered however busy it is.
func (s *Server) limitAll(next echo.HandlerFunc) echo.HandlerFunc {
	const sentence = "Too much is asked of this register at the moment. Nothing was saved; try again in a few seconds."
	return func(c echo.Context) error {
		if isProbe(c.Request()) {
			return next(c)
		}
		leaveEach, ok := s.limits.each.take(addressKey(c.RealIP()))
		if !ok {
			s.metrics.limited(limitAtOnceAddress)
			return tooMany(c, http.StatusTooManyRequests, 2*time.Second, sentence)
		}
		defer leaveEach()
		leave, ok := s.limits.all.take("")
		if !ok {
			s.metrics.limited(limitAtOnce)
			return tooMany(c, http.StatusServiceUnavailable, 2*time.Second, sentence)
		}
		defer leave()
		return next(c)
	}
}

// limitDoors slows down guessing where strangers come in. It stands before the
// routes, so that it counts whatever becomes of the request.
func (s *Server) limitDoors(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if !isDoor(c.Request()) {
			return next(c)
		}
		if wait := s.limits.door.take(addressKey(c.RealIP()), s.deps.Now()); wait > 0 {
			s.metrics.limited(limitDoor)
			return tooMany(c, http.StatusTooManyRequests, wait, "There were too many tries from your address. Wait "+inSeconds(wait)+", then try once more.")
		}
		return next(c)
	}
}

// isDoor reports whether a request tries a password, a PIN or a one-time
// address, or makes the hash of one, of which few are made at once: whoever is
// in must not keep others out by that.
func isDoor(r *http.Request) bool {
	first, _, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	switch first {
	case "sign-in":
		return r.Method != http.MethodGet && r.Method != http.MethodHead
	case "set-up", "welcome":
		return true
	case "me":
		return r.Method == http.MethodPost && (r.URL.Path == "/me/password" || r.URL.Path == "/me/devices")
	}
	return false
}

// limitStrangers bounds what comes without anything that could say who sends
// it; what has something is counted by limitCaller when that was looked at.
// Static files are not counted: every page asks for several.
func (s *Server) limitStrangers(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		stranger := len(r.Header["Cookie"]) == 0 && r.Header.Get("Authorization") == ""
		if !stranger || isProbe(r) || strings.HasPrefix(r.URL.Path, s.static+"/") {
			return next(c)
		}
		c.Set(countedKey, true)
		if err := s.takeOne(c, s.limits.unknown, limitUnknown, addressKey(c.RealIP())); err != nil {
			return err
		}
		return next(c)
	}
}

// countedKey says that a request was counted by its address.
const countedKey = "counted"

// limitCaller bounds what a person, or an address of nobody known, may ask. It
// is called once for each request, as soon as it is known who sends it.
func (s *Server) limitCaller(c echo.Context, who *caller) error {
	switch {
	case who != nil:
		return s.takeOne(c, s.limits.person, limitPerson, personKey(who))
	case c.Get(countedKey) != nil:
		return nil
	}
	return s.takeOne(c, s.limits.unknown, limitUnknown, addressKey(c.RealIP()))
}

// limitOpen bounds what is asked of routes that nobody need be known for: a
// cookie that means nothing must not be a way round limitStrangers.
func (s *Server) limitOpen(c echo.Context) error {
	r := c.Request()
	if c.Get(countedKey) != nil || isProbe(r) || strings.HasPrefix(r.URL.Path, s.static+"/") {
		return nil
	}
	c.Set(countedKey, true)
	return s.takeOne(c, s.limits.unknown, limitUnknown, addressKey(c.RealIP()))
}

func (s *Server) takeOne(c echo.Context, b *buckets, limit, key string) error {
	wait := b.take(key, s.deps.Now())
	if wait == 0 {
		return nil
	}
	s.metrics.limited(limit)
	return tooMany(c, http.StatusTooManyRequests, wait, "That was too much at once. Nothing was saved; wait "+inSeconds(wait)+", then go on.")
}

// limitHeavy bounds how many exports and imports a person has going at once.
// leave is to be called when this one ended.
func (s *Server) limitHeavy(c echo.Context, who *caller) (leave func(), err error) {
	if who == nil || !isHeavy(c.Request()) {
		return func() {}, nil
	}
	leave, ok := s.limits.heavy.take(personKey(who))
	if !ok {
		s.metrics.limited(limitHeavy)
		return nil, tooMany(c, http.StatusTooManyRequests, 10*time.Second, "You have other exports or imports going. Wait until one of them has ended, then try again.")
	}
	return leave, nil
}

// isHeavy reports whether a request asks for a file of many rows or brings one.
func isHeavy(r *http.Request) bool {
	path := r.URL.Path
	if strings.HasPrefix(path, "/import") && r.Method == http.MethodPost {
		return true
	}
	for _, end := range []string{".csv", ".xlsx", ".json", ".zip"} {
		if strings.HasSuffix(path, end) {
			return true
		}
	}
	return false
}

// tooMany is the refusal of a request that may be sent again after a while.
func tooMany(c echo.Context, status int, wait time.Duration, sentence string) error {
	c.Response().Header().Set("Retry-After", strconv.Itoa(seconds(wait)))
	return echo.NewHTTPError(status, sentence)
}

// seconds is a pause in whole seconds, rounded up: 1 to 3600.
func seconds(d time.Duration) int { return int(min(max(1, math.Ceil(d.Seconds())), 3600)) }

func inSeconds(d time.Duration) string {
	if n := seconds(d); n > 1 {
		return fmt.Sprintf("%d seconds", n)
	}
	return "a second"
}

func personKey(who *caller) string { return strconv.FormatInt(who.Actor.PersonID, 10) }

// addressKey is what an address counts as.
func addressKey(ip string) string {
	a, err := netip.ParseAddr(ip)
	if err != nil {
		return "unreadable"
	}
	if a = a.Unmap().WithZone(""); a.Is4() {
		return a.String()
	}
	network, _ := a.Prefix(64) // cannot fail: 64 is within 128
	return network.String()
}
