package server_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"hoseward/internal/server"
)

type serverRoute = server.Route

// asked is one request to the API and what is answered.
type asked struct {
	*http.Response
	text string
}

// api sends a request to the API as whoever the site's requests are sent by;
// body is any value as JSON, or a string as it stands; headers are names and
// values.
func (s *site) api(method, path string, body any, headers ...string) asked {
	s.t.Helper()
	var content io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		content = strings.NewReader(b)
	default:
		text, err := json.Marshal(b)
		if err != nil {
			s.t.Fatal(err)
		}
		content = strings.NewReader(string(text))
	}
	r := httptest.NewRequest(method, "/api/v1"+path, content)
	if content != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	answer := s.do(r)
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return asked{answer, string(text)}
}

// says fills v with what is answered, of the wanted status.
func (a asked) says(t testing.TB, status int, v any) {
	t.Helper()
	if a.StatusCode != status {
		t.Fatalf("status %d, want %d: %s", a.StatusCode, status, a.text)
	}
	if v == nil {
		return
	}
	if err := json.Unmarshal([]byte(a.text), v); err != nil {
		t.Fatalf("%v: %s", err, a.text)
	}
}
