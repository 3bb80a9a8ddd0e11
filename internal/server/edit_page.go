package server

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// placeStore is what the forms for sites, kinds, machines, positions, policies
// and how they are worked ask of the register.
type placeStore interface {
	previewStore
	Site(ctx context.Context, name string) (register.Site, error)
	Kind(ctx context.Context, name string) (register.KindSheet, error)
	PositionSheet(ctx context.Context, now time.Time, machine, name string) (register.PositionSheet, error)
	Policy(ctx context.Context, id int64) (register.Policy, error)
	MachineCodes(ctx context.Context) ([]string, error)
	MachineSheet(ctx context.Context, now time.Time, code string) (register.MachineSheet, error)
	Sites(ctx context.Context) ([]register.Site, error)
	Kinds(ctx context.Context) ([]register.Kind, error)
	Policies(ctx context.Context) ([]register.Policy, error)
}

// formPage is a form of fields in groups: what most pages that change
// something need. The handler fills what is its own; showForm the rest.
type formPage struct {
	Base
	Problems []problem
	Lead     []string // what the form is for, a paragraph each
	Action   string
	Once     string
	Edit     editing
	Groups   []formGroup
	// Preview is what saving would move; Previews says that the form shows it
	// before it saves.
	Preview  *previewView
	Previews bool
	Told     []string // what was taken for granted in reading the fields
	ToldKey  string
	Button   string // what the form does, such as Save the site
	Do       string // what the first button sends as do; empty for nothing
	Buttons  []formButton
	Cancel   string
	Links    []formLink
	Safety   []string
}

// formGroup is a part of a form. With a Summary it is folded until it is
// opened or holds something wrong.
type formGroup struct {
	Title, Summary, Hint string
	Fields               []field
	Ticks                []tick
	Asks                 []ask
	Open                 bool
	Button               *formButton // below its fields
}

// wrong reports whether something is wrong with a field of the group.
func (g formGroup) wrong() bool {
	for _, fd := range g.Fields {
		if fd.Error != "" {
			return true
		}
	}
	for _, t := range g.Ticks {
		if t.Error != "" {
			return true
		}
	}
	return false
}

// formButton is a further button of a form, sent as do=Value.
type formButton struct{ Value, Text string }

// instead makes a further button the first one, whose preview is shown.
func (p *formPage) instead(f *form) {
	for _, b := range p.Buttons {
		if p.Preview != nil && f.do() == b.Value {
			p.Do, p.Button, p.Buttons = b.Value, b.Text, nil
			return
		}
	}
}

// formLink is a link below a form.
type formLink struct{ Address, Text string }

// showForm renders a form page.
func (s *Server) showForm(c echo.Context, f *form, page formPage) error {
	page.Problems, page.Edit, page.Once = f.Problems, f.editing(), f.once()
	page.Told, page.ToldKey = f.Told, f.told()
	page.instead(f)
	for i, g := range page.Groups {
		page.Groups[i].Open = g.Open || g.wrong()
	}
	return s.renderForm(c, f, "form", page)
}

// submit carries out a form that was sent, once. handle returns where to go on
// to, or nothing where it showed the form again.
func (s *Server) submit(c echo.Context, handle func(f *form) (next string, err error)) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	return s.sendOnce(c, f, func() (string, error) {
		next, err := handle(f)
		if errors.Is(err, errAnew) {
			f.Problems, f.Told = nil, nil
			next, err = handle(f)
		}
		if errors.Is(err, errAnew) { // twice within a moment: a person may try again
			return "", echo.NewHTTPError(http.StatusConflict, "Somebody else is changing this at this very moment. Nothing was saved; go back and save again.")
		}
		return next, err
	})
}

// do is the button a form was sent by; empty for the first one.
func (f *form) do() string { return f.text("do") }

// number reads a whole number, empty as nil.
func (f *form) number(name string) *int {
	return parsed(f, name, func(s string) (int, error) {
		n, err := strconv.Atoi(s)
		if err != nil {
			return 0, errors.New("“" + s + "” is not a whole number")
		}
		return n, nil
	})
}

// decimal reads a number with decimals, empty as nil.
func (f *form) decimal(name string) *float64 { return parsed(f, name, quantity.ParseNumber) }

// chosen is one of the given names whatever its capitals, empty for none of
// them.
func chosen(names []string, typed string) string {
	for _, n := range names {
		if strings.EqualFold(n, typed) {
			return n
		}
	}
	return ""
}

// The values of a row as its form shows them; nothing for what is not known.

func yes(v bool) string {
	if v {
		return "yes"
	}
	return ""
}

func numberText(v *float64, decimals int) string {
	if v == nil {
		return ""
	}
	return quantity.FormatNumber(*v, decimals)
}

func intText(v *int) string {
	if v == nil {
		return ""
	}
	return strconv.Itoa(*v)
}

// shownAs prints values in the units of a person as fields hold them.
type shownAs struct{ web.Style }

func (st shownAs) bar(v *float64) string     { return unlessNil(v, st.Bar) }
func (st shownAs) celsius(v *float64) string { return unlessNil(v, st.Celsius) }
func (st shownAs) mm(v *float64) string      { return unlessNil(v, st.MM) }

func (st shownAs) day(d quantity.Date) string {
	if d.IsZero() {
		return ""
	}
	return st.Date(d)
}

func unlessNil(v *float64, print func(*float64) string) string {
	if v == nil {
		return ""
	}
	return print(v)
}
