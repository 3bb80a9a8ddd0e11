package api

import (
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
)

// Paging is what every list takes.
type Paging struct {
	Cursor string `query:"cursor" maxLength:"2000" doc:"Where the list goes on: next_cursor of the page before. Left out for the first page."`
	Limit  int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"How many things to answer at most."`
}

// Page is one page of a list.
type Page[T any] struct {
	Items []T    `json:"items" doc:"The things, in the order of the list."`
	Next  string `json:"next_cursor,omitzero" doc:"The cursor of the next page; left out on the last."`
}

type pageAnswer[T any] struct {
	Link string `header:"Link" doc:"The address of the next page, as rel=next."`
	Body Page[T]
}

// listed adds an operation that answers a page. after is where the page
// begins, empty for the first; f gives where the next one begins, empty on the
// last. The rest of the query is the list that a cursor belongs to.
func listed[I pages, T any](a *API, o op, f func(k *call, in *I, after string, limit int) (items []T, next string, err error)) {
	add(a, o, func(k *call, in *I) (*pageAnswer[T], error) {
		paging := (*in).paging()
		of := k.listName()
		after, err := readCursor(of, paging.Cursor)
		if err != nil {
			return nil, err
		}
		items, next, err := f(k, in, after, paging.Limit)
		if err != nil {
			return nil, cursorOf(err)
		}
		out := &pageAnswer[T]{Body: Page[T]{Items: append([]T{}, items...)}}
		if next != "" {
			out.Body.Next = writeCursor(of, next)
			out.Link = "<" + k.nextAddress(out.Body.Next) + `>; rel="next"`
		}
		return out, nil
	})
}

// pages is the input of an operation that answers a page.
type pages interface{ paging() Paging }

func (p Paging) paging() Paging { return p }

// listName is the address of a request without where in the list it is: the
// same for every page of one list.
func (k *call) listName() string {
	path, query := k.split()
	query.Del("cursor")
	query.Del("limit")
	return path + "?" + query.Encode()
}

func (k *call) nextAddress(cursor string) string {
	path, query := k.split()
	query.Set("cursor", cursor)
	return path + "?" + query.Encode()
}

func (k *call) split() (path string, query url.Values) {
	path, raw, _ := strings.Cut(k.address, "?")
	query, _ = url.ParseQuery(raw) // what cannot be read names no list
	return path, query
}

// cursor is where a list goes on, with the mark of the list it is of.
type cursor struct {
	Of    string `json:"o"`
	After string `json:"a"`
}

// mark binds a cursor to its list and to what it holds.
func mark(of, after string) string {
	sum := sha256.Sum256([]byte(of + "\n" + after))
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

func writeCursor(of, after string) string {
	b, err := json.Marshal(cursor{mark(of, after), after})
	if err != nil {
		return "" // two texts always have a JSON form
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readCursor is where a cursor says its list goes on. One that was altered or
// is of another list is refused.
func readCursor(of, text string) (after string, err error) {
	if text == "" {
		return "", nil
	}
	var c cursor
	b, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err == nil {
		err = json.Unmarshal(b, &c)
	}
	if err != nil || c.After == "" || c.Of != mark(of, c.After) {
		return "", errCursor()
	}
	return c.After, nil
}

func errCursor() error {
	return &fieldError{status: http.StatusBadRequest, at: "query.cursor", says: "This cursor is not of this list; begin at its first page, with the same filters."}
}

// cursorOf turns a refusal of the store of a place in a list into that of a
// cursor.
func cursorOf(err error) error {
	if refusalField(err) == "after" {
		return errCursor()
	}
	return err
}

// cut is a page of a list that is held whole. key is what its order goes by,
// different for each: a text that sorts as the list does.
func cut[T any](all []T, after string, limit int, key func(T) string) (items []T, next string) {
	for _, v := range all {
		if after != "" && cmp.Compare(key(v), after) <= 0 {
			continue
		}
		if len(items) == limit {
			return items, key(items[limit-1])
		}
		items = append(items, v)
	}
	return items, ""
}

// byID is the key of a list in the order of numbers.
func byID(id int64) string { return fmt.Sprintf("%019d", id) }

// newestFirst is the key of a list by day, the newest first, and of one day the
// highest number first.
func newestFirst(day string, id int64) string {
	b := []byte(day)
	for i, c := range b {
		if c >= '0' && c <= '9' {
			b[i] = '9' - (c - '0')
		}
	}
	return string(b) + "/" + fmt.Sprintf("%019d", int64(1<<62)-id)
}

func refusalField(err error) string {
	if r := asRefusal(err); r != nil {
		return r.Field
	}
	return ""
}
