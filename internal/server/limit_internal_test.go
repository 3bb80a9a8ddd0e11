package server

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func TestBuckets_BurstThenOneEach(t *testing.T) {
	b := newBuckets(Rate{6 * time.Second, 10}, 100)
	for i := range 10 {
		if wait := b.take("a", noon); wait != 0 {
			t.Fatalf("try %d waits %s", i+1, wait)
		}
	}
	if wait := b.take("a", noon); wait != 6*time.Second {
		t.Errorf("the eleventh waits %s, want 6s", wait)
	}
	for range 100 { // what was refused costs nothing
		b.take("a", noon)
	}
	if wait := b.take("a", noon.Add(5*time.Second)); wait != time.Second {
		t.Errorf("after 5 s it waits %s, want 1s", wait)
	}
	if wait := b.take("a", noon.Add(6*time.Second)); wait != 0 {
		t.Errorf("after 6 s it waits %s", wait)
	}
	if wait := b.take("a", noon.Add(6*time.Second)); wait == 0 {
		t.Error("two were let through after 6 s")
	}
	if wait := b.take("b", noon); wait != 0 {
		t.Errorf("another waits %s for the first", wait)
	}
}

func TestBuckets_ClockSetBackOrForwardLocksNobodyOut(t *testing.T) {
	b := newBuckets(Rate{6 * time.Second, 2}, 100)
	b.take("a", noon)
	b.take("a", noon)
	if wait := b.take("a", noon.Add(-time.Hour)); wait > 6*time.Second {
		t.Errorf("an hour back it waits %s", wait)
	}
	if wait := b.take("a", noon.AddDate(1, 0, 0)); wait != 0 {
		t.Errorf("a year on it waits %s", wait)
	}
	if wait := b.take("a", noon); wait > 6*time.Second {
		t.Errorf("back again it waits %s", wait)
	}
}

func TestBuckets_MemoryIsBoundedOldestForgotten(t *testing.T) {
	b := newBuckets(Rate{time.Hour, 1}, 3)
	for _, key := range []string{"a", "b", "c"} {
		b.take(key, noon)
	}
	if b.take("a", noon) == 0 { // a is the latest now
		t.Fatal("a got two")
	}
	b.take("d", noon) // b is forgotten
	for key, wait := range map[string]bool{"a": true, "c": true, "d": true} {
		if (b.take(key, noon) > 0) != wait {
			t.Errorf("%s waits: %v", key, !wait)
		}
	}
	if b.take("b", noon) != 0 {
		t.Error("b was not forgotten")
	}
	for i := range 1000 {
		b.take(fmt.Sprint(i), noon)
	}
	if len(b.byKey) != 3 || b.order.Len() != 3 {
		t.Errorf("%d and %d remembered, want 3", len(b.byKey), b.order.Len())
	}
}

// Over any time, no more pass than the burst and one for each pause.
func TestBuckets_NeverMorePassThanTheRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		every, burst := time.Duration(rapid.IntRange(1, 10_000).Draw(t, "ms"))*time.Millisecond, rapid.IntRange(1, 20).Draw(t, "burst")
		b := newBuckets(Rate{every, burst}, 10)
		at, passed := noon, 0
		for range rapid.IntRange(1, 200).Draw(t, "tries") {
			at = at.Add(time.Duration(rapid.IntRange(0, 5000).Draw(t, "pause")) * time.Millisecond)
			if b.take("a", at) == 0 {
				passed++
			}
			if most := burst + int(at.Sub(noon)/every) + 1; passed > most {
				t.Fatalf("%d passed within %s, at most %d may", passed, at.Sub(noon), most)
			}
		}
	})
}

func TestSlots_GivenBack(t *testing.T) {
	s := slots{most: 2, taken: map[string]int{}}
	leave, ok := s.take("a")
	_, ok2 := s.take("a")
	if _, ok3 := s.take("a"); !ok || !ok2 || ok3 {
		t.Errorf("%v %v %v, want two of three", ok, ok2, ok3)
	}
	if _, ok := s.take("b"); !ok {
		t.Error("another finds no place")
	}
	leave()
	if _, ok := s.take("a"); !ok {
		t.Error("what was given back is not free")
	}
}

func TestAddressKey_OneLineIsOne(t *testing.T) {
	for _, row := range []struct{ a, b, why string }{
		{"192.0.2.1", "::ffff:192.0.2.1", "IPv4 in IPv6"},
		{"2001:db8:1:2::1", "2001:db8:1:2:ffff:ffff:ffff:ffff", "one network of 64 bits"},
		{"fe80::1%eth0", "fe80::1", "a zone is no other address"},
		{"", "nonsense", "what cannot be read is one"},
	} {
		if addressKey(row.a) != addressKey(row.b) {
			t.Errorf("%s: %q and %q", row.why, addressKey(row.a), addressKey(row.b))
		}
	}
	for _, row := range [][2]string{{"192.0.2.1", "192.0.2.2"}, {"2001:db8:1:2::1", "2001:db8:1:3::1"}} {
		if addressKey(row[0]) == addressKey(row[1]) {
			t.Errorf("%v are taken for one", row)
		}
	}
}

func TestLoggedPath_NoSecrets(t *testing.T) {
	for path, want := range map[string]string{
		"/machines/RT-1":               "/machines/RT-1",
		"/welcome/SECRETSECRET":        "/welcome/...",
		"/set-up/SECRETSECRET/x":       "/set-up/...",
		"/%77elcome/SECRETSECRET":      "/welcome/...",
		"//welcome//SECRETSECRET":      "//welcome/...",
		"/x/set-up/SECRETSECRET":       "/x/set-up/...",
		"/welcome":                     "/welcome",
		"/" + strings.Repeat("x", 600): "/" + strings.Repeat("x", 499) + "...",
	} {
		r := httptest.NewRequest(http.MethodGet, path, nil)
		if got := loggedPath(r); got != want {
			t.Errorf("%.40s: %q, want %q", path, got, want)
		}
		if got := loggedError(r, fmt.Errorf("no row for SECRETSECRET in invitations")); strings.Contains(want, "/...") && strings.Contains(got, "SECRET") {
			t.Errorf("%s: the error tells it: %s", path, got)
		}
	}
}

func TestRequestID_OnlyPlainOnesOfTrustedProxies(t *testing.T) {
	s := &Server{cfg: Config{Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8")}}}
	for _, row := range []struct {
		from, id string
		kept     bool
	}{
		{"10.1.2.3:99", "abc-123_X.y", true},
		{"192.0.2.1:99", "abc-123_X.y", false},
		{"10.1.2.3:99", "short", false},
		{"10.1.2.3:99", strings.Repeat("a", 65), false},
		{"10.1.2.3:99", "abcdefgh ijk", false},
		{"10.1.2.3:99", "abcdefgh\"<x>", false},
		{"10.1.2.3:99", "abcdefgh\nlevel=ERROR", false},
		{"10.1.2.3:99", "übergröße", false},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = row.from
		r.Header.Set("X-Request-Id", row.id)
		got := s.newRequestID(r)
		if (got == row.id) != row.kept || len(got) < 8 {
			t.Errorf("%s with %q: %q", row.from, row.id, got)
		}
	}
}

func TestIsLoopbackHost(t *testing.T) {
	for host, want := range map[string]bool{
		"127.0.0.1:8460": true, "127.0.0.1": true, "[::1]:8460": true, "[::1]": true, "localhost:8460": true, "LOCALHOST": true, "127.9.9.9": true,
		"hoses.example.org": false, "localhost.evil.example": false, "10.0.0.1:8460": false, "": false, "127.0.0.1.evil.example:8460": false,
	} {
		if got := isLoopbackHost(host); got != want {
			t.Errorf("%q: %v", host, got)
		}
	}
}
