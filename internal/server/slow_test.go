package server_test

import (
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"hoseward/internal/server"
)

// A form that trickles in is cut off when the time for reading is over; a
// sheet, which may be large, has longer.
func TestSlow_FormsAreCutOffUploadsAreNot(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := empty(t, func(c *server.Config, _ *server.Deps) { c.Addr = listener.Addr().String() })
	web := s.server.HTTP()
	web.Handler = s.signedIn(web.Handler)
	if web.ReadTimeout != time.Minute {
		t.Errorf("a request may take %s to read, want a minute", web.ReadTimeout)
	}
	web.ReadTimeout = 150 * time.Millisecond
	running := &httptest.Server{Listener: listener, Config: web}
	running.Start()
	t.Cleanup(running.Close)
	client := &http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	send := func(path, kind, first, rest string) (int, error) {
		r, w := io.Pipe()
		go func() {
			_, _ = io.WriteString(w, first)
			time.Sleep(500 * time.Millisecond) // longer than the time for reading
			_, _ = io.WriteString(w, rest)
			_ = w.Close()
		}()
		resp, err := client.Post(running.URL+path, kind, r)
		if err != nil {
			return 0, err
		}
		return resp.StatusCode, resp.Body.Close()
	}
	if status, err := send("/machines/new", "application/x-www-form-urlencoded", "code=X&", "site=Yard"); err == nil && status < 400 {
		t.Errorf("a slow form gives %d", status)
	}
	if m, _ := s.counts(); m != 0 {
		t.Errorf("%d machines came of a slow form", m)
	}
	sheet := "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\n" + strings.ReplaceAll(germanList, "\n", "\r\n")
	status, err := send("/import", "multipart/form-data; boundary=x", sheet, "\r\n--x--\r\n")
	if err != nil || status != http.StatusSeeOther {
		t.Errorf("a slow sheet gives %d, %v; want 303", status, err)
	}
}
