package api

import (
	"cmp"
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// reader reads texts of a body into what they mean, and keeps what is wrong.
type reader struct{ wrong []ProblemField }

// day is the day a text says, no date of an empty one.
func (r *reader) day(field, text string) quantity.Date {
	if text == "" {
		return quantity.Date{}
	}
	d, err := quantity.ParseDate(text)
	if err != nil {
		r.fault(field, "This is not a day of the calendar; write it like 2026-11-25.")
	}
	return d
}

// period is the time a text says: a day, a month, a quarter or a year.
func (r *reader) period(field, text string) quantity.Period {
	var p quantity.Period
	if err := p.UnmarshalText([]byte(text)); err != nil {
		r.fault(field, "Write it like 2026-11-25, 2026-11, 4Q2026 or 2026.")
	}
	return p
}

func (r *reader) fault(field, says string) {
	r.wrong = append(r.wrong, ProblemField{"body." + field, says})
}

// err is all that was wrong, nil if nothing was.
func (r *reader) err() error {
	if len(r.wrong) == 0 {
		return nil
	}
	return &fieldError{at: r.wrong[0].Location, says: r.wrong[0].Message, more: r.wrong[1:]}
}

// dayText is a day as it is written, empty for no date.
func dayText(d quantity.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

func asRefusal(err error) *register.Error {
	var r *register.Error
	if errors.As(err, &r) {
		return r
	}
	return nil
}

func ptr[T any](v T) *T { return &v }

// words are texts as JSON wants them, never null.
func words[T ~string](all []T) []string {
	out := make([]string, len(all))
	for i, w := range all {
		out[i] = string(w)
	}
	return out
}

func mapped[A, B any](all []A, f func(A) B) []B {
	out := make([]B, len(all))
	for i, v := range all {
		out[i] = f(v)
	}
	return out
}

var generic = regexp.MustCompile(`^Page\[.*?(\w+)\]$`)

// schemaName is the name of a type in the document.
func schemaName(t reflect.Type, hint string) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if m := generic.FindStringSubmatch(t.Name()); m != nil {
		return "PageOf" + m[1]
	}
	name := huma.DefaultSchemaNamer(t, hint)
	return strings.ToUpper(name[:1]) + name[1:]
}

// tags group the operations in the document.
func tags() []*huma.Tag {
	return []*huma.Tag{
		{Name: "places", Description: "Sites, kinds of machines and policies."},
		{Name: "machines", Description: "Machines, their circuits and positions."},
		{Name: "assemblies", Description: "Hoses with their ends, and where they sit."},
		{Name: "use", Description: "Hour meters, times out of use, and how machines are worked."},
		{Name: "inspections", Description: "Inspections and findings."},
		{Name: "estimates", Description: "When a hose is due, and why."},
		{Name: "looking", Description: "Search, and reading what is printed on a hose."},
	}
}

func notThere(field, format string, args ...any) error {
	return &register.Error{Code: register.NotFound, Field: field, Sentence: fmt.Sprintf(format, args...)}
}

// sortedByID sorts a list by number.
func sortedByID[T any](all []T, id func(T) int64) []T {
	slices.SortFunc(all, func(a, b T) int { return cmp.Compare(id(a), id(b)) })
	return all
}

// sortedBy sorts a list by its key.
func sortedBy[T any](all []T, key func(T) string) []T {
	slices.SortFunc(all, func(a, b T) int { return cmp.Compare(key(a), key(b)) })
	return all
}
