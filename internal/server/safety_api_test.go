package server_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"hoseward/internal/server"
)

// What a program sends is as little trusted as what a browser sends.
func TestSafety_APITakesNoBombs(t *testing.T) {
	s := empty(t)
	bombs := map[string]string{
		"deep lists":          strings.Repeat("[", 100_000) + strings.Repeat("]", 100_000),
		"deep things":         strings.Repeat(`{"a":`, 40_000) + "1" + strings.Repeat("}", 40_000),
		"an endless list":     strings.Repeat("[", 200_000),
		"a large number":      `{"code":` + strings.Repeat("9", 100_000) + `}`,
		"a number of many":    `{"hours":1e999999999}`,
		"many keys":           "{" + strings.Repeat(`"a":1,`, 30_000) + `"b":1}`,
		"more than is taken":  `{"code":"` + strings.Repeat("x", 400<<10) + `"}`,
		"no JSON":             "<script>hostile()</script>",
		"half a letter":       "{\"code\":\"\xff\xfe\"}",
		"nothing":             "",
		"another kind":        "null",
		"a key of the parent": `{"__proto__":{"x":1},"constructor":1}`,
	}
	routes := 0
	for _, r := range s.server.Routes() {
		if r.Method == http.MethodGet || !strings.HasPrefix(r.Path, "/api/v1/") {
			continue
		}
		routes++
		path := strings.TrimPrefix(r.Path, "/api/v1")
		for _, part := range strings.Split(path, "/") {
			if strings.HasPrefix(part, ":") {
				path = strings.Replace(path, part, "1", 1)
			}
		}
		for why, bomb := range bombs {
			began := time.Now()
			a := s.api(r.Method, path, bomb)
			if a.StatusCode < 400 || a.StatusCode >= 500 {
				t.Errorf("%s %s, %s: %d %.200s", r.Method, path, why, a.StatusCode, a.text)
			}
			if kind := a.Header.Get("Content-Type"); !strings.HasPrefix(kind, "application/problem+json") || strings.Contains(a.text, "goroutine") || len(a.text) > 20_000 {
				t.Errorf("%s %s, %s: answered as %s, %d bytes", r.Method, path, why, kind, len(a.text))
			}
			if took := time.Since(began); took > 10*time.Second {
				t.Errorf("%s %s, %s took %s", r.Method, path, why, took)
			}
		}
	}
	if routes < 5 {
		t.Errorf("%d routes only", routes)
	}
	t.Logf("%d routes with %d bombs each", routes, len(bombs))
}

func TestLimits_ProgramsAreToldInJSON(t *testing.T) {
	s := empty(t, func(c *server.Config, _ *server.Deps) {
		one := *unlimited()
		one.Person = server.Rate{Every: time.Minute, Burst: 1}
		c.Limits = &one
	})
	s.api(http.MethodGet, "/sites", nil)
	a := s.api(http.MethodGet, "/sites", nil)
	if a.StatusCode != 429 || a.Header.Get("Retry-After") != "60" || !strings.HasPrefix(a.Header.Get("Content-Type"), "application/problem+json") {
		t.Errorf("%d, Retry-After %q, %s: %s", a.StatusCode, a.Header.Get("Retry-After"), a.Header.Get("Content-Type"), a.text)
	}
}
