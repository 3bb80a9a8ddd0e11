package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// statusOfCode is the HTTP status of each refusal of the register.
func statusOfCode() map[register.Code]int {
	return map[register.Code]int{
		register.Invalid:  http.StatusUnprocessableEntity,
		register.NotFound: http.StatusNotFound,
		register.Exists:   http.StatusConflict,
		register.Conflict: http.StatusConflict,
		register.Refused:  http.StatusConflict,
		register.TooLarge: http.StatusRequestEntityTooLarge,

		register.Forbidden: http.StatusForbidden,
		register.KeyTaken:  http.StatusUnprocessableEntity,
	}
}

// answer is the status of an error and its sentence for people. The sentence
// of an error nobody foresaw holds nothing of the error.
func answer(err error, requestID string) (status int, sentence string) {
	var refusal *register.Error
	var tooLarge *http.MaxBytesError
	var fromEcho *echo.HTTPError
	switch {
	case errors.As(err, &refusal):
		if status, ok := statusOfCode()[refusal.Code]; ok {
			return status, refusal.Sentence
		}
	case errors.As(err, &tooLarge):
		return http.StatusRequestEntityTooLarge, fmt.Sprintf("What was sent is larger than the %s taken here. Nothing was saved; send less at a time.", megabytes(tooLarge.Limit))
	case troubled(err):
		return trouble(err)
	case errors.As(err, &fromEcho):
		return fromEcho.Code, echoSentence(fromEcho)
	case errors.Is(err, context.Canceled):
		return 499, "The request was given up."
	case errors.Is(err, context.DeadlineExceeded):
		return http.StatusServiceUnavailable, "This took too long and was stopped. Try again in a minute."
	}
	return http.StatusInternalServerError, fmt.Sprintf("Something went wrong in the program; nothing of this request was saved. Try again, and if it stays so tell whoever runs the register this number: %s.", requestID)
}

// echoSentence is the sentence of an error made by the router or the guard.
func echoSentence(err *echo.HTTPError) string {
	switch err.Code {
	case http.StatusNotFound:
		return "There is no page at this address. Look for it from Today or Machines."
	case http.StatusMethodNotAllowed:
		return "This address does not take that kind of request. Go back and open the page anew."
	}
	if s, ok := err.Message.(string); ok && s != http.StatusText(err.Code) {
		return s
	}
	return fmt.Sprintf("The request was refused (%d). Go back and open the page anew.", err.Code)
}

func megabytes(n int64) string {
	if n < 1<<20 {
		return fmt.Sprintf("%d kB", n>>10)
	}
	return fmt.Sprintf("%d MB", n>>20)
}

// errorPage is the page of an error.
type errorPage struct {
	Base
	Sentence string
}

// handleError answers a request that failed. It is called once per error, by
// logRequest, and by echo for nothing that passed it.
func (s *Server) handleError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	status, sentence := answer(err, requestID(c))
	if isAPI(c.Request()) {
		if failErr := s.api.Fail(c, err, requestID(c)); failErr != nil {
			s.deps.Log.Warn("answer a failed request", "id", requestID(c), "error", failErr)
		}
		return
	}
	base := s.base(c, "", titleOfStatus(status))
	if renderErr := s.render(c, status, "error", errorPage{Base: base, Sentence: sentence}); renderErr != nil {
		s.deps.Log.Error("render error page", "id", requestID(c), "error", renderErr)
		if !c.Response().Committed {
			_ = c.String(status, sentence) // the line may be gone; there is nobody left to tell
		}
	}
}

func titleOfStatus(status int) string {
	switch {
	case status == http.StatusNotFound:
		return "Not found"
	case status == http.StatusRequestEntityTooLarge:
		return "Too large"
	case status == http.StatusServiceUnavailable:
		return "Not at the moment"
	case status == http.StatusInsufficientStorage:
		return "No room left"
	case status >= 500:
		return "Something went wrong"
	}
	return "Refused"
}
