package server

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
	"hoseward/internal/server/api"
)

// isAPI reports whether a request is one of a program. What goes wrong with it
// is answered in JSON.
func isAPI(r *http.Request) bool {
	return r.URL.Path == "/api" || strings.HasPrefix(r.URL.Path, "/api/")
}

// newAPI makes the API of this server.
func (s *Server) newAPI() (*api.API, error) {
	return api.New(api.Deps{Caller: s.apiCaller, Now: s.deps.Now, Nudge: s.nudge, Answer: answer})
}

// apiRoutes are the operations of the API, admitted by the same table as pages.
func (s *Server) apiRoutes() []route {
	var rows []route
	for _, r := range s.api.Routes() {
		rows = append(rows, route{r.Method, r.Path, r.Right, r.Handle})
	}
	return rows
}

// apiCaller is who sends a request to the API. What they change is told to have
// come by the API, whether they are known by a token or a session.
func (s *Server) apiCaller(c echo.Context) api.Caller {
	actor := s.actor(c)
	actor.Origin = register.FromAPI
	return api.Caller{Store: s.store(c), Actor: actor, RequestID: requestID(c)}
}

// errNoCaller is a request of a program that nobody knows.
var errNoCaller = echo.NewHTTPError(http.StatusUnauthorized, "Not known who you are.")
