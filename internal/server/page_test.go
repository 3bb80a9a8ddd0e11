package server_test

import (
	"slices"
	"testing"

	"github.com/jba/templatecheck"

	"hoseward/internal/server"
	"hoseward/web"
)

func TestTemplates_FitTheirStructs(t *testing.T) {
	structs := server.PageStructs()
	names, err := web.Pages()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		page, ok := structs[name]
		if !ok {
			t.Errorf("template %s has no struct", name)
			continue
		}
		tmpl, err := web.Page(name)
		if err != nil {
			t.Error(err)
			continue
		}
		if err := templatecheck.CheckHTML(tmpl, page); err != nil {
			t.Errorf("template %s: %v", name, err)
		}
	}
	for name := range structs {
		if !slices.Contains(names, name) {
			t.Errorf("struct of page %s has no template", name)
		}
	}
}
