package server

import (
	"errors"
	"io/fs"
	"net/http"

	"github.com/labstack/echo/v4"

	"hoseward/web"
)

// serveStatic finds where static files are: under one hash over all of them,
// so that browsers may keep them for good and never mix two builds.
func (s *Server) serveStatic() error {
	_, hash, err := web.Static()
	if err != nil {
		return err
	}
	s.static = "/static/" + hash
	return nil
}

// staticFile sends one of them.
func (s *Server) staticFile(c echo.Context) error {
	files, _, err := web.Static()
	if err != nil {
		return err
	}
	name := c.Param("*")
	info, err := fs.Stat(files, name)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrInvalid) || err == nil && info.IsDir() {
		return echo.ErrNotFound
	}
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	http.ServeFileFS(c.Response(), c.Request(), files, name)
	return nil
}
