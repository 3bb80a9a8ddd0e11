package server

import (
	"net/http"
	"net/http/httptest"
	"time"

	"hoseward/internal/register"
	"hoseward/internal/server/session"
	"hoseward/web"
)

// PageStructs is pageStructs, for the test that holds templates to structs.
func PageStructs() map[string]any { return pageStructs() }

// Route is a row of the table of routes.
type Route struct{ Method, Path, Right string }

// Routes is the table of routes of a server.
func (s *Server) Routes() []Route {
	var rows []Route
	for _, r := range s.routes() {
		rows = append(rows, Route{r.method, r.path, string(r.right)})
	}
	return rows
}

// SessionFor begins a session as signing in does, without a password, and
// returns its cookie.
func (s *Server) SessionFor(begun session.Session, lasts time.Duration) (*http.Cookie, error) {
	w := httptest.NewRecorder()
	if err := s.sessions.Begin(w, httptest.NewRequest(http.MethodPost, "/sign-in", nil), begun, lasts); err != nil {
		return nil, err
	}
	return w.Result().Cookies()[0], nil
}

// EchoRoutes is what the router really knows, as "METHOD path".
func (s *Server) EchoRoutes() []string {
	var all []string
	for _, r := range s.echo.Routes() {
		all = append(all, r.Method+" "+r.Path)
	}
	return all
}

// ContentPolicy is contentPolicy.
const ContentPolicy = contentPolicy

// StatusOfCode is statusOfCode.
var StatusOfCode = statusOfCode

// ServiceText is serviceText for whoever chose no units.
func ServiceText(v register.ServiceValue) string { return serviceText(web.Style{}, v) }

// UsedText is usedText.
var UsedText = usedText
