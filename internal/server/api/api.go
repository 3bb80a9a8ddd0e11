package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humaecho"
	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// Prefix is where every address of the API begins.
const Prefix = "/api/v1"

// Caller is who sends a request.
type Caller struct {
	Store     Store // the register as far as they may see it
	Actor     register.Actor
	RequestID string
}

// Deps is what the API works with. All are needed.
type Deps struct {
	Caller func(c echo.Context) Caller
	Now    func() time.Time
	// Nudge is told how many estimates a change left stale.
	Nudge func(stale int)
	// Answer is the HTTP status of an error and its sentence for people.
	Answer func(err error, requestID string) (status int, sentence string)
}

// Route is one row of the table of routes. Handle answers; the error it gives
// is for the log where the answer is written, else to be answered by Fail.
type Route struct {
	Method, Path string
	Right        register.Right
	Handle       echo.HandlerFunc
}

// API is all operations.
type API struct {
	deps     Deps
	huma     huma.API
	echo     *echo.Echo // where huma registers; never serves
	ops      []op
	document []byte
}

// op is what is said of an operation.
type op struct {
	id, method, path string
	right            register.Right
	tag              string
	says, more       string // in one line; in full
}

// New makes the API.
func New(deps Deps) (*API, error) {
	a := &API{deps: deps, echo: echo.New()}
	registry := huma.NewMapRegistry("#/components/schemas/", schemaName)
	a.huma = humaecho.New(a.echo, huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI: "3.1.0", Info: &huma.Info{Title: "hoseward", Version: "1", Description: about},
			Servers: []*huma.Server{{URL: Prefix}}, Tags: tags(),
			Components: &huma.Components{Schemas: registry, SecuritySchemes: map[string]*huma.SecurityScheme{
				"token": {Type: "http", Scheme: "bearer", Description: "A token of a program; see the page about the API in the manual."},
			}},
			Security: []map[string][]string{{"token": {}}},
		},
		Formats: map[string]huma.Format{ // the second is for types such as application/problem+json
			"application/json": {Marshal: writeJSON, Unmarshal: json.Unmarshal}, "json": {Marshal: writeJSON, Unmarshal: json.Unmarshal},
		},
		DefaultFormat:                "application/json",
		RejectUnknownQueryParameters: true,
		Transformers:                 []huma.Transformer{a.asProblem},
	})
	for _, register := range []func(){
		a.places, a.machines, a.positions, a.circuits, a.assemblies, a.fittings, a.readings, a.meters, a.conditions,
		a.inspections, a.findings, a.estimates, a.looks, a.takeBacks,
	} {
		register()
	}
	for _, name := range []string{"ErrorModel", "ErrorDetail"} { // huma's own; ours is Problem
		delete(registry.Map(), name)
	}
	optionalMayBeNull(registry)
	var err error
	if a.document, err = json.Marshal(a.huma.OpenAPI()); err != nil {
		return nil, fmt.Errorf("write the OpenAPI document: %w", err)
	}
	return a, nil
}

const about = "The register of hydraulic hoses for programs. Pressures are in bar, temperatures in degrees Celsius, lengths in mm, times of an hour meter in hours, " +
	"as the name of each value says; days are written 2026-11-25. What is not known is left out; to send null means the same."

// optionalMayBeNull lets null stand for what is left out.
func optionalMayBeNull(r huma.Registry) {
	for _, s := range r.Map() {
		required := map[string]bool{}
		for _, name := range s.Required {
			required[name] = true
		}
		for name, p := range s.Properties {
			if !required[name] && p.Ref == "" && p.Type != huma.TypeObject {
				p.Nullable = true
			}
		}
	}
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// Routes are all operations and the document, as rows of the table of routes.
func (a *API) Routes() []Route {
	routes := []Route{{Method: http.MethodGet, Path: Prefix + "/openapi.json", Right: register.RightSee, Handle: a.describe}}
	for _, o := range a.ops {
		path := echoPath(o.path)
		c := a.echo.NewContext(nil, nil)
		a.echo.Router().Find(o.method, path, c)
		routes = append(routes, Route{Method: o.method, Path: Prefix + path, Right: o.right, Handle: a.handle(c.Handler(), o.method)})
	}
	return routes
}

// echoPath is a path with the parts that are filled in as echo writes them.
func echoPath(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

func (a *API) describe(c echo.Context) error {
	return c.Blob(http.StatusOK, "application/vnd.oai.openapi+json;version=3.1", a.document)
}

// call is one request while it is answered.
type call struct {
	Caller
	ctx     context.Context
	now     time.Time
	method  string
	address string // path and query as they were sent
	body    []byte
	err     error // why it failed
}

type callKey struct{}

// longest is how long a request may take.
const longest = time.Minute

// handle is what stands round every operation.
func (a *API) handle(next echo.HandlerFunc, method string) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		ctx, cancel := context.WithTimeout(r.Context(), longest)
		defer cancel()
		k := &call{Caller: a.deps.Caller(c), now: a.deps.Now(), method: r.Method, address: r.URL.RequestURI()}
		k.ctx = context.WithValue(ctx, callKey{}, k)
		if err := plainParams(c); err != nil {
			return err
		}
		if method != http.MethodGet {
			if err := k.readBody(c); err != nil {
				return err
			}
		}
		c.SetRequest(r.WithContext(k.ctx))
		err := next(c)
		if err == nil {
			err = k.err
		}
		return err
	}
}

// plainParams gives the parts of the path as they were before they were
// escaped.
func plainParams(c echo.Context) error {
	values := append([]string(nil), c.ParamValues()...)
	for i, v := range values {
		plain, err := url.PathUnescape(v)
		if err != nil || plain == "" || !printable(plain) {
			return echo.ErrNotFound
		}
		values[i] = plain
	}
	c.SetParamValues(values...)
	return nil
}

func callOf(ctx context.Context) *call {
	k, _ := ctx.Value(callKey{}).(*call)
	return k
}
