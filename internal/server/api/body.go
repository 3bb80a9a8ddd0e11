package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

// maxBody is the longest body taken, in bytes.
const maxBody = 1 << 20

// MaxBody is the longest body of a request to the API, in bytes.
const MaxBody = maxBody

// maxDepth is how deep a body may be nested; ours are three deep.
const maxDepth = 16

// readBody reads the body whole, looks whether it is JSON that can mean one
// thing only, and hands it on.
func (k *call) readBody(c echo.Context) error {
	r := c.Request()
	var err error
	if k.body, err = io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, maxBody)); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return err
		}
		return &fieldError{status: http.StatusBadRequest, at: "body", says: "The request ended before it was whole; send it again."}
	}
	if len(k.body) > 0 {
		if kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType)); err != nil || kind != echo.MIMEApplicationJSON {
			return &fieldError{status: http.StatusUnsupportedMediaType, at: "header.Content-Type", says: "Send JSON, with Content-Type: application/json."}
		}
		if err := checkJSON(k.body); err != nil {
			return err
		}
	}
	r.Body = io.NopCloser(bytes.NewReader(k.body))
	return nil
}

// checkJSON refuses what readers of JSON take in different ways: names that
// stand twice or in capital letters, text after the end, bytes that are no
// letters, numbers too large for a computer, and what is nested too deep.
func checkJSON(body []byte) error {
	if !utf8.Valid(body) {
		return unreadable("body", "The body holds bytes that are no letters in UTF-8.")
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	w := walk{d: d}
	if err := w.value("body", 0); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return unreadable("body", "There is something after the end of the JSON.")
	}
	return nil
}

func unreadable(at, says string) error {
	return &fieldError{status: http.StatusBadRequest, at: at, says: says}
}

// walk goes through JSON value by value.
type walk struct{ d *json.Decoder }

func (w *walk) value(at string, depth int) error {
	if depth > maxDepth {
		return unreadable(clip(at), "The body is nested too deep.")
	}
	t, err := w.d.Token()
	if err != nil {
		return unreadable(clip(at), fmt.Sprintf("This is no JSON: it goes wrong near byte %d.", w.d.InputOffset()))
	}
	switch t := t.(type) {
	case json.Number:
		if f, err := strconv.ParseFloat(t.String(), 64); err != nil || math.IsInf(f, 0) {
			return unreadable(clip(at), "This number is too large.")
		}
	case json.Delim:
		if t == '{' {
			return w.object(at, depth)
		}
		return w.array(at, depth)
	}
	return nil
}

func (w *walk) object(at string, depth int) error {
	seen := map[string]bool{}
	for w.d.More() {
		t, err := w.d.Token()
		name, ok := t.(string)
		if err != nil || !ok {
			return unreadable(clip(at), fmt.Sprintf("This is no JSON: it goes wrong near byte %d.", w.d.InputOffset()))
		}
		here := clip(at + "." + name)
		switch {
		case seen[name]:
			return unreadable(here, "This name stands twice.")
		case strings.ContainsFunc(name, unicode.IsUpper):
			return unreadable(here, "There is no such name; names are in small letters.")
		}
		seen[name] = true
		if err := w.value(here, depth+1); err != nil {
			return err
		}
	}
	return w.end(at)
}

func (w *walk) array(at string, depth int) error {
	for i := 0; w.d.More(); i++ {
		if err := w.value(at+"["+strconv.Itoa(i)+"]", depth+1); err != nil {
			return err
		}
	}
	return w.end(at)
}

func (w *walk) end(at string) error {
	if _, err := w.d.Token(); err != nil {
		return unreadable(clip(at), fmt.Sprintf("This is no JSON: it goes wrong near byte %d.", w.d.InputOffset()))
	}
	return nil
}

// clip is a location short enough to be told.
func clip(s string) string {
	if r := []rune(s); len(r) > 100 {
		return string(r[:100]) + "…"
	}
	return s
}

// printable reports whether a text is one line of valid letters.
func printable(s string) bool {
	return utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
}
