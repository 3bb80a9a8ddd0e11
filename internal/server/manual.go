package server

import (
	"html/template"

	"github.com/labstack/echo/v4"

	"hoseward/web"
)

// manualPage is one page of the manual; without a name, its table of contents.
type manualPage struct {
	Base
	Pages []web.ManualPage
	Name  string
	Text  template.HTML
}

func (s *Server) manualIndex(c echo.Context) error {
	return s.show(c, "manual", manualPage{Base: s.base(c, "manual", "Manual"), Pages: s.manual})
}

func (s *Server) manualPage(c echo.Context) error {
	for _, p := range s.manual {
		if p.Name == c.Param("page") {
			return s.show(c, "manual", manualPage{Base: s.base(c, "manual", p.Title), Pages: s.manual, Name: p.Name, Text: web.Markdown(p.Text)})
		}
	}
	return echo.ErrNotFound
}

// startPage tells how to start a register of one's own.
type startPage struct{ Base }

func (s *Server) start(c echo.Context) error {
	return s.show(c, "start", startPage{Base: s.base(c, "", "Start my own register")})
}
