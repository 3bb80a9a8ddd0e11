package register

import "fmt"

// Code says what kind of refusal an Error is. The list is closed; package
// server maps each to an HTTP status in one table.
type Code string

// The codes.
const (
	Invalid  Code = "invalid"   // a value cannot be right; Field names it
	NotFound Code = "not_found" // what was named is not in the register
	Exists   Code = "exists"    // a code or name is taken
	Conflict Code = "conflict"  // someone changed the row meanwhile
	Refused  Code = "refused"   // a rule forbids it
	TooLarge Code = "too_large" // more than the program takes at once
	// Forbidden: the person lacks the right.
	Forbidden Code = "forbidden"
	// KeyTaken: another request was sent under the same key before.
	KeyTaken Code = "key_taken"
)

// Error is a refusal a person can act on: what happened and what to do, in one
// sentence that never holds a driver's words.
type Error struct {
	Code     Code
	Field    string // the command's field in snake_case; empty if none is to blame
	Sentence string
}

// Error is the text for operators and logs.
func (e *Error) Error() string {
	if e.Field == "" {
		return fmt.Sprintf("%s: %s", e.Code, e.Sentence)
	}
	return fmt.Sprintf("%s %s: %s", e.Code, e.Field, e.Sentence)
}

// Is makes errors.Is(err, &Error{Code: NotFound}) match any error of a code.
func (e *Error) Is(target error) bool {
	t, ok := target.(*Error)
	return ok && t.Code == e.Code && (t.Field == "" || t.Field == e.Field) && t.Sentence == ""
}

func invalid(field, format string, args ...any) error {
	return &Error{Code: Invalid, Field: field, Sentence: fmt.Sprintf(format, args...)}
}
