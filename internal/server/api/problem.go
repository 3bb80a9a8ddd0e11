package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// problemType is the content type of a problem (RFC 9457).
const problemType = "application/problem+json"

// Problem is why a request was refused or failed (RFC 9457).
type Problem struct {
	Type     string         `json:"type" format:"uri-reference" doc:"What kind of problem it is: an address in the manual that does not change." example:"/manual/api#conflict"`
	Title    string         `json:"title" doc:"The kind of problem in words."`
	Status   int            `json:"status" minimum:"400" maximum:"599" doc:"The HTTP status."`
	Detail   string         `json:"detail" doc:"What happened and what to do, in one sentence for people."`
	Instance string         `json:"instance" format:"uri-reference" doc:"The number of the request, as in the log of the server." example:"urn:request:QX7YB2KD4M5N"`
	Errors   []ProblemField `json:"errors,omitzero" doc:"What is wrong with which value."`
	Current  any            `json:"current,omitzero" doc:"For a conflict: the thing as it is now, where it can be told."`
}

// ProblemField is what is wrong with one value.
type ProblemField struct {
	Location string `json:"location" doc:"Where it is: body, query, path or header, then the name." example:"body.hours"`
	Message  string `json:"message" doc:"What is wrong with it."`
}

// Error is the sentence.
func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType makes huma answer with the type of a problem.
func (p *Problem) ContentType(string) string { return problemType }

// kindOfProblem is a kind of problem: the heading of the manual and its words.
type kindOfProblem struct{ anchor, title string }

// kindOf is the kind of problem of a status, or of a refusal of the register.
func kindOf(status int, code register.Code) kindOfProblem {
	switch code {
	case register.Exists:
		return kindOfProblem{"exists", "The code or name is taken"}
	case register.Conflict:
		return kindOfProblem{"conflict", "Changed meanwhile"}
	case register.Refused:
		return kindOfProblem{"refused", "A rule forbids it"}
	case register.KeyTaken:
		return kindOfProblem{"key-taken", "The key was used for another request"}
	}
	switch status {
	case http.StatusBadRequest:
		return kindOfProblem{"unreadable", "The request cannot be read"}
	case http.StatusUnauthorized:
		return kindOfProblem{"unauthorized", "Not known who you are"}
	case http.StatusForbidden:
		return kindOfProblem{"forbidden", "Not allowed"}
	case http.StatusNotFound:
		return kindOfProblem{"not-found", "Not found"}
	case http.StatusMethodNotAllowed:
		return kindOfProblem{"method-not-allowed", "Method not taken here"}
	case http.StatusRequestTimeout, http.StatusServiceUnavailable, http.StatusInsufficientStorage:
		return kindOfProblem{"try-again", "Not at the moment"}
	case http.StatusRequestEntityTooLarge:
		return kindOfProblem{"too-large", "Too large"}
	case http.StatusUnsupportedMediaType:
		return kindOfProblem{"media-type", "Not JSON"}
	case http.StatusMisdirectedRequest:
		return kindOfProblem{"wrong-host", "Wrong address"}
	case http.StatusUnprocessableEntity:
		return kindOfProblem{"invalid", "A value cannot be right"}
	case http.StatusTooManyRequests:
		return kindOfProblem{"too-many", "Too many requests"}
	}
	if status >= 500 {
		return kindOfProblem{"failed", "Something went wrong"}
	}
	return kindOfProblem{"refused", "Refused"}
}

// ProblemKinds are the headings of the manual that types of problems lead to.
func ProblemKinds() []string {
	return []string{
		"invalid", "unreadable", "unauthorized", "forbidden", "not-found", "method-not-allowed", "exists", "conflict", "refused", "key-taken",
		"too-large", "media-type", "wrong-host", "too-many", "try-again", "failed",
	}
}

func newProblem(status int, code register.Code, detail, requestID string) *Problem {
	kind := kindOf(status, code)
	return &Problem{Type: "/manual/api#" + kind.anchor, Title: kind.title, Status: status, Detail: detail, Instance: "urn:request:" + requestID}
}

// problem is what is told of an error.
func (a *API) problem(err error, requestID string) *Problem {
	var ready *Problem
	if errors.As(err, &ready) {
		return ready
	}
	var at *fieldError
	if errors.As(err, &at) {
		status := at.status
		if status == 0 {
			status = http.StatusUnprocessableEntity
		}
		p := newProblem(status, "", at.says, requestID)
		p.Errors = append([]ProblemField{{at.at, at.says}}, at.more...)
		p.Current = at.current
		return p
	}
	status, sentence := a.deps.Answer(err, requestID)
	var fromEcho *echo.HTTPError
	var code register.Code
	if errors.As(err, &fromEcho) {
		sentence = routerSentence(fromEcho, sentence)
	}
	var refusal *register.Error
	if errors.As(err, &refusal) {
		code = refusal.Code
	}
	p := newProblem(status, code, sentence, requestID)
	var with *refused
	if errors.As(err, &with) {
		if with.at != "" {
			p.Errors = []ProblemField{{with.at, sentence}}
		}
		p.Current = with.current
	}
	return p
}

// routerSentence is the sentence of an error of the router: that of pages
// speaks of pages.
func routerSentence(err *echo.HTTPError, sentence string) string {
	switch err.Code {
	case http.StatusNotFound:
		return "There is nothing at this address; " + Prefix + "/openapi.json lists the addresses there are."
	case http.StatusMethodNotAllowed:
		return "This address does not take that method; " + Prefix + "/openapi.json lists what it takes."
	case http.StatusUnauthorized:
		return "This needs the token of a program, sent as Authorization: Bearer, or somebody signed in. None was sent, or it is not known, or its time is over."
	}
	return sentence
}

// Fail answers a request that failed before or outside an operation.
func (a *API) Fail(c echo.Context, err error, requestID string) error {
	p := a.problem(err, requestID)
	if p.Status == http.StatusUnauthorized {
		c.Response().Header().Set("WWW-Authenticate", "Bearer")
	}
	c.Response().Header().Set(echo.HeaderContentType, problemType)
	c.Response().WriteHeader(p.Status)
	return writeJSON(c.Response(), p)
}

// asProblem turns what huma says of a request into a problem.
func (a *API) asProblem(ctx huma.Context, _ string, v any) (any, error) {
	model, ok := v.(*huma.ErrorModel)
	if !ok {
		return v, nil
	}
	k := callOf(ctx.Context())
	detail := "The request does not have the form the API takes; see what is wrong below. Nothing was changed."
	if model.Status >= 500 {
		detail = "Something went wrong in the program. Try again, and tell whoever runs the register the number of the request."
	}
	p := newProblem(model.Status, "", detail, k.RequestID)
	for _, e := range model.Errors {
		if e != nil {
			p.Errors = append(p.Errors, ProblemField{strings.TrimSuffix(e.Location, "."), e.Message})
		}
	}
	if len(p.Errors) == 0 && model.Status < 500 {
		p.Detail = "The request cannot be taken: " + model.Detail + "."
	}
	k.err = fmt.Errorf("check a request: %s", model.Detail)
	return p, nil
}

// fieldError is a value of a request that cannot be read.
type fieldError struct {
	status  int // 0 means 422
	at      string
	says    string
	more    []ProblemField
	current any
}

// Error is the sentence with where it is.
func (e *fieldError) Error() string { return e.at + ": " + e.says }

// refused is a refusal of the register with where in the request it is.
type refused struct {
	at      string
	current any
	err     error
}

// Error is that of the refusal.
func (e *refused) Error() string { return e.err.Error() }

// Unwrap is the refusal.
func (e *refused) Unwrap() error { return e.err }

// refusal adds to an error where in the body it is, and for a conflict the row
// as it is now.
func (t change) refusal(err error) error {
	var refusal *register.Error
	if !errors.As(err, &refusal) {
		return err
	}
	out := &refused{err: err}
	if refusal.Field != "" {
		out.at = "body." + t.before(err) + t.name(refusal.Field)
	}
	if refusal.Code == register.Conflict && t.current != nil {
		if row, readErr := t.current(); readErr == nil {
			out.current = row
		} else if !errors.Is(readErr, context.Canceled) {
			out.err = errors.Join(err, readErr)
		}
	}
	return out
}

// name is the field of the body for one of the register, which may be one of a
// row: cycles[0].max_bar.
func (t change) name(field string) string {
	i := strings.IndexAny(field, "[.")
	if i < 0 {
		i = len(field)
	}
	if name, ok := t.names[field[:i]]; ok {
		return name + field[i:]
	}
	return field
}

// before is where in the body the refused command is.
func (t change) before(err error) string {
	var which interface{ CommandIndex() int }
	if t.at == nil || !errors.As(err, &which) {
		return ""
	}
	return t.at(which.CommandIndex())
}
