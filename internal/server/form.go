package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// problem is one thing that is wrong with a form.
type problem struct {
	Field    string // the field it is at; empty for the form as a whole
	Sentence string
}

// form is what was typed and what is wrong with it. What was typed stays as it
// was, so that a page shown again shows it again.
type form struct {
	values   url.Values
	Problems []problem
	// Told is what was taken for granted in reading what was typed; it is shown
	// before anything is saved.
	Told []string
	// edit is of a form that changes a row, see conflict.go; labels and ticks
	// are what the page called its fields, and which are boxes to tick.
	edit   edit
	labels map[string]string
	ticks  map[string]bool
	// style is that of the person, in which bare numbers and dates are read.
	style web.Style
	// trouble kept the register from taking the form; nil mostly.
	trouble error
}

// newForm is newForm for the person of a request.
func (s *Server) newForm(c echo.Context, pairs ...string) *form {
	f := newForm(pairs...)
	f.style = s.style(c)
	return f
}

// newForm is a form with starting values, as pairs of name and value.
func newForm(pairs ...string) *form {
	f := &form{values: url.Values{}}
	for i := 0; i+1 < len(pairs); i += 2 {
		f.values.Set(pairs[i], pairs[i+1])
	}
	return f
}

// readForm is the form of a request.
func readForm(c echo.Context) (*form, error) {
	if err := c.Request().ParseForm(); err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return nil, wrap("read form", err)
		}
		return nil, echo.NewHTTPError(http.StatusBadRequest, "The form could not be read. Go back, check what you typed, and send it again.").WithInternal(err)
	}
	values := c.Request().PostForm
	if st, ok := printedStyle(values.Get("once")); ok {
		c.Set(styleKey, st)
	}
	return &form{values: values, style: styleOf(c)}, nil
}

// raw is a value exactly as typed; text without space around it.
func (f *form) raw(name string) string  { return f.values.Get(name) }
func (f *form) text(name string) string { return strings.TrimSpace(f.values.Get(name)) }
func (f *form) ticked(name string) bool { return f.values.Get(name) == "yes" }

// set fills a field that is empty.
func (f *form) set(name, value string) {
	if f.text(name) == "" {
		f.values.Set(name, value)
	}
}

// wrong notes what is wrong with a field; the first sentence of a field stays.
func (f *form) wrong(name, sentence string) {
	if name != "" && f.errorAt(name) != "" {
		return
	}
	f.Problems = append(f.Problems, problem{Field: name, Sentence: sentence})
}

func (f *form) errorAt(name string) string {
	for _, p := range f.Problems {
		if p.Field == name {
			return p.Sentence
		}
	}
	return ""
}

// tell notes what was taken for granted in reading a field.
func (f *form) tell(name, sentence string) {
	f.Told = append(f.Told, capital(name+": "+sentence)+".")
}

// toTell reports whether the page this form came from has not yet told what
// there is to tell.
func (f *form) toTell() bool { return len(f.Told) > 0 && f.values.Get("told") != f.told() }

// told is what the page tells, as its form sends it back.
func (f *form) told() string {
	sum := sha256.Sum256([]byte(strings.Join(f.Told, "\n")))
	return hex.EncodeToString(sum[:8])
}

// ok reports whether nothing is wrong.
func (f *form) ok() bool { return len(f.Problems) == 0 }

// refuse notes a refusal of the register at the field it names, by the names
// the form has for the register's fields. A trouble of the register is noted at
// the form as a whole, so that what was typed can be sent again. An error that
// is neither is returned.
func (f *form) refuse(err error, names map[string]string) error {
	if sentence, kind := troubleOf(err); kind != nil {
		f.trouble = err
		f.wrong("", sentence)
		return nil
	}
	refusal := asRegisterError(err)
	if refusal == nil {
		return err
	}
	name, ok := names[refusal.Field]
	if !ok {
		name = refusal.Field
	}
	if _, has := f.values[name]; !has {
		name = ""
	}
	f.wrong(name, refusal.Sentence)
	return nil
}

// needed is a text that has to be there.
func (f *form) needed(name, sentence string) string {
	v := f.text(name)
	if v == "" {
		f.wrong(name, sentence)
	}
	return v
}

// period reads a date or a stretch of time, empty as unknown.
func (f *form) period(name string) quantity.Period {
	v := f.text(name)
	if v == "" {
		return quantity.Period{}
	}
	p, note, err := quantity.ParsePeriodIn(v, f.style.Dates)
	if err != nil {
		f.wrong(name, sentenceOf(err))
	}
	if note != "" {
		f.Told = append(f.Told, "“"+v+"” is "+note+".") // the quoted text says where
	}
	return p
}

// past reads a date or a stretch of time that must have begun.
func (f *form) past(name string, today quantity.Date) quantity.Period {
	p := f.period(name)
	f.notAhead(name, p, today)
	return p
}

// notAhead notes it as wrong where a period has not begun.
func (f *form) notAhead(name string, p quantity.Period, today quantity.Date) {
	if !p.IsZero() && exchange.StillToCome(p.From, today) {
		f.wrong(name, f.style.Period(p)+" is still to come; check the date.")
	}
}

// day reads a day, empty as no date.
func (f *form) day(name string) quantity.Date {
	p := f.period(name)
	if !p.IsZero() && p.Precision != quantity.ToDay {
		f.wrong(name, "“"+f.text(name)+"” is not one day. Write it "+uncapital(f.style.HintDate()))
		return quantity.Date{}
	}
	return p.From
}

// uncapital begins a sentence within another one.
func uncapital(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// hours reads hours, empty as nil. What is typed is read as the import reads a
// cell.
func (f *form) hours(name string) *float64 { return parsed(f, name, exchange.TypedHours) }

// meter reads what an hour meter shows, empty as nil; the last reading tells
// whether 1,234 is a thousand and more.
func (f *form) meter(name string, last *register.Reading) *float64 {
	return parsed(f, name, func(s string) (float64, error) {
		if last == nil {
			return exchange.TypedHours(s)
		}
		return exchange.TypedReading(s, &last.Hours)
	})
}

// pressure, length and temperature read a number with its unit, or in that of
// the person, empty as nil; what they give is in bar, mm and degrees Celsius.
// The first two are read as the import reads a cell; label is what the page
// calls the field where it tells what was taken.
func (f *form) pressure(name, label string) *float64 {
	return parsed(f, name, func(s string) (float64, error) {
		p, note, err := exchange.TypedPressure(s, f.style.Pressure)
		if note != "" {
			f.tell(label, "“"+s+"” – "+note)
		}
		return p, err
	})
}

func (f *form) length(name, label string) *float64 {
	return parsed(f, name, func(s string) (float64, error) {
		l, note, err := exchange.TypedLength(s, f.style.Length)
		if note != "" {
			f.tell(label, "“"+s+"” – "+note+", which makes "+f.style.MM(&l))
		}
		return l, err
	})
}

func (f *form) temperature(name string) *float64 {
	return parsed(f, name, func(s string) (float64, error) {
		t, err := quantity.ParseTemperature(s, f.style.Temperature)
		return float64(t), err
	})
}

func parsed[T any](f *form, name string, parse func(string) (T, error)) *T {
	s := f.text(name)
	if s == "" {
		return nil
	}
	v, err := parse(s)
	if err != nil {
		f.wrong(name, sentenceOf(err))
		return nil
	}
	return &v
}

// sentenceOf makes a sentence of what a parser of package quantity or hose
// says.
func sentenceOf(err error) string {
	if refusal := asRegisterError(err); refusal != nil {
		return refusal.Sentence
	}
	s := err.Error()
	if s == "" {
		return "This cannot be read."
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// option is one choice of a select box.
type option struct{ Value, Text string }

func options(values ...string) []option {
	o := make([]option, len(values))
	for i, v := range values {
		o[i] = option{v, v}
	}
	return o
}

// choiceOf is a choice of names behind what stands for none of them.
func choiceOf(none string, names []string) []option {
	return append([]option{{"", none}}, options(names...)...)
}

// field is one field of a form as the page shows it.
type field struct {
	Name, Label, Hint, Value, Error string
	Needed, Wide                    bool
	InputMode                       string
	Secret                          bool   // a password or PIN: never sent back
	Autocomplete                    string // what browsers may fill in; empty: nothing
	Fixed                           bool   // cannot be changed here
	Lines                           int
	Options                         []option
	Suggestions                     []string
}

// Describedby names the hint and the error of the field, for readers that do
// not see them.
func (fd field) Describedby() string {
	var ids []string
	if fd.Hint != "" {
		ids = append(ids, fd.Name+"-hint")
	}
	if fd.Error != "" {
		ids = append(ids, fd.Name+"-error")
	}
	return strings.Join(ids, " ")
}

// field is a field with what was typed in it and what is wrong with it.
func (f *form) field(name, label string) field {
	f.name(name, label)
	return field{Name: name, Label: label, Value: f.raw(name), Error: f.errorAt(name)}
}

func (fd field) hint(s string) field           { fd.Hint = s; return fd }
func (fd field) need() field                   { fd.Needed = true; return fd }
func (fd field) fill(what string) field        { fd.Autocomplete = what; return fd }
func (fd field) digits() field                 { fd.InputMode = "numeric"; return fd }
func (fd field) wide() field                   { fd.Wide = true; return fd }
func (fd field) decimal() field                { fd.InputMode = "decimal"; return fd }
func (fd field) lines(n int) field             { fd.Lines = n; return fd }
func (fd field) suggest(values []string) field { fd.Suggestions = values; return fd }

// secret makes the field one of a password or PIN: what was typed in it is
// never sent back.
func (fd field) secret(autocomplete string) field {
	fd.Secret, fd.Value, fd.Autocomplete = true, "", autocomplete
	return fd
}

// choose makes the field a choice. A value that is none of the options is one
// too, so that the page does not show, nor send, another one in its place: a
// list by a kind that was renamed, a hose that is not on offer.
func (fd field) choose(o ...option) field {
	i := slices.IndexFunc(o, func(o option) bool { return strings.EqualFold(o.Value, fd.Value) })
	switch {
	case i >= 0 && !slices.ContainsFunc(o, func(o option) bool { return o.Value == fd.Value }):
		fd.Value = o[i].Value
	case i < 0 && fd.Value != "":
		o = append(slices.Clip(o), option{fd.Value, fd.Value + " (not in this list)"})
	}
	fd.Options = o
	return fd
}

// name remembers what the page calls a field.
func (f *form) name(name, label string) {
	if f.labels == nil {
		f.labels, f.ticks = map[string]string{}, map[string]bool{}
	}
	f.labels[name] = label
}

func (f *form) tick(name, label string) tick {
	f.name(name, label)
	f.ticks[name] = true
	return tick{name, label, "", f.ticked(name), f.errorAt(name)}
}
func (t tick) hint(s string) tick         { t.Hint = s; return t }
func rowName(name string, row int) string { return name + "-" + strconv.Itoa(row) }

// tick is a box to tick.
type tick struct {
	Name, Label, Hint string
	Value             bool
	Error             string
}

// Describedby is as for a field.
func (t tick) Describedby() string {
	return field{Name: t.Name, Hint: t.Hint, Error: t.Error}.Describedby()
}
