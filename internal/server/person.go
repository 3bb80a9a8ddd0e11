package server

import (
	"context"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// personStore is what the page of a person's own settings asks of the register.
type personStore interface {
	Person(ctx context.Context, id int64) (register.Person, error)
}

// personRoutes are a person's own settings.
func (s *Server) personRoutes() []route {
	return []route{
		{get, "/me", register.RightOwn, s.me},
		{post, "/me", register.RightOwn, s.changeMe},
	}
}

// styleKey is where a request keeps the style of its person.
const styleKey = "style"

// style is the units and the style of dates of the person of a request. The
// person is read once for each request, so that nothing printed is older than
// the request.
func (s *Server) style(c echo.Context) web.Style {
	if st, ok := c.Get(styleKey).(web.Style); ok {
		return st
	}
	st := web.Style{}
	if who := s.caller(c); who != nil {
		st = styleOfUnits(who.Person.Units)
	}
	c.Set(styleKey, st)
	return st
}

// styleOf is the style of a request that was let through to its route.
func styleOf(c echo.Context) web.Style {
	st, _ := c.Get(styleKey).(web.Style)
	return st
}

// styleOfUnits is the style by what the register keeps of a person.
func styleOfUnits(u register.Units) web.Style {
	st := web.Style{
		Pressure: quantity.PressureUnit(u.PressureUnit), Temperature: quantity.TemperatureUnit(u.TemperatureUnit),
		Length: quantity.LengthUnit(u.LengthUnit), Dates: quantity.DateStyle(u.DateStyle),
	}
	if u.LengthUnit == "inch" {
		st.Length = quantity.Inch
	}
	return st.Known()
}

// mePage is how values are printed for this person.
type mePage struct {
	Base
	Problems []problem
	Fields   []field
	Examples []example
}

// example is one value as each choice prints it.
type example struct{ What, Now string }

func (s *Server) me(c echo.Context) error {
	u := s.caller(c).Person.Units
	return s.meForm(c, s.newForm(c, "pressure_unit", web.Or(u.PressureUnit, "bar"), "temperature_unit", web.Or(u.TemperatureUnit, "degC"),
		"length_unit", web.Or(u.LengthUnit, "mm"), "date_style", web.Or(u.DateStyle, "iso")))
}

func (s *Server) meForm(c echo.Context, f *form) error {
	st := s.style(c)
	rating, hot, length := 275.0, 100.0, 1250.0
	today := s.base(c, "", "").Today
	page := mePage{Base: s.base(c, "me", "Units and dates"), Problems: f.Problems, Examples: []example{
		{"A rating of 275 bar", st.Rated(&rating)}, {"A fluid of 100 °C", st.Celsius(&hot)}, {"A length of 1250 mm", st.MM(&length)}, {"Today", st.Date(today)},
	}}
	page.Fields = []field{
		f.field("pressure_unit", "Pressure").choose(options("bar", "psi", "MPa")...),
		f.field("temperature_unit", "Temperature").choose(option{"degC", "°C"}, option{"degF", "°F"}),
		f.field("length_unit", "Length").choose(option{"mm", "mm"}, option{"inch", "inches"}),
		f.field("date_style", "Dates").choose(
			option{"iso", "2026-11-25 – year first"}, option{"dmy", "25.11.2026 – day first"},
			option{"dmy/", "25/11/2026 – day first"}, option{"mdy", "11/25/2026 – month first"},
		),
	}
	return s.renderForm(c, f, "me", page)
}

func (s *Server) changeMe(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	set := register.SetUnits{Units: register.Units{
		PressureUnit: f.text("pressure_unit"), TemperatureUnit: f.text("temperature_unit"), LengthUnit: f.text("length_unit"), DateStyle: f.text("date_style"),
	}}
	if _, err := s.apply(c, set); err != nil {
		if err := f.refuse(err, nil); err != nil {
			return wrap("set units", err)
		}
		return s.meForm(c, f)
	}
	return done(c, "/me", unitsSet)
}
